#include "tests/report/fixture.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static char *text_of(fixture_kind kind, plb_text_style style, int width) {
  plb_verdict *v = fixture_verdict(kind);
  char *text = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_report_text(&text, v, style, width, &err), PLB_OK);
  fixture_free(v);
  return text;
}

static void test_verdict_text__begins_with_the_whole_sentence(void **state) {
  (void)state;
  static const struct {
    fixture_kind kind;
    const char *line;
  } rows[] = {
      {FIXTURE_WHEEL_AGREES, "Matches known-good: crank, 23 revolutions at 2,843 rpm, nearest to its limit in b12\n"},
      {FIXTURE_WHEEL_DEPARTS,
       "Does not match: crank tooth 1 (first after the gap) missing in 23 of 23 revolutions; check first the wheel's "
       "first tooth for damage\n"},
      {FIXTURE_EDGE_DOUBTFUL,
       "Doubtful: amps low while the needle lifts in every 4th of 212 cycles; check first the supply at the "
       "injector\n"},
      {FIXTURE_SILENT, "Cannot tell: no signal, prove the connection\n"},
      {FIXTURE_BARE, "Cannot tell\n"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char *text = text_of(rows[i].kind, PLB_TEXT_PLAIN, 80);
    assert_memory_equal(text, rows[i].line, strlen(rows[i].line));
    free(text);
  }
}

static void test_verdict_text__keeps_the_width(void **state) {
  (void)state;
  static const int widths[] = {24, 40, 60, 80, 132, 250};
  for (int kind = 0; kind < FIXTURE_KINDS; kind++)
    for (size_t i = 0; i < sizeof widths / sizeof widths[0]; i++) {
      char *text = text_of((fixture_kind)kind, PLB_TEXT_PLAIN, widths[i]);
      if (longest_line(text, false) > widths[i])
        fail_msg("%s at %d columns has a line of %d:\n%s", fixture_name((fixture_kind)kind), widths[i],
                 longest_line(text, false), text);
      free(text);
    }
}

static void test_verdict_text__has_no_bytes_a_terminal_obeys(void **state) {
  (void)state;
  for (int kind = 0; kind < FIXTURE_KINDS; kind++) {
    char *text = text_of((fixture_kind)kind, PLB_TEXT_PLAIN, 80);
    for (const char *c = text; *c; c++)
      if ((unsigned char)*c < 0x20 && *c != '\n')
        fail_msg("%s has byte 0x%02x", fixture_name((fixture_kind)kind), (unsigned)(unsigned char)*c);
    assert_null(strstr(text, "\xc2\x9b")); /* C1 control sequence introducer */
    free(text);
  }
}

static void test_verdict_text__shows_tone_and_word_on_a_terminal(void **state) {
  (void)state;
  for (int kind = 0; kind < FIXTURE_BARE; kind++) {
    char *text = text_of((fixture_kind)kind, PLB_TEXT_TERMINAL, 80);
    plb_verdict *v = fixture_verdict((fixture_kind)kind);
    assert_non_null(strchr(text, '\033'));
    assert_says(text, plb_word_plain(v->word) + 1); /* the first letter is a capital */
    fixture_free(v);
    free(text);
  }
}

static void test_verdict_text__never_prints_what_is_no_number(void **state) {
  (void)state;
  for (int kind = 0; kind < FIXTURE_KINDS; kind++) {
    char *text = text_of((fixture_kind)kind, PLB_TEXT_PLAIN, 80);
    assert_says_not(text, "nan");
    assert_says_not(text, "inf ");
    free(text);
  }
}

static void test_verdict_text__tells_what_departs(void **state) {
  (void)state;
  char *text = text_of(FIXTURE_WHEEL_DEPARTS, PLB_TEXT_PLAIN, 80);
  assert_says(text, "1. Tooth 1, the first after the gap, is missing");
  assert_says(text, "check first: the wheel's first tooth after the gap");
  assert_says(text, "then: the wheel's seat");
  assert_says(text, "2. crank, b12: low by 900 mV in 22 of 23 cycles");
  assert_says(text, "b01      0-30     does not match       1.5      1  low 4.23 V");
  assert_says(text, "b03      60-90    doubtful");
  assert_says(text, "b05      120-150  matches");
  assert_says(text, "4.4 V to 4.7 V  does not match  low");
  assert_says(text, "23 revolutions found, 23 judged, 23 departing; 2,843 rpm; lasting");
  assert_says(text, "1,012 (1,000 of it for cycles that miss or gain marks)");
  assert_says(text, "not stated: coolant temperature");
  assert_says(text, "insensitive: the good capture none-3.txt");
  assert_says(text, "about 1 healthy one in 7");
  assert_says(text, "sha256 fedcba987654");
  free(text);
}

static void test_verdict_text__tells_times_and_recurrence(void **state) {
  (void)state;
  char *text = text_of(FIXTURE_EDGE_DOUBTFUL, PLB_TEXT_PLAIN, 80);
  assert_says(text, "Sections of amps, in % of the cycle as drawn");
  assert_says(text, "b01      0-25     doubtful           20  low 61 mA  +420 us    99 %");
  assert_says(text, "recurring,\n               number 3 of every 4 (by chance: below 0.001)");
  assert_says(text, "2 that cannot be laid");
  assert_says(text, "at least 6.1 ms");
  assert_says(text, "at most 65 V");
  assert_says(text, "not judged");
  assert_says(text, "one code is 40 mA");
  free(text);
}

static void test_verdict_text__never_lets_a_model_pass_for_measured(void **state) {
  (void)state;
  char *text = text_of(FIXTURE_EDGE_DOUBTFUL, PLB_TEXT_PLAIN, 200);
  const char *second = strchr(text, '\n') + 1;
  assert_memory_equal(second, "This known-good is modelled", 27); /* at once, not in the small print */
  assert_says(text, "MODELLED, not measured");
  free(text);
  text = text_of(FIXTURE_WHEEL_AGREES, PLB_TEXT_PLAIN, 200);
  assert_says_not(text, "odelled");
  assert_says(text, "measured, 6 good captures, groups not stated");
  free(text);
}

static void test_verdict_text__says_why_there_is_no_verdict(void **state) {
  (void)state;
  char *text = text_of(FIXTURE_SILENT, PLB_TEXT_PLAIN, 80);
  const char *why = strstr(text, "Why there is no verdict\n  ! peak to peak is 4.6 mV"),
             *mind = strstr(text, "To keep in mind\n  - the state");
  assert_non_null(why);
  assert_non_null(mind);
  assert_true(why < mind);
  assert_says(text, "prove the connection");
  free(text);
}

static void test_verdict_text__a_reason_names_its_channel_once(void **state) {
  (void)state;
  static const char *const said[] = {"crank: only 3 steps", "crank sits 2 V high", "only 3 steps"};
  for (size_t i = 0; i < sizeof said / sizeof *said; i++) {
    plb_verdict *v = fixture_verdict(FIXTURE_SILENT);
    char *text = NULL;
    plb_error err = PLB_ERROR_INIT;
    snprintf(v->reason[0].text, sizeof v->reason[0].text, "%s", said[i]);
    snprintf(v->reason[0].channel, sizeof v->reason[0].channel, "crank");
    assert_int_equal(plb_report_text(&text, v, PLB_TEXT_PLAIN, 80, &err), PLB_OK);
    assert_says(text, i == 1 ? "  ! crank sits 2 V high" : "  ! crank: only 3 steps");
    free(text);
    fixture_free(v);
  }
}

static void test_verdict_text__counts_what_it_leaves_out(void **state) {
  (void)state;
  char *text = text_of(FIXTURE_MANY, PLB_TEXT_PLAIN, 80);
  assert_says(text, "the 37 other sections match known-good");
  assert_says(text, "the 39 other sections match known-good");
  assert_says(text, "353.6-707.1 Hz  doubtful  noisy 7.25 dB");
  assert_says(text, "and 14 more that are weaker");
  assert_says_not(text, "\nb20 ");
  free(text);
}

static void test_sections_text__has_every_section(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_MANY);
  char *text = NULL;
  assert_int_equal(plb_report_sections_text(&text, v, PLB_TEXT_PLAIN, 80, NULL), PLB_OK);
  size_t rows = 0;
  for (const char *at = text; (at = strstr(at, "\nb")) != NULL; at++)
    rows++;
  assert_int_equal(rows, v->bands);
  assert_true(longest_line(text, false) <= 80);
  free(text);
  fixture_free(v);
}

