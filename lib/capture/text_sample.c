#include "capture/text_sample.h"

bool plb_text_is_comment(const char *line, char separator) {
  while (plb_is_blank(*line) && *line != separator)
    line++;
  return *line == '#' || *line == '%' || (*line == ';' && separator != ';');
}

bool plb_text_is_empty_line(const char *p, const char *end) {
  while (p < end && plb_is_blank(*p))
    p++;
  return p >= end || plb_is_line_end(*p);
}

static const char *add_lines(plb_text_sample *s, const char *p, const char *end, size_t most, bool leave_cut) {
  for (size_t i = 0; i < most && p < end; i++) {
    const char *stop = plb_line_end(p, end);
    if (leave_cut && stop == end && s->count > 0)
      return end;
    if (!plb_text_is_empty_line(p, end))
      s->line[s->count++] = p;
    p = plb_line_next(p, end);
  }
  return p;
}

/* A last line without its line end may be cut off; it gives no evidence unless it is the only one. */
void plb_text_take_sample(plb_text_sample *s, const char *begin, const char *end) {
  s->count = 0;
  const char *p = add_lines(s, begin, end, PLB_TEXT_HEAD_LINES, true);
  const size_t rest = (size_t)(end - p);
  for (size_t i = 0; i < PLB_TEXT_SPREAD_PLACES; i++) {
    const char *start = p + rest / (PLB_TEXT_SPREAD_PLACES + 1) * (i + 1);
    const char *stop = p + rest / (PLB_TEXT_SPREAD_PLACES + 1) * (i + 2);
    if (rest > 0)
      add_lines(s, plb_line_next(start, end), stop, PLB_TEXT_SPREAD_LINES, true);
  }
}

plb_text_row_count plb_text_count_row(const char *p, const char *end, plb_text_way way) {
  plb_text_row_count n = {0, 0, 0, false};
  plb_cell cell;
  do {
    p = plb_cell_read(p, end, way.separator, &cell);
    n.cells++;
    if (plb_cell_is_number(&cell, way.mark))
      n.numbers++;
    else if (!plb_cell_is_missing(&cell) && !plb_cell_is_infinite(&cell))
      n.texts++;
    n.ends_empty = cell.size == 0;
  } while (!cell.last && n.cells <= PLB_TEXT_MOST_COLUMNS);
  return n;
}

int64_t plb_text_line_of(const plb_text_layout *t, const char *place) {
  int64_t line = 1;
  for (const char *p = t->begin; place && p < place; p = plb_line_next(p, t->end))
    line++;
  return line;
}
