#include "signal/resample.h"

#include "core/alloc.h"
#include "core/fail.h"
#include "signal/linear.h"

#include <math.h>

double plb_interpolate(const double *x, size_t n, double at) {
  if (n == 0 || isnan(at))
    return NAN;
  if (at <= 0)
    return x[0];
  if (at >= (double)(n - 1))
    return x[n - 1];
  const size_t i = (size_t)at;
  const double fraction = at - (double)i;
  return fraction == 0 ? x[i] : x[i] + fraction * (x[i + 1] - x[i]);
}

void plb_cumulate(const double *x, size_t n, double *out) {
  if (n == 0)
    return;
  out[0] = 0;
  for (size_t i = 1; i < n; i++)
    out[i] = out[i - 1] + 0.5 * (x[i - 1] + x[i]);
}

/* Integral of the straight-line signal, held at its ends, from 0 to `at`. */
static double integral_to(const double *x, const double *cumulative, size_t n, double at) {
  const double last = (double)(n - 1);
  if (at <= 0)
    return at * x[0];
  if (at >= last)
    return cumulative[n - 1] + (at - last) * x[n - 1];
  const size_t i = (size_t)at;
  const double fraction = at - (double)i;
  return fraction == 0 ? cumulative[i] : cumulative[i] + fraction * (x[i] + 0.5 * fraction * (x[i + 1] - x[i]));
}

void plb_resample_cells(const double *x, const double *cumulative, size_t n, const double *edge, size_t cells,
                        float *out) {
  if (n == 0) {
    for (size_t k = 0; k < cells; k++)
      out[k] = NAN;
    return;
  }
  for (size_t k = 0; k < cells; k++) {
    const double width = edge[k + 1] - edge[k];
    if (width >= 1)
      out[k] = (float)((integral_to(x, cumulative, n, edge[k + 1]) - integral_to(x, cumulative, n, edge[k])) / width);
    else
      out[k] = (float)plb_interpolate(x, n, edge[k] + 0.5 * width);
  }
}

static unsigned common_divisor(unsigned a, unsigned b) {
  while (b != 0) {
    const unsigned rest = a % b;
    a = b;
    b = rest;
  }
  return a;
}

/* Modified Bessel function of order 0 by its power series; all terms are positive, so nothing cancels. */
static double bessel_i0(double x) {
  const double quarter = 0.25 * x * x;
  double term = 1;
  double sum = 1;
  for (int k = 1; term > 1e-17 * sum; k++) {
    term *= quarter / ((double)k * (double)k);
    sum += term;
  }
  return sum;
}

/* Taps of the low-pass: a sinc cut at the lower of the two Nyquist frequencies under a Kaiser window of beta 5, ten
 * sinc lobes to each side, unity at zero frequency times `up` (the zeros put between the samples take that share). */
static void design_low_pass(double *tap, size_t half, unsigned up, unsigned widest) {
  const double beta = 5;
  const double scale = bessel_i0(beta);
  for (size_t k = 0; k <= 2 * half; k++) {
    const double from_centre = (double)k - (double)half;
    const double angle = acos(-1.0) * from_centre / widest;
    const double edge = from_centre / (double)half;
    tap[k] = (from_centre == 0 ? 1 : sin(angle) / angle) * bessel_i0(beta * sqrt(fmax(0, 1 - edge * edge))) / scale;
  }
  const double sum = plb_sum(tap, 2 * half + 1);
  for (size_t k = 0; k <= 2 * half; k++)
    tap[k] *= up / sum;
}

typedef struct polyphase {
  size_t half;  /* taps to each side of the centre */
  size_t width; /* taps of one phase, zeros at the end included */
  double *bank; /* [size: up * width] phase p: the taps p, p + up, p + 2 up ..., last one first, to run along x */
} polyphase;

static plb_status polyphase_init(polyphase *f, unsigned up, unsigned down, plb_error *err) {
  const unsigned widest = up > down ? up : down;
  f->half = (size_t)10 * widest;
  f->width = 2 * f->half / up + 1;
  double *tap = plb_calloc(2 * f->half + 1, sizeof *tap);
  f->bank = plb_calloc((size_t)up * f->width, sizeof *f->bank);
  if (!tap || !f->bank) {
    free(tap);
    return plb_fail(err, PLB_ENOMEM, "no memory for a resampling filter of %zu taps", 2 * f->half + 1);
  }
  design_low_pass(tap, f->half, up, widest);
  for (size_t k = 0; k <= 2 * f->half; k++)
    f->bank[(k % up) * f->width + (f->width - 1 - k / up)] = tap[k];
  free(tap);
  return PLB_OK;
}

/* One output at the place `t` of the upsampled axis; the ends of x are held. */
static double polyphase_at(const polyphase *f, const double *x, size_t n, unsigned up, uint64_t t) {
  const double *tap = f->bank + (size_t)((t + f->half) % up) * f->width;
  const int64_t last = (int64_t)((t + f->half) / up);
  const int64_t first = last - (int64_t)f->width + 1;
  if (first >= 0 && last < (int64_t)n)
    return plb_dot(tap, x + first, f->width);
  double sum = 0;
  for (size_t k = 0; k < f->width; k++) {
    const int64_t i = first + (int64_t)k;
    sum += tap[k] * x[i < 0 ? 0 : i >= (int64_t)n ? (int64_t)n - 1 : i];
  }
  return sum;
}

plb_status plb_resample_rational(const double *x, size_t n, unsigned up, unsigned down, double **out, size_t *n_out,
                                 plb_error *err) {
  *out = NULL;
  *n_out = 0;
  const unsigned most = 65536;
  if (up == 0 || down == 0 || n == 0)
    return plb_fail(err, PLB_EINVAL, "nothing to resample, or a ratio of zero");
  const unsigned divisor = common_divisor(up, down);
  up /= divisor;
  down /= divisor;
  if (up > most || down > most || n > (SIZE_MAX >> 20) / up)
    return plb_fail(err, PLB_EUSAGE, "cannot resample %zu samples by %u/%u; use smaller whole numbers", n, up, down);
  polyphase f = {0};
  double *y = NULL;
  plb_status status = polyphase_init(&f, up, down, err);
  if (status != PLB_OK)
    goto done;
  const size_t count = (n * up - 1) / down + 1;
  y = plb_calloc(count, sizeof *y);
  if (!y) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu resampled samples", count);
    goto done;
  }
  for (size_t m = 0; m < count; m++)
    y[m] = polyphase_at(&f, x, n, up, (uint64_t)m * down);
  *out = y;
  *n_out = count;
  y = NULL;
done:
  free(y);
  free(f.bank);
  return status;
}
