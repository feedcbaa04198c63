#include "tests/report/fixture.h"
#include "report/report.h"
#include "report/table.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static void test_page_wrap__breaks_between_words_and_hangs(void **state) {
  (void)state;
  plb_page page;
  plb_page_init(&page, PLB_TEXT_PLAIN, 24);
  plb_page_wrap(&page, 2, 5, PLB_TONE_STRONG, "1.", "the quick brown fox jumps over it");
  assert_string_equal(page.out.data, "  1. the quick brown fox\n     jumps over it\n");
  plb_buffer_dispose(&page.out);
}

static void test_page_wrap__breaks_a_word_longer_than_the_line(void **state) {
  (void)state;
  plb_page page;
  plb_page_init(&page, PLB_TEXT_PLAIN, 24);
  plb_page_wrap(&page, 0, 4, PLB_TONE_NONE, "see", "/a/path/that/is/longer/than/the/whole/line.csv and more");
  assert_true(longest_line(page.out.data, true) <= 24);
  char joined[128] = "";
  for (const char *c = page.out.data; *c; c++) /* nothing of the path is lost */
    if (*c != '\n' && *c != ' ')
      strncat(joined, c, 1);
  assert_string_equal(joined, "see/a/path/that/is/longer/than/the/whole/line.csvandmore");
  plb_buffer_dispose(&page.out);
}

static void test_page_wrap__counts_characters_not_bytes(void **state) {
  (void)state;
  plb_page page;
  plb_page_init(&page, PLB_TEXT_PLAIN, 24);
  plb_page_wrap(&page, 0, 0, PLB_TONE_NONE, "",
                "\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4 1234567890123");
  assert_null(strchr(page.out.data, '\n')[1] ? page.out.data
                                             : NULL); /* 10 + 1 + 13 columns fit 24, though it is 34 bytes */
  plb_buffer_dispose(&page.out);
}

static void test_page_init__keeps_a_least_width(void **state) {
  (void)state;
  plb_page page;
  plb_page_init(&page, PLB_TEXT_PLAIN, 0);
  assert_int_equal(page.width, 80);
  plb_page_init(&page, PLB_TEXT_PLAIN, 3);
  assert_int_equal(page.width, 24);
}

static void fill(plb_table *table, const char *far) {
  plb_row *row = plb_table_row(table, PLB_TONE_BAD);
  plb_table_put(row, 0, "b01");
  plb_table_put(row, 1, "low");
  plb_table_put(row, 2, "-");
  plb_table_put(row, 3, far);
}

static void test_page_table__leaves_out_columns_that_say_nothing(void **state) {
  (void)state;
  plb_page page;
  plb_table table = {
      .columns = 4, .title = {"name", "way", "empty", "far"}, .right = {false, false, false, true}, .tone_column = 1};
  plb_page_init(&page, PLB_TEXT_PLAIN, 80);
  fill(&table, "12");
  plb_page_table(&page, &table);
  assert_string_equal(page.out.data, "name  way  far\n----  ---  ---\nb01   low   12\n");
  plb_table_dispose(&table);
  plb_buffer_dispose(&page.out);
}

static void test_page_table__puts_below_what_does_not_fit(void **state) {
  (void)state;
  plb_page page;
  plb_table table = {.columns = 4, .title = {"a column", "way", "empty", "far column"}, .tone_column = -1};
  plb_page_init(&page, PLB_TEXT_PLAIN, 24);
  fill(&table, "something");
  plb_page_table(&page, &table);
  assert_says(page.out.data, "b01       low\n    far column something\n");
  assert_true(longest_line(page.out.data, true) <= 24);
  plb_table_dispose(&table);
  plb_buffer_dispose(&page.out);
}

static void test_page_table__cuts_long_cells_at_a_whole_character(void **state) {
  (void)state;
  plb_page page;
  plb_table table = {.columns = 4, .title = {"name", "way", "empty", "far"}, .tone_column = -1};
  plb_page_init(&page, PLB_TEXT_PLAIN, 36);
  fill(&table, "eleven \xe2\x82\xac\xe2\x82\xac\xe2\x82\xac\xe2\x82\xac\xe2\x82\xac\xe2\x82\xac");
  plb_page_table(&page, &table);
  assert_says(page.out.data, "b01   low  eleven \xe2\x82\xac\xe2\x82\xac\xe2\x82\xac\xe2\x82\xac\xe2\x80\xa6\n");
  plb_table_dispose(&table);
  plb_buffer_dispose(&page.out);
}

static void test_page_table__colours_only_a_terminal(void **state) {
  (void)state;
  for (int terminal = 0; terminal < 2; terminal++) {
    plb_page page;
    plb_table table = {.columns = 4, .title = {"name", "way", "empty", "far"}, .tone_column = 1};
    plb_page_init(&page, terminal ? PLB_TEXT_TERMINAL : PLB_TEXT_PLAIN, 80);
    fill(&table, "1");
    plb_page_table(&page, &table);
    assert_int_equal(strchr(page.out.data, '\033') != NULL, terminal);
    assert_says(page.out.data, "low"); /* the word is there in both */
    plb_table_dispose(&table);
    plb_buffer_dispose(&page.out);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_page_wrap__breaks_between_words_and_hangs),
      cmocka_unit_test(test_page_wrap__breaks_a_word_longer_than_the_line),
      cmocka_unit_test(test_page_wrap__counts_characters_not_bytes),
      cmocka_unit_test(test_page_init__keeps_a_least_width),
      cmocka_unit_test(test_page_table__leaves_out_columns_that_say_nothing),
      cmocka_unit_test(test_page_table__puts_below_what_does_not_fit),
      cmocka_unit_test(test_page_table__cuts_long_cells_at_a_whole_character),
      cmocka_unit_test(test_page_table__colours_only_a_terminal),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
