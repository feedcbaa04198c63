/* Correlation of whole arrays, and the delay between two. */
#include "signal/correlate.h"

#include "core/alloc.h"
#include "core/fail.h"
#include "signal/fft.h"
#include "signal/linear.h"
#include "signal/statistic.h"

#include <float.h>
#include <math.h>

/* Up to this many multiplications a transform does not pay. */
static const size_t most_direct = (size_t)1 << 18;

/* sum_i a[i + shift] v[i] over the samples that both have. */
static double product_at(const double *a, size_t na, const double *v, size_t nv, int64_t shift) {
  const int64_t from = shift < 0 ? -shift : 0;
  int64_t to = (int64_t)na - shift;
  if (to > (int64_t)nv)
    to = (int64_t)nv;
  return to > from ? plb_dot(a + from + shift, v + from, (size_t)(to - from)) : 0;
}

static void load(const double *x, size_t n, double mean, float *time, size_t size) {
  for (size_t i = 0; i < n; i++)
    time[i] = (float)(x[i] - mean);
  for (size_t i = n; i < size; i++)
    time[i] = 0;
}

/* out[k] += correlation of a block of `a`, starting at `at`, with the whole of v (transformed). */
static void add_block(const plb_fft *f, size_t size, const double *block, size_t length, double mean,
                      const float complex *v_freq, size_t nv, float *time, float complex *freq, double *out) {
  load(block, length, mean, time, size);
  plb_fft_forward(f, time, freq);
  plb_fft_multiply_conjugate(freq, v_freq, size / 2 + 1);
  plb_fft_inverse(f, freq, time);
  for (size_t k = 0; k < length; k++)
    out[k + nv - 1] += (double)time[k];
  for (size_t k = 1; k < nv; k++)
    out[nv - 1 - k] += (double)time[size - k];
}

/*
 * The transforms are in single precision, so the means are taken out before and put back exactly: with a = a0 + A and
 * v = v0 + V, sum a v = sum a0 v0 + A sum v0 + V sum a0 + A V count, each sum over the overlap.
 */
static plb_status put_back_means(const double *a, size_t na, double mean_a, const double *v, size_t nv, double mean_v,
                                 double *out, plb_error *err) {
  double *sum_a = plb_calloc(na + 1, sizeof *sum_a);
  double *sum_v = plb_calloc(nv + 1, sizeof *sum_v);
  plb_status status = PLB_OK;
  if (!sum_a || !sum_v) {
    status = plb_fail(err, PLB_ENOMEM, "no memory to correlate %zu with %zu samples", na, nv);
    goto done;
  }
  for (size_t i = 0; i < na; i++)
    sum_a[i + 1] = sum_a[i] + (a[i] - mean_a);
  for (size_t i = 0; i < nv; i++)
    sum_v[i + 1] = sum_v[i] + (v[i] - mean_v);
  for (size_t k = 0; k < na + nv - 1; k++) {
    const size_t a_from = k + 1 > nv ? k + 1 - nv : 0;
    const size_t a_to = k + 1 < na ? k + 1 : na;
    const size_t v_from = k + 1 < nv ? nv - 1 - k : 0;
    const size_t count = a_to - a_from;
    out[k] += mean_a * (sum_v[v_from + count] - sum_v[v_from]) + mean_v * (sum_a[a_to] - sum_a[a_from]) +
              mean_a * mean_v * (double)count;
  }
done:
  free(sum_a);
  free(sum_v);
  return status;
}

/* Overlap-add over blocks of `a`, na >= nv. */
static plb_status correlate_by_fft(const double *a, size_t na, const double *v, size_t nv, double *out,
                                   plb_error *err) {
  const size_t whole = na + nv - 1;
  size_t size = nv <= PLB_FFT_BLOCK / 2 ? PLB_FFT_BLOCK : plb_fft_good_size(whole < 4 * nv ? whole : 4 * nv);
  const plb_fft *f;
  plb_status status = plb_fft_get(&f, size, err);
  if (status != PLB_OK)
    return status;
  const size_t block = size - nv + 1;
  const double mean_a = plb_mean(a, na);
  const double mean_v = plb_mean(v, nv);
  float *time = plb_fft_alloc_real(size);
  float complex *freq = plb_fft_alloc_complex(size / 2 + 1);
  float complex *v_freq = plb_fft_alloc_complex(size / 2 + 1);
  if (!time || !freq || !v_freq) {
    status = plb_fail(err, PLB_ENOMEM, "no memory to correlate %zu with %zu samples", na, nv);
    goto done;
  }
  load(v, nv, mean_v, time, size);
  plb_fft_forward(f, time, v_freq);
  for (size_t k = 0; k < whole; k++)
    out[k] = 0;
  for (size_t at = 0; at < na; at += block)
    add_block(f, size, a + at, na - at < block ? na - at : block, mean_a, v_freq, nv, time, freq, out + at);
  status = put_back_means(a, na, mean_a, v, nv, mean_v, out, err);
done:
  plb_fft_free(time);
  plb_fft_free(freq);
  plb_fft_free(v_freq);
  return status;
}

