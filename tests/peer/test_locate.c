#include "tests/core/cmocka_all.h"
#include "tests/peer/four_points.h"
#include <math.h>
#include <plumbline/peer.h>
#include <string.h>

static plb_locate *locate(const plb_capture *c, size_t channels) {
  plb_placed placed[PLB_PLACES];
  plb_locate *found = NULL;
  plb_error err = PLB_ERROR_INIT;
  for (size_t k = 0; k < channels; k++) {
    placed[k] = (plb_placed){c, k, (plb_place)k};
  }
  assert_int_equal(plb_locate_loss(&found, placed, channels, NAN, &err), PLB_OK);
  return found;
}

/* The right place for each of eight faults and for a good circuit, on twenty drawings of each. */
static void test_locate__right_place_for_each_fault(void **state) {
  (void)state;
  static const plb_lost right[FOUR_FAULTS] = {[FOUR_GOOD] = PLB_LOST_COMPONENT,         [FOUR_WIRE_OPENS] = PLB_LOST_WIRING,
                                              [FOUR_WIRE_RESISTS] = PLB_LOST_WIRING,    [FOUR_SUPPLY_DROPS] = PLB_LOST_SUPPLY,
                                              [FOUR_SUPPLY_RESISTS] = PLB_LOST_SUPPLY,  [FOUR_GROUND_RESISTS] = PLB_LOST_GROUND,
                                              [FOUR_GROUND_OPENS] = PLB_LOST_GROUND,    [FOUR_SENSOR_SKIPS] = PLB_LOST_COMPONENT,
                                              [FOUR_SCOPE_GROUND] = PLB_LOST_INSTRUMENT};
  for (int fault = FOUR_GOOD; fault < FOUR_FAULTS; fault++) {
    for (uint64_t seed = 1; seed <= 20; seed++) {
      plb_capture *c = four_points_draw((four_fault)fault, seed);
      plb_locate *found = locate(c, 4);
      if (found->where != right[fault]) {
        fail_msg("fault %d, seed %d: %s instead of %s: %s", fault, (int)seed, plb_lost_name(found->where), plb_lost_name(right[fault]),
                 found->sentence);
      }
      assert_true(found->checks >= 2);
      plb_locate_free(found);
      plb_capture_free(c);
    }
  }
}

static void test_locate__one_channel_names_the_deciding_point(void **state) {
  (void)state;
  plb_capture *c = four_points_draw(FOUR_WIRE_OPENS, 7);
  plb_locate *found = locate(c, 1);
  assert_int_equal(found->where, PLB_LOST_UNKNOWN);
  assert_non_null(strstr(found->next_point, "control unit"));
  plb_locate_free(found);
  plb_capture_free(c);
}

/* With the two ends alone a supply fault cannot be told from the part: then the next point is asked for. */
static void test_locate__two_ends_ask_for_ground_and_supply(void **state) {
  (void)state;
  plb_capture *c = four_points_draw(FOUR_SUPPLY_DROPS, 3);
  plb_locate *found = locate(c, 2);
  assert_int_equal(found->where, PLB_LOST_COMPONENT);
  assert_non_null(strstr(found->next_point, "ground pin"));
  assert_non_null(strstr(found->evidence, "not measured"));
  plb_locate_free(found);
  plb_capture_free(c);
}

/* Captures one after the other show the resistance of the wire, and say that they were not taken together. */
static void test_locate__captures_of_one_wire_compare_levels(void **state) {
  (void)state;
  plb_capture *a = four_points_draw(FOUR_WIRE_RESISTS, 4), *b = four_points_draw(FOUR_WIRE_RESISTS, 5);
  const plb_placed placed[2] = {{a, 0, PLB_AT_COMPONENT}, {b, 1, PLB_AT_CONTROL_UNIT}};
  plb_locate *found = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_locate_loss(&found, placed, 2, NAN, &err), PLB_OK);
  assert_int_equal(found->where, PLB_LOST_WIRING);
  assert_int_equal(found->reasons, 1);
  assert_true(isnan(found->time_s));
  plb_locate_free(found);
  plb_capture_free(a);
  plb_capture_free(b);
}

static void test_locate__refuses_a_place_twice_and_no_wire(void **state) {
  (void)state;
  plb_capture *c = four_points_draw(FOUR_GOOD, 1);
  const plb_placed twice[2] = {{c, 0, PLB_AT_COMPONENT}, {c, 1, PLB_AT_COMPONENT}}, none[1] = {{c, 2, PLB_AT_SUPPLY}};
  plb_locate *found = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_locate_loss(&found, twice, 2, NAN, &err), PLB_EUSAGE);
  assert_int_equal(plb_locate_loss(&found, none, 1, NAN, &err), PLB_EUSAGE);
  assert_null(found);
  plb_capture_free(c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_locate__right_place_for_each_fault), cmocka_unit_test(test_locate__one_channel_names_the_deciding_point),
      cmocka_unit_test(test_locate__two_ends_ask_for_ground_and_supply), cmocka_unit_test(test_locate__captures_of_one_wire_compare_levels),
      cmocka_unit_test(test_locate__refuses_a_place_twice_and_no_wire)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
