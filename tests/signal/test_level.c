#include "signal_test.h"

#include "signal/level.h"

/* A two-level signal: `high` for the share `duty` of each period, an overshoot that rings off after each rise. */
static void pulses(double *x, size_t n, size_t period, double duty, double low, double high, double overshoot) {
  for (size_t i = 0; i < n; i++) {
    const double since = (double)(i % period);
    const bool is_high = since < duty * (double)period;
    x[i] = is_high ? high + overshoot * exp(-since / 4) * cos(since) : low;
  }
}

static plb_states levels(const double *x, size_t n) {
  plb_states s;
  assert_int_equal(plb_state_levels(x, n, 0, &s, NULL), PLB_OK);
  return s;
}

/*
 * IEEE Std 181-2011, state levels by histogram mode; steps VERIFIED (2nd-hand): 100 bins between the extremes, two
 * equal halves, the mode of each. The levels must equal the flat tops within half a bin, not the peaks.
 */
static void test_level__overshoot_is_outside_the_states(void **state) {
  (void)state;
  enum { N = 4000 };
  double x[N];
  pulses(x, N, 200, 0.4, 0.5, 4.5, 1.2);
  const plb_states s = levels(x, N);
  const double half_bin = (5.7 - 0.5) / 100 / 2;
  assert_near(s.low, 0.5, half_bin, "low");
  assert_near(s.high, 4.5, half_bin, "high");
  assert_true(s.two);
  assert_near(s.low_share, 0.6, 0.01, "low share");
  assert_near(s.high_share, 0.4, 0.02, "high share");
}

/* Reference levels of a published worked example, low 0.0138 V, high 5.1848 V: 10 % 0.5309 V, 90 % 4.6677 V VERIFIED;
 * 50 % 2.5993 V COMPUTED. */
static void test_level__reference_levels_of_the_worked_example(void **state) {
  (void)state;
  assert_near(plb_reference_level(0.0138, 5.1848, 10), 0.5309, 5e-5, "10 %");
  assert_near(plb_reference_level(0.0138, 5.1848, 90), 4.6677, 5e-5, "90 %");
  assert_near(plb_reference_level(0.0138, 5.1848, 50), 2.5993, 5e-5, "50 %");
  assert_true(plb_reference_level(1, 3, 0) == 1 && plb_reference_level(1, 3, 100) == 3);
}

/*
 * Injector, switched to ground: 14 V, 0.2 V for 3 ms of 60 ms, then a flyback clamped at 60 V for 0.4 ms that falls
 * off. The flyback is neither state, though it more than quadruples the range. Figures are common practice.
 */
static void test_level__flyback_is_no_state(void **state) {
  (void)state;
  enum { N = 60000 }; /* 100 kS/s */
  double *x = must_alloc(N, sizeof *x);
  fill_normal(x, N, 0, 0.05, 21);
  for (size_t i = 0; i < N; i++) {
    const double ms = (double)(i % 6000) / 100;
    if (ms < 3)
      x[i] += 0.2;
    else if (ms < 3.4)
      x[i] += 60;
    else
      x[i] += 14 + 46 * exp(-(ms - 3.4) / 0.1);
  }
  const plb_states s = levels(x, N);
  assert_near(s.low, 0.2, 0.05, "low");
  assert_near(s.high, 14, 0.05, "high");
  assert_true(s.two);
  free(x);
}

/* Ignition coil primary: 14 V, dwell at 1 V, a spike of 380 V, burn line of 35 V for 1.5 ms of 40 ms that rings off.
 * Common practice. */
static void test_level__firing_spike_and_burn_line_are_no_states(void **state) {
  (void)state;
  enum { N = 80000 }; /* 200 kS/s */
  double *x = must_alloc(N, sizeof *x);
  fill_normal(x, N, 0, 0.1, 22);
  for (size_t i = 0; i < N; i++) {
    const double ms = (double)(i % 8000) / 200;
    if (ms < 4)
      x[i] += 1;
    else if (ms < 4.03)
      x[i] += 380;
    else if (ms < 5.5)
      x[i] += 35;
    else
      x[i] += 14 + 10 * exp(-(ms - 5.5) / 0.3) * cos(20 * (ms - 5.5));
  }
  const plb_states s = levels(x, N);
  assert_near(s.low, 1, 0.1, "low");
  assert_near(s.high, 14, 0.1, "high");
  assert_true(s.two);
  free(x);
}

static void test_level__narrow_pulses_are_a_state(void **state) {
  (void)state;
  enum { N = 20000 };
  double *x = must_alloc(N, sizeof *x);
  pulses(x, N, 2000, 0.004, 0, 12, 0); /* 0.4 % high, ten times */
  const plb_states s = levels(x, N);
  assert_near(s.low, 0, 0.06, "low");
  assert_near(s.high, 12, 0.06, "high");
  assert_near(s.high_share, 0.004, 1e-9, "high share");
  assert_true(s.two);
  free(x);
}

