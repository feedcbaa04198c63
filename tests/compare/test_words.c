/* What is said is what can be seen: direction, size and place of a difference, in the words and units of the screen. */
#include "tests/compare/population.h"
#include "core/random.h"
#include "tests/core/cmocka_all.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SAMPLES = 6000, GOOD = 8 };

/* A valve driven low: 14 V at rest, near 0 V while on, a spike of the coil when it lets go. */
typedef struct pulse {
  double spike_v, on_s, dent_v, gain, fall_late_s;
} pulse;
static const pulse healthy = {40.0, 2.0e-3, 0.0, 1.0, 0.0};

static plb_capture *draw(const pulse *p, uint64_t seed, bool two) {
  static double x[SAMPLES], y[SAMPLES];
  plb_random r;
  plb_random_seed(&r, seed);
  const double rate_hz = 100e3, period_s = 8.3e-3, start_s = 3e-3 * plb_random_uniform(&r),
               on_s = p->on_s * (1.0 + 0.01 * plb_random_normal(&r));
  const double spike = p->spike_v * (1.0 + 0.02 * plb_random_normal(&r)), supply = 14.0 + 0.05 * plb_random_normal(&r);
  for (size_t i = 0; i < SAMPLES; i++) {
    const double t = fmod((double)i / rate_hz + start_s, period_s), off_s = t - on_s - 1e-3;
    double v = t > 1e-3 && off_s < 0.0 ? 0.6 : supply;
    v += off_s >= 0.0 ? spike * exp(-off_s / 40e-6) : 0.0;
    v += p->dent_v * exp(-pow((t - 6e-3) / 2e-4, 2.0));
    x[i] = p->gain * v + 0.03 * plb_random_normal(&r);
    y[i] = (off_s > 1e-3 + p->fall_late_s && off_s < 3e-3 ? 5.0 : 0.0) + 1.5 * exp(-t / 1e-3) +
           0.02 * plb_random_normal(&r);
  }
  plb_capture *c = plb_capture_new();
  plb_error err = PLB_ERROR_INIT;
  assert_non_null(c);
  c->rate_hz = rate_hz;
  snprintf(c->path, sizeof c->path, "pulse-%llu.csv", (unsigned long long)seed);
  assert_int_equal(plb_capture_add_real(c, "valve", "V", x, SAMPLES, &err), PLB_OK);
  if (two) {
    assert_int_equal(plb_capture_add_real(c, "answer", "V", y, SAMPLES, &err), PLB_OK);
  }
  return c;
}

static plb_reference *learn(bool two) {
  plb_good good[GOOD] = {{0}};
  plb_capture *capture[GOOD];
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  plb_reference *reference = NULL;
  plb_error err = PLB_ERROR_INIT;
  o.type = "valve-voltage";
  o.name = "bench/pulse";
  assert_int_equal(plb_cycle_spec_parse("edge:level=7V,slope=falling,channel=valve", &o.cycle, &err), PLB_OK);
  for (size_t i = 0; i < GOOD; i++) {
    good[i].capture = capture[i] = draw(&healthy, 10 + i, two);
  }
  if (plb_learn(&reference, NULL, good, GOOD, &o, &err) != PLB_OK) {
    fail_msg("%s", err.message);
  }
  for (size_t i = 0; i < GOOD; i++) {
    plb_capture_free(capture[i]);
  }
  return reference;
}

static plb_verdict *judge(const char *what, const pulse *p) {
  plb_reference *r = learn(false);
  plb_capture *c = draw(p, 99, false);
  plb_verdict *v = population_judge(r, c, NULL, false);
  population_print(what, v);
  plb_capture_free(c);
  plb_reference_free(r);
  return v;
}

static void test_words__a_spike_that_is_gone_is_low_and_not_late(void **state) {
  (void)state;
  pulse p = healthy;
  p.spike_v = 1.0;
  plb_verdict *v = judge("spike gone", &p);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_true(v->findings > 0);
  assert_string_equal(v->finding[0].direction, "low");
  for (size_t i = 0; i < v->findings; i++) {
    assert_string_not_equal(v->finding[i].direction, "late");
    assert_string_not_equal(v->finding[i].direction, "early");
  }
  plb_verdict_free(v);
}

static void test_words__an_edge_that_comes_later_is_late_in_time_not_degrees(void **state) {
  (void)state;
  plb_reference *r = learn(true);
  pulse p = healthy;
  p.fall_late_s = 60e-6;
  plb_capture *c = draw(&p, 99, true);
  plb_verdict *v = population_judge(r, c, NULL, false);
  population_print("answer late", v);
  bool late = false;
  assert_int_equal(v->word, PLB_DEPARTS);
  for (size_t i = 0; i < v->findings; i++) {
    assert_null(strstr(v->finding[i].text, "deg"));
    late = late || (strcmp(v->finding[i].direction, "late") == 0 && strcmp(v->finding[i].channel, "answer") == 0 &&
                    strcmp(v->finding[i].unit, "s") == 0 && fabs(v->finding[i].size - 60e-6) < 15e-6);
  }
  assert_true(late);
  plb_verdict_free(v);
  plb_capture_free(c);
  plb_reference_free(r);
}

