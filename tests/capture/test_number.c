#include "capture_test.h"
#include "capture/number.h"
#include "core/random.h"
#include <stdlib.h>

static double value_of(const char *text) {
  double value;
  plb_decimal decimal;
  const char *behind = plb_decimal_scan(text, '.', &decimal);
  if (behind == text + strlen(text) && plb_decimal_value(&decimal, &value))
    return value;
  if (!plb_number_value(text, strlen(text), '.', &value))
    fail_msg("\"%s\" is not read", text);
  return value;
}

/* The C library's strtod rounds correctly and is the reference; the locale of a test program is "C". */
static void check_against_strtod(const char *text) {
  const double got = value_of(text), expected = strtod(text, NULL);
  if (got != expected)
    fail_msg("\"%s\": %a, strtod %a", text, got, expected);
}

static void test_number__plain_forms_equal_strtod(void **state) {
  (void)state;
  static const char *const texts[] = {"0",
                                      "-0.0",
                                      "1",
                                      "+1.5",
                                      ".5",
                                      "5.",
                                      "-7.645951E-1",
                                      "1.000000E-5",
                                      "15e3",
                                      "1e22",
                                      "1e-22",
                                      "1e23",
                                      "8.5e22",
                                      "0.1",
                                      "4.127562E+0",
                                      "2.2250738585072014e-308",
                                      "4.9e-324",
                                      "1.7976931348623157e308",
                                      "9007199254740993",
                                      "9007199254740991",
                                      "9007199254740992.5",
                                      "123456789012345678",
                                      "0.000000000000000001",
                                      "100000000000000000000000"};
  for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
    check_against_strtod(texts[i]);
}

/* Random digits and points: up to 15 digits take the division, up to 19 extended precision, more the full conversion. */
static void test_number__random_decimals_equal_strtod(void **state) {
  (void)state;
  plb_random random;
  plb_random_seed(&random, 20250101);
  for (int i = 0; i < 300000; i++) {
    char text[64];
    const size_t digits = 1 + plb_random_below(&random, 22), point = plb_random_below(&random, digits + 1);
    size_t n = 0;
    if (plb_random_below(&random, 2))
      text[n++] = '-';
    for (size_t k = 0; k < digits; k++) {
      if (k == point)
        text[n++] = '.';
      text[n++] = (char)('0' + plb_random_below(&random, 10));
    }
    text[n] = '\0';
    if (i % 3 == 0)
      snprintf(text + n, sizeof text - n, "e%d", (int)plb_random_below(&random, 80) - 40);
    check_against_strtod(text);
  }
}

/* The shortest and the 17-digit print of random doubles, which lie closest to where rounding turns. */
static void test_number__printed_doubles_come_back(void **state) {
  (void)state;
  plb_random random;
  plb_random_seed(&random, 7);
  for (int i = 0; i < 100000; i++) {
    const double value = plb_random_normal(&random) * (i % 2 ? 1.0 : 1e-5);
    char text[40];
    snprintf(text, sizeof text, "%.17g", value);
    assert_same_bits(value_of(text), value);
    snprintf(text, sizeof text, "%.16e", value);
    assert_same_bits(value_of(text), value);
  }
}

/* Digits that lie halfway between two doubles, and one unit of the 19th digit off. */
static void test_number__halfway_cases_equal_strtod(void **state) {
  (void)state;
  plb_random random;
  plb_random_seed(&random, 99);
  for (int i = 0; i < 20000; i++) {
    const uint64_t odd =
        ((uint64_t)1 << 53) + 1 + 2 * plb_random_below(&random, (uint64_t)1 << 52); /* 54 bits: halfway */
    char text[40];
    for (int off = -1; off <= 1; off++) {
      snprintf(text, sizeof text, "%llu", (unsigned long long)(odd * 64 + (uint64_t)off));
      check_against_strtod(text);
      snprintf(text, sizeof text, "%llu.0e0", (unsigned long long)(odd + (uint64_t)off));
      check_against_strtod(text);
    }
  }
}

static void test_number__other_forms_are_refused(void **state) {
  (void)state;
  static const char *const texts[] = {"",    "-",   ".",   "e5",  "1e",    "1e+", "0x10",
                                      "inf", "nan", "1,5", "1 2", "1.2.3", "--1", "1f"};
  for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
    double value;
    plb_decimal decimal;
    const char *behind = plb_decimal_scan(texts[i], '.', &decimal);
    if (behind && *behind == '\0')
      fail_msg("\"%s\" is scanned", texts[i]);
    if (plb_number_value(texts[i], strlen(texts[i]), '.', &value))
      fail_msg("\"%s\" is read", texts[i]);
  }
}

static void test_number__decimal_comma(void **state) {
  (void)state;
  double value;
  assert_true(plb_number_value("1,25", 4, ',', &value));
  assert_same_bits(value, 1.25);
  assert_false(plb_number_value("1.25", 4, ',', &value));
  assert_false(plb_number_value("1,", 2, ',', &value));
  assert_false(plb_number_value("1,2,3", 5, ',', &value));
  assert_false(plb_number_value("1,25", 4, '.', &value));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_number__plain_forms_equal_strtod),
      cmocka_unit_test(test_number__random_decimals_equal_strtod),
      cmocka_unit_test(test_number__printed_doubles_come_back),
      cmocka_unit_test(test_number__halfway_cases_equal_strtod),
      cmocka_unit_test(test_number__other_forms_are_refused),
      cmocka_unit_test(test_number__decimal_comma),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
