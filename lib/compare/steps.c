/*
 * Steps of a single event. Each healthy circuit takes them a little earlier or later (a hand, an armature, a unit that falls asleep), and a few
 * good captures show only a few of these moments: between them the corridor would be closed by chance, and a good capture that steps there
 * would be gross. So the good range is open as far as a step's moments scatter; later or earlier than that is told.
 */
#include "compare/steps.h"
#include "core/core.h"
#include <math.h>

enum { BESIDE = 2, AROUND = 8, LEAST_GRID = 32 };
static const double step_share = 0.1;    /* of the swing, over four cells: less is no step */
static const double steep_share = 0.4;   /* of what changes all around: less is a ramp, whose scatter the cells show themselves */
static const double reach_share = 0.125; /* of the event: further away it is another step */

static size_t clip(ptrdiff_t at, size_t grid) { return at < 0 ? 0 : (size_t)at < grid ? (size_t)at : grid - 1; }

static double change(const float *x, size_t grid, size_t at, ptrdiff_t half) {
  return (double)x[clip((ptrdiff_t)at + half, grid)] - (double)x[clip((ptrdiff_t)at + 1 - half, grid)];
}

/* Is the change from cell `at` to the next the largest of a step? */
static bool is_step(const float *x, size_t grid, size_t at, double swing) {
  const double across = fabs(change(x, grid, at, BESIDE)), here = fabs(change(x, grid, at, 1));
  if (!(across > step_share * swing) || across < steep_share * fabs(change(x, grid, at, AROUND))) {
    return false;
  }
  for (size_t k = at > BESIDE ? at - BESIDE : 0; k <= at + BESIDE && k + 1 < grid; k++) {
    const double other = fabs(change(x, grid, k, 1));
    if (other > here || (other >= here && k < at)) {
      return false;
    }
  }
  return true;
}

/* The passing of `level` in the direction `sign` that lies nearest to `at`, in cells; NaN: none within `reach`. */
static double nearest_passing(const float *x, size_t grid, double level, double sign, double at, size_t reach) {
  const size_t from = clip((ptrdiff_t)at - (ptrdiff_t)reach, grid), to = clip((ptrdiff_t)at + 1 + (ptrdiff_t)reach, grid);
  double best = NAN;
  for (size_t g = from; g < to; g++) {
    const double a = sign * ((double)x[g] - level), b = sign * ((double)x[g + 1] - level), place = (double)g + a / (a - b);
    if (a < 0.0 && b >= 0.0 && !(fabs(place - at) >= fabs(best - at))) {
      best = place;
    }
  }
  return best;
}

/* What a shift in time can do to cell `at`: the largest change to another cell, each by how likely a shift so far is. */
static double change_by_shift(const float *x, size_t grid, ptrdiff_t at, ptrdiff_t far, double wide) {
  double largest = 0.0;
  for (ptrdiff_t k = -far; k <= far; k++) {
    const double off = fmax(0.0, fabs((double)k) - 1.0) / wide;
    const double by = fabs((double)x[clip(at + k, grid)] - (double)x[clip(at, grid)]);
    largest = fmax(largest, by * exp(-0.5 * off * off));
  }
  return largest;
}

/*
 * The moments' standard deviation, drawn towards one cell as if four more captures had shown that, and widened for a new capture; the range closes
 * as a bell of it: a step three deviations away is hardly told, one at five is gross.
 */
static void open_one(const float *const *curve, size_t n, size_t grid, const float *middle, size_t at, float *jump) {
  const size_t reach = (size_t)ceil(reach_share * (double)grid);
  const double before = (double)middle[clip((ptrdiff_t)at + 1 - BESIDE, grid)], step = change(middle, grid, at, BESIDE);
  const double level = before + 0.5 * step, sign = step > 0.0 ? 1.0 : -1.0;
  const double own = nearest_passing(middle, grid, level, sign, (double)at + 0.5, BESIDE);
  double sum = 0.0, square = 0.0, seen = 0.0;
  for (size_t i = 0; i < n; i++) {
    const double off = nearest_passing(curve[i], grid, level, sign, own, reach) - own;
    if (isfinite(off)) {
      sum += off;
      square += off * off;
      seen += 1.0;
    }
  }
  if (seen < 2.0) {
    return;
  }
  const double mean = sum / seen, variance = fmax(0.0, square / seen - mean * mean) * seen / (seen - 1.0);
  const double wide = 1.2 * sqrt(((seen - 1.0) * variance + 4.0) / (seen + 3.0) * (1.0 + 1.0 / seen));
  const ptrdiff_t far = (ptrdiff_t)ceil(4.0 * wide) + 1, end = AROUND + far;
  for (ptrdiff_t k = (ptrdiff_t)own - end; k <= (ptrdiff_t)own + end; k++) {
    if (k >= 0 && k < (ptrdiff_t)grid) {
      jump[k] = fmaxf(jump[k], (float)change_by_shift(middle, grid, k, far, wide));
    }
  }
}

bool plb_open_at_steps(const float *const *curve, size_t n, size_t grid, double swing, float *jump) {
  if (n < 2 || grid < LEAST_GRID || !(swing > 0.0)) {
    return true;
  }
  float *middle = plb_calloc(grid + n, sizeof *middle);
  if (middle == NULL) {
    return false;
  }
  float *column = middle + grid;
  for (size_t g = 0; g < grid; g++) {
    for (size_t i = 0; i < n; i++) {
      column[i] = curve[i][g];
    }
    middle[g] = plb_median_f(column, n);
  }
  for (size_t g = 0; g + 1 < grid; g++) {
    if (is_step(middle, grid, g, swing)) {
      open_one(curve, n, grid, middle, g, jump);
    }
  }
  free(middle);
  return true;
}
