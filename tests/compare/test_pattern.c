/* Lasting, intermittent, recurring: counts and the test against chance. */
#include "compare/explain.h"
#include "core/random.h"
#include "tests/core/close.h"
#include <math.h>
#include <string.h>

static void test_pattern__every_cycle_is_lasting(void **state) {
  (void)state;
  bool shown[24];
  memset(shown, true, sizeof shown);
  const plb_pattern_found f = plb_pattern_of(shown, 24);
  assert_int_equal(f.pattern, PLB_LASTING);
  assert_int_equal(f.count, 24);
  assert_int_equal(f.of, 24);
}

static void test_pattern__three_odd_cycles_are_intermittent(void **state) {
  (void)state;
  bool shown[24] = {false};
  shown[3] = shown[4] = shown[17] = true;
  const plb_pattern_found f = plb_pattern_of(shown, 24);
  assert_int_equal(f.pattern, PLB_INTERMITTENT);
  assert_int_equal(f.count, 3);
  assert_int_equal(f.every, 0);
}

/* One low commutator bar of eight, in every turn. */
static void test_pattern__one_in_eight_recurs_with_its_place(void **state) {
  (void)state;
  bool shown[300] = {false};
  for (size_t i = 5; i < 300; i += 8) {
    shown[i] = true;
  }
  const plb_pattern_found f = plb_pattern_of(shown, 300);
  assert_int_equal(f.pattern, PLB_RECURRING);
  assert_int_equal(f.every, 8);
  assert_int_equal(f.phase, 6);
  assert_true(f.p_chance < 1e-6);
}

static void test_pattern__one_in_two_is_not_taken_for_one_in_four(void **state) {
  (void)state;
  bool shown[60];
  for (size_t i = 0; i < 60; i++) {
    shown[i] = i % 2 == 1;
  }
  const plb_pattern_found f = plb_pattern_of(shown, 60);
  assert_int_equal(f.pattern, PLB_RECURRING);
  assert_int_equal(f.every, 2);
  assert_int_equal(f.phase, 2);
}

/* Random cycles must hardly ever look recurring: the test allows one in a thousand after counting every k and phase tried. */
static void test_pattern__chance_is_hardly_ever_recurring(void **state) {
  (void)state;
  plb_random r;
  plb_random_seed(&r, 11);
  int recurring = 0;
  for (int trial = 0; trial < 4000; trial++) {
    bool shown[48];
    for (size_t i = 0; i < 48; i++) {
      shown[i] = plb_random_uniform(&r) < 0.2;
    }
    recurring += plb_pattern_of(shown, 48).pattern == PLB_RECURRING;
  }
  assert_true(recurring <= 12); /* expected at most 4; 12 is four standard deviations above */
}

static void test_pattern__nothing_shown_is_no_pattern(void **state) {
  (void)state;
  bool shown[3] = {false};
  assert_int_equal(plb_pattern_of(shown, 3).pattern, PLB_PATTERN_NONE);
  assert_int_equal(plb_pattern_of(NULL, 0).pattern, PLB_PATTERN_NONE);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_pattern__every_cycle_is_lasting),
      cmocka_unit_test(test_pattern__three_odd_cycles_are_intermittent),
      cmocka_unit_test(test_pattern__one_in_eight_recurs_with_its_place),
      cmocka_unit_test(test_pattern__one_in_two_is_not_taken_for_one_in_four),
      cmocka_unit_test(test_pattern__chance_is_hardly_ever_recurring),
      cmocka_unit_test(test_pattern__nothing_shown_is_no_pattern),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
