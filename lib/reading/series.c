/* A reading over time: cycle by cycle, window by window, or tooth by tooth of a wheel. */
#include "reading/balance.h"
#include "reading/reading.h"

#include <math.h>
#include <string.h>

static const double windows_most = 1e7;

typedef struct maker {
  plb_series *s;
  size_t room;
  const plb_trace *t;
  double start_s; /* of the trace's first sample */
} maker;

static plb_status add(maker *m, double at, double value, plb_error *err) {
  plb_series *s = m->s;
  if (s->count == m->room) {
    const size_t room = m->room ? 2 * m->room : 256;
    double *time = plb_resize(s->time_s, room, sizeof *time);
    if (time)
      s->time_s = time;
    double *grown = time ? plb_resize(s->value, room, sizeof *grown) : NULL;
    if (!grown)
      return plb_fail(err, PLB_ENOMEM, "no memory for so many values; give a longer --every");
    s->value = grown;
    m->room = room;
  }
  s->time_s[s->count] = m->start_s + at / m->t->rate_hz;
  s->value[s->count++] = isfinite(value) ? value : (double)NAN;
  return PLB_OK;
}

static double of_stretch(const plb_trace *t, const plb_reading_kind *kind, double from, double to, double *room) {
  plb_stretch s = plb_trace_cut(t, (size_t)ceil(from), (size_t)fmin(ceil(to), (double)t->n), room);
  s.length_s = (to - from) / t->rate_hz;
  return s.n > 0 ? kind->stretch(&s) : (double)NAN;
}

static plb_status by_cycle(maker *m, const plb_reading_kind *kind, double *room, plb_error *err) {
  const plb_trace *t = m->t;
  plb_status status = PLB_OK;
  if (kind->whole)
    return plb_fail(err, PLB_EUSAGE, "%s is not read cycle by cycle; give a time, like --every 100ms", kind->name);
  if (kind->stretch)
    for (size_t e = plb_trace_next_cycle(t, 0); e < t->edges && status == PLB_OK; e = plb_trace_next_cycle(t, e + 1))
      status = add(m, t->edge[e].at, of_stretch(t, kind, t->edge[e].at, t->edge[e + 2].at, room), err);
  else
    for (size_t e = 0; e < t->edges && status == PLB_OK; e++) {
      const double value = kind->edge(t, e);
      if (isfinite(value))
        status = add(m, t->edge[e].at, value, err);
    }
  return status;
}

/* Transitions first <= e < last lie in a window; what one of them begins may end behind it. */
static double of_edges(const plb_trace *t, const plb_reading_kind *kind, size_t first, size_t last, double *room) {
  size_t count = 0;
  for (size_t e = first; e < last; e++) {
    room[count] = kind->edge(t, e);
    count += isfinite(room[count]) != 0;
  }
  return count > 0 ? plb_reading_middle(room, count, kind->flags & PLB_HARMONIC) : (double)NAN;
}

static double of_whole(const plb_trace *t, const plb_reading_kind *kind, size_t first, size_t last) {
  plb_trace part = *t;
  part.edge = t->edge + first;
  part.edges = last - first + (last < t->edges);
  return kind->whole(&part);
}

static plb_status by_window(maker *m, const plb_reading_kind *kind, double every_s, double *room, plb_error *err) {
  const plb_trace *t = m->t;
  const double each = every_s * t->rate_hz, windows = floor((double)t->n / each + 1e-9);
  plb_status status = PLB_OK;
  if (windows > windows_most)
    return plb_fail(err, PLB_EUSAGE, "%.0f values would come; give a longer --every", windows);
  size_t first = 0;
  for (size_t k = 0; (double)k < windows && status == PLB_OK; k++) {
    const double from = (double)k * each, to = (double)(k + 1) * each;
    size_t last = first;
    while (last < t->edges && t->edge[last].at < to)
      last++;
    const double value = kind->stretch ? of_stretch(t, kind, from, to, room)
                         : kind->edge  ? of_edges(t, kind, first, last, room)
                                       : of_whole(t, kind, first, last);
    status = add(m, from, value, err);
    first = last;
  }
  return status;
}

static double middle_of(const plb_tooth *t) { return 0.5 * (t->from + t->to); }

/* 1/min; over several stretches the angle by the time. */
static double speed_of(const plb_tooth *t, size_t count, double rate_hz) {
  double turns = 0;
  for (size_t i = 0; i < count; i++)
    turns += t[i].turns;
  return 60 * turns / (t[count - 1].to - t[0].from) * rate_hz;
}