static bool is_direct(size_t na, size_t nv) { return na <= most_direct / nv || nv <= 16 || na <= 16; }

plb_status plb_correlate_full(const double *a, size_t na, const double *v, size_t nv, double *out, plb_error *err) {
  if (na == 0 || nv == 0)
    return plb_fail(err, PLB_EINVAL, "nothing to correlate");
  const size_t whole = na + nv - 1;
  if (is_direct(na, nv)) {
    for (size_t k = 0; k < whole; k++)
      out[k] = product_at(a, na, v, nv, (int64_t)k - (int64_t)(nv - 1));
    return PLB_OK;
  }
  if (na >= nv)
    return correlate_by_fft(a, na, v, nv, out, err);
  /* with the roles changed the same numbers come in reverse order */
  const plb_status status = correlate_by_fft(v, nv, a, na, out, err);
  for (size_t k = 0; k < whole / 2; k++) {
    const double held = out[k];
    out[k] = out[whole - 1 - k];
    out[whole - 1 - k] = held;
  }
  return status;
}

typedef struct candidate {
  int64_t lag;
  double size;
} candidate;

/* Climb from a lag found in single precision to the exact peak beside it. */
static candidate climb(const double *y, size_t ny, const double *x, size_t nx, int64_t lag) {
  candidate best = {.lag = lag, .size = fabs(product_at(y, ny, x, nx, lag))};
  for (int steps = 0; steps < 64; steps++) {
    const double before = fabs(product_at(y, ny, x, nx, best.lag - 1));
    const double after = fabs(product_at(y, ny, x, nx, best.lag + 1));
    if (before <= best.size && after <= best.size)
      break;
    best = before > after ? (candidate){best.lag - 1, before} : (candidate){best.lag + 1, after};
  }
  return best;
}

static bool is_peak(const double *c, size_t count, size_t k) {
  return (k == 0 || fabs(c[k]) >= fabs(c[k - 1])) && (k + 1 == count || fabs(c[k]) >= fabs(c[k + 1]));
}

/* `closeness`: how much smaller, as a share, still counts as equal. */
static bool is_better(candidate a, candidate b) {
  const double equal = 1e-12 * b.size;
  if (a.size > b.size + equal)
    return true;
  if (a.size < b.size - equal)
    return false;
  return llabs((long long)a.lag) < llabs((long long)b.lag);
}

plb_status plb_find_delay(const double *x, size_t nx, const double *y, size_t ny, int64_t *lag_out, plb_error *err) {
  *lag_out = 0;
  if (nx == 0 || ny == 0)
    return plb_fail(err, PLB_EINVAL, "nothing to find a delay between");
  const size_t count = nx + ny - 1;
  double *c = plb_calloc(count, sizeof *c);
  if (!c)
    return plb_fail(err, PLB_ENOMEM, "no memory to correlate %zu with %zu samples", nx, ny);
  const plb_status status = plb_correlate_full(y, ny, x, nx, c, err);
  if (status != PLB_OK)
    goto done;
  double most = 0;
  for (size_t k = 0; k < count; k++)
    most = fmax(most, fabs(c[k]));
  /* single-precision rounding hides which of several nearly equal peaks is the largest: settle it exactly */
  const double least = most - 1e-5 * sqrt(plb_dot(x, x, nx) * plb_dot(y, y, ny));
  candidate best = {.lag = 0, .size = -1};
  int settled = 0;
  for (size_t k = 0; k < count && settled < 256; k++) {
    if (fabs(c[k]) < least || !is_peak(c, count, k))
      continue;
    const candidate next = climb(y, ny, x, nx, (int64_t)k - (int64_t)(nx - 1));
    if (best.size < 0 || is_better(next, best))
      best = next;
    settled++;
  }
  *lag_out = best.size > 0 ? best.lag : 0;
done:
  free(c);
  return status;
}
