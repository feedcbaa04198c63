#include "capture/text_preamble.h"
#include "capture/text_table.h"
#include <math.h>
#include <string.h>

/* The columns of a delimited text as its sample rows show them, and which of them is the time. */

enum { FEWEST_NAMED = 8, FEWEST_ROWS = 4 };

/* Which columns the sample rows show, and with what decimals they begin. */
plb_status plb_text_learn_columns(plb_text_table *r, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  for (size_t j = 0; j < t->columns; j++)
    r->column[j].kind = t->numeric[j] ? PLB_COLUMN_CODE : PLB_COLUMN_SKIP;
  plb_status status = plb_text_make_room(r, t->rows + 1, err);
  for (size_t i = 0; status == PLB_OK && i < t->rows; i++) {
    const char *p = t->row[i];
    for (size_t j = 0; status == PLB_OK && j < t->columns; j++) {
      plb_cell cell;
      p = plb_cell_read(p, t->end, t->separator, &cell);
      plb_column *column = &r->column[j];
      plb_decimal decimal;
      double value = NAN;
      if (column->kind == PLB_COLUMN_SKIP)
        continue;
      const char *behind = cell.size > 0 ? plb_decimal_scan(cell.text, t->mark, &decimal) : NULL;
      plb_column_put_result result = PLB_PUT_HARD;
      if (behind == cell.text + cell.size && cell.size > 0)
        result = plb_column_put(column, i, r->room, &decimal);
      if (result == PLB_PUT_HARD) {
        (void)plb_number_value(cell.text, cell.size, t->mark, &value);
        result = plb_column_put_real(column, i, r->room, value);
      }
      if (result == PLB_PUT_NO_MEMORY)
        status = plb_text_fail_memory(err);
    }
  }
  return status;
}

static double sample_value(const plb_column *column, size_t row) {
  return column->code ? column->code[row] / (double)plb_power10_u[column->decimals] : column->real[row];
}

/* The column rises at every sample row; at the head, where rows follow each other, by steps of the same size. */
static bool rises_evenly(const plb_text_table *r, size_t j) {
  const plb_column *column = &r->column[j];
  const size_t head = r->layout.head_rows;
  if (column->kind == PLB_COLUMN_SKIP || r->layout.rows < 2 || head < 2)
    return false;
  for (size_t i = 1; i < r->layout.rows; i++)
    if (!(sample_value(column, i) > sample_value(column, i - 1)))
      return false;
  const double mean = (sample_value(column, head - 1) - sample_value(column, 0)) / (double)(head - 1);
  for (size_t i = 1; i < head; i++) {
    const double step = sample_value(column, i) - sample_value(column, i - 1);
    if (step < 0.2 * mean || step > 5.0 * mean)
      return false;
  }
  return true;
}

static bool counts_by_one(const plb_text_table *r, size_t j) {
  const plb_column *column = &r->column[j];
  return column->code && column->decimals == 0 && sample_value(column, 1) - sample_value(column, 0) == 1.0;
}

/* By name; else the first column if it rises evenly, or the next such one behind a column that only counts the rows. */
static int find_time(plb_text_table *r) {
  const size_t columns = r->layout.columns;
  for (size_t j = 0; j < columns; j++) {
    if (r->layout.numeric[j] && plb_time_is_name(r->header[j].name)) {
      r->time_named = true;
      return (int)j;
    }
  }
  int found = PLB_TEXT_NO_TIME;
  for (size_t j = 0; j < columns; j++) {
    const plb_header *h = &r->header[j];
    double seconds;
    if (!rises_evenly(r, j) || (h->unit[0] && !plb_unit_convert(1.0, h->unit, "s", &seconds)))
      continue;
    if (h->name[0] && !h->unit[0] && r->layout.rows < FEWEST_NAMED)
      continue; /* a name that says nothing of time, and few rows to prove it wrong */
    const bool counter = counts_by_one(r, j) && !h->unit[0];
    if (counter && plb_time_is_counter_name(h->name))
      continue;
    if (found == PLB_TEXT_NO_TIME && (j == 0 || counts_by_one(r, 0)))
      found = (int)j;
    else if (found == 0 && counts_by_one(r, 0) && !counter && r->layout.rows >= FEWEST_ROWS)
      found = (int)j;
  }
  return found;
}

