#include "signal_test.h"

#include "signal/warp.h"

static void test_warp__equal_curves_have_no_distance(void **state) {
  (void)state;
  float a[100];
  fill_normal_f(a, 100, 0, 1, 51);
  assert_true(plb_warp_distance(a, a, 100, 11, 0.5, INFINITY) == 0);
}

/* A window of 0 allows no step aside: the mean absolute difference. */
static void test_warp__without_a_window_is_the_mean_difference(void **state) {
  (void)state;
  const float a[4] = {0, 1, 2, 3};
  const float b[4] = {1, 1, 0, 7};
  assert_near(plb_warp_distance(a, b, 4, 0, 0.5, INFINITY), (1 + 0 + 2 + 4) / 4.0, 1e-15, "mean difference");
}

/*
 * A step one place later: (0,0,4,4) and (0,0,0,4). Diagonal 4/4; one step aside each way 2 * penalty / 4. The cheaper
 * counts. COMPUTED by hand
 */
static void test_warp__a_late_step_costs_two_penalties_at_most(void **state) {
  (void)state;
  const float a[4] = {0, 0, 4, 4};
  const float b[4] = {0, 0, 0, 4};
  assert_near(plb_warp_distance(a, b, 4, 1, 0.5, INFINITY), 0.25, 1e-15, "aside");
  assert_near(plb_warp_distance(a, b, 4, 3, 3, INFINITY), 1, 1e-15, "straight");
  assert_near(plb_warp_distance(a, b, 4, 1, 0, INFINITY), 0, 1e-15, "free");
}

static void test_warp__is_symmetric(void **state) {
  (void)state;
  float a[64], b[64];
  fill_normal_f(a, 64, 0, 1, 52);
  fill_normal_f(b, 64, 0, 1, 53);
  const double there = plb_warp_distance(a, b, 64, 7, 0.5, INFINITY);
  assert_near(plb_warp_distance(b, a, 64, 7, 0.5, INFINITY), there, 1e-14, "the other way");
  assert_true(there > 0);
}

/* Giving up must never change an answer that is not above the limit. */
static void test_warp__gives_up_only_above_the_limit(void **state) {
  (void)state;
  float a[128], b[128];
  fill_normal_f(a, 128, 0, 1, 54);
  fill_normal_f(b, 128, 0, 1, 55);
  const double d = plb_warp_distance(a, b, 128, 13, 0.5, INFINITY);
  assert_true(plb_warp_distance(a, b, 128, 13, 0.5, d * 1.0001) == d);
  assert_true(plb_warp_distance(a, b, 128, 13, 0.5, d * 0.5) == (double)INFINITY);
}

static void test_warp__longest_and_impossible_lengths(void **state) {
  (void)state;
  float a[PLB_WARP_MOST + 1];
  for (size_t i = 0; i < PLB_WARP_MOST + 1; i++)
    a[i] = (float)i;
  assert_true(plb_warp_distance(a, a, PLB_WARP_MOST, SIZE_MAX, 0.5, INFINITY) == 0);
  assert_true(plb_warp_distance(a, a, 1, 0, 0.5, INFINITY) == 0);
  assert_true(isnan(plb_warp_distance(a, a, 0, 0, 0.5, INFINITY)));
  assert_true(isnan(plb_warp_distance(a, a, PLB_WARP_MOST + 1, 0, 0.5, INFINITY)));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_warp__equal_curves_have_no_distance),
      cmocka_unit_test(test_warp__without_a_window_is_the_mean_difference),
      cmocka_unit_test(test_warp__a_late_step_costs_two_penalties_at_most),
      cmocka_unit_test(test_warp__is_symmetric),
      cmocka_unit_test(test_warp__gives_up_only_above_the_limit),
      cmocka_unit_test(test_warp__longest_and_impossible_lengths),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
