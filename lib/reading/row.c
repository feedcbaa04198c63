/* One row of the table applied to one channel: over the capture, and cycle by cycle. */
#include "reading/reading.h"

#include <math.h>
#include <string.h>

plb_status plb_reading_add(plb_reading_list *list, const plb_reading *reading, plb_error *err) {
  if (!isfinite(reading->value))
    return PLB_OK;
  plb_reading *grown = plb_grow(list->into->reading, list->into->count, &list->room, sizeof *grown);
  if (!grown)
    return plb_fail(err, PLB_ENOMEM, "no memory for the readings");
  list->into->reading = grown;
  grown[list->into->count++] = *reading;
  return PLB_OK;
}

plb_status plb_reading_note(plb_reading_list *list, const char *text, plb_error *err) {
  char(*grown)[PLB_TEXT_SIZE] = plb_resize(list->into->note, list->into->notes + 1, sizeof *grown);
  if (!grown)
    return plb_fail(err, PLB_ENOMEM, "no memory for the readings");
  list->into->note = grown;
  plb_text_say(grown[list->into->notes++], PLB_TEXT_SIZE, "%s", text);
  return PLB_OK;
}

plb_status plb_reading_add_cycles(plb_reading_list *list, plb_reading *like, double *value, size_t count,
                                  plb_error *err) {
  if (count == 0)
    return PLB_OK;
  like->scope = PLB_SCOPE_CYCLE;
  like->count = count;
  plb_extremes(value, count, &like->lowest, &like->highest);
  like->value = plb_median(value, count);
  return plb_reading_add(list, like, err);
}

static void set_doubt(plb_reading *r, const plb_trace *t, const plb_reading_kind *kind, double length_s) {
  r->uncertainty = kind->doubt ? kind->doubt(t, r->value, length_s) : (double)NAN;
}

static plb_status add_capture(plb_reading_list *list, plb_reading *r, double value, size_t count, plb_error *err) {
  r->scope = PLB_SCOPE_CAPTURE;
  r->value = r->lowest = r->highest = value;
  r->count = count;
  return plb_reading_add(list, r, err);
}

plb_stretch plb_trace_cut(const plb_trace *t, size_t first, size_t last, double *room) {
  plb_stretch s = {.trace = t, .x = t->x + first, .n = last - first};
  if (t->missing) {
    s.x = room;
    s.n = 0;
    for (size_t i = first; i < last; i++)
      if (isfinite(t->x[i]))
        room[s.n++] = t->x[i];
  }
  return s;
}

static size_t first_at_or_after(double at) { return (size_t)ceil(at); }

static plb_status stretch_row(plb_reading_list *list, plb_reading *r, const plb_trace *t, const plb_reading_kind *kind,
                              plb_error *err) {
  plb_status status = PLB_OK;
  double *room = plb_calloc(t->missing ? t->n : 1, sizeof *room);
  double *value = plb_calloc(t->edges / 2 + 1, sizeof *value);
  if (!room || !value) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for the readings; measure a part with --from and --to");
    goto done;
  }
  plb_stretch s = plb_trace_cut(t, 0, t->n, room);
  s.length_s = (double)t->n / t->rate_hz;
  if (s.n == 0)
    goto done;
  r->value = kind->stretch(&s);
  set_doubt(r, t, kind, s.length_s);
  status = add_capture(list, r, r->value, s.n, err);
  size_t count = 0;
  for (size_t e = plb_trace_next_cycle(t, 0); e < t->edges; e = plb_trace_next_cycle(t, e + 1)) {
    s = plb_trace_cut(t, first_at_or_after(t->edge[e].at), first_at_or_after(t->edge[e + 2].at), room);
    s.length_s = (t->edge[e + 2].at - t->edge[e].at) / t->rate_hz;
    value[count] = s.n > 1 ? kind->stretch(&s) : (double)NAN;
    count += isfinite(value[count]) != 0;
  }
  if (status == PLB_OK) {
    set_doubt(r, t, kind, t->period_s);
    status = plb_reading_add_cycles(list, r, value, count, err);
  }
done:
  free(room);
  free(value);
  return status;
}

double plb_reading_middle(const double *value, size_t count, bool harmonic) {
  if (!harmonic)
    return plb_mean(value, count);
  double sum = 0;
  for (size_t i = 0; i < count; i++)
    sum += 1 / value[i];
  return (double)count / sum;
}

static plb_status edge_row(plb_reading_list *list, plb_reading *r, const plb_trace *t, const plb_reading_kind *kind,
                           plb_error *err) {
  if (t->edges == 0)
    return PLB_OK;
  double *value = plb_calloc(t->edges, sizeof *value);
  if (!value)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu transitions; measure a part with --from and --to", t->edges);
  size_t count = 0;
  for (size_t e = 0; e < t->edges; e++) {
    value[count] = kind->edge(t, e);
    count += isfinite(value[count]) != 0;
  }
  plb_status status = PLB_OK;
  if (count > 0) {
    r->scope = PLB_SCOPE_CAPTURE;
    r->value = plb_reading_middle(value, count, kind->flags & PLB_HARMONIC);
    r->count = count;
    plb_extremes(value, count, &r->lowest, &r->highest);
    set_doubt(r, t, kind, t->period_s);
    status = plb_reading_add(list, r, err);
  }
  if (status == PLB_OK && count > 1)
    status = plb_reading_add_cycles(list, r, value, count, err);
  free(value);
  return status;
}

void plb_reading_unit(char *out, const char *unit, const char *channel_unit) {
  const bool plain = strcmp(channel_unit, "1") == 0;
  if (unit[0] == '/')
    plb_text_say(out, PLB_UNIT_SIZE, "%s%s", plain ? "" : channel_unit, unit);
  else
    plb_text_say(out, PLB_UNIT_SIZE, "%s", unit[0] ? unit : channel_unit);
}

plb_status plb_reading_row(plb_reading_list *list, const plb_trace *t, const plb_reading_kind *kind, plb_error *err) {
  if ((kind->flags & PLB_NEEDS_STATES) && !t->states)
    return PLB_OK;
  plb_reading r = {.uncertainty = (double)NAN};
  plb_text_say(r.channel, sizeof r.channel, "%s", t->role);
  plb_text_say(r.name, sizeof r.name, "%s", kind->name);
  plb_reading_unit(r.unit, kind->unit, t->unit);
  if (kind->stretch)
    return stretch_row(list, &r, t, kind, err);
  if (kind->edge)
    return edge_row(list, &r, t, kind, err);
  r.value = kind->whole(t);
  set_doubt(&r, t, kind, 0);
  return add_capture(list, &r, r.value, t->n, err);
}
