#include "capture/bytes.h"
#include "capture/column.h"
#include "capture/comtrade.h"
#include "capture/text_time.h"
#include <math.h>
#include <string.h>

/* The rows of a COMTRADE recording, in text and in binary. */

enum { BINARY_ROW = 8, STATES_IN_WORD = 16 };
static const uint32_t no_time = 0xFFFFFFFF;

/* What the numbers and times of the rows say. */
typedef struct progress {
  uint64_t number; /* of the row before */
  double first_time;
  plb_clock clock;
  size_t missing, untimed;
} progress;

static void start(progress *p) {
  *p = (progress){.first_time = NAN};
  plb_clock_start(&p->clock, 0, 15);
}

static bool note_row(progress *p, size_t row, uint64_t number) {
  const bool follows = row == 0 || number == p->number + 1;
  p->number = number;
  return follows;
}

/* @return false when the time goes back */
static bool note_time(const plb_comtrade *c, progress *p, size_t row, double time) {
  if (isnan(time))
    p->untimed++;
  if (row == 0)
    p->first_time = time;
  return c->rates > 0 || isnan(time) || plb_clock_tick(&p->clock, time);
}

static double units_a_second(const plb_comtrade *c) { return c->first.fine || c->trigger.fine ? 1e9 : 1e6; }

/* The sample rate as the configuration says, else from the times. */
static plb_status finish_time(const plb_comtrade *c, const progress *p, plb_capture *out, plb_error *err) {
  out->samples = (size_t)c->rows;
  out->start_s = isnan(p->first_time) ? 0.0 : p->first_time * c->multiplier / units_a_second(c);
  if (c->rates > 0) {
    out->rate_hz = c->rate_hz[0];
    return PLB_OK;
  }
  const double rate = p->untimed == 0 ? plb_clock_rate(&p->clock) : 0.0;
  if (!(rate > 0.0))
    return plb_fail_line(err, PLB_EDATA, c->rows_line, 1,
                         "no sample rate is given and the times of the rows do not tell it; export the file again");
  out->rate_hz = rate * units_a_second(c) / c->multiplier;
  out->uneven = plb_clock_uneven(&p->clock);
  out->gap_row = p->clock.widest_row;
  return PLB_OK;
}

/* The least and most numbers are the recorder's range when they look like a converter's: -2^k or 1 - 2^k to 2^k - 1. */
static void set_rails(const plb_comtrade_channel *from, plb_samples *s) {
  for (double full = 128.0; full <= 2147483648.0; full *= 2.0)
    if (from->most == full - 1.0 && (from->least == -full || from->least == 1.0 - full)) {
      s->code_low = (int32_t)from->least;
      s->code_high = (int32_t)from->most;
    }
}

/* Numbers as they stand in the rows become values. */
static plb_status scale(const plb_comtrade_channel *from, plb_samples *s, size_t n, plb_error *err) {
  if (s->code && from->decimals >= 0 && s->decimals + from->decimals <= 22) {
    s->decimals += from->decimals;
    return PLB_OK;
  }
  if (s->code && s->decimals == 0) {
    s->decimals = -1;
    s->scale = from->a;
    s->offset = from->b;
    set_rails(from, s);
    return PLB_OK;
  }
  if (s->code) {
    s->real = plb_resize(NULL, n, sizeof *s->real);
    if (!s->real)
      return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
    for (size_t i = 0; i < n; i++)
      s->real[i] = s->code[i] / (double)plb_power10_u[s->decimals];
    free(s->code);
    s->code = NULL;
  }
  for (size_t i = 0; i < n && (from->a != 1.0 || from->b != 0.0); i++)
    s->real[i] = from->a * s->real[i] + from->b;
  return PLB_OK;
}

/* ---- text ---- */

typedef struct text_rows {
  const plb_comtrade *c;
  plb_column *column; /* [size: channels] */
  const char *p, *end;
  int64_t line;
  progress seen;
} text_rows;

