/* A series as a table for people, as columns for other programs, as one line of JSON. */
#include "reading/reading.h"

#include <math.h>
#include <string.h>

enum { PRINT_MOST = 1 << 30 };

static plb_status give(plb_buffer *b, char **out, plb_error *err) {
  *out = NULL;
  if (b->status != PLB_OK) {
    const plb_status status = b->status;
    plb_buffer_dispose(b);
    return plb_fail(err, status, "no memory to write the series; give a longer --every");
  }
  *out = b->data;
  return PLB_OK;
}

static void put_number(plb_buffer *b, double value, int digits) {
  char text[PLB_NUMBER_SIZE];
  plb_text_print(text, sizeof text, "%.*g", digits, value + 0.0);
  plb_buffer_puts(b, text);
}

/* Where a value is the lowest (highest) so far; the first one is both and says nothing. */
static const char *record(double value, double *low, double *high) {
  if (!isfinite(value))
    return "";
  const bool first = !isfinite(*low), lower = first || value < *low, higher = first || value > *high;
  *low = lower ? value : *low;
  *high = higher ? value : *high;
  return first ? "" : lower ? "  lowest so far" : higher ? "  highest so far" : "";
}

static void put_extreme(plb_buffer *b, const plb_series *s, const char *name, size_t at, double factor, const char *unit) {
  plb_buffer_printf(b, "%s ", name);
  put_number(b, s->value[at] * factor, 5);
  plb_buffer_printf(b, "%s%s at ", strcmp(unit, "1") == 0 ? "" : " ", strcmp(unit, "1") == 0 ? "" : unit);
  put_number(b, s->time_s[at], 9);
  plb_buffer_puts(b, " s");
}

plb_status plb_series_text(char **out, const plb_series *s, const plb_capture *capture, plb_error *err) {
  plb_buffer b;
  const char *unit = s->unit;
  const double largest = fmax(fabs(s->value[s->lowest]), fabs(s->value[s->highest]));
  const double factor = plb_unit_scale_for_people(largest, s->unit, &unit);
  double low = (double)NAN, high = (double)NAN;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_printf(&b, "%s: %s of %s, %zu values\n\n%14s  %s", plb_capture_path(capture), s->reading, s->channel,
                    s->count, "time [s]", s->reading);
  if (strcmp(unit, "1") != 0)
    plb_buffer_printf(&b, " [%s]", unit);
  plb_buffer_puts(&b, "\n");
  for (size_t i = 0; i < s->count; i++) {
    char value[PLB_NUMBER_SIZE] = "-";
    if (isfinite(s->value[i]))
      plb_text_print(value, sizeof value, "%.5g", s->value[i] * factor + 0.0);
    plb_buffer_printf(&b, "%14.9g  %s%s\n", s->time_s[i], value, record(s->value[i], &low, &high));
  }
  plb_buffer_puts(&b, "\n");
  put_extreme(&b, s, "lowest", s->lowest, factor, unit);
  put_extreme(&b, s, "; highest", s->highest, factor, unit);
  plb_buffer_puts(&b, "\n");
  if (s->note[0])
    plb_buffer_printf(&b, "note: %s\n", s->note);
  return give(&b, out, err);
}

static void put_cell(plb_buffer *b, double value) {
  plb_buffer_puts(b, ",");
  if (isfinite(value))
    put_number(b, value, 9);
}

plb_status plb_series_csv(char **out, const plb_series *s, plb_error *err) {
  plb_buffer b;
  double low = (double)NAN, high = (double)NAN;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_printf(&b, "time [s],%s [%s],lowest so far [%s],highest so far [%s]\n", s->reading, s->unit, s->unit, s->unit);
  for (size_t i = 0; i < s->count; i++) {
    record(s->value[i], &low, &high);
    put_number(&b, s->time_s[i], 12);
    put_cell(&b, s->value[i]);
    put_cell(&b, low);
    put_cell(&b, high);
    plb_buffer_puts(&b, "\n");
  }
  return give(&b, out, err);
}

static void put_string(plb_buffer *b, const char *key, const char *text) {
  plb_buffer_printf(b, ",\"%s\":", key);
  plb_buffer_json(b, text);
}

static void put_array(plb_buffer *b, const char *key, const double *x, size_t n, int digits) {
  plb_buffer_printf(b, ",\"%s\":[", key);
  for (size_t i = 0; i < n; i++) {
    plb_buffer_puts(b, i ? "," : "");
    if (isfinite(x[i]))
      put_number(b, x[i], digits);
    else
      plb_buffer_puts(b, "null");
  }
  plb_buffer_puts(b, "]");
}

static void put_place(plb_buffer *b, const char *key, const plb_series *s, size_t at) {
  plb_buffer_printf(b, ",\"%s\":{\"time_s\":", key);
  put_number(b, s->time_s[at], 12);
  plb_buffer_puts(b, ",\"value\":");
  put_number(b, s->value[at], 9);
  plb_buffer_puts(b, "}");
}

plb_status plb_series_json(char **out, const plb_series *s, const plb_capture *capture, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_puts(&b, "{\"format\":\"plumbline.series/1\",\"capture\":{\"samples\":");
  plb_buffer_printf(&b, "%zu", plb_capture_samples(capture));
  put_string(&b, "path", plb_capture_path(capture));
  put_string(&b, "sha256", plb_capture_sha256(capture));
  plb_buffer_puts(&b, "}");
  put_string(&b, "reading", s->reading);
  put_string(&b, "channel", s->channel);
  put_string(&b, "unit", s->unit);
  plb_buffer_puts(&b, ",\"every_s\":");
  if (s->every_s > 0)
    put_number(&b, s->every_s, 12);
  else
    plb_buffer_puts(&b, "null");
  put_array(&b, "time_s", s->time_s, s->count, 12);
  put_array(&b, "value", s->value, s->count, 9);
  put_place(&b, "lowest", s, s->lowest);
  put_place(&b, "highest", s, s->highest);
  if (s->note[0])
    put_string(&b, "note", s->note);
  else
    plb_buffer_puts(&b, ",\"note\":null");
  plb_buffer_puts(&b, "}\n");
  return give(&b, out, err);
}