static double acceleration_of(const plb_tooth *t, double rate_hz) {
  return (speed_of(&t[1], 1, rate_hz) - speed_of(&t[0], 1, rate_hz)) / (middle_of(&t[1]) - middle_of(&t[0])) * rate_hz;
}

static plb_status by_tooth(maker *m, const plb_tooth *t, size_t count, bool speed, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t i = 0; i + !speed < count && status == PLB_OK; i++)
    status = speed ? add(m, middle_of(&t[i]), speed_of(&t[i], 1, m->t->rate_hz), err)
                   : add(m, t[i].to, acceleration_of(&t[i], m->t->rate_hz), err);
  return status;
}

/* A turn goes from the end of a gap to the end of the next; of a wheel without one, any so many teeth. */
static plb_status by_turn(maker *m, const plb_tooth *t, size_t count, size_t per_turn, plb_error *err) {
  size_t first = 0;
  plb_status status = PLB_OK;
  bool gaps = false;
  for (size_t i = 0; i < count && !gaps; i++)
    if (t[i].gap) {
      gaps = true;
      first = i + 1;
    }
  for (size_t i = first; i < count && status == PLB_OK; i++) {
    if (gaps ? !t[i].gap : i + 1 - first < per_turn)
      continue;
    const plb_tooth whole = {.from = t[first].from, .to = t[i].to};
    /* a turn that lost a tooth still is one turn */
    const double turns = gaps ? 1 / ((whole.to - whole.from) / m->t->rate_hz) * 60 : speed_of(t + first, i + 1 - first, m->t->rate_hz);
    status = add(m, middle_of(&whole), turns, err);
    first = i + 1;
  }
  return status;
}

static plb_status by_tooth_window(maker *m, const plb_tooth *t, size_t count, bool speed, double every_s, plb_error *err) {
  const double each = every_s * m->t->rate_hz, windows = floor((double)m->t->n / each + 1e-9);
  plb_status status = PLB_OK;
  if (windows > windows_most)
    return plb_fail(err, PLB_EUSAGE, "%.0f values would come; give a longer --every", windows);
  size_t first = 0;
  for (size_t k = 0; (double)k < windows && status == PLB_OK; k++) {
    size_t last = first;
    while (last < count && middle_of(&t[last]) < (double)(k + 1) * each)
      last++;
    double value = (double)NAN;
    if (speed && last > first)
      value = speed_of(t + first, last - first, m->t->rate_hz);
    else if (!speed && last > first + 1)
      value = (speed_of(&t[last - 1], 1, m->t->rate_hz) - speed_of(&t[first], 1, m->t->rate_hz)) /
              (middle_of(&t[last - 1]) - middle_of(&t[first])) * m->t->rate_hz;
    status = add(m, (double)k * each, value, err);
    first = last;
  }
  return status;
}

static plb_status by_wheel(maker *m, const plb_series_options *o, bool speed, plb_error *err) {
  plb_tooth *t = NULL;
  size_t count = 0, odd = 0;
  if (o->teeth < 3 || o->teeth > 512 || o->missing < 0 || o->missing > 8 || o->missing >= o->teeth - 1)
    return plb_fail(err, PLB_EUSAGE, "%s is read from a toothed wheel; say it, like --cycle wheel:teeth=60,missing=2",
                    o->reading);
  if (!speed && o->turns && !(o->every_s > 0))
    return plb_fail(err, PLB_EUSAGE, "acceleration is read from tooth to tooth; give --every tooth or a time");
  plb_status status = plb_wheel_teeth(&t, &count, &odd, m->t, o->teeth, o->missing, err);
  if (status == PLB_OK)
    status = o->every_s > 0 ? by_tooth_window(m, t, count, speed, o->every_s, err)
             : o->turns     ? by_turn(m, t, count, (size_t)(o->teeth - o->missing), err)
                            : by_tooth(m, t, count, speed, err);
  if (odd > 0)
    plb_text_say(m->s->note, sizeof m->s->note, "%zu turns do not have %d teeth; check --cycle, or look at the capture there",
                 odd, o->teeth - o->missing);
  free(t);
  return status;
}

static plb_status tell_balance(maker *m, plb_hump *hump, size_t count, const double *place, int cylinders, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t i = 0; i < count && status == PLB_OK; i++)
    status = add(m, place ? place[(size_t)hump[i].at] : hump[i].at, hump[i].share, err);
  if (status == PLB_OK)
    plb_balance_say(hump, count, cylinders, m->s->note, sizeof m->s->note);
  free(hump);
  return status;
}

/* A starter's current flows one way; a wheel's voltage swings about nought. */
static bool goes_both_ways(const plb_trace *t) {
  double lowest = INFINITY, highest = -INFINITY;
  for (size_t i = 0; i < t->n; i++) {
    lowest = fmin(lowest, t->x[i]);
    highest = fmax(highest, t->x[i]);
  }
  return lowest < 0.0 && highest > 0.0 && fmin(-lowest, highest) > 0.25 * fmax(-lowest, highest);
}

