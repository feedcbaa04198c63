#include "capture/bytes.h"
#include "capture/capture.h"
#include "capture/text_time.h"
#include <math.h>
#include <string.h>

/*
 * NumPy .npy, versions 1 to 3 (numpy/lib/format.py describes them):
 *
 *   0  \x93 "NUMPY"   6  u8 major   7  u8 minor   8  header length, u16 (version 1) or u32, little-endian
 *   then the header, then the array
 *
 * The header is a literal with the keys descr, fortran_order and shape. One dimension is one channel; of two, the
 * longer one is time.
 */

enum { MOST_CHANNELS = 1024, LONGEST_HEADER = 1 << 20 };

typedef struct array {
  const char *data; /* the file */
  size_t size;
  char kind;    /* i u f b */
  size_t bytes; /* of an element */
  bool big, fortran;
  size_t dimensions, shape[2];
  size_t body;
} array;

/* A place in the header, with the byte offset for messages. */
typedef struct cursor {
  const char *begin, *p, *end;
} cursor;

static int probe_npy(const char *data, size_t size) { return size >= 6 && memcmp(data, "\x93NUMPY", 6) == 0 ? 2 : 0; }

static plb_status fail_header(const cursor *c, plb_error *err) {
  return plb_fail_byte(err, PLB_EDATA, c->p - c->begin,
                       "the header of the .npy file is damaged here; save the array again");
}

static void skip_space(cursor *c) {
  while (c->p < c->end && (*c->p == ' ' || *c->p == '\n' || *c->p == '\t'))
    c->p++;
}

static bool take(cursor *c, char want) {
  skip_space(c);
  if (c->p >= c->end || *c->p != want)
    return false;
  c->p++;
  return true;
}

static bool take_word(cursor *c, const char *word) {
  skip_space(c);
  const size_t n = strlen(word);
  if ((size_t)(c->end - c->p) < n || memcmp(c->p, word, n) != 0)
    return false;
  c->p += n;
  return true;
}

/* A string in either kind of quotes, without escapes. */
static bool take_string(cursor *c, char *out, size_t size) {
  skip_space(c);
  if (c->p >= c->end || (*c->p != '\'' && *c->p != '"'))
    return false;
  const char quote = *c->p++;
  size_t n = 0;
  while (c->p < c->end && *c->p != quote && n + 1 < size)
    out[n++] = *c->p++;
  out[n] = '\0';
  return take(c, quote);
}

static bool take_size(cursor *c, size_t *out) {
  skip_space(c);
  const char *first = c->p;
  size_t value = 0;
  while (c->p < c->end && (unsigned char)(*c->p - '0') < 10) {
    if (value > SIZE_MAX / 100)
      return false;
    value = value * 10 + (size_t)(*c->p++ - '0');
  }
  if (c->p > first && c->p < c->end && *c->p == 'L')
    c->p++; /* long integers of old versions */
  *out = value;
  return c->p > first;
}

static plb_status read_shape(cursor *c, array *a, plb_error *err) {
  if (!take(c, '('))
    return fail_header(c, err);
  while (!take(c, ')')) {
    size_t length;
    const char *place = c->p;
    if (!take_size(c, &length))
      return fail_header(c, err);
    if (a->dimensions == 2)
      return plb_fail_byte(err, PLB_EDATA, place - c->begin,
                           "the array has more than two dimensions; save one of one or two");
    a->shape[a->dimensions++] = length;
    if (!take(c, ',') && !(take(c, ')')))
      return fail_header(c, err);
    if (c->p[-1] == ')')
      break;
  }
  return PLB_OK;
}

static plb_status read_type(cursor *c, array *a, plb_error *err) {
  char descr[32];
  skip_space(c);
  const int64_t place = c->p - c->begin;
  if (c->p < c->end && *c->p == '[')
    return plb_fail_byte(err, PLB_EDATA, place, "the array has named fields; save a plain array of numbers");
  if (!take_string(c, descr, sizeof descr))
    return fail_header(c, err);
  const char *p = descr;
  a->big = *p == '>';
  p += *p == '<' || *p == '>' || *p == '|' || *p == '=';
  a->kind = *p;
  if (a->kind == 'O')
    return plb_fail_byte(
        err, PLB_EDATA, place,
        "the array holds Python objects, which could run code when read; save it as numbers, such as float64");
  double bytes = 0.0;
  if (a->kind == '\0' || !plb_text_number(p + 1, strlen(p + 1), &bytes))
    return fail_header(c, err);
  const bool integer = (a->kind == 'i' || a->kind == 'u') && (bytes == 1 || bytes == 2 || bytes == 4 || bytes == 8);
  const bool real = a->kind == 'f' && (bytes == 2 || bytes == 4 || bytes == 8);
  if (!integer && !real && !(a->kind == 'b' && bytes == 1))
    return plb_fail_byte(err, PLB_EDATA, place,
                         "elements of type '%s' are not read; save the array as integers or float64", descr);
  a->bytes = (size_t)bytes;
  return PLB_OK;
}

