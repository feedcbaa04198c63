#include "signal_test.h"

#include "signal/statistic.h"

/* Digits that agree with the certified value, as NIST counts them: log relative error. */
static double digits(double got, double certified) {
  if (got == certified)
    return 17;
  return -log10(fabs(got - certified) / fabs(certified));
}

typedef struct certified {
  const char *name;
  double first, low, high; /* the data: `first`, then `pairs` times (low, high) */
  size_t pairs;
  double mean, sd, lag1;
  double sd_digits, lag1_digits; /* what doubles allow: the decimal data are not exact in binary */
} certified;

/*
 * NIST StRD univariate data sets NumAcc1 to NumAcc4 with their certified values: VERIFIED (a public copy of the values
 * of itl.nist.gov/div898/strd). The order of NumAcc1 is the one for which the certified lag-1 value holds: COMPUTED.
 * The digits of sd and lag-1 are COMPUTED in exact fractions from the doubles nearest to the data: 9.46 and 8.25 for
 * the sd of NumAcc3 and NumAcc4.
 */
static const certified nist[] = {
    {"NumAcc1", 10000001, 10000003, 10000002, 1, 10000002, 1, -0.5, 15, 15},
    {"NumAcc2", 1.2, 1.1, 1.3, 500, 1.2, 0.1, -0.999, 14, 13.5},
    {"NumAcc3", 1000000.2, 1000000.1, 1000000.3, 500, 1000000.2, 0.1, -0.999, 9, 9},
    {"NumAcc4", 10000000.2, 10000000.1, 10000000.3, 500, 10000000.2, 0.1, -0.999, 8, 8},
};

static size_t generate(const certified *c, double *x) {
  size_t n = 0;
  x[n++] = c->first;
  for (size_t i = 0; i < c->pairs; i++) {
    x[n++] = c->low;
    x[n++] = c->high;
  }
  return n;
}

static void test_statistic__nist_mean_sd_and_lag1(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof nist / sizeof nist[0]; i++) {
    double x[1001];
    const size_t n = generate(&nist[i], x);
    const double mean = digits(plb_mean(x, n), nist[i].mean);
    const double sd = digits(plb_sd(x, n), nist[i].sd);
    const double lag1 = digits(plb_lag1(x, n), nist[i].lag1);
    if (mean < 14 || sd < nist[i].sd_digits || lag1 < nist[i].lag1_digits)
      fail_msg("%s: digits of mean %.2f, sd %.2f, lag-1 %.2f", nist[i].name, mean, sd, lag1);
  }
}

/* The value that R gives for NumAcc4: VERIFIED. It is the exact sd of the doubles: COMPUTED 0.10000000055879354 */
static void test_statistic__nist_numacc4_is_as_exact_as_its_doubles(void **state) {
  (void)state;
  double x[1001];
  const size_t n = generate(&nist[3], x);
  assert_close(plb_sd(x, n), 0.10000000055879354, 1e-13, "sd of the doubles of NumAcc4");
}

/* The data sets must tell a good method from the bad one, else the test above proves nothing. */
static void test_statistic__one_pass_sum_of_squares_fails_nist(void **state) {
  (void)state;
  double x[1001];
  const size_t n = generate(&nist[3], x);
  double sum = 0;
  double squares = 0;
  for (size_t i = 0; i < n; i++) {
    sum += x[i];
    squares += x[i] * x[i];
  }
  const double variance = (squares - sum * sum / (double)n) / (double)(n - 1);
  assert_false(digits(sqrt(variance), nist[3].sd) >= 8);
}

typedef struct shape {
  const char *name;
  double rms, mean;
} shape;

/*
 * True RMS and mean over whole periods, peak a = 10. RMS of sine, triangle, sawtooth, square: VERIFIED (2nd-hand).
 * Pulse train 12 V at 25 %: RMS exactly 6 V, mean 3 V: COMPUTED a sqrt(D), a D.
 */
static void test_statistic__rms_and_mean_of_standard_shapes(void **state) {
  (void)state;
  enum { N = 40000 };
  double *x[5];
  for (size_t k = 0; k < 5; k++)
    x[k] = must_alloc(N, sizeof *x[k]);
  for (size_t i = 0; i < N; i++) {
    const double phase = ((double)i + 0.5) / N * 4;
    const double p = phase - floor(phase);
    x[0][i] = 10 * sin(2 * acos(-1.0) * p);
    x[1][i] = 10 * (4 * fabs(p - 0.5) - 1);
    x[2][i] = 10 * (2 * p - 1);
    x[3][i] = p < 0.5 ? 10 : -10;
    x[4][i] = p < 0.25 ? 12 : 0;
  }
  const shape expected[5] = {{"sine", 10 / sqrt(2), 0},
                             {"triangle", 10 / sqrt(3), 0},
                             {"sawtooth", 10 / sqrt(3), 0},
                             {"square", 10, 0},
                             {"pulses", 6, 3}};
  for (size_t k = 0; k < 5; k++) {
    assert_close(plb_rms(x[k], N), expected[k].rms, 1e-7, expected[k].name);
    assert_near(plb_mean(x[k], N), expected[k].mean, 1e-9, expected[k].name);
    /* total^2 = DC^2 + AC^2; the divisor of sd is n - 1 */
    const double ac = plb_sd(x[k], N) * sqrt((N - 1.0) / N);
    assert_close(ac * ac + plb_mean(x[k], N) * plb_mean(x[k], N), plb_rms(x[k], N) * plb_rms(x[k], N), 1e-12,
                 "sum rule");
    free(x[k]);
  }
}

