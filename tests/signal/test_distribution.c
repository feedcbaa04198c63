#include "signal_test.h"

#include "signal/distribution.h"

/* Clopper-Pearson, 7 of 50 at 95 %: VERIFIED (SciPy's documentation of BinomTestResult.proportion_ci). The published
 * value comes from a root finder that stops at 1e-12: its tail, COMPUTED in exact fractions, misses 0.025 by 8e-13,
 * ours by 2e-17. */
static void test_distribution__clopper_pearson(void **state) {
  (void)state;
  double low, high;
  plb_clopper_pearson(7, 50, 0.05, &low, &high);
  assert_near(low, 0.05819170033997342, 1e-12, "7 of 50, low");
  assert_near(high, 0.26739600249700846, 1e-12, "7 of 50, high");
  assert_close(plb_binomial_tail(7, 50, low), 0.025, 1e-13, "upper tail at the low end");
  assert_close(1 - plb_binomial_tail(8, 50, high), 0.025, 1e-13, "lower tail at the high end");
  /* 0 of n: high = 1 - (alpha/2)^(1/n): COMPUTED; 0 of 10 0.308497, one-sided 95 % of 0 of 59 0.04951 and of 0 of 29
   * 0.0981 */
  plb_clopper_pearson(0, 10, 0.05, &low, &high);
  assert_true(low == 0);
  assert_near(high, 0.308497, 5e-7, "0 of 10");
  plb_clopper_pearson(0, 59, 0.10, &low, &high);
  assert_near(high, 0.04951, 5e-6, "0 of 59, one-sided");
  plb_clopper_pearson(0, 29, 0.10, &low, &high);
  assert_near(high, 0.0981, 5e-5, "0 of 29, one-sided");
  plb_clopper_pearson(10, 10, 0.05, &low, &high);
  assert_true(high == 1);
  assert_near(low, 1 - 0.308497, 5e-7, "10 of 10 mirrors 0 of 10");
}

/* Closed forms: I_x(a, 1) = x^a, I_x(1, b) = 1 - (1-x)^b, I_1/2(a, a) = 1/2, I_x(1/2, 1/2) = (2/pi) asin sqrt x.
 * COMPUTED */
static void test_distribution__beta_closed_forms(void **state) {
  (void)state;
  for (double x = 0.01; x < 1; x += 0.07)
    for (double a = 0.25; a < 300; a *= 1.7) {
      assert_close(plb_beta_cdf(x, a, 1), pow(x, a), 1e-12, "x^a");
      assert_close(plb_beta_cdf(x, 1, a), -expm1(a * log1p(-x)), 1e-12, "1 - (1-x)^b");
      assert_close(plb_beta_cdf(0.5, a, a), 0.5, 1e-13, "symmetric");
    }
  for (double x = 0.001; x < 1; x += 0.03)
    assert_close(plb_beta_cdf(x, 0.5, 0.5), 2 / acos(-1.0) * asin(sqrt(x)), 1e-12, "arcsine");
  assert_true(plb_beta_cdf(0, 2, 3) == 0 && plb_beta_cdf(1, 2, 3) == 1 && plb_beta_cdf(-1, 2, 3) == 0 &&
              plb_beta_cdf(2, 2, 3) == 1);
  assert_true(isnan(plb_beta_cdf(NAN, 1, 1)) && isnan(plb_beta_cdf(0.5, 0, 1)) && isnan(plb_beta_cdf(0.5, 1, -1)));
}

static void test_distribution__beta_quantile_undoes_the_cdf(void **state) {
  (void)state;
  const double parameter[] = {0.5, 1, 3, 19, 250.5, 40000};
  const double p[] = {1e-9, 1e-3, 0.05, 0.5, 0.9, 0.999};
  for (size_t i = 0; i < 6; i++)
    for (size_t j = 0; j < 6; j++)
      for (size_t k = 0; k < 6; k++) {
        const double x = plb_beta_quantile(p[k], parameter[i], parameter[j]);
        assert_true(x > 0 && x < 1);
        if (x < 0.9999)
          assert_close(plb_beta_cdf(x, parameter[i], parameter[j]), p[k], 1e-9, "p");
      }
  /* the largest of n uniform numbers is Beta(n, 1): upper 90 % of Beta(1, n) is 1 - 0.1^(1/n). COMPUTED: n 6 32 %, 19
   * 11 %, 30 7 % */
  assert_near(plb_beta_quantile(0.9, 1, 6), 1 - pow(0.1, 1.0 / 6), 1e-13, "n = 6");
  assert_near(plb_beta_quantile(0.9, 1, 19), 1 - pow(0.1, 1.0 / 19), 1e-13, "n = 19");
  /* far in the upper tail the tail must be matched, not the cdf beside 1: x = 1 - (1 - p)^(1/6) at p = 1 - 2^-40.
   * COMPUTED */
  assert_close(plb_beta_quantile(1 - 0x1p-40, 1, 6), 1 - pow(2, -40.0 / 6), 1e-13, "upper tail");
  assert_true(plb_beta_quantile(0, 2, 3) == 0 && plb_beta_quantile(1, 2, 3) == 1 &&
              isnan(plb_beta_quantile(1.1, 2, 3)));
}

