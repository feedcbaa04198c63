#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "cycle/cycle.h"

/* What is written and what comes back: the same text where it is already the shortest form. */
static const struct round_trip {
  const char *text, *again;
} ROUND_TRIP[] = {
    {"wheel:teeth=60,missing=2", "wheel:teeth=60,missing=2"},
    {"wheel:missing=2,teeth=60,revs=1", "wheel:teeth=60,missing=2"},
    {"wheel:teeth=36", "wheel:teeth=36,missing=0"},
    {"wheel:teeth=60,missing=2,revs=2,channel=crank", "wheel:teeth=60,missing=2,revs=2,channel=crank"},
    {"edge:level=7V,slope=falling", "edge:level=7V,slope=falling"},
    {"edge:level=0.1V", "edge:level=0.1V"},
    {"edge:level=-1.5,slope=rising", "edge:level=-1.5,slope=rising"},
    {"edge:level=50%states", "edge:level=50%states"},
    {"edge:level=12.5%supply,slope=rising,channel=injector", "edge:level=12.5%supply,slope=rising,channel=injector"},
    {"edge", "edge"},
    {"repeat", "repeat"},
    {"repeat:period=0.04s", "repeat:period=0.04s"},
    {"repeat:period=40ms", "repeat:period=0.04s"},
    {"once", "once"},
    {"once:channel=map", "once:channel=map"},
    {"against:channel=pressure", "against:channel=pressure"},
    {"steady", "steady"},
};

static void test_spec__is_written_back_as_typed(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof ROUND_TRIP / sizeof *ROUND_TRIP; i++) {
    plb_cycle_spec spec, again;
    plb_error err = PLB_ERROR_INIT;
    char text[PLB_TEXT_SIZE], twice[PLB_TEXT_SIZE];
    assert_int_equal(plb_cycle_spec_parse(ROUND_TRIP[i].text, &spec, &err), PLB_OK);
    plb_cycle_spec_format(&spec, text, sizeof text);
    assert_string_equal(text, ROUND_TRIP[i].again);
    assert_int_equal(plb_cycle_spec_parse(text, &again, &err), PLB_OK);
    plb_cycle_spec_format(&again, twice, sizeof twice);
    assert_string_equal(twice, text);
  }
}

static void test_spec__fills_the_fields(void **state) {
  (void)state;
  plb_cycle_spec spec;
  assert_int_equal(plb_cycle_spec_parse("wheel:teeth=60,missing=2", &spec, NULL), PLB_OK);
  assert_int_equal(spec.kind, PLB_CYCLE_WHEEL);
  assert_int_equal(spec.teeth, 60);
  assert_int_equal(spec.missing, 2);
  assert_int_equal(spec.revs, 1);
  assert_int_equal(plb_cycle_spec_parse("edge:level=500mV,slope=falling", &spec, NULL), PLB_OK);
  assert_int_equal(spec.level.of, PLB_LEVEL_UNIT);
  assert_true(spec.level.value == 500.0);
  assert_string_equal(spec.level.unit, "mV");
  assert_int_equal(spec.slope, -1);
  assert_int_equal(plb_cycle_spec_parse("edge", &spec, NULL), PLB_OK);
  assert_true(isnan(spec.level.value));
  assert_int_equal(spec.slope, 0);
  assert_int_equal(plb_cycle_spec_parse("against:channel=throttle", &spec, NULL), PLB_OK);
  assert_string_equal(spec.against, "throttle");
  assert_string_equal(spec.channel, "");
}

static const char *const WRONG[] = {
    "",
    "gear:teeth=60",
    "wheel",
    "wheel:",
    "wheel:missing=2",
    "wheel:teeth=2",
    "wheel:teeth=513",
    "wheel:teeth=60.5",
    "wheel:teeth=60,missing=9",
    "wheel:teeth=60,missing=-1",
    "wheel:teeth=4,missing=3",
    "wheel:teeth=60,teeth=60",
    "wheel:teeth=60,revs=3",
    "wheel:teeth=60,period=1s",
    "wheel:teeth",
    "edge:level=V",
    "edge:level=7furlongs",
    "edge:level=%states",
    "edge:level=0%states",
    "edge:level=150%supply",
    "edge:slope=up",
    "repeat:period=0",
    "repeat:period=-1s",
    "repeat:period=3V",
    "once:level=3V",
    "against",
    "against:channel=",
    "steady,",
};

static void test_spec__refuses_with_a_right_example(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof WRONG / sizeof *WRONG; i++) {
    plb_cycle_spec spec;
    plb_error err = PLB_ERROR_INIT;
    const plb_status status = plb_cycle_spec_parse(WRONG[i], &spec, &err);
    if (status != PLB_EUSAGE)
      print_error("\"%s\" was not refused\n", WRONG[i]);
    assert_int_equal(status, PLB_EUSAGE);
    assert_non_null(strstr(err.message, "; ")); /* what is wrong; what to do */
  }
}

static void test_spec__a_too_long_role_is_refused(void **state) {
  (void)state;
  char text[2 * PLB_TEXT_SIZE] = "once:channel=";
  plb_cycle_spec spec;
  plb_error err = PLB_ERROR_INIT;
  memset(text + strlen(text), 'a', PLB_NAME_SIZE);
  assert_int_equal(plb_cycle_spec_parse(text, &spec, &err), PLB_EUSAGE);
  memset(text, 'a', sizeof text - 1);
  assert_int_equal(plb_cycle_spec_parse(text, &spec, &err), PLB_EUSAGE);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_spec__is_written_back_as_typed),
      cmocka_unit_test(test_spec__fills_the_fields),
      cmocka_unit_test(test_spec__refuses_with_a_right_example),
      cmocka_unit_test(test_spec__a_too_long_role_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
