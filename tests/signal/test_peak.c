#include "signal_test.h"

#include "signal/correlate.h"
#include "signal/fft.h"
#include "signal/statistic.h"

static double sinc(double x) { return x == 0 ? 1 : sin(acos(-1.0) * x) / (acos(-1.0) * x); }

/* p = 1/2 (a - c) / (a - 2b + c), height b - (a - c) p / 4: VERIFIED (Smith, Spectral Audio Signal Processing). */
static void test_peak__parabola_is_met_exactly(void **state) {
  (void)state;
  for (double d = -0.5; d <= 0.5; d += 0.05) {
    double height = 0;
    const double p = plb_parabola_peak(7 - 3 * (1 + d) * (1 + d), 7 - 3 * d * d, 7 - 3 * (1 - d) * (1 - d), &height);
    assert_near(p, d, 1e-14, "vertex");
    assert_near(height, 7, 1e-14, "height");
  }
}

/*
 * Its known bias on a critically sampled sinc: p = d / (2 - 4 d^2) (COMPUTED), undone by d = (sqrt(32 p^2 + 1) - 1) /
 * (8 p) (VERIFIED). Zero at d = 0 and at +-1/2, at most 0.119 near d = 0.33.
 */
static void test_peak__parabola_has_the_known_bias_on_a_sinc(void **state) {
  (void)state;
  double worst = 0;
  for (double d = -0.5; d <= 0.5; d += 0.01) {
    const double p = plb_parabola_peak(sinc(-1 - d), sinc(-d), sinc(1 - d), NULL);
    assert_near(p, fmax(-0.5, fmin(0.5, d / (2 - 4 * d * d))), 1e-12, "bias");
    if (fabs(p) > 1e-9)
      assert_near((sqrt(32 * p * p + 1) - 1) / (8 * p), d, 1e-9, "undone");
    worst = fmax(worst, fabs(p - d));
  }
  assert_near(worst, 0.119, 0.001, "largest bias");
}

/* On a cosine of w rad/sample the parabola gives tan(w d) / (2 tan(w / 2)); largest bias 0.0453 (4 samples a cycle),
 * 0.0275 (5), 0.0065 (10), 0.0016 (20): COMPUTED. plb_peak_offset() has none. */
static void test_peak__bias_on_a_cosine_is_known_and_undone(void **state) {
  (void)state;
  static const struct { double cycle, bias; } rows[] = {{4, 0.0453}, {5, 0.0275}, {10, 0.0065}, {20, 0.0016}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    const double w = 2 * acos(-1.0) / rows[i].cycle;
    double worst = 0;
    for (double d = -0.5; d <= 0.5; d += 0.01) {
      const double a = cos(w * (1 + d)), b = cos(w * d), c = cos(w * (1 - d));
      const double p = plb_parabola_peak(a, b, c, NULL);
      assert_near(p, fmax(-0.5, fmin(0.5, tan(w * d) / (2 * tan(w / 2)))), 1e-12, "bias");
      worst = fmax(worst, fabs(p - d));
      assert_near(plb_peak_offset(a, b, c), d, 1e-12, "undone");
    }
    assert_near(worst, rows[i].bias, 1e-4, "largest bias");
  }
}

static void test_peak__offset_of_a_slow_peak_is_the_parabola(void **state) {
  (void)state;
  for (double d = -0.45; d <= 0.5; d += 0.1) {
    const double a = 1 - 1e-6 * (1 + d) * (1 + d), b = 1 - 1e-6 * d * d, c = 1 - 1e-6 * (1 - d) * (1 - d);
    assert_near(plb_peak_offset(a, b, c), d, 1e-6, "slow");
  }
}

static void test_peak__no_peak_gives_no_offset(void **state) {
  (void)state;
  double height = 0;
  assert_true(plb_parabola_peak(1, 1, 1, &height) == 0 && height == 1);
  assert_true(plb_parabola_peak(3, 1, 3, &height) == 0);
  assert_true(plb_parabola_peak(NAN, 1, 0, &height) == 0);
  assert_true(plb_parabola_peak(0, 1, 1.9, &height) == 0.5);
  assert_true(plb_peak_offset(-1, -0.5, -1) == 0);
  assert_true(fabs(plb_peak_offset(0, 1, 5)) <= 0.5);
}

