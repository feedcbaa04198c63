#include "input.h"
#include "message.h"
#include "option.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

static void test_message__an_error_comes_before_every_verdict(void **state) {
  (void)state;
  static const int order[] = {CLI_OK, CLI_UNJUDGED, CLI_BORDERLINE, CLI_DEPARTS, CLI_DATA};
  for (size_t i = 0; i < 5; i++)
    for (size_t j = 0; j < 5; j++)
      assert_int_equal(cli_exit_worst(order[i], order[j]), order[i > j ? i : j]);
}

static void test_message__the_first_of_two_errors_stays(void **state) {
  (void)state;
  assert_int_equal(cli_exit_worst(CLI_NO_INPUT, CLI_DATA), CLI_NO_INPUT);
  assert_int_equal(cli_exit_worst(CLI_DATA, CLI_NO_INPUT), CLI_DATA);
}

static void test_option__the_nearest_name_is_suggested(void **state) {
  (void)state;
  static const char *const names[] = {"reference", "rate", "channel", "json", NULL};
  assert_string_equal(cli_nearest("referense", names), "reference");
  assert_string_equal(cli_nearest("ref", names), "reference");
  assert_string_equal(cli_nearest("jsn", names), "json");
  assert_string_equal(cli_nearest("chanel", names), "channel");
  assert_null(cli_nearest("svg", names));
  assert_null(cli_nearest("", names));
  assert_null(cli_nearest("a word so long that nothing here can be meant by it, whatever one may think", names));
}

static void test_input__rates_are_numbers_with_a_unit_of_rate(void **state) {
  (void)state;
  static const struct {
    const char *text;
    double hz;
  } rows[] = {
      {"1kHz", 1000}, {"50kS/s", 50000}, {"50 kS/s", 50000}, {"44100", 44100}, {"2.5MHz", 2.5e6}, {"1e3Hz", 1000},
      {"0", 0},       {"-1kHz", 0},      {"1kV", 0},         {"inf", 0},       {"0x10", 0},       {"nan", 0},
      {"", 0},        {"1khz", 0},       {"1e999", 0},       {"1,5kHz", 0},    {"1kHz ", 0}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
    assert_true(cli_rate_hz(rows[i].text) == rows[i].hz);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_message__an_error_comes_before_every_verdict),
      cmocka_unit_test(test_message__the_first_of_two_errors_stays),
      cmocka_unit_test(test_option__the_nearest_name_is_suggested),
      cmocka_unit_test(test_input__rates_are_numbers_with_a_unit_of_rate),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
