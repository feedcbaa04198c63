/* Stated conditions, as --condition takes them. */
#include "tests/core/close.h"
#include <math.h>
#include <plumbline/compare.h>
#include <string.h>

static void reads(const char *text, const char *name, const char *word, double low, double high, const char *unit) {
  plb_stated s;
  plb_error err = PLB_ERROR_INIT;
  if (plb_stated_parse(text, &s, &err) != PLB_OK) {
    fail_msg("%s: %s", text, err.message);
  }
  assert_string_equal(s.name, name);
  assert_string_equal(s.word, word);
  assert_string_equal(s.unit, unit);
  if (word[0] == '\0') {
    assert_close(s.low, low, 0.0);
    assert_close(s.high, high, 0.0);
  }
}

static void test_condition__words_numbers_and_ranges(void **state) {
  (void)state;
  reads("load=half", "load", "half", NAN, NAN, "");
  reads("state=hot-idle", "state", "hot-idle", NAN, NAN, "");
  reads("speed=600..6000/min", "speed", "", 600, 6000, "/min");
  reads("supply=12..15V", "supply", "", 12, 15, "V");
  reads("supply=13.8V", "supply", "", 13.8, 13.8, "V");
  reads("supply=12.5..14.5V", "supply", "", 12.5, 14.5, "V");
  reads("coolant=-10..95Cel", "coolant", "", -10, 95, "Cel");
  reads("load=0.5", "load", "", 0.5, 0.5, "");
}

static void test_condition__what_cannot_be_read_is_refused(void **state) {
  (void)state;
  static const char *const bad[] = {"load", "=half", "load=", "speed=6000..600/min", "speed=low..high", "speed=600..6000rpm", "speed=600..", ""};
  for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
    plb_stated s;
    plb_error err = PLB_ERROR_INIT;
    assert_int_equal(plb_stated_parse(bad[i], &s, &err), PLB_EUSAGE);
    assert_true(strlen(err.message) > 0);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_condition__words_numbers_and_ranges),
      cmocka_unit_test(test_condition__what_cannot_be_read_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
