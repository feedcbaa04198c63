/* Order statistics: medians and quantiles by selection. */
#include "signal/statistic.h"

#include <math.h>
#include <stdlib.h>

/* After this many bad pivots the rest is sorted, so that no order of samples is slow. */
enum { MOST_ROUNDS = 96 };

static int compare_float(const void *a, const void *b) {
  const float x = *(const float *)a;
  const float y = *(const float *)b;
  return (x > y) - (x < y);
}

static double middle_of(double a, double b, double c) {
  if (a < b)
    return b < c ? b : (a < c ? c : a);
  return a < c ? a : (b < c ? c : b);
}

/* Hoare's FIND (Communications of the ACM 4, 1961, algorithm 65) with the median of three as the pivot: afterwards x[k]
 * is the k-th smallest, nothing before it is larger and nothing behind it smaller. Samples are exchanged whether they are
 * smaller or not and only the place moves on: where half of them are, a branch is guessed wrong every other time. */
static void select_double(double *x, ptrdiff_t n, ptrdiff_t k) {
  ptrdiff_t from = 0;
  ptrdiff_t to = n - 1;
  for (int round = 0; from < to; round++) {
    if (round == MOST_ROUNDS) {
      qsort(x + from, (size_t)(to - from + 1), sizeof *x, plb_compare_double);
      return;
    }
    const double pivot = middle_of(x[from], x[from + (to - from) / 2], x[to]);
    ptrdiff_t below = from;
    for (ptrdiff_t j = from; j <= to; j++) {
      const double held = x[j];
      x[j] = x[below];
      x[below] = held;
      below += held < pivot;
    }
    if (k < below) {
      to = below - 1;
      continue;
    }
    ptrdiff_t equal = below;
    for (ptrdiff_t j = below; j <= to; j++) {
      const double held = x[j];
      x[j] = x[equal];
      x[equal] = held;
      equal += held <= pivot;
    }
    if (k < equal)
      return;
    from = equal;
  }
}

static void select_float(float *x, ptrdiff_t n, ptrdiff_t k) {
  ptrdiff_t from = 0;
  ptrdiff_t to = n - 1;
  for (int round = 0; from < to; round++) {
    if (round == MOST_ROUNDS) {
      qsort(x + from, (size_t)(to - from + 1), sizeof *x, compare_float);
      return;
    }
    const float pivot = (float)middle_of((double)x[from], (double)x[from + (to - from) / 2], (double)x[to]);
    ptrdiff_t below = from;
    for (ptrdiff_t j = from; j <= to; j++) {
      const float held = x[j];
      x[j] = x[below];
      x[below] = held;
      below += held < pivot;
    }
    if (k < below) {
      to = below - 1;
      continue;
    }
    ptrdiff_t equal = below;
    for (ptrdiff_t j = below; j <= to; j++) {
      const float held = x[j];
      x[j] = x[equal];
      x[equal] = held;
      equal += held <= pivot;
    }
    if (k < equal)
      return;
    from = equal;
  }
}

static bool any_nan(const double *x, size_t n) {
  for (size_t i = 0; i < n; i++)
    if (isnan(x[i]))
      return true;
  return false;
}

/* The halves of the two middle ones are added, so that two very large ones do not overflow. */
double plb_median(double *x, size_t n) {
  if (n == 0 || any_nan(x, n))
    return NAN;
  const size_t upper = n / 2;
  select_double(x, (ptrdiff_t)n, (ptrdiff_t)upper);
  if (n % 2 == 1)
    return x[upper];
  double below = x[0];
  for (size_t i = 1; i < upper; i++)
    below = x[i] > below ? x[i] : below;
  return below == x[upper] ? below : 0.5 * below + 0.5 * x[upper];
}

float plb_median_f(float *x, size_t n) {
  if (n == 0)
    return NAN;
  for (size_t i = 0; i < n; i++)
    if (isnan(x[i]))
      return NAN;
  const size_t upper = n / 2;
  select_float(x, (ptrdiff_t)n, (ptrdiff_t)upper);
  if (n % 2 == 1)
    return x[upper];
  float below = x[0];
  for (size_t i = 1; i < upper; i++)
    below = x[i] > below ? x[i] : below;
  return below == x[upper] ? below : 0.5f * below + 0.5f * x[upper];
}

/* 1.4826 = 1 / (normal quantile at 3/4): the standard deviation of normal data. */
double plb_mad(double *x, size_t n, double median) {
  for (size_t i = 0; i < n; i++)
    x[i] = fabs(x[i] - median);
  return 1.4826022185056018 * plb_median(x, n);
}

double plb_quantile(double *x, size_t n, double share) {
  if (n == 0 || any_nan(x, n) || !(share >= 0 && share <= 1))
    return NAN;
  const double place = share * (double)(n - 1);
  const size_t below = (size_t)place;
  const double fraction = place - (double)below;
  select_double(x, (ptrdiff_t)n, (ptrdiff_t)below);
  const double a = x[below];
  if (fraction == 0 || below + 1 >= n)
    return a;
  double b = x[below + 1];
  for (size_t i = below + 2; i < n; i++)
    b = x[i] < b ? x[i] : b;
  if (a == b)
    return a;
  return fraction < 0.5 ? a + (b - a) * fraction : b - (b - a) * (1 - fraction);
}