static bool ends_line(char c) { return c == '\n' || c == '\r' || c == '\0' || c == 0x1A; }

static const char *behind_blanks(const char *p) {
  while (*p == ' ' || *p == '\t')
    p++;
  return p;
}

/* One cell at `r->p`; its end must be a comma or the end of the line. @return false: it is no number */
static bool read_cell(text_rows *r, double *value, bool *empty, plb_decimal *decimal, bool *simple) {
  const char *p = behind_blanks(r->p);
  *empty = *p == ',' || ends_line(*p) || p >= r->end;
  *simple = false;
  if (*empty) {
    r->p = p;
    return true;
  }
  const char *stop = p;
  while (stop < r->end && *stop != ',' && !ends_line(*stop))
    stop++;
  const char *last = stop;
  while (last > p && (last[-1] == ' ' || last[-1] == '\t'))
    last--;
  *simple = plb_decimal_scan(p, '.', decimal) == last && plb_decimal_value(decimal, value);
  const bool good = *simple || plb_number_value(p, (size_t)(last - p), '.', value);
  if (good)
    r->p = stop;
  return good;
}

static plb_status fail_cell(const text_rows *r, const char *start, size_t cell, plb_error *err) {
  return plb_fail_line(err, PLB_EDATA, r->line, behind_blanks(r->p) - start + 1,
                       "column %zu of this row is not a number; correct the cell or leave it empty", cell + 1);
}

static plb_status put(text_rows *r, size_t row, size_t channel, double value, const plb_decimal *decimal, bool simple,
                      plb_error *err) {
  const plb_comtrade *c = r->c;
  const size_t room = (size_t)c->rows;
  plb_column *column = &r->column[channel];
  if (isnan(value) || (c->year == 1991 && channel < c->analogs && value == 99999.0)) {
    r->seen.missing++;
    return plb_column_put_real(column, row, room, NAN) == PLB_PUT_STORED ? PLB_OK
                                                                        : plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  }
  plb_column_put_result result = simple ? plb_column_put(column, row, room, decimal) : PLB_PUT_HARD;
  if (result == PLB_PUT_HARD)
    result = plb_column_put_real(column, row, room, value);
  return result == PLB_PUT_STORED ? PLB_OK
                                  : plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
}

static plb_status read_row(text_rows *r, size_t row, plb_error *err) {
  const plb_comtrade *c = r->c;
  const char *start = r->p;
  const size_t cells = 2 + c->analogs + c->states;
  for (size_t j = 0; j < cells; j++) {
    double value = NAN;
    bool empty, simple;
    plb_decimal decimal;
    if (!read_cell(r, &value, &empty, &decimal, &simple))
      return fail_cell(r, start, j, err);
    const bool last = j + 1 == cells;
    if ((*r->p == ',') == last || (empty && j == 0))
      return plb_fail_line(err, PLB_EDATA, r->line, r->p - start + 1,
                           "a row has %zu columns for these channels, this one %s; correct it or export the file again", cells,
                           last ? "has more" : "has fewer");
    if (j >= 2 + c->analogs && !empty && value != 0.0 && value != 1.0)
      return plb_fail_line(err, PLB_EDATA, r->line, r->p - start, "a status channel is 0 or 1, not %.10g; correct it or export the file again",
                           value);
    if (j == 0 && !(value >= 0.0 && value < 1e15 && note_row(&r->seen, row, (uint64_t)value)))
      return plb_fail_line(err, PLB_EDATA, r->line, 1, "the row numbers do not follow each other here; copy or export the file again");
    if (j == 1 && !note_time(c, &r->seen, row, value))
      return plb_fail_line(err, PLB_EDATA, r->line, 0, "time goes back in this row; export the file again");
    const plb_status status = j < 2 ? PLB_OK : put(r, row, j - 2, value, &decimal, simple, err);
    if (status != PLB_OK)
      return status;
    r->p += !last;
  }
  r->p += r->p < r->end && *r->p == '\r';
  r->p += r->p < r->end && *r->p == '\n';
  r->line++;
  return PLB_OK;
}

