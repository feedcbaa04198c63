#include "reference/minimax.h"

#include <math.h>

/*
 * The exchange algorithm of Remez on a finite set of points with weights (E. W. Cheney, "Introduction to
 * Approximation Theory", chapter 3): on degree + 2 reference points the error is made equal and alternating; the
 * worst point of all then replaces a neighbour of the same sign, and the error on the reference rises until no point
 * is worse. Centred coordinates keep the small systems well conditioned.
 */

enum { UNKNOWNS_MOST = PLB_MINIMAX_DEGREE_MOST + 2 };

typedef struct problem {
  const double *k, *x, *slack;
  size_t n;
  int degree;
  double middle, half;
} problem;

static long double centred(const problem *p, size_t i) { return ((long double)p->k[i] - p->middle) / p->half; }

/* Gaussian elimination with row exchange. */
static bool solve(long double a[UNKNOWNS_MOST][UNKNOWNS_MOST + 1], int n) {
  for (int i = 0; i < n; i++) {
    int pivot = i;
    for (int r = i + 1; r < n; r++)
      if (fabsl(a[r][i]) > fabsl(a[pivot][i]))
        pivot = r;
    if (a[pivot][i] == 0.0L)
      return false;
    for (int c = 0; c <= n; c++) {
      const long double kept = a[i][c];
      a[i][c] = a[pivot][c];
      a[pivot][c] = kept;
    }
    for (int r = 0; r < n; r++) {
      const long double factor = r == i ? 0.0L : a[r][i] / a[i][i];
      for (int c = i; c <= n; c++)
        a[r][c] -= factor * a[i][c];
    }
  }
  for (int i = 0; i < n; i++)
    a[i][n] /= a[i][i];
  return true;
}

/* Coefficients and the equal error on the reference points. */
static bool level_reference(const problem *p, const size_t *reference, long double *c, double *level) {
  long double a[UNKNOWNS_MOST][UNKNOWNS_MOST + 1];
  const int n = p->degree + 2;
  for (int i = 0; i < n; i++) {
    const long double t = centred(p, reference[i]);
    long double power = 1.0L;
    for (int d = 0; d <= p->degree; d++, power *= t)
      a[i][d] = power;
    a[i][n - 1] = (i % 2 ? -1.0L : 1.0L) * p->slack[reference[i]];
    a[i][n] = p->x[reference[i]];
  }
  if (!solve(a, n))
    return false;
  for (int d = 0; d <= p->degree; d++)
    c[d] = a[d][n];
  *level = (double)a[n - 1][n];
  return true;
}

static double error_at(const problem *p, const long double *c, size_t i) {
  const long double t = centred(p, i);
  long double value = 0.0L;
  for (int d = p->degree; d >= 0; d--)
    value = value * t + c[d];
  return (double)((p->x[i] - value) / p->slack[i]);
}

static size_t worst_point(const problem *p, const long double *c, double *error) {
  size_t worst = 0;
  *error = 0.0;
  for (size_t i = 0; i < p->n; i++) {
    const double here = error_at(p, c, i);
    if (fabs(here) > fabs(*error)) {
      *error = here;
      worst = i;
    }
  }
  return worst;
}

/* Put the worst point into the reference so that the signs still alternate. */
static void exchange(size_t *reference, int n, size_t point, bool positive, bool first_positive) {
  int at = 0; /* reference points below it */
  while (at < n && reference[at] < point)
    at++;
  if (at < n && reference[at] == point)
    return;
  if (at == 0) {
    if (positive != first_positive)
      for (int i = n - 1; i > 0; i--)
        reference[i] = reference[i - 1];
    reference[0] = point;
  } else if (at == n) {
    const bool last_positive = first_positive == (n % 2 == 1);
    if (positive != last_positive)
      for (int i = 0; i + 1 < n; i++)
        reference[i] = reference[i + 1];
    reference[n - 1] = point;
  } else {
    const bool below_positive = first_positive == (at % 2 == 1); /* sign of reference[at - 1] */
    reference[positive == below_positive ? at - 1 : at] = point;
  }
}

/* From centred coordinates to t = k / unit. */
static void expand(const problem *p, const long double *c, double unit, double *out) {
  long double sum[UNKNOWNS_MOST] = {0};
  const long double scale = unit / (long double)p->half, shift = -(long double)p->middle / p->half;
  for (int d = p->degree; d >= 0; d--) { /* Horner on polynomials: sum <- sum * (scale t + shift) + c[d] */
    for (int i = p->degree; i >= 0; i--)
      sum[i] = sum[i] * shift + (i > 0 ? sum[i - 1] * scale : 0.0L);
    sum[0] += c[d];
  }
  for (int d = 0; d <= p->degree; d++)
    out[d] = (double)sum[d];
}

double plb_minimax_fit(const double *k, const double *x, const double *slack, size_t n, int degree, double unit,
                       double *c) {
  enum { ROUNDS = 200 };
  problem p = {k, x, slack, n, degree, 0.5 * (k[0] + k[n - 1]), 0.5 * (k[n - 1] - k[0])};
  const int points = degree + 2;
  size_t reference[UNKNOWNS_MOST];
  long double centre[UNKNOWNS_MOST];
  double error = INFINITY, level;
  if (n < (size_t)points || !(p.half > 0))
    return INFINITY;
  for (int i = 0; i < points; i++)
    reference[i] = (size_t)i * (n - 1) / (size_t)(points - 1);
  for (int round = 0; round < ROUNDS; round++) {
    if (!level_reference(&p, reference, centre, &level) || fabs(level) >= 1.01)
      return INFINITY; /* the level on any reference is a lower bound for the whole */
    const size_t worst = worst_point(&p, centre, &error);
    if (fabs(error) <= fabs(level) * (1.0 + 1e-9))
      break;
    exchange(reference, points, worst, error > 0, level > 0);
  }
  expand(&p, centre, unit, c);
  return fabs(error);
}
