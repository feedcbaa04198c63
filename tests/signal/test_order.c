#include "signal_test.h"

#include "signal/statistic.h"

/* Orders that selection by pivots finds hard: sorted, reversed, organ pipes, saw-tooth, few values, all equal. */
static double hard(int kind, size_t i, size_t n) {
  switch (kind) {
  case 0:
    return (double)i;
  case 1:
    return (double)(n - i);
  case 2:
    return (double)(i < n / 2 ? i : n - i);
  case 3:
    return (double)(i % 7) + (double)i / 1000;
  case 4:
    return (double)(i * 2654435761u % 3);
  default:
    return 5;
  }
}

/* Against sorting: the definition itself. */
static void test_order__median_and_quantile_match_a_sorted_copy(void **state) {
  (void)state;
  const size_t sizes[] = {1, 2, 3, 4, 5, 10, 101, 1000, 20001};
  for (size_t s = 0; s < sizeof sizes / sizeof sizes[0]; s++)
    for (int kind = 0; kind < 6; kind++) {
      const size_t n = sizes[s];
      double *x = must_alloc(n, sizeof *x);
      double *sorted = must_alloc(n, sizeof *sorted);
      float *f = must_alloc(n, sizeof *f);
      for (size_t i = 0; i < n; i++) {
        sorted[i] = x[i] = hard(kind, i, n);
        f[i] = (float)x[i];
      }
      qsort(sorted, n, sizeof *sorted, plb_compare_double);
      const double middle = n % 2 ? sorted[n / 2] : 0.5 * (sorted[n / 2 - 1] + sorted[n / 2]);
      assert_true(plb_median(x, n) == middle);
      assert_near((double)plb_median_f(f, n), middle, 1e-6 * fabs(middle), "median_f");
      for (double share = 0; share <= 1; share += 0.125) {
        const double place = share * (double)(n - 1);
        const size_t below = (size_t)place;
        const double above = sorted[below + 1 < n ? below + 1 : below];
        assert_near(plb_quantile(x, n, share), sorted[below] + (place - (double)below) * (above - sorted[below]), 1e-9,
                    "quantile");
      }
      free(x);
      free(sorted);
      free(f);
    }
}

/* 1, 2, 4, 7, 11: deviations from 4 are 3, 2, 0, 3, 7, their median 3; 1.4826 is 1 / 0.67449, the normal upper
 * quartile. COMPUTED */
static void test_order__mad(void **state) {
  (void)state;
  double x[5] = {11, 1, 7, 2, 4};
  assert_close(plb_mad(x, 5, 4), 3 * 1.4826022185056018, 1e-15, "mad");
}

/* For normal data the scaled MAD is the standard deviation: n = 20001, standard error 1.17 sd / sqrt(n) = 0.8 %. */
static void test_order__mad_of_normal_data_is_its_sd(void **state) {
  (void)state;
  enum { N = 20001 };
  double *x = must_alloc(N, sizeof *x);
  fill_normal(x, N, 3, 2, 11);
  const double median = plb_median(x, N);
  assert_near(median, 3, 0.06, "median");
  assert_near(plb_mad(x, N, median), 2, 0.05, "mad");
  free(x);
}

static void test_order__nothing_or_unknown_gives_nan(void **state) {
  (void)state;
  double x[3] = {1, NAN, 2};
  float f[3] = {1, NAN, 2};
  double y[2] = {1, 2};
  assert_true(isnan(plb_median(x, 3)) && isnan(plb_median_f(f, 3)) && isnan(plb_quantile(x, 3, 0.5)));
  assert_true(isnan(plb_median(x, 0)) && isnan(plb_median_f(f, 0)) && isnan(plb_quantile(x, 0, 0.5)));
  assert_true(isnan(plb_quantile(y, 2, -0.1)) && isnan(plb_quantile(y, 2, 1.1)) && isnan(plb_quantile(y, 2, NAN)));
}

static void test_order__infinite_and_huge_samples_keep_their_order(void **state) {
  (void)state;
  double x[5] = {INFINITY, 1, -INFINITY, 2, 3};
  assert_true(plb_median(x, 5) == 2);
  double both[2] = {INFINITY, INFINITY};
  assert_true(plb_median(both, 2) == INFINITY);
  double half[2] = {INFINITY, 1};
  assert_true(plb_quantile(half, 2, 0) == 1 && plb_quantile(half, 2, 1) == INFINITY);
  double huge[2] = {1.7e308, 1.5e308};
  assert_true(plb_median(huge, 2) == 1.6e308);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_order__median_and_quantile_match_a_sorted_copy),
      cmocka_unit_test(test_order__mad),
      cmocka_unit_test(test_order__mad_of_normal_data_is_its_sd),
      cmocka_unit_test(test_order__nothing_or_unknown_gives_nan),
      cmocka_unit_test(test_order__infinite_and_huge_samples_keep_their_order),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
