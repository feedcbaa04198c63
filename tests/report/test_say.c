#include "tests/report/fixture.h"
#include "report/report.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static void test_say_number__rounds_and_groups(void **state) {
  (void)state;
  static const struct {
    double value;
    int digits;
    const char *said;
  } rows[] = {
      {0, 3, "0"},
      {-0.0, 3, "0"},
      {1, 3, "1"},
      {4.2349, 3, "4.23"},
      {4.2, 3, "4.2"},
      {-0.9, 3, "-0.9"},
      {999.6, 3, "1,000"},
      {2843.2, 3, "2,840"},
      {2843.2, 4, "2,843"},
      {1234567, 7, "1,234,567"},
      {123456, 6, "123,456"},
      {0.00012345, 3, "0.000123"},
      {1e-9, 3, "1e-09"},
      {-12345.678, 8, "-12,345.678"},
      {NAN, 3, "-"},
      {INFINITY, 3, "-"},
      {9.999, 3, "10"},
      {100, 3, "100"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char out[PLB_SAY_SIZE];
    plb_say_number(rows[i].value, rows[i].digits, out);
    assert_string_equal(out, rows[i].said);
  }
}

static void test_say_signed__always_has_a_sign_but_for_nothing(void **state) {
  (void)state;
  char out[PLB_SAY_SIZE];
  plb_say_signed(0.5, 3, out);
  assert_string_equal(out, "+0.5");
  plb_say_signed(-1200, 3, out);
  assert_string_equal(out, "-1,200");
  plb_say_signed(0, 3, out);
  assert_string_equal(out, "0");
  plb_say_signed(NAN, 3, out);
  assert_string_equal(out, "-");
}

static void test_say_quantity__scales_for_people(void **state) {
  (void)state;
  static const struct {
    double value;
    const char *unit, *said;
  } rows[] = {
      {0.00042, "s", "420 us"},    {100000, "Hz", "100 kHz"}, {4.6, "V", "4.6 V"}, {2843.2, "/min", "2,840 rpm"},
      {21.5, "Cel", "21.5 deg C"}, {0.23, "1", "0.23"},       {NAN, "V", "-"},     {12, "[psi]", "12 psi"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char out[PLB_SAY_SIZE];
    plb_say_quantity(rows[i].value, rows[i].unit, 3, out);
    assert_string_equal(out, rows[i].said);
  }
}

static void test_say_share__never_claims_all_or_nothing_wrongly(void **state) {
  (void)state;
  static const struct {
    double share;
    const char *said;
  } rows[] = {{1, "100 %"}, {0.9999, "99 %"}, {0.614, "61 %"}, {0.0001, "1 %"}, {0, "0 %"}, {NAN, "-"}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char out[PLB_SAY_SIZE];
    plb_say_share(rows[i].share, out);
    assert_string_equal(out, rows[i].said);
  }
}

static void test_say_one_in__turns_a_share_into_a_count(void **state) {
  (void)state;
  char out[PLB_SAY_SIZE];
  plb_say_one_in(1.0 / 7, out);
  assert_string_equal(out, "1 in 7");
  plb_say_one_in(0, out);
  assert_string_equal(out, "-");
  plb_say_one_in(NAN, out);
  assert_string_equal(out, "-");
}

static void test_say_clean__stops_what_a_terminal_would_obey(void **state) {
  (void)state;
  char out[64];
  plb_say_clean("a\033[31mb\tc\nd\x7f", out, sizeof out);
  assert_string_equal(out, "a\xEF\xBF\xBD[31mb c d\xEF\xBF\xBD");
  plb_say_clean("\xff\xc2\x9b\xe2\x82\xac", out, sizeof out); /* malformed, a C1 control, the euro sign */
  assert_string_equal(out, "\xEF\xBF\xBD\xEF\xBF\xBD\xe2\x82\xac");
  plb_say_clean("ab\xe2\x82\xac", out, 5); /* no half characters */
  assert_string_equal(out, "ab");
}

static void test_say_headline__says_the_word_once(void **state) {
  (void)state;
  static const struct {
    plb_word word;
    const char *sentence, *headline;
  } rows[] = {
      {PLB_AGREES, "crank, 23 revolutions", "Matches known-good: crank, 23 revolutions"},
      {PLB_AGREES, "matches known-good: crank", "Matches known-good: crank"},
      {PLB_BORDERLINE, "doubtful: volts high", "Doubtful: volts high"},
      {PLB_DEPARTS, "crank low", "Does not match: crank low"},
      {PLB_UNJUDGED, "Cannot tell: no signal, prove the connection", "Cannot tell: no signal, prove the connection"},
      {PLB_UNJUDGED, "", "Cannot tell"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    plb_verdict *v = fixture_verdict(FIXTURE_BARE);
    char out[PLB_TEXT_SIZE];
    size_t word = 0;
    v->word = rows[i].word;
    strcpy(v->sentence, rows[i].sentence);
    plb_say_headline(v, out, &word);
    assert_string_equal(out, rows[i].headline);
    assert_int_equal(word, strlen(plb_word_plain(rows[i].word)));
    fixture_free(v);
  }
}

static void test_say_dial__fits_the_cycle(void **state) {
  (void)state;
  static const struct {
    const char *cycle;
    double rate_hz;
    plb_dial_kind kind;
    double length;
    const char *unit;
  } rows[] = {
      {"wheel:teeth=60,missing=2", 50, PLB_DIAL_DEGREES, 360, "deg"},
      {"wheel:teeth=60,missing=2,revs=2", 25, PLB_DIAL_DEGREES, 720, "deg"},
      {"edge:level=7V,slope=falling", 25, PLB_DIAL_SHARE, 100, "%"}, /* its stretches are drawn unequally */
      {"repeat", 25, PLB_DIAL_TIME, 40, "ms"},
      {"repeat", 5000, PLB_DIAL_TIME, 200, "us"},
      {"repeat", NAN, PLB_DIAL_SHARE, 100, "%"},
      {"once", NAN, PLB_DIAL_TIME, 500, "ms"}, /* the capture's own length */
      {"", NAN, PLB_DIAL_SHARE, 100, "%"},
      {"nonsense", 0, PLB_DIAL_SHARE, 100, "%"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    plb_verdict *v = fixture_verdict(FIXTURE_BARE);
    strcpy(v->reference.cycle, rows[i].cycle);
    v->cycles.rate_hz = rows[i].rate_hz;
    v->capture.rate_hz = 1e5;
    v->capture.samples = 50000;
    const plb_dial dial = plb_say_dial(v);
    assert_int_equal(dial.kind, rows[i].kind);
    assert_true(fabs(dial.length - rows[i].length) < 1e-9 * rows[i].length);
    assert_string_equal(dial.unit, rows[i].unit);
    fixture_free(v);
  }
}

static void test_say_cycles__has_the_right_plural(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_BARE);
  char out[PLB_SAY_SIZE];
  plb_say_cycles(v, 2, out);
  assert_string_equal(out, "2 cycles");
  strcpy(v->cycles.unit_name, "pair of revolutions");
  plb_say_cycles(v, 1, out);
  assert_string_equal(out, "1 pair of revolutions");
  plb_say_cycles(v, 12, out);
  assert_string_equal(out, "12 pairs of revolutions");
  strcpy(v->reference.cycle, "wheel:teeth=60,missing=2,revs=2");
  v->cycles.rate_hz = 25;
  plb_say_rate(v, out);
  assert_string_equal(out, "3,000 rpm");
  fixture_free(v);
}

static void test_say_provenance__never_lets_a_model_pass_for_measured(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_AGREES);
  char out[PLB_TEXT_SIZE];
  plb_say_provenance(v, out);
  assert_string_equal(out, "measured, 6 good captures, groups not stated");
  assert_null(plb_say_not_measured(v->reference.provenance));
  v->reference.groups_stated = true;
  v->reference.groups = 5;
  plb_say_provenance(v, out);
  assert_string_equal(out, "measured, 6 good captures, from 5 vehicles or sessions");
  v->reference.one_group = true;
  plb_say_provenance(v, out);
  assert_string_equal(out, "measured, 6 good captures, one vehicle only");
  v->reference.provenance = PLB_MODELLED;
  plb_say_provenance(v, out);
  assert_says(out, "MODELLED, not measured");
  assert_says_not(out, "good capture");
  assert_says(plb_say_not_measured(PLB_MODELLED), "modelled");
  v->reference.provenance = PLB_STANDARD;
  plb_say_provenance(v, out);
  assert_says(out, "standard");
  assert_says_not(out, "measured");
  fixture_free(v);
}

static void test_say_version__names_file_or_number(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_AGREES);
  char out[PLB_TEXT_SIZE];
  plb_say_version(v, out);
  assert_string_equal(out, "a file of its own, sha256 0123456789ab");
  v->reference.version = 3;
  plb_say_version(v, out);
  assert_string_equal(out, "version 3, a file, sha256 0123456789ab");
  strcpy(v->reference.status, "approved");
  plb_say_version(v, out);
  assert_string_equal(out, "version 3, approved, sha256 0123456789ab");
  fixture_free(v);
}

