#include "signal/warp.h"

#include <math.h>

enum { MOST = PLB_WARP_MOST, CHECK_EVERY = 8 };

/* The cost of every place (i, j) on one antidiagonal i + j = const, at [i + 1]; INFINITY outside the band. */
typedef struct antidiagonal {
  double cost[MOST + 2];
} antidiagonal;

static double least_of(const antidiagonal *d, size_t from, size_t to) {
  double least = INFINITY;
  for (size_t i = from; i <= to; i++)
    least = d->cost[i + 1] < least ? d->cost[i + 1] : least;
  return least;
}

/* Places i of the antidiagonal i + j = sum with |i - j| <= window and both inside the curves. */
static void band(size_t sum, size_t n, size_t window, size_t *from_out, size_t *to_out) {
  const size_t inside = sum < n ? 0 : sum - (n - 1);
  const size_t low = sum > window ? (sum - window + 1) / 2 : 0;
  const size_t high = window < 2 * n ? (sum + window) / 2 : n - 1;
  const size_t last = sum < n ? sum : n - 1;
  *from_out = low > inside ? low : inside;
  *to_out = high < last ? high : last;
}

/*
 * The cheapest way into each place: from the antidiagonal before the last in one diagonal step, from the last one in a
 * step aside. `b_reversed` is shifted so that [i] is the sample of b that meets a[i] here.
 */
static void advance(const antidiagonal *restrict before, const antidiagonal *restrict last, antidiagonal *restrict now,
                    const float *restrict a, const float *restrict b_reversed, size_t from, size_t to, double penalty) {
  for (size_t i = from; i <= to; i++) {
    const double aside = (last->cost[i] < last->cost[i + 1] ? last->cost[i] : last->cost[i + 1]) + penalty;
    const double straight = before->cost[i];
    now->cost[i + 1] = (straight < aside ? straight : aside) + fabs((double)a[i] - (double)b_reversed[i]);
  }
}

/*
 * Sakoe and Chiba (1978), symmetric steps over the band |i - j| <= window. By antidiagonals, whose places do not depend
 * on each other, so that they are computed side by side; three of them are kept.
 */
double plb_warp_distance(const float *a, const float *b, size_t n, size_t window, double penalty, double stop) {
  if (n == 0 || n > MOST)
    return NAN;
  float reversed[3 * MOST] = {0}; /* b backwards in the middle third, so that every shift stays inside */
  for (size_t k = 0; k < n; k++)
    reversed[MOST + k] = b[n - 1 - k];
  antidiagonal kept[3];
  for (size_t d = 0; d < 3; d++)
    for (size_t i = 0; i < n + 2; i++)
      kept[d].cost[i] = INFINITY;
  kept[1].cost[0] = 0; /* before the first pair */
  const double most = stop * (double)n;
  for (size_t sum = 0; sum <= 2 * (n - 1); sum++) {
    antidiagonal *now = &kept[sum % 3];
    const antidiagonal *last = &kept[(sum + 2) % 3];
    size_t from, to;
    band(sum, n, window, &from, &to);
    advance(&kept[(sum + 1) % 3], last, now, a, reversed + MOST + n - 1 - sum, from, to, penalty);
    now->cost[from] = INFINITY;
    now->cost[to + 2] = INFINITY;
    if (sum == 1)
      now->cost[0] = INFINITY; /* the beginning was used up */
    /* every way passes one of two neighbouring antidiagonals */
    if (sum % CHECK_EVERY == CHECK_EVERY - 1 && least_of(now, from, to) > most &&
        least_of(last, from > 0 ? from - 1 : 0, to) > most)
      return INFINITY;
  }
  return kept[2 * (n - 1) % 3].cost[n] / (double)n;
}
