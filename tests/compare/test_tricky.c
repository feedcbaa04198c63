/* The traces on which a comparator goes wrong, each with its pair: the word, the reason or finding, and the words that are said. Modelled. */
#include "tests/compare/population.h"
#include "tests/core/cmocka_all.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SEED = 5 };

static plb_verdict *judge_case(const lesson_plan *plan, const char *name, const char *condition, bool connected) {
  plb_reference *r = population_learn(plan);
  assert_non_null(r);
  plb_capture *c = population_draw_case(name, SEED);
  plb_verdict *v = population_judge(r, c, condition, connected);
  population_print(name, v);
  assert_true(strlen(v->sentence) <= 160);
  plb_capture_free(c);
  plb_reference_free(r);
  return v;
}

static void expect_unjudged(plb_verdict *v, const char *code, const char *words, const char *action) {
  assert_int_equal(v->word, PLB_UNJUDGED);
  const plb_reason *why = population_reason(v, code);
  assert_non_null(why);
  assert_true(why->blocks);
  assert_true(says_all(v->sentence, words));
  assert_true(says_all(why->action, action));
  assert_int_equal(v->findings, 0); /* nothing is called a fault */
  plb_verdict_free(v);
}

static const plb_finding *find(const plb_verdict *v, const char *channel, const char *direction) {
  for (size_t i = 0; i < v->findings; i++) {
    if (strcmp(v->finding[i].channel, channel) == 0 && strcmp(v->finding[i].direction, direction) == 0) {
      return &v->finding[i];
    }
  }
  return NULL;
}

static void test_tricky__a_clamped_coil_turning_slowly_is_outside_in_speed_and_nothing_else(void **state) {
  (void)state;
  const lesson_plan fast = {.family = "crank-inductive-60-2-clamped"};
  expect_unjudged(judge_case(&fast, "clamped-coil-slow", NULL, false), "speed-outside", "speed outside",
                  "known-good's speed");
}

static void test_tricky__a_clamped_coil_matches_where_the_good_captures_turn_as_slowly(void **state) {
  (void)state;
  const lesson_plan both = {.family = "crank-inductive-60-2-clamped",
                            .captures = 12,
                            .speed_per_min = 450,
                            .speed_step_per_min = 230,
                            .duration_s = 1.5};
  plb_verdict *v = judge_case(&both, "clamped-coil-slow", NULL, false);
  assert_int_equal(v->word, PLB_AGREES);
  plb_verdict_free(v);
}

static void test_tricky__an_unplugged_hall_sensor_tells_nothing(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "crank-hall-cranking"};
  expect_unjudged(judge_case(&plan, "hall-unplugged", NULL, false), "unplugged", "0 V|open-collector|pull-up",
                  "plug it in|--connected");
  expect_unjudged(judge_case(&plan, "hall-unplugged", "connection=unplugged", false), "unplugged", "unplugged",
                  "plug it in");
}

static void test_tricky__a_connected_hall_sensor_that_is_flat_is_missing(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "crank-hall-cranking"};
  plb_verdict *v = judge_case(&plan, "hall-connected-flat", NULL, true);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_non_null(find(v, "crank", "missing"));
  assert_true(says_all(v->sentence, "missing|pull-up"));
  plb_verdict_free(v);
}

static void test_tricky__a_tenth_with_its_noise_is_the_probe_factor(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "crank-inductive-60-2-idle"};
  expect_unjudged(judge_case(&plan, "factor-forgotten", NULL, false), "factor", "probe factor|10 times|noise",
                  "attenuator|:10");
}

static void test_tricky__a_tenth_with_the_usual_noise_is_low(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "crank-inductive-60-2-idle"};
  plb_verdict *v = judge_case(&plan, "amplitude-a-tenth", NULL, false);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_string_equal(v->finding[0].direction, "low");
  assert_true(says_all(v->sentence, "low|probe factor"));
  assert_true(says_all(v->finding[0].check_first[1], "air gap"));
  plb_verdict_free(v);
}

static void test_tricky__an_inverted_lead_is_told_from_crossed_wires(void **state) {
  (void)state;
  const lesson_plan one = {.family = "crank-inductive-60-2-idle"}, two = {.family = "cam-crank"};
  expect_unjudged(judge_case(&one, "lead-inverted", NULL, false), "lead-inverted", "lead inverted",
                  "swap the leads|wires are crossed");
  plb_verdict *v = judge_case(&two, "wires-crossed", NULL, false);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_true(says_all(v->sentence, "crank|upside down|wires crossed"));
  assert_non_null(population_reason(v, "lead-inverted")); /* the cheaper check is said too */
  assert_true(says_all(v->finding[0].check_first[0], "leads"));
  plb_verdict_free(v);
}

