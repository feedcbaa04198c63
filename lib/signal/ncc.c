/*
 * Normalised cross-correlation: a template over a long trace, a cycle against a cycle, a trace against itself.
 * The sliding product comes from transforms in single precision (overlap-save, one block size that stays in the
 * second-level cache), the sliding energy from running sums in double that start afresh in every block.
 */
#include "signal/correlate.h"

#include "core/alloc.h"
#include "core/fail.h"
#include "signal/fft.h"
#include "signal/linear.h"

#include <float.h>
#include <math.h>

/* Up to this many multiplications a transform does not pay. */
static const size_t most_direct = (size_t)1 << 18;

enum { MOST_SIZE = 1 << 24 };
static const size_t short_overlap = 512;

/* Overlap-save size for a template of m: the default block up to half of it, four templates beyond. */
static size_t block_size(size_t m) {
  if (m <= PLB_FFT_BLOCK / 2)
    return PLB_FFT_BLOCK;
  return plb_fft_good_size(m <= MOST_SIZE / 5 ? 4 * m : MOST_SIZE);
}

typedef struct scratch {
  const plb_fft *fft;
  size_t size;
  float *time;   /* what goes in; kept */
  float *result; /* what comes out */
  float complex *freq, *other;
} scratch;

static void scratch_dispose(scratch *s) {
  plb_fft_free(s->time);
  plb_fft_free(s->result);
  plb_fft_free(s->freq);
  plb_fft_free(s->other);
}

static plb_status scratch_init(scratch *s, size_t size, plb_error *err) {
  *s = (scratch){.size = size};
  const plb_status status = plb_fft_get(&s->fft, size, err);
  if (status != PLB_OK)
    return status;
  s->time = plb_fft_alloc_real(size);
  s->result = plb_fft_alloc_real(size);
  s->freq = plb_fft_alloc_complex(size / 2 + 1);
  s->other = plb_fft_alloc_complex(size / 2 + 1);
  if (s->time && s->result && s->freq && s->other)
    return PLB_OK;
  scratch_dispose(s);
  return plb_fail(err, PLB_ENOMEM, "no memory for a transform of %zu points", size);
}

static double mean_f(const float *x, size_t n) { return plb_sum_f(x, n) / (double)n; }

/* The template without its mean and with length 1; false when it is flat or not finite. */
static bool unit_template(const float *t, size_t m, float *out) {
  const double mean = mean_f(t, m);
  double energy = 0;
  double most = 0;
  for (size_t i = 0; i < m; i++) {
    const double d = (double)t[i] - mean;
    energy += d * d;
    most = fmax(most, fabs((double)t[i]));
  }
  const double grain = 0.5 * (double)FLT_EPSILON * most;
  if (!(energy > (double)m * grain * grain) || !isfinite(energy))
    return false;
  const double scale = 1 / sqrt(energy);
  for (size_t i = 0; i < m; i++)
    out[i] = (float)(((double)t[i] - mean) * scale);
  return true;
}

static float limit(double r) { return (float)(r > 1 ? 1 : r < -1 ? -1 : r); }

/* One place, all in double. */
static float coefficient(const float *x, const float *unit, size_t m, double flat) {
  const double mean = mean_f(x, m);
  if (!isfinite(mean))
    return 0;
  double energy = 0;
  double product = 0;
  double most = 0;
  for (size_t i = 0; i < m; i++) {
    const double d = (double)x[i] - mean;
    energy += d * d;
    product += d * (double)unit[i];
    most = fmax(most, fabs((double)x[i]));
  }
  const double grain = 0.5 * (double)FLT_EPSILON * most;
  const double least = fmax((double)m * flat * flat, (double)m * grain * grain);
  return energy > least ? limit(product / sqrt(energy)) : 0;
}

/* About the middle of a block; any constant near it will do, since the template has no mean. */
static float rough_middle(const float *x, size_t n) {
  double sum = 0;
  size_t count = 0;
  for (size_t i = n / 64; i < n; i += n / 32 + 1) {
    if (!isfinite(x[i]))
      continue;
    sum += (double)x[i];
    count++;
  }
  return count ? (float)(sum / (double)count) : 0;
}

/* A block of the trace about its middle, zeros behind it; samples that are not finite become 0.
 * @param bad_out  how many were not finite. @return the energy */
