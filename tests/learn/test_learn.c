/* learn as its caller sees it: what it refuses, what it notes, and that a file gives the same verdict as memory. */
#include "capture/capture.h"
#include "core/random.h"
#include "tests/core/close.h"
#include <math.h>
#include <plumbline/compare.h>
#include <plumbline/learn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SAMPLES = 6000, MANY = 12 };

/* A periodic pulse train with a little of everything healthy captures differ in. */
static plb_capture *healthy(uint64_t seed, double amplitude) {
  plb_random r;
  plb_random_seed(&r, seed);
  static double x[SAMPLES];
  const double period = 290.0 * (1.0 + 0.01 * plb_random_normal(&r)), start = 100.0 * plb_random_uniform(&r);
  const double gain = amplitude * (1.0 + 0.01 * plb_random_normal(&r)), width = 0.3 + 0.002 * plb_random_normal(&r);
  for (size_t i = 0; i < SAMPLES; i++) {
    const double phase = fmod(((double)i + start) / period, 1.0);
    const double edge = 1.0 / (1.0 + exp(-(phase - 0.2) * 200.0)) - 1.0 / (1.0 + exp(-(phase - 0.2 - width) * 200.0));
    x[i] = gain * (5.0 * edge + 0.5 * sin(6.283185307179586 * phase)) + 0.02 * plb_random_normal(&r);
  }
  plb_capture *c = plb_capture_new();
  plb_error err = PLB_ERROR_INIT;
  assert_non_null(c);
  c->rate_hz = 10000.0;
  snprintf(c->path, sizeof c->path, "healthy-%llu.csv", (unsigned long long)seed);
  assert_int_equal(plb_capture_add_real(c, "valve", "V", x, SAMPLES, &err), PLB_OK);
  return c;
}

static plb_learn_options options_for(const char *cycle) {
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  plb_error err = PLB_ERROR_INIT;
  o.type = "pwm-valve";
  o.name = "bench/healthy";
  assert_int_equal(plb_cycle_spec_parse(cycle, &o.cycle, &err), PLB_OK);
  return o;
}

typedef struct shelf {
  plb_capture *capture[MANY];
  plb_good good[MANY];
} shelf;

static int set_up(void **state) {
  shelf *s = calloc(1, sizeof *s);
  assert_non_null(s);
  for (size_t i = 0; i < MANY; i++) {
    s->capture[i] = healthy(100 + i, 1.0);
    s->good[i].capture = s->capture[i];
  }
  *state = s;
  return 0;
}

static int tear_down(void **state) {
  shelf *s = *state;
  for (size_t i = 0; i < MANY; i++) {
    plb_capture_free(s->capture[i]);
  }
  free(s);
  return 0;
}

static void test_learn__two_captures_are_too_few(void **state) {
  shelf *s = *state;
  plb_learn_options o = options_for("repeat");
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_learn(&r, NULL, s->good, 2, &o, &err), PLB_EDATA);
  assert_null(r);
  assert_non_null(strstr(err.message, "at least 3"));
}

static void test_learn__a_bad_name_or_type_is_refused(void **state) {
  shelf *s = *state;
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  plb_learn_options o = options_for("repeat");
  o.type = "Pwm Valve";
  assert_int_equal(plb_learn(&r, NULL, s->good, 3, &o, &err), PLB_EUSAGE);
  o = options_for("repeat");
  o.name = "../x";
  assert_int_equal(plb_learn(&r, NULL, s->good, 3, &o, &err), PLB_EUSAGE);
}

static void test_learn__a_capture_without_the_channel_is_named(void **state) {
  shelf *s = *state;
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = NULL;
  plb_capture *other = plb_capture_new();
  const double x[4] = {0, 1, 0, 1};
  other->rate_hz = 1.0;
  snprintf(other->path, sizeof other->path, "other.csv");
  assert_int_equal(plb_capture_add_real(other, "pump", "A", x, 4, &err), PLB_OK);
  plb_good good[3] = {s->good[0], s->good[1], {other, NULL, NULL}};
  plb_learn_options o = options_for("repeat");
  assert_int_equal(plb_learn(&r, NULL, good, 3, &o, &err), PLB_EDATA);
  assert_string_equal(err.path, "other.csv");
  assert_non_null(strstr(err.message, "valve"));
  plb_capture_free(other);
}

static plb_verdict *judge(const plb_capture *c, const plb_reference *r) {
  plb_verdict *v = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (plb_compare(&v, c, r, NULL, &err) != PLB_OK) {
    fail_msg("%s", err.message);
  }
  return v;
}

/* Every kind that finds cycles by itself: healthy agrees, half the amplitude departs low. */
static void learn_and_judge(shelf *s, const char *cycle) {
  plb_learn_options o = options_for(cycle);
  plb_reference *r = NULL;
  plb_learned *learned = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (plb_learn(&r, &learned, s->good, 8, &o, &err) != PLB_OK) {
    fail_msg("%s: %s", cycle, err.message);
  }
  unsigned agree = 0;
  for (size_t i = 8; i < MANY; i++) {
    plb_verdict *v = judge(s->capture[i], r);
    printf("# %s: %s %.2f (limit %.2f, guard %.2f), %u cycles\n", cycle, plb_word_name(v->word), v->score, v->limit, v->guard, v->cycles.judged);
    agree += v->word == PLB_AGREES;
    assert_int_not_equal(v->word, PLB_DEPARTS);
    assert_true(v->cycles.judged >= 15);
    plb_verdict_free(v);
  }
  assert_true(agree >= 3);
  plb_capture *weak = healthy(500, 0.5);
  plb_verdict *v = judge(weak, r);
  printf("# %s: %s: %s\n", cycle, plb_word_name(v->word), v->sentence);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_string_equal(v->finding[0].direction, "low");
  assert_close(v->alignment.gain, 0.5, 0.05);
  plb_verdict_free(v);
  plb_capture_free(weak);
  plb_learned_free(learned);
  plb_reference_free(r);
}

