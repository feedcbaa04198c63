/* Pulses and periods: of built signals, whose times are known, and of modelled injectors. */
#include "model/model.h"
#include "tests/reading/reading_test.h"

enum { N = 120000 };
static const double rate_hz = 100e3;

/* A modelled injector's switched wire: 14 V, on for on_s from each start, then a flyback that dies away, then the hump. */
static void draw_injector(double *x, size_t n, double period_s, double on_s, double flyback_v) {
  for (size_t i = 0; i < n; i++) {
    const double t = fmod((double)i / rate_hz + 0.9 * period_s, period_s), off = t - on_s;
    x[i] = off < 0 ? 0.3 : 14 + (flyback_v - 14) * exp(-off / 150e-6) + 1.5 * exp(-off / 1e-3);
  }
}

/* The on-time is what was drawn, within one sample, whatever the flyback: a spike is not a state. */
static void test_pulse__injector_on_time_with_and_without_flyback(void **state) {
  (void)state;
  double *x = room_for(N);
  static const double on_s[] = {1.20137e-3, 2.5e-3, 3.33333e-3, 11.0071e-3}, flyback_v[] = {14, 60, 90};
  for (size_t k = 0; k < 4; k++)
    for (size_t f = 0; f < 3; f++) {
      draw_injector(x, N, 0.1412345, on_s[k], flyback_v[f]);
      plb_readings *r = must_measure(capture_of(x, N, rate_hz, "V"), NULL);
      const plb_reading *on = row_of(r, "a", "pulse-low", PLB_SCOPE_CYCLE);
      assert_non_null(on);
      assert_near(on->value, on_s[k], 1 / rate_hz, "on-time");
      assert_near(on->lowest, on_s[k], 1 / rate_hz, "shortest");
      assert_near(on->highest, on_s[k], 1 / rate_hz, "longest");
      assert_near(value_of(r, "high-level"), 14, 0.1, "the supply is the high state");
      assert_near(value_of(r, "low-level"), 0.3, 0.1, "the driver is the low state");
      assert_near(value_of(r, "pulse-count"), 9, 0, "pulses");
      assert_near(value_of(r, "period"), 0.1412345, 1 / rate_hz, "period");
      plb_readings_free(r);
    }
  free(x);
}

/* The family of the model library (MODELLED): the same on-times with the flyback cut off at 16 V as with it. */
static void test_pulse__modelled_injector_family(void **state) {
  (void)state;
  for (uint64_t seed = 1; seed <= 8; seed++) {
    plb_model_request request = PLB_MODEL_REQUEST_INIT;
    request.seed = seed;
    plb_capture *capture = NULL;
    plb_error err = PLB_ERROR_INIT;
    if (plb_model_draw(&capture, plb_model_find("injector-voltage"), &request, NULL, &err) != PLB_OK)
      fail_msg("%s", err.message);
    const size_t n = plb_capture_samples(capture);
    const double rate = plb_capture_rate_hz(capture);
    double *x = plb_capture_copy_values(capture, 0);
    assert_non_null(x);
    plb_capture_free(capture);
    plb_readings *with = must_measure(capture_of(x, n, rate, "V"), NULL);
    for (size_t i = 0; i < n; i++)
      x[i] = fmin(x[i], 16);
    plb_readings *without = must_measure(capture_of(x, n, rate, "V"), NULL);
    const plb_reading *a = row_of(with, "a", "pulse-low", PLB_SCOPE_CYCLE),
                      *b = row_of(without, "a", "pulse-low", PLB_SCOPE_CYCLE);
    assert_non_null(a);
    assert_non_null(b);
    assert_true(value_of(with, "highest") > 45); /* there is a flyback */
    assert_near(a->value, b->value, 1 / rate, "on-time");
    assert_int_equal(a->count, b->count);
    assert_true(a->lowest > 2.2e-3 && a->highest < 3.4e-3); /* the model draws 2.4 to 3.2 ms, with scatter */
    plb_readings_free(with);
    plb_readings_free(without);
    free(x);
  }
}

static void test_pulse__jitter_is_the_spread_of_the_period(void **state) {
  (void)state;
  double *x = room_for(N);
  size_t at = 500;
  for (size_t k = 0; at < N; k++) { /* periods of 990 and 1010 samples in turn: standard deviation 10 of 1000 */
    for (size_t i = at; i < at + 300 && i < N; i++)
      x[i] = 5;
    at += k % 2 ? 990 : 1010;
  }
  plb_readings *r = must_measure(capture_of(x, N, rate_hz, "V"), NULL);
  assert_near(value_of(r, "jitter"), 10 / rate_hz, 0.1 / rate_hz, "jitter");
  const plb_reading *period = row_of(r, "a", "period", PLB_SCOPE_CYCLE);
  assert_near(period->lowest, 990 / rate_hz, 1e-12, "shortest");
  assert_near(period->highest, 1010 / rate_hz, 1e-12, "longest");
  assert_near(value_of(r, "frequency"), 1 / value_of(r, "period"), 1e-9, "frequency of the mean period");
  plb_readings_free(r);
  free(x);
}