static void test_words__both_channels_turned_over_is_one_mistake(void **state) {
  (void)state;
  plb_reference *r = learn(true);
  plb_capture *good = draw(&healthy, 99, true), *c = plb_capture_new();
  plb_error err = PLB_ERROR_INIT;
  assert_non_null(c);
  c->rate_hz = good->rate_hz;
  for (size_t k = 0; k < 2; k++) {
    double *x = plb_capture_copy_values(good, k);
    assert_non_null(x);
    for (size_t i = 0; i < SAMPLES; i++) {
      x[i] = -x[i];
    }
    assert_int_equal(plb_capture_add_real(c, plb_capture_role(good, k), "V", x, SAMPLES, &err), PLB_OK);
    free(x);
  }
  plb_verdict *v = population_judge(r, c, NULL, false);
  population_print("both inverted", v);
  assert_int_equal(v->word, PLB_UNJUDGED);
  assert_non_null(population_reason(v, "lead-inverted"));
  assert_true(says_all(v->sentence, "inverted|each of the channels"));
  plb_verdict_free(v);
  plb_capture_free(good);
  plb_capture_free(c);
  plb_reference_free(r);
}

static void test_words__a_small_trace_is_told_in_its_own_volts(void **state) {
  (void)state;
  pulse p = healthy;
  p.gain = 0.7;
  p.dent_v = -2.5;
  plb_verdict *v = judge("small with a dent", &p);
  bool dent = false;
  assert_int_equal(v->word, PLB_DEPARTS);
  for (size_t i = 0; i < v->findings; i++) {
    const plb_finding *f = &v->finding[i];
    if (f->kind == PLB_FINDING_BAND && strcmp(f->unit, "V") == 0) {
      assert_true(fabs(f->size) < 14.0);
      dent = dent || (f->phase > 0.5 && strcmp(f->direction, "low") == 0 &&
                      fabs(f->size + 1.75) < 0.4); /* 2.5 V in a trace of 0.7 the size */
    }
  }
  assert_true(dent);
  plb_verdict_free(v);
}

static void test_words__a_long_pulse_is_a_duration_with_advice_of_its_own(void **state) {
  (void)state;
  pulse p = healthy;
  p.on_s = 3.0e-3;
  plb_verdict *v = judge("on too long", &p);
  assert_int_equal(v->word, PLB_DEPARTS);
  const plb_finding *found = NULL;
  for (size_t i = 0; i < v->findings && found == NULL; i++) {
    found =
        strcmp(v->finding[i].unit, "s") == 0 && strcmp(v->finding[i].direction, "high") == 0 ? &v->finding[i] : NULL;
  }
  assert_non_null(found);
  assert_true(fabs(found->size - 3.0e-3) < 0.1e-3);
  assert_true(says_all(found->text, "lasts|ms|good captures"));
  assert_null(strstr(found->check_first[0], "probe factor"));
  assert_non_null(strstr(found->check_first[0], "load"));
  plb_verdict_free(v);
}

static void test_words__a_missing_channel_lists_every_column_of_the_file(void **state) {
  (void)state;
  static const char text[] = "time [s],relay [V],fan [V],lamp [V]\n0,1,2,3\n0.001,2,3,4\n0.002,1,2,3\n0.003,2,3,4\n";
  plb_capture *c = NULL;
  plb_channel_map map;
  plb_verdict *v = NULL;
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = learn(true);
  assert_int_equal(plb_capture_read_memory(&c, text, sizeof text - 1, "relays.csv", NULL, &err), PLB_OK);
  assert_int_equal(plb_channel_map_parse("valve=3", &map, &err), PLB_OK);
  assert_int_equal(plb_capture_assign(c, &map, 1, &err), PLB_OK);
  assert_int_equal(plb_compare(&v, c, r, NULL, &err), PLB_EDATA);
  assert_true(says_all(err.message, "'answer'|--channel answer=COLUMN|relay|fan|lamp"));
  plb_capture_free(c);
  plb_reference_free(r);
}

static void test_words__a_column_without_numbers_is_said(void **state) {
  (void)state;
  plb_reference *r = learn(false);
  plb_capture *c = plb_capture_new();
  plb_error err = PLB_ERROR_INIT;
  static double x[SAMPLES];
  for (size_t i = 0; i < SAMPLES; i++) {
    x[i] = NAN;
  }
  assert_non_null(c);
  c->rate_hz = 100e3;
  assert_int_equal(plb_capture_add_real(c, "valve", "V", x, SAMPLES, &err), PLB_OK);
  plb_verdict *v = population_judge(r, c, NULL, false);
  population_print("no numbers", v);
  assert_int_equal(v->word, PLB_UNJUDGED);
  const plb_reason *why = population_reason(v, "non-finite");
  assert_non_null(why);
  assert_true(why->blocks);
  assert_true(says_all(v->sentence, "valve|no number"));
  assert_true(says_all(why->action, "column"));
  plb_verdict_free(v);
  plb_capture_free(c);
  plb_reference_free(r);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_words__a_spike_that_is_gone_is_low_and_not_late),
      cmocka_unit_test(test_words__an_edge_that_comes_later_is_late_in_time_not_degrees),
      cmocka_unit_test(test_words__both_channels_turned_over_is_one_mistake),
      cmocka_unit_test(test_words__a_small_trace_is_told_in_its_own_volts),
      cmocka_unit_test(test_words__a_long_pulse_is_a_duration_with_advice_of_its_own),
      cmocka_unit_test(test_words__a_missing_channel_lists_every_column_of_the_file),
      cmocka_unit_test(test_words__a_column_without_numbers_is_said),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
