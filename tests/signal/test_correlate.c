#include "signal_test.h"

#include "signal/correlate.h"
#include "signal/linear.h"
#include "signal/statistic.h"

/* NumPy's documented example, correlate([1,2,3], [0,1,0.5], "full") = [0.5, 2, 3.5, 3, 0]: VERIFIED */
static void test_correlate__full_of_the_documented_example(void **state) {
  (void)state;
  const double a[3] = {1, 2, 3};
  const double v[3] = {0, 1, 0.5};
  const double expected[5] = {0.5, 2, 3.5, 3, 0};
  double out[5];
  assert_int_equal(plb_correlate_full(a, 3, v, 3, out, NULL), PLB_OK);
  for (size_t k = 0; k < 5; k++)
    assert_near(out[k], expected[k], 1e-15, "full");
}

/* The defining sum, in double. */
static double at_lag(const double *a, size_t na, const double *v, size_t nv, int64_t lag) {
  double sum = 0;
  for (size_t i = 0; i < nv; i++) {
    const int64_t k = (int64_t)i + lag;
    if (k >= 0 && k < (int64_t)na)
      sum += a[k] * v[i];
  }
  return sum;
}

/* Through the transforms, both ways round, over several blocks, with offsets a thousand times the signal: the stated
 * error, 1e-6 of the product of lengths about the means, must hold whatever the offsets are. */
static void test_correlate__full_by_transform_matches_the_sum(void **state) {
  (void)state;
  const size_t size[][2] = {{3000, 2900}, {2900, 3000}, {70000, 900}, {900, 70000}, {30000, 9000}, {12000, 12000}};
  for (size_t s = 0; s < sizeof size / sizeof size[0]; s++) {
    const size_t na = size[s][0], nv = size[s][1];
    double *a = must_alloc(na, sizeof *a);
    double *v = must_alloc(nv, sizeof *v);
    double *out = must_alloc(na + nv - 1, sizeof *out);
    fill_normal(a, na, 1000, 1, 71 + s);
    fill_normal(v, nv, -500, 1, 81 + s);
    assert_int_equal(plb_correlate_full(a, na, v, nv, out, NULL), PLB_OK);
    const double error = 1e-6 * sqrt((double)na * (double)nv);
    for (size_t k = 0; k < na + nv - 1; k += 997)
      assert_near(out[k], at_lag(a, na, v, nv, (int64_t)k - (int64_t)nv + 1), error, "full");
    const size_t last = na + nv - 2;
    assert_near(out[last], a[na - 1] * v[0], error, "last");
    free(a);
    free(v);
    free(out);
  }
}

static int64_t delay(const double *x, size_t nx, const double *y, size_t ny) {
  int64_t lag = 12345;
  assert_int_equal(plb_find_delay(x, nx, y, ny, &lag, NULL), PLB_OK);
  return lag;
}

/* Published examples of a delay finder, of equal peaks the smallest delay: VERIFIED */
static void test_correlate__published_delays(void **state) {
  (void)state;
  const double x1[] = {1, 2, 3}, y1[] = {0, 0, 1, 2, 3};
  assert_int_equal(delay(x1, 3, y1, 5), 2);
  const double x2[] = {0, 0, 0, 1, 2, 3, 0, 0}, y2[] = {1, 2, 3, 0};
  assert_int_equal(delay(x2, 8, y2, 4), -3);
  const double x3[] = {0, 0, 1, 2, 3, 0}, y3[] = {0.02, 0.12, 1.08, 2.21, 2.95, -0.09};
  assert_int_equal(delay(x3, 6, y3, 6), 0);
  const double x4[] = {0, 1, 2, 3}, y4[] = {1, 2, 3, 0, 0, 0, 0, 1, 2, 3, 0, 0};
  assert_int_equal(delay(x4, 4, y4, 12), -1);
}

/* Two equal copies, the nearer one found second; the sums of products may differ in the last place, since they start
 * elsewhere. */
static void test_correlate__of_equal_peaks_the_nearer_one(void **state) {
  (void)state;
  enum { P = 37 };
  for (uint64_t seed = 0; seed < 50; seed++) {
    double x[60] = {0}, y[80] = {0};
    fill_normal(x + 20, P, 0, 1, 900 + seed);
    memcpy(y, x + 20, P * sizeof *y);     /* 20 early */
    memcpy(y + P, x + 20, P * sizeof *y); /* 17 late */
    assert_int_equal(delay(x, 60, y, 80), 17);
  }
}

