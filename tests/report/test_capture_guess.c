#include "report/facts.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static const double pi = 3.14159265358979323846;
enum { N = 20000 };

typedef double (*shape)(double t, plb_random *r);

static plb_guess guess_of(shape make, const char *unit) {
  plb_capture *c = plb_capture_new();
  double *x = calloc(N, sizeof *x);
  assert_true(c && x);
  plb_random r;
  plb_random_seed(&r, 11);
  for (int i = 0; i < N; i++)
    x[i] = make(i / 1e5, &r);
  assert_int_equal(plb_capture_add_real(c, "a", unit, x, N, NULL), PLB_OK);
  c->samples = N;
  c->rate_hz = 1e5;
  c->channel[0].column = 2;
  plb_guess *guess = NULL;
  size_t count = 0;
  plb_error err = PLB_ERROR_INIT;
  if (plb_guess_capture(&guess, &count, c, &err) != PLB_OK)
    fail_msg("%s", err.message);
  assert_int_equal(count, 1);
  const plb_guess out = guess[0];
  free(guess);
  free(x);
  plb_capture_free(c);
  return out;
}

static double noise(plb_random *r) { return 0.01 * plb_random_normal(r); }

/* 3,000 rpm: 50 turns a second, 58 teeth and a gap of two. */
static double inductive(double t, plb_random *r) {
  const double tooth = fmod(t * 50, 1) * 60, wave = tooth < 58 ? 4.5 * sin(2 * pi * tooth) : 0;
  return (wave < -0.78 ? -0.78 : wave) + noise(r);
}
static double hall(double t, plb_random *r) {
  const double tooth = fmod(t * 50, 1) * 60;
  return (tooth < 58 && fmod(tooth, 1) < 0.5 ? 0.1 : 4.9) + noise(r);
}
static double pwm(double t, plb_random *r) { return (fmod(t * 200, 1) < 0.23 ? 12.2 : 0.3) + noise(r); }
static double injector(double t, plb_random *r) {
  const double p = fmod(t, 0.02);
  return (p < 0.003 || p > 0.0075 ? 14 + (p > 0.0075 ? 46 * exp(-(p - 0.0075) * 4000) : 0) : 0.6) + noise(r);
}
static double hump(double t, plb_random *r) { return 1.5 + pow(0.5 + 0.5 * sin(2 * pi * 31 * t), 6) + noise(r); }
static double supply(double t, plb_random *r) { return 13.8 + t + noise(r); }
static double silence(double t, plb_random *r) {
  (void)t;
  return noise(r);
}
static double flat(double t, plb_random *r) {
  (void)t;
  (void)r;
  return 5;
}
static double nothing(double t, plb_random *r) {
  (void)t;
  (void)r;
  return NAN;
}

static const struct {
  const char *name, *unit;
  shape make;
  const char *type, *cycle, *what;
  double least, most; /* confidence */
} rows[] = {
    {"inductive", "V", inductive, "crank-inductive", "wheel:teeth=60,missing=2",
     "60-tooth wheel with 2 missing, about 3,000 rpm, two-sided, its lower half clamped", 0.6, 1},
    {"hall", "V", hall, "crank-hall", "wheel:teeth=60,missing=2", "60-tooth wheel with 2 missing, about 3,000 rpm, square and one-sided", 0.6, 1},
    {"pwm", "V", pwm, "", "edge:level=50%states,slope=rising",
     "pulses between 300 mV and 12.2 V, high 23 % of the time, about 200 Hz", 0.3, 0.6},
    {"injector", "V", injector, "injector-voltage", "edge:level=50%states,slope=falling", "with spikes as a coil makes",
     0.3, 0.7},
    {"hump", "1", hump, "", "repeat:period=32.3ms", "repeats every 32.3 ms (31 Hz)", 0.2, 0.4},
    {"supply", "V", supply, "", "steady", "nearly steady at 13.9 V", 0, 0.2},
    {"silence", "V", silence, "", NULL, "no signal to speak of", 0, 0.2},
    {"flat", "V", flat, "", "", "flat at 5 V", 0, 0.2},
    {"nothing", "V", nothing, "", "", "no numbers at all", 0, 0.2},
};

static void test_capture_guess__names_what_it_can_and_how_sure_it_is(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    const plb_guess g = guess_of(rows[i].make, rows[i].unit);
    if (!strstr(g.what, rows[i].what))
      fail_msg("%s: \"%s\" (%.2f), not \"%s\"", rows[i].name, g.what, g.confidence, rows[i].what);
    if (strcmp(g.type, rows[i].type) != 0)
      fail_msg("%s: type \"%s\", not \"%s\"", rows[i].name, g.type, rows[i].type);
    if (rows[i].cycle && strcmp(g.cycle, rows[i].cycle) != 0)
      fail_msg("%s: cycle \"%s\", not \"%s\"", rows[i].name, g.cycle, rows[i].cycle);
    if (!(g.confidence >= rows[i].least && g.confidence <= rows[i].most))
      fail_msg("%s: confidence %.2f", rows[i].name, g.confidence);
    assert_int_equal(g.column, 2);
    assert_string_equal(g.channel, "a");
  }
}

static void test_capture_guess__writes_cycles_that_can_be_typed(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    const plb_guess g = guess_of(rows[i].make, rows[i].unit);
    plb_cycle_spec spec;
    plb_error err = PLB_ERROR_INIT;
    if (g.cycle[0] && plb_cycle_spec_parse(g.cycle, &spec, &err) != PLB_OK)
      fail_msg("%s: %s: %s", rows[i].name, g.cycle, err.message);
  }
}

