/*
 * Pulses and their intervals. Usual is the ratio of a period to the median of its neighbours that occurs most; and a
 * ratio that recurs after a constant number of pulses, as the gap of a toothed wheel does. Anything else is an event.
 */
#include "event/event.h"

#include "signal/level.h"
#include "signal/statistic.h"

#include <math.h>
#include <string.h>

enum { SAMPLED = 8192, PIECE = 16384, LEAST_EDGES = 16, NEIGHBOURS = 10, CLASSES = 160, STEP_FROM = 6, STUCK_FROM = 20 };
static const double per_class = 20; /* classes of ln ratio: 5 % each */

/* Share of samples on the way between the states: a slow wave also has two humps, but it is mostly on the way. */
static double in_between(const double *x, size_t n, double low, double high) {
  size_t count = 0;
  for (size_t i = 0; i < n; i++)
    count += x[i] > plb_reference_level(low, high, 30) && x[i] < plb_reference_level(low, high, 70);
  return (double)count / (double)n;
}

/* Levels from samples spread over the window. @return two states */
static plb_status levels_of(const double *x, size_t n, double *low, double *high, bool *two, plb_error *err) {
  const size_t step = n > SAMPLED ? n / SAMPLED : 1, count = n / step;
  double *some = plb_calloc(count, sizeof *some);
  if (!some)
    return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  for (size_t i = 0; i < count; i++)
    some[i] = x[i * step + i % step * (step > 1)]; /* drifts through the step: no beat with the signal */
  plb_states states;
  plb_status status = plb_state_levels(some, count, 0, &states, err);
  *two = status == PLB_OK && states.two && states.high_share > 0.02 && states.low_share > 0.02;
  *low = states.low;
  *high = states.high;
  *two = *two && in_between(some, count, states.low, states.high) < 0.12;
  if (*two) {
    const size_t near = count < n - 1 ? count : n - 1, from = (n - 1 - near) / 2;
    for (size_t i = 0; i < near; i++)
      some[i] = fabs(x[from + i + 1] - x[from + i]);
    *two = states.high - states.low > 6 * plb_median(some, near); /* the median is about one standard deviation */
    for (size_t i = 0; i < count; i++)
      some[i] = x[i * step];
  }
  if (status == PLB_OK && !*two) {
    *low = plb_quantile(some, count, 0.05);
    *high = plb_quantile(some, count, 0.95);
  }
  free(some);
  return status;
}

static plb_status cross(const double *x, size_t n, double low, double high, bool two, plb_crossing **edge,
                        size_t *edges, plb_error *err) {
  const double share = two ? 35 : 25;
  return plb_crossings(x, n, plb_reference_level(low, high, share), plb_reference_level(low, high, 100 - share), edge,
                       edges, err);
}

static double period_of(const plb_crossing *edge, size_t e) { return edge[e + 2].at - edge[e].at; }

/* Neighbouring periods are alike: the middle of |ln ratio| is small. */
static plb_status are_alike(const plb_crossing *edge, size_t edges, size_t least, bool *out, plb_error *err) {
  *out = false;
  if (edges < least)
    return PLB_OK;
  double *change = plb_calloc(edges, sizeof *change);
  if (!change)
    return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  size_t count = 0;
  for (size_t e = 0; e + 4 < edges; e += 2)
    change[count++] = fabs(log(period_of(edge, e + 2) / period_of(edge, e)));
  *out = plb_median(change, count) < 0.12;
  free(change);
  return PLB_OK;
}

