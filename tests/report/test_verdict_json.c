#include "tests/report/fixture.h"
#include "tests/report/outside.h"

#include <jansson.h>
#include <locale.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static char *json_of(const plb_verdict *v, const plb_request *request) {
  char *text = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_report_json(&text, v, request, &err), PLB_OK);
  return text;
}

static json_t *parsed(const char *text) {
  json_error_t error;
  json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &error);
  if (!root)
    fail_msg("%s in %s", error.text, text);
  return root;
}

static void test_verdict_json__is_one_line(void **state) {
  (void)state;
  for (int kind = 0; kind < FIXTURE_KINDS; kind++) {
    plb_verdict *v = fixture_verdict((fixture_kind)kind);
    char *text = json_of(v, NULL);
    const char *end = strchr(text, '\n');
    assert_non_null(end);
    assert_int_equal(end[1], '\0');
    json_decref(parsed(text));
    free(text);
    fixture_free(v);
  }
}

static void test_verdict_json__is_valid_against_the_schema(void **state) {
  (void)state;
  char *all = calloc(1, 4u << 20);
  assert_non_null(all);
  for (int kind = 0; kind < FIXTURE_KINDS; kind++) {
    plb_verdict *v = fixture_verdict((fixture_kind)kind);
    char *text = json_of(v, NULL);
    strcat(all, text);
    free(text);
    fixture_free(v);
  }
  assert_valid_json("verdict-1.json", "verdicts.jsonl", all);
  free(all);
}

static void test_verdict_json__keeps_the_agreed_keys_in_order(void **state) {
  (void)state;
  static const char *const keys[] = {"format",    "verdict",      "sentence",  "score",    "limit",
                                     "guard",     "guard_robust", "p_value",   "promise",  "promise_upper90",
                                     "alignment", "cycles",       "bands",     "readings", "findings",
                                     "fitness",   "reasons",      "reference", "capture",  "request"};
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_DEPARTS);
  char *text = json_of(v, NULL);
  json_t *root = parsed(text);
  size_t i = 0;
  const char *key;
  json_t *value;
  json_object_foreach(root, key, value) {
    if (i < sizeof keys / sizeof keys[0])
      assert_string_equal(key, keys[i]);
    i++;
  }
  assert_true(i >= sizeof keys / sizeof keys[0]);
  json_decref(root);
  free(text);
  fixture_free(v);
}

static void test_verdict_json__says_what_the_verdict_holds(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_EDGE_DOUBTFUL);
  char *text = json_of(v, NULL);
  json_t *root = parsed(text);
  const char *verdict, *pattern, *provenance, *band, *direction, *check;
  int found, every, tooth_is_null, of;
  double lag, deviation;
  json_t *bands, *findings, *tooth;
  assert_int_equal(json_unpack(root, "{s:s, s:{s:i, s:s, s:i}, s:o, s:o, s:{s:s}}", "verdict", &verdict, "cycles",
                               "found", &found, "pattern", &pattern, "every", &every, "bands", &bands, "findings",
                               &findings, "reference", "provenance", &provenance),
                   0);
  assert_string_equal(verdict, "borderline");
  assert_int_equal(found, 214);
  assert_string_equal(pattern, "recurring");
  assert_int_equal(every, 4);
  assert_string_equal(provenance, "modelled");
  assert_int_equal(json_array_size(bands), 8);
  assert_int_equal(json_unpack(json_array_get(bands, 4), "{s:s, s:s, s:F, s:F, s:{s:o}}", "name", &band, "direction",
                               &direction, "lag_s", &lag, "deviation", &deviation, "worst_at", "tooth", &tooth),
                   0);
  tooth_is_null = json_is_null(tooth);
  assert_string_equal(band, "b01");
  assert_string_equal(direction, "low");
  assert_true(fabs(lag - 0.00042) < 1e-15 && fabs(deviation + 0.061) < 1e-15);
  assert_true(tooth_is_null);
  assert_int_equal(json_unpack(json_array_get(findings, 0), "{s:i, s:[s]}", "of", &of, "check_first", &check), 0);
  assert_int_equal(of, 212);
  assert_string_equal(check, "supply at the injector while it is driven");
  json_decref(root);
  free(text);
  fixture_free(v);
}

static void test_verdict_json__makes_numbers_finite_or_null(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_DEPARTS);
  v->score = INFINITY;
  v->limit = -INFINITY;
  v->p_value = NAN;
  v->drawing[0].lowest[7] = NAN;
  v->drawing[0].highest[7] = INFINITY;
  char *text = json_of(v, NULL);
  json_t *root = parsed(text);
  assert_true(json_is_null(json_object_get(root, "score")));
  assert_true(json_is_null(json_object_get(root, "limit")));
  assert_true(json_is_null(json_object_get(root, "p_value")));
  json_t *drawing = json_array_get(json_object_get(root, "drawing"), 0);
  assert_true(json_is_null(json_array_get(json_object_get(drawing, "lowest"), 7)));
  assert_true(json_is_null(json_array_get(json_object_get(drawing, "highest"), 7)));
  assert_true(json_is_real(json_array_get(json_object_get(drawing, "highest"), 8)));
  json_decref(root);
  free(text);
  fixture_free(v);
}

