/* Signals without a cycle and channels along another, from captures to the words that people read. All captures are modelled. */
#include "population.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static plb_verdict *judge(const plb_reference *r, const char *family, const char *fault, uint64_t seed) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = seed;
  request.fault = fault;
  request.severity = fault ? 1.0 : 0.0;
  plb_capture *c = population_draw(family, &request);
  assert_non_null(c);
  plb_verdict *v = population_judge(r, c, NULL, false);
  assert_non_null(v);
  plb_capture_free(c);
  return v;
}

typedef struct row {
  const char *fault; /* NULL: good */
  plb_word word;
  const char *words; /* separated by '|', all in the sentence */
} row;

static void check(const char *family, const row *rows, size_t count) {
  plb_reference *r = population_learn(&(lesson_plan){.family = family});
  assert_non_null(r);
  for (size_t i = 0; i < count; i++) {
    plb_verdict *v = judge(r, family, rows[i].fault, 300 + i);
    if (v->word != rows[i].word || !says_all(v->sentence, rows[i].words)) {
      population_print(rows[i].fault ? rows[i].fault : "good", v);
      fail_msg("%s, %s: %s", family, rows[i].fault ? rows[i].fault : "good", v->sentence);
    }
    assert_null(strstr(v->sentence, " deg")); /* nothing turns here */
    for (size_t b = 0; b < v->bands; b++)
      assert_true(isnan(v->band[b].worst_degrees));
    plb_verdict_free(v);
  }
  plb_reference_free(r);
}

static void test_kinds__a_supply_is_judged_by_its_levels(void **state) {
  (void)state;
  static const row rows[] = {
      {NULL, PLB_AGREES, "windows"},
      {"weak-regulator", PLB_DEPARTS, "sits|V low"},
      {"intermittent-contact", PLB_DEPARTS, "low by| windows"},
      {"ignition-interference", PLB_DEPARTS, "the highest levels"},
  };
  check("sensor-supply-5v", rows, sizeof rows / sizeof rows[0]);
}

static void test_kinds__two_tracks_are_judged_along_each_other(void **state) {
  (void)state;
  static const row rows[] = {
      {NULL, PLB_AGREES, "strokes"},
      {"worn-track", PLB_DEPARTS, "low by|V of track-2|strokes"},
      {"biased-track", PLB_DEPARTS, "high"},
      {"stuck", PLB_DEPARTS, "the travel of track-2 ends at"},
      {"joint", PLB_DEPARTS, "low"},
  };
  check("throttle-dual", rows, sizeof rows / sizeof rows[0]);
}

static void test_kinds__levels_to_both_sides_of_nought_have_no_polarity(void **state) {
  (void)state;
  static const row rows[] = {
      {NULL, PLB_AGREES, "windows"},
      {"intermittent-contact", PLB_DEPARTS, "windows"}, /* turned over it would look as good or as bad */
  };
  check("knock-idle", rows, sizeof rows / sizeof rows[0]);
}

static void test_kinds__a_cam_edge_is_judged_by_its_place_in_degrees(void **state) {
  (void)state;
  plb_reference *r = population_learn(&(lesson_plan){.family = "cam-crank", .captures = 12});
  assert_non_null(r);
  for (uint64_t seed = 500; seed < 502; seed++) {
    plb_verdict *good = judge(r, "cam-crank", NULL, seed), *jumped = judge(r, "cam-crank", "jumped-belt", seed);
    /* healthy belts differ by a degree: cells that lie under an edge in one good capture and not in another must not set the limit */
    if (!(good->limit < 8.0))
      fail_msg("limit %g", good->limit);
    assert_int_equal(jumped->word, PLB_DEPARTS);
    if (!says_all(jumped->sentence, "cam|late by|deg against crank"))
      fail_msg("%s", jumped->sentence);
    plb_verdict_free(good);
    plb_verdict_free(jumped);
  }
  plb_reference_free(r);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_kinds__a_supply_is_judged_by_its_levels),
      cmocka_unit_test(test_kinds__levels_to_both_sides_of_nought_have_no_polarity),
      cmocka_unit_test(test_kinds__a_cam_edge_is_judged_by_its_place_in_degrees),
      cmocka_unit_test(test_kinds__two_tracks_are_judged_along_each_other),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
