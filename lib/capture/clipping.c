#include "capture/clipping.h"
#include <math.h>

/*
 * The recorder cuts a signal off where its range ends: samples sit exactly at one code, and the signal runs into it at
 * full slope. Three things look alike and are not clipping: a rounded peak seen in coarse steps (it slows down before
 * its flat run, as a parabola does); the state of a switched signal (the way there is short against the stay); and a
 * limit made by the circuit (the recorder's noise lies on top of it, so that the run is not exact). Where the rest of
 * the signal seldom repeats a code, an exact run is the recorder's even after a short way, except near nought: the
 * conducting state of a switch is quieter than the other one. In fewer than FEWEST_STEPS steps between the extremes
 * nothing can be told, unless the format names its rails. Criteria: common practice, no source; tried on modelled and
 * real signals in many steps (tests).
 */

enum {
  SHORTEST_RUN = 3,
  FEWEST_RUNS = 2,
  LONGEST_LOOK = 16,
  FEWEST_VALUES = 4,
  SHORTEST_WAY = 3,
  WAY_SHARE = 7,
  FEWEST_STEPS = 40
};
static const double near_nought = 0.2;      /* of the swing */
static const double least_last_slope = 0.2; /* of the mean slope before the run */

typedef struct texture {
  double mid, swing;
  bool few_values; /* two or three different values: a logic channel */
  bool lively;     /* most of the signal lies between its extremes and seldom repeats a code there */
} texture;

static double lowest(const double *x, size_t n) {
  double low = INFINITY;
  for (size_t i = 0; i < n; i++)
    low = x[i] < low ? x[i] : low;
  return low;
}

static texture feel(const double *x, size_t n, double top) {
  const double bottom = lowest(x, n);
  double seen[FEWEST_VALUES];
  size_t values = 0, pairs = 0, repeats = 0;
  for (size_t i = 0; i < n; i++) {
    size_t k = 0;
    while (k < values && x[i] != seen[k])
      k++;
    if (k == values && values < FEWEST_VALUES && isfinite(x[i]))
      seen[values++] = x[i];
    if (i < 1 || !(fmax(x[i], x[i - 1]) < top && fmin(x[i], x[i - 1]) > bottom))
      continue;
    pairs++;
    repeats += x[i] == x[i - 1];
  }
  const bool lively = pairs > n / 4 && repeats * 5 < pairs;
  return (texture){0.5 * (top + bottom), top - bottom, values < FEWEST_VALUES, lively};
}

/*
 * A parabola that stays within a step of its top for `run` samples falls by about step * ((run/2 + d) / (run/2))^2 at d
 * samples before them: the signal must come from further away. And it must not slow down at the end, as it does where a
 * diode begins to conduct.
 */
static bool is_sharp(const double *x, size_t first, size_t run, double step) {
  const double half = 0.5 * (double)run;
  size_t look = run / 2 < LONGEST_LOOK ? run / 2 : LONGEST_LOOK;
  look = look < 1 ? 1 : look;
  if (first < look)
    return false;
  const double reach = (half + (double)look) / half;
  const double fall = x[first] - x[first - look];
  if (fall <= step * (2.0 * reach * reach + 2.0))
    return false;
  const double last = fmax(x[first] - x[first - 1], look > 1 ? 0.5 * (x[first] - x[first - 2]) : 0.0);
  return last >= least_last_slope * fall / (double)look;
}

/* The samples between the middle of the swing and the run. */
static bool is_long_way(const double *x, size_t first, size_t run, double mid) {
  size_t way = 0;
  while (way < first && x[first - way - 1] > mid)
    way++;
  return way >= SHORTEST_WAY && way * WAY_SHARE >= run;
}

static bool is_cut(const double *x, size_t first, size_t run, double step, const texture *t) {
  if (!is_sharp(x, first, run, step))
    return false;
  return is_long_way(x, first, run, t->mid) || (t->lively && fabs(x[first]) > near_nought * t->swing);
}

/* The next run of at least SHORTEST_RUN samples at the level from `from` on. @return its length, 0 at the end */
static size_t next_run(const double *x, size_t n, double level, size_t from, size_t *first_out) {
  for (size_t i = from; i < n; i++) {
    size_t run = 0;
    while (i + run < n && x[i + run] == level)
      run++;
    if (run >= SHORTEST_RUN) {
      *first_out = i;
      return run;
    }
    i += run;
  }
  return 0;
}

static double highest(const double *x, size_t n) {
  double high = -INFINITY;
  for (size_t i = 0; i < n; i++)
    high = x[i] > high ? x[i] : high;
  return high;
}

plb_clip_side plb_clip_judge(const double *x, size_t n, double step, double rail) {
  plb_clip_side side = {.level = highest(x, n)};
  const bool at_rail = side.level >= rail;
  size_t first = 0, all_runs = 0;
  size_t run = next_run(x, n, side.level, 0, &first);
  if (run == 0)
    return side;
  const texture t = feel(x, n, side.level);
  for (; run > 0; run = next_run(x, n, side.level, first + run, &first)) {
    all_runs++;
    if (at_rail || is_cut(x, first, run, step, &t)) {
      side.runs++;
      side.samples += run;
    }
  }
  const bool told =
      at_rail ? side.runs > 0 : t.swing >= FEWEST_STEPS * step && side.runs >= FEWEST_RUNS && 2 * side.runs >= all_runs;
  side.clipped = told && !t.few_values;
  return side;
}
