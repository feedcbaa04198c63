#include "report/canvas.h"
#include "report/say.h"

#include <string.h>

/* Which font will be used is not known here. These are rough widths of common sans-serif faces, the wider ones, in
 * shares of the size: enough to decide where to break a line or whether a label fits. */
static double character_width(unsigned char c) {
  if (c >= 0x80)
    return 1;
  if (strchr("ijl|.,:;'!", c) && c)
    return 0.33;
  if (strchr("frtI()[]/ -", c) && c)
    return 0.42;
  if (strchr("mwMW%@", c) && c)
    return 0.98;
  return c >= 'A' && c <= 'Z' ? 0.72 : 0.63;
}

static double width_of(const char *text, size_t size, const plb_font *font) {
  double width = 0;
  for (size_t i = 0; i < size; i++)
    if (((unsigned char)text[i] & 0xC0) != 0x80)
      width += character_width((unsigned char)text[i]);
  return width * font->size * (font->bold ? 1.1 : 1);
}

double plb_canvas_text_width(const char *text, const plb_font *font) { return width_of(text, strlen(text), font); }

/* Bytes of `text` that fit in `width`, broken at a blank where there is one, at least one character. */
static size_t fitting(const char *text, double width, const plb_font *font) {
  size_t blank = 0, whole = 0;
  for (size_t i = 0; text[i];) {
    size_t next = i + 1;
    while (((unsigned char)text[next] & 0xC0) == 0x80)
      next++;
    if (width_of(text, next, font) > width)
      return blank > 0 ? blank : whole > 0 ? whole : next;
    if (text[next] == ' ' || text[next] == '\0')
      blank = next;
    whole = next;
    i = next;
  }
  return whole;
}

/* @param c  NULL: count only */
static int lay(plb_canvas *c, double x, double y, double width, double leading, int lines, const plb_font *font,
               const char *raw) {
  int line = 0;
  char clean[2048]; /* as it will be escaped, so that it is measured as it will be seen */
  plb_say_clean(raw, clean, sizeof clean);
  const char *text = clean;
  for (text += strspn(text, " "); *text && line < lines; line++) {
    char shown[1024];
    size_t size = fitting(text, width, font);
    const bool cut = line + 1 == lines && text[size + strspn(text + size, " ")] != '\0';
    if (cut)
      size = fitting(text, width - font->size, font);
    plb_text_print(shown, sizeof shown, "%.*s%s", (int)(size < sizeof shown - 8 ? size : sizeof shown - 8), text,
                   cut ? "\xE2\x80\xA6" : "");
    if (c)
      plb_canvas_text(c, x, y + line * leading, font, shown);
    text += size;
    text += strspn(text, " ");
  }
  return line;
}

int plb_canvas_paragraph(plb_canvas *c, double x, double y, double width, double leading, int lines,
                         const plb_font *font, const char *text) {
  return lay(c, x, y, width, leading, lines, font, text);
}

int plb_canvas_paragraph_lines(double width, int lines, const plb_font *font, const char *text) {
  return lay(NULL, 0, 0, width, 0, lines, font, text);
}
