/* Dwell, delay and phase, the part that is looked at, and what is refused. */
#include "model/model.h"
#include "tests/reading/reading_test.h"

enum { N = 20000, PERIOD = 1000 };
static const double rate_hz = 1e5;

static void draw_square(double *x, size_t n, double shift, double share) {
  for (size_t i = 0; i < n; i++)
    x[i] = fmod((double)i + 100000 - 300.5 - shift, PERIOD) < share * PERIOD ? 5 : 0;
}

/* A distributor of N cylinders gives 360/N degrees to each (common practice): 40 % of that in 4 cylinders are 36 degrees. */
static void test_relation__dwell(void **state) {
  (void)state;
  double *x = room_for(N);
  draw_square(x, N, 0, 0.4);
  static const int cylinders[] = {4, 6, 8};
  for (size_t k = 0; k < 3; k++) {
    plb_measure_options o = PLB_MEASURE_OPTIONS_INIT;
    o.cylinders = cylinders[k];
    plb_readings *r = must_measure(capture_of(x, N, rate_hz, "V"), &o);
    assert_near(value_of(r, "dwell-high"), 0.4 * 360 / cylinders[k], 1e-9, "dwell high");
    assert_near(value_of(r, "dwell-low"), 0.6 * 360 / cylinders[k], 1e-9, "dwell low");
    plb_readings_free(r);
  }
  plb_readings *r = must_measure(capture_of(x, N, rate_hz, "V"), NULL);
  assert_null(row_of(r, "a", "dwell-high", PLB_SCOPE_CAPTURE));
  plb_readings_free(r);
  free(x);
}

/* A primary voltage: 14 V, low for dwell_s (the last quarter of it half way up, where the driver limits the current), flyback of 300 V, burn line of 35 V, oscillation of 40 kHz that dies away. */
static double primary(double t_s, double dwell_s) {
  if (t_s < dwell_s)
    return t_s < 0.75 * dwell_s ? 0.8 : 9.5;
  const double off_s = t_s - dwell_s, after_s = off_s - 1.5e-3;
  if (after_s > 0)
    return 14 + 25 * cos(2 * pi * 40e3 * after_s) * exp(-after_s / 0.3e-3);
  return 35 + 265 * cos(2 * pi * 60e3 * off_s) * exp(-off_s / 20e-6);
}

/* The oscillation after a spark must not be counted as sparks. */
static void test_relation__dwell_of_a_coil_with_its_oscillation(void **state) {
  (void)state;
  enum { M = 120000 };
  static const double rate = 400e3, period_s = 33.3e-3;
  double *x = room_for(M);
  static const double dwell_s[] = {2e-3, 6e-3, 20e-3};
  for (size_t k = 0; k < 3; k++) {
    for (size_t i = 0; i < M; i++)
      x[i] = primary(fmod((double)i / rate + 0.5 * period_s, period_s), dwell_s[k]);
    plb_measure_options o = PLB_MEASURE_OPTIONS_INIT;
    o.cylinders = 4;
    plb_readings *r = must_measure(capture_of(x, M, rate, "V"), &o);
    const double one_sample_deg = 90 / (rate * period_s);
    const plb_reading *dwell = row_of(r, "a", "dwell-low", PLB_SCOPE_CYCLE);
    assert_non_null(dwell);
    assert_near(dwell->value, 90 * dwell_s[k] / period_s, one_sample_deg, "dwell");
    assert_near(dwell->highest - dwell->lowest, 0, 2 * one_sample_deg, "every cycle alike");
    assert_near(value_of(r, "period"), period_s, 1 / rate, "period");
    assert_int_equal(r->notes, 1);
    plb_readings_free(r);
  }
  free(x);
}

/* The family of the model library (MODELLED) charges for 2.9 ms, 2 % from vehicle to vehicle, whatever the ring. */
static void test_relation__dwell_of_modelled_coils(void **state) {
  (void)state;
  for (uint64_t seed = 1; seed <= 8; seed++) {
    plb_model_request request = PLB_MODEL_REQUEST_INIT;
    request.seed = seed;
    plb_capture *capture = NULL;
    plb_error err = PLB_ERROR_INIT;
    if (plb_model_draw(&capture, plb_model_find("coil-primary-voltage"), &request, NULL, &err) != PLB_OK)
      fail_msg("%s", err.message);
    const double rate = plb_capture_rate_hz(capture);
    plb_measure_options o = PLB_MEASURE_OPTIONS_INIT;
    o.cylinders = 4;
    plb_readings *r = must_measure(capture, &o);
    const plb_reading *on = row_of(r, "primary", "pulse-low", PLB_SCOPE_CYCLE);
    const plb_reading *period = row_of(r, "primary", "period", PLB_SCOPE_CYCLE);
    const plb_reading *dwell = row_of(r, "primary", "dwell-low", PLB_SCOPE_CYCLE);
    assert_non_null(on);
    assert_non_null(period);
    assert_non_null(dwell);
    assert_near(on->value, 2.9e-3, 0.08 * 2.9e-3, "charging time");
    assert_near(on->highest - on->lowest, 0, 3 / rate, "alike in every cycle");
    assert_near(dwell->value, 90 * on->value / period->value, 0.05, "dwell");
    plb_readings_free(r);
  }
}

