/* Readings over time: of signals whose duty, speed and acceleration are known by construction (COMPUTED). */
#include "tests/reading/reading_test.h"

static const double rate_hz = 100e3;

static plb_series *must_read(const plb_capture *capture, const plb_series_options *o) {
  plb_error err = PLB_ERROR_INIT;
  plb_series *s = NULL;
  if (plb_series_read(&s, capture, o, &err) != PLB_OK)
    fail_msg("%s", err.message);
  return s;
}

static void must_refuse(const plb_capture *capture, const plb_series_options *o, plb_status expected) {
  plb_error err = PLB_ERROR_INIT;
  plb_series *s = NULL;
  assert_int_equal(plb_series_read(&s, capture, o, &err), expected);
  assert_null(s);
  assert_true(strlen(err.message) > 10);
}

/* Pulses of 10 ms whose on-time grows by 20 samples each: duty 10 %, 12 %, ... */
static plb_capture *growing(size_t cycles) {
  double *x = room_for(cycles * 1000);
  for (size_t i = 0; i < cycles * 1000; i++)
    x[i] = i % 1000 >= 300 && i % 1000 < 400 + 20 * (i / 1000) ? 12 : 0;
  plb_capture *c = capture_of(x, cycles * 1000, rate_hz, "V");
  free(x);
  return c;
}

static void test_series__duty_cycle_by_cycle(void **state) {
  (void)state;
  plb_capture *c = growing(20);
  plb_series_options o = PLB_SERIES_OPTIONS_INIT;
  o.reading = "duty";
  plb_series *s = must_read(c, &o);
  assert_string_equal(s->reading, "duty-high");
  assert_string_equal(s->unit, "%");
  assert_int_equal(s->count, 19);
  for (size_t i = 0; i < s->count; i++) {
    assert_near(s->value[i], 10 + 2 * (double)i, 1e-9, "duty");
    assert_near(s->time_s[i], 0.01 * (double)i + 299.5 / rate_hz, 1e-9, "time");
  }
  assert_int_equal(s->lowest, 0);
  assert_int_equal(s->highest, 18);
  plb_series_free(s);
  plb_capture_free(c);
}

/* Windows of two and a half cycles: a value for each, of the cycles that begin there; an empty one is no number. */
static void test_series__windows(void **state) {
  (void)state;
  plb_capture *c = growing(20);
  plb_series_options o = PLB_SERIES_OPTIONS_INIT;
  o.reading = "mean";
  o.every_s = 0.01;
  plb_series *s = must_read(c, &o);
  assert_int_equal(s->count, 20);
  for (size_t i = 0; i < s->count; i++)
    assert_near(s->value[i], 12 * (0.1 + 0.02 * (double)i), 1e-9, "mean");
  plb_series_free(s);
  o.reading = "pulse-high";
  o.every_s = 0.003; /* pulses begin in the second of each ten thirds or so */
  s = must_read(c, &o);
  size_t there = 0;
  for (size_t i = 0; i < s->count; i++)
    there += isfinite(s->value[i]) != 0;
  assert_int_equal(s->count, 66);
  assert_int_equal(there, 20);
  plb_series_free(s);
  plb_capture_free(c);
}

static void test_series__a_part_only(void **state) {
  (void)state;
  plb_capture *c = growing(20);
  plb_series_options o = PLB_SERIES_OPTIONS_INIT;
  o.reading = "pulse-high";
  o.from_given = o.to_given = true;
  o.from_s = 0.05;
  o.to_s = 0.1;
  plb_series *s = must_read(c, &o);
  assert_int_equal(s->count, 5);
  assert_near(s->time_s[0], 0.05 + 299.5 / rate_hz, 1e-9, "time of the file");
  assert_near(s->value[0], 2e-3, 1e-9, "the sixth pulse");
  plb_series_free(s);
  plb_capture_free(c);
}

/* A 60-2 wheel that speeds up evenly: angle = f t + a t^2 / 2 turns. The sensor is a sine along the teeth, flat in the gap. */
static plb_capture *wheel(double f, double a, size_t n) {
  double *x = room_for(n);
  for (size_t i = 0; i < n; i++) {
    const double t = (double)i / rate_hz, teeth = 60 * (f * t + 0.5 * a * t * t), tooth = fmod(teeth, 60);
    x[i] = tooth < 58 ? sin(2 * pi * tooth) * (f + a * t) : 0;
  }
  plb_capture *c = capture_of(x, n, rate_hz, "V");
  free(x);
  return c;
}

