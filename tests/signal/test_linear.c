#include "signal_test.h"

#include "signal/linear.h"

/* Whole numbers below 2^53 add up exactly in any order, so every length must give the exact value. */
static void test_linear__sums_and_products_are_exact_on_whole_numbers(void **state) {
  (void)state;
  double x[70];
  float f[70];
  for (size_t i = 0; i < 70; i++) {
    x[i] = (double)i + 1;
    f[i] = (float)i + 1;
  }
  for (size_t n = 0; n <= 70; n++) {
    const double m = (double)n;
    assert_true(plb_sum(x, n) == m * (m + 1) / 2);
    assert_true(plb_sum_f(f, n) == m * (m + 1) / 2);
    assert_true(plb_dot(x, x, n) == m * (m + 1) * (2 * m + 1) / 6);
    assert_true(plb_dot_f(f, f, n) == m * (m + 1) * (2 * m + 1) / 6);
  }
}

/* Single-precision input is summed in double: 2^24 + 1 is lost in a float sum. */
static void test_linear__float_sums_are_kept_in_double(void **state) {
  (void)state;
  float x[17];
  for (size_t i = 0; i < 17; i++)
    x[i] = i == 0 ? 16777216.0f : 1.0f;
  assert_true(plb_sum_f(x, 17) == 16777232.0);
  assert_true(plb_dot_f(x, x, 17) == 16777216.0 * 16777216.0 + 16);
}

/* The textbook matrix (4 12 -16; 12 37 -43; -16 -43 98) has the whole-number factor (2; 6 1; -8 5 3). COMPUTED by hand:
 * L L' */
static void test_linear__cholesky_of_a_whole_number_matrix(void **state) {
  (void)state;
  double a[9] = {4, NAN, NAN, 12, 37, NAN, -16, -43, 98}; /* the upper triangle is never read */
  assert_true(plb_cholesky(a, 3));
  const double expected[9] = {2, 0, 0, 6, 1, 0, -8, 5, 3};
  for (size_t i = 0; i < 3; i++)
    for (size_t j = 0; j <= i; j++)
      assert_near(a[3 * i + j], expected[3 * i + j], 1e-13, "factor");
  double b[3] = {4 + 2 * 12 - 3 * 16, 12 + 2 * 37 - 3 * 43, -16 - 2 * 43 + 3 * 98}; /* A (1, 2, 3)' */
  plb_cholesky_solve(a, 3, b);
  for (size_t i = 0; i < 3; i++)
    assert_near(b[i], (double)i + 1, 1e-12, "solution");
}

/* A x = b for a random A = B B' + I: the residual of the solution, not the solution, is what the method promises. */
static void test_linear__solves_a_large_system(void **state) {
  (void)state;
  enum { N = 60 };
  double *b = must_alloc(N * N, sizeof *b);
  double *a = must_alloc(N * N, sizeof *a);
  double *factor = must_alloc(N * N, sizeof *factor);
  double rhs[N], x[N];
  fill_normal(b, N * N, 0, 1, 3);
  fill_normal(rhs, N, 0, 1, 4);
  for (size_t i = 0; i < N; i++)
    for (size_t j = 0; j < N; j++)
      a[i * N + j] = plb_dot(b + i * N, b + j * N, N) + (i == j ? 1 : 0);
  memcpy(factor, a, N * N * sizeof *a);
  memcpy(x, rhs, sizeof x);
  assert_true(plb_cholesky(factor, N));
  plb_cholesky_solve(factor, N, x);
  for (size_t i = 0; i < N; i++)
    assert_near(plb_dot(a + i * N, x, N), rhs[i], 1e-11, "residual");
  free(b);
  free(a);
  free(factor);
}

static void test_linear__refuses_what_is_not_positive_definite(void **state) {
  (void)state;
  double negative[4] = {1, 2, 2, 1};
  assert_false(plb_cholesky(negative, 2));
  double singular[4] = {1, 1, 1, 1};
  assert_false(plb_cholesky(singular, 2));
  double unknown[4] = {1, 0, NAN, 1};
  assert_false(plb_cholesky(unknown, 2));
  double endless[1] = {INFINITY};
  assert_false(plb_cholesky(endless, 1));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_linear__sums_and_products_are_exact_on_whole_numbers),
      cmocka_unit_test(test_linear__float_sums_are_kept_in_double),
      cmocka_unit_test(test_linear__cholesky_of_a_whole_number_matrix),
      cmocka_unit_test(test_linear__solves_a_large_system),
      cmocka_unit_test(test_linear__refuses_what_is_not_positive_definite),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
