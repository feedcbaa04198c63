#include "signal/linear.h"

#include <float.h>
#include <math.h>

/* Eight independent partial sums: strict floating point forbids the compiler to reorder one running sum, so the
 * order is fixed here in a form that vectorises. The result is the same on every machine. */
enum { LANES = 8 };

static double fold(const double lane[LANES]) {
  return ((lane[0] + lane[4]) + (lane[2] + lane[6])) + ((lane[1] + lane[5]) + (lane[3] + lane[7]));
}

double plb_dot(const double *a, const double *b, size_t n) {
  double lane[LANES] = {0};
  size_t i = 0;
  for (; i + LANES <= n; i += LANES)
    for (size_t k = 0; k < LANES; k++)
      lane[k] += a[i + k] * b[i + k];
  double rest = 0;
  for (; i < n; i++)
    rest += a[i] * b[i];
  return fold(lane) + rest;
}

double plb_dot_f(const float *a, const float *b, size_t n) {
  double lane[LANES] = {0};
  size_t i = 0;
  for (; i + LANES <= n; i += LANES)
    for (size_t k = 0; k < LANES; k++)
      lane[k] += (double)a[i + k] * (double)b[i + k];
  double rest = 0;
  for (; i < n; i++)
    rest += (double)a[i] * (double)b[i];
  return fold(lane) + rest;
}

double plb_sum(const double *x, size_t n) {
  double lane[LANES] = {0};
  size_t i = 0;
  for (; i + LANES <= n; i += LANES)
    for (size_t k = 0; k < LANES; k++)
      lane[k] += x[i + k];
  double rest = 0;
  for (; i < n; i++)
    rest += x[i];
  return fold(lane) + rest;
}

double plb_sum_f(const float *x, size_t n) {
  double lane[LANES] = {0};
  size_t i = 0;
  for (; i + LANES <= n; i += LANES)
    for (size_t k = 0; k < LANES; k++)
      lane[k] += (double)x[i + k];
  double rest = 0;
  for (; i < n; i++)
    rest += (double)x[i];
  return fold(lane) + rest;
}

/* Row by row (Cholesky-Banachiewicz): every inner product runs over two contiguous rows. */
bool plb_cholesky(double *a, size_t n) {
  for (size_t i = 0; i < n; i++) {
    double *row = a + i * n;
    for (size_t j = 0; j < i; j++)
      row[j] = (row[j] - plb_dot(row, a + j * n, j)) / a[j * n + j];
    const double pivot = row[i] - plb_dot(row, row, i);
    if (!(pivot > DBL_EPSILON * row[i]) || !isfinite(pivot))
      return false;
    row[i] = sqrt(pivot);
  }
  return true;
}

void plb_cholesky_solve(const double *factor, size_t n, double *b) {
  for (size_t i = 0; i < n; i++)
    b[i] = (b[i] - plb_dot(factor + i * n, b, i)) / factor[i * n + i];
  for (size_t i = n; i-- > 0;) {
    const double *row = factor + i * n;
    b[i] /= row[i];
    for (size_t j = 0; j < i; j++)
      b[j] -= row[j] * b[i];
  }
}
