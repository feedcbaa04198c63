/*
 * What comes round only after k cycles: where one of k like parts is so odd that its neighbours cannot be counted, the signal is still like
 * itself k cycles later, and less so after any fewer.
 */
#include "compare/explain.h"
#include <math.h>

enum { MOST_PARTS = 16, LOOK_AT = 1 << 18 };
static const double stands_out = 0.15, by_chance = 1e-3;

plb_status plb_pattern_by_turn(plb_pattern_found *f, const double *x, size_t n, double cycle, plb_error *err) {
  n = n < LOOK_AT ? n : LOOK_AT;
  const size_t most = (size_t)(cycle * (MOST_PARTS + 1));
  if (f->pattern != PLB_INTERMITTENT || !(cycle >= 4.0) || 3 * most > n) {
    return PLB_OK;
  }
  float *copy = plb_calloc(n + most + 1, sizeof *copy);
  if (copy == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t i = 0; i < n; i++) {
    copy[i] = isfinite(x[i]) ? (float)x[i] : 0.0F;
  }
  float *r = copy + n;
  const plb_status status = plb_autocorrelate(copy, n, most, r, err);
  double before = -1.0, highest = -1.0, likeness[MOST_PARTS + 1];
  for (size_t k = 1; k <= MOST_PARTS && status == PLB_OK; k++) {
    likeness[k] = -1.0;
    for (size_t lag = (size_t)(0.97 * (double)k * cycle); (double)lag <= 1.03 * (double)k * cycle && lag <= most;
         lag++) {
      likeness[k] = fmax(likeness[k], (double)r[lag]);
    }
    highest = fmax(highest, likeness[k]);
  }
  for (size_t k = 1; k <= MOST_PARTS && status == PLB_OK; k++) {
    /* correlations of n / cycle independent cycles would scatter by one over the root of their number (Bartlett) */
    const double z = (likeness[k] - before) * sqrt((double)n / cycle), p = 0.5 * erfc(z / sqrt(2.0));
    if (k >= 2 && likeness[k] > 0.85 * highest && likeness[k] - before > stands_out && p < by_chance) {
      f->pattern = PLB_RECURRING;
      f->every = (unsigned)k;
      f->phase = 1;
      f->p_chance = p;
      break;
    }
    before = fmax(before, likeness[k]);
  }
  free(copy);
  return status;
}
