#include "capture/comtrade.h"
#include "capture/put.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/*
 * COMTRADE 2013; comtrade.h has the layout. Numbers of a converter or of decimal text stay the whole numbers they are,
 * with a = 10^-k or the converter's step: 16 bits where they fit, else 32. Other values are floats where each of them is
 * one. What is left is written in text with every digit, or asked for in binary, as one of 2^32 steps: only that loses.
 */

static const size_t most_bytes = (size_t)16 << 30;
static const double finest = 4294967292.0; /* steps of 32 bits without the number that means "missing" */

typedef struct lane {
  bool whole; /* the recording's own codes */
  double a, b;
} lane;

static bool has_codes(const plb_channel *c) { return c->samples.code && c->factor == 1.0; }

static lane plan_lane(const plb_capture *capture, size_t channel, bool steps) {
  const plb_channel *c = &capture->channel[channel];
  if (has_codes(c) && c->samples.decimals >= 0)
    return (lane){true, 1.0 / pow(10.0, c->samples.decimals), 0.0};
  if (has_codes(c))
    return (lane){true, c->samples.scale, c->samples.offset};
  double least = INFINITY, most = -INFINITY;
  for (size_t i = 0; steps && i < capture->samples; i++) {
    double value;
    plb_capture_values(capture, channel, i, 1, &value);
    if (isfinite(value)) {
      least = value < least ? value : least;
      most = value > most ? value : most;
    }
  }
  if (!(most > least))
    return (lane){false, 1.0, steps && most == least ? most : 0.0};
  return (lane){false, most / finest - least / finest, least / 2.0 + most / 2.0};
}

static plb_comtrade_kind choose_kind(const plb_capture *capture) {
  bool narrow = true, whole = true;
  for (size_t i = 0; i < capture->channels; i++) {
    const plb_channel *c = &capture->channel[i];
    whole = whole && has_codes(c);
    for (size_t k = 0; whole && narrow && k < capture->samples; k++)
      narrow = c->samples.code[k] > INT16_MIN && c->samples.code[k] <= INT16_MAX;
  }
  if (whole)
    return narrow ? PLB_COMTRADE_BINARY : PLB_COMTRADE_BINARY32;
  return plb_capture_fits_float(capture) ? PLB_COMTRADE_FLOAT32 : PLB_COMTRADE_BINARY32;
}

/* Commas and line ends part the fields. */
static void put_field(plb_buffer *b, const char *text) {
  for (; *text; text++)
    plb_buffer_append(b, *text == ',' || (unsigned char)*text < ' ' ? " " : text, 1);
}

static void put_number(plb_buffer *b, double value) {
  char text[PLB_NUMBER_SIZE];
  plb_text_from_number(value, text);
  plb_buffer_puts(b, text);
}

static void put_range(plb_buffer *b, const plb_samples *s, plb_comtrade_kind kind) {
  if (kind == PLB_COMTRADE_FLOAT32)
    plb_buffer_puts(b, "-3.4028234663852886E+38,3.4028234663852886E+38");
  else if (s->code && s->code_high > s->code_low)
    plb_buffer_printf(b, "%d,%d", (int)s->code_low, (int)s->code_high);
  else if (kind == PLB_COMTRADE_BINARY)
    plb_buffer_puts(b, "-32767,32767");
  else
    plb_buffer_puts(b, "-2147483646,2147483646");
}

static void put_config(plb_buffer *b, const plb_capture *capture, const lane *lanes, plb_comtrade_kind kind, double multiplier) {
  plb_buffer_printf(b, ",,2013\r\n%zu,%zuA,0D\r\n", capture->channels, capture->channels);
  for (size_t i = 0; i < capture->channels; i++) {
    const plb_channel *c = &capture->channel[i];
    plb_buffer_printf(b, "%zu,", i + 1);
    put_field(b, c->role);
    plb_buffer_puts(b, ",,,");
    put_field(b, c->unit);
    plb_buffer_puts(b, ",");
    put_number(b, kind == PLB_COMTRADE_FLOAT32 ? 1.0 : lanes[i].a);
    plb_buffer_puts(b, ",");
    put_number(b, kind == PLB_COMTRADE_FLOAT32 ? 0.0 : lanes[i].b);
    plb_buffer_puts(b, ",0,");
    put_range(b, &c->samples, kind);
    plb_buffer_puts(b, ",1,1,P\r\n");
  }
  plb_buffer_puts(b, "0\r\n1\r\n");
  put_number(b, capture->rate_hz);
  plb_buffer_printf(b, ",%zu\r\n01/01/1970,00:00:00.000000\r\n01/01/1970,00:00:00.000000\r\n%s\r\n", capture->samples,
                    plb_comtrade_kind_name[kind]);
  put_number(b, multiplier);
  plb_buffer_puts(b, "\r\n0,0\r\nF,F\r\n");
}

/* The least power of ten with which 32 bits hold the last time [us]. */
static double choose_multiplier(const plb_capture *capture) {
  double multiplier = 1.0;
  const double last_us = (capture->start_s + (double)capture->samples / capture->rate_hz) * 1e6;
  while (last_us / multiplier > 4294967290.0)
    multiplier *= 10.0;
  return multiplier;
}