static void skip_blank_lines(text_rows *r) {
  while (r->p < r->end && (ends_line(*r->p) || *r->p == ' ')) {
    r->line += *r->p == '\n';
    r->p++;
  }
}

static plb_status read_rows(text_rows *r, plb_error *err) {
  const plb_comtrade *c = r->c;
  start(&r->seen);
  for (size_t row = 0; row < c->rows; row++) {
    skip_blank_lines(r);
    if (r->p >= r->end)
      return plb_fail_line(err, PLB_EDATA, r->line, 0, "the data ends after %zu of %llu rows; copy or export the file again", row,
                           (unsigned long long)c->rows);
    const plb_status status = read_row(r, row, err);
    if (status != PLB_OK)
      return status;
  }
  skip_blank_lines(r);
  return r->p >= r->end ? PLB_OK
                        : plb_fail_line(err, PLB_EDATA, r->line, 0, "there are more rows than the %llu that the configuration promises; export the file again",
                                        (unsigned long long)c->rows);
}

plb_status plb_comtrade_read_text(const plb_comtrade *c, plb_capture *out, const char *data, size_t size, int64_t first_line,
                                  plb_error *err) {
  const size_t channels = c->analogs + c->states;
  text_rows r = {.c = c, .p = data, .end = data + size, .line = first_line};
  if (c->rows > size / 2) /* a row has at least a digit and its end: no memory for rows that cannot be there */
    return plb_fail_line(err, PLB_EDATA, c->rows_line, 0, "%llu rows are promised, and there is no room for them in %zu bytes; copy or export the file again",
                         (unsigned long long)c->rows, size);
  r.column = plb_calloc(channels, sizeof *r.column);
  plb_status status = r.column ? PLB_OK : plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  for (size_t i = 0; status == PLB_OK && i < channels; i++) {
    r.column[i].kind = PLB_COLUMN_CODE;
    if (!plb_column_reserve(&r.column[i], (size_t)c->rows))
      status = plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  }
  if (status == PLB_OK)
    status = read_rows(&r, err);
  if (status == PLB_OK)
    status = finish_time(c, &r.seen, out, err);
  for (size_t i = 0; status == PLB_OK && i < channels; i++) {
    plb_column_release(&r.column[i], (size_t)c->rows, (size_t)c->rows, &out->channel[i].samples);
    status = scale(&c->channel[i], &out->channel[i].samples, (size_t)c->rows, err);
  }
  if (status == PLB_OK && r.seen.missing > 0)
    plb_capture_add_note(out, "missing samples: %zu", r.seen.missing);
  for (size_t i = 0; r.column && i < channels; i++)
    plb_column_dispose(&r.column[i]);
  free(r.column);
  return status;
}

/* ---- binary ---- */

static size_t bytes_of_analog(const plb_comtrade *c) { return c->kind == PLB_COMTRADE_BINARY ? 2 : 4; }

/* Integers stay codes unless one of them stands for "missing". */
static plb_status read_integers(const plb_comtrade *c, const char *first, size_t stride, size_t n, plb_samples *out, size_t *missing) {
  const size_t bytes = bytes_of_analog(c);
  const int64_t none = bytes == 2 ? INT16_MIN : INT32_MIN;
  size_t absent = 0;
  for (size_t i = 0; i < n; i++)
    absent += plb_signed(first + i * stride, bytes, false) == none ? 1 : 0;
  *out = (plb_samples){.scale = 1.0};
  if (absent > 0)
    out->real = plb_resize(NULL, n, sizeof *out->real);
  else
    out->code = plb_resize(NULL, n, sizeof *out->code);
  if (!out->real && !out->code)
    return PLB_ENOMEM;
  for (size_t i = 0; i < n; i++) {
    const int64_t x = plb_signed(first + i * stride, bytes, false);
    if (out->code)
      out->code[i] = (int32_t)x;
    else
      out->real[i] = x == none ? NAN : (double)x;
  }
  *missing += absent;
  return PLB_OK;
}

