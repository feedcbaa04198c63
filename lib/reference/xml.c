#include "reference/xml.h"
#include "reference/base64.h"

#include <math.h>
#include <string.h>

enum { COLUMNS = 100 };

void plb_xml_init(plb_xml *xml, plb_buffer *out, size_t base64_columns) {
  *xml = (plb_xml){.out = out, .base64_columns = base64_columns / 4 * 4};
  plb_buffer_puts(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
  xml->line_start = out->size;
}

static void new_line(plb_xml *xml, int depth) {
  plb_buffer_puts(xml->out, "\n");
  xml->line_start = xml->out->size;
  for (int i = 0; i < depth; i++)
    plb_buffer_puts(xml->out, "  ");
}

static void finish_tag(plb_xml *xml) {
  if (xml->tag_open)
    plb_buffer_puts(xml->out, ">");
  xml->tag_open = false;
}

void plb_xml_open(plb_xml *xml, const char *element) {
  finish_tag(xml);
  if (xml->out->size != xml->line_start)
    new_line(xml, xml->depth);
  plb_buffer_puts(xml->out, "<");
  plb_buffer_puts(xml->out, element);
  xml->depth++;
  xml->tag_open = true;
  xml->text_inside = false;
}

void plb_xml_close(plb_xml *xml, const char *element) {
  xml->depth--;
  if (xml->tag_open) {
    plb_buffer_puts(xml->out, "/>");
  } else {
    if (!xml->text_inside)
      new_line(xml, xml->depth);
    plb_buffer_puts(xml->out, "</");
    plb_buffer_puts(xml->out, element);
    plb_buffer_puts(xml->out, ">");
  }
  xml->tag_open = xml->text_inside = false;
  if (xml->depth == 0)
    new_line(xml, 0);
}

/* XML 1.0 (fifth edition), production 2: which characters a document may hold at all. */
static bool may_stand(const char *text, size_t length) {
  const unsigned char a = (unsigned char)text[0];
  if (length == 1)
    return a >= 0x20 || a == '\t' || a == '\n' || a == '\r';
  return length > 0 && !(length == 3 && a == 0xEF && (unsigned char)text[1] == 0xBF && (unsigned char)text[2] >= 0xBE);
}

static const char *escape_of(char c) {
  return c == '&' ? "&amp;" : c == '<' ? "&lt;" : c == '>' ? "&gt;" : c == '"' ? "&quot;" : NULL;
}

/* What comes back is what went in, character for character, and never longer; a byte that no document can hold
   becomes '?'. Those of * `as_references` would be read as something else: tabs and line ends as blanks in an
   attribute, a carriage return as a line end. */
static void escape(plb_buffer *out, const char *text, const char *as_references) {
  const char *run = text; /* what can be copied as it is, up to `text` */
  while (*text) {
    const size_t length = plb_text_utf8(text);
    const char *instead = may_stand(text, length) ? escape_of(*text) : "?";
    const bool reference = strchr(as_references, *text) != NULL;
    if (instead || reference) {
      plb_buffer_append(out, run, (size_t)(text - run));
      if (reference)
        plb_buffer_printf(out, "&#%d;", (int)(unsigned char)*text);
      else
        plb_buffer_puts(out, instead);
      run = text + (length > 0 ? length : 1);
    }
    text += length > 0 ? length : 1;
  }
  plb_buffer_append(out, run, (size_t)(text - run));
}

static void put_attribute(plb_xml *xml, const char *name, const char *value, bool plain) {
  const size_t needed = strlen(name) + strlen(value) + 4;
  if (xml->out->size - xml->line_start + needed > COLUMNS)
    new_line(xml, xml->depth + 1);
  else
    plb_buffer_puts(xml->out, " ");
  plb_buffer_puts(xml->out, name);
  plb_buffer_puts(xml->out, "=\"");
  if (plain)
    plb_buffer_puts(xml->out, value);
  else
    escape(xml->out, value, "\t\n\r");
  plb_buffer_puts(xml->out, "\"");
}

void plb_xml_attribute(plb_xml *xml, const char *name, const char *value) {
  if (value && value[0])
    put_attribute(xml, name, value, false);
}

void plb_xml_number(plb_xml *xml, const char *name, double value) {
  char text[PLB_NUMBER_SIZE];
  if (!isfinite(value))
    return;
  plb_text_from_number(value, text);
  put_attribute(xml, name, text, true);
}

void plb_xml_integer(plb_xml *xml, const char *name, int64_t value) {
  char text[PLB_NUMBER_SIZE];
  plb_text_print(text, sizeof text, "%lld", (long long)value);
  put_attribute(xml, name, text, true);
}

void plb_xml_flag(plb_xml *xml, const char *name, bool value) {
  put_attribute(xml, name, value ? "true" : "false", true);
}

void plb_xml_put_text(plb_xml *xml, const char *text) {
  finish_tag(xml);
  escape(xml->out, text, "\r");
  xml->text_inside = true;
}

void plb_xml_text(plb_xml *xml, const char *element, const char *text) {
  if (!text || !text[0])
    return;
  plb_xml_open(xml, element);
  plb_xml_put_text(xml, text);
  plb_xml_close(xml, element);
}

void plb_xml_numbers(plb_xml *xml, const char *element, const double *value, size_t n) {
  plb_xml_open(xml, element);
  finish_tag(xml);
  for (size_t i = 0; i < n; i++) {
    char text[PLB_NUMBER_SIZE];
    if (isfinite(value[i]))
      plb_text_from_number(value[i], text);
    else
      plb_text_copy(text, sizeof text, "none");
    if (xml->out->size - xml->line_start + strlen(text) + 1 > COLUMNS)
      new_line(xml, xml->depth);
    else if (i > 0)
      plb_buffer_puts(xml->out, " ");
    plb_buffer_puts(xml->out, text);
  }
  xml->text_inside = true;
  plb_xml_close(xml, element);
}

void plb_xml_put_base64(plb_xml *xml, const unsigned char *data, size_t size) {
  char text[1024];
  const size_t line = xml->base64_columns / 4 * 3; /* bytes in a line */
  const size_t piece = sizeof text / 4 * 3;
  finish_tag(xml);
  for (size_t first = 0; first < size; first += line) {
    const size_t end = size - first < line ? size : first + line;
    new_line(xml, xml->depth);
    for (size_t at = first; at < end; at += piece) {
      const size_t n = end - at < piece ? end - at : piece;
      plb_base64_encode(data + at, n, text);
      plb_buffer_append(xml->out, text, plb_base64_length(n));
    }
  }
  xml->text_inside = false;
}

plb_status plb_xml_check(const plb_xml *xml, const char *advice, plb_error *err) {
  enum { PIECE_MOST = 1 << 20 }; /* more than is ever appended at once: nearer to the limit, it was the limit */
  const plb_buffer *b = xml->out;
  if (b->status == PLB_OK)
    return PLB_OK;
  if (b->status == PLB_ENOMEM && b->size + PIECE_MOST > b->most)
    return plb_fail(err, PLB_EDATA, "the document would be larger than %zu bytes; %s", b->most, advice);
  return plb_fail(err, b->status, "memory is short; close other programs");
}
