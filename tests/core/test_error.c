#include "cmocka_all.h"
#include "core/fail.h"

#include <plumbline/version.h>
#include <string.h>

static const plb_status statuses[] = {PLB_EUSAGE, PLB_EDATA, PLB_ENOINPUT, PLB_EUNAVAILABLE, PLB_EINTERNAL, PLB_ECREATE,
                                      PLB_EIO,    PLB_EBUSY, PLB_EREFUSED, PLB_ENOMEM,       PLB_EINVAL};
/* CONVENTIONS, "Exit", in the same order; sysexits.h of BSD gives the numbers. */
static const int exits[] = {64, 65, 66, 69, 70, 73, 74, 75, 77, 70, 70};
enum { COUNT = sizeof statuses / sizeof statuses[0] };

static void test_error__version_is_that_of_the_project(void **state) {
  (void)state;
  assert_string_equal(PLB_VERSION, PLB_PROJECT_VERSION);
  assert_string_equal(plb_version(), PLB_PROJECT_VERSION);
}

static void test_error__every_status_has_its_exit(void **state) {
  (void)state;
  assert_int_equal(plb_status_exit(PLB_OK), 0);
  for (size_t i = 0; i < COUNT; i++)
    assert_int_equal(plb_status_exit(statuses[i]), exits[i]);
  assert_int_equal(plb_status_exit((plb_status)-99), 70);
}

static void test_error__every_status_has_its_own_text(void **state) {
  (void)state;
  for (size_t i = 0; i < COUNT; i++) {
    const char *text = plb_status_text(statuses[i]);
    assert_true(strlen(text) > 10);
    for (size_t k = 0; k < i; k++)
      assert_string_not_equal(text, plb_status_text(statuses[k]));
  }
  assert_non_null(plb_status_text((plb_status)-99));
}

static void test_error__fail_fills_and_returns(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  strcpy(err.path, "left over");
  err.line = 7;
  err.byte = 9;
  assert_int_equal(plb_fail(&err, PLB_EDATA, "tooth %d is missing; check the wheel", 17), PLB_EDATA);
  assert_int_equal(err.status, PLB_EDATA);
  assert_string_equal(err.message, "tooth 17 is missing; check the wheel");
  assert_string_equal(err.path, "");
  assert_int_equal(err.line, 0);
  assert_int_equal(err.column, 0);
  assert_int_equal(err.byte, -1);
}

static void test_error__fail_without_detail_returns_the_status(void **state) {
  (void)state;
  assert_int_equal(plb_fail(NULL, PLB_EDATA, "unheard"), PLB_EDATA);
  assert_int_equal(plb_fail_line(NULL, PLB_EIO, 1, 2, "unheard"), PLB_EIO);
  assert_int_equal(plb_fail_byte(NULL, PLB_EBUSY, 1, "unheard"), PLB_EBUSY);
  assert_int_equal(plb_fail_path(NULL, PLB_EREFUSED, "x"), PLB_EREFUSED);
}

static void test_error__fail_may_quote_its_own_message(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  plb_fail(&err, PLB_EDATA, "no gap; check the lead");
  plb_fail(&err, PLB_EDATA, "channel 2: %s", err.message);
  assert_string_equal(err.message, "channel 2: no gap; check the lead");
}

static void test_error__message_is_one_safe_line(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  plb_fail(&err, PLB_EDATA, "%s", "a\nb\x1B[31m\x7F c\xC2\x9B d\xFF \xC2\xB5s \xE2\x84\xA6");
  assert_string_equal(err.message, "a?b?[31m? c? d? \xC2\xB5s \xE2\x84\xA6");
}

static void test_error__long_message_is_cut_between_characters(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  char text[1025] = "";
  for (size_t lead = 0; lead < 3; lead++) {
    memset(text, 'x', lead);
    for (size_t i = lead; i + 3 < sizeof text; i += 3)
      memcpy(text + i, "\xE2\x84\xA6", 4);
    plb_fail(&err, PLB_EDATA, "%s", text);
    assert_int_equal(strlen(err.message), lead + (sizeof err.message - 1 - lead) / 3 * 3);
    assert_memory_equal(err.message, text, strlen(err.message));
  }
}

