/* Events as lines of JSON for programs and as lines for people. */
#include "event/event.h"

#include <math.h>
#include <string.h>

enum { PRINT_MOST = 1 << 16 };

const char *plb_event_kind_name(plb_event_kind kind) {
  static const char *const names[PLB_EVENT_KINDS] = {"dropout", "spike", "missing", "extra", "step", "stuck", "outside"};
  return (int)kind >= 0 && (int)kind < PLB_EVENT_KINDS ? names[kind] : "unknown";
}

static plb_status give(plb_buffer *b, char **out, plb_error *err) {
  *out = NULL;
  if (b->status != PLB_OK) {
    const plb_status status = b->status;
    plb_buffer_dispose(b);
    return plb_fail(err, status, "no memory to write the events");
  }
  *out = b->data;
  return PLB_OK;
}

static void put_string(plb_buffer *b, const char *key, const char *text) {
  plb_buffer_printf(b, ",\"%s\":", key);
  plb_buffer_json(b, text);
}

static void put_number(plb_buffer *b, const char *key, double value, int digits) {
  if (isfinite(value)) {
    char text[PLB_NUMBER_SIZE];
    plb_text_print(text, sizeof text, "%.*g", digits, value + 0.0);
    plb_buffer_printf(b, ",\"%s\":%s", key, text);
  } else {
    plb_buffer_printf(b, ",\"%s\":null", key);
  }
}

plb_status plb_event_json(char **out, const plb_event *e, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_printf(&b, "{\"format\":\"plumbline.event/1\",\"kind\":\"%s\"", plb_event_kind_name(e->kind));
  put_string(&b, "channel", e->channel);
  put_number(&b, "time_s", e->time_s, 12);
  put_number(&b, "duration_s", e->duration_s, 6);
  put_number(&b, "size", e->size, 6);
  put_string(&b, "unit", e->unit);
  put_number(&b, "sigma", e->sigma, 5);
  put_number(&b, "confidence", e->confidence, 6);
  if (e->cut[0])
    put_string(&b, "cut", e->cut);
  else
    plb_buffer_puts(&b, ",\"cut\":null");
  plb_buffer_puts(&b, "}\n");
  return give(&b, out, err);
}

plb_status plb_events_json(char **out, const plb_search_summary *s, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_puts(&b, "{\"format\":\"plumbline.events/1\",\"capture\":{\"channels\":");
  plb_buffer_printf(&b, "%zu", s->channels);
  put_string(&b, "path", s->path);
  put_number(&b, "rate_hz", s->rate_hz, 15);
  plb_buffer_printf(&b, ",\"samples\":%llu,\"missing\":%llu},\"events\":%llu,\"by_kind\":{",
                    (unsigned long long)s->samples, (unsigned long long)s->missing, (unsigned long long)s->events);
  for (int k = 0; k < PLB_EVENT_KINDS; k++)
    plb_buffer_printf(&b, "%s\"%s\":%llu", k ? "," : "", plb_event_kind_name((plb_event_kind)k),
                      (unsigned long long)s->by_kind[k]);
  plb_buffer_printf(&b, "},\"cuts\":%zu,\"memory_bytes\":%zu}\n", s->cuts, s->memory_bytes);
  return give(&b, out, err);
}

/* 0.00042 s -> "420 us" */
static void quantity(char *out, size_t size, double value, const char *code) {
  const char *unit = code;
  const double factor = plb_unit_scale_for_people(value, code, &unit);
  plb_text_print(out, size, "%.4g%s%s", value * factor, strcmp(unit, "1") == 0 ? "" : " ", strcmp(unit, "1") == 0 ? "" : unit);
}

