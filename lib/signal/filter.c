#include "signal/filter.h"

#include <complex.h>
#include <math.h>
#include <string.h>

static const double pi = 3.141592653589793;

typedef struct poles {
  double complex at[2 * PLB_FILTER_ORDER_MOST]; /* in the s plane */
  size_t count;
} poles;

/* Left half of the unit circle, evenly spaced. */
static double complex prototype(unsigned k, unsigned order) {
  const double angle = pi * (2.0 * k + order + 1.0) / (2.0 * order);
  return cos(angle) + I * sin(angle);
}

/* The prototype's corner moved to where it is wanted, w = tan(pi f). */
static poles move_corner(plb_filter_shape shape, unsigned order, double low, double high) {
  poles p = {.count = 0};
  for (unsigned k = 0; k < order; k++) {
    const double complex s = prototype(k, order);
    if (shape == PLB_LOW_PASS || shape == PLB_HIGH_PASS) {
      p.at[p.count++] = shape == PLB_LOW_PASS ? low * s : low / s;
      continue;
    }
    const double complex half = 0.5 * (high - low) * (shape == PLB_BAND_PASS ? s : 1.0 / s), root = csqrt(half * half - low * high);
    p.at[p.count++] = half + root;
    p.at[p.count++] = half - root;
  }
  return p;
}

static double complex bilinear(double complex s) { return (1.0 + s) / (1.0 - s); }

static void set_zeros(double b[3], plb_filter_shape shape, bool first_order, double centre) {
  const double sign = shape == PLB_LOW_PASS ? 1.0 : -1.0;
  b[0] = 1.0;
  b[1] = first_order ? sign : shape == PLB_BAND_PASS ? 0.0 : shape == PLB_BAND_STOP ? -2.0 * centre : 2.0 * sign;
  b[2] = first_order ? 0.0 : shape == PLB_BAND_PASS ? -1.0 : 1.0;
}

/* Conjugate poles make a section each, real ones one for every two of them. @param centre  cosine of the middle of a stopped band */
static void make_sections(plb_filter *out, const poles *p, plb_filter_shape shape, double centre) {
  double real[2 * PLB_FILTER_ORDER_MOST];
  size_t reals = 0;
  out->sections = 0;
  for (size_t k = 0; k < p->count; k++) {
    const double complex z = bilinear(p->at[k]);
    if (fabs(cimag(p->at[k])) <= 1e-12 * cabs(p->at[k])) {
      real[reals++] = creal(z);
    } else if (cimag(p->at[k]) > 0.0) {
      out->section[out->sections].a[0] = -2.0 * creal(z);
      out->section[out->sections].a[1] = creal(z) * creal(z) + cimag(z) * cimag(z);
      set_zeros(out->section[out->sections++].b, shape, false, centre);
    }
  }
  for (size_t k = 0; k < reals; k += 2) {
    const bool alone = k + 1 == reals;
    out->section[out->sections].a[0] = alone ? -real[k] : -real[k] - real[k + 1];
    out->section[out->sections].a[1] = alone ? 0.0 : real[k] * real[k + 1];
    set_zeros(out->section[out->sections++].b, shape, alone, centre);
  }
}

double plb_filter_magnitude(const plb_filter *f, double frequency) {
  const double complex z = cexp(-2.0 * I * pi * frequency);
  double complex h = f->gain;
  for (size_t k = 0; k < f->sections; k++) {
    const double *b = f->section[k].b, *a = f->section[k].a;
    h *= (b[0] + z * (b[1] + z * b[2])) / (1.0 + z * (a[0] + z * a[1]));
  }
  return cabs(h);
}

bool plb_filter_butterworth(plb_filter *out, plb_filter_shape shape, unsigned order, double low, double high) {
  const bool band = shape == PLB_BAND_PASS || shape == PLB_BAND_STOP;
  memset(out, 0, sizeof *out);
  if (order < 1 || order > PLB_FILTER_ORDER_MOST || !(low > 0.0 && low < 0.5) || (band && !(high > low && high < 0.5)))
    return false;
  const double w_low = tan(pi * low), w_high = band ? tan(pi * high) : 0.0, middle = sqrt(w_low * w_high);
  const poles p = move_corner(shape, order, w_low, w_high);
  make_sections(out, &p, shape, creal(bilinear(I * middle)));
  out->gain = 1.0;
  const double passed = shape == PLB_HIGH_PASS ? 0.5 : shape == PLB_BAND_PASS ? atan(middle) / pi : 0.0;
  out->gain = 1.0 / plb_filter_magnitude(out, passed);
  return true;
}

/* Transposed direct form II. @param state  [sections][2] */
static void run(const plb_filter *f, double *x, size_t n, double (*state)[2]) {
  for (size_t i = 0; i < n; i++) {
    double v = f->gain * x[i];
    for (size_t k = 0; k < f->sections; k++) {
      const double *b = f->section[k].b, *a = f->section[k].a;
      const double y = b[0] * v + state[k][0];
      state[k][0] = b[1] * v - a[0] * y + state[k][1];
      state[k][1] = b[2] * v - a[1] * y;
      v = y;
    }
    x[i] = v;
  }
}

void plb_filter_run(const plb_filter *f, double *x, size_t n) {
  double state[PLB_FILTER_ORDER_MOST][2] = {{0.0, 0.0}};
  run(f, x, n, state);
}

/* The state after a constant `level` for ever. */
static void settle(const plb_filter *f, double level, double (*state)[2]) {
  double v = f->gain * level;
  for (size_t k = 0; k < f->sections; k++) {
    const double *b = f->section[k].b, *a = f->section[k].a;
    const double y = v * (b[0] + b[1] + b[2]) / (1.0 + a[0] + a[1]);
    state[k][1] = b[2] * v - a[1] * y;
    state[k][0] = b[1] * v - a[0] * y + state[k][1];
    v = y;
  }
}

static void turn(double *x, size_t n) {
  for (size_t i = 0; i < n / 2; i++) {
    const double swap = x[i];
    x[i] = x[n - 1 - i];
    x[n - 1 - i] = swap;
  }
}

/* Three times the length of the numerator, sections of first order counted as such. */
static size_t padding(const plb_filter *f, size_t n) {
  size_t first_order = 0;
  for (size_t k = 0; k < f->sections; k++)
    first_order += f->section[k].b[2] == 0.0 && f->section[k].a[1] == 0.0;
  const size_t wanted = 3 * (2 * f->sections + 1 - first_order);
  return wanted < n ? wanted : n - 1;
}

plb_status plb_filter_zero_phase(const plb_filter *f, double *x, size_t n, plb_error *err) {
  double state[PLB_FILTER_ORDER_MOST][2];
  if (n < 2)
    return PLB_OK;
  const size_t pad = padding(f, n), all = n + 2 * pad;
  double *y = plb_calloc(all, sizeof *y);
  if (!y)
    return plb_fail(err, PLB_ENOMEM, "not enough memory to filter %zu samples; use a shorter recording", n);
  for (size_t i = 0; i < pad; i++) {
    y[i] = 2.0 * x[0] - x[pad - i];
    y[pad + n + i] = 2.0 * x[n - 1] - x[n - 2 - i];
  }
  memcpy(y + pad, x, n * sizeof *x);
  for (int pass = 0; pass < 2; pass++) {
    settle(f, y[0], state);
    run(f, y, all, state);
    turn(y, all);
  }
  memcpy(x, y + pad, n * sizeof *x);
  free(y);
  return PLB_OK;
}
