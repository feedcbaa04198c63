#include "cmocka_all.h"
#include "comma_locale.h"
#include "core/random.h"
#include "core/text.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool read_number(const char *text, double *out) { return plb_text_number(text, strlen(text), out); }

typedef struct number_row {
  const char *text;
  double value; /* written in hexadecimal where rounding is the point */
} number_row;

static void check_numbers(const number_row *rows, size_t count) {
  for (size_t i = 0; i < count; i++) {
    double got = NAN;
    if (!read_number(rows[i].text, &got))
      fail_msg("\"%s\" is refused", rows[i].text);
    if (memcmp(&got, &rows[i].value, sizeof got) != 0)
      fail_msg("\"%s\" gives %a, expected %a", rows[i].text, got, rows[i].value);
  }
}

static void test_text__number_plain_forms(void **state) {
  (void)state;
  static const number_row rows[] = {
      {"0", 0.0},
      {"-0", -0.0},
      {"+7", 7},
      {"12.5", 12.5},
      {".5", 0.5},
      {"5.", 5},
      {"1e3", 1000},
      {"1E+3", 1000},
      {"25e-1", 2.5},
      {"000012", 12},
      {"0.000e5", 0},
      {"-1.5e-3", -1.5e-3},
      {"0.1", 0.1},
      {"1e22", 1e22},
      {"123456789012345", 123456789012345},
      {"0.00000000000000000000000000001e29", 1},
      {"100000000000000000000000000000e-29", 1},
  };
  check_numbers(rows, sizeof rows / sizeof rows[0]);
}

/* Hard cases for correct rounding. COMPUTED with Python's float(), which rounds correctly; float.hex() of the result. */
static void test_text__number_rounds_correctly(void **state) {
  (void)state;
  static const number_row rows[] = {
      {"9007199254740993", 0x1p53},
      {"9007199254740992.99999999999999999999", 0x1p53},
      {"9007199254740993.00000000000000000001", 0x1.0000000000001p53},
      {"1e23", 0x1.52d02c7e14af6p+76},
      {"8.5e22", 0x1.1ffdbf6b2b2ebp+76},
      {"1.00000000000000011102230246251565404236316680908203125", 1},
      {"1.00000000000000011102230246251565404236316680908203126", 0x1.0000000000001p0},
      {"0.500000000000000166533453693773481063544750213623046875", 0x1.0000000000002p-1},
      {"2.2250738585072011e-308", 0x0.fffffffffffffp-1022},
      {"2.2250738585072014e-308", 0x1p-1022},
      {"4.9406564584124654e-324", 0x1p-1074},
      {"2.4703282292062327e-324", 0},
      {"2.4703282292062328e-324", 0x1p-1074},
      {"1.7976931348623157e308", 0x1.fffffffffffffp1023},
      {"6.02214076e23", 0x1.fe185ca57c517p+78},
      {"1e-400", 0},
      {"-1e-99999999999999999999", -0.0},
      {"0e99999999999999999999", 0},
  };
  check_numbers(rows, sizeof rows / sizeof rows[0]);
}

/* The value exactly between 1 and the next double, then zeros beyond all digits that are kept, then a one. */
static void test_text__number_sees_a_late_digit(void **state) {
  (void)state;
  char text[2000] = "1.00000000000000011102230246251565404236316680908203125";
  const size_t n = strlen(text);
  memset(text + n, '0', 1500);
  double got = NAN;
  assert_true(read_number(text, &got));
  assert_true(got == 1);
  text[n + 1500] = '1';
  assert_true(read_number(text, &got));
  assert_true(got == 0x1.0000000000001p0);
  memmove(text + 1, text + 2, n + 1499); /* the same digits without the point */
  text[n + 1500] = '\0';
  strcat(text, "e-1554");
  assert_true(read_number(text, &got));
  assert_true(got == 0x1.0000000000001p0);
}

static void test_text__number_with_many_zeros_on_both_sides(void **state) {
  (void)state;
  char text[1200] = "0.";
  memset(text + 2, '0', 1100);
  text[302] = '1'; /* 1e-301, written with 800 digits */
  double got = NAN;
  assert_true(read_number(text, &got));
  assert_true(got == 1e-301);
}

