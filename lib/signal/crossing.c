#include "signal/crossing.h"

#include "core/alloc.h"
#include "core/fail.h"

#include <math.h>

enum { STRIDE = 16 };

/* Skip whole strides that hold no sample beyond `level`; the sum over the stride vectorises, a loop with an exit does
 * not. */
static size_t next_above(const double *x, size_t n, size_t i, double level) {
  for (; i + STRIDE <= n; i += STRIDE) {
    int any = 0;
    for (size_t k = 0; k < STRIDE; k++)
      any |= x[i + k] > level;
    if (any)
      break;
  }
  while (i < n && !(x[i] > level))
    i++;
  return i;
}

static size_t next_below(const double *x, size_t n, size_t i, double level) {
  for (; i + STRIDE <= n; i += STRIDE) {
    int any = 0;
    for (size_t k = 0; k < STRIDE; k++)
      any |= x[i + k] < level;
    if (any)
      break;
  }
  while (i < n && !(x[i] < level))
    i++;
  return i;
}

/* The place between two samples where the straight line meets the level; in the middle when a sample is infinite. */
static double meet(const double *x, size_t before, size_t after, double level) {
  const double share = (level - x[before]) / (x[after] - x[before]);
  return (double)before + (double)(after - before) * (share >= 0 && share <= 1 ? share : 0.5);
}

/* Walk back from the sample that changed the state to the last passage of the mid level. The samples walked over lie on
 * the new side and are never walked over again, so the whole scan stays linear. */
static double last_passage(const double *x, size_t changed, double mid, int direction) {
  size_t after = changed;
  size_t i = changed;
  while (i-- > 0) {
    if (isnan(x[i]))
      continue;
    if (direction > 0 ? x[i] <= mid : x[i] >= mid)
      return meet(x, i, after, mid);
    after = i;
  }
  return (double)changed;
}

plb_status plb_crossings(const double *x, size_t n, double low, double high, plb_crossing **out, size_t *count_out,
                         plb_error *err) {
  *out = NULL;
  *count_out = 0;
  if (!(low <= high))
    return plb_fail(err, PLB_EINVAL, "the low level of a crossing lies above the high one; swap them");
  const double mid = low + 0.5 * (high - low);
  plb_crossing *found = NULL;
  size_t count = 0;
  size_t capacity = 0;
  size_t i = 0;
  while (i < n && !(x[i] > high) && !(x[i] < low))
    i++;
  bool is_high = i < n && x[i] > high;
  for (;;) {
    i = is_high ? next_below(x, n, i, low) : next_above(x, n, i, high);
    if (i >= n)
      break;
    plb_crossing *grown = plb_grow(found, count, &capacity, sizeof *found);
    if (!grown) {
      free(found);
      return plb_fail(err, PLB_ENOMEM, "no memory for %zu crossings", count + 1);
    }
    found = grown;
    is_high = !is_high;
    const int direction = is_high ? 1 : -1;
    found[count++] = (plb_crossing){.at = last_passage(x, i, mid, direction), .direction = direction};
  }
  *out = found;
  *count_out = count;
  return PLB_OK;
}
