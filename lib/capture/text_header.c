#include "capture/text_header.h"
#include "capture/text_time.h"
#include <string.h>

static void trim_end(char *text) {
  size_t n = strlen(text);
  while (n > 0 && (plb_is_blank(text[n - 1]) || text[n - 1] == '_' || text[n - 1] == ',' || text[n - 1] == ':'))
    text[--n] = '\0';
}

/* Take the unit off behind `place` when what stands there is one. */
static bool take_unit(plb_header *h, size_t place, const char *label) {
  const char *unit = plb_unit_from_label(label);
  if (!unit)
    return false;
  plb_text_copy(h->unit, sizeof h->unit, unit);
  h->name[place] = '\0';
  trim_end(h->name);
  return true;
}

void plb_text_header_split(plb_header *h) {
  char label[PLB_NAME_SIZE];
  memcpy(h->name, h->header, sizeof h->name);
  const size_t n = strlen(h->name);
  const char *unit = plb_unit_from_label(h->name);
  if (n == 1 && h->name[0] != 'V' && h->name[0] != 's')
    return;                               /* "A" is a channel's letter more often than an ampere */
  if (unit && strcmp(unit, "min") != 0) { /* "V" alone names the unit; it still serves as a name */
    plb_text_copy(h->unit, sizeof h->unit, unit);
    return;
  }
  if (n > 2 && (h->name[n - 1] == ')' || h->name[n - 1] == ']')) {
    const char *open = strrchr(h->name, h->name[n - 1] == ')' ? '(' : '[');
    if (open && open > h->name) {
      memcpy(label, open, strlen(open) + 1);
      (void)take_unit(h, (size_t)(open - h->name), label);
    }
    return;
  }
  const char *slash = strchr(h->name, '/'); /* quantity / unit, as ISO 80000-1 writes it */
  if (slash && slash > h->name && take_unit(h, (size_t)(slash - h->name), slash + 1))
    return;
  if (!plb_time_is_name(h->name))
    return;
  const char *last = strrchr(h->name, '_');
  const char *blank = strrchr(h->name, ' ');
  last = blank && blank > last ? blank : last;
  double seconds;
  unit = last ? plb_unit_from_label(last + 1) : NULL;
  if (unit && plb_unit_convert(1.0, unit, "s", &seconds))
    (void)take_unit(h, (size_t)(last - h->name), last + 1);
}

void plb_text_headers_read(const plb_text_layout *layout, plb_header *out) {
  plb_cell cell;
  const char *p = layout->names;
  for (size_t j = 0; p && j < layout->columns; j++) {
    p = layout->names_joined ? plb_cell_read_name(p, layout->end, &cell)
                             : plb_cell_read(p, layout->end, layout->separator, &cell);
    out[j].too_long = !plb_cell_copy(&cell, out[j].header, sizeof out[j].header) && cell.size > 0;
    plb_text_header_split(&out[j]);
    if (cell.last)
      break;
  }
  p = layout->units;
  for (size_t j = 0; p && j < layout->columns; j++) {
    char label[PLB_UNIT_SIZE];
    p = plb_cell_read(p, layout->end, layout->separator, &cell);
    if (plb_cell_copy(&cell, label, sizeof label)) {
      const char *unit = plb_unit_from_label(label);
      plb_text_copy(unit ? out[j].unit : out[j].unknown_unit, PLB_UNIT_SIZE, unit ? unit : label);
    }
    if (cell.last)
      break;
  }
}