static void test_text__number_refuses_other_forms(void **state) {
  (void)state;
  static const char *const texts[] = {"",   " 1",    "1 ",   "+",     "-",      ".",       "e5",
                                      "1e", "1e+",   "1,5",  "0x10",  "inf",    "nan",     "--1",
                                      "1-", "1.2.3", "1e5.", "1e999", "-1e309", "1.8e308", "1d3"};
  double out = 7;
  for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
    if (read_number(texts[i], &out))
      fail_msg("\"%s\" is accepted", texts[i]);
  assert_true(out == 7);
  assert_false(plb_text_number("1\0"
                               "2",
                               3, &out));
}

static void test_text__number_stops_at_the_given_size(void **state) {
  (void)state;
  double out;
  assert_true(plb_text_number("12345", 3, &out));
  assert_true(out == 123);
  assert_true(plb_text_number("1e57", 3, &out));
  assert_true(out == 1e5);
  assert_false(plb_text_number("1e57", 2, &out));
  assert_false(plb_text_number("5", 0, &out));
}

static void test_text__number_leaves_errno_alone(void **state) {
  (void)state;
  double out;
  errno = 0;
  assert_false(read_number("1.9e308", &out));
  assert_true(read_number("1e-330", &out));
  assert_int_equal(errno, 0);
}

/* Any double written with 17 digits must come back; the slow way of the C library is right in the C locale. */
static void test_text__number_agrees_with_the_c_library(void **state) {
  (void)state;
  plb_random r;
  plb_random_seed(&r, 5);
  for (int i = 0; i < 20000; i++) {
    const uint64_t bits = plb_random_next(&r);
    double value, got = NAN;
    memcpy(&value, &bits, sizeof value);
    if (!isfinite(value))
      continue;
    char text[64];
    snprintf(text, sizeof text, "%.*e", i % 20, value);
    const double expected = strtod(text, NULL);
    if (!isfinite(expected))
      continue;
    assert_true(read_number(text, &got));
    assert_memory_equal(&got, &expected, sizeof got);
    snprintf(text, sizeof text, "%.*f", i % 9, ldexp((double)(bits >> 40), -10));
    assert_true(read_number(text, &got));
    assert_true(got == strtod(text, NULL));
  }
}

static void test_text__number_ignores_the_locale(void **state) {
  (void)state;
  if (!enter_comma_locale())
    skip();
  double fast = NAN, slow = NAN;
  const bool read = read_number("1234.5", &fast) && read_number("3.14159265358979323846", &slow);
  const bool comma = read_number("1,5", &fast);
  char written[PLB_NUMBER_SIZE], printed[32];
  plb_text_from_number(0.1, written);
  plb_text_print(printed, sizeof printed, "%.1f", 2.5);
  setlocale(LC_ALL, "C");
  assert_true(read);
  assert_false(comma);
  assert_true(fast == 1234.5);
  assert_true(slow == 0x1.921fb54442d18p+1);
  assert_string_equal(written, "0.1");
  assert_string_equal(printed, "2.5");
}

static void test_text__print_gives_the_locale_back(void **state) {
  (void)state;
  char out[8];
  assert_int_equal(plb_text_print(out, sizeof out, "%s", "volts and more"), 14);
  assert_string_equal(out, "volts a");
  assert_true(uselocale((locale_t)0) == LC_GLOBAL_LOCALE);
}

static void test_text__written_number_is_short_and_reads_back(void **state) {
  (void)state;
  static const struct {
    double value;
    const char *text;
  } rows[] = {{0.1, "0.1"},
              {1.0 / 3, "0.3333333333333333"},
              {0.1 + 0.2, "0.30000000000000004"},
              {1e300, "1e+300"},
              {-2.5, "-2.5"},
              {-0.0, "-0"},
              {NAN, "nan"},
              {INFINITY, "inf"},
              {-INFINITY, "-inf"},
              {0x1p-1074, "4.94065645841247e-324"}, /* 15 digits do; 16 would be longer */
              {-0x1.fffffffffffffp1023, "-1.7976931348623157e+308"}};
  char out[PLB_NUMBER_SIZE];
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    plb_text_from_number(rows[i].value, out);
    assert_string_equal(out, rows[i].text);
  }
  plb_random r;
  plb_random_seed(&r, 6);
  for (int i = 0; i < 5000; i++) {
    const uint64_t bits = plb_random_next(&r);
    double value, back;
    memcpy(&value, &bits, sizeof value);
    if (!isfinite(value))
      continue;
    plb_text_from_number(value, out);
    assert_true(read_number(out, &back));
    assert_memory_equal(&back, &value, sizeof value);
  }
}

