#include "cmocka_all.h"
#include "comma_locale.h"
#include "core/buffer.h"

#include <string.h>

static void test_buffer__appends_add_up(void **state) {
  (void)state;
  plb_buffer b;
  plb_buffer_init(&b, 1000);
  assert_null(b.data);
  plb_buffer_append(&b, "a\0b", 3);
  plb_buffer_puts(&b, "cd");
  plb_buffer_printf(&b, "%d-%s", 42, "x");
  assert_int_equal(b.status, PLB_OK);
  assert_int_equal(b.size, 9);
  assert_memory_equal(b.data, "a\0bcd42-x", 10); /* the NUL too */
  plb_buffer_dispose(&b);
  assert_null(b.data);
  assert_int_equal(b.size, 0);
}

static void test_buffer__grows_over_many_appends(void **state) {
  (void)state;
  plb_buffer b;
  plb_buffer_init(&b, SIZE_MAX);
  for (int i = 0; i < 10000; i++)
    plb_buffer_printf(&b, "%04d", i);
  assert_int_equal(b.status, PLB_OK);
  assert_int_equal(b.size, 40000);
  assert_memory_equal(b.data + 4 * 4321, "4321", 4);
  plb_buffer_dispose(&b);
}

static void test_buffer__printf_longer_than_the_room(void **state) {
  (void)state;
  plb_buffer b;
  char text[500];
  memset(text, 'y', sizeof text - 1);
  text[sizeof text - 1] = '\0';
  plb_buffer_init(&b, 1000);
  plb_buffer_puts(&b, "1");
  plb_buffer_printf(&b, "%s|%s", text, "end");
  assert_int_equal(b.size, 1 + 499 + 4);
  assert_string_equal(b.data + 500, "|end");
  plb_buffer_dispose(&b);
}

static void test_buffer__printf_of_every_length(void **state) {
  (void)state;
  char text[200] = "";
  for (size_t n = 0; n + 1 < sizeof text; n++) {
    plb_buffer b;
    plb_buffer_init(&b, 1000);
    plb_buffer_printf(&b, "%s", text);
    assert_int_equal(b.size, n);
    assert_string_equal(b.data, text);
    plb_buffer_dispose(&b);
    text[n] = 'z';
  }
}

static void test_buffer__stated_maximum_is_reached_but_not_passed(void **state) {
  (void)state;
  plb_buffer b;
  plb_buffer_init(&b, 10);
  plb_buffer_puts(&b, "0123456789");
  assert_int_equal(b.status, PLB_OK);
  assert_int_equal(b.capacity, 11);
  plb_buffer_append(&b, "", 0);
  assert_int_equal(b.status, PLB_OK);
  plb_buffer_puts(&b, "x");
  assert_int_equal(b.status, PLB_ENOMEM);
  assert_string_equal(b.data, "0123456789");
  plb_buffer_dispose(&b);
}

static void test_buffer__failure_is_sticky(void **state) {
  (void)state;
  plb_buffer b;
  plb_buffer_init(&b, 10);
  plb_buffer_puts(&b, "01234");
  plb_buffer_printf(&b, "%s", "too long for it");
  assert_int_equal(b.status, PLB_ENOMEM);
  plb_buffer_puts(&b, "6"); /* would fit, but the text before it is missing */
  plb_buffer_escape(&b, "6");
  plb_buffer_printf(&b, "6");
  assert_string_equal(b.data, "01234");
  assert_int_equal(b.size, 5);
  plb_buffer_dispose(&b);
}

static void assert_escaped(const char *text, const char *expected) {
  plb_buffer b;
  plb_buffer_init(&b, 1000);
  plb_buffer_escape(&b, text);
  assert_int_equal(b.status, PLB_OK);
  assert_string_equal(b.data, expected);
  plb_buffer_dispose(&b);
}

#define FFFD "\xEF\xBF\xBD"

static void test_buffer__escape_for_xml(void **state) {
  (void)state;
  assert_escaped("", "");
  assert_escaped("a<b & \"c\">'d'", "a&lt;b &amp; &quot;c&quot;&gt;'d'");
  assert_escaped("tab\tline\n", "tab\tline\n");
  assert_escaped("\xC2\xB5s \xE2\x84\xA6 \xF0\x9F\x94\xA7", "\xC2\xB5s \xE2\x84\xA6 \xF0\x9F\x94\xA7");
}

/* XML 1.0 (fifth edition), production 2; RFC 3629 for what is well-formed UTF-8. FROM MEMORY */
static void test_buffer__escape_replaces_what_xml_forbids(void **state) {
  (void)state;
  assert_escaped("a\x01\r\x1B\x7Fz", "a" FFFD FFFD FFFD FFFD "z");
  assert_escaped("\xC2\x85", FFFD); /* a C1 control */
  assert_escaped("\xEF\xBF\xBE\xEF\xBF\xBF", FFFD FFFD); /* U+FFFE, U+FFFF */
  assert_escaped("\xED\xA0\x80", FFFD FFFD FFFD); /* a surrogate */
  assert_escaped("\xC0\xBC", FFFD FFFD); /* an overlong '<' */
  assert_escaped("20 \xB0"
                 "C",
                 "20 " FFFD "C"); /* ISO 8859-1 */
  assert_escaped("cut \xE2\x84", "cut " FFFD FFFD);
}

static void test_buffer__printf_ignores_the_locale(void **state) {
  (void)state;
  if (!enter_comma_locale())
    skip();
  plb_buffer b;
  plb_buffer_init(&b, 100);
  plb_buffer_printf(&b, "%.2f %g", 1234.5, 0.25);
  char around[32];
  snprintf(around, sizeof around, "%.1f", 0.5);
  setlocale(LC_ALL, "C");
  assert_string_equal(b.data, "1234.50 0.25");
  assert_string_equal(around, "0,5"); /* the caller's locale is left as it was */
  plb_buffer_dispose(&b);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_buffer__appends_add_up),
      cmocka_unit_test(test_buffer__grows_over_many_appends),
      cmocka_unit_test(test_buffer__printf_longer_than_the_room),
      cmocka_unit_test(test_buffer__printf_of_every_length),
      cmocka_unit_test(test_buffer__stated_maximum_is_reached_but_not_passed),
      cmocka_unit_test(test_buffer__failure_is_sticky),
      cmocka_unit_test(test_buffer__escape_for_xml),
      cmocka_unit_test(test_buffer__escape_replaces_what_xml_forbids),
      cmocka_unit_test(test_buffer__printf_ignores_the_locale),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