static double load_block(const float *x, size_t n, scratch *s, size_t *bad_out) {
  const float middle = rough_middle(x, n);
  for (size_t i = 0; i < n; i++)
    s->time[i] = x[i] - middle;
  double energy = plb_dot_f(s->time, s->time, n);
  size_t bad = 0;
  if (!isfinite(energy)) {
    for (size_t i = 0; i < n; i++) {
      if (isfinite(s->time[i]))
        continue;
      s->time[i] = 0;
      bad++;
    }
    energy = plb_dot_f(s->time, s->time, n);
  }
  for (size_t i = n; i < s->size; i++)
    s->time[i] = 0;
  *bad_out = bad;
  return energy;
}

enum { CHUNK = 512, CHAINS = 4, LINKS = CHUNK / CHAINS };

/* In place, in each quarter of the chunk: step[i] becomes the sum of the steps before it. Four chains of additions run
 * side by side, since one alone waits for every sum. @param begin  out: what lies before each quarter. @return what
 * lies before the next chunk */
static double accumulate(double *step, double start, double begin[CHAINS]) {
  double a = 0, b = 0, c = 0, d = 0;
  for (size_t i = 0; i < LINKS; i++) {
    const double next_a = a + step[i];
    const double next_b = b + step[LINKS + i];
    const double next_c = c + step[2 * LINKS + i];
    const double next_d = d + step[3 * LINKS + i];
    step[i] = a;
    step[LINKS + i] = b;
    step[2 * LINKS + i] = c;
    step[3 * LINKS + i] = d;
    a = next_a, b = next_b, c = next_c, d = next_d;
  }
  begin[0] = start;
  begin[1] = begin[0] + a;
  begin[2] = begin[1] + b;
  begin[3] = begin[2] + c;
  return begin[3] + d;
}

typedef struct window_sums {
  double sum, squares; /* of the samples under the template's present place */
} window_sums;

/* The energy about the mean at CHUNK places in a row; the window moves `count` times. */
static void window_energy(const float *time, size_t count, size_t m, window_sums *w, float *energy) {
  double sum[CHUNK];
  double squares[CHUNK];
  for (size_t i = 0; i < count; i++) {
    const double in = (double)time[i + m];
    const double gone = (double)time[i];
    sum[i] = in - gone;
    squares[i] = (in - gone) * (in + gone);
  }
  for (size_t i = count; i < CHUNK; i++)
    sum[i] = squares[i] = 0;
  double sum_begin[CHAINS];
  double squares_begin[CHAINS];
  w->sum = accumulate(sum, w->sum, sum_begin);
  w->squares = accumulate(squares, w->squares, squares_begin);
  const double share = 1 / (double)m;
  for (size_t q = 0; q < CHAINS; q++)
    for (size_t i = q * LINKS; i < (q + 1) * LINKS; i++) {
      const double s = sum_begin[q] + sum[i];
      energy[i] = (float)(squares_begin[q] + squares[i] - s * s * share);
    }
}

/* product[k] / sqrt(energy of time[k .. k + m) about its mean), with the energy carried along in double; 0 where the
 * energy is not above `least`. */
static void normalise(const float *time, const float *product, size_t count, size_t m, double least, float *out) {
  window_sums w = {.sum = plb_sum_f(time, m), .squares = plb_dot_f(time, time, m)};
  const float smallest = (float)least;
  float energy[CHUNK];
  for (size_t at = 0; at < count; at += CHUNK) {
    const size_t places = count - at < CHUNK ? count - at : CHUNK;
    window_energy(time + at, at + places < count ? places : places - 1, m, &w, energy);
    int beyond = 0; /* rounding may lead out of [-1, 1]; seldom, so it is put right apart */
    for (size_t i = 0; i < places; i++) {
      const float r = product[at + i] / sqrtf(energy[i]);
      out[at + i] = energy[i] > smallest ? r : 0;
      beyond |= fabsf(out[at + i]) > 1;
    }
    for (size_t i = 0; beyond && i < places; i++)
      out[at + i] = limit((double)out[at + i]);
  }
}

