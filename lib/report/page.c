#include "report/page.h"
#include "report/say.h"

#include <string.h>

plb_tone plb_tone_of(plb_word word) {
  static const plb_tone tones[] = {PLB_TONE_GOOD, PLB_TONE_DOUBT, PLB_TONE_BAD, PLB_TONE_OPEN};
  return (size_t)word < sizeof tones / sizeof tones[0] ? tones[word] : PLB_TONE_OPEN;
}

/* Nearest colours of the 256-colour terminal palette to Okabe and Ito's bluish green, orange, vermillion and sky
 * blue, which also people with colour-blindness tell apart. The word itself always stands beside the colour. */
static const char *const escapes[] = {
    "", "\033[1m", "\033[1;38;5;36m", "\033[1;38;5;214m", "\033[1;38;5;166m", "\033[1;38;5;74m"};

void plb_page_init(plb_page *page, plb_text_style style, int width) {
  plb_buffer_init(&page->out, (size_t)16 << 20);
  page->width = width <= 0 ? PLB_PAGE_WIDTH : width < PLB_PAGE_LEAST ? PLB_PAGE_LEAST : width;
  page->terminal = style == PLB_TEXT_TERMINAL;
}

/* Combining diacritical marks U+0300 to U+036F take no column of their own. */
int plb_page_columns(const char *text) {
  int columns = 0;
  for (const unsigned char *c = (const unsigned char *)text; *c; c++) {
    const bool combining = (c[0] == 0xCC && c[1] >= 0x80) || (c[0] == 0xCD && c[1] >= 0x80 && c[1] < 0xB0);
    if ((*c & 0xC0) != 0x80 && !combining)
      columns++;
  }
  return columns;
}

void plb_page_put(plb_page *page, plb_tone tone, const char *text, size_t size) {
  const bool shown = page->terminal && tone != PLB_TONE_NONE && size > 0;
  if (shown)
    plb_buffer_puts(&page->out, escapes[tone]);
  plb_buffer_append(&page->out, text, size);
  if (shown)
    plb_buffer_puts(&page->out, "\033[0m");
}

void plb_page_blanks(plb_page *page, int count) {
  for (int i = 0; i < count; i++)
    plb_buffer_append(&page->out, " ", 1);
}

void plb_page_line(plb_page *page, plb_tone tone, size_t lead, const char *text) {
  plb_page_put(page, tone, text, lead);
  plb_buffer_puts(&page->out, text + lead);
  plb_buffer_append(&page->out, "\n", 1);
}

/* Bytes of the first `columns` columns of a word, at least one character. */
static size_t cut_word(const char *word, size_t size, int columns) {
  size_t used = 0;
  for (int c = 0; used < size && (c < columns || used == 0); c++)
    for (used++; used < size && ((unsigned char)word[used] & 0xC0) == 0x80;)
      used++;
  return used;
}

static int columns_of(const char *text, size_t size) {
  int columns = 0;
  for (size_t i = 0; i < size; i++)
    columns += ((unsigned char)text[i] & 0xC0) != 0x80;
  return columns;
}

/* Words go on the line while they fit; one longer than a whole line (a path) is broken. */
void plb_page_wrap(plb_page *page, int indent, int hang, plb_tone tone, const char *lead, const char *text) {
  plb_page_blanks(page, indent);
  plb_page_put(page, tone, lead, strlen(lead));
  int at = indent + plb_page_columns(lead);
  bool fresh = *lead == '\0';
  while (*(text += strspn(text, " "))) {
    size_t size = strcspn(text, " ");
    const int wide = columns_of(text, size), gap = fresh ? 0 : 1;
    if (at + gap + wide > page->width && at > hang) {
      plb_buffer_append(&page->out, "\n", 1);
      plb_page_blanks(page, hang);
      at = hang;
      fresh = true;
      if (wide > page->width - hang)
        size = cut_word(text, size, page->width - hang);
    } else {
      if (wide > page->width - at - gap)
        size = cut_word(text, size, page->width - at - gap);
      plb_page_blanks(page, gap);
      at += gap;
    }
    plb_buffer_append(&page->out, text, size);
    at += columns_of(text, size);
    fresh = text[size] != ' ' && text[size] != '\0';
    text += size;
  }
  plb_buffer_append(&page->out, "\n", 1);
}

void plb_page_gap(plb_page *page) { plb_buffer_append(&page->out, "\n", 1); }

void plb_page_heading(plb_page *page, const char *text) {
  plb_page_gap(page);
  if (plb_page_columns(text) <= page->width)
    plb_page_line(page, PLB_TONE_STRONG, strlen(text), text);
  else
    plb_page_wrap(page, 0, 0, PLB_TONE_NONE, "", text);
}