static void test_pulse__noise_has_no_period(void **state) {
  (void)state;
  double *x = room_for(N);
  plb_random random;
  for (uint64_t seed = 1; seed <= 5; seed++) {
    plb_random_seed(&random, seed);
    for (size_t i = 0; i < N; i++)
      x[i] = 2.5 + 0.01 * plb_random_normal(&random);
    plb_readings *r = must_measure(capture_of(x, N, rate_hz, "V"), NULL);
    assert_null(row_of(r, "a", "period", PLB_SCOPE_CAPTURE));
    assert_null(row_of(r, "a", "rise-time", PLB_SCOPE_CAPTURE));
    assert_int_equal(r->notes, 1);
    plb_readings_free(r);
  }
  free(x);
}

static void test_pulse__one_code_back_and_forth_is_no_state(void **state) {
  (void)state;
  double *x = room_for(N);
  plb_random random;
  plb_random_seed(&random, 7);
  for (size_t i = 0; i < N; i++)
    x[i] = plb_random_normal(&random) > 0.3 ? 5.04 : 5.0;
  plb_readings *r = must_measure(capture_of(x, N, rate_hz, "V"), NULL);
  assert_null(row_of(r, "a", "period", PLB_SCOPE_CAPTURE));
  assert_null(row_of(r, "a", "low-level", PLB_SCOPE_CAPTURE));
  plb_readings_free(r);
  free(x);
}

/* Spikes a hundred times as high as the swing would put both states into one bin of the histogram. */
static void test_pulse__far_spikes_hide_no_state(void **state) {
  (void)state;
  double *x = room_for(N);
  plb_random random;
  plb_random_seed(&random, 3);
  for (size_t i = 0; i < N; i++)
    x[i] = (i % 1000 < 300 ? 5 : 0) + 0.02 * plb_random_normal(&random) + (i % 1000 == 300 ? 500 : 0);
  plb_readings *r = must_measure(capture_of(x, N, rate_hz, "V"), NULL);
  assert_near(value_of(r, "low-level"), 0, 0.05, "low level");
  assert_near(value_of(r, "high-level"), 5, 0.05, "high level");
  assert_near(value_of(r, "pulse-high"), 301 / rate_hz, 1 / rate_hz, "pulse with its spike");
  assert_near(value_of(r, "period"), 1000 / rate_hz, 1e-7, "period");
  plb_readings_free(r);
  free(x);
}

/* Short pulses that rest at no height have no high state, but a period and a width. */
static void test_pulse__short_pulses_without_a_state(void **state) {
  (void)state;
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++) /* a ramp of 200 samples up to 1 A in every 10,000, as of an injector's current */
    x[i] = i % 10000 < 200 ? (double)(i % 10000) / 200 : 0;
  plb_readings *r = must_measure(capture_of(x, N, rate_hz, "A"), NULL);
  assert_near(value_of(r, "period"), 0.1, 1e-9, "period");
  assert_near(value_of(r, "pulse-high"), 100 / rate_hz, 12 / rate_hz, "width at half of the height");
  assert_null(row_of(r, "a", "high-level", PLB_SCOPE_CAPTURE));
  assert_int_equal(r->notes, 1);
  plb_readings_free(r);
  free(x);
}

/* An edge list or logic input: two values, and nothing says how fine the recorder is. */
static void test_pulse__logic_channel(void **state) {
  (void)state;
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++)
    x[i] = i / 50 % 2 ? 1 : 0;
  plb_readings *r = must_measure(capture_of(x, N, rate_hz, "1"), NULL);
  assert_near(value_of(r, "frequency"), 1000, 1e-6, "frequency");
  assert_true(isnan(row_of(r, "a", "mean", PLB_SCOPE_CAPTURE)->uncertainty));
  plb_readings_free(r);
  free(x);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_pulse__injector_on_time_with_and_without_flyback),
      cmocka_unit_test(test_pulse__modelled_injector_family),
      cmocka_unit_test(test_pulse__jitter_is_the_spread_of_the_period),
      cmocka_unit_test(test_pulse__noise_has_no_period),
      cmocka_unit_test(test_pulse__one_code_back_and_forth_is_no_state),
      cmocka_unit_test(test_pulse__far_spikes_hide_no_state),
      cmocka_unit_test(test_pulse__short_pulses_without_a_state),
      cmocka_unit_test(test_pulse__logic_channel),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
