/*
 * How far a section stands early or late: exact where nothing but time differs, positive where the trace is late, and as sharp
 * as noise allows (Cramer-Rao bound of a known signal in white noise).
 */
#include "tests/core/cmocka_all.h"
#include "compare/explain.h"
#include "core/random.h"
#include <math.h>
#include <stdio.h>

enum { GRID = 512, FROM = 90, TO = 420, REACH = 12, TRIALS = 1500 };

/* Four harmonics up to 13 a cycle, power 1 over the cycle: smooth against a cell of the grid. */
static const struct {
  double order, size, phase;
} wave[] = {{1, 0.6, 0.4}, {3, 0.7, 1.9}, {7, 0.8, 5.1}, {13, 0.71, 2.6}};

static double signal_at(double cell) {
  double x = 0.0;
  for (size_t k = 0; k < 4; k++)
    x += wave[k].size * cos(6.283185307179586 * wave[k].order * cell / GRID + wave[k].phase);
  return x;
}

static double slope_at(double cell) {
  double x = 0.0;
  for (size_t k = 0; k < 4; k++) {
    const double w = 6.283185307179586 * wave[k].order / GRID;
    x -= w * wave[k].size * sin(w * cell + wave[k].phase);
  }
  return x;
}

static void fill(float *out, double late, double noise, plb_random *r) {
  for (size_t g = 0; g < GRID; g++)
    out[g] = (float)(signal_at((double)g - late) + (noise > 0.0 ? noise * plb_random_normal(r) : 0.0));
}

static void test_lag__is_exact_without_noise_and_positive_when_late(void **state) {
  (void)state;
  static float curve[GRID], centre[GRID];
  static const double late[] = {-7.5, -3.0, -0.37, 0.0, 0.25, 1.6, 9.12};
  fill(centre, 0.0, 0.0, NULL);
  for (size_t i = 0; i < sizeof late / sizeof *late; i++) {
    double explained;
    fill(curve, late[i], 0.0, NULL);
    const double lag = plb_local_lag(curve, centre, GRID, FROM, TO, REACH, &explained);
    if (!(fabs(lag - late[i]) < 0.02))
      fail_msg("late by %g cells, found %g", late[i], lag);
    if (fabs(late[i]) > 1.0) /* told of the nearest whole cell: half a cell at most is left, and the difference grows by its square */
      assert_true(explained > 1.0 - 0.3 / (late[i] * late[i]));
  }
}

/* What a shift cannot bring back is not explained by one: the same curve, smaller by half. */
static void test_lag__does_not_explain_a_smaller_curve(void **state) {
  (void)state;
  static float curve[GRID], centre[GRID];
  double explained;
  fill(centre, 0.0, 0.0, NULL);
  for (size_t g = 0; g < GRID; g++)
    curve[g] = 0.5F * centre[g];
  assert_true(fabs(plb_local_lag(curve, centre, GRID, FROM, TO, REACH, &explained)) < 0.5);
  assert_true(explained < 0.05);
}

/*
 * var(lag) >= sigma^2 / sum of slope^2 over the section's cells, for a known signal in white noise of variance sigma^2 (Kay,
 * Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, equation 3.14 with the delay as parameter: FROM
 * MEMORY); with noise in the reference too, of the same size, twice that. In cells.
 */
static double bound_of(double sigma, bool both) {
  double sum = 0.0;
  for (size_t g = FROM; g < TO; g++)
    sum += slope_at((double)g) * slope_at((double)g);
  return sigma * sqrt((both ? 2.0 : 1.0) / sum);
}

/* An estimator below the bound would be a biased one; the slack of 6 % is three standard errors of a deviation of 1500. */
static void check_bound(double snr, bool both, double within, uint64_t seed) {
  static float curve[GRID], centre[GRID];
  const double sigma = sqrt(1.0 / snr), bound = bound_of(sigma, both);
  double sum = 0.0, square = 0.0;
  plb_random r;
  plb_random_seed(&r, seed);
  for (int t = 0; t < TRIALS; t++) {
    const double late = 4.0 * plb_random_uniform(&r) - 2.0;
    double explained;
    fill(centre, 0.0, both ? sigma : 0.0, &r);
    fill(curve, late, sigma, &r);
    const double e = plb_local_lag(curve, centre, GRID, FROM, TO, REACH, &explained) - late;
    sum += e;
    square += e * e;
  }
  const double mean = sum / TRIALS, sd = sqrt(square / TRIALS - mean * mean);
  printf("# SNR %g, %s reference: std is %.3f times the bound of %.5f cells, mean %.5f\n", snr, both ? "noisy" : "clean", sd / bound, bound,
         mean);
  assert_true(sd > 0.94 * bound);
  assert_true(sd < within * bound);
  assert_true(fabs(mean) < 4.0 * within * bound / sqrt(TRIALS));
}

static void test_lag__stays_near_the_cramer_rao_bound_clean_reference(void **state) {
  (void)state;
  check_bound(100.0, false, 1.5, 11);
  check_bound(20.0, false, 2.0, 12);
}

static void test_lag__stays_near_the_cramer_rao_bound_noisy_reference(void **state) {
  (void)state;
  check_bound(100.0, true, 1.5, 13);
  check_bound(20.0, true, 2.0, 14);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_lag__is_exact_without_noise_and_positive_when_late),
      cmocka_unit_test(test_lag__does_not_explain_a_smaller_curve),
      cmocka_unit_test(test_lag__stays_near_the_cramer_rao_bound_clean_reference),
      cmocka_unit_test(test_lag__stays_near_the_cramer_rao_bound_noisy_reference),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