static plb_status read_literal(cursor *c, array *a, plb_error *err) {
  unsigned seen = 0;
  plb_status status = PLB_OK;
  if (!take(c, '{'))
    return fail_header(c, err);
  while (status == PLB_OK && !take(c, '}')) {
    char key[32];
    if (!take_string(c, key, sizeof key) || !take(c, ':'))
      return fail_header(c, err);
    if (strcmp(key, "descr") == 0) {
      seen |= 1;
      status = read_type(c, a, err);
    } else if (strcmp(key, "fortran_order") == 0) {
      seen |= 2;
      a->fortran = take_word(c, "True");
      if (!a->fortran && !take_word(c, "False"))
        return fail_header(c, err);
    } else if (strcmp(key, "shape") == 0 && a->dimensions == 0) {
      seen |= 4;
      status = read_shape(c, a, err);
    } else {
      return fail_header(c, err);
    }
    if (status == PLB_OK && !take(c, ',')) {
      if (!take(c, '}'))
        return fail_header(c, err);
      break;
    }
  }
  return status != PLB_OK || seen == 7 ? status : fail_header(c, err);
}

static plb_status read_header(array *a, plb_error *err) {
  if (a->size < 12)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)a->size,
                         "the .npy file is cut off in its header; copy or save it again");
  const unsigned major = (unsigned char)a->data[6];
  if (major < 1 || major > 3)
    return plb_fail_byte(err, PLB_EDATA, 6,
                         "a .npy file of version %u; versions 1 to 3 are read, save it in one of them", major);
  const size_t start = major == 1 ? 10 : 12;
  const size_t length = major == 1 ? plb_u16_le(a->data + 8) : plb_u32_le(a->data + 8);
  if (length > LONGEST_HEADER)
    return plb_fail_byte(err, PLB_EDATA, 8, "a header of %zu bytes makes no sense; the file is damaged, save it again",
                         length);
  if (length > a->size - start)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)a->size,
                         "the .npy file is cut off in its header; copy or save it again");
  cursor c = {a->data, a->data + start, a->data + start + length};
  a->body = start + length;
  return read_literal(&c, a, err);
}

static plb_status check_size(array *a, plb_error *err) {
  size_t count = 1;
  for (size_t i = 0; i < a->dimensions; i++) {
    if (a->shape[i] > 0 && count > SIZE_MAX / 16 / a->shape[i])
      return plb_fail_byte(err, PLB_EDATA, (int64_t)a->body, "the array is too large; save a shorter part of it");
    count *= a->shape[i];
  }
  if (count == 0)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)a->body, "the array is empty; save it again");
  const size_t there = a->size - a->body, promised = count * a->bytes;
  if (there < promised)
    return plb_fail_byte(
        err, PLB_EDATA, (int64_t)a->size,
        "the .npy file is cut off: %zu bytes of numbers are promised, %zu are there; copy or save it again", promised,
        there);
  if (there > promised)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)(a->body + promised),
                         "there are %zu more bytes behind the array; save it again as one array", there - promised);
  return PLB_OK;
}

/* IEEE 754 binary16. */
static double half_value(unsigned bits) {
  const int exponent = (int)(bits >> 10 & 31);
  const double fraction = bits & 1023;
  double value = exponent == 31  ? (fraction > 0.0 ? NAN : INFINITY)
                 : exponent == 0 ? ldexp(fraction, -24)
                                 : ldexp(fraction + 1024.0, exponent - 25);
  return bits & 0x8000 ? -value : value;
}

static double element(const array *a, const char *p) {
  switch (a->kind) {
  case 'i':
    return (double)plb_signed(p, a->bytes, a->big);
  case 'u':
  case 'b':
    return (double)plb_unsigned(p, a->bytes, a->big);
  default:
    break;
  }
  const uint64_t bits = plb_unsigned(p, a->bytes, a->big);
  return a->bytes == 8 ? plb_f64(bits) : a->bytes == 4 ? (double)plb_f32((uint32_t)bits) : half_value((unsigned)bits);
}