static void test_say_finding__makes_a_sentence_where_there_is_none(void **state) {
  (void)state;
  plb_finding f;
  char out[PLB_TEXT_SIZE];
  memset(&f, 0, sizeof f);
  f.size = -0.9;
  strcpy(f.unit, "V");
  strcpy(f.channel, "crank");
  strcpy(f.band, "b12");
  strcpy(f.direction, "low");
  f.count = 22;
  f.of = 23;
  plb_say_finding(&f, out);
  assert_string_equal(out, "crank, b12: low by 900 mV in 22 of 23 cycles");
  f.size = NAN;
  f.of = 0;
  plb_say_finding(&f, out);
  assert_string_equal(out, "crank, b12: low");
  strcpy(f.text, "Its own words.");
  plb_say_finding(&f, out);
  assert_string_equal(out, "Its own words.");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_say_number__rounds_and_groups),
      cmocka_unit_test(test_say_signed__always_has_a_sign_but_for_nothing),
      cmocka_unit_test(test_say_quantity__scales_for_people),
      cmocka_unit_test(test_say_share__never_claims_all_or_nothing_wrongly),
      cmocka_unit_test(test_say_one_in__turns_a_share_into_a_count),
      cmocka_unit_test(test_say_clean__stops_what_a_terminal_would_obey),
      cmocka_unit_test(test_say_headline__says_the_word_once),
      cmocka_unit_test(test_say_dial__fits_the_cycle),
      cmocka_unit_test(test_say_cycles__has_the_right_plural),
      cmocka_unit_test(test_say_provenance__never_lets_a_model_pass_for_measured),
      cmocka_unit_test(test_say_version__names_file_or_number),
      cmocka_unit_test(test_say_finding__makes_a_sentence_where_there_is_none),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
