/*
 * How long a cycle is.
 *
 * First by the autocorrelation of the signal: of the peaks within 0.8 of the highest, the first (SCORING section 1). Where no peak
 * stands out, because the cycles differ in length or in shape (a heart with extra beats, an idling engine, a wandering base line), the
 * steep parts still come back: then the size of the slope, smoothed over a twelfth of the cycle, is correlated with itself. The
 * smoothing must suit the cycle, so cycles of every octave are tried. The slope's size does not know up from down: where the signal comes back
 * turned over after what it shows, and upright after twice that, the cycle is twice as long (two plugs of one coil).
 */
#include "cycle/chain.h"

#include <math.h>

/* Longer recordings are searched in their middle: a period shows in a million samples or not at all. */
enum { LOOK_AT = 1 << 20 };
/* A peak of the signal's own autocorrelation that is good enough, and one of the slope's. */
static const double REGULAR = 0.7, STANDS_OUT = 0.4, LIVELY = 0.25, LIVELY_STANDS_OUT = 0.2;
/* How much alike, upright or turned over, the signal comes back at least. */
static const float TURNED = 0.25f;

typedef struct range {
  double low, high, expected; /* lags [samples]; expected 0: none */
} range;

typedef struct peak {
  double at, height, prominence;
} peak;

static bool is_peak(const float *r, size_t k) { return r[k] >= r[k - 1] && r[k] > r[k + 1]; }

static float lowest(const float *r, size_t first, size_t last) {
  float low = r[first];
  for (size_t k = first; k <= last; k++)
    low = r[k] < low ? r[k] : low;
  return low;
}

/** How far the correlation falls on both sides: before the peak, and within half its lag behind it. */
static double prominence(const float *r, size_t most, size_t k) {
  const size_t behind = k + k / 2 < most ? k + k / 2 : most;
  return (double)r[k] - (double)fmaxf(lowest(r, 0, k), lowest(r, k, behind));
}

/** prominence() >= least, without walking further than the answer needs: the fall is mostly near the peak. */
static bool stands_out(const float *r, size_t most, size_t k, double least) {
  const size_t behind = k + k / 2 < most ? k + k / 2 : most;
  size_t before = k + 1, after = k;
  while (before > 0 && !((double)r[k] - (double)r[before - 1] >= least))
    before--;
  while (before > 0 && after <= behind && !((double)r[k] - (double)r[after] >= least))
    after++;
  return before > 0 && after <= behind;
}

static double merit(const float *r, size_t k, double expected) {
  const double away = expected > 0 ? log((double)k / expected) : 0.0;
  return (double)r[k] - 0.5 * away * away;
}

static peak read_peak(const float *r, size_t most, size_t k) {
  double height = 0;
  const double offset = plb_parabola_peak((double)r[k - 1], (double)r[k], (double)r[k + 1], &height);
  return (peak){(double)k + offset, height, prominence(r, most, k)};
}

/** The first peak that comes within 0.8 of the best; with an expected lag, the best. Height is NaN when there is none. */
static peak choose_peak(const float *r, size_t most, range lags, double least_prominence) {
  const size_t first = (size_t)fmax(2.0, lags.low), last = (size_t)fmin((double)most - 1.0, lags.high);
  size_t best = 0;
  for (size_t k = first; k <= last; k++)
    if (is_peak(r, k) && (best == 0 || merit(r, k, lags.expected) > merit(r, best, lags.expected)) &&
        stands_out(r, most, k, least_prominence))
      best = k;
  if (best == 0)
    return (peak){NAN, NAN, 0};
  const double half = 0.5 * prominence(r, most, best);
  for (size_t k = first; k < best && lags.expected <= 0; k++)
    if (is_peak(r, k) && r[k] >= 0.8f * r[best] && stands_out(r, most, k, half)) {
      /* A hill may carry ripples: its top, not its first ripple. */
      size_t top = k;
      for (size_t i = k; i <= k + k / 8 && i < last; i++)
        top = is_peak(r, i) && r[i] > r[top] ? i : top;
      return read_peak(r, most, top);
    }
  return read_peak(r, most, best);
}

static plb_status peak_of_signal(const float *x, size_t n, range lags, peak *out, plb_error *err) {
  const size_t most = (size_t)fmin(0.55 * (double)n, 1.5 * lags.high + 2.0);
  *out = (peak){NAN, NAN, 0};
  if (most < 4)
    return PLB_OK;
  float *r = plb_calloc(most + 1, sizeof(float));
  if (!r)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu lags; free some memory", most);
  const plb_status status = plb_autocorrelate(x, n, most, r, err);
  if (status == PLB_OK)
    *out = choose_peak(r, most, lags, 0.1);
  free(r);
  return status;
}

