/* Correlation peaks between the samples. */
#include "signal/correlate.h"

#include <math.h>

/* J. O. Smith, Spectral Audio Signal Processing, "Quadratic interpolation of spectral peaks". */
double plb_parabola_peak(double a, double b, double c, double *height_out) {
  const double curvature = a - 2 * b + c;
  double offset = curvature < 0 ? 0.5 * (a - c) / curvature : 0;
  if (!isfinite(offset)) offset = 0;
  offset = offset > 0.5 ? 0.5 : offset < -0.5 ? -0.5 : offset;
  if (height_out) *height_out = b - 0.25 * (a - c) * offset;
  return offset;
}

/*
 * Near its peak the correlation of a signal without mean is a cosine to the fourth order. For A cos(w (k - d)) the three
 * samples give cos w = (a + c) / 2b and tan(w d) = (c - a) / (2 b sin w) exactly, where the parabola gives
 * tan(w d) / (2 tan(w / 2)). For w near 0 the two agree and the parabola is the better conditioned.
 */
double plb_peak_offset(double a, double b, double c) {
  const double parabola = plb_parabola_peak(a, b, c, NULL);
  const double ratio = 0.5 * (a + c) / b;
  if (!(b > 0) || !(ratio < 0.9999) || !(ratio > -0.9)) return parabola;
  const double w = acos(ratio);
  const double offset = atan2(c - a, 2 * b * sin(w)) / w;
  return offset > 0.5 ? 0.5 : offset < -0.5 ? -0.5 : offset;
}

/* The sequence between its samples: sinc under a squared-cosine window over `wide` samples to each side of r[k], less r[k], which
 * is put back: a constant then passes exactly. */
static double between(const float *r, size_t k, int wide, double offset) {
  if (offset == 0) return (double)r[k];
  const double pi = acos(-1.0);
  double sum = 0;
  for (int j = -wide; j <= wide; j++) {
    const double away = offset - j;
    if (away == 0) return (double)r[(ptrdiff_t)k + j];
    const double taper = cos(0.5 * pi * away / (wide + 1));
    sum += (j % 2 == 0 ? 1 : -1) * taper * taper / away * ((double)r[(ptrdiff_t)k + j] - (double)r[k]);
  }
  return (double)r[k] + sin(pi * offset) / pi * sum;
}

double plb_peak_place(const float *r, size_t n, size_t k, double *height_out) {
  enum { WIDE = 24, NARROW = 4 };
  if (height_out) *height_out = k < n ? (double)r[k] : NAN;
  if (k >= n) return NAN;
  if (k == 0 || k + 1 >= n) return (double)k;
  const size_t room = k < n - 1 - k ? k : n - 1 - k;
  const int wide = room < WIDE ? (int)room : WIDE;
  double offset = plb_peak_offset((double)r[k - 1], (double)r[k], (double)r[k + 1]);
  if (wide >= NARROW)
    for (double step = 0.2; step > 0.002; step *= 0.2) {
      const double a = between(r, k, wide, offset - step);
      const double b = between(r, k, wide, offset);
      const double c = between(r, k, wide, offset + step);
      /* the vertex may lie outside the three when the step is small */
      const double curvature = a - 2 * b + c;
      const double move = curvature < 0 ? 0.5 * step * (a - c) / curvature : 0;
      offset = fmax(-1, fmin(1, offset + fmax(-0.5, fmin(0.5, move))));
    }
  if (height_out) *height_out = wide >= NARROW ? between(r, k, wide, offset) : (double)r[k];
  return (double)k + offset;
}
