#include "signal_test.h"

#include "signal/spectrum.h"
#include "signal/statistic.h"

/*
 * IEC 61260-1:2014: G = 10^(3/10), f_m = 1000 G^(x/b) for odd b, 1000 G^((2x+1)/(2b)) for even b: VERIFIED (2nd-hand).
 * Exact mid-band frequencies of the octaves: VERIFIED (published list, two decimals).
 */
static void test_spectrum__octave_mid_bands(void **state) {
  (void)state;
  const double exact[] = {15.85, 31.62, 63.10, 125.89, 251.19, 501.19, 1000, 1995.26, 3981.07, 7943.28, 15848.93};
  for (int k = 0; k < 11; k++)
    assert_near(plb_band_mid_hz(1, k - 6), exact[k], 0.005, "octave");
  assert_close(plb_band_mid_hz(2, 0), 1188.502227437018, 1e-14, "half octave, COMPUTED: 1000 G^(1/4)");
  assert_close(plb_band_mid_hz(1, 1) / plb_band_mid_hz(1, 0), 1.9952623149688795, 1e-15, "octave ratio");
}

/* Band edges: COMPUTED from the same formulas. */
static void test_spectrum__band_edges(void **state) {
  (void)state;
  static const struct {
    int fraction, index;
    double low, high;
  } rows[] = {
      {1, 0, 707.9458, 1412.5375}, {1, -1, 354.8134, 707.9458},    {1, 1, 1412.5375, 2818.3829},
      {3, 0, 891.2509, 1122.0185}, {3, -1, 707.9458, 891.2509},    {3, 1, 1122.0185, 1412.5375},
      {3, -10, 89.1251, 112.2018}, {3, 10, 8912.5094, 11220.1845},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    double low, high;
    plb_band_edges_hz(rows[i].fraction, rows[i].index, &low, &high);
    assert_near(low, rows[i].low, 5e-5, "low edge");
    assert_near(high, rows[i].high, 5e-5, "high edge");
  }
}

/* Nominal third octaves, 25 Hz to 20 kHz: VERIFIED. The exact one rounds to within 2 % of its nominal name. */
static void test_spectrum__nominal_names_of_third_octaves(void **state) {
  (void)state;
  const double nominal[] = {25,   31.5, 40,   50,   63,   80,   100,   125,   160,   200,
                            250,  315,  400,  500,  630,  800,  1000,  1250,  1600,  2000,
                            2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000};
  for (int k = 0; k < 30; k++)
    assert_close(plb_band_mid_hz(3, k - 16), nominal[k], 0.02, "third octave");
  assert_close(plb_band_mid_hz(3, -10), 100, 1e-14, "ten third octaves are a decade");
  assert_close(plb_band_mid_hz(3, 10), 10000, 1e-14, "ten third octaves are a decade");
}

static void test_spectrum__bands_leave_no_gap(void **state) {
  (void)state;
  for (int fraction = 1; fraction <= 4; fraction++)
    for (int k = -20; k < 20; k++) {
      double low, high, next_low, next_high;
      plb_band_edges_hz(fraction, k, &low, &high);
      plb_band_edges_hz(fraction, k + 1, &next_low, &next_high);
      assert_true(high == next_low);
      assert_close(sqrt(low * high), plb_band_mid_hz(fraction, k), 1e-14, "middle");
    }
  double octave_low, octave_high, third_low, third_high, unused;
  plb_band_edges_hz(1, 0, &octave_low, &octave_high);
  plb_band_edges_hz(3, -1, &third_low, &unused);
  plb_band_edges_hz(3, 1, &unused, &third_high);
  assert_close(third_low, octave_low, 1e-14, "three thirds are an octave");
  assert_close(third_high, octave_high, 1e-14, "three thirds are an octave");
}

/* Parseval: the density of white noise is flat at 2 sd^2 / rate and its integral is the variance. n = 200000: 2 % is
 * over 3 standard errors. */
