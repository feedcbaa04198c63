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