typedef struct quantity_row {
  const char *text, *unit;
  double value;
} quantity_row;

static void test_text__quantity_into_the_base_unit(void **state) {
  (void)state;
  static const quantity_row rows[] = {
      {"1kHz", "Hz", 1000},  {"40ms", "s", 0.04},  {"7V", "V", 7},          {"-250mV", "V", -0.25},
      {"12.5", "V", 12.5},   {"9ms", "s", 0.009},  {"1.5 us", "s", 1.5e-6}, {"6000/min", "/min", 6000},
      {"600/min", "Hz", 10}, {"50%", "1", 0.5},    {"0.5", "1", 0.5},       {"1e3Hz", "Hz", 1000},
      {"2h", "s", 7200},     {"20Cel", "Cel", 20}, {"1bar", "kPa", 100},    {"3", "", 3},
      {"3", NULL, 3},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    double got = NAN;
    plb_error err = PLB_ERROR_INIT;
    if (plb_text_quantity(rows[i].text, rows[i].unit, &got, &err) != PLB_OK)
      fail_msg("%s: %s", rows[i].text, err.message);
    if (got != rows[i].value)
      fail_msg("%s gives %.17g", rows[i].text, got);
  }
}

static void assert_quantity_refused(const char *text, const char *unit, const char *message) {
  plb_error err = PLB_ERROR_INIT;
  double out = 7;
  assert_int_equal(plb_text_quantity(text, unit, &out, &err), PLB_EUSAGE);
  assert_true(out == 7);
  assert_string_equal(err.message, message);
}

static void test_text__quantity_says_what_to_write(void **state) {
  (void)state;
  assert_quantity_refused("fast", "Hz", "\"fast\" does not start with a number; write for example \"12.5Hz\"");
  assert_quantity_refused("", "1", "\"\" does not start with a number; write for example \"12.5\"");
  assert_quantity_refused("900rpm", "/min", "the unit \"rpm\" in \"900rpm\" is not known; write \"/min\"");
  assert_quantity_refused("5V", "s", "the unit \"V\" in \"5V\" does not fit; give a value in \"s\"");
  assert_quantity_refused("5parsec", "s", "the unit \"parsec\" in \"5parsec\" is not known; give a value in \"s\"");
  assert_quantity_refused("5V ", "V", "the unit \"V \" in \"5V \" is not known; write \"V\"");
  assert_quantity_refused("1e999s", "s", "the number in \"1e999s\" is too large; check it");
  double out;
  assert_int_equal(plb_text_quantity("x", "s", &out, NULL), PLB_EUSAGE);
}

static void test_text__copy_fits_or_empties(void **state) {
  (void)state;
  char out[6] = "?";
  assert_true(plb_text_copy(out, sizeof out, "crank"));
  assert_string_equal(out, "crank");
  assert_false(plb_text_copy(out, sizeof out, "cranks"));
  assert_string_equal(out, "");
  assert_false(plb_text_copy(out, sizeof out, NULL));
  assert_true(plb_text_copy(out, 1, ""));
}

/* A half character would make JSON and XML of it malformed. */
static void test_text__say_cuts_between_characters(void **state) {
  (void)state;
  char out[8];
  plb_text_say(out, sizeof out, "%d %s", 5, "\xC2\xB5s");
  assert_string_equal(out, "5 \xC2\xB5s");
  plb_text_say(out, sizeof out, "%s", "123456\xC2\xB5s");
  assert_string_equal(out, "123456");
  plb_text_say(out, sizeof out, "%s", "12345\xC2\xB5s");
  assert_string_equal(out, "12345\xC2\xB5");
  plb_text_say(out, sizeof out, "%s", "1234567\xC2\xB5s");
  assert_string_equal(out, "1234567");
  plb_text_say(out, sizeof out, "%s", "12345\xE2\x84\xA6");
  assert_string_equal(out, "12345");
}

static void repeat(char *out, char c, size_t count) {
  memset(out, c, count);
  out[count] = '\0';
}

static void test_text__slug(void **state) {
  (void)state;
  char text[70];
  assert_true(plb_text_is_slug("crank-inductive"));
  assert_true(plb_text_is_slug("4"));
  static const char *const wrong[] = {"", "-a", "Crank", "a_b", "a.b", "a/b", "a b", "\xC3\xA9"};
  for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
    assert_false(plb_text_is_slug(wrong[i]));
  repeat(text, 'a', 64);
  assert_true(plb_text_is_slug(text));
  repeat(text, 'a', 65);
  assert_false(plb_text_is_slug(text));
}

