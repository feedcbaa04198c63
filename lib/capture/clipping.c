#include "capture/clipping.h"
#include <math.h>

/*
 * The recorder cuts a signal off where its range ends: samples sit exactly at one code, and the signal runs into it at full slope.
 * Three things look alike and are not clipping: a rounded peak seen in coarse steps (it slows down before its flat run, as a parabola
 * does); the state of a switched signal (the way there is short against the stay, and it starts from another flat stretch); and a limit
 * made by the circuit (the recorder's noise lies on top of it, so that the run is not exact). Criteria: common practice, no source.
 */

enum { SHORTEST_RUN = 3, FEWEST_RUNS = 2, LONGEST_LOOK = 16, FEWEST_VALUES = 4, SHORTEST_WAY = 3 };

typedef struct texture {
  bool few_values; /* two or three different values: a logic channel */
  bool noisy;      /* noise of more than a step lies on the signal away from its highest value */
} texture;

/* Noise turns round at every other sample and seldom repeats a code. */
static texture feel(const double *x, size_t n, double top) {
  double seen[FEWEST_VALUES];
  size_t values = 0, triples = 0, repeats = 0, turns = 0;
  for (size_t i = 0; i < n; i++) {
    size_t k = 0;
    while (k < values && x[i] != seen[k])
      k++;
    if (k == values && values < FEWEST_VALUES && isfinite(x[i]))
      seen[values++] = x[i];
    if (i < 2 || !(x[i] < top && x[i - 1] < top && x[i - 2] < top))
      continue;
    triples++;
    repeats += x[i] == x[i - 1];
    turns += (x[i] - x[i - 1]) * (x[i - 1] - x[i - 2]) < 0.0;
  }
  return (texture){values < FEWEST_VALUES, triples > 0 && repeats * 10 < triples * 3 && turns * 10 > triples};
}

/* A parabola that stays within a step of its top for `run` samples falls by about step * ((run/2 + d) / (run/2))^2 at d samples before them. */
static bool is_sharp(const double *x, size_t first, size_t run, double step) {
  const double half = 0.5 * (double)run;
  size_t look = run / 2 < LONGEST_LOOK ? run / 2 : LONGEST_LOOK;
  look = look < 1 ? 1 : look;
  if (first < look)
    return false;
  const double reach = (half + (double)look) / half;
  const double fall = x[first] - x[first - look];
  return fall > step * (2.0 * reach * reach + 2.0);
}

/* The samples on the way up to the run, as far back as the signal only rises. */
static bool is_long_way(const double *x, size_t first, size_t run) {
  size_t way = 0;
  while (way < first && x[first - way - 1] < x[first - way])
    way++;
  return way >= SHORTEST_WAY && way * 7 >= run;
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
  const texture t = at_rail ? (texture){false, false} : feel(x, n, side.level);
  for (; run > 0; run = next_run(x, n, side.level, first + run, &first)) {
    all_runs++;
    if (at_rail || (is_sharp(x, first, run, step) && (t.noisy || is_long_way(x, first, run)))) {
      side.runs++;
      side.samples += run;
    }
  }
  side.clipped = at_rail ? side.runs > 0 : !t.few_values && side.runs >= FEWEST_RUNS && 2 * side.runs >= all_runs;
  return side;
}