static void test_verdict_json__keeps_the_request(void **state) {
  (void)state;
  static const char *const channels[] = {"crank=2:V", "\xff=3"}, *const conditions[] = {"state=hot-idle"};
  static const char *const conditioning[] = {"zero=0s..0.5s"};
  const plb_request request = {channels, 2, conditions, 1, 1000, true, conditioning, 1};
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_AGREES);
  char *text = json_of(v, &request);
  json_t *root = parsed(text);
  const char *capture, *reference, *first, *second, *condition;
  double rate;
  int connected;
  assert_int_equal(json_unpack(json_object_get(root, "request"), "{s:s, s:s, s:[s, s], s:[s], s:{s:F, s:b}}", "capture",
                               &capture, "reference", &reference, "channels", &first, &second, "conditions", &condition,
                               "options", "rate_hz", &rate, "connected", &connected),
                   0);
  assert_string_equal(capture, "captures/workshop/trace.csv");
  assert_string_equal(reference, "crank-inductive/bench/60-2");
  assert_string_equal(first, "crank=2:V");
  assert_string_equal(second, "\xEF\xBF\xBD=3"); /* malformed UTF-8 cannot stand in JSON */
  assert_string_equal(condition, "state=hot-idle");
  assert_true(rate == 1000 && connected);
  json_decref(root);
  free(text);
  fixture_free(v);
}

/* More columns than a picture needs: a spike of one column must still be there. */
static void test_verdict_json__thins_columns_and_keeps_spikes(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_AGREES);
  plb_drawing *d = &v->drawing[0];
  const size_t columns = 5001;
  float **const curves[] = {&d->centre, &d->lower, &d->upper, &d->lowest, &d->median, &d->highest};
  for (size_t i = 0; i < 6; i++) {
    free(*curves[i]);
    *curves[i] = calloc(columns, sizeof(float));
    assert_non_null(*curves[i]);
  }
  d->columns = columns;
  d->highest[1234] = 42.5f;
  d->lowest[4321] = -7.25f;
  char *text = json_of(v, NULL);
  json_t *root = parsed(text), *drawing = json_array_get(json_object_get(root, "drawing"), 0), *value;
  double highest = 0, lowest = 0;
  size_t i;
  assert_int_equal(json_array_size(json_object_get(drawing, "lowest")), 2000);
  assert_int_equal(json_integer_value(json_object_get(drawing, "columns")), 2000);
  json_array_foreach(json_object_get(drawing, "highest"), i, value) highest = fmax(highest, json_number_value(value));
  json_array_foreach(json_object_get(drawing, "lowest"), i, value) lowest = fmin(lowest, json_number_value(value));
  assert_true(highest == 42.5 && lowest == -7.25);
  json_decref(root);
  free(text);
  fixture_free(v);
}

static void test_verdict_json__rounds_curves_to_stay_small(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_AGREES);
  char *text = json_of(v, NULL);
  json_t *root = parsed(text), *drawing = json_array_get(json_object_get(root, "drawing"), 0);
  const plb_drawing *d = &v->drawing[0];
  assert_true(strlen(text) < 9 * 6 * d->columns + 10000);
  for (size_t k = 0; k < d->columns; k++) { /* within one part in 20,000 of the range, which is below 6 V */
    const double value = json_number_value(json_array_get(json_object_get(drawing, "median"), k));
    assert_true(fabs(value - (double)d->median[k]) < 6.0 / 20000);
  }
  json_decref(root);
  free(text);
  fixture_free(v);
}

static void test_verdict_json__does_not_depend_on_the_locale(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_AGREES);
  char *plain = json_of(v, NULL);
  if (!setlocale(LC_ALL, "de_DE.UTF-8") && !setlocale(LC_ALL, "fr_FR.UTF-8")) {
    free(plain);
    fixture_free(v);
    print_message("skipped: no locale with a decimal comma is installed\n");
    skip();
  }
  char *with_comma = json_of(v, NULL);
  setlocale(LC_ALL, "C");
  assert_string_equal(plain, with_comma);
  free(plain);
  free(with_comma);
  fixture_free(v);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_verdict_json__is_one_line),
      cmocka_unit_test(test_verdict_json__is_valid_against_the_schema),
      cmocka_unit_test(test_verdict_json__keeps_the_agreed_keys_in_order),
      cmocka_unit_test(test_verdict_json__says_what_the_verdict_holds),
      cmocka_unit_test(test_verdict_json__makes_numbers_finite_or_null),
      cmocka_unit_test(test_verdict_json__keeps_the_request),
      cmocka_unit_test(test_verdict_json__thins_columns_and_keeps_spikes),
      cmocka_unit_test(test_verdict_json__rounds_curves_to_stay_small),
      cmocka_unit_test(test_verdict_json__does_not_depend_on_the_locale),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