/* A current with an oscillation is not taken apart: no dwell rather than a wrong one. */
static void test_relation__no_dwell_from_bursts(void **state) {
  (void)state;
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++)
    x[i] = i % 4000 < 600 ? i / 10 % 2 ? 12 : 0 : i % 4000 < 2000 ? 12 : 0;
  plb_measure_options o = PLB_MEASURE_OPTIONS_INIT;
  o.cylinders = 4;
  plb_readings *r = must_measure(capture_of(x, N, rate_hz, "A"), &o);
  assert_null(row_of(r, "a", "dwell-low", PLB_SCOPE_CAPTURE));
  assert_int_equal(r->notes, 1);
  plb_readings_free(r);
  free(x);
}

static void assert_refused(const plb_measure_options *o, plb_status expected, const char *word) {
  static double x[1000];
  for (size_t i = 0; i < 1000; i++)
    x[i] = i / 50 % 2 ? 5 : 0;
  plb_capture *capture = capture_of(x, 1000, 1e3, "V");
  plb_error err = PLB_ERROR_INIT;
  plb_readings *r = NULL;
  assert_int_equal(plb_measure(&r, capture, o, &err), expected);
  assert_null(r);
  if (!strstr(err.message, word))
    fail_msg("\"%s\" does not say \"%s\"", err.message, word);
  plb_capture_free(capture);
}

static void test_relation__what_makes_no_sense_is_refused(void **state) {
  (void)state;
  plb_measure_options o = PLB_MEASURE_OPTIONS_INIT;
  o.cylinders = 4;
  o.coil_per_plug = true;
  assert_refused(&o, PLB_EUSAGE, "one coil per plug");
  o = (plb_measure_options)PLB_MEASURE_OPTIONS_INIT;
  o.cylinders = 1;
  assert_refused(&o, PLB_EUSAGE, "cylinders");
  o = (plb_measure_options)PLB_MEASURE_OPTIONS_INIT;
  o.from_given = o.to_given = true;
  o.from_s = 0.5;
  o.to_s = 0.5;
  assert_refused(&o, PLB_EUSAGE, "--from");
  o.from_s = 2;
  o.to_s = 3;
  assert_refused(&o, PLB_EDATA, "fewer than two samples");
}

static void test_relation__delay_and_phase(void **state) {
  (void)state;
  double *a = room_for(N), *b = room_for(N);
  draw_square(a, N, 0, 0.5);
  static const double shifts[] = {0, 1, 125, -125, 400, -250};
  for (size_t k = 0; k < 6; k++) {
    draw_square(b, N, shifts[k], 0.3);
    plb_capture *capture = capture_of(a, N, rate_hz, "V");
    add_channel(capture, "b", "V", b);
    plb_readings *r = must_measure(capture, NULL);
    const plb_reading *delay = row_of(r, "b", "delay", PLB_SCOPE_CAPTURE),
                      *phase = row_of(r, "b", "phase", PLB_SCOPE_CYCLE);
    assert_non_null(delay);
    assert_non_null(phase);
    assert_string_equal(delay->against, "a");
    assert_near(delay->value, shifts[k] / rate_hz, 1e-12, "delay");
    assert_near(delay->uncertainty, 1 / rate_hz, 1e-15, "one sample");
    assert_near(phase->value, shifts[k] * 0.36, 1e-9, "phase");
    plb_readings_free(r);
  }
  free(a);
  free(b);
}

static void test_relation__delay_of_a_single_event(void **state) {
  (void)state;
  double *a = room_for(N), *b = room_for(N);
  for (size_t i = 0; i < N; i++) {
    a[i] = i < 5000 ? 0 : 5;
    b[i] = i < 5070 ? 0 : 12;
  }
  plb_capture *capture = capture_of(a, N, rate_hz, "V");
  add_channel(capture, "b", "V", b);
  plb_readings *r = must_measure(capture, NULL);
  const plb_reading *delay = row_of(r, "b", "delay", PLB_SCOPE_CAPTURE);
  assert_non_null(delay);
  assert_near(delay->value, 70 / rate_hz, 1e-12, "delay");
  assert_null(row_of(r, "b", "phase", PLB_SCOPE_CAPTURE));
  plb_readings_free(r);
  free(a);
  free(b);
}

static void test_relation__part_of_the_capture(void **state) {
  (void)state;
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++)
    x[i] = (double)i;
  plb_capture *capture = capture_of(x, N, 1e3, "V");
  capture->start_s = -2;
  plb_measure_options o = PLB_MEASURE_OPTIONS_INIT;
  o.from_given = o.to_given = true;
  o.from_s = 0;
  o.to_s = 0.1;
  plb_readings *r = must_measure(capture, &o);
  assert_int_equal(r->samples, 100);
  assert_near(r->from_s, 0, 1e-12, "start");
  assert_near(value_of(r, "lowest"), 2000, 0, "first sample");
  assert_near(value_of(r, "highest"), 2099, 0, "last sample");
  plb_readings_free(r);
  free(x);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_relation__dwell),
      cmocka_unit_test(test_relation__dwell_of_a_coil_with_its_oscillation),
      cmocka_unit_test(test_relation__dwell_of_modelled_coils),
      cmocka_unit_test(test_relation__no_dwell_from_bursts),
      cmocka_unit_test(test_relation__what_makes_no_sense_is_refused),
      cmocka_unit_test(test_relation__delay_and_phase),
      cmocka_unit_test(test_relation__delay_of_a_single_event),
      cmocka_unit_test(test_relation__part_of_the_capture),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
