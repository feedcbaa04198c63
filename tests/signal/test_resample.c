#include "signal_test.h"

#include "signal/resample.h"
#include "signal/statistic.h"

static void test_resample__interpolates_and_holds_the_ends(void **state) {
  (void)state;
  const double x[4] = {1, 3, 2, 2};
  assert_near(plb_interpolate(x, 4, 0.25), 1.5, 1e-15, "between");
  assert_true(plb_interpolate(x, 4, 1) == 3 && plb_interpolate(x, 4, 3) == 2);
  assert_true(plb_interpolate(x, 4, -5) == 1 && plb_interpolate(x, 4, 9) == 2);
  assert_true(plb_interpolate(x, 1, 0.5) == 1);
  assert_true(isnan(plb_interpolate(x, 0, 0)) && isnan(plb_interpolate(x, 4, NAN)));
  const double gap[3] = {1, NAN, 5};
  assert_true(plb_interpolate(gap, 3, 2) == 5); /* a whole place reads its own sample only */
}

/* The straight lines 0-2-2-0 enclose 1, 3, 4: COMPUTED by hand. */
static void test_resample__cumulates_straight_lines(void **state) {
  (void)state;
  const double x[4] = {0, 2, 2, 0};
  double c[4];
  plb_cumulate(x, 4, c);
  assert_true(c[0] == 0 && c[1] == 1 && c[2] == 3 && c[3] == 4);
}

static void cells(const double *x, size_t n, const double *edge, size_t count, float *out) {
  double *c = must_alloc(n, sizeof *c);
  plb_cumulate(x, n, c);
  plb_resample_cells(x, c, n, edge, count, out);
  free(c);
}

/* Over the straight-line signal 0-2-2-0: from 0.5 to 2.5 the area is 0.75 + 2 + 0.75 = 3.5 over a width of 2; COMPUTED
 * by hand. */
static void test_resample__averages_wide_cells_exactly(void **state) {
  (void)state;
  const double x[4] = {0, 2, 2, 0};
  const double edge[3] = {0.5, 2.5, 3.5}; /* the last half sample is held at 0 */
  float out[2];
  cells(x, 4, edge, 2, out);
  assert_near((double)out[0], 1.75, 1e-7, "wide");
  assert_near((double)out[1], 0.25, 1e-7, "over the end");
  const double before[2] = {-2, 1};
  cells(x, 4, before, 1, out);
  assert_near((double)out[0], 1.0 / 3, 1e-7, "before the start");
}

static void test_resample__reads_narrow_cells_at_their_centre(void **state) {
  (void)state;
  const double x[4] = {0, 2, 2, 0};
  const double edge[4] = {0, 0.5, 1, 1.999};
  float out[3];
  cells(x, 4, edge, 3, out);
  assert_near((double)out[0], 0.5, 1e-7, "first");
  assert_near((double)out[1], 1.5, 1e-7, "second");
  assert_near((double)out[2], 2, 1e-7, "just narrow");
  const double peak[3] = {0, 2, 0};
  const double astride[2] = {0.75, 1.25}; /* the average would be 1.75 */
  cells(peak, 3, astride, 1, out);
  assert_near((double)out[0], 2, 1e-7, "astride a sample");
}

/* The mean over adjoining cells of equal width is the mean over all of them: nothing is counted twice or lost. */
static void test_resample__adjoining_cells_add_up(void **state) {
  (void)state;
  enum { N = 1000, CELLS = 37 };
  double x[N], edge[CELLS + 1];
  float out[CELLS], whole[1];
  fill_normal(x, N, 100, 3, 31);
  for (size_t k = 0; k <= CELLS; k++)
    edge[k] = 13.7 + (double)k * 24.37;
  cells(x, N, edge, CELLS, out);
  const double ends[2] = {edge[0], edge[CELLS]};
  cells(x, N, ends, 1, whole);
  double sum = 0;
  for (size_t k = 0; k < CELLS; k++)
    sum += (double)out[k];
  assert_close(sum / CELLS, (double)whole[0], 1e-6, "mean of the cells");
}

static void test_resample__cells_of_nothing_are_unknown(void **state) {
  (void)state;
  const double edge[2] = {0, 1};
  float out[1] = {3};
  plb_resample_cells(NULL, NULL, 0, edge, 1, out);
  assert_true(isnan(out[0]));
}

/* A sine inside both Nyquist bands is the same sine afterwards, away from the ends. A Kaiser window of beta 5 leaves a
 * ripple and images of 0.2 % each (its design formula: 54 dB). */