static uint32_t time_of(const plb_capture *capture, size_t row, double multiplier) {
  const double us = (capture->start_s + (double)row / capture->rate_hz) * 1e6 / multiplier;
  return us > 0.0 ? (uint32_t)floor(us + 0.5) : 0;
}

static void put_text_value(plb_buffer *b, const plb_channel *c, lane l, size_t at, double value) {
  plb_buffer_puts(b, ",");
  if (l.whole)
    plb_buffer_printf(b, "%d", (int)c->samples.code[at]);
  else if (isfinite(value))
    put_number(b, value);
}

static void put_binary_value(plb_buffer *b, const plb_channel *c, lane l, size_t at, double value, plb_comtrade_kind kind) {
  const size_t size = kind == PLB_COMTRADE_BINARY ? 2 : 4;
  if (kind == PLB_COMTRADE_FLOAT32)
    plb_put_f32(b, value);
  else if (l.whole)
    plb_put_le(b, (uint32_t)c->samples.code[at], size);
  else
    plb_put_le(b, isfinite(value) ? (uint32_t)(int32_t)floor((value - l.b) / l.a + 0.5) : 0x80000000u, size);
}

static void put_rows(plb_buffer *b, const plb_capture *capture, const lane *lanes, plb_comtrade_kind kind, double multiplier) {
  for (size_t i = 0; i < capture->samples && b->status == PLB_OK; i++) {
    const uint32_t time = time_of(capture, i, multiplier);
    if (kind == PLB_COMTRADE_ASCII) {
      plb_buffer_printf(b, "%zu,%lu", i + 1, (unsigned long)time);
    } else {
      plb_put_le(b, i + 1, 4);
      plb_put_le(b, time, 4);
    }
    for (size_t k = 0; k < capture->channels; k++) {
      double value;
      plb_capture_values(capture, k, i, 1, &value);
      if (kind == PLB_COMTRADE_ASCII)
        put_text_value(b, &capture->channel[k], lanes[k], i, value);
      else
        put_binary_value(b, &capture->channel[k], lanes[k], i, value, kind);
    }
    if (kind == PLB_COMTRADE_ASCII)
      plb_buffer_puts(b, "\r\n");
  }
}

static plb_status write_one(plb_buffer *config, const plb_buffer *rows, plb_comtrade_kind kind, const char *path, plb_error *err) {
  plb_buffer all;
  plb_buffer_init(&all, most_bytes);
  plb_buffer_puts(&all, "--- file type: CFG ---\r\n");
  plb_buffer_append(&all, config->data, config->size);
  if (kind == PLB_COMTRADE_ASCII)
    plb_buffer_puts(&all, "--- file type: DAT ASCII ---\r\n");
  else
    plb_buffer_printf(&all, "--- file type: DAT %s: %zu ---\r\n", plb_comtrade_kind_name[kind], rows->size);
  plb_buffer_append(&all, rows->data, rows->size);
  return plb_put_file(&all, path, err);
}

static plb_status write_two(plb_buffer *config, plb_buffer *rows, const char *path, plb_error *err) {
  char beside[PLB_PATH_SIZE];
  const size_t n = strlen(path);
  if (n < 4 || n >= sizeof beside)
    return plb_fail(err, PLB_EUSAGE, "%s does not end in .cfg or .cff", path);
  memcpy(beside, path, n + 1);
  memcpy(beside + n - 3, path[n - 1] == 'G' ? "DAT" : "dat", 3);
  const plb_status status = plb_put_file(rows, beside, err);
  return status == PLB_OK ? plb_put_file(config, path, err) : status;
}

plb_status plb_capture_write_comtrade(const plb_capture *capture, const char *path, bool text, plb_error *err) {
  const size_t n = strlen(path);
  const plb_comtrade_kind kind = text ? PLB_COMTRADE_ASCII : choose_kind(capture);
  if (capture->channels > PLB_COMTRADE_MOST_CHANNELS || capture->samples > 0xFFFFFFF0u)
    return plb_fail(err, PLB_EDATA, "more than %d channels or 2^32 rows; write a part of the recording", PLB_COMTRADE_MOST_CHANNELS);
  lane *lanes = plb_calloc(capture->channels + 1, sizeof *lanes);
  if (!lanes)
    return plb_fail(err, PLB_ENOMEM, "not enough memory to write this recording; close other programs");
  for (size_t i = 0; i < capture->channels; i++)
    lanes[i] = plan_lane(capture, i, kind == PLB_COMTRADE_BINARY32);
  plb_buffer config, rows;
  plb_buffer_init(&config, most_bytes);
  plb_buffer_init(&rows, most_bytes);
  const double multiplier = choose_multiplier(capture);
  put_config(&config, capture, lanes, kind, multiplier);
  put_rows(&rows, capture, lanes, kind, multiplier);
  plb_status status = config.status != PLB_OK ? config.status : rows.status;
  if (status != PLB_OK)
    status = plb_fail(err, status, "not enough memory to write this recording; write a shorter part of it");
  else if (n > 4 && (path[n - 1] == 'f' || path[n - 1] == 'F'))
    status = write_one(&config, &rows, kind, path, err);
  else
    status = write_two(&config, &rows, path, err);
  plb_buffer_dispose(&config);
  plb_buffer_dispose(&rows);
  free(lanes);
  return status;
}