/* A million times 0.1: a plain sum is off by thousands of units in the last place. */
static void test_statistic__mean_of_a_constant_is_the_constant(void **state) {
  (void)state;
  enum { N = 1000003 };
  double *x = must_alloc(N, sizeof *x);
  for (size_t i = 0; i < N; i++)
    x[i] = 0.1;
  assert_true(plb_mean(x, N) == 0.1);
  assert_true(plb_sd(x, N) == 0);
  free(x);
}

static void test_statistic__few_samples(void **state) {
  (void)state;
  const double one[1] = {7};
  const double two[2] = {1, 3};
  assert_true(isnan(plb_mean(NULL, 0)) && isnan(plb_rms(NULL, 0)) && isnan(plb_fourth_mean(NULL, 0)));
  assert_true(plb_mean(one, 1) == 7 && plb_sd(one, 1) == 0 && plb_sd(NULL, 0) == 0 && plb_lag1(one, 1) == 0);
  assert_true(plb_mean(two, 2) == 2 && plb_correlation(one, one, 1) == 0);
  assert_close(plb_sd(two, 2), sqrt(2), 1e-15, "sd of two");
}

static void test_statistic__unknown_samples_are_not_hidden(void **state) {
  (void)state;
  const double x[4] = {1, NAN, 2, 3};
  assert_true(isnan(plb_mean(x, 4)) && isnan(plb_sd(x, 4)) && isnan(plb_rms(x, 4)) && isnan(plb_lag1(x, 4)));
  assert_true(isnan(plb_fourth_mean(x, 4)) && isnan(plb_correlation(x, x, 4)));
  double low, high;
  plb_extremes(x, 4, &low, &high);
  assert_true(low == 1 && high == 3);
  const double none[3] = {NAN, INFINITY, -INFINITY};
  plb_extremes(none, 3, &low, &high);
  assert_true(isnan(low) && isnan(high));
}

/* (1 + 16 + 81 + 256) / 4 = 88.5: COMPUTED */
static void test_statistic__fourth_mean(void **state) {
  (void)state;
  const double x[4] = {1, -2, 3, 4};
  assert_close(plb_fourth_mean(x, 4), pow(88.5, 0.25), 1e-14, "fourth mean");
  const double huge[2] = {1e200, 1e200};
  assert_close(plb_fourth_mean(huge, 2), 1e200, 1e-14, "no overflow");
  const double zero[2] = {0, 0};
  assert_true(plb_fourth_mean(zero, 2) == 0);
}

static void test_statistic__correlation(void **state) {
  (void)state;
  const double x[5] = {1, 2, 3, 4, 5};
  const double up[5] = {1e9 + 2, 1e9 + 4, 1e9 + 6, 1e9 + 8, 1e9 + 10}; /* an offset must not cost digits */
  const double down[5] = {10, 8, 6, 4, 2};
  const double mixed[5] = {2, 1, 4, 3, 5}; /* sum of products 8, of squares 10 and 10: COMPUTED */
  const double constant[5] = {0.1, 0.1, 0.1, 0.1, 0.1};
  assert_near(plb_correlation(x, up, 5), 1, 1e-12, "rising");
  assert_near(plb_correlation(x, down, 5), -1, 1e-12, "falling");
  assert_near(plb_correlation(x, mixed, 5), 0.8, 1e-14, "mixed");
  assert_true(plb_correlation(x, constant, 5) == 0);
  const double grain[5] = {0.1, nextafter(0.1, 1), 0.1, 0.1, nextafter(0.1, 1)}; /* the last bit is no signal */
  assert_true(plb_correlation(x, grain, 5) == 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_statistic__nist_mean_sd_and_lag1),
      cmocka_unit_test(test_statistic__nist_numacc4_is_as_exact_as_its_doubles),
      cmocka_unit_test(test_statistic__one_pass_sum_of_squares_fails_nist),
      cmocka_unit_test(test_statistic__rms_and_mean_of_standard_shapes),
      cmocka_unit_test(test_statistic__mean_of_a_constant_is_the_constant),
      cmocka_unit_test(test_statistic__few_samples),
      cmocka_unit_test(test_statistic__unknown_samples_are_not_hidden),
      cmocka_unit_test(test_statistic__fourth_mean),
      cmocka_unit_test(test_statistic__correlation),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