static void test_verdict_text__gives_p_only_where_there_is_one(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_AGREES);
  char *text = NULL;
  assert_int_equal(plb_report_text(&text, v, PLB_TEXT_PLAIN, 200, NULL), PLB_OK);
  assert_says(text, "(robust 2.4), p 0.57\n");
  free(text);
  v->p_value = NAN;
  assert_int_equal(plb_report_text(&text, v, PLB_TEXT_PLAIN, 200, NULL), PLB_OK);
  assert_says(text, "(robust 2.4)\n");
  free(text);
  fixture_free(v);
}

static void test_verdict_text__ends_with_the_caution(void **state) {
  (void)state;
  for (int kind = 0; kind < FIXTURE_KINDS; kind++) {
    char *text = text_of((fixture_kind)kind, PLB_TEXT_PLAIN, 1000);
    const char *caution = strstr(text, "\nCaution: ");
    assert_non_null(caution);
    assert_says(caution, "not permission to work");
    assert_says(caution, "vehicle maker's instructions");
    assert_says(caution, "trained and authorised");
    assert_null(strchr(caution + 1, '\n')[1] ? text : NULL); /* nothing comes after it */
    free(text);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_verdict_text__begins_with_the_whole_sentence),
      cmocka_unit_test(test_verdict_text__keeps_the_width),
      cmocka_unit_test(test_verdict_text__has_no_bytes_a_terminal_obeys),
      cmocka_unit_test(test_verdict_text__shows_tone_and_word_on_a_terminal),
      cmocka_unit_test(test_verdict_text__never_prints_what_is_no_number),
      cmocka_unit_test(test_verdict_text__tells_what_departs),
      cmocka_unit_test(test_verdict_text__tells_times_and_recurrence),
      cmocka_unit_test(test_verdict_text__never_lets_a_model_pass_for_measured),
      cmocka_unit_test(test_verdict_text__says_why_there_is_no_verdict),
      cmocka_unit_test(test_verdict_text__a_reason_names_its_channel_once),
      cmocka_unit_test(test_verdict_text__counts_what_it_leaves_out),
      cmocka_unit_test(test_sections_text__has_every_section),
      cmocka_unit_test(test_verdict_text__gives_p_only_where_there_is_one),
      cmocka_unit_test(test_verdict_text__ends_with_the_caution),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