enum { N = 512 };

/* A circle of N samples with all frequencies up to Nyquist (that one left out: it has no phase), read `delay` samples
 * later. Power 1. */
static void delay_circle(const plb_fft *f, const float *x, double delay, float *out) {
  float *time = plb_fft_alloc_real(N);
  float complex *freq = plb_fft_alloc_complex(N / 2 + 1);
  memcpy(time, x, N * sizeof *time);
  plb_fft_forward(f, time, freq);
  float *pair = (float *)freq;
  for (size_t k = 0; k <= N / 2; k++) {
    const double angle = -2 * acos(-1.0) * (double)k * delay / N;
    const double re = (double)pair[2 * k], im = (double)pair[2 * k + 1];
    const double keep = k < N / 2 ? 1 : 0;
    pair[2 * k] = (float)(keep * (re * cos(angle) - im * sin(angle)));
    pair[2 * k + 1] = (float)(keep * (re * sin(angle) + im * cos(angle)));
  }
  plb_fft_inverse(f, freq, out);
  plb_fft_free(time);
  plb_fft_free(freq);
}

typedef struct spread {
  double sd, mean; /* of the error of the lag [samples] */
} spread;

/* White Gaussian signals at random delays, white noise of power 1/snr in the trace and, if `both`, in the reference as
 * well. */
static spread lag_error(double snr, bool both, size_t trials, uint64_t seed) {
  const plb_fft *f = NULL;
  assert_int_equal(plb_fft_get(&f, N, NULL), PLB_OK);
  plb_random r;
  plb_random_seed(&r, seed);
  float *s = plb_fft_alloc_real(N), *x = plb_fft_alloc_real(N), *y = plb_fft_alloc_real(N);
  float out[N];
  double *error = must_alloc(trials, sizeof *error);
  for (size_t t = 0; t < trials; t++) {
    const double delay = 37 + plb_random_uniform(&r) - 0.5;
    for (size_t i = 0; i < N; i++)
      s[i] = (float)plb_random_normal(&r);
    delay_circle(f, s, 0, x);
    delay_circle(f, s, delay, y);
    for (size_t i = 0; i < N; i++) {
      y[i] += (float)(plb_random_normal(&r) / sqrt(snr));
      if (both)
        x[i] += (float)(plb_random_normal(&r) / sqrt(snr));
    }
    assert_int_equal(plb_ncc_circular(y, x, N, out, NULL), PLB_OK);
    size_t peak = 0;
    for (size_t k = 1; k < N; k++)
      peak = out[k] > out[peak] ? k : peak;
    error[t] = plb_peak_place_circular(out, N, peak, NULL) - delay;
  }
  const spread e = {.sd = plb_sd(error, trials), .mean = plb_mean(error, trials)};
  plb_fft_free(s);
  plb_fft_free(x);
  plb_fft_free(y);
  free(error);
  return e;
}

/*
 * Cramer-Rao bound of the delay of a white, critically sampled Gaussian signal of N samples, noise in both channels:
 * var = 3 / (N pi^2) (1 + 2 SNR) / SNR^2 samples^2 VERIFIED; N = 512: std 0.007801 at SNR 20, 0.003454 at SNR 100
 * COMPUTED. A clean reference takes away one of the two noises: var = 3 / (N pi^2) / SNR, since 2 SNR comes from the
 * noises of the two channels. An estimator below the bound is biased; the slack of 5 % is three standard errors of a
 * standard deviation from 2000 trials.
 */
static void check_bound(double snr, bool both, double bound, double within, uint64_t seed) {
  const spread e = lag_error(snr, both, 2000, seed);
  const char *kind = both ? "noisy reference" : "clean reference";
  if (!(e.sd > 0.95 * bound && e.sd < within * bound && fabs(e.mean) < 4 * bound / sqrt(2000)))
    fail_msg("SNR %g, %s: std %.6f, mean %.6f, bound %.6f", snr, kind, e.sd, e.mean, bound);
  print_message("SNR %g, %s: std is %.3f times the bound of %.6f samples\n", snr, kind, e.sd / bound, bound);
}