/* A signal without states has pulses when some piece of it has even ones: noise also crosses its middle. */
static plb_status pieces_are_even(const double *x, size_t n, double low, double high, bool *out, plb_error *err) {
  const size_t piece = n < PIECE ? n : PIECE;
  *out = false;
  for (size_t k = 0; k < 3 && !*out; k++) {
    plb_crossing *edge = NULL;
    size_t edges = 0;
    plb_status status = cross(x + k * (n - piece) / 2, piece, low, high, false, &edge, &edges, err);
    if (status == PLB_OK)
      status = are_alike(edge, edges, LEAST_EDGES, out, err);
    free(edge);
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}

plb_status plb_trains_find(plb_trains *out, const double *x, size_t n, plb_error *err) {
  *out = (plb_trains){0};
  bool two = false, even = true;
  plb_status status = n < 64 ? PLB_OK : levels_of(x, n, &out->low, &out->high, &two, err);
  out->middle = 0.5 * (out->low + out->high);
  if (status != PLB_OK || !(out->high > out->low))
    return status;
  if (!two)
    status = pieces_are_even(x, n, out->low, out->high, &even, err);
  if (status != PLB_OK || !even)
    return status;
  status = cross(x, n, out->low, out->high, two, &out->edge, &out->edges, err);
  if (status == PLB_OK)
    status = are_alike(out->edge, out->edges, LEAST_EDGES, &out->regular, err);
  if (status != PLB_OK || out->edges < LEAST_EDGES || (!two && !out->regular)) {
    plb_trains_dispose(out);
    return status;
  }
  out->first = out->edge[0].direction > 0 ? 0 : 1;
  return PLB_OK;
}

void plb_trains_dispose(plb_trains *p) {
  free(p->edge);
  *p = (plb_trains){0};
}

typedef struct beat {
  double at, period; /* samples */
  double usual;      /* median of the neighbours */
  int kind;          /* class of the ratio */
  bool odd;
} beat;

static int class_of(double ratio) {
  const double place = log(ratio) * per_class + CLASSES / 2.0;
  return place < 0 ? 0 : place >= CLASSES ? CLASSES - 1 : (int)place;
}

static void set_usual(beat *b, size_t count) {
  double near[2 * NEIGHBOURS + 1];
  for (size_t i = 0; i < count; i++) {
    const size_t from = i > NEIGHBOURS ? i - NEIGHBOURS : 0, to = i + NEIGHBOURS < count ? i + NEIGHBOURS + 1 : count;
    for (size_t k = from; k < to; k++)
      near[k - from] = b[k].period;
    b[i].usual = plb_median(near, to - from);
    b[i].kind = class_of(b[i].period / b[i].usual);
  }
}

/* Of a class and its neighbours: how often, and how often after the same number of pulses as the time before. */
static void count_class(const beat *b, size_t count, int kind, size_t *times, size_t *even) {
  size_t last = 0, spacing = 0;
  *times = *even = 0;
  for (size_t i = 0; i < count; i++) {
    if (abs(b[i].kind - kind) > 1)
      continue;
    if (*times > 0) {
      *even += i - last == spacing;
      spacing = i - last;
    }
    last = i;
    ++*times;
  }
}

/* The spread of the usual periods widens what is usual. */
static plb_status mark_odd(beat *b, size_t count, double *spread, plb_error *err) {
  bool usual[CLASSES] = {false};
  double *off = plb_calloc(count, sizeof *off);
  if (!off)
    return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  for (size_t i = 0; i < count; i++)
    off[i] = fabs(log(b[i].period / b[i].usual));
  *spread = fmax(1.4826 * plb_median(off, count), 1e-4);
  free(off);
  for (int k = 0; k < CLASSES; k++) {
    size_t times, even;
    count_class(b, count, k, &times, &even);
    usual[k] = (double)times > 0.04 * (double)count || (times >= 4 && 2 * even > times);
  }
  const double allowed = fmax(0.25, 8 * *spread);
  for (size_t i = 0; i < count; i++) {
    const double ratio = b[i].period / b[i].usual;
    b[i].odd = fabs(log(ratio)) > allowed && !usual[b[i].kind];
  }
  return PLB_OK;
}

/* Odd periods [from, to) in a row, with so many pulses too few or too many. */
static plb_found judge_run(const beat *b, size_t from, size_t to, double spread) {
  double length = 0;
  for (size_t i = from; i < to; i++)
    length += b[i].period;
  const double usual = b[from].usual, count = (double)(to - from), expected = round(length / usual);
  plb_found f = {.first = b[from].at, .last = b[from].at + length, .unit = "1"};
  double worst = 0;
  for (size_t i = from; i < to; i++)
    worst = fmax(worst, fabs(log(b[i].period / b[i].usual)));
  f.sigma = worst / spread;
  if (expected > count + STUCK_FROM) {
    f.kind = PLB_EVENT_STUCK;
    f.size = expected - count;
  } else if (expected > count) {
    f.kind = PLB_EVENT_MISSING;
    f.size = expected - count;
  } else if (expected < count) {
    f.kind = PLB_EVENT_EXTRA;
    f.size = count - expected;
  } else {
    f.kind = PLB_EVENT_OUTSIDE;
    f.size = b[from].period - usual;
    f.unit = "samples";
  }
  return f;
}

static bool is_new_period(const beat *b, size_t from, size_t to) {
  double low = b[from].period, high = low;
  for (size_t i = from; i < to; i++) {
    low = fmin(low, b[i].period);
    high = fmax(high, b[i].period);
  }
  return to - from >= STEP_FROM && high < 1.3 * low;
}

static plb_status tell_run(const beat *b, size_t count, size_t from, size_t to, double spread, plb_found_list *out,
                           plb_error *err) {
  plb_found f = judge_run(b, from, to, spread);
  if (is_new_period(b, from, to)) {
    f = (plb_found){.kind = PLB_EVENT_STEP, .first = b[from].at, .last = b[from].at, .sigma = f.sigma, .unit = "samples"};
    f.size = b[from].period - (from > 0 ? b[from - 1].period : to < count ? b[to].period : b[from].period);
  }
  return plb_found_add(out, &f, err);
}

static plb_status tell_silence(const plb_trains *p, const beat *b, size_t count, size_t n, double spread,
                               plb_found_list *out, plb_error *err) {
  const double since = (double)n - p->edge[p->edges - 1].at, usual = b[count - 1].usual;
  double longest = 0;
  for (size_t i = 0; i < count; i++)
    longest = b[i].odd ? longest : fmax(longest, b[i].period);
  if (since < 5 * fmax(usual, longest))
    return PLB_OK;
  const plb_found f = {.kind = PLB_EVENT_STUCK, .first = p->edge[p->edges - 1].at, .last = (double)n,
                       .size = round(since / usual), .sigma = log(since / usual) / spread, .unit = "1"};
  return plb_found_add(out, &f, err);
}

plb_status plb_trains_judge(const plb_trains *p, size_t n, bool *odd, bool whole, plb_found_list *out,
                            plb_error *err) {
  const size_t count = p->edges > p->first + 2 ? (p->edges - p->first - 1) / 2 : 0;
  if (!p->regular || count < 6)
    return PLB_OK;
  beat *b = plb_calloc(count, sizeof *b);
  if (!b)
    return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  for (size_t i = 0; i < count; i++)
    b[i] = (beat){.at = p->edge[p->first + 2 * i].at, .period = period_of(p->edge, p->first + 2 * i)};
  set_usual(b, count);
  double spread = 0;
  plb_status status = mark_odd(b, count, &spread, err);
  for (size_t i = 0; i < count && status == PLB_OK; i++) {
    size_t to = i;
    while (to < count && b[to].odd) {
      odd[p->first + 2 * to] = odd[p->first + 2 * to + 1] = true;
      to++;
    }
    if (to > i) {
      status = tell_run(b, count, i, to, spread, out, err);
      i = to;
    }
  }
  if (status == PLB_OK && whole)
    status = tell_silence(p, b, count, n, spread, out, err);
  free(b);
  return status;
}
