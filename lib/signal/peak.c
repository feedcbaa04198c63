/* Correlation peaks between the samples. */
#include "signal/correlate.h"

#include <math.h>

/* J. O. Smith, Spectral Audio Signal Processing, "Quadratic interpolation of spectral peaks". */
double plb_parabola_peak(double a, double b, double c, double *height_out) {
  const double curvature = a - 2 * b + c;
  double offset = curvature < 0 ? 0.5 * (a - c) / curvature : 0;
  if (!isfinite(offset))
    offset = 0;
  offset = offset > 0.5 ? 0.5 : offset < -0.5 ? -0.5 : offset;
  if (height_out)
    *height_out = b - 0.25 * (a - c) * offset;
  return offset;
}

/*
 * Near its peak the correlation of a signal without mean is a cosine to the fourth order. For A cos(w (k - d)) the
 * three samples give cos w = (a + c) / 2b and tan(w d) = (c - a) / (2 b sin w) exactly, where the parabola gives tan(w
 * d) / (2 tan(w / 2)). For w near 0 the two agree and the parabola is the better conditioned.
 */
double plb_peak_offset(double a, double b, double c) {
  const double parabola = plb_parabola_peak(a, b, c, NULL);
  const double ratio = 0.5 * (a + c) / b;
  if (!(b > 0) || !(ratio < 0.9999) || !(ratio > -0.9))
    return parabola;
  const double w = acos(ratio);
  const double offset = atan2(c - a, 2 * b * sin(w)) / w;
  return offset > 0.5 ? 0.5 : offset < -0.5 ? -0.5 : offset;
}

/* A correlation sampled at whole lags, to be read between them. */
typedef struct sampled {
  const float *r;
  size_t n, k; /* values, and the one that offsets count from */
  int wide;    /* neighbours used to each side; 0: the sequence is a circle and all of it is used */
} sampled;

/* Sinc under the taper (1 - u^2)^2, u from -1 to 1 over the neighbours used. */
static double between_neighbours(const sampled *s, double offset) {
  const float *centre = s->r + s->k;
  const double pi = acos(-1.0);
  double sum = 0;
  for (int j = -s->wide; j <= s->wide; j++) {
    const double away = offset - j;
    const double u = away / (s->wide + 1);
    const double taper = (1 - u * u) * (1 - u * u);
    sum += (j % 2 == 0 ? taper : -taper) / away * ((double)centre[j] - (double)centre[0]);
  }
  return (double)centre[0] + sin(pi * offset) / pi * sum;
}

/*
 * The trigonometric polynomial through all values of a circle: sum of r[j] sin(pi t) / (n tan(pi t / n)), t = offset -
 * j, for even n, with sin for tan for odd n. The angle advances by pi / n from term to term, so one rotation serves
 * instead of a tangent each.
 */
static double around_circle(const sampled *s, double offset) {
  const double pi = acos(-1.0);
  const double turn = pi / (double)s->n;
  const double turn_cos = cos(turn);
  const double turn_sin = sin(turn);
  double c = cos(turn * offset);
  double d = sin(turn * offset);
  double sum = 0;
  size_t place = s->k;
  for (size_t j = 0; j < s->n; j++) {
    const double kernel = (s->n % 2 == 0 ? c : 1) / d;
    sum += (j % 2 == 0 ? kernel : -kernel) * ((double)s->r[place] - (double)s->r[s->k]);
    const double next = c * turn_cos + d * turn_sin;
    d = d * turn_cos - c * turn_sin;
    c = next;
    place = place + 1 < s->n ? place + 1 : 0;
  }
  return (double)s->r[s->k] + sin(pi * offset) / (double)s->n * sum;
}

/* At a whole lag the kernels divide zero by zero: there the sample is the value. */
static double between(const sampled *s, double offset) {
  const double away = offset - nearbyint(offset);
  if (fabs(away) < 1e-9)
    offset += away < 0 ? -1e-9 : 1e-9;
  return s->wide > 0 ? between_neighbours(s, offset) : around_circle(s, offset);
}

/* Parabolas through ever closer points; the vertex may lie outside the three when they are close. */
static double climb(const sampled *s, double offset, double *height_out) {
  for (double step = 0.2; step > 0.005; step *= 0.2) {
    const double a = between(s, offset - step);
    const double b = between(s, offset);
    const double c = between(s, offset + step);
    const double curvature = a - 2 * b + c;
    const double move = curvature < 0 ? 0.5 * step * (a - c) / curvature : 0;
    offset = fmax(-1, fmin(1, offset + fmax(-0.5, fmin(0.5, move))));
  }
  if (height_out)
    *height_out = between(s, offset);
  return offset;
}

double plb_peak_place(const float *r, size_t n, size_t k, double *height_out) {
  enum { WIDE = 48, NARROW = 12 };
  if (height_out)
    *height_out = k < n ? (double)r[k] : NAN;
  if (k >= n)
    return NAN;
  if (k == 0 || k + 1 == n)
    return (double)k;
  const double offset = plb_peak_offset((double)r[k - 1], (double)r[k], (double)r[k + 1]);
  const size_t room = k < n - 1 - k ? k : n - 1 - k;
  if (room < NARROW)
    return (double)k + offset;
  const sampled s = {.r = r, .n = n, .k = k, .wide = room < WIDE ? (int)room : WIDE};
  return (double)k + climb(&s, offset, height_out);
}

double plb_peak_place_circular(const float *r, size_t n, size_t k, double *height_out) {
  if (height_out)
    *height_out = k < n ? (double)r[k] : NAN;
  if (k >= n)
    return NAN;
  if (n < 4)
    return (double)k;
  const sampled s = {.r = r, .n = n, .k = k, .wide = 0};
  return (double)k +
         climb(&s, plb_peak_offset((double)r[(k + n - 1) % n], (double)r[k], (double)r[(k + 1) % n]), height_out);
}
