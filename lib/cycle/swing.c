/* Where a wheel's signal is high and where it is low, from the pulses themselves. */
#include "cycle/teeth.h"

#include <math.h>
#include <string.h>

enum { LOOK_AT = 4096 };

/** Extremes, and the 2 % and 98 % quantiles, of at most LOOK_AT samples spread over the signal (the extremes of all). */
static plb_status spread_of(const double *x, size_t n, double quantile[2], double extreme[2], plb_error *err) {
  const size_t stride = n / LOOK_AT + 1;
  double *part = plb_calloc(n / stride + 1, sizeof(double));
  size_t count = 0;
  if (!part)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", n / stride);
  for (size_t i = 0; i < n; i += stride)
    if (isfinite(x[i]))
      part[count++] = x[i];
  quantile[0] = plb_quantile(part, count, 0.02);
  quantile[1] = plb_quantile(part, count, 0.98);
  free(part);
  plb_extremes(x, n, &extreme[0], &extreme[1]);
  return PLB_OK;
}

/** Highest sample between a rising crossing and the next falling one, lowest between a falling and the next rising one. */
static void tops_and_bottoms(const double *x, size_t n, const plb_crossing *crossing, size_t count, double *top,
                             size_t *tops, double *bottom, size_t *bottoms) {
  for (size_t c = 0; c + 1 < count; c++) {
    const size_t first = (size_t)crossing[c].at + 1, last = (size_t)crossing[c + 1].at + 1;
    double best = -INFINITY;
    const double sign = crossing[c].direction;
    for (size_t i = first; i < last && i < n; i++)
      if (sign * x[i] > best)
        best = sign * x[i];
    if (!isfinite(best))
      continue;
    if (sign > 0)
      top[(*tops)++] = best;
    else
      bottom[(*bottoms)++] = -best;
  }
}

static plb_status pulses(const double *x, size_t n, double low, double high, plb_swing *out, bool *found_out,
                         plb_error *err) {
  plb_crossing *crossing = NULL;
  size_t count = 0, tops = 0, bottoms = 0;
  plb_status status = plb_crossings(x, n, low, high, &crossing, &count, err);
  if (status != PLB_OK)
    return status;
  double *top = plb_calloc(count + 1, sizeof(double)), *bottom = plb_calloc(count + 1, sizeof(double));
  *found_out = false;
  if (!top || !bottom) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu pulses; free some memory", count);
    goto done;
  }
  tops_and_bottoms(x, n, crossing, count, top, &tops, bottom, &bottoms);
  if (tops >= 2 && bottoms >= 2) {
    *out = (plb_swing){.top = plb_median(top, tops), .bottom = plb_median(bottom, bottoms)};
    out->top_low = plb_quantile(top, tops, 0.02);
    out->bottom_high = plb_quantile(bottom, bottoms, 0.98);
    *found_out = out->top > out->bottom;
  }
done:
  free(crossing);
  free(top);
  free(bottom);
  return status;
}

plb_status plb_swing_of(const double *x, size_t n, plb_swing *out, bool *found_out, plb_error *err) {
  double quantile[2], extreme[2];
  *found_out = false;
  if (n < 8)
    return PLB_OK;
  plb_status status = spread_of(x, n, quantile, extreme, err);
  if (status != PLB_OK || !(extreme[1] > extreme[0]))
    return status;
  /* Narrow pulses hardly fill 2 % of the time: then only the extremes show them. */
  if (!(quantile[1] - quantile[0] > 0.3 * (extreme[1] - extreme[0])))
    memcpy(quantile, extreme, sizeof quantile);
  for (int pass = 0; pass < 2 && status == PLB_OK; pass++) {
    const double swing = quantile[1] - quantile[0], middle = quantile[0] + 0.5 * swing;
    status = pulses(x, n, middle - 0.1 * swing, middle + 0.1 * swing, out, found_out, err);
    if (!*found_out)
      break;
    quantile[0] = out->bottom;
    quantile[1] = out->top;
  }
  return status;
}

void plb_swing_levels(const plb_swing *s, double *low_out, double *high_out) {
  const double swing = s->top - s->bottom, middle = 0.5 * (s->top + s->bottom);
  const double up = fmin(0.15 * swing, fmax(0.03 * swing, 0.5 * (s->top_low - middle)));
  const double down = fmin(0.15 * swing, fmax(0.03 * swing, 0.5 * (middle - s->bottom_high)));
  *low_out = middle - down;
  *high_out = middle + up;
}
