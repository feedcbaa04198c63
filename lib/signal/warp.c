#include "signal/warp.h"

#include <math.h>

/* Sakoe and Chiba (1978), symmetric steps, row by row over the band |i - j| <= window; only the row above is kept. */
double plb_warp_distance(const float *a, const float *b, size_t n, size_t window, double penalty, double stop) {
  if (n == 0 || n > PLB_WARP_MOST) return NAN;
  double rows[2][PLB_WARP_MOST + 2]; /* [j + 1]: cost at column j; INFINITY beside the band */
  rows[1][0] = 0;                    /* before the first pair */
  for (size_t j = 1; j < n + 2; j++) rows[1][j] = INFINITY;
  const double most = stop * (double)n;
  for (size_t i = 0; i < n; i++) {
    const double *above = rows[(i + 1) % 2];
    double *row = rows[i % 2];
    const size_t from = i > window ? i - window : 0;
    const size_t to = window < n - 1 - i ? i + window : n - 1;
    double left = INFINITY;
    double least = INFINITY;
    row[from] = INFINITY;
    for (size_t j = from; j <= to; j++) {
      const double aside = (left < above[j + 1] ? left : above[j + 1]) + penalty;
      left = (above[j] < aside ? above[j] : aside) + fabs((double)a[i] - (double)b[j]);
      row[j + 1] = left;
      least = left < least ? left : least;
    }
    row[to + 2] = INFINITY;
    if (least > most) return INFINITY;
  }
  return rows[(n - 1) % 2][n] / (double)n;
}
