/* Captures much longer than the good ones: judged in blocks of their length, counted over the whole. Modelled. */
#include "core/random.h"
#include "tests/compare/population.h"
#include "tests/core/cmocka_all.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double longer_s = 8.0; /* the good captures last 0.8 s */

static plb_capture *draw_long(uint64_t seed) {
  plb_model_request q = PLB_MODEL_REQUEST_INIT;
  q.seed = seed;
  q.duration_s = longer_s;
  return population_draw("crank-inductive-60-2-idle", &q);
}

static plb_reference *learn(void) {
  const lesson_plan plan = {.family = "crank-inductive-60-2-idle", .captures = 12};
  plb_reference *r = population_learn(&plan);
  assert_non_null(r);
  return r;
}

static plb_capture *changed(const plb_capture *c, void (*change)(double *x, size_t n)) {
  plb_capture *out = plb_capture_new();
  double *x = plb_capture_copy_values(c, 0);
  plb_error err = PLB_ERROR_INIT;
  assert_true(out != NULL && x != NULL);
  out->rate_hz = c->rate_hz;
  change(x, c->samples);
  assert_int_equal(plb_capture_add_real(out, "crank", "V", x, c->samples, &err), PLB_OK);
  free(x);
  return out;
}

static bool says_blocks(const plb_verdict *v) {
  for (size_t i = 0; i < v->condition_notes; i++) {
    if (says_all(v->condition_note[i], "blocks as long as the good captures|worst one counts")) {
      return true;
    }
  }
  return false;
}

static void test_blocks__long_good_captures_match(void **state) {
  (void)state;
  plb_reference *r = learn();
  unsigned departs = 0;
  for (uint64_t seed = 500; seed < 505; seed++) {
    plb_capture *c = draw_long(seed);
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print("long and good", v);
    departs += v->word == PLB_DEPARTS;
    assert_true(says_blocks(v));
    assert_true(v->cycles.judged > 80);
    plb_verdict_free(v);
    plb_capture_free(c);
  }
  assert_int_equal(departs, 0);
  plb_reference_free(r);
}

/* Noise for a twelfth of the time: averaged over the whole it would be 0.29 of what it is there. */
static void add_burst_of_noise(double *x, size_t n) {
  plb_random r;
  plb_random_seed(&r, 9);
  for (size_t i = n / 2; i < n / 2 + n / 12; i++) {
    x[i] += 0.22 * plb_random_normal(&r);
  }
}

static void test_blocks__what_is_there_for_a_part_of_the_time_is_not_averaged_away(void **state) {
  (void)state;
  plb_reference *r = learn();
  plb_capture *good = draw_long(501), *bad = changed(good, add_burst_of_noise);
  plb_verdict *before = population_judge(r, good, NULL, false), *v = population_judge(r, bad, NULL, false);
  population_print("noise for a twelfth of the time", v);
  assert_true(v->score > 1.5 * before->score);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_true(v->p_value > 1.0 / 13.0); /* times the number of blocks */
  plb_verdict_free(before);
  plb_verdict_free(v);
  plb_capture_free(good);
  plb_capture_free(bad);
  plb_reference_free(r);
}

/* A tooth that is gone in three turns, far apart: 1 ms, about a tooth at idle, with no signal. */
static void lose_three_teeth(double *x, size_t n) {
  for (size_t k = 1; k <= 3; k++) {
    for (size_t i = k * n / 4; i < k * n / 4 + n / 8000; i++) {
      x[i] = 0.0;
    }
  }
}

static void test_blocks__three_of_a_hundred_turns_are_counted_over_the_whole(void **state) {
  (void)state;
  plb_reference *r = learn();
  plb_capture *good = draw_long(502), *bad = changed(good, lose_three_teeth);
  plb_verdict *v = population_judge(r, bad, NULL, false);
  population_print("three teeth lost", v);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_int_equal(v->cycles.pattern, PLB_INTERMITTENT);
  assert_int_equal(v->cycles.departing, 3);
  assert_true(v->finding[0].of > 80);
  plb_verdict_free(v);
  plb_capture_free(good);
  plb_capture_free(bad);
  plb_reference_free(r);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_blocks__long_good_captures_match),
      cmocka_unit_test(test_blocks__what_is_there_for_a_part_of_the_time_is_not_averaged_away),
      cmocka_unit_test(test_blocks__three_of_a_hundred_turns_are_counted_over_the_whole),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
