/* Levels and amounts against published and computed values. */
#include "tests/reading/reading_test.h"

enum { CYCLE = 1000, CYCLES = 10, N = CYCLE * CYCLES };

/* One cycle of a shape with peak 1; phase 0..1 in the middle of each sample, so that sums are whole. */
typedef double (*shape)(double phase);
static double sine(double p) { return sin(2 * pi * p); }
static double triangle(double p) { return 1 - 4 * fabs(p - 0.5); }
static double sawtooth(double p) { return 2 * p - 1; }
static double square(double p) { return p < 0.5 ? 1 : -1; }
static double half_wave(double p) { return fmax(0, sine(p)); }
static double full_wave(double p) { return fabs(sine(p)); }

/* RMS of standard shapes of peak a: sine a/sqrt 2, triangle and sawtooth a/sqrt 3, square a (VERIFIED); half wave a/2 with
 * mean a/pi, full wave a/sqrt 2 with mean 2 a/pi (COMPUTED). Parts add as squares: total^2 = mean^2 + AC^2 (VERIFIED). */
static void test_level__standard_shapes(void **state) {
  (void)state;
  static const double a = 3.5;
  const struct {
    const char *name;
    shape of;
    double rms, mean;
  } shapes[] = {{"sine", sine, a / sqrt(2), 0},          {"triangle", triangle, a / sqrt(3), 0},
                {"sawtooth", sawtooth, a / sqrt(3), 0},  {"square", square, a, 0},
                {"half wave", half_wave, a / 2, a / pi}, {"full wave", full_wave, a / sqrt(2), 2 * a / pi}};
  double *x = room_for(N);
  for (size_t k = 0; k < sizeof shapes / sizeof shapes[0]; k++) {
    for (size_t i = 0; i < N; i++)
      x[i] = a * shapes[k].of(((double)(i % CYCLE) + 0.5) / CYCLE);
    plb_readings *r = must_measure(capture_of(x, N, 1e5, "V"), NULL);
    const double rms = value_of(r, "true-rms"), mean = value_of(r, "mean"), ac = value_of(r, "ac-rms");
    assert_near(rms, shapes[k].rms, 1e-5, shapes[k].name);
    assert_near(mean, shapes[k].mean, 1e-5, shapes[k].name);
    assert_near(mean * mean + ac * ac, rms * rms, 1e-12, shapes[k].name);
    assert_near(value_of(r, "crest-factor"), a / shapes[k].rms, 0.005, shapes[k].name);
    assert_near(value_of(r, "frequency"), shapes[k].of == full_wave ? 200 : 100, 1e-3, shapes[k].name);
    plb_readings_free(r);
  }
  free(x);
}

/* A 12 V pulse train of duty D: RMS 12 sqrt D, mean 12 D (COMPUTED): D 0.25 gives exactly 6 V and 3 V. */
static void test_level__pulse_train(void **state) {
  (void)state;
  static const double cases[][3] = {{0.10, 3.7947, 1.2}, {0.25, 6.0, 3.0}, {0.5, 8.4853, 6.0}};
  double *x = room_for(N);
  for (size_t c = 0; c < 3; c++) {
    for (size_t i = 0; i < N; i++)
      x[i] = (double)(i % CYCLE) < cases[c][0] * CYCLE ? 12 : 0;
    plb_readings *r = must_measure(capture_of(x, N, 1e5, "V"), NULL);
    assert_near(value_of(r, "true-rms"), cases[c][1], cases[c][0] == 0.25 ? 1e-12 : 5e-5, "RMS");
    assert_near(value_of(r, "mean"), cases[c][2], 1e-12, "mean");
    assert_near(value_of(r, "duty-high"), 100 * cases[c][0], 1e-9, "duty");
    const plb_reading *cycle = row_of(r, "a", "true-rms", PLB_SCOPE_CYCLE);
    assert_non_null(cycle);
    assert_near(cycle->value, cases[c][1], 5e-5, "RMS of a cycle");
    assert_near(cycle->lowest, cycle->highest, 1e-12, "all cycles are alike");
    assert_int_equal(cycle->count, CYCLES - 2); /* the first sample is within a pulse, so the first edge is a fall */
    plb_readings_free(r);
  }
  free(x);
}

/* NIST StRD NumAcc2 to 4: certified mean and standard deviation 0.1 (VERIFIED); the data are made by rule. */
static void test_level__nist_numacc(void **state) {
  (void)state;
  static const double cases[][3] = {
      {1.2, 1.1, 1.3}, {1000000.2, 1000000.1, 1000000.3}, {10000000.2, 10000000.1, 10000000.3}};
  double x[1001];
  for (size_t c = 0; c < 3; c++) {
    x[0] = cases[c][0];
    for (size_t i = 1; i < 1001; i++)
      x[i] = cases[c][i % 2 ? 1 : 2];
    plb_readings *r = must_measure(capture_of(x, 1001, 1e3, "V"), NULL);
    assert_near(value_of(r, "mean"), cases[c][0], 1e-14 * cases[c][0], "mean to 14 digits");
    const double sd = value_of(r, "ac-rms") * sqrt(1001.0 / 1000.0); /* the certified one divides by n - 1 */
    assert_near(sd, 0.1, 0.1 * 1e-8, "standard deviation to 8 digits");
    plb_readings_free(r);
  }
}

