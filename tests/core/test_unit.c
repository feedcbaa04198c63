#include "cmocka_all.h"
#include "core/unit.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { EXACT = 0 };

typedef struct row {
  double value;
  const char *from, *to;
  double expected;
  double tolerance; /* relative; EXACT: the same double */
} row;

static void check_rows(const row *rows, size_t count) {
  for (size_t i = 0; i < count; i++) {
    const row *r = &rows[i];
    double got = NAN;
    if (!plb_unit_convert(r->value, r->from, r->to, &got))
      fail_msg("%s to %s is refused", r->from, r->to);
    if (!(fabs(got - r->expected) <= r->tolerance * fabs(r->expected)))
      fail_msg("%.17g %s is %.17g %s, expected %.17g", r->value, r->from, got, r->to, r->expected);
  }
}

/* UCUM: ucum-essence.xml and section 2.1.4. VERIFIED */
static void test_unit__values_of_the_standard(void **state) {
  (void)state;
  static const row rows[] = {
      {1, "bar", "kPa", 100, EXACT},      {1, "circ/min", "deg/s", 6, EXACT},
      {1, "circ", "deg", 360, EXACT},     {1, "circ", "rad", 6.283185307179586, 1e-15},
      {1, "mbar", "hPa", 1, EXACT},       {60, "/min", "Hz", 1, EXACT},
      {5, "s-1", "Hz", 5, EXACT},         {5, "kg.m+2.s-2", "kJ", 0.005, EXACT},
      {60, "{rev}/min", "1/s", 1, EXACT}, {1, "1/min", "/min", 1, EXACT},
      {5, "{rpm}", "1", 5, EXACT},        {50, "%", "1", 0.5, EXACT},
      {1, "Wb/s", "V", 1, EXACT},         {1, "T.m2", "Wb", 1, EXACT},
  };
  check_rows(rows, sizeof rows / sizeof rows[0]);
}

/* SI and definitions of inch, pound and standard gravity. VERIFIED by hand: 0.45359237 * 9.80665 / 0.0254^2 */
static void test_unit__values_of_the_trade(void **state) {
  (void)state;
  static const row rows[] = {
      {1, "[psi]", "Pa", 6894.757293168361, 1e-15},
      {25, "Cel", "K", 298.15, 1e-15},
      {212, "[degF]", "Cel", 100, 1e-13},
      {-40, "Cel", "[degF]", -40, 1e-13},
      {1, "h", "s", 3600, EXACT},
      {3.6, "kg/h", "g/s", 1, EXACT},
      {1, "A.h", "C", 3600, EXACT},
      {1, "N.m", "J", 1, EXACT},
      {1, "V.A", "W", 1, EXACT},
      {2, "V/A", "Ohm", 2, EXACT},
      {36, "km/h", "m/s", 10, EXACT},
      {1, "kOhm", "MOhm", 0.001, EXACT},
      {1, "uF", "nF", 1000, EXACT},
      {1, "[g]", "m/s2", 9.80665, EXACT},
      {1, "Ohm.F", "s", 1, EXACT},
      {1, "H/Ohm", "s", 1, EXACT},
      {100, "G", "mT", 10, EXACT},
      {60, "[mi_i]/h", "km/h", 96.56064, 1e-15},
  };
  check_rows(rows, sizeof rows / sizeof rows[0]);
}

/* What a person writes must be what is compared: no 0.009000000000000001. */
static void test_unit__decimal_steps_round_once(void **state) {
  (void)state;
  double out;
  for (int i = 1; i < 1000; i++) {
    assert_true(plb_unit_convert(i, "ms", "s", &out));
    char text[32];
    double expected;
    snprintf(text, sizeof text, "%de-3", i);
    sscanf(text, "%lf", &expected);
    assert_true(out == expected);
    assert_true(plb_unit_convert(i, "us", "ms", &out));
    assert_true(out == expected);
  }
}

static void test_unit__same_code_changes_nothing(void **state) {
  (void)state;
  double out;
  assert_true(plb_unit_convert(0.1, "Cel", "Cel", &out));
  assert_true(out == 0.1);
  assert_true(plb_unit_convert(0.1, "[psi]", "[psi]", &out));
  assert_true(out == 0.1);
}

static void test_unit__there_and_back(void **state) {
  (void)state;
  static const char *const pairs[][2] = {
      {"V", "mV"}, {"bar", "[psi]"}, {"circ/min", "rad/s"}, {"Cel", "[degF]"}, {"h", "ms"}, {"K", "Cel"}, {"%", "1"}};
  for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
    double there = NAN, back = NAN;
    assert_true(plb_unit_convert(17.25, pairs[i][0], pairs[i][1], &there));
    assert_true(plb_unit_convert(there, pairs[i][1], pairs[i][0], &back));
    assert_true(fabs(back - 17.25) < 1e-12);
  }
}

