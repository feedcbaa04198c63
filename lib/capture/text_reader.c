#include "capture/column.h"
#include "capture/text_encoding.h"
#include "capture/text_header.h"
#include "capture/text_preamble.h"
#include "capture/text_time.h"
#include <math.h>
#include <string.h>

/*
 * Delimited text. The layout is told from sample rows (text_layout.c); then one pass over the bytes puts every number where it stays.
 * The time column is not stored: a clock keeps what is needed of it.
 */

enum { NO_TIME = -1, FEWEST_NAMED = 8, FEWEST_ROWS = 4 };

typedef struct reader {
  plb_text_layout layout;
  plb_column *column; /* [size: layout.columns] */
  plb_header *header; /* [size: layout.columns] */
  int time;           /* column of the time stamps, NO_TIME if none */
  bool time_named;
  plb_clock clock;
  size_t rows, room;
  int64_t line;
  size_t empty_lines, comments;
  size_t missing, beyond;
} reader;

static plb_status fail_memory(plb_error *err) { return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs"); }

static size_t count_to_end(const reader *r, const char *p) {
  size_t cells = 0;
  plb_cell cell;
  do {
    p = plb_cell_read(p, r->layout.end, r->layout.separator, &cell);
    cells++;
  } while (!cell.last);
  return cells;
}

static plb_status fail_ragged(const reader *r, const char *start, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  const size_t cells = count_to_end(r, start);
  if (plb_line_end(start, t->end) == t->end && cells < t->columns)
    return plb_fail_line(err, PLB_EDATA, r->line, 0, "the last row is cut off: %zu of %zu columns; copy or export the file again, or remove the row",
                         cells, t->columns);
  return plb_fail_line(err, PLB_EDATA, r->line, 0, "this row has %zu columns, the others have %zu; correct or remove it%s", cells, t->columns,
                       t->separator == ',' && cells > t->columns ? " (a decimal comma needs semicolons or tabs between columns)" : "");
}

static plb_status fail_backwards(const reader *r, double time, int64_t column, plb_error *err) {
  return plb_fail_line(err, PLB_EDATA, r->line, column, "time goes back from %.9g to %.9g in column %d; split the file there%s", r->clock.last, time,
                       r->time + 1, r->time_named ? "" : ", or give --rate if this is no time column");
}

/* Cells that are no plain number: nothing, words for it, quotes, very many digits; or a mistake. */
static plb_status put_odd_cell(reader *r, size_t j, const char *start, const char *p, const char **next, bool *last, plb_error *err) {
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
  return plb_column_put_real(&r->column[j], r->rows, r->room, value) == PLB_PUT_STORED ? PLB_OK : fail_memory(err);
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

static plb_status read_row(reader *r, const char **cursor, plb_error *err) {
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
          return fail_memory(err);
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

static plb_status make_room(reader *r, size_t rows, plb_error *err) {
  for (size_t j = 0; j < r->layout.columns; j++)
    if (!plb_column_reserve(&r->column[j], rows))
      return fail_memory(err);
  r->room = rows;
  return PLB_OK;
}

static plb_status read_body(reader *r, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  const char *p = t->body;
  plb_status status = make_room(r, (size_t)((double)(t->end - p) / t->row_bytes * 1.02) + 16, err);
  r->line = t->body_line;
  while (status == PLB_OK && p < t->end) {
    const char *q = p;
    while (plb_is_blank(*q))
      q++;
    if (q == t->end || plb_is_line_end(*q)) {
      r->empty_lines += q < t->end;
    } else if (plb_text_is_comment(p, t->separator)) {
      r->comments++;
    } else {
      if (r->rows == r->room)
        status = make_room(r, r->room + r->room / 2, err);
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

/* Which columns the sample rows show, and with what decimals they begin. */
static plb_status learn_columns(reader *r, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  for (size_t j = 0; j < t->columns; j++)
    r->column[j].kind = t->numeric[j] ? PLB_COLUMN_CODE : PLB_COLUMN_SKIP;
  plb_status status = make_room(r, t->rows + 1, err);
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
        status = fail_memory(err);
    }
  }
  return status;
}

static double sample_value(const plb_column *column, size_t row) {
  return column->code ? column->code[row] / (double)plb_power10_u[column->decimals] : column->real[row];
}

/* The column rises at every sample row; at the head, where rows follow each other, by steps of the same size. */
static bool rises_evenly(const reader *r, size_t j) {
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

static bool counts_by_one(const reader *r, size_t j) {
  const plb_column *column = &r->column[j];
  return column->code && column->decimals == 0 && sample_value(column, 1) - sample_value(column, 0) == 1.0;
}

/* By name; else the first column if it rises evenly, or the next such one behind a column that only counts the rows. */
static int find_time(reader *r) {
  const size_t columns = r->layout.columns;
  for (size_t j = 0; j < columns; j++) {
    if (r->layout.numeric[j] && plb_time_is_name(r->header[j].name)) {
      r->time_named = true;
      return (int)j;
    }
  }
  int found = NO_TIME;
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
    if (found == NO_TIME && (j == 0 || counts_by_one(r, 0)))
      found = (int)j;
    else if (found == 0 && counts_by_one(r, 0) && !counter && r->layout.rows >= FEWEST_ROWS)
      found = (int)j;
  }
  return found;
}

/* Some recorders print the time in front of every channel. It must be the same time. */
static plb_status leave_out_other_times(reader *r, plb_capture *out, plb_error *err) {
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
      if (!(fabs(sample_value(time, i) - sample_value(other, i)) <= 0.01 * step) || strcmp(r->header[j].unit, r->header[r->time].unit) != 0)
        return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0, "columns %d and %zu hold different times; export the channels one by one",
                             r->time + 1, j + 1);
    plb_column_dispose(other);
    plb_capture_add_note(out, "column %zu holds the time again and is left out", j + 1);
  }
  return PLB_OK;
}

/* How finely the stamps of the sample rows are printed. */
static void start_clock(reader *r) {
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
}

static plb_status finish_clock(const reader *r, plb_capture *out, plb_error *err) {
  const plb_header *h = &r->header[r->time];
  double second = 1.0;
  if (h->unit[0] && !plb_unit_convert(1.0, h->unit, "s", &second))
    return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0, "time column %d is in %s, not in a unit of time; correct the header or give --rate",
                         r->time + 1, h->unit);
  if (r->clock.count < 2)
    return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0, "one row of numbers gives no sample rate; export the whole recording");
  const double rate = plb_clock_rate(&r->clock);
  if (!(rate > 0.0))
    return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0, "time stands still in column %d; export it with more digits or give --rate",
                         r->time + 1);
  /* divide where the unit is a fraction of a second, so that 10 samples per ms give exactly 10 kHz */
  out->rate_hz = second < 1.0 ? rate * round(1.0 / second) : rate / second;
  out->start_s = second < 1.0 ? r->clock.first / round(1.0 / second) : r->clock.first * second;
  out->uneven = plb_clock_uneven(&r->clock);
  int64_t line = 0;
  const double said = plb_text_preamble_rate(&r->layout, &line); /* it may have more digits than the stamps */
  if (fabs(said / out->rate_hz - 1.0) < 1e-6)
    out->rate_hz = said;
  out->gap_row = r->clock.widest_row;
  plb_capture_add_note(out, "time column: %d (%s%s)", r->time + 1, h->unit[0] ? h->unit : "s", r->time_named || h->unit[0] ? "" : ", told from its even rise");
  if (r->clock.repeats > 0)
    plb_capture_add_note(out, "time stamps that repeat, because they are printed with too few digits: %zu; the rate comes from the first and the last", r->clock.repeats);
  return PLB_OK;
}