static void test_peak__lag_reaches_the_cramer_rao_bound_noisy_reference(void **state) {
  (void)state;
  check_bound(100, true, 0.003454, 1.5, 1);
  check_bound(20, true, 0.007801, 2, 2);
}

static void test_peak__lag_reaches_the_cramer_rao_bound_clean_reference(void **state) {
  (void)state;
  const double pi = acos(-1.0);
  check_bound(100, false, sqrt(3 / (N * pi * pi) / 100), 1.5, 3);
  check_bound(20, false, sqrt(3 / (N * pi * pi) / 20), 2, 4);
}

/* Without noise only the interpolation is left: below a ten-thousandth of a sample, for even and odd circles. */
static void test_peak__circular_place_is_exact_without_noise(void **state) {
  (void)state;
  assert_true(lag_error(1e12, false, 50, 5).sd < 1e-4);
  const size_t sizes[] = {101, 360, 1024};
  for (size_t s = 0; s < 3; s++) {
    const size_t n = sizes[s];
    float *r = must_alloc(n, sizeof *r);
    for (double d = -0.45; d < 0.5; d += 0.15) {
      const double at = 0.3 * (double)n + d; /* sum of harmonics 1, 7 and 25 with one common peak */
      for (size_t i = 0; i < n; i++) {
        const double angle = 2 * acos(-1.0) * ((double)i - at) / (double)n;
        r[i] = (float)((cos(angle) + cos(7 * angle) + cos(25 * angle)) / 3);
      }
      double height = 0;
      const size_t near_peak = (size_t)(at + 0.5);
      assert_near(plb_peak_place_circular(r, n, near_peak, &height), at, 1e-4, "place");
      assert_near(height, 1, 1e-6, "height");
    }
    free(r);
  }
}

/* A peak in a long correlation, content up to 0.8 of Nyquist; near the ends with what neighbours there are. */
static void test_peak__place_in_a_long_correlation(void **state) {
  (void)state;
  float r[300];
  for (double at = 60; at < 61; at += 0.17) {
    for (size_t i = 0; i < 300; i++) {
      const double t = (double)i - at;
      r[i] = (float)(sinc(0.8 * t) * exp(-t * t / 5000));
    }
    double height = 0;
    assert_near(plb_peak_place(r, 300, (size_t)(at + 0.5), &height), at, 3e-5, "place");
    assert_near(height, 1, 1e-3, "height");
  }
  for (size_t i = 0; i < 300; i++)
    r[i] = (float)cos(0.5 * ((double)i - 5.3));
  assert_near(plb_peak_place(r, 300, 5, NULL), 5.3, 0.02, "near the start");
  assert_near(plb_peak_place(r, 8, 5, NULL), 5.3, 1e-4, "three samples");
  double height = 0;
  assert_true(plb_peak_place(r, 300, 0, &height) == 0 && height == (double)r[0]);
  assert_true(plb_peak_place(r, 300, 299, NULL) == 299);
  assert_true(isnan(plb_peak_place(r, 300, 300, NULL)) && isnan(plb_peak_place_circular(r, 3, 3, NULL)));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_peak__parabola_is_met_exactly),
      cmocka_unit_test(test_peak__parabola_has_the_known_bias_on_a_sinc),
      cmocka_unit_test(test_peak__bias_on_a_cosine_is_known_and_undone),
      cmocka_unit_test(test_peak__offset_of_a_slow_peak_is_the_parabola),
      cmocka_unit_test(test_peak__no_peak_gives_no_offset),
      cmocka_unit_test(test_peak__lag_reaches_the_cramer_rao_bound_noisy_reference),
      cmocka_unit_test(test_peak__lag_reaches_the_cramer_rao_bound_clean_reference),
      cmocka_unit_test(test_peak__circular_place_is_exact_without_noise),
      cmocka_unit_test(test_peak__place_in_a_long_correlation),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
