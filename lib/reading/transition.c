/*
 * Readings of the shape of a transition, IEEE Std 181: transition duration between the 10 and 90 % reference instants
 * next to the mid-reference instant; overshoot and undershoot as percent of the amplitude; settling from the
 * mid-reference instant to the last entry into 2 % of the amplitude around the state that follows.
 */
#include "reading/reading.h"

#include <math.h>

static const double settled = 0.02;

/* What lies around one transition. */
typedef struct place {
  const double *x;
  double up;               /* +1 rising, -1 falling */
  size_t first, mid, last; /* x[mid] is the last sample before the mid instant; the region is first..last, inclusive */
  double from, to;         /* levels */
  double at;
} place;

static place look(const plb_trace *t, size_t edge) {
  place p = {.x = t->x, .at = t->edge[edge].at, .up = t->edge[edge].direction};
  p.mid = (size_t)p.at;
  p.first = edge > 0 ? (size_t)t->edge[edge - 1].at + 1 : 0;
  p.last = edge + 1 < t->edges ? (size_t)t->edge[edge + 1].at : t->n - 1;
  p.from = p.up > 0 ? t->low : t->high;
  p.to = p.up > 0 ? t->high : t->low;
  return p;
}

static double meet(const place *p, size_t before, size_t after, double level) {
  const double rise = p->x[after] - p->x[before];
  return (double)before + (double)(after - before) * (level - p->x[before]) / rise;
}

/* Last passage of a level before the mid instant. */
static double instant_before(const place *p, double level) {
  size_t after = p->mid + 1;
  for (size_t i = p->mid + 1; i-- > p->first;) {
    if (!isfinite(p->x[i]))
      continue;
    if ((p->x[i] - level) * p->up <= 0)
      return meet(p, i, after, level);
    after = i;
  }
  return (double)NAN;
}

/* First passage of a level after the mid instant. */
static double instant_after(const place *p, double level) {
  size_t before = p->mid;
  for (size_t i = p->mid + 1; i <= p->last; i++) {
    if (!isfinite(p->x[i]))
      continue;
    if ((p->x[i] - level) * p->up >= 0)
      return meet(p, before, i, level);
    before = i;
  }
  return (double)NAN;
}

static double transition_s(const plb_trace *t, size_t edge, int direction) {
  if (t->edge[edge].direction != direction)
    return (double)NAN;
  const place p = look(t, edge);
  const double first = instant_before(&p, plb_reference_level(p.from, p.to, 10));
  return (instant_after(&p, plb_reference_level(p.from, p.to, 90)) - first) / t->rate_hz;
}

double plb_read_rise_time(const plb_trace *t, size_t edge) { return transition_s(t, edge, 1); }

double plb_read_fall_time(const plb_trace *t, size_t edge) { return transition_s(t, edge, -1); }

double plb_read_rise_slew(const plb_trace *t, size_t edge) {
  return 0.8 * (t->high - t->low) / plb_read_rise_time(t, edge);
}

double plb_read_fall_slew(const plb_trace *t, size_t edge) {
  return 0.8 * (t->low - t->high) / plb_read_fall_time(t, edge);
}

double plb_read_overshoot(const plb_trace *t, size_t edge) {
  const place p = look(t, edge);
  double most = 0;
  for (size_t i = p.mid + 1; i <= p.last; i++)
    most = fmax(most, (p.x[i] - p.to) * p.up); /* fmax leaves NaN out */
  return 100 * most / (t->high - t->low);
}

/* Between the first and the last time that the state is reached, so that neither transition counts. */
double plb_read_undershoot(const plb_trace *t, size_t edge) {
  const place p = look(t, edge);
  double most = 0, since = 0;
  bool reached = false;
  for (size_t i = p.mid + 1; i <= p.last; i++) {
    const double short_of = (p.to - p.x[i]) * p.up;
    if (short_of <= 0) {
      most = reached ? fmax(most, since) : 0;
      since = 0;
      reached = true;
    } else {
      since = fmax(since, short_of);
    }
  }
  return reached ? 100 * most / (t->high - t->low) : (double)NAN;
}

double plb_read_settling(const plb_trace *t, size_t edge) {
  const place p = look(t, edge);
  const double band = settled * (t->high - t->low);
  size_t i = p.last;
  while (i > p.mid && !(fabs(p.x[i] - p.to) <= band))
    i--;
  if (i == p.mid || (edge + 1 == t->edges && i != p.last))
    return (double)NAN; /* never there, or not yet when the capture ends */
  while (i > p.mid && fabs(p.x[i] - p.to) <= band)
    i--;
  const double level = p.x[i] > p.to ? p.to + band : p.to - band;
  return isfinite(p.x[i]) ? fmax(0, meet(&p, i, i + 1, level) - p.at) / t->rate_hz : (double)NAN;
}