static void test_tricky__one_low_hump_in_eight_is_recurring(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "fuel-pump-current"};
  plb_verdict *v = judge_case(&plan, "pump-bad-bar", NULL, false);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_int_equal(v->cycles.pattern, PLB_RECURRING);
  assert_int_equal(v->cycles.every, 8);
  assert_in_range(v->cycles.phase, 1, 8);
  assert_true(v->cycles.p_chance < 1e-3);
  assert_string_equal(v->finding[0].direction, "low");
  assert_in_range(v->finding[0].count, v->finding[0].of / 8 - 4, v->finding[0].of / 8 + 4);
  assert_true(says_all(v->sentence, "low|one of every 8|bar"));
  plb_verdict_free(v);
}

static void test_tricky__the_acknowledge_bit_is_no_fault(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "can-pair"};
  plb_verdict *v = judge_case(&plan, "can-acknowledge", NULL, false);
  assert_int_equal(v->word, PLB_AGREES);
  plb_verdict_free(v);
}

static void test_tricky__every_bit_high_is_the_termination(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "can-pair"};
  plb_verdict *v = judge_case(&plan, "can-termination", NULL, false);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_true(says_all(v->sentence, "high|termination"));
  bool amplitude = false;
  for (size_t i = 0; i < v->findings; i++) {
    const plb_finding *f = &v->finding[i];
    amplitude = amplitude ||
                (strcmp(f->band, "amplitude") == 0 && strcmp(f->direction, "high") == 0 && f->pattern == PLB_LASTING);
  }
  assert_true(amplitude);
  plb_verdict_free(v);
}

static void test_tricky__a_switched_pull_up_is_no_dropout(void **state) {
  (void)state;
  const lesson_plan one = {.family = "coolant-warm-up"};
  const lesson_plan both = {.family = "coolant-warm-up", .captures = 14, .second_state = "pull-up-switch"};
  expect_unjudged(judge_case(&one, "coolant-pull-up-switch", NULL, false), "state-outside", "jump up|pull-up",
                  "thermometer|learn good captures");
  plb_verdict *v = judge_case(&both, "coolant-pull-up-switch", NULL, false);
  assert_int_equal(v->word, PLB_AGREES);
  plb_verdict_free(v);
}

static void test_tricky__three_milliseconds_to_five_volts_is_an_open_circuit(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "coolant-warm-up", .duration_s = 300};
  plb_verdict *v = judge_case(&plan, "coolant-open", NULL, false);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_int_equal(v->finding[0].pattern, PLB_INTERMITTENT);
  assert_string_equal(v->finding[0].direction, "high");
  assert_true(v->finding[0].size > 4.5 && v->finding[0].size < 5.5);
  assert_true(says_all(v->sentence, "V|ms|back|connector"));
  plb_verdict_free(v);
}

static void test_tricky__even_compressions_that_are_low_are_not_good(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "starter-current"};
  expect_unjudged(judge_case(&plan, "cranking-even-low", NULL, false), "load-outside",
                  "even|balance|level cannot be judged", "compression");
}

static void test_tricky__a_coil_sampled_slowly_has_no_peak_but_a_dwell(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "coil-primary-voltage"};
  plb_reference *r = population_learn(&plan);
  plb_capture *c = population_draw_case("coil-sampled-slowly", SEED);
  plb_verdict *v = population_judge(r, c, NULL, false);
  population_print("coil-sampled-slowly", v);
  bool duration = false;
  for (size_t i = 0; i < v->readings; i++) {
    const plb_reading_result *k = &v->reading[i];
    duration = duration || (strcmp(k->unit, "s") == 0 && k->value > 0.0 && k->status != PLB_UNJUDGED);
    assert_true(strcmp(k->name, "amplitude") != 0 || k->status == PLB_UNJUDGED);
  }
  assert_true(duration);
  plb_capture_free(c);
  plb_reference_free(r);
  expect_unjudged(v, "sparse", "too thinly|peaks", "sample at|kHz or more");
}

static void test_tricky__ripple_without_load_shows_no_diode(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "alternator-ripple"};
  expect_unjudged(judge_case(&plan, "ripple-no-load", NULL, false), "load-outside", "without load|diode",
                  "put load on");
}