/* Some recorders print the time in front of every channel. It must be the same time. */
static plb_status leave_out_other_times(plb_text_table *r, plb_capture *out, plb_error *err) {
  const plb_column *time = &r->column[r->time];
  const size_t rows = r->layout.rows;
  double seconds;
  for (size_t j = 0; j < r->layout.columns; j++) {
    plb_column *other = &r->column[j];
    if ((int)j == r->time || other->kind == PLB_COLUMN_SKIP || !r->time_named || !plb_time_is_name(r->header[j].name) ||
        (r->header[j].unit[0] && !plb_unit_convert(1.0, r->header[j].unit, "s", &seconds)))
      continue;
    const double step = rows > 1 ? fabs(sample_value(time, 1) - sample_value(time, 0)) : 0.0;
    for (size_t i = 0; i < rows; i++)
      if (!(fabs(sample_value(time, i) - sample_value(other, i)) <= 0.01 * step) ||
          strcmp(r->header[j].unit, r->header[r->time].unit) != 0)
        return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0,
                             "columns %d and %zu hold different times; export the channels one by one", r->time + 1,
                             j + 1);
    plb_column_dispose(other);
    plb_capture_add_note(out, "column %zu holds the time again and is left out", j + 1);
  }
  return PLB_OK;
}

/* How finely the stamps of the sample rows are printed. */
void plb_text_start_clock(plb_text_table *r) {
  const plb_text_layout *t = &r->layout;
  int most_decimals = 0, most_digits = 1;
  for (size_t i = 0; i < t->rows; i++) {
    const char *p = t->row[i];
    plb_cell cell = {0};
    for (int j = 0; j <= r->time; j++)
      p = plb_cell_read(p, t->end, t->separator, &cell);
    plb_decimal decimal;
    if (cell.size == 0 || !plb_decimal_scan(cell.text, t->mark, &decimal) || decimal.digits == 0)
      continue;
    int digits = 1;
    while (digits < 19 && decimal.digits >= plb_power10_u[digits])
      digits++;
    most_digits = digits > most_digits ? digits : most_digits;
    most_decimals = decimal.decimals > most_decimals ? decimal.decimals : most_decimals;
  }
  plb_clock_start(&r->clock, most_decimals, most_digits);
  plb_column_dispose(&r->column[r->time]);
}

/* A column that is named time and holds dates or times of day. */
static plb_status check_time_words(const plb_text_table *r, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  for (size_t j = 0; j < t->columns; j++) {
    if (t->numeric[j] || !plb_time_is_name(r->header[j].name))
      continue;
    plb_cell cell = {0};
    const char *p = t->body;
    for (size_t k = 0; k <= j; k++)
      p = plb_cell_read(p, t->end, t->separator, &cell);
    if (cell.size > 0)
      return plb_text_fail_cell(&cell, t->separator, t->mark, t->body_line, cell.text - t->body + 1, err);
  }
  return PLB_OK;
}

/* The time column; without one, what the lines above the rows say. */
plb_status plb_text_find_rate(plb_text_table *r, plb_capture *out, double *rate_hz, plb_error *err) {
  r->time = find_time(r);
  if (r->time != PLB_TEXT_NO_TIME)
    return leave_out_other_times(r, out, err);
  int64_t line = 0;
  *rate_hz = plb_text_preamble_rate(&r->layout, &line);
  if (*rate_hz > 0.0)
    plb_capture_add_note(out, "sample rate: %.10g Hz, from line %lld", *rate_hz, (long long)line);
  plb_status status = *rate_hz > 0.0 ? PLB_OK : check_time_words(r, err);
  if (status != PLB_OK || *rate_hz > 0.0)
    return status;
  return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0, "no time column; give --rate");
}

plb_status plb_text_finish_clock(const plb_text_table *r, plb_capture *out, plb_error *err) {
  const plb_header *h = &r->header[r->time];
  double second = 1.0;
  if (h->unit[0] && !plb_unit_convert(1.0, h->unit, "s", &second))
    return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0,
                         "time column %d is in %s, not in a unit of time; correct the header or give --rate",
                         r->time + 1, h->unit);
  if (r->clock.count < 2)
    return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0,
                         "one row of numbers gives no sample rate; export the whole recording");
  const double rate = plb_clock_rate(&r->clock);
  if (!(rate > 0.0))
    return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0,
                         "time stands still in column %d; export it with more digits or give --rate", r->time + 1);
  /* divide where the unit is a fraction of a second, so that 10 samples per ms give exactly 10 kHz */
  out->rate_hz = second < 1.0 ? rate * round(1.0 / second) : rate / second;
  out->start_s = second < 1.0 ? r->clock.first / round(1.0 / second) : r->clock.first * second;
  out->uneven = plb_clock_uneven(&r->clock);
  int64_t line = 0;
  const double said = plb_text_preamble_rate(&r->layout, &line); /* it may have more digits than the stamps */
  if (fabs(said / out->rate_hz - 1.0) < 1e-6)
    out->rate_hz = said;
  out->gap_row = r->clock.widest_row;
  plb_capture_add_note(out, "time column: %d (%s%s)", r->time + 1, h->unit[0] ? h->unit : "s",
                       h->unit[0]      ? ""
                       : r->time_named ? ", because no unit is given"
                                       : ", told from its even rise");
  if (r->clock.repeats > 0)
    plb_capture_add_note(out,
                         "time stamps that repeat, because they are printed with too few digits: %zu; the rate comes "
                         "from the first and the last",
                         r->clock.repeats);
  return PLB_OK;
}