static void test_unit__different_kinds_are_refused(void **state) {
  (void)state;
  static const char *const pairs[][2] = {
      {"V", "A"},   {"Hz", "s"},    {"circ/min", "/min"}, /* a turn carries the angle */
      {"deg", "1"}, {"Cel", "deg"}, {"{rpm}", "/min"}, /* an annotation alone is the number one */
      {"N.m", "N"}, {"dB", "1"},    {"F", "Cel"},         {"C", "Cel"},
      {"T", "Wb"},  {"V/s", "V"},   {"ohm", "Ohm"},       {"Ohm", "ohm"},
  };
  double out = 7;
  for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++)
    if (plb_unit_convert(1, pairs[i][0], pairs[i][1], &out))
      fail_msg("%s to %s is accepted", pairs[i][0], pairs[i][1]);
  assert_true(out == 7);
}

static void test_unit__codes_of_the_trade_are_known(void **state) {
  (void)state;
  static const char *const codes[] = {
      "V",        "mV",    "uV",     "kV",   "A",        "mA",      "uA",  "kA",  "Ohm", "kOhm",
      "MOhm",     "mOhm",  "Hz",     "kHz",  "MHz",      "s",       "ms",  "us",  "ns",  "min",
      "h",        "deg",   "rad",    "circ", "Pa",       "kPa",     "MPa", "hPa", "bar", "mbar",
      "K",        "[psi]", "Cel",    "%",    "1",        "/min",    "F",   "uF",  "nF",  "pF",
      "H",        "mH",    "1/min",  "uH",   "[degF]",   "T",       "mT",  "Wb",  "C",   "J",
      "mJ",       "W",     "g/s",    "V/s",  "A.h",      "kg/h",    "N.m", "1/s", "dB",  "{rev}/min",
      "circ/min", "{rpm}", "V{rms}", "m/s2", "kg.m2/s3", "{a}/{b}", "m+2", "s-1"};
  for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
    if (!plb_unit_known(codes[i]))
      fail_msg("%s is refused", codes[i]);
}

static void test_unit__what_is_not_a_code_is_refused(void **state) {
  (void)state;
  static const char *const codes[] = {
      "",     "ohm",  "degC",  "rpm",       "volt",         "v",
      "Mhz",  "KHz",  "mmin",  "mdeg",      "kcirc",        "kkg",
      "V ",   " V",   "V//s",  "V/",        "V.",           "/",
      ".V",   "V{",   "V}",    "{",         "Cel/s",        "mCel",
      "/Cel", "Cel2", "dB/V",  "2V",        "m22",          "m0",
      "(V)",  "psi",  "V{a}b", "V/{",       "1.",           "{a{b}}",
      "-1",   "s+",   "mdB",   "\xC2\xB5s", "\xC2\xB0\x43", "V.V.V.V.V.V.V.V.V.V.V.V.V.V.V.V.V"};
  for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
    if (plb_unit_known(codes[i]))
      fail_msg("\"%s\" is accepted", codes[i]);
}

static void test_unit__prefix_gives_way_to_a_whole_atom(void **state) {
  (void)state;
  static const row rows[] = {{1, "min", "s", 60, EXACT},   {1, "h", "min", 60, EXACT},   {1, "hPa", "Pa", 100, EXACT},
                             {1, "mT", "T", 0.001, EXACT}, {1, "T", "mT", 1000, EXACT},  {1, "dm", "m", 0.1, EXACT},
                             {1, "dam", "m", 10, EXACT},   {1, "MPa", "mPa", 1e9, EXACT}};
  check_rows(rows, sizeof rows / sizeof rows[0]);
}

typedef struct naming {
  const char *label, *code;
} naming;