/* Roles are names without their unit; a name that is missing, too long or taken gives way to the column's number. */
static void name_channel(const plb_capture *capture, const plb_header *h, size_t column, plb_channel *out) {
  memcpy(out->header, h->header, sizeof out->header);
  plb_text_copy(out->role, sizeof out->role, h->name);
  if (out->role[0] == '\0' || &capture->channel[plb_capture_find(capture, out->role)] != out)
    plb_text_print(out->role, sizeof out->role, "c%zu", column + 1);
  plb_text_copy(out->unit, sizeof out->unit, h->unit[0] ? h->unit : "1");
  out->column = (int)column + 1;
  out->factor = 1.0;
}

static plb_status make_channels(reader *r, plb_capture *out, plb_error *err) {
  const size_t columns = r->layout.columns;
  for (size_t j = 0; j < columns; j++) {
    if (r->column[j].kind == PLB_COLUMN_SKIP)
      continue;
    plb_channel *channel = plb_capture_add_channel(out);
    if (!channel)
      return fail_memory(err);
    name_channel(out, &r->header[j], j, channel);
    plb_column_release(&r->column[j], r->rows, r->room, &channel->samples);
  }
  out->samples = r->rows;
  if (out->channels == 0)
    return plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0, "there is a time column and nothing else; export the signal too, or give --rate if column 1 is the signal");
  return PLB_OK;
}

/* "CH1 min" beside "CH1 max": what is left of a longer recording. */
static bool is_pair(const char *lowest, const char *highest) {
  char low[PLB_NAME_SIZE], high[PLB_NAME_SIZE];
  plb_text_copy(low, sizeof low, lowest);
  plb_text_copy(high, sizeof high, highest);
  plb_text_lower(low);
  plb_text_lower(high);
  char *at = strstr(low, "min");
  if (!at || strlen(low) != strlen(high))
    return false;
  memcpy(at, "max", 3);
  return strcmp(low, high) == 0;
}

