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

/* Tabs and line ends would become blanks inside an attribute, and a carriage return a line end anywhere. */
static void escape(plb_buffer *out, const char *text, const char *as_references) {
  char run[256];
  while (*text) {
    size_t n = strcspn(text, as_references);
    if (n > 0) {
      if (n >= sizeof run) {
        n = sizeof run - 1;
        while (n > 1 && ((unsigned char)text[n] & 0xC0) == 0x80) /* never cut a character */
          n--;
      }
      memcpy(run, text, n);
      run[n] = '\0';
      plb_buffer_escape(out, run);
    } else {
      plb_buffer_printf(out, "&#%d;", (int)(unsigned char)*text);
      n = 1;
    }
    text += n;
  }
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

void plb_xml_flag(plb_xml *xml, const char *name, bool value) { put_attribute(xml, name, value ? "true" : "false", true); }

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