static void test_level__charge_and_energy(void **state) {
  (void)state;
  double *volts = room_for(N), *milliamperes = room_for(N);
  for (size_t i = 0; i < N; i++) {
    volts[i] = 12;
    milliamperes[i] = (i + 500) % CYCLE < 250 ? 2000 : 0;
  }
  plb_capture *capture = capture_of(volts, N, 1e5, "V");
  add_channel(capture, "i", "mA", milliamperes);
  plb_readings *r = must_measure(capture, NULL);
  /* 2 A for 2.5 ms in each of 10 cycles, at 12 V (COMPUTED) */
  assert_near(row_of(r, "i", "charge", PLB_SCOPE_CAPTURE)->value, 0.05, 1e-12, "charge");
  assert_near(row_of(r, "i", "charge", PLB_SCOPE_CYCLE)->value, 0.005, 1e-12, "charge of a cycle");
  assert_near(row_of(r, "i", "energy", PLB_SCOPE_CAPTURE)->value, 0.6, 1e-12, "energy");
  assert_near(row_of(r, "i", "energy", PLB_SCOPE_CYCLE)->value, 0.06, 1e-12, "energy of a cycle");
  assert_near(row_of(r, "i", "power", PLB_SCOPE_CAPTURE)->value, 6, 1e-12, "power");
  assert_string_equal(row_of(r, "i", "energy", PLB_SCOPE_CAPTURE)->against, "a");
  assert_null(row_of(r, "a", "charge", PLB_SCOPE_CAPTURE)); /* a voltage carries none */
  plb_readings_free(r);
  free(volts);
  free(milliamperes);
}

static void test_level__missing_samples_are_left_out(void **state) {
  (void)state;
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++)
    x[i] = i % 7 == 0 ? (double)NAN : i % CYCLE < 500 ? 4 : 0;
  plb_readings *r = must_measure(capture_of(x, N, 1e5, "V"), NULL);
  assert_near(value_of(r, "mean"), 2, 0.01, "mean");
  assert_near(value_of(r, "high-level"), 4, 1e-9, "level");
  assert_near(value_of(r, "frequency"), 100, 0.1, "frequency");
  assert_int_equal(row_of(r, "a", "mean", PLB_SCOPE_CAPTURE)->count, N - (N + 6) / 7);
  plb_readings_free(r);
  free(x);
}

static void test_level__all_missing_gives_nothing(void **state) {
  (void)state;
  double x[50];
  for (size_t i = 0; i < 50; i++)
    x[i] = (double)NAN;
  plb_readings *r = must_measure(capture_of(x, 50, 1e3, "V"), NULL);
  assert_int_equal(r->count, 0);
  assert_int_equal(r->notes, 1);
  plb_readings_free(r);
}

/* Lowest and highest of many samples are no samples: their mean would be wrong. */
static void test_level__thinned_gives_extremes_only(void **state) {
  (void)state;
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++)
    x[i] = i % 2 ? 5 : -1;
  plb_capture *capture = capture_of(x, N, 1e5, "V");
  capture->pairs = true;
  plb_readings *r = must_measure(capture, NULL);
  assert_near(value_of(r, "lowest"), -1, 0, "lowest");
  assert_near(value_of(r, "peak-to-peak"), 6, 0, "peak to peak");
  assert_int_equal(r->count, 3);
  assert_non_null(strstr(r->note[0], "lowest and highest"));
  plb_readings_free(r);
  free(x);
}

static void test_level__uncertainty_is_one_code(void **state) {
  (void)state;
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++)
    x[i] = 0.25 * round(20 * sine((double)(i % CYCLE) / CYCLE));
  plb_readings *r = must_measure(capture_of(x, N, 1e5, "V"), NULL);
  assert_near(row_of(r, "a", "highest", PLB_SCOPE_CAPTURE)->uncertainty, 0.25, 1e-12, "one code");
  assert_near(row_of(r, "a", "peak-to-peak", PLB_SCOPE_CAPTURE)->uncertainty, 0.5, 1e-12, "two codes");
  assert_near(row_of(r, "a", "period", PLB_SCOPE_CAPTURE)->uncertainty, 1e-5, 1e-15, "one sample");
  assert_near(row_of(r, "a", "frequency", PLB_SCOPE_CAPTURE)->uncertainty, 0.1, 1e-4, "one sample in 1000 of 100 Hz");
  assert_near(row_of(r, "a", "duty-high", PLB_SCOPE_CAPTURE)->uncertainty, 0.1, 1e-4, "one sample in 1000");
  plb_readings_free(r);
  free(x);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_level__standard_shapes),
      cmocka_unit_test(test_level__pulse_train),
      cmocka_unit_test(test_level__nist_numacc),
      cmocka_unit_test(test_level__charge_and_energy),
      cmocka_unit_test(test_level__missing_samples_are_left_out),
      cmocka_unit_test(test_level__all_missing_gives_nothing),
      cmocka_unit_test(test_level__thinned_gives_extremes_only),
      cmocka_unit_test(test_level__uncertainty_is_one_code),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
