/* Amplitude and offset rules: proposed from captures at several speeds or supplies, and used. The signals are made here: sizes are known. */
#include "capture/capture.h"
#include "compare/rules.h"
#include "core/random.h"
#include "tests/core/close.h"
#include <math.h>
#include <plumbline/learn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { GOOD = 10, SAMPLES = 20000 };
static const double rate_hz = 20e3;

/* A pointed wave, `hz` times a second, of this size, with a supply beside it where it is above 0. */
static plb_capture *draw(double hz, double size, double supply_v, uint64_t seed) {
  static double x[SAMPLES], s[SAMPLES];
  plb_random r;
  plb_error err = PLB_ERROR_INIT;
  plb_random_seed(&r, seed);
  for (size_t i = 0; i < SAMPLES; i++) {
    const double t = 6.283185307179586 * hz * (double)i / rate_hz;
    x[i] = size * (sin(t) + 0.4 * sin(2.0 * t + 0.5) + 0.2 * sin(5.0 * t)) + 0.005 * plb_random_normal(&r);
    s[i] = supply_v + 0.01 * plb_random_normal(&r);
  }
  plb_capture *c = plb_capture_new();
  assert_non_null(c);
  c->rate_hz = rate_hz;
  plb_text_print(c->path, sizeof c->path, "made-%llu.csv", (unsigned long long)seed);
  assert_int_equal(plb_capture_add_real(c, "wave", "V", x, SAMPLES, &err), PLB_OK);
  if (supply_v > 0.0) {
    assert_int_equal(plb_capture_add_real(c, "supply", "V", s, SAMPLES, &err), PLB_OK);
  }
  return c;
}

/* A coil into a clamped input: with speed up to a knee, then flat. 30 to 50 turns a second. */
static double coil_size(double hz) { return fmin(hz, 40.0) / 40.0; }

static plb_reference *learn(plb_capture *const *capture, size_t n, plb_learn_options *o, plb_learned **learned) {
  plb_good good[GOOD] = {{0}};
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  o->type = "test";
  o->name = "bench/rules";
  assert_int_equal(plb_cycle_spec_parse("repeat:channel=wave", &o->cycle, &err), PLB_OK);
  for (size_t i = 0; i < n; i++) {
    good[i].capture = capture[i];
  }
  if (plb_learn(&r, learned, good, n, o, &err) != PLB_OK) {
    fail_msg("%s", err.message);
  }
  return r;
}

static plb_verdict *judge(const plb_reference *r, plb_capture *c, const char *condition) {
  plb_compare_options o = PLB_COMPARE_OPTIONS_INIT;
  plb_stated stated;
  plb_verdict *v = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (condition != NULL) {
    assert_int_equal(plb_stated_parse(condition, &stated, &err), PLB_OK);
    o.stated = &stated;
    o.stated_count = 1;
  }
  if (plb_compare(&v, c, r, &o, &err) != PLB_OK) {
    fail_msg("%s", err.message);
  }
  plb_capture_free(c);
  return v;
}

static const plb_reading_result *amplitude_of(const plb_verdict *v) {
  for (size_t i = 0; i < v->readings; i++) {
    if (strcmp(v->reading[i].name, "amplitude") == 0 && strcmp(v->reading[i].channel, "wave") == 0) {
      return &v->reading[i];
    }
  }
  return NULL;
}

static bool notes_say(const plb_learned *l, const char *word) {
  for (size_t i = 0; i < l->notes; i++) {
    if (strstr(l->note[i], word) != NULL) {
      return true;
    }
  }
  return false;
}

static void free_all(plb_capture **c, size_t n) {
  for (size_t i = 0; i < n; i++) {
    plb_capture_free(c[i]);
  }
}

static void test_rules__a_speed_curve_that_flattens(void **state) {
  (void)state;
  plb_capture *c[GOOD];
  plb_learned *l = NULL;
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  for (size_t i = 0; i < GOOD; i++) {
    const double hz = 30.0 * pow(5.0 / 3.0, (double)i / (GOOD - 1));
    c[i] = draw(hz, 2.0 * coil_size(hz) * (1.0 + 0.01 * (double)((i * 7) % 5) - 0.02), 0.0, i + 1);
  }
  plb_reference *r = learn(c, GOOD, &o, &l);
  assert_int_equal(r->channel[0].amplitude, PLB_RULE_SPEED_CURVE);
  assert_true(notes_say(l, "follows the speed"));
  assert_true(r->channel[0].speeds >= 3);
  const plb_speed_point *p = r->channel[0].speed;
  const size_t last = r->channel[0].speeds - 1;
  assert_true(p[last].gain / p[last - 1].gain < 1.05 && p[1].gain / p[0].gain > 1.12); /* rises, then flat */
  plb_verdict *v = judge(r, draw(33.0, 2.0 * coil_size(33.0), 0.0, 50), NULL);
  assert_int_equal(v->word, PLB_AGREES);
  plb_verdict_free(v);
  v = judge(r, draw(33.0, 2.0 * 0.75 * coil_size(33.0), 0.0, 51), NULL); /* a quarter too small for this speed, inside the sizes of all speeds */
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_string_equal(v->finding[0].band, "amplitude");
  assert_string_equal(v->finding[0].direction, "low");
  assert_true(fabs(v->finding[0].size - 0.75) < 0.06);
  plb_verdict_free(v);
  v = judge(r, draw(56.0, 2.0 * 0.6, 0.0, 52), NULL); /* faster than any: judged, but for its size, and said */
  const plb_reading_result *a = amplitude_of(v);
  bool said = false;
  for (size_t i = 0; i < v->condition_notes; i++) {
    said = said || strstr(v->condition_note[i], "the size of wave is not judged") != NULL;
  }
  assert_non_null(a);
  assert_int_equal(a->status, PLB_UNJUDGED);
  assert_true(said);
  plb_verdict_free(v);
  free_all(c, GOOD);
  plb_learned_free(l);
  plb_reference_free(r);
}