static bool holds_pairs(const reader *r) {
  for (size_t i = 0; i < r->layout.columns; i++)
    for (size_t j = 0; j < r->layout.columns; j++)
      if (i != j && r->layout.numeric[i] && r->layout.numeric[j] && is_pair(r->header[i].name, r->header[j].name))
        return true;
  return false;
}

static void note_layout(const reader *r, plb_capture *out) {
  const plb_text_layout *t = &r->layout;
  if (t->mark == ',')
    plb_capture_add_note(out, "decimal comma");
  if (t->names_unused)
    plb_capture_add_note(out, "the header is not used: it does not have %zu names", t->columns);
  for (size_t j = 0; j < t->columns; j++) {
    if (r->header[j].too_long)
      plb_capture_add_note(out, "the name of column %zu is too long and is not used", j + 1);
    if (r->header[j].unknown_unit[0])
      plb_capture_add_note(out, "the unit \"%s\" of column %zu is not known", r->header[j].unknown_unit, j + 1);
    if (!t->numeric[j])
      plb_capture_add_note(out, "column %zu holds no numbers and is left out", j + 1);
  }
  if (r->missing > 0)
    plb_capture_add_note(out, "missing samples (empty cells): %zu", r->missing);
  if (r->beyond > 0)
    plb_capture_add_note(out, "samples marked as beyond the recorder's range, counted as missing: %zu", r->beyond);
  if (r->empty_lines > 0)
    plb_capture_add_note(out, "empty lines between rows, left out: %zu", r->empty_lines);
}

/* A column that is named time and holds dates or times of day. */
static plb_status check_time_words(const reader *r, plb_error *err) {
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
static plb_status find_rate(reader *r, plb_capture *out, double *rate_hz, plb_error *err) {
  r->time = find_time(r);
  if (r->time != NO_TIME)
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

static plb_status read_text(plb_capture *out, const char *text, size_t size, double rate_hz, plb_error *err) {
  reader r = {.time = NO_TIME};
  plb_status status = plb_text_layout_find(&r.layout, text, size, err);
  if (status == PLB_OK) {
    r.column = plb_calloc(r.layout.columns, sizeof *r.column);
    r.header = plb_calloc(r.layout.columns, sizeof *r.header);
    status = r.column && r.header ? learn_columns(&r, err) : fail_memory(err);
  }
  if (status == PLB_OK) {
    plb_text_headers_read(&r.layout, r.header);
    if (rate_hz == 0.0)
      status = find_rate(&r, out, &rate_hz, err);
  }
  if (status == PLB_OK) {
    if (r.time != NO_TIME) {
      start_clock(&r);
      plb_column_dispose(&r.column[r.time]);
    }
    for (size_t j = 0; j < r.layout.columns; j++)
      r.column[j].largest = 0;
    status = read_body(&r, err);
  }
  if (status == PLB_OK) {
    out->rate_hz = rate_hz;
    if (r.time != NO_TIME)
      status = finish_clock(&r, out, err);
  }
  if (status == PLB_OK) {
    out->pairs = holds_pairs(&r);
    note_layout(&r, out);
    status = make_channels(&r, out, err);
  }
  for (size_t j = 0; r.column && j < r.layout.columns; j++)
    plb_column_dispose(&r.column[j]);
  free(r.column);
  free(r.header);
  plb_text_layout_dispose(&r.layout);
  return status;
}

static plb_status read_any_text(plb_capture *out, const char *data, size_t size, const plb_read_options *options, plb_error *err) {
  char *converted = NULL;
  const plb_encoding encoding = plb_encoding_tell(data, size);
  plb_status status = PLB_OK;
  if (encoding == PLB_ENCODING_UTF16_LE || encoding == PLB_ENCODING_UTF16_BE) {
    status = plb_encoding_to_utf8(data, size, encoding, &converted, &size, err);
    data = converted;
  } else if (encoding == PLB_ENCODING_UTF8_MARK) {
    data += 3;
    size -= 3;
  }
  if (status == PLB_OK)
    status = read_text(out, data, size, options->rate_hz, err);
  free(converted);
  return status;
}

/* Text has no control characters but blanks; one of them tells a binary file. */
static int probe_text(const char *data, size_t size) {
  const plb_encoding encoding = plb_encoding_tell(data, size);
  if (encoding != PLB_ENCODING_PLAIN)
    return 1;
  for (size_t i = 0; i < size; i++)
    if ((unsigned char)data[i] < ' ' && (data[i] == '\0' || !strchr("\t\n\r\f", data[i])))
      return 0;
  return 1;
}

const plb_format plb_format_text = {"delimited text", probe_text, read_any_text};