static void test_learn__repeat(void **state) { learn_and_judge(*state, "repeat"); }
static void test_learn__edge(void **state) { learn_and_judge(*state, "edge:level=50%states,slope=rising"); }

static void test_learn__a_file_gives_the_same_verdict_as_memory(void **state) {
  shelf *s = *state;
  plb_learn_options o = options_for("repeat");
  plb_reference *r = NULL, *read = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_learn(&r, NULL, s->good, 6, &o, &err), PLB_OK);
  if (plb_reference_write(r, "same.xml", &err) != PLB_OK || plb_reference_read(&read, "same.xml", &err) != PLB_OK) {
    fail_msg("%s: %s", err.path, err.message);
  }
  for (size_t i = 5; i < 9; i++) {
    plb_verdict *a = judge(s->capture[i], r), *b = judge(s->capture[i], read);
    assert_int_equal(a->word, b->word);
    assert_close(a->score, b->score, 1e-6 * a->score);
    assert_close(a->limit, b->limit, 1e-12);
    assert_string_equal(a->sentence, b->sentence);
    plb_verdict_free(a);
    plb_verdict_free(b);
  }
  remove("same.xml");
  plb_reference_free(r);
  plb_reference_free(read);
}

static void test_learn__an_odd_capture_is_told_not_dropped(void **state) {
  shelf *s = *state;
  plb_capture *odd = healthy(900, 0.6);
  plb_good good[8];
  memcpy(good, s->good, sizeof good);
  good[3].capture = odd;
  plb_learn_options o = options_for("repeat");
  plb_reference *r = NULL;
  plb_learned *learned = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_learn(&r, &learned, good, 8, &o, &err), PLB_OK);
  assert_string_equal(learned->odd, "healthy-900.csv");
  assert_true(learned->odd_ratio > 4.0);
  assert_int_equal(plb_reference_exemplars(r), 8);
  plb_learned_free(learned);
  plb_reference_free(r);
  plb_capture_free(odd);
}

/* like keeps cycle, bands and what is written; good range and number of captures are new. */
static void test_learn__like_keeps_what_is_written(void **state) {
  shelf *s = *state;
  plb_learn_options o = options_for("repeat");
  plb_reference *first = NULL, *second = NULL;
  plb_error err = PLB_ERROR_INIT;
  o.bands = 5;
  o.title = "Valve of the heater";
  o.frequency = PLB_FREQUENCY_NONE;
  assert_int_equal(plb_learn(&first, NULL, s->good, 6, &o, &err), PLB_OK);
  plb_learn_options like = PLB_LEARN_OPTIONS_INIT;
  like.like = first;
  assert_int_equal(plb_learn(&second, NULL, s->good + 6, 4, &like, &err), PLB_OK);
  assert_string_equal(plb_reference_title(second), "Valve of the heater");
  assert_string_equal(plb_reference_name(second), plb_reference_name(first));
  assert_int_equal(plb_reference_exemplars(second), 4);
  plb_verdict *v = judge(s->capture[11], second);
  assert_int_equal(v->bands, 5);
  assert_string_equal(v->reference.cycle, "repeat");
  plb_verdict_free(v);
  plb_reference_free(first);
  plb_reference_free(second);
}

static bool says_blunt(const plb_learned *l) {
  bool says = false;
  for (size_t i = 0; i < l->notes; i++) {
    says = says || strstr(l->note[i], "Only gross faults will be found") != NULL;
  }
  return says;
}

/* Two vehicles of two heights: what a third one may show is anyone's guess. It learns, and says what it is worth. */
static void test_learn__says_when_two_vehicles_are_too_little(void **state) {
  const shelf *s = *state;
  plb_learn_options o = options_for("repeat");
  plb_good good[MANY];
  plb_reference *r = NULL;
  plb_learned *l = NULL;
  plb_error err = PLB_ERROR_INIT;
  memcpy(good, s->good, sizeof good);
  plb_capture *higher = healthy(900, 1.6);
  good[2].capture = higher;
  for (size_t i = 0; i < MANY; i++) {
    good[i].group = i < 2 ? "van 1" : "van 2";
  }
  assert_int_equal(plb_learn(&r, &l, good, 3, &o, &err), PLB_OK);
  assert_int_equal(l->groups, 2);
  assert_true(isfinite(l->limit) && isfinite(l->guard));
  assert_close(l->promise, 1.0 / 3.0, 1e-12); /* COMPUTED: (n + 1 - k) / (n + 1) with n = k = 2 */
  assert_true(says_blunt(l));
  plb_learned_free(l);
  plb_reference_free(r);
  plb_capture_free(higher);
  assert_int_equal(plb_learn(&r, &l, s->good, MANY, &o, &err), PLB_OK);
  assert_false(says_blunt(l));
  plb_learned_free(l);
  plb_reference_free(r);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(test_learn__two_captures_are_too_few, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_learn__a_bad_name_or_type_is_refused, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_learn__a_capture_without_the_channel_is_named, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_learn__repeat, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_learn__edge, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_learn__a_file_gives_the_same_verdict_as_memory, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_learn__an_odd_capture_is_told_not_dropped, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_learn__like_keeps_what_is_written, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_learn__says_when_two_vehicles_are_too_little, set_up, tear_down),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