static void test_rules__equal_sizes_stay_absolute(void **state) {
  (void)state;
  plb_capture *c[GOOD];
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  for (size_t i = 0; i < GOOD; i++) {
    c[i] = draw(30.0 * pow(5.0 / 3.0, (double)i / (GOOD - 1)), 2.0 * (1.0 + 0.06 * (double)((i * 7) % 5) - 0.12), 0.0, i + 1);
  }
  plb_reference *r = learn(c, GOOD, &o, NULL);
  assert_int_equal(r->channel[0].amplitude, PLB_RULE_ABSOLUTE);
  assert_int_equal(r->channel[0].offset, PLB_RULE_FIXED);
  free_all(c, GOOD);
  plb_reference_free(r);
}

static void test_rules__size_that_follows_the_supply(void **state) {
  (void)state;
  plb_capture *c[GOOD];
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  for (size_t i = 0; i < GOOD; i++) {
    const double supply = 11.0 + 0.4 * (double)i;
    c[i] = draw(40.0 + 0.2 * (double)((i * 3) % 7), 0.2 * supply * (1.0 + 0.005 * (double)((i * 7) % 5)), supply, i + 1);
  }
  plb_reference *r = learn(c, GOOD, &o, NULL);
  assert_int_equal(r->channel[0].amplitude, PLB_RULE_SUPPLY_PROPORTIONAL);
  assert_true(fabs(r->exemplar[0].supply_v - 11.0) < 0.02);
  plb_verdict *v = judge(r, draw(40.5, 0.2 * 11.4, 11.4, 60), NULL);
  assert_int_equal(amplitude_of(v)->status, PLB_AGREES);
  plb_verdict_free(v);
  v = judge(r, draw(40.5, 0.2 * 11.4 * 0.8, 11.4, 61), NULL);
  assert_int_equal(amplitude_of(v)->status, PLB_DEPARTS);
  assert_true(fabs(amplitude_of(v)->value - 0.8) < 0.02);
  plb_verdict_free(v);
  free_all(c, GOOD);
  plb_reference_free(r);
}

static void test_rules__stated_rules_are_kept_and_wrong_ones_refused(void **state) {
  (void)state;
  plb_capture *c[GOOD];
  static const char *const amplitude[] = {"wave=free"}, *const offset[] = {"wave=free"}, *const wrong[] = {"wave=fixed"};
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  for (size_t i = 0; i < GOOD; i++) {
    c[i] = draw(40.0 + 0.2 * (double)((i * 3) % 7), 2.0 + 0.01 * (double)((i * 7) % 5), 0.0, i + 1);
  }
  o.rule = amplitude;
  o.offset_rule = offset;
  o.rules = o.offset_rules = 1;
  plb_reference *r = learn(c, GOOD, &o, NULL);
  assert_int_equal(r->channel[0].amplitude, PLB_RULE_FREE);
  assert_int_equal(r->channel[0].offset, PLB_RULE_FREE);
  plb_verdict *v = judge(r, draw(40.5, 1.6, 0.0, 70), NULL);
  assert_int_equal(v->word, PLB_AGREES); /* four fifths of the size are no matter here */
  plb_verdict_free(v);
  plb_reference_free(r);
  plb_good good[GOOD] = {{0}};
  plb_error err = PLB_ERROR_INIT;
  for (size_t i = 0; i < GOOD; i++) {
    good[i].capture = c[i];
  }
  o.rule = wrong;
  assert_int_equal(plb_learn(&r, NULL, good, GOOD, &o, &err), PLB_EUSAGE);
  assert_non_null(strstr(err.message, "wave=speed-curve"));
  free_all(c, GOOD);
}

static void test_rules__curve_goes_through_what_it_was_fitted_to(void **state) {
  (void)state;
  double at[12], value[12];
  for (size_t i = 0; i < 12; i++) {
    at[i] = (double)i;
    value[i] = 3.0 - 0.25 * (double)i;
  }
  plb_rule_curve c;
  plb_rule_curve_fit(&c, at, value, 12); /* a straight line has no bend to pay for */
  for (double x = 0.0; x <= 11.0; x += 0.5) {
    assert_true(fabs(plb_rule_curve_at(&c, x) - (3.0 - 0.25 * x)) < 1e-6);
  }
  assert_true(isnan(plb_rule_curve_at(&c, 13.0)) && isnan(plb_rule_curve_at(&c, -2.0)));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_rules__a_speed_curve_that_flattens),
      cmocka_unit_test(test_rules__equal_sizes_stay_absolute),
      cmocka_unit_test(test_rules__size_that_follows_the_supply),
      cmocka_unit_test(test_rules__stated_rules_are_kept_and_wrong_ones_refused),
      cmocka_unit_test(test_rules__curve_goes_through_what_it_was_fitted_to),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