static void test_unit__labels_of_loggers(void **state) {
  (void)state;
  static const naming rows[] = {
      {"V", "V"},
      {"Volts", "V"},
      {"(V)", "V"},
      {"[mV]", "mV"},
      {"volt", "V"},
      {"VOLTS", "V"},
      {" (mV) ", "mV"},
      {"degC", "Cel"},
      {"deg C", "Cel"},
      {"\xC2\xB0"
       "C",
       "Cel"},
      {"\xB0"
       "C",
       "Cel"},
      {"\xE2\x84\x83", "Cel"},
      {"\xC2\xB0", "deg"},
      {"\xC2\xB0"
       "F",
       "[degF]"},
      {"rpm", "/min"},
      {"RPM", "/min"},
      {"1/min", "1/min"},
      {"ohm", "Ohm"},
      {"Ohms", "Ohm"},
      {"\xCE\xA9", "Ohm"},
      {"k\xE2\x84\xA6", "kOhm"},
      {"\xC2\xB5s", "us"},
      {"\xCE\xBCs", "us"},
      {"\xB5s", "us"},
      {"usec", "us"},
      {"Sec", "s"},
      {"seconds", "s"},
      {"S", "s"},
      {"ms", "ms"},
      {"mS", "ms"},
      {"MHz", "MHz"},
      {"KHz", "kHz"},
      {"amps", "A"},
      {"Amperes", "A"},
      {"ma", "mA"},
      {"psi", "[psi]"},
      {"[psi]", "[psi]"},
      {"kPa", "kPa"},
      {"KPA", "kPa"},
      {"%", "%"},
      {"Percent", "%"},
      {"g/s", "g/s"},
      {"kg/h", "kg/h"},
      {"Nm", "N.m"},
      {"N\xC2\xB7m", "N.m"},
      {"Ah", "A.h"},
      {"km/h", "km/h"},
      {"\xC2\xB0"
       "CA",
       "deg"},
      {"((V))", "V"},
      {"{rev}/min", "{rev}/min"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    const char *code = plb_unit_from_label(rows[i].label);
    if (!code || strcmp(code, rows[i].code) != 0)
      fail_msg("\"%s\" gives %s, expected %s", rows[i].label, code ? code : "nothing", rows[i].code);
    assert_true(plb_unit_known(code));
  }
}

static void test_unit__unclear_labels_are_not_guessed(void **state) {
  (void)state;
  static const char *const labels[] = {"",
                                       " ",
                                       "()",
                                       "C",
                                       "F",
                                       "g",
                                       "(C)",
                                       "time",
                                       "channel 1",
                                       "crank",
                                       "Vs",
                                       "mVs",
                                       "{V}",
                                       "avoltvoltvoltvoltvoltvoltvoltvoltvoltvoltvoltvolt",
                                       "V A",
                                       "(V",
                                       "a very long label that is no unit at all",
                                       "\xFF",
                                       "volts per hour"};
  for (size_t i = 0; i < sizeof labels / sizeof labels[0]; i++)
    if (plb_unit_from_label(labels[i]))
      fail_msg("\"%s\" is taken for %s", labels[i], plb_unit_from_label(labels[i]));
}

typedef struct scaling {
  double value;
  const char *code, *shown;
  double factor;
} scaling;

static void test_unit__scales_for_people(void **state) {
  (void)state;
  static const scaling rows[] = {
      {0.00042, "s", "us", 1e6}, {0.05, "s", "ms", 1e3},      {1.5, "s", "s", 1},       {90, "s", "s", 1},
      {5e-9, "s", "ns", 1e9},    {5e-13, "s", "ns", 1e9},     {-0.25, "V", "mV", 1e3},  {14.2, "V", "V", 1},
      {25000, "V", "kV", 1e-3},  {1200, "mV", "V", 1e-3},     {0.5, "Hz", "Hz", 1},     {5e5, "Hz", "kHz", 1e-3},
      {4.7e-9, "F", "nF", 1e9},  {101325, "Pa", "kPa", 1e-3}, {750, "/min", "/min", 1}, {0.001, "Cel", "Cel", 1},
      {0, "s", "s", 1},          {999.4, "V", "V", 1},        {999.6, "V", "kV", 1e-3}, {0.9996, "V", "V", 1},
      {0.9994, "V", "mV", 1e3},  {NAN, "V", "V", 1},          {INFINITY, "V", "V", 1},  {1e12, "Hz", "GHz", 1e-9},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    const char *code = NULL;
    const double factor = plb_unit_scale_for_people(rows[i].value, rows[i].code, &code);
    if (fabs(factor / rows[i].factor - 1) > 1e-12 || strcmp(code, rows[i].shown) != 0)
      fail_msg("%g %s: factor %g, %s", rows[i].value, rows[i].code, factor, code);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_unit__values_of_the_standard),
      cmocka_unit_test(test_unit__values_of_the_trade),
      cmocka_unit_test(test_unit__decimal_steps_round_once),
      cmocka_unit_test(test_unit__same_code_changes_nothing),
      cmocka_unit_test(test_unit__there_and_back),
      cmocka_unit_test(test_unit__different_kinds_are_refused),
      cmocka_unit_test(test_unit__codes_of_the_trade_are_known),
      cmocka_unit_test(test_unit__what_is_not_a_code_is_refused),
      cmocka_unit_test(test_unit__prefix_gives_way_to_a_whole_atom),
      cmocka_unit_test(test_unit__labels_of_loggers),
      cmocka_unit_test(test_unit__unclear_labels_are_not_guessed),
      cmocka_unit_test(test_unit__scales_for_people),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