static void test_spectrum__white_noise_has_the_power_of_its_variance(void **state) {
  (void)state;
  enum { N = 200000, SEGMENT = 1000 };
  double *x = must_alloc(N, sizeof *x);
  double density[SEGMENT / 2 + 1];
  fill_normal(x, N, 50, 2, 41);
  assert_int_equal(plb_welch(x, N, 1000, SEGMENT, density, NULL), PLB_OK);
  assert_close(plb_band_power(density, SEGMENT / 2 + 1, 1, 0, 500), 4, 0.02, "all of it");
  assert_close(plb_band_power(density, SEGMENT / 2 + 1, 1, 100, 350), 2, 0.03, "half of it");
  assert_true(density[0] < 0.01); /* the mean of 50 is taken out */
  free(x);
}

/* A sine of amplitude a carries a^2 / 2, wherever it lies between the bins, once the band is wide enough for the
 * window. */
static void test_spectrum__sine_has_half_its_squared_amplitude(void **state) {
  (void)state;
  enum { N = 50000, SEGMENT = 2000 };
  double *x = must_alloc(N, sizeof *x);
  double *density = must_alloc(SEGMENT / 2 + 1, sizeof *density);
  const double hz[] = {1000, 1003.3, 1777.77};
  for (size_t k = 0; k < 3; k++) {
    for (size_t i = 0; i < N; i++)
      x[i] = 3 * sin(2 * acos(-1.0) * hz[k] * (double)i / 10000);
    assert_int_equal(plb_welch(x, N, 10000, SEGMENT, density, NULL), PLB_OK);
    assert_close(plb_band_power(density, SEGMENT / 2 + 1, 5, hz[k] - 50, hz[k] + 50), 4.5, 2e-3, "power");
    assert_true(plb_band_power(density, SEGMENT / 2 + 1, 5, 3000, 5000) < 1e-6);
  }
  free(x);
  free(density);
}

static void test_spectrum__partly_covered_bins_count_by_their_share(void **state) {
  (void)state;
  const double density[4] = {8, 1, 2,
                             4}; /* bins at 0, 10, 20, 30 Hz; the outer ones are half as wide and hold as much */
  assert_near(plb_band_power(density, 4, 10, 0, 30), 150, 1e-12, "all");
  assert_near(plb_band_power(density, 4, 10, 5, 15), 10, 1e-12, "one bin");
  assert_near(plb_band_power(density, 4, 10, 10, 20), 15, 1e-12, "two halves");
  assert_near(plb_band_power(density, 4, 10, 2.5, 5), 40, 1e-12, "half of the first");
  assert_near(plb_band_power(density, 4, 10, 40, 50), 0, 0, "beyond");
  assert_near(plb_band_power(density, 4, 10, 20, 10), 0, 0, "the wrong way round");
}

static void test_spectrum__refuses_segments_that_do_not_fit(void **state) {
  (void)state;
  double x[10] = {0};
  double density[10];
  assert_int_equal(plb_welch(x, 10, 1, 12, density, NULL), PLB_EINVAL);
  assert_int_equal(plb_welch(x, 10, 1, 5, density, NULL), PLB_EINVAL);
  assert_int_equal(plb_welch(x, 10, 1, 0, density, NULL), PLB_EINVAL);
  assert_int_equal(plb_welch(x, 10, 0, 4, density, NULL), PLB_EINVAL);
  assert_int_equal(plb_welch(x, 10, NAN, 4, density, NULL), PLB_EINVAL);
}

static void test_spectrum__unknown_samples_are_not_hidden(void **state) {
  (void)state;
  double x[64], density[17];
  fill_normal(x, 64, 0, 1, 42);
  x[40] = NAN;
  assert_int_equal(plb_welch(x, 64, 1, 32, density, NULL), PLB_OK);
  assert_true(isnan(density[3]));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_spectrum__octave_mid_bands),
      cmocka_unit_test(test_spectrum__band_edges),
      cmocka_unit_test(test_spectrum__nominal_names_of_third_octaves),
      cmocka_unit_test(test_spectrum__bands_leave_no_gap),
      cmocka_unit_test(test_spectrum__white_noise_has_the_power_of_its_variance),
      cmocka_unit_test(test_spectrum__sine_has_half_its_squared_amplitude),
      cmocka_unit_test(test_spectrum__partly_covered_bins_count_by_their_share),
      cmocka_unit_test(test_spectrum__refuses_segments_that_do_not_fit),
      cmocka_unit_test(test_spectrum__unknown_samples_are_not_hidden),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
