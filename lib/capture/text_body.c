#include "capture/text_table.h"
#include <math.h>

/* The rows of a delimited text: one pass over the bytes puts every number where it stays. The time is not kept, a clock
 * watches it. */

plb_status plb_text_fail_memory(plb_error *err) {
  return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
}

static size_t count_to_end(const plb_text_table *r, const char *p) {
  size_t cells = 0;
  plb_cell cell;
  do {
    p = plb_cell_read(p, r->layout.end, r->layout.separator, &cell);
    cells++;
  } while (!cell.last);
  return cells;
}

static plb_status fail_ragged(const plb_text_table *r, const char *start, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  const size_t cells = count_to_end(r, start);
  if (plb_line_end(start, t->end) == t->end && cells < t->columns)
    return plb_fail_line(
        err, PLB_EDATA, r->line, 0,
        "the last row is cut off: %zu of %zu columns; copy or export the file again, or remove the row", cells,
        t->columns);
  return plb_fail_line(
      err, PLB_EDATA, r->line, 0, "this row has %zu columns, the others have %zu; correct or remove it%s", cells,
      t->columns,
      t->separator == ',' && cells > t->columns ? " (a decimal comma needs semicolons or tabs between columns)" : "");
}

static plb_status fail_backwards(const plb_text_table *r, double time, int64_t column, plb_error *err) {
  return plb_fail_line(err, PLB_EDATA, r->line, column,
                       "time goes back from %.9g to %.9g in column %d; split the file there%s", r->clock.last, time,
                       r->time + 1, r->time_named ? "" : ", or give --rate if this is no time column");
}

/* Cells that are no plain number: nothing, words for it, quotes, very many digits; or a mistake. */
static plb_status put_odd_cell(plb_text_table *r, size_t j, const char *start, const char *p, const char **next,
                               bool *last, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  plb_cell cell;
  *next = plb_cell_read(p, t->end, t->separator, &cell);
  *last = cell.last;
  if (r->column[j].kind == PLB_COLUMN_SKIP && (int)j != r->time)
    return PLB_OK;
  double value = NAN;
  const bool missing = plb_cell_is_missing(&cell), infinite = !missing && plb_cell_is_infinite(&cell);
  const int64_t place = cell.text - start + 1;
  if (cell.open || (!missing && !infinite && !plb_number_value(cell.text, cell.size, t->mark, &value)))
    return plb_text_fail_cell(&cell, t->separator, t->mark, r->line, place, err);
  if ((int)j == r->time) {
    if (missing || infinite)
      return plb_fail_line(err, PLB_EDATA, r->line, place, "the time is missing in this row; correct or remove it");
    return plb_clock_tick(&r->clock, value) ? PLB_OK : fail_backwards(r, value, place, err);
  }
  /* numbers that stand for "no number" and "out of range": SCPI-1999, volume 1, section 7.2.1 (from memory) */
  const bool no_number = value == 9.91e37, out_of_range = fabs(value) == 9.9e37;
  r->missing += missing || no_number;
  r->beyond += infinite || out_of_range;
  if (no_number || out_of_range)
    value = NAN;
  return plb_column_put_real(&r->column[j], r->rows, r->room, value) == PLB_PUT_STORED ? PLB_OK
                                                                                       : plb_text_fail_memory(err);
}

/* The usual cell: a plain number, perhaps blanks, and the separator or the line end. NULL: it is something else. */
static inline const char *read_plain_cell(const plb_text_layout *t, const char *p, plb_decimal *decimal, bool *last) {
  const char separator = t->separator;
  while (plb_is_blank(*p) && (*p != separator || separator == PLB_BLANKS))
    p++;
  p = plb_decimal_scan(p, t->mark, decimal);
  if (!p)
    return NULL;
  if (*p == separator && separator != PLB_BLANKS) {
    *last = false;
    return p + 1;
  }
  const char *behind = p;
  while (plb_is_blank(*p) && (*p != separator || separator == PLB_BLANKS))
    p++;
  *last = plb_is_line_end(*p) || p == t->end;
  if (*last)
    return p;
  if (separator == PLB_BLANKS)
    return p > behind ? p : NULL;
  return *p == separator ? p + 1 : NULL;
}

static plb_status read_row(plb_text_table *r, const char **cursor, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  const char *const start = *cursor;
  const char *p = start;
  bool last = false;
  for (size_t j = 0; j < t->columns; j++) {
    if (last)
      return fail_ragged(r, start, err);
    plb_decimal decimal;
    const char *next = NULL;
    bool stored = false;
    if (r->column[j].kind != PLB_COLUMN_SKIP) {
      next = read_plain_cell(t, p, &decimal, &last);
      if (next) {
        const plb_column_put_result result = plb_column_put(&r->column[j], r->rows, r->room, &decimal);
        if (result == PLB_PUT_NO_MEMORY)
          return plb_text_fail_memory(err);
        stored = result == PLB_PUT_STORED;
      }
    } else if ((int)j == r->time) {
      double time;
      next = read_plain_cell(t, p, &decimal, &last);
      stored = next && plb_decimal_value(&decimal, &time);
      if (stored && !plb_clock_tick(&r->clock, time))
        return fail_backwards(r, time, p - start + 1, err);
    }
    if (!stored) {
      const plb_status status = put_odd_cell(r, j, start, p, &next, &last, err);
      if (status != PLB_OK)
        return status;
    }
    p = next;
  }
  if (!last && t->trailing) {
    while (plb_is_blank(*p) && *p != t->separator)
      p++;
    last = plb_is_line_end(*p) || p == t->end;
  }
  if (!last)
    return fail_ragged(r, start, err);
  *cursor = p;
  return PLB_OK;
}

plb_status plb_text_make_room(plb_text_table *r, size_t rows, plb_error *err) {
  for (size_t j = 0; j < r->layout.columns; j++)
    if (!plb_column_reserve(&r->column[j], rows))
      return plb_text_fail_memory(err);
  r->room = rows;
  return PLB_OK;
}

plb_status plb_text_read_body(plb_text_table *r, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  const char *p = t->body;
  plb_status status = plb_text_make_room(r, (size_t)((double)(t->end - p) / t->row_bytes * 1.02) + 16, err);
  r->line = t->body_line;
  for (size_t j = 0; j < t->columns; j++)
    r->column[j].largest = 0; /* what the sample rows left */
  while (status == PLB_OK && p < t->end) {
    const char *q = p;
    while (plb_is_blank(*q))
      q++;
    if (q == t->end || plb_is_line_end(*q)) {
      r->empty_lines += q < t->end;
    } else if (!plb_text_is_comment(p, t->separator)) {
      if (r->rows == r->room)
        status = plb_text_make_room(r, r->room + r->room / 2, err);
      if (status == PLB_OK)
        status = read_row(r, &p, err);
      r->rows++;
    }
    if (status == PLB_OK)
      p = plb_line_next(p, t->end);
    r->line++;
  }
  return status;
}