/* Where the elements of a channel stand. */
typedef struct lane {
  const char *first;
  size_t stride, n;
} lane;

/* Integers of up to 32 bits, and longer ones that fit, stay codes. */
static plb_status read_lane(const array *a, lane from, plb_samples *out, plb_error *err) {
  bool codes = a->kind != 'f';
  for (size_t i = 0; codes && a->bytes >= 4 && i < from.n; i++) {
    const double value = element(a, from.first + i * from.stride);
    codes = value >= -(double)INT32_MAX && value <= (double)INT32_MAX;
  }
  int32_t *code = codes ? plb_resize(NULL, from.n, sizeof *code) : NULL;
  double *real = codes ? NULL : plb_resize(NULL, from.n, sizeof *real);
  if (!code && !real)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  for (size_t i = 0; i < from.n; i++) {
    const double value = element(a, from.first + i * from.stride);
    if (code)
      code[i] = (int32_t)value;
    else
      real[i] = isinf(value) ? NAN : value;
  }
  *out = (plb_samples){.code = code, .real = real, .scale = 1.0};
  return PLB_OK;
}

/* A channel is a column of the array; where there are more columns than rows, a row. */
static lane find_lane(const array *a, size_t channel, bool by_row) {
  const size_t rows = a->shape[0], columns = a->dimensions == 2 ? a->shape[1] : 1;
  const size_t row_stride = a->fortran ? a->bytes : columns * a->bytes;
  const size_t column_stride = a->fortran ? rows * a->bytes : a->bytes;
  const char *first = a->data + a->body;
  if (by_row)
    return (lane){first + channel * row_stride, column_stride, columns};
  return (lane){first + channel * column_stride, row_stride, rows};
}

/* The clock of a lane that rises by even steps; false when it does not. */
static bool read_clock(const array *a, lane from, plb_clock *clock) {
  plb_clock_start(clock, 300, a->bytes == 8 || a->kind != 'f' ? 15 : a->bytes == 4 ? 7 : 3);
  for (size_t i = 0; i < from.n; i++) {
    const double time = element(a, from.first + i * from.stride);
    if (!isfinite(time) || !plb_clock_tick(clock, time))
      return false;
  }
  return clock->count > 1 && clock->repeats == 0 && plb_clock_uneven(clock) < 0.8;
}

static plb_status read_npy(plb_capture *out, const char *data, size_t size, const plb_read_options *options,
                           plb_error *err) {
  array a = {.data = data, .size = size};
  plb_status status = read_header(&a, err);
  if (status == PLB_OK)
    status = check_size(&a, err);
  if (status != PLB_OK)
    return status;
  if (a.dimensions == 0)
    a.shape[0] = 1;
  const bool by_row = a.dimensions == 2 && a.shape[1] > a.shape[0];
  const size_t channels = a.dimensions < 2 ? 1 : by_row ? a.shape[0] : a.shape[1];
  if (channels > MOST_CHANNELS)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)a.body, "%zu channels are too many; save at most %d", channels,
                         MOST_CHANNELS);
  plb_clock clock;
  const bool has_time = options->rate_hz == 0.0 && channels > 1 && read_clock(&a, find_lane(&a, 0, by_row), &clock);
  if (options->rate_hz == 0.0 && !has_time)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)a.body, "no time column; give --rate");
  for (size_t i = has_time; i < channels; i++) {
    const lane from = find_lane(&a, i, by_row);
    plb_channel *channel = plb_capture_add_channel(out);
    if (!channel)
      return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
    plb_text_print(channel->role, sizeof channel->role, "c%zu", i + 1);
    channel->column = (int)i + 1;
    status = read_lane(&a, from, &channel->samples, err);
    if (status != PLB_OK)
      return status;
    out->samples = from.n;
  }
  out->rate_hz = has_time ? plb_clock_rate(&clock) : options->rate_hz;
  out->start_s = has_time ? clock.first : 0.0;
  out->uneven = has_time ? plb_clock_uneven(&clock) : 0.0;
  out->gap_row = has_time ? clock.widest_row : 0;
  if (has_time)
    plb_capture_add_note(out, "time column: 1 (s, told from its even rise)");
  if (by_row)
    plb_capture_add_note(out, "each row of the array is a channel, because it has more columns than rows");
  return PLB_OK;
}

const plb_format plb_format_npy = {"NumPy array", probe_npy, read_npy, NULL};