/* Student's t with 1 and 2 degrees of freedom has closed quantiles: tan(pi (p - 1/2)) and (2p-1)/sqrt(2p(1-p)).
 * COMPUTED */
static void test_distribution__t_closed_forms(void **state) {
  (void)state;
  const double p[] = {1e-6, 0.001, 0.2, 0.45, 0.5, 0.7, 0.99, 0.9999};
  for (size_t i = 0; i < sizeof p / sizeof p[0]; i++) {
    const double one = p[i] == 0.5 ? 0 : -1 / tan(acos(-1.0) * p[i]);
    const double two = (2 * p[i] - 1) / sqrt(2 * p[i] * (1 - p[i]));
    assert_near(plb_t_quantile(p[i], 1), one, 1e-11 * fabs(one), "one degree");
    assert_near(plb_t_quantile(p[i], 2), two, 1e-11 * fabs(two), "two degrees");
    assert_close(plb_t_cdf(two, 2), p[i], 1e-12, "cdf");
  }
  assert_true(isinf(plb_t_quantile(1, 5)) && plb_t_quantile(0, 5) < 0 && isnan(plb_t_quantile(0.5, 0)) &&
              isnan(plb_t_quantile(NAN, 3)));
}

/* The usual printed table of t: 0.975 with 9 degrees 2.262, 0.99 with 22 2.508, 0.95 with 5 2.015. FROM MEMORY (any
 * statistics table) */
static void test_distribution__t_table(void **state) {
  (void)state;
  assert_near(plb_t_quantile(0.975, 9), 2.262, 5e-4, "0.975, 9");
  assert_near(plb_t_quantile(0.99, 22), 2.508, 5e-4, "0.99, 22");
  assert_near(plb_t_quantile(0.95, 5), 2.015, 5e-4, "0.95, 5");
  assert_near(plb_t_quantile(0.975, 1e9), plb_normal_quantile(0.975), 1e-8, "many degrees");
  assert_true(plb_t_quantile(0.975, INFINITY) == plb_normal_quantile(0.975));
}

/* 1.959964 and 2.326348: FROM MEMORY (any table); erfc is the C library's. */
static void test_distribution__normal(void **state) {
  (void)state;
  assert_near(plb_normal_quantile(0.975), 1.959963984540054, 1e-14, "0.975");
  assert_near(plb_normal_quantile(0.99), 2.3263478740408408, 1e-14, "0.99");
  assert_true(fabs(plb_normal_quantile(0.5)) < 1e-16 && plb_normal_cdf(0) == 0.5);
  for (double p = 1e-200; p < 0.5; p *= 10)
    assert_close(plb_normal_cdf(plb_normal_quantile(p)), p, 1e-12, "tail");
  assert_true(isinf(plb_normal_quantile(0)) && isinf(plb_normal_quantile(1)) && isnan(plb_normal_quantile(2)));
}

/* Against the sum of the terms themselves, n = 12. */
static void test_distribution__binomial_tail_is_its_sum(void **state) {
  (void)state;
  for (double p = 0.05; p < 1; p += 0.15)
    for (uint64_t k = 0; k <= 13; k++) {
      double sum = 0;
      double term = pow(1 - p, 12);
      for (uint64_t i = 0; i <= 12; i++) {
        if (i >= k)
          sum += term;
        term *= (double)(12 - i) / (double)(i + 1) * p / (1 - p);
      }
      assert_near(plb_binomial_tail(k, 12, p), sum, 1e-13, "tail");
    }
  assert_true(plb_binomial_tail(1, 5, 0) == 0 && plb_binomial_tail(5, 5, 1) == 1 && isnan(plb_binomial_tail(1, 5, 2)));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_distribution__clopper_pearson),
      cmocka_unit_test(test_distribution__beta_closed_forms),
      cmocka_unit_test(test_distribution__beta_quantile_undoes_the_cdf),
      cmocka_unit_test(test_distribution__t_closed_forms),
      cmocka_unit_test(test_distribution__t_table),
      cmocka_unit_test(test_distribution__normal),
      cmocka_unit_test(test_distribution__binomial_tail_is_its_sum),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