/* Twenty samples are too few for humps in a histogram; the levels are there all the same. */
static void test_level__few_samples_show_their_states(void **state) {
  (void)state;
  const double x[20] = {0, 0.1, 0, 5, 5.1, 5, 5, 0, 0, 0.1, 0, 0, 5.1, 5, 5, 2.5, 0, 0, 0, 5};
  const plb_states s = levels(x, 20);
  assert_true(s.two);
  assert_near(s.low, 0.02, 0.06, "low");
  assert_near(s.high, 5.02, 0.06, "high");
}

/* The supply steps between 13.8 V and 14.2 V as the fan runs; the pulse to ground is 3 % of the time. Near modes are
 * one state. */
static void test_level__ripple_on_a_level_does_not_split_it(void **state) {
  (void)state;
  enum { N = 20000 };
  double *x = must_alloc(N, sizeof *x);
  fill_normal(x, N, 0, 0.03, 23);
  for (size_t i = 0; i < N; i++)
    x[i] += i % 1000 < 30 ? 0 : i % 4000 < 1600 ? 13.8 : 14.2;
  const plb_states s = levels(x, N);
  assert_near(s.low, 0, 0.1, "low");
  assert_true(s.high > 13.7 && s.high < 14.3);
  assert_true(s.two);
  free(x);
}

static void test_level__noise_has_no_two_states(void **state) {
  (void)state;
  enum { N = 20000 };
  double *x = must_alloc(N, sizeof *x);
  for (uint64_t seed = 0; seed < 40; seed++) {
    const size_t n = seed % 2 ? N : 500; /* few samples make ragged histograms */
    fill_normal(x, n, 2.5, 0.1, 240 + seed);
    assert_false(levels(x, n).two);
  }
  for (size_t i = 0; i < N; i++)
    x[i] = (double)i / N; /* a ramp has no levels at all */
  assert_false(levels(x, N).two);
  free(x);
}

/* Three levels, the middle one below the half of the range: the standard's two halves, 0 and 10 V, not the fullest. */
static void test_level__the_halves_are_split_in_the_middle(void **state) {
  (void)state;
  enum { N = 1000 };
  double x[N];
  for (size_t i = 0; i < N; i++)
    x[i] = i % 100 < 50 ? 0 : i % 100 < 80 ? 3.5 : 10;
  const plb_states s = levels(x, N);
  assert_near(s.low, 0, 1e-9, "low");
  assert_near(s.high, 10, 1e-9, "high");
}

static void test_level__whole_codes_are_met_exactly(void **state) {
  (void)state;
  enum { N = 5000 };
  double x[N];
  for (size_t i = 0; i < N; i++)
    x[i] = i % 100 < 50 ? 40 + (double)(i % 3 == 0) : 220;
  const plb_states s = levels(x, N);
  assert_near(s.low, 40.33, 0.5, "low code");
  assert_near(s.high, 220, 1e-9, "high code");
}

static void test_level__scales_and_shifts_with_the_signal(void **state) {
  (void)state;
  enum { N = 4000 };
  double x[N], y[N];
  pulses(x, N, 130, 0.3, 0, 5, 1);
  for (size_t i = 0; i < N; i++)
    y[i] = 1e-3 * x[i] - 7;
  const plb_states a = levels(x, N);
  const plb_states b = levels(y, N);
  assert_near(b.low, 1e-3 * a.low - 7, 1e-9, "low");
  assert_near(b.high, 1e-3 * a.high - 7, 1e-9, "high");
}

static void test_level__flat_unknown_and_empty(void **state) {
  (void)state;
  const double flat[4] = {3, 3, NAN, 3};
  const plb_states s = levels(flat, 4);
  assert_true(s.low == 3 && s.high == 3 && !s.two);
  const double tiny[3] = {0, 5e-324, 0}; /* no bin is this narrow */
  assert_false(levels(tiny, 3).two);
  const double huge[3] = {-1.7e308, 1.7e308, 0}; /* no double is this wide */
  assert_false(levels(huge, 3).two);
  const double unknown[2] = {NAN, INFINITY};
  plb_states out;
  assert_int_equal(plb_state_levels(unknown, 2, 0, &out, NULL), PLB_EDATA);
  assert_int_equal(plb_state_levels(NULL, 0, 0, &out, NULL), PLB_EDATA);
  assert_int_equal(plb_state_levels(flat, 4, 1u << 20, &out, NULL), PLB_EINVAL);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_level__overshoot_is_outside_the_states),
      cmocka_unit_test(test_level__reference_levels_of_the_worked_example),
      cmocka_unit_test(test_level__flyback_is_no_state),
      cmocka_unit_test(test_level__firing_spike_and_burn_line_are_no_states),
      cmocka_unit_test(test_level__narrow_pulses_are_a_state),
      cmocka_unit_test(test_level__few_samples_show_their_states),
      cmocka_unit_test(test_level__ripple_on_a_level_does_not_split_it),
      cmocka_unit_test(test_level__noise_has_no_two_states),
      cmocka_unit_test(test_level__the_halves_are_split_in_the_middle),
      cmocka_unit_test(test_level__whole_codes_are_met_exactly),
      cmocka_unit_test(test_level__scales_and_shifts_with_the_signal),
      cmocka_unit_test(test_level__flat_unknown_and_empty),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
