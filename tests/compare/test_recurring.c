/* One of several like parts is off: which k, how many, and in every cycle of a wheel the same tooth. Modelled. */
#include "tests/compare/population.h"
#include "tests/core/cmocka_all.h"
#include <math.h>
#include <string.h>

enum { SEEDS = 3 };

static void expect_every(const char *family, const char *fault, unsigned every, const char *direction) {
  const lesson_plan plan = {.family = family};
  plb_reference *r = population_learn(&plan);
  assert_non_null(r);
  for (uint64_t seed = 40; seed < 40 + SEEDS; seed++) {
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    q.seed = seed;
    q.fault = fault;
    q.severity = 1.0;
    plb_capture *c = population_draw(family, &q);
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print(fault, v);
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_int_equal(v->cycles.pattern, PLB_RECURRING);
    assert_int_equal(v->cycles.every, every);
    assert_in_range(v->cycles.phase, 1, every);
    assert_true(v->cycles.p_chance < 1e-3);
    assert_int_equal(v->finding[0].pattern, PLB_RECURRING);
    assert_string_equal(v->finding[0].direction, direction);
    assert_non_null(strstr(v->sentence, "one of every"));
    plb_verdict_free(v);
    plb_capture_free(c);
  }
  plb_reference_free(r);
}

static void test_recurring__one_bar_of_eight_and_of_twelve(void **state) {
  (void)state;
  expect_every("fuel-pump-current", "bad-bar", 8, "low");
  expect_every("blower-current", "bad-bar", 12, "low");
}

static void test_recurring__one_cylinder_of_four(void **state) {
  (void)state;
  /* what it blows back lifts the level for all; its own stroke, just before, stands lowest */
  expect_every("manifold-pressure-idle", "leaking-valve", 4, "low");
  expect_every("starter-current", "low-compression", 4, "low");
}

static void test_recurring__one_diode_of_six(void **state) {
  (void)state;
  expect_every("alternator-ripple", "open-diode", 6, "low");
}

static void test_recurring__the_same_tooth_in_every_turn_is_named(void **state) {
  (void)state;
  static const char *const family[] = {"wheel-speed-inductive", "crank-inductive-60-2-idle", "crank-hall-idle"};
  for (size_t i = 0; i < sizeof family / sizeof *family; i++) {
    const lesson_plan plan = {.family = family[i]};
    plb_reference *r = population_learn(&plan);
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    q.seed = 41;
    q.fault = "damaged-tooth";
    q.severity = 1.0;
    plb_capture *c = population_draw(family[i], &q);
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print(family[i], v);
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_int_equal(v->finding[0].pattern, PLB_LASTING);
    assert_int_equal(v->finding[0].count, v->finding[0].of);
    assert_true(says_all(v->sentence, "tooth|revolutions|wheel"));
    plb_verdict_free(v);
    plb_capture_free(c);
    plb_reference_free(r);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_recurring__one_bar_of_eight_and_of_twelve),
      cmocka_unit_test(test_recurring__one_cylinder_of_four),
      cmocka_unit_test(test_recurring__one_diode_of_six),
      cmocka_unit_test(test_recurring__the_same_tooth_in_every_turn_is_named),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