/* Bits of 10 us whose value depends on nothing but their place, so that nothing repeats. */
static bool driven(double t) { return (((long)(t * 1e5) * 2654435761L) >> 13 & 3) == 0; }
static double bus_high(double t, plb_random *r) { return (driven(t) ? 3.5 : 2.5) + noise(r); }
static double bus_low(double t, plb_random *r) { return (driven(t) ? 1.5 : 2.5) + noise(r); }
static double far_low(double t, plb_random *r) { return (driven(t) ? 0.2 : 4.8) + noise(r); } /* mirrors, but rests elsewhere */

static void guess_two(shape first, shape second, plb_guess out[2]) {
  plb_capture *c = plb_capture_new();
  double *x = calloc(N, sizeof *x);
  assert_true(c && x);
  plb_random r;
  plb_random_seed(&r, 12);
  for (int k = 0; k < 2; k++) {
    for (int i = 0; i < N; i++)
      x[i] = (k == 0 ? first : second)(i / 1e6, &r);
    assert_int_equal(plb_capture_add_real(c, k == 0 ? "a" : "b", "V", x, N, NULL), PLB_OK);
    c->channel[k].column = 2 + k;
  }
  c->samples = N;
  c->rate_hz = 1e6;
  plb_guess *guess = NULL;
  size_t count = 0;
  assert_int_equal(plb_guess_capture(&guess, &count, c, NULL), PLB_OK);
  assert_int_equal(count, 2);
  for (int k = 0; k < 2; k++)
    out[guess[k].column - 2] = guess[k];
  free(guess);
  free(x);
  plb_capture_free(c);
}

static void test_capture_guess__two_wires_that_mirror_each_other_are_a_pair(void **state) {
  (void)state;
  plb_guess g[2];
  for (int turned = 0; turned < 2; turned++) {
    guess_two(turned ? bus_low : bus_high, turned ? bus_high : bus_low, g);
    for (int k = 0; k < 2; k++) {
      assert_string_equal(g[k].type, "can-pair");
      assert_string_equal(g[k].cycle, turned ? "edge:level=50%states,slope=rising,channel=b" : "edge:level=50%states,slope=rising,channel=a");
      assert_non_null(strstr(g[k].what, k == turned ? "as CAN high" : "as CAN low"));
      assert_true(g[k].confidence > 0.6);
    }
  }
}

static void test_capture_guess__not_every_two_channels_are_a_pair(void **state) {
  (void)state;
  plb_guess g[2];
  guess_two(bus_high, far_low, g);
  assert_string_equal(g[0].type, "");
  guess_two(bus_high, bus_high, g);
  assert_string_equal(g[0].type, "");
  guess_two(bus_high, pwm, g);
  assert_string_equal(g[0].type, "");
}

static void real_path(char out[1024], const char *name) {
  const char *folder = getenv("PLUMBLINE_TEST_DATA");
  snprintf(out, 1024, "%s/engine/%s", folder ? folder : PLB_SOURCE_DIR "/../shared/data", name);
  if (access(out, R_OK) != 0) {
    print_message("skipped: the real captures are not here (%s)\n", out);
    skip();
  }
}

/* The README beside the captures: column 2 a 60-2 crank wheel, clamped below, about 2,843 rpm at full load; column 3 a pressure transducer. */
static void test_capture_guess__knows_the_crank_wheel_of_a_real_engine(void **state) {
  (void)state;
  char path[1024];
  real_path(path, "setup-one/full-1.txt");
  plb_capture *c = NULL;
  plb_guess *guess = NULL;
  size_t count = 0;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_capture_read(&c, path, NULL, &err), PLB_OK);
  assert_int_equal(plb_guess_capture(&guess, &count, c, &err), PLB_OK);
  assert_int_equal(count, 2);
  assert_int_equal(guess[0].column, 2);
  assert_string_equal(guess[0].type, "crank-inductive");
  assert_string_equal(guess[0].cycle, "wheel:teeth=60,missing=2");
  assert_non_null(strstr(guess[0].what, "60-tooth wheel with 2 missing, about 2,8"));
  assert_non_null(strstr(guess[0].what, "two-sided, its lower half clamped"));
  assert_true(guess[0].confidence > 0.5);
  assert_int_equal(guess[1].column, 3);
  assert_string_equal(guess[1].type, "");
  assert_true(guess[1].confidence < 0.5);
  free(guess);
  plb_capture_free(c);
}

static void test_capture_guess__claims_nothing_of_silence(void **state) {
  (void)state;
  char path[1024];
  real_path(path, "setup-one/silent-1.txt");
  plb_capture *c = NULL;
  plb_guess *guess = NULL;
  size_t count = 0;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_capture_read(&c, path, NULL, &err), PLB_OK);
  assert_int_equal(plb_guess_capture(&guess, &count, c, &err), PLB_OK);
  for (size_t i = 0; i < count; i++) {
    assert_string_equal(guess[i].type, "");
    assert_true(guess[i].confidence < 0.3);
  }
  free(guess);
  plb_capture_free(c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_capture_guess__names_what_it_can_and_how_sure_it_is),
      cmocka_unit_test(test_capture_guess__writes_cycles_that_can_be_typed),
      cmocka_unit_test(test_capture_guess__two_wires_that_mirror_each_other_are_a_pair),
      cmocka_unit_test(test_capture_guess__not_every_two_channels_are_a_pair),
      cmocka_unit_test(test_capture_guess__knows_the_crank_wheel_of_a_real_engine),
      cmocka_unit_test(test_capture_guess__claims_nothing_of_silence),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