static void test_series__speed_and_acceleration_of_a_wheel(void **state) {
  (void)state;
  const double f = 10, a = 8; /* 600 to 1080 1/min, 480 1/min each second */
  plb_capture *c = wheel(f, a, 100000);
  plb_series_options o = PLB_SERIES_OPTIONS_INIT;
  o.reading = "speed";
  o.teeth = 60;
  o.missing = 2;
  plb_series *s = must_read(c, &o);
  assert_string_equal(s->unit, "/min");
  assert_string_equal(s->note, "");
  assert_in_range(s->count, 805, 815); /* 14 turns of 58 */
  for (size_t i = 0; i < s->count; i++)
    assert_near(s->value[i], 60 * (f + a * s->time_s[i]), 0.012 * 60 * (f + a * s->time_s[i]), "speed of a tooth");
  plb_series_free(s);
  o.turns = true;
  s = must_read(c, &o);
  assert_int_equal(s->count, 12);
  for (size_t i = 0; i < s->count; i++)
    assert_near(s->value[i], 60 * (f + a * s->time_s[i]), 0.5, "speed of a turn");
  plb_series_free(s);
  o.turns = false;
  o.every_s = 0.1;
  s = must_read(c, &o);
  assert_int_equal(s->count, 10);
  for (size_t i = 0; i < s->count; i++)
    assert_near(s->value[i], 60 * (f + a * (s->time_s[i] + 0.05)), 5, "speed in a window");
  plb_series_free(s);
  o.reading = "acceleration";
  o.every_s = 0.5;
  s = must_read(c, &o);
  assert_int_equal(s->count, 2);
  assert_string_equal(s->unit, "/min/s");
  for (size_t i = 0; i < 2; i++)
    assert_near(s->value[i], 60 * a, 0.1 * 60 * a, "acceleration");
  plb_series_free(s);
  plb_capture_free(c);
}

static void test_series__what_cannot_be_read_is_refused(void **state) {
  (void)state;
  plb_capture *c = growing(5), *quiet;
  double *x = room_for(1000);
  quiet = capture_of(x, 1000, rate_hz, "V");
  free(x);
  plb_series_options o = PLB_SERIES_OPTIONS_INIT;
  must_refuse(c, &o, PLB_EUSAGE); /* no reading */
  o.reading = "colour";
  must_refuse(c, &o, PLB_EUSAGE);
  o.reading = "jitter"; /* cycle by cycle */
  must_refuse(c, &o, PLB_EUSAGE);
  o.reading = "speed"; /* no wheel */
  must_refuse(c, &o, PLB_EUSAGE);
  o.teeth = 60;
  o.missing = 2; /* there is no gap */
  must_refuse(c, &o, PLB_EDATA);
  o.reading = "duty";
  must_refuse(quiet, &o, PLB_EDATA);
  o.channel = "b";
  must_refuse(c, &o, PLB_EUSAGE);
  o.channel = NULL;
  o.every_s = 1e-6; /* shorter than a sample */
  must_refuse(c, &o, PLB_EUSAGE);
  plb_capture_free(c);
  plb_capture_free(quiet);
}

/* A current of humps of known height, ever faster: four cylinders of which the third compresses a given share of the others. */
static void test_series__balance_of_cylinders(void **state) {
  (void)state;
  enum { SAMPLES = 40000 };
  static const double third[] = {1.0, 0.8, 0.5, 0.0};
  double *x = room_for(SAMPLES);
  for (size_t k = 0; k < sizeof third / sizeof *third; k++) {
    plb_random random;
    plb_random_seed(&random, k + 1);
    double turned = 0.0; /* compressions */
    for (size_t i = 0; i < SAMPLES; i++) {
      const double height = (long)turned % 4 == 2 ? third[k] : 1.0;
      x[i] = 150.0 + 60.0 * height * 0.5 * (1.0 - cos(2.0 * pi * turned)) + 2.0 * plb_random_normal(&random);
      turned += (7.0 + 2.0 * (double)i / SAMPLES) / 10000.0;
    }
    plb_capture *capture = capture_of(x, SAMPLES, 10000, "A");
    plb_series_options o = PLB_SERIES_OPTIONS_INIT;
    plb_series *s = NULL;
    plb_error err = PLB_ERROR_INIT;
    o.reading = "balance";
    o.cylinders = 4;
    if (plb_series_read(&s, capture, &o, &err) != PLB_OK)
      fail_msg("%s", err.message);
    const double mean = (3.0 + third[k]) / 4.0;
    assert_true(s->count >= 20);
    for (size_t i = 0; i < s->count; i++) {
      /* the time of a hump tells which cylinder it was: turned(t) = 7 t + t^2 / 4 */
      const double t = s->time_s[i], place = 7.0 * t + 0.25 * t * t;
      const double expected = 100.0 * ((long)place % 4 == 2 ? third[k] : 1.0) / mean;
      assert_near(s->value[i], expected, 6.0, "share");
    }
    o.cylinders = 0;
    plb_series *none = NULL;
    assert_int_equal(plb_series_read(&none, capture, &o, &err), PLB_EUSAGE);
    plb_series_free(s);
    plb_capture_free(capture);
  }
  free(x);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_series__duty_cycle_by_cycle),
      cmocka_unit_test(test_series__windows),
      cmocka_unit_test(test_series__a_part_only),
      cmocka_unit_test(test_series__speed_and_acceleration_of_a_wheel),
      cmocka_unit_test(test_series__balance_of_cylinders),
      cmocka_unit_test(test_series__what_cannot_be_read_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