static void test_error__path_is_named_once(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  plb_fail(&err, PLB_EDATA, "odd");
  assert_int_equal(plb_fail_path(&err, PLB_EIO, "inner.csv"), PLB_EDATA);
  plb_fail_path(&err, PLB_EIO, "outer.xml");
  assert_string_equal(err.path, "inner.csv");
}

static void test_error__path_of_an_unfilled_failure_brings_the_status(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_fail_path(&err, PLB_EIO, "a.csv"), PLB_EIO);
  assert_int_equal(err.status, PLB_EIO);
  assert_string_equal(err.message, plb_status_text(PLB_EIO));
}

static void test_error__long_path_keeps_its_end(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  char path[PLB_PATH_SIZE + 100];
  memset(path, 'd', sizeof path);
  strcpy(path + sizeof path - 11, "/trace.csv");
  plb_fail(&err, PLB_EDATA, "odd");
  plb_fail_path(&err, PLB_EDATA, path);
  assert_int_equal(strlen(err.path), PLB_PATH_SIZE - 1);
  assert_memory_equal(err.path, "...d", 4);
  assert_string_equal(err.path + PLB_PATH_SIZE - 1 - 10, "/trace.csv");
}

static void assert_formatted(const plb_error *err, const char *expected) {
  char out[256];
  plb_error_format(err, out, sizeof out);
  assert_string_equal(out, expected);
}

static void test_error__format_has_the_four_forms(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  plb_fail_line(&err, PLB_EDATA, 12, 5, "not a number; look there");
  assert_formatted(&err, "not a number; look there");
  plb_fail_path(&err, PLB_EDATA, "a.csv");
  assert_formatted(&err, "a.csv:12:5: not a number; look there");
  err.column = 0;
  assert_formatted(&err, "a.csv:12: not a number; look there");
  plb_fail_byte(&err, PLB_EDATA, 0, "no header");
  plb_fail_path(&err, PLB_EDATA, "a.wav");
  assert_formatted(&err, "a.wav@0: no header");
  plb_fail(&err, PLB_EDATA, "too short");
  plb_fail_path(&err, PLB_EDATA, "a\n.wav");
  assert_formatted(&err, "a?.wav: too short");
}

static void test_error__format_without_message_says_the_status(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  err.status = PLB_ENOMEM;
  assert_formatted(&err, plb_status_text(PLB_ENOMEM));
}

static void test_error__format_cuts_to_fit(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  plb_fail(&err, PLB_EDATA, "12345678\xC2\xB5s");
  char out[10];
  memset(out, '#', sizeof out);
  plb_error_format(&err, out, sizeof out);
  assert_string_equal(out, "12345678");
  plb_error_format(&err, out, 1);
  assert_string_equal(out, "");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_error__version_is_that_of_the_project),
      cmocka_unit_test(test_error__every_status_has_its_exit),
      cmocka_unit_test(test_error__every_status_has_its_own_text),
      cmocka_unit_test(test_error__fail_fills_and_returns),
      cmocka_unit_test(test_error__fail_without_detail_returns_the_status),
      cmocka_unit_test(test_error__fail_may_quote_its_own_message),
      cmocka_unit_test(test_error__message_is_one_safe_line),
      cmocka_unit_test(test_error__long_message_is_cut_between_characters),
      cmocka_unit_test(test_error__path_is_named_once),
      cmocka_unit_test(test_error__path_of_an_unfilled_failure_brings_the_status),
      cmocka_unit_test(test_error__long_path_keeps_its_end),
      cmocka_unit_test(test_error__format_has_the_four_forms),
      cmocka_unit_test(test_error__format_without_message_says_the_status),
      cmocka_unit_test(test_error__format_cuts_to_fit),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