static void test_resample__rational_keeps_a_sine(void **state) {
  (void)state;
  const unsigned ratio[][2] = {{3, 2}, {1, 4}, {147, 160}, {10, 1}, {6, 4}};
  enum { N = 2000 };
  double x[N];
  for (size_t i = 0; i < N; i++)
    x[i] = 5 + sin(0.2 * (double)i);
  for (size_t r = 0; r < sizeof ratio / sizeof ratio[0]; r++) {
    const double up = ratio[r][0], down = ratio[r][1];
    double *y = NULL;
    size_t n = 0;
    assert_int_equal(plb_resample_rational(x, N, ratio[r][0], ratio[r][1], &y, &n, NULL), PLB_OK);
    assert_int_equal(n, (size_t)ceil(N * up / down));
    for (size_t k = 0; k < n; k++) {
      const double at = (double)k * down / up;
      if (at < 60 || at > N - 60)
        continue;
      assert_near(y[k], 5 + sin(0.2 * at), 5e-3, "sine");
    }
    free(y);
  }
}

/* A sine above the new Nyquist frequency must not fold back: 0.45 of the rate, thinned by 4, at least 40 dB down. */
static void test_resample__rational_does_not_fold(void **state) {
  (void)state;
  enum { N = 4000 };
  double x[N];
  for (size_t i = 0; i < N; i++)
    x[i] = sin(2 * acos(-1.0) * 0.45 * (double)i);
  double *y = NULL;
  size_t n = 0;
  assert_int_equal(plb_resample_rational(x, N, 1, 4, &y, &n, NULL), PLB_OK);
  assert_true(plb_rms(y + 20, n - 40) < 0.01 * plb_rms(x, N));
  free(y);
}

/* Ends are held: a level stays a level up to the last sample. */
static void test_resample__rational_keeps_a_constant(void **state) {
  (void)state;
  double x[50];
  for (size_t i = 0; i < 50; i++)
    x[i] = 13.8;
  double *y = NULL;
  size_t n = 0;
  assert_int_equal(plb_resample_rational(x, 50, 4, 2, &y, &n, NULL), PLB_OK);
  assert_int_equal(n, 100);
  for (size_t k = 0; k < n; k++)
    assert_near(y[k], 13.8, 0.03, "constant"); /* the phases of the filter differ by 0.2 % */
  free(y);
}

static void test_resample__rational_of_equal_rates_copies(void **state) {
  (void)state;
  double x[30];
  fill_normal(x, 30, 0, 1, 32);
  double *y = NULL;
  size_t n = 0;
  assert_int_equal(plb_resample_rational(x, 30, 5, 5, &y, &n, NULL), PLB_OK);
  assert_int_equal(n, 30);
  for (size_t k = 0; k < n; k++)
    assert_near(y[k], x[k], 1e-12, "copy");
  free(y);
}

static void test_resample__refuses_impossible_ratios(void **state) {
  (void)state;
  const double x[2] = {1, 2};
  double *y = NULL;
  size_t n = 1;
  assert_int_equal(plb_resample_rational(x, 2, 0, 1, &y, &n, NULL), PLB_EINVAL);
  assert_int_equal(plb_resample_rational(x, 2, 1, 0, &y, &n, NULL), PLB_EINVAL);
  assert_int_equal(plb_resample_rational(x, 0, 1, 1, &y, &n, NULL), PLB_EINVAL);
  assert_int_equal(plb_resample_rational(x, 2, 70001, 2, &y, &n, NULL), PLB_EUSAGE);
  assert_null(y);
  assert_int_equal(n, 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_resample__interpolates_and_holds_the_ends),
      cmocka_unit_test(test_resample__cumulates_straight_lines),
      cmocka_unit_test(test_resample__averages_wide_cells_exactly),
      cmocka_unit_test(test_resample__reads_narrow_cells_at_their_centre),
      cmocka_unit_test(test_resample__adjoining_cells_add_up),
      cmocka_unit_test(test_resample__cells_of_nothing_are_unknown),
      cmocka_unit_test(test_resample__rational_keeps_a_sine),
      cmocka_unit_test(test_resample__rational_does_not_fold),
      cmocka_unit_test(test_resample__rational_keeps_a_constant),
      cmocka_unit_test(test_resample__rational_of_equal_rates_copies),
      cmocka_unit_test(test_resample__refuses_impossible_ratios),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
