#include "signal/statistic.h"

#include "signal/linear.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>

/* Sums in eight fixed lanes, as in linear.c. */
enum { LANES = 8 };

static double fold(const double lane[LANES]) {
  return ((lane[0] + lane[4]) + (lane[2] + lane[6])) + ((lane[1] + lane[5]) + (lane[3] + lane[7]));
}

/* Sums of x - at and of its square. */
static void sum_deviations(const double *x, size_t n, double at, double *first_out, double *second_out) {
  double first[LANES] = {0};
  double second[LANES] = {0};
  size_t i = 0;
  for (; i + LANES <= n; i += LANES)
    for (size_t k = 0; k < LANES; k++) {
      const double d = x[i + k] - at;
      first[k] += d;
      second[k] += d * d;
    }
  for (; i < n; i++) {
    const double d = x[i] - at;
    first[0] += d;
    second[0] += d * d;
  }
  *first_out = fold(first);
  *second_out = fold(second);
}

/* A second pass over the deviations takes out the rounding of the first (Chan, Golub and LeVeque 1983). */
double plb_mean(const double *x, size_t n) {
  if (n == 0)
    return NAN;
  const double rough = plb_sum(x, n) / (double)n;
  if (!isfinite(rough))
    return rough;
  double first, second;
  sum_deviations(x, n, rough, &first, &second);
  return rough + first / (double)n;
}

/* Corrected two-pass sum of squares about the mean (Chan, Golub and LeVeque 1983, formula 1.7). */
static double squares_about(const double *x, size_t n, double mean) {
  double first, second;
  sum_deviations(x, n, mean, &first, &second);
  const double squares = second - first * first / (double)n;
  return squares < 0 ? 0 : squares;
}

double plb_sd(const double *x, size_t n) {
  if (n < 2)
    return n == 1 && isnan(x[0]) ? NAN : 0;
  return sqrt(squares_about(x, n, plb_mean(x, n)) / (double)(n - 1));
}

double plb_rms(const double *x, size_t n) { return n == 0 ? NAN : sqrt(plb_dot(x, x, n) / (double)n); }

/* sum of (x[i] - mean)(x[i - 1] - mean), in the fixed lanes */
static double neighbour_products(const double *x, size_t n, double mean) {
  double lane[LANES] = {0};
  size_t i = 1;
  for (; i + LANES <= n; i += LANES)
    for (size_t k = 0; k < LANES; k++)
      lane[k] += (x[i + k] - mean) * (x[i + k - 1] - mean);
  for (; i < n; i++)
    lane[0] += (x[i] - mean) * (x[i - 1] - mean);
  return fold(lane);
}

double plb_lag1(const double *x, size_t n) {
  if (n < 2)
    return n == 1 && isnan(x[0]) ? NAN : 0;
  const double mean = plb_mean(x, n);
  const double squares = squares_about(x, n, mean);
  return squares == 0 ? 0 : neighbour_products(x, n, mean) / squares;
}

void plb_extremes(const double *x, size_t n, double *low_out, double *high_out) {
  double low = INFINITY;
  double high = -INFINITY;
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(x[i]))
      continue;
    low = x[i] < low ? x[i] : low;
    high = x[i] > high ? x[i] : high;
  }
  *low_out = low <= high ? low : NAN;
  *high_out = low <= high ? high : NAN;
}

double plb_fourth_mean(const double *x, size_t n) {
  if (n == 0)
    return NAN;
  double most = 0;
  for (size_t i = 0; i < n; i++)
    if (!(fabs(x[i]) <= most))
      most = fabs(x[i]);
  if (most == 0 || !isfinite(most))
    return most;
  double sum = 0;
  for (size_t i = 0; i < n; i++) {
    const double square = (x[i] / most) * (x[i] / most);
    sum += square * square;
  }
  return most * sqrt(sqrt(sum / (double)n));
}

/* Squares this small are the rounding of a constant, not a spread. */
static bool is_flat(double squares, double mean, size_t n) {
  const double grain = 4 * DBL_EPSILON * mean;
  return squares <= (double)n * grain * grain;
}

double plb_correlation(const double *x, const double *y, size_t n) {
  if (n < 2)
    return 0;
  const double mean_x = plb_mean(x, n);
  const double mean_y = plb_mean(y, n);
  const double squares_x = squares_about(x, n, mean_x);
  const double squares_y = squares_about(y, n, mean_y);
  if (is_flat(squares_x, mean_x, n) || is_flat(squares_y, mean_y, n))
    return 0;
  double product = 0;
  for (size_t i = 0; i < n; i++)
    product += (x[i] - mean_x) * (y[i] - mean_y);
  const double r = product / (sqrt(squares_x) * sqrt(squares_y));
  return r > 1 ? 1 : r < -1 ? -1 : r;
}

int plb_compare_double(const void *a, const void *b) {
  const double x = *(const double *)a;
  const double y = *(const double *)b;
  return (x > y) - (x < y);
}