static void put_what(plb_buffer *b, const plb_event *e) {
  char size[64], change[64];
  quantity(size, sizeof size, fabs(e->size), e->unit);
  quantity(change, sizeof change, e->size, e->unit);
  switch (e->kind) {
  case PLB_EVENT_MISSING:
    plb_buffer_printf(b, "%s pulse%s missing", size, e->size > 1 ? "s" : "");
    break;
  case PLB_EVENT_EXTRA:
    plb_buffer_printf(b, "%s pulse%s too many", size, e->size > 1 ? "s" : "");
    break;
  case PLB_EVENT_STEP:
    plb_buffer_printf(b, "%s changes at once by %s%s", strcmp(e->unit, "s") == 0 ? "period" : "level", e->size > 0 ? "+" : "", change);
    break;
  case PLB_EVENT_STUCK:
    if (strcmp(e->unit, "1") == 0 && e->size > 0)
      plb_buffer_printf(b, "pulses stopped, about %s of them", size);
    else
      plb_buffer_puts(b, "value does not change at all");
    break;
  case PLB_EVENT_OUTSIDE:
    if (isnan(e->size))
      plb_buffer_puts(b, "a cycle that cannot be laid over known-good");
    else if (strcmp(e->unit, "s") == 0)
      plb_buffer_printf(b, "a pulse %s %s", size, e->size > 0 ? "late" : "early");
    else
      plb_buffer_printf(b, "%s by %s of the good range's middle", e->size > 0 ? "high" : "low", size);
    break;
  default:
    plb_buffer_printf(b, "%s by %s", e->size < 0 ? "down" : "up", size);
  }
}

plb_status plb_event_text(char **out, const plb_event *e, plb_error *err) {
  plb_buffer b;
  char duration[64];
  plb_buffer_init(&b, PRINT_MOST);
  quantity(duration, sizeof duration, e->duration_s, "s");
  plb_buffer_printf(&b, "%14.6f s  %-8s %-14s ", e->time_s, plb_event_kind_name(e->kind), e->channel);
  put_what(&b, e);
  if (e->duration_s > 0)
    plb_buffer_printf(&b, ", %s long", duration);
  if (isfinite(e->sigma))
    plb_buffer_printf(&b, " (%.3g sigma)", e->sigma);
  plb_buffer_printf(&b, "%s%s\n", e->cut[0] ? "  " : "", e->cut);
  return give(&b, out, err);
}

plb_status plb_events_text(char **out, const plb_search_summary *s, plb_error *err) {
  plb_buffer b;
  char length[64], rate[64];
  plb_buffer_init(&b, PRINT_MOST);
  quantity(length, sizeof length, (double)s->samples / s->rate_hz, "s");
  quantity(rate, sizeof rate, s->rate_hz, "Hz");
  plb_buffer_printf(&b, "%s: %llu samples of %zu channel%s at %s, %s long: ", s->path, (unsigned long long)s->samples,
                    s->channels, s->channels == 1 ? "" : "s", rate, length);
  if (s->events == 0)
    plb_buffer_puts(&b, s->against ? "no cycle lies outside the known-good's good range" : "no event stands out of the usual");
  bool first = true;
  for (int k = 0; k < PLB_EVENT_KINDS; k++)
    if (s->by_kind[k] > 0) {
      plb_buffer_printf(&b, "%s%llu %s", first ? "" : ", ", (unsigned long long)s->by_kind[k],
                        plb_event_kind_name((plb_event_kind)k));
      first = false;
    }
  plb_buffer_puts(&b, "\n");
  if (!s->against && s->events >= 12 && s->events * 4000 > s->samples * s->channels)
    plb_buffer_puts(&b, "note: so many that, if nothing was disturbed, this is the unrest of the signal itself (a swinging signal of an engine that "
                        "turns unevenly, say): raise --sigma, or search by a known-good with --reference\n");
  if (s->missing > 0)
    plb_buffer_printf(&b, "note: %llu samples are missing in the file; no event is seen there\n",
                      (unsigned long long)s->missing);
  return give(&b, out, err);
}

plb_status plb_event_cycle_json(char **out, const char *channel, double time_s, double period_s, double high_s,
                                double lowest, double highest, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_puts(&b, "{\"format\":\"plumbline.cycle/1\"");
  put_string(&b, "channel", channel);
  put_number(&b, "time_s", time_s, 12);
  put_number(&b, "period_s", period_s, 9);
  put_number(&b, "high_s", high_s, 9);
  put_number(&b, "lowest", lowest, 6);
  put_number(&b, "highest", highest, 6);
  plb_buffer_puts(&b, "}\n");
  return give(&b, out, err);
}

plb_status plb_event_mark_json(char **out, const char *what, double time_s, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, PRINT_MOST);
  plb_buffer_puts(&b, "{\"format\":\"plumbline.mark/1\"");
  put_string(&b, "what", what);
  put_number(&b, "time_s", time_s, 12);
  plb_buffer_puts(&b, "}\n");
  return give(&b, out, err);
}
