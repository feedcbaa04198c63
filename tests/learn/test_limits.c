/* Limit, promise and guards from held-out scores. */
#include "learn/calibrate.h"
#include "tests/core/close.h"
#include <math.h>

static void fill(double *score, size_t n) {
  for (size_t i = 0; i < n; i++) {
    score[i] = (double)(n - i); /* largest first: the order must not matter */
  }
}

/*
 * Split conformal: the limit is the k-th smallest of n scores, k = ceil((n + 1)(1 - alpha)). CHECK-VALUES 7.2, COMPUTED from the VERIFIED rule:
 * n 9 alpha .1 -> 9; n 19 alpha .05 -> 19; n 99 alpha .1 -> 90; n 100 alpha .1 -> 91. With fewer than 9 at .1 no k reaches it: the largest.
 */
static void test_limits__k_of_split_conformal(void **state) {
  (void)state;
  static const struct {
    size_t n;
    double alpha;
    double k, promise;
  } row[] = {{9, 0.1, 9, 0.1}, {19, 0.05, 19, 0.05}, {99, 0.1, 90, 0.1}, {100, 0.1, 91, 10.0 / 101.0}, {6, 0.05, 6, 1.0 / 7.0},
             {30, 0.05, 30, 1.0 / 31.0}};
  for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
    double score[100];
    plb_calibration c = {0};
    fill(score, row[i].n);
    plb_limits_from_scores(&c, score, row[i].n, row[i].alpha);
    assert_close(c.limit, row[i].k, 0.0);
    assert_close(c.promise, row[i].promise, 1e-12);
    assert_int_equal(c.independent, row[i].n);
  }
}

/* One reference's false-alarm rate is Beta(n + 1 - k, k); for k = n its 90 % quantile is 1 - 0.1^(1/n): 32, 11, 7 % at n 6, 19, 30 (COMPUTED). */
static void test_limits__upper_end_of_the_promise(void **state) {
  (void)state;
  static const size_t n[] = {6, 19, 30};
  for (size_t i = 0; i < 3; i++) {
    double score[100];
    plb_calibration c = {0};
    fill(score, n[i]);
    plb_limits_from_scores(&c, score, n[i], 0.05);
    assert_close(c.promise_upper90, 1.0 - pow(0.1, 1.0 / (double)n[i]), 1e-6);
  }
}

/* All scores equal 1: both guards are exp(t sqrt(4 0.04 / (n + 3)) sqrt(1 + 1/n)), at 1 - alpha and at 99 %; t(0.95, 9 freedom) = 1.833113,
 * t(0.99, 9) = 2.821438 (scipy.stats.t.ppf, COMPUTED). */
static void test_limits__guards_of_equal_scores(void **state) {
  (void)state;
  double score[6] = {1, 1, 1, 1, 1, 1};
  plb_calibration c = {0};
  plb_limits_from_scores(&c, score, 6, 0.05);
  const double unit = sqrt(0.16 / 9.0) * sqrt(7.0 / 6.0);
  assert_close(c.guard, exp(1.833112933 * unit), 1e-6);
  assert_close(c.guard_robust, exp(2.821437925 * unit), 1e-6);
}

/* One odd capture lifts the guard, not the robust one. */
static void test_limits__an_odd_capture_does_not_lift_the_robust_guard(void **state) {
  (void)state;
  double plain[7] = {1.0, 1.1, 0.9, 1.05, 0.95, 1.2, 1.15}, odd[7] = {1.0, 1.1, 0.9, 1.05, 0.95, 1.2, 30.0};
  plb_calibration a = {0}, b = {0};
  plb_limits_from_scores(&a, plain, 7, 0.05);
  plb_limits_from_scores(&b, odd, 7, 0.05);
  assert_true(b.guard > 3.0 * a.guard);
  assert_true(b.guard_robust < 1.5 * a.guard_robust);
}

static void test_limits__groups_are_left_out_whole(void **state) {
  (void)state;
  static const char *const group[] = {"van 1", "van 2", "van 1", "van 3", "van 2", "van 1"};
  plb_units u;
  bool stated, one;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_units_init(&u, group, 6, &stated, &one, &err), PLB_OK);
  assert_true(stated);
  assert_false(one);
  assert_int_equal(u.independents, 3);
  assert_int_equal(u.units, 3);
  assert_int_equal(u.unit[0], u.unit[2]);
  assert_int_equal(u.unit[0], u.unit[5]);
  assert_int_not_equal(u.unit[0], u.unit[1]);
  plb_units_dispose(&u);
}

static void test_limits__of_two_groups_the_captures_make_the_scales(void **state) {
  (void)state;
  static const char *const group[] = {"van 1", "van 2", "van 1", "van 2"}, *const none[] = {NULL, NULL};
  plb_units u;
  bool stated, one;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_units_init(&u, group, 4, &stated, &one, &err), PLB_OK);
  assert_true(u.two);
  assert_int_equal(u.independents, 2);
  assert_int_equal(u.units, 4);
  assert_int_equal(u.independent[0], u.independent[2]);
  plb_units_dispose(&u);
  assert_int_equal(plb_units_init(&u, none, 2, &stated, &one, &err), PLB_OK);
  assert_false(u.two);
  plb_units_dispose(&u);
}

static void test_limits__one_vehicle_is_left_out_capture_by_capture(void **state) {
  (void)state;
  static const char *const group[] = {"van 1", "van 1", "van 1"};
  plb_units u;
  bool stated, one;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_units_init(&u, group, 3, &stated, &one, &err), PLB_OK);
  assert_true(one);
  assert_int_equal(u.units, 3);
  plb_units_dispose(&u);
}

static void test_limits__many_captures_are_left_out_in_twenty_folds(void **state) {
  (void)state;
  static const char *const group[100] = {0};
  plb_units u;
  bool stated, one;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_units_init(&u, group, 100, &stated, &one, &err), PLB_OK);
  assert_false(stated);
  assert_int_equal(u.units, 20);
  assert_int_equal(u.independents, 100);
  plb_units_dispose(&u);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_limits__k_of_split_conformal),
      cmocka_unit_test(test_limits__upper_end_of_the_promise),
      cmocka_unit_test(test_limits__guards_of_equal_scores),
      cmocka_unit_test(test_limits__an_odd_capture_does_not_lift_the_robust_guard),
      cmocka_unit_test(test_limits__groups_are_left_out_whole),
      cmocka_unit_test(test_limits__of_two_groups_the_captures_make_the_scales),
      cmocka_unit_test(test_limits__one_vehicle_is_left_out_capture_by_capture),
      cmocka_unit_test(test_limits__many_captures_are_left_out_in_twenty_folds),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
