/* Readings as a table for people and as one line of JSON for programs. */
#include "reading/reading.h"

#include <math.h>
#include <string.h>

enum { PRINT_MOST = 1 << 28 };

static plb_status give(plb_buffer *b, char **out, plb_error *err) {
  *out = NULL;
  if (b->status != PLB_OK) {
    const plb_status status = b->status;
    plb_buffer_dispose(b);
    return plb_fail(err, status, "no memory to write the readings");
  }
  *out = b->data;
  return PLB_OK;
}

/* Five digits: a scope has 8 to 16 bits. */
static void put_scaled(char *out, size_t size, double value, double factor) {
  if (isfinite(value))
    plb_text_print(out, size, "%.5g", value * factor + 0.0);
  else
    plb_text_print(out, size, "%s", "");
}

/* One scale for the whole line, so that its numbers can be compared. */
static double largest(const plb_reading *r) {
  return fmax(fmax(fabs(r->value), r->uncertainty), fmax(fabs(r->lowest), fabs(r->highest)));
}

/* `r` is the one that names the line: `whole` where there is one, else `cycles`. */
static void put_line(plb_buffer *b, const plb_reading *r, const plb_reading *whole, const plb_reading *cycles) {
  const char *unit = r->unit;
  const double factor = plb_unit_scale_for_people(largest(r), r->unit, &unit);
  char value[32] = "", doubt[32] = "", median[32] = "", low[32] = "", high[32] = "", count[32] = "",
       name[2 * PLB_NAME_SIZE];
  plb_text_say(name, sizeof name, "%s%s%s", r->name, r->against[0] ? " to " : "", r->against);
  if (whole)
    put_scaled(value, sizeof value, whole->value, factor);
  if (isfinite(r->uncertainty))
    plb_text_print(doubt, sizeof doubt, "+-%.3g", r->uncertainty * factor);
  if (cycles) {
    put_scaled(median, sizeof median, cycles->value, factor);
    put_scaled(low, sizeof low, cycles->lowest, factor);
    put_scaled(high, sizeof high, cycles->highest, factor);
    plb_text_print(count, sizeof count, "%zu", cycles->count);
  }
  char line[512];
  plb_text_print(line, sizeof line, "  %-16s%11s %-11s %-6s%11s %11s %11s %8s", name, value, doubt,
                 strcmp(unit, "1") == 0 ? "" : unit, median, low, high, count);
  size_t length = strlen(line);
  while (length > 0 && line[length - 1] == ' ')
    line[--length] = '\0';
  plb_buffer_printf(b, "%s\n", line);
}

static bool goes_with(const plb_reading *a, const plb_reading *b) {
  return strcmp(a->name, b->name) == 0 && strcmp(a->channel, b->channel) == 0 && strcmp(a->against, b->against) == 0;
}

plb_status plb_readings_text(char **out, const plb_readings *readings, const plb_capture *capture, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_printf(&b, "%s: %zu samples from %.6g s to %.6g s\n", plb_capture_path(capture), readings->samples,
                    readings->from_s, readings->from_s + (double)readings->samples / plb_capture_rate_hz(capture));
  for (size_t i = 0; i < plb_capture_applieds(capture); i++)
    plb_buffer_printf(&b, "applied: %s\n", plb_capture_applied(capture, i));
  const char *channel = NULL;
  for (size_t i = 0; i < readings->count; i++) {
    const plb_reading *r = &readings->reading[i];
    if (!channel || strcmp(channel, r->channel) != 0) {
      channel = r->channel;
      plb_buffer_printf(&b, "\n%s\n  %-16s%11s %-11s %-6s%11s %11s %11s %8s\n", channel, "reading", "value", "", "unit",
                        "median", "lowest", "highest", "count");
    }
    const plb_reading *next = i + 1 < readings->count && goes_with(r, r + 1) ? r + 1 : NULL;
    put_line(&b, r, r->scope == PLB_SCOPE_CAPTURE ? r : NULL, r->scope == PLB_SCOPE_CYCLE ? r : next);
    i += r->scope == PLB_SCOPE_CAPTURE && next != NULL;
  }
  plb_buffer_puts(
      &b, "\nvalue: over all of it, of pulses and transitions the mean; +-: one sample interval or one code step;\n"
          "median, lowest, highest, count: cycle by cycle\n");
  for (size_t i = 0; i < readings->notes; i++)
    plb_buffer_printf(&b, "note: %s\n", readings->note[i]);
  return give(&b, out, err);
}

static void json_key(plb_buffer *b, const char *key, const char *text) {
  plb_buffer_printf(b, "\"%s\":", key);
  plb_buffer_json(b, text);
}

static void json_number(plb_buffer *b, const char *key, double value) {
  char text[PLB_NUMBER_SIZE];
  plb_text_from_number(value + 0.0, text);
  plb_buffer_printf(b, ",\"%s\":%s", key, isfinite(value) ? text : "null");
}

static void json_reading(plb_buffer *b, const plb_reading *r) {
  plb_buffer_puts(b, "{");
  json_key(b, "channel", r->channel);
  plb_buffer_puts(b, ",\"against\":");
  if (r->against[0])
    plb_buffer_json(b, r->against);
  else
    plb_buffer_puts(b, "null");
  plb_buffer_puts(b, ",");
  json_key(b, "name", r->name);
  json_number(b, "value", r->value);
  plb_buffer_puts(b, ",");
  json_key(b, "unit", r->unit);
  json_number(b, "uncertainty", r->uncertainty);
  plb_buffer_printf(b, ",\"scope\":\"%s\",\"count\":%zu", r->scope == PLB_SCOPE_CYCLE ? "cycle" : "capture", r->count);
  json_number(b, "lowest", r->lowest);
  json_number(b, "highest", r->highest);
  plb_buffer_puts(b, "}");
}

plb_status plb_readings_json(char **out, const plb_readings *readings, const plb_capture *capture, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_puts(&b, "{\"format\":\"plumbline.readings/1\",\"capture\":{");
  json_key(&b, "path", plb_capture_path(capture));
  plb_buffer_puts(&b, ",");
  json_key(&b, "sha256", plb_capture_sha256(capture));
  json_number(&b, "rate_hz", plb_capture_rate_hz(capture));
  plb_buffer_printf(&b, ",\"samples\":%zu,\"applied\":[", plb_capture_samples(capture));
  for (size_t i = 0; i < plb_capture_applieds(capture); i++) {
    plb_buffer_puts(&b, i ? "," : "");
    plb_buffer_json(&b, plb_capture_applied(capture, i));
  }
  plb_buffer_puts(&b, "]}");
  json_number(&b, "from_s", readings->from_s);
  plb_buffer_printf(&b, ",\"samples\":%zu,\"readings\":[", readings->samples);
  for (size_t i = 0; i < readings->count; i++) {
    plb_buffer_puts(&b, i ? "," : "");
    json_reading(&b, &readings->reading[i]);
  }
  plb_buffer_puts(&b, "],\"notes\":[");
  for (size_t i = 0; i < readings->notes; i++) {
    plb_buffer_puts(&b, i ? "," : "");
    plb_buffer_json(&b, readings->note[i]);
  }
  plb_buffer_puts(&b, "]}\n");
  return give(&b, out, err);
}