static plb_status read_floats(const char *first, size_t stride, size_t n, plb_samples *out, size_t *missing) {
  *out = (plb_samples){.scale = 1.0, .real = plb_resize(NULL, n, sizeof *out->real)};
  if (!out->real)
    return PLB_ENOMEM;
  for (size_t i = 0; i < n; i++) {
    const double x = (double)plb_f32(plb_u32_le(first + i * stride));
    out->real[i] = isfinite(x) ? x : NAN;
    *missing += isfinite(x) ? 0 : 1;
  }
  return PLB_OK;
}

static plb_status read_bits(const char *first, unsigned bit, size_t stride, size_t n, plb_samples *out) {
  *out = (plb_samples){.scale = 1.0, .code = plb_resize(NULL, n, sizeof *out->code)};
  if (!out->code)
    return PLB_ENOMEM;
  for (size_t i = 0; i < n; i++)
    out->code[i] = plb_u16_le(first + i * stride) >> bit & 1;
  return PLB_OK;
}

static plb_status check_size(const plb_comtrade *c, size_t row, size_t size, size_t at, plb_error *err) {
  const uint64_t promised = c->rows * row;
  if (size < promised)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)(at + size),
                         "the data is cut off: %llu rows of %zu bytes are promised, %zu are there; copy or export the file again",
                         (unsigned long long)c->rows, row, size / row);
  if (size > promised)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)(at + promised),
                         "there are %llu more bytes than the %llu rows that the configuration promises; export the file again",
                         (unsigned long long)(size - promised), (unsigned long long)c->rows);
  return PLB_OK;
}

plb_status plb_comtrade_read_binary(const plb_comtrade *c, plb_capture *out, const char *data, size_t size, size_t at,
                                    plb_error *err) {
  const size_t bytes = bytes_of_analog(c), n = (size_t)c->rows;
  const size_t row = BINARY_ROW + bytes * c->analogs + 2 * ((c->states + STATES_IN_WORD - 1) / STATES_IN_WORD);
  progress seen;
  plb_status status = check_size(c, row, size, at, err);
  start(&seen);
  for (size_t i = 0; status == PLB_OK && i < n; i++) {
    const uint32_t time = plb_u32_le(data + i * row + 4);
    if (!note_row(&seen, i, plb_u32_le(data + i * row)))
      status = plb_fail_byte(err, PLB_EDATA, (int64_t)(at + i * row), "the row numbers do not follow each other here; copy or export the file again");
    else if (!note_time(c, &seen, i, time == no_time ? NAN : (double)time))
      status = plb_fail_byte(err, PLB_EDATA, (int64_t)(at + i * row + 4), "time goes back in this row; export the file again");
  }
  if (status == PLB_OK)
    status = finish_time(c, &seen, out, err);
  for (size_t i = 0; status == PLB_OK && i < c->analogs + c->states; i++) {
    plb_samples *s = &out->channel[i].samples;
    const char *first = data + BINARY_ROW + bytes * i;
    const size_t state = i - c->analogs;
    if (i >= c->analogs)
      status = read_bits(data + BINARY_ROW + bytes * c->analogs + 2 * (state / STATES_IN_WORD), (unsigned)(state % STATES_IN_WORD), row, n, s);
    else if (c->kind == PLB_COMTRADE_FLOAT32)
      status = read_floats(first, row, n, s, &seen.missing);
    else
      status = read_integers(c, first, row, n, s, &seen.missing);
    status = status == PLB_OK ? scale(&c->channel[i], s, n, err)
                              : plb_fail(err, status, "not enough memory for this recording; close other programs");
  }
  if (status == PLB_OK && seen.missing > 0)
    plb_capture_add_note(out, "missing samples: %zu", seen.missing);
  return status;
}