static void test_text__name_of_a_reference(void **state) {
  (void)state;
  static const char *const right[] = {"a", "petrol-2.0/hot_idle", "a/b/c", "60-2/4.cyl/x"};
  static const char *const wrong[] = {"", "/", "a/", "/a", "a//b", "a/b/c/d", "a/../b", ".a", "a/B", "a@3"};
  for (size_t i = 0; i < sizeof right / sizeof right[0]; i++)
    assert_true(plb_text_is_name(right[i]));
  for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
    assert_false(plb_text_is_name(wrong[i]));
  char text[70] = "b/";
  repeat(text + 2, 'a', 64);
  assert_true(plb_text_is_name(text));
  repeat(text + 2, 'a', 65);
  assert_false(plb_text_is_name(text));
}

static void test_text__lower_touches_ascii_only(void **state) {
  (void)state;
  char text[] = "CKP [Z@] \xC3\x89";
  plb_text_lower(text);
  assert_string_equal(text, "ckp [z@] \xC3\x89");
}

static void test_text__distance_counts_edits(void **state) {
  (void)state;
  assert_int_equal(plb_text_distance("", ""), 0);
  assert_int_equal(plb_text_distance("crank", "crank"), 0);
  assert_int_equal(plb_text_distance("", "cam"), 3);
  assert_int_equal(plb_text_distance("kitten", "sitting"), 3); /* the textbook example */
  assert_int_equal(plb_text_distance("sitting", "kitten"), 3);
  assert_int_equal(plb_text_distance("compare", "comapre"), 2);
  char text[65];
  repeat(text, 'a', 63);
  assert_int_equal(plb_text_distance(text, ""), 63);
  repeat(text, 'a', 64);
  assert_true(plb_text_distance(text, "a") > 63);
}

/* RFC 3629, section 4. FROM MEMORY */
static void test_text__utf8_well_formed_only(void **state) {
  (void)state;
  static const struct {
    const char *text;
    size_t length;
  } rows[] = {{"", 0},
              {"a", 1},
              {"\xC2\xB5", 2},
              {"\xC0\x80", 0},
              {"\xC1\xBF", 0},
              {"\x80", 0},
              {"\xC2", 0},
              {"\xE0\xA0\x80", 3},
              {"\xE0\x9F\xBF", 0},
              {"\xED\x9F\xBF", 3},
              {"\xED\xA0\x80", 0},
              {"\xEF\xBF\xBF", 3},
              {"\xE2\x84", 0},
              {"\xF0\x90\x80\x80", 4},
              {"\xF0\x8F\xBF\xBF", 0},
              {"\xF4\x8F\xBF\xBF", 4},
              {"\xF4\x90\x80\x80", 0},
              {"\xF5\x80\x80\x80", 0},
              {"\xF0\x90\x80", 0},
              {"\xFF", 0}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
    assert_int_equal(plb_text_utf8(rows[i].text), rows[i].length);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_text__number_plain_forms),
      cmocka_unit_test(test_text__number_rounds_correctly),
      cmocka_unit_test(test_text__number_sees_a_late_digit),
      cmocka_unit_test(test_text__number_with_many_zeros_on_both_sides),
      cmocka_unit_test(test_text__number_refuses_other_forms),
      cmocka_unit_test(test_text__number_stops_at_the_given_size),
      cmocka_unit_test(test_text__number_leaves_errno_alone),
      cmocka_unit_test(test_text__number_agrees_with_the_c_library),
      cmocka_unit_test(test_text__number_ignores_the_locale),
      cmocka_unit_test(test_text__print_gives_the_locale_back),
      cmocka_unit_test(test_text__written_number_is_short_and_reads_back),
      cmocka_unit_test(test_text__quantity_into_the_base_unit),
      cmocka_unit_test(test_text__quantity_says_what_to_write),
      cmocka_unit_test(test_text__copy_fits_or_empties),
      cmocka_unit_test(test_text__say_cuts_between_characters),
      cmocka_unit_test(test_text__slug),
      cmocka_unit_test(test_text__name_of_a_reference),
      cmocka_unit_test(test_text__lower_touches_ascii_only),
      cmocka_unit_test(test_text__distance_counts_edits),
      cmocka_unit_test(test_text__utf8_well_formed_only),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