/* Of a current that presses against compressions: each makes a hump. */
static plb_status balance_of_current(maker *m, int cylinders, plb_error *err) {
  plb_hump *hump = NULL;
  size_t count = 0;
  if (goes_both_ways(m->t))
    return plb_fail(err, PLB_EUSAGE, "%s goes to both sides of nought, as no starter's current does; of a wheel say its teeth with --cycle "
                                     "wheel:teeth=N,missing=M, of a current zero the clamp (--zero)", m->t->role);
  double *x = plb_calloc(m->t->n, sizeof *x);
  if (!x)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; read a part with --from and --to", m->t->n);
  memcpy(x, m->t->x, m->t->n * sizeof *x);
  const plb_status status = m->t->missing ? plb_fail(err, PLB_EDATA, "%s has missing samples; export it without gaps", m->t->role)
                                          : plb_balance(&hump, &count, x, m->t->n, 0.0, cylinders, err);
  free(x);
  return status == PLB_OK ? tell_balance(m, hump, count, NULL, cylinders, err) : status;
}

/* Of a wheel: its speed at every tooth position, the missing ones between their neighbours; one swing for each cylinder in two turns. */
static plb_status balance_of_wheel(maker *m, const plb_series_options *o, plb_error *err) {
  plb_tooth *t = NULL;
  plb_hump *hump = NULL;
  size_t count = 0, odd = 0, points = 0, humps = 0;
  plb_status status = plb_wheel_teeth(&t, &count, &odd, m->t, o->teeth, o->missing, err);
  const size_t room = (count + 1) * (size_t)(o->missing + 1);
  double *speed = plb_calloc(room, sizeof *speed), *place = plb_calloc(room, sizeof *place);
  if (status == PLB_OK && (!speed || !place))
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu teeth; read a part with --from and --to", count);
  for (size_t i = 0; i < count && status == PLB_OK; i++) {
    const size_t positions = t[i].gap ? (size_t)o->missing + 1 : 1;
    for (size_t k = 0; k < positions; k++, points++) {
      speed[points] = speed_of(&t[i], 1, m->t->rate_hz);
      place[points] = t[i].from + ((double)k + 0.5) / (double)positions * (t[i].to - t[i].from);
    }
  }
  if (status == PLB_OK)
    status = plb_balance(&hump, &humps, speed, points, 2.0 * o->teeth / o->cylinders, o->cylinders, err);
  if (status == PLB_OK)
    status = tell_balance(m, hump, humps, place, o->cylinders, err);
  free(t);
  free(speed);
  free(place);
  return status;
}

static plb_status read_balance(maker *m, const plb_series_options *o, plb_error *err) {
  plb_text_say(m->s->reading, sizeof m->s->reading, "balance");
  plb_text_say(m->s->unit, sizeof m->s->unit, "%%");
  if (o->cylinders < 2 || o->cylinders > 16)
    return plb_fail(err, PLB_EUSAGE, "balance is between cylinders; say how many, like --cylinders 4");
  if (o->every_s > 0)
    return plb_fail(err, PLB_EUSAGE, "balance has one value for each compression; leave --every out");
  return o->teeth > 0 ? balance_of_wheel(m, o, err) : balance_of_current(m, o->cylinders, err);
}

static const plb_reading_kind *kind_named(const char *name) {
  static const char *const short_for[][2] = {{"duty", "duty-high"}, {"dwell", "dwell-low"}};
  for (size_t i = 0; i < sizeof short_for / sizeof short_for[0]; i++)
    if (strcmp(name, short_for[i][0]) == 0)
      name = short_for[i][1];
  for (size_t k = 0; k < plb_reading_kind_count; k++)
    if (strcmp(plb_reading_kinds[k].name, name) == 0)
      return &plb_reading_kinds[k];
  return NULL;
}