/** Size of the slope over a 24th of `period`, averaged over a twelfth. @return the length of `out` */
static size_t liveliness(const float *x, size_t n, double period, float *out) {
  const size_t reach = (size_t)fmax(1.0, period / 48.0), width = (size_t)fmax(1.0, period / 12.0);
  if (n < 2 * reach + width)
    return 0;
  const size_t slopes = n - 2 * reach, count = slopes - width + 1;
  double sum = 0;
  for (size_t i = 0; i < slopes; i++) {
    sum += (double)fabsf(x[i + 2 * reach] - x[i]);
    if (i + 1 >= width)
      out[i + 1 - width] = (float)(sum / (double)width);
    if (i + 1 >= width)
      sum -= (double)fabsf(x[i + 1 - width + 2 * reach] - x[i + 1 - width]);
  }
  return count;
}

static plb_status peak_of_slope(const float *x, size_t n, range lags, peak *out, plb_error *err) {
  plb_status status = PLB_OK;
  float *slope = plb_calloc(n, sizeof(float));
  peak found[32];
  size_t octaves = 0;
  double highest = 0;
  if (!slope)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", n);
  const double top = lags.expected > 0 ? lags.high : fmin(lags.high, 0.125 * (double)n);
  const double start = lags.expected > 0 ? lags.expected : fmax(16.0, lags.low);
  for (double period = start; period <= top && octaves < 32 && status == PLB_OK; period *= 2.0) {
    const size_t count = liveliness(x, n, period, slope);
    const range octave = {fmax(lags.low, 0.5 * period), fmin(lags.high, 2.0 * period), lags.expected};
    peak p = {NAN, NAN, 0};
    if (count >= 8)
      status = peak_of_signal(slope, count, octave, &p, err);
    if (p.height >= LIVELY && p.prominence >= LIVELY_STANDS_OUT) {
      found[octaves++] = p;
      highest = fmax(highest, p.height);
    }
    if (lags.expected > 0)
      break;
  }
  free(slope);
  for (size_t i = 0; i < octaves; i++)
    if (found[i].height >= 0.8 * highest) {
      *out = found[i];
      break;
    }
  return status;
}

/** The extremes of a correlation within a twentieth of a lag. */
static void extremes_near(const float *r, size_t most, double lag, float *low, float *high) {
  const size_t first = (size_t)fmax(0.0, 0.95 * lag), last = (size_t)fmin((double)most, 1.05 * lag);
  *low = lowest(r, first, last);
  *high = r[first];
  for (size_t k = first; k <= last; k++)
    *high = fmaxf(*high, r[k]);
}

/** Twice the period where the signal comes back turned over after one and upright after two. */
static plb_status double_if_turned(const float *x, size_t n, double lag_high, double *period, plb_error *err) {
  const size_t most = (size_t)(2.1 * *period) + 1;
  float low = 0, high = 0, low_twice = 0, high_twice = 0;
  if (2.0 * *period > lag_high || (double)most > 0.55 * (double)n)
    return PLB_OK;
  float *r = plb_calloc(most + 1, sizeof(float));
  if (!r)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu lags; free some memory", most);
  const plb_status status = plb_autocorrelate(x, n, most, r, err);
  if (status == PLB_OK) {
    extremes_near(r, most, *period, &low, &high);
    extremes_near(r, most, 2.0 * *period, &low_twice, &high_twice);
    if (low < -TURNED && -low > 1.5f * high && high_twice > TURNED && high_twice > 1.5f * -low_twice)
      *period *= 2.0;
  }
  free(r);
  return status;
}

plb_status plb_period_find(const float *x, size_t n, double lag_low, double lag_high, double expected,
                           double *period_out, plb_error *err) {
  const range lags = {lag_low, lag_high, expected};
  peak signal, slope = {NAN, NAN, 0};
  *period_out = NAN;
  if (n > LOOK_AT) {
    x += (n - LOOK_AT) / 2;
    n = LOOK_AT;
  }
  if (n < 8)
    return PLB_OK;
  plb_status status = peak_of_signal(x, n, lags, &signal, err);
  const bool regular = signal.height >= REGULAR && signal.prominence >= STANDS_OUT;
  if (status == PLB_OK && !regular)
    status = peak_of_slope(x, n, lags, &slope, err);
  if (status != PLB_OK)
    return status;
  if (!regular && isfinite(slope.height) && !(signal.prominence >= STANDS_OUT && signal.height > slope.height)) {
    *period_out = slope.at;
    status = double_if_turned(x, n, lag_high, period_out, err);
  } else if (signal.height >= 0.2 && signal.prominence >= 0.2) {
    *period_out = signal.at;
  }
  return status;
}