static void test_tricky__an_open_diode_dips_once_in_each_electrical_turn(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "alternator-ripple"};
  plb_verdict *v = judge_case(&plan, "ripple-open-diode", NULL, false);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_int_equal(v->cycles.pattern, PLB_RECURRING);
  assert_int_equal(v->cycles.every, 6);
  assert_string_equal(v->finding[0].direction, "low");
  assert_true(says_all(v->sentence, "one of every 6|diode"));
  plb_verdict_free(v);
}

static void test_tricky__variable_timing_is_told_from_a_jumped_belt(void **state) {
  (void)state;
  const lesson_plan idle = {.family = "cam-crank"},
                    stated = {.family = "cam-crank", .condition = {"speed=600..4000/min"}};
  expect_unjudged(judge_case(&idle, "cam-advanced", NULL, false), "speed-outside", "speed outside", "speed");
  expect_unjudged(judge_case(&stated, "cam-advanced", NULL, false), "state-outside", "cam|early|variable timing",
                  "hot idle|parked");
  plb_verdict *v = judge_case(&idle, "cam-late-everywhere", NULL, false);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_string_equal(v->finding[0].channel, "cam");
  assert_string_equal(v->finding[0].direction, "late");
  assert_string_equal(v->finding[0].unit, "deg");
  assert_true(fabs(v->finding[0].size - 18.0) < 2.5);
  assert_true(says_all(v->sentence, "cam|late|deg|crank"));
  plb_verdict_free(v);
}

static void test_tricky__a_cold_oxygen_sensor_tells_nothing(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "oxygen-front"};
  expect_unjudged(judge_case(&plan, "oxygen-cold", NULL, false), "state-outside", "0.4|not warm",
                  "heater|warm the engine up");
}

static void test_tricky__an_oxygen_sensor_that_answers_to_enrichment_is_not_blamed(void **state) {
  (void)state;
  const lesson_plan answer = {.family = "oxygen-front", .cycle = "once", .state = "enriched"},
                    loop = {.family = "oxygen-front"};
  plb_verdict *v = judge_case(&answer, "oxygen-enriched", NULL, false);
  assert_int_equal(v->word, PLB_AGREES);
  plb_verdict_free(v);
  v = judge_case(&loop, "oxygen-enriched", NULL, false); /* against the switching at idle: the mixture is in question */
  assert_int_not_equal(v->word, PLB_AGREES);
  for (size_t i = 0; i < v->findings; i++) {
    for (size_t k = 0; k < PLB_CHECK_MOST; k++) {
      assert_null(strstr(v->finding[i].check_first[k], "the component"));
    }
  }
  assert_true(v->findings == 0 || says_all(v->finding[0].check_first[0], "mixture"));
  plb_verdict_free(v);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_tricky__a_clamped_coil_turning_slowly_is_outside_in_speed_and_nothing_else),
      cmocka_unit_test(test_tricky__a_clamped_coil_matches_where_the_good_captures_turn_as_slowly),
      cmocka_unit_test(test_tricky__an_unplugged_hall_sensor_tells_nothing),
      cmocka_unit_test(test_tricky__a_connected_hall_sensor_that_is_flat_is_missing),
      cmocka_unit_test(test_tricky__a_tenth_with_its_noise_is_the_probe_factor),
      cmocka_unit_test(test_tricky__a_tenth_with_the_usual_noise_is_low),
      cmocka_unit_test(test_tricky__an_inverted_lead_is_told_from_crossed_wires),
      cmocka_unit_test(test_tricky__one_low_hump_in_eight_is_recurring),
      cmocka_unit_test(test_tricky__the_acknowledge_bit_is_no_fault),
      cmocka_unit_test(test_tricky__every_bit_high_is_the_termination),
      cmocka_unit_test(test_tricky__a_switched_pull_up_is_no_dropout),
      cmocka_unit_test(test_tricky__three_milliseconds_to_five_volts_is_an_open_circuit),
      cmocka_unit_test(test_tricky__even_compressions_that_are_low_are_not_good),
      cmocka_unit_test(test_tricky__a_coil_sampled_slowly_has_no_peak_but_a_dwell),
      cmocka_unit_test(test_tricky__ripple_without_load_shows_no_diode),
      cmocka_unit_test(test_tricky__an_open_diode_dips_once_in_each_electrical_turn),
      cmocka_unit_test(test_tricky__variable_timing_is_told_from_a_jumped_belt),
      cmocka_unit_test(test_tricky__a_cold_oxygen_sensor_tells_nothing),
      cmocka_unit_test(test_tricky__an_oxygen_sensor_that_answers_to_enrichment_is_not_blamed),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