/* Places whose window holds a sample that is not finite say 0. */
static void blank_bad(const float *x, size_t count, size_t m, float *out) {
  size_t clear_from = 0; /* the first place whose window lies behind the last bad sample seen */
  for (size_t i = 0; i + 1 < m; i++)
    if (!isfinite(x[i]))
      clear_from = i + 1;
  for (size_t k = 0; k < count; k++) {
    if (!isfinite(x[k + m - 1]))
      clear_from = k + m;
    if (k < clear_from)
      out[k] = 0;
  }
}

static void ncc_block(scratch *s, const float *x, size_t length, size_t m, double flat, float *out) {
  const size_t count = length - m + 1;
  size_t bad;
  const double energy = load_block(x, length, s, &bad);
  plb_fft_forward(s->fft, s->time, s->freq);
  plb_fft_multiply_conjugate(s->freq, s->other, s->size / 2 + 1);
  plb_fft_inverse_unscaled(s->fft, s->freq, s->result);
  /* where a window holds less than the rounding of the whole block's transform, the quotient would be noise */
  const double grain = 4 * (double)FLT_EPSILON;
  const double least = fmax((double)m * flat * flat, grain * grain * energy);
  normalise(s->time, s->result, count, m, least, out);
  if (bad > 0)
    blank_bad(x, count, m, out);
}

plb_status plb_ncc(const float *x, size_t n, const float *template_, size_t m, double flat, float *out,
                   plb_error *err) {
  if (m < 2 || m > n)
    return plb_fail(err, PLB_EINVAL, "a template of %zu samples in a trace of %zu", m, n);
  if (m > MOST_SIZE / 2)
    return plb_fail(err, PLB_EUSAGE, "a template of %zu samples; take at most %d", m, MOST_SIZE / 2);
  const size_t count = n - m + 1;
  scratch s = {0};
  plb_status status = PLB_OK;
  float *unit = plb_calloc(m, sizeof *unit);
  if (!unit)
    return plb_fail(err, PLB_ENOMEM, "no memory for a template of %zu samples", m);
  if (!(flat > 0))
    flat = 0;
  if (!unit_template(template_, m, unit)) {
    for (size_t k = 0; k < count; k++)
      out[k] = 0;
    goto done;
  }
  if (count <= most_direct / m) {
    for (size_t k = 0; k < count; k++)
      out[k] = coefficient(x + k, unit, m, flat);
    goto done;
  }
  status = scratch_init(&s, block_size(m), err);
  if (status != PLB_OK)
    goto done;
  for (size_t i = 0; i < s.size; i++)
    s.time[i] = i < m ? unit[i] / (float)s.size : 0;
  plb_fft_forward(s.fft, s.time, s.other);
  const size_t step = s.size - m + 1;
  for (size_t at = 0; at < count; at += step) {
    const size_t places = count - at < step ? count - at : step;
    ncc_block(&s, x + at, places + m - 1, m, flat, out + at);
  }
done:
  free(unit);
  scratch_dispose(&s);
  return status;
}

plb_status plb_ncc_circular(const float *x, const float *template_, size_t n, float *out, plb_error *err) {
  if (n < 2 || n > MOST_SIZE / 2)
    return plb_fail(err, PLB_EINVAL, "a cycle of %zu samples; take 2 to %d", n, MOST_SIZE / 2);
  /* a size that transforms well is circular by itself; any other is laid out twice, so that few sizes are planned */
  const size_t good = plb_fft_good_size(n);
  const size_t laid = good == n ? n : 2 * n - 1;
  scratch s;
  const plb_status status = scratch_init(&s, good == n ? n : plb_fft_good_size(laid), err);
  if (status != PLB_OK)
    return status;
  const bool both = unit_template(template_, n, s.time) && unit_template(x, n, s.result);
  for (size_t k = 0; k < n; k++)
    out[k] = 0;
  if (both) {
    for (size_t i = n; i < s.size; i++)
      s.time[i] = 0;
    plb_fft_forward(s.fft, s.time, s.other);
    for (size_t i = 0; i < s.size; i++)
      s.time[i] = i < laid ? s.result[i % n] : 0;
    plb_fft_forward(s.fft, s.time, s.freq);
    plb_fft_multiply_conjugate(s.freq, s.other, s.size / 2 + 1);
    plb_fft_inverse(s.fft, s.freq, s.result);
    for (size_t k = 0; k < n; k++)
      out[k] = limit((double)s.result[k]);
  }
  scratch_dispose(&s);
  return PLB_OK;
}