static plb_status read_kind(maker *m, const plb_capture *capture, const plb_series_options *o, plb_error *err) {
  const plb_reading_kind *kind = kind_named(o->reading);
  if (!kind)
    return plb_fail(err, PLB_EUSAGE, "there is no reading %s; plumb measure shows the names, and speed and acceleration are those of a wheel",
                    o->reading);
  if (capture->pairs && !(kind->flags & PLB_THINNED_TOO))
    return plb_fail(err, PLB_EDATA, "the file holds lowest and highest of many samples; %s cannot be read from it", kind->name);
  if ((kind->flags & PLB_NEEDS_STATES) && !m->t->states)
    return plb_fail(err, PLB_EDATA, "%s has no two states; %s cannot be read", m->t->role, kind->name);
  plb_text_say(m->s->reading, sizeof m->s->reading, "%s", kind->name);
  plb_reading_unit(m->s->unit, kind->unit, m->t->unit);
  const size_t n = m->t->n > m->t->edges ? m->t->n : m->t->edges;
  double *room = plb_calloc(n + 1, sizeof *room);
  if (!room)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; read a part with --from and --to", n);
  const plb_status status = o->every_s > 0 ? by_window(m, kind, o->every_s, room, err) : by_cycle(m, kind, room, err);
  free(room);
  return status;
}

static plb_status read_series(maker *m, const plb_capture *capture, const plb_series_options *o, plb_error *err) {
  const bool speed = strcmp(o->reading, "speed") == 0, acceleration = strcmp(o->reading, "acceleration") == 0;
  m->s->every_s = o->every_s;
  plb_text_say(m->s->channel, sizeof m->s->channel, "%s", m->t->role);
  plb_status status;
  if (strcmp(o->reading, "balance") == 0) {
    status = read_balance(m, o, err);
  } else if (speed || acceleration) {
    plb_text_say(m->s->reading, sizeof m->s->reading, "%s", o->reading);
    plb_text_say(m->s->unit, sizeof m->s->unit, "%s", speed ? "/min" : "/min/s");
    status = by_wheel(m, o, speed, err);
  } else {
    status = read_kind(m, capture, o, err);
  }
  plb_series *s = m->s;
  s->lowest = s->highest = s->count;
  for (size_t i = 0; i < s->count; i++)
    if (isfinite(s->value[i])) {
      s->lowest = s->lowest == s->count || s->value[i] < s->value[s->lowest] ? i : s->lowest;
      s->highest = s->highest == s->count || s->value[i] > s->value[s->highest] ? i : s->highest;
    }
  if (status == PLB_OK && s->lowest == s->count)
    status = plb_fail(err, PLB_EDATA, "%s: nothing to read %s from; no cycle is seen", m->t->role, o->reading);
  return status;
}

static plb_status find_channel(const plb_capture *capture, const char *role, size_t *out, plb_error *err) {
  *out = 0;
  for (size_t c = 0; role && c < plb_capture_channels(capture); c++)
    if (strcmp(capture->channel[c].role, role) == 0) {
      *out = c;
      return PLB_OK;
    }
  return role ? plb_fail(err, PLB_EUSAGE, "there is no channel %s; plumb inspect shows them", role) : PLB_OK;
}

plb_status plb_series_read(plb_series **out, const plb_capture *capture, const plb_series_options *o, plb_error *err) {
  *out = NULL;
  if (o->version != 1)
    return plb_fail(err, PLB_EINVAL, "options of version %u; start from PLB_SERIES_OPTIONS_INIT", o->version);
  if (!o->reading)
    return plb_fail(err, PLB_EUSAGE, "no reading is named; plumb measure shows the names");
  plb_measure_options part = PLB_MEASURE_OPTIONS_INIT;
  part.from_given = o->from_given;
  part.to_given = o->to_given;
  part.from_s = o->from_s;
  part.to_s = o->to_s;
  size_t first = 0, last = 0, channel = 0;
  plb_trace trace = {0};
  plb_status status = plb_measure_part(capture, &part, &first, &last, err);
  if (status == PLB_OK && o->every_s > 0 && o->every_s * plb_capture_rate_hz(capture) < 2)
    status = plb_fail(err, PLB_EUSAGE, "--every is shorter than two samples; give a longer time");
  if (status == PLB_OK)
    status = find_channel(capture, o->channel, &channel, err);
  if (status == PLB_OK)
    status = plb_trace_load(&trace, capture, channel, first, last - first, err);
  trace.cylinders = o->cylinders;
  maker m = {.t = &trace, .s = status == PLB_OK ? plb_calloc(1, sizeof *m.s) : NULL,
             .start_s = plb_capture_start_s(capture) + (double)first / plb_capture_rate_hz(capture)};
  if (status == PLB_OK)
    status = m.s ? read_series(&m, capture, o, err) : plb_fail(err, PLB_ENOMEM, "no memory for the series");
  plb_trace_dispose(&trace);
  if (status == PLB_OK) {
    *out = m.s;
    return PLB_OK;
  }
  plb_series_free(m.s);
  return plb_fail_path(err, status, status == PLB_EDATA ? plb_capture_path(capture) : "");
}

void plb_series_free(plb_series *s) {
  if (!s)
    return;
  free(s->time_s);
  free(s->value);
  free(s);
}