/* A 20-point triangle delayed by 3 with noise: lag 3; x against x shifted right by 5: the published peak of
 * correlate(x, y) lies at -5, so ours, of y against x, is 5: VERIFIED, sign COMPUTED. */
static void test_correlate__triangle_and_shift(void **state) {
  (void)state;
  double x[20], y[23] = {0};
  double noise[23];
  fill_normal(noise, 23, 0, 0.1, 91);
  for (size_t i = 0; i < 20; i++)
    x[i] = i < 10 ? (double)i : 19 - (double)i;
  for (size_t i = 0; i < 20; i++)
    y[i + 3] = x[i];
  for (size_t i = 0; i < 23; i++)
    y[i] += noise[i];
  assert_int_equal(delay(x, 20, y, 23), 3);
  double long_x[400], long_y[400] = {0};
  fill_normal(long_x, 400, 0, 1, 92);
  memcpy(long_y + 5, long_x, 395 * sizeof *long_x);
  assert_int_equal(delay(long_x, 400, long_y, 400), 5);
}

/* SciPy's documented case, x of 1000, y = (100 random, x): with its argument order the lag is -100 (sign COMPUTED),
 * with ours 100; and swapping the arguments flips the sign. */
static void test_correlate__sign_of_the_lag(void **state) {
  (void)state;
  double *x = must_alloc(1100, sizeof *x);
  fill_normal(x, 1100, 0, 1, 93);
  const double *y = x;
  assert_int_equal(delay(x + 100, 1000, y, 1100), 100);
  assert_int_equal(delay(y, 1100, x + 100, 1000), -100);
  free(x);
}

/* Long enough for the transforms: the peak is settled exactly all the same; an inverted copy is found by its size. */
static void test_correlate__long_and_inverted(void **state) {
  (void)state;
  enum { N = 20000, LATE = 4321 };
  double *x = must_alloc(N, sizeof *x);
  double *y = must_alloc(N, sizeof *y);
  fill_normal(x, N, 0, 1, 94);
  for (size_t i = LATE; i < N; i++)
    y[i] = -0.5 * x[i - LATE];
  assert_int_equal(delay(x, N, y, N), LATE);
  /* a slow wave has a broad peak that rounding could shift */
  for (size_t i = 0; i < N; i++)
    x[i] = exp(-0.5 * pow(((double)i - 9000) / 1500, 2));
  for (size_t i = 0; i < N; i++)
    y[i] = exp(-0.5 * pow(((double)i - 9007) / 1500, 2));
  assert_int_equal(delay(x, N, y, N), 7);
  free(x);
  free(y);
}

/* Equal copies in long traces: the transforms rank them by their rounding, the exact sums by their distance. */
static void test_correlate__of_equal_peaks_in_long_traces_the_nearer_one(void **state) {
  (void)state;
  enum { P = 3000, N = 40000 };
  double *x = must_alloc(P, sizeof *x);
  double *y = must_alloc(N, sizeof *y);
  for (uint64_t seed = 0; seed < 8; seed++) {
    fill_normal(x, P, 0, 1, 950 + seed);
    memcpy(y + 500, x, P * sizeof *y);
    memcpy(y + 30000, x, P * sizeof *y);
    assert_int_equal(delay(x, P, y, N), 500);
  }
  free(x);
  free(y);
}

static void test_correlate__nothing_in_common(void **state) {
  (void)state;
  const double zero[5] = {0};
  const double x[3] = {1, 2, 3};
  assert_int_equal(delay(x, 3, zero, 5), 0);
  int64_t lag;
  double out[4];
  assert_int_equal(plb_find_delay(x, 0, x, 3, &lag, NULL), PLB_EINVAL);
  assert_int_equal(plb_correlate_full(x, 3, x, 0, out, NULL), PLB_EINVAL);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_correlate__full_of_the_documented_example),
      cmocka_unit_test(test_correlate__full_by_transform_matches_the_sum),
      cmocka_unit_test(test_correlate__published_delays),
      cmocka_unit_test(test_correlate__of_equal_peaks_the_nearer_one),
      cmocka_unit_test(test_correlate__triangle_and_shift),
      cmocka_unit_test(test_correlate__sign_of_the_lag),
      cmocka_unit_test(test_correlate__long_and_inverted),
      cmocka_unit_test(test_correlate__of_equal_peaks_in_long_traces_the_nearer_one),
      cmocka_unit_test(test_correlate__nothing_in_common),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