/* sum_i x[i] x[i + k], k = 0 .. most: each block against itself and the `most` samples behind it, spectra added up. */
static plb_status self_products(const float *x, size_t n, size_t most, double mean, float *out, plb_error *err) {
  size_t size = PLB_FFT_BLOCK;
  if (most > PLB_FFT_BLOCK / 2)
    size = plb_fft_good_size(n + most < 4 * most ? n + most : 4 * most);
  if (size > MOST_SIZE)
    size = MOST_SIZE;
  scratch s;
  plb_status status = scratch_init(&s, size, err);
  if (status != PLB_OK)
    return status;
  float complex *total = plb_fft_alloc_complex(size / 2 + 1);
  if (!total) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for a transform of %zu points", size);
    goto done;
  }
  float *pair = (float *)total;
  for (size_t k = 0; k < 2 * (size / 2 + 1); k++)
    pair[k] = 0;
  const size_t block = size - most;
  for (size_t at = 0; at < n; at += block) {
    const size_t first = n - at < block ? n - at : block;
    const size_t both = n - at < size ? n - at : size;
    for (size_t i = 0; i < size; i++)
      s.time[i] = i < first ? (float)((double)x[at + i] - mean) : 0;
    plb_fft_forward(s.fft, s.time, s.other);
    for (size_t i = first; i < both; i++)
      s.time[i] = (float)((double)x[at + i] - mean);
    plb_fft_forward(s.fft, s.time, s.freq);
    plb_fft_multiply_conjugate(s.freq, s.other, size / 2 + 1);
    const float *add = (const float *)s.freq;
    for (size_t k = 0; k < 2 * (size / 2 + 1); k++)
      pair[k] += add[k];
  }
  plb_fft_inverse(s.fft, total, s.result);
  for (size_t k = 0; k <= most; k++)
    out[k] = s.result[k];
done:
  plb_fft_free(total);
  scratch_dispose(&s);
  return status;
}

static void self_products_direct(const float *x, size_t n, size_t from, size_t most, double mean, float *out) {
  for (size_t k = from; k <= most; k++) {
    double sum = 0;
    for (size_t i = 0; i + k < n; i++)
      sum += ((double)x[i] - mean) * ((double)x[i + k] - mean);
    out[k] = (float)sum;
  }
}

plb_status plb_autocorrelate(const float *x, size_t n, size_t most, float *out, plb_error *err) {
  if (n == 0 || most >= n)
    return plb_fail(err, PLB_EINVAL, "lags up to %zu in a trace of %zu samples", most, n);
  if (most > MOST_SIZE / 2)
    return plb_fail(err, PLB_EUSAGE, "lags up to %zu; take at most %d", most, MOST_SIZE / 2);
  const double mean = mean_f(x, n);
  if (!isfinite(mean))
    return plb_fail(err, PLB_EDATA, "a sample is not a finite number; cut it out first");
  double head = 0; /* energy of the first n - k samples */
  double size = 0;
  for (size_t i = 0; i < n; i++) {
    head += ((double)x[i] - mean) * ((double)x[i] - mean);
    size = fmax(size, fabs((double)x[i]));
  }
  const double grain = (double)FLT_EPSILON * size;
  if (head <= (double)n * grain * grain) {
    for (size_t k = 0; k <= most; k++)
      out[k] = 0;
    return PLB_OK;
  }
  size_t from = 0; /* lags with little overlap drown in the transform's rounding, and cost little */
  if (most >= most_direct / n) {
    const plb_status status = self_products(x, n, most, mean, out, err);
    if (status != PLB_OK)
      return status;
    from = n - short_overlap;
  }
  self_products_direct(x, n, from, most, mean, out);
  const double least = head * (double)FLT_EPSILON;
  double tail = head; /* energy of the last n - k samples */
  for (size_t k = 0; k <= most; k++) {
    out[k] = head > least && tail > least ? limit((double)out[k] / sqrt(head * tail)) : 0;
    const double first = (double)x[k] - mean;
    const double last = (double)x[n - 1 - k] - mean;
    tail -= first * first;
    head -= last * last;
  }
  return PLB_OK;
}
