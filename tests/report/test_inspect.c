#include "tests/report/fixture.h"
#include "tests/report/outside.h"
#include "report/facts.h"
#include "report/sketch.h"

#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* A capture of two channels: pulses with one spike of a single sample, and noise of 0.05 V RMS on 2.5 V. */
static plb_capture *make_capture(size_t n) {
  plb_capture *c = plb_capture_new();
  double *pulses = calloc(n, sizeof *pulses), *noisy = calloc(n, sizeof *noisy);
  assert_true(c && pulses && noisy);
  plb_random r;
  plb_random_seed(&r, 7);
  for (size_t i = 0; i < n; i++) {
    pulses[i] = i % 200 < 60 ? 0.4 : 12.2;
    noisy[i] = 2.5 + 0.05 * plb_random_normal(&r);
  }
  pulses[n / 2 + 17] = 47.5;
  noisy[5] = NAN;
  assert_int_equal(plb_capture_add_real(c, "switch", "V", pulses, n, NULL), PLB_OK);
  assert_int_equal(plb_capture_add_real(c,
                                        "nois\xff"
                                        "e",
                                        "1", noisy, n, NULL),
                   PLB_OK);
  c->samples = n;
  c->rate_hz = 10000;
  c->channel[0].column = 2;
  c->channel[1].column = 3;
  strcpy(c->path, "work shop/a<b>.csv");
  strcpy(c->format, "delimited text");
  plb_capture_add_note(c, "time column: 1");
  free(pulses);
  free(noisy);
  return c;
}

static void test_facts__noise_is_the_scatter_of_white_noise(void **state) {
  (void)state;
  plb_capture *c = make_capture(20000);
  double *x = plb_capture_copy_values(c, 1);
  plb_facts f;
  assert_int_equal(plb_facts_of(&f, x, 20000, 0, NULL), PLB_OK);
  assert_true(fabs(f.noise - 0.05) <
              0.0015); /* the median of 20,000: about 1.2 % per standard error, with its correlation */
  assert_true(fabs(f.mean - 2.5) < 0.0015);
  assert_int_equal(f.missing, 1);
  free(x);
  plb_capture_free(c);
}

static void test_facts__noise_does_not_see_slopes(void **state) {
  (void)state;
  double ramp[1000];
  for (int i = 0; i < 1000; i++)
    ramp[i] = i * 0.25;
  plb_facts f;
  assert_int_equal(plb_facts_of(&f, ramp, 1000, 0.25, NULL), PLB_OK);
  assert_true(f.noise == 0 && f.lowest == 0 && f.highest == 999 * 0.25);
}

static void test_facts__survive_a_channel_without_numbers(void **state) {
  (void)state;
  const double x[4] = {NAN, NAN, NAN, NAN};
  plb_facts f;
  assert_int_equal(plb_facts_of(&f, x, 4, 0, NULL), PLB_OK);
  assert_true(isnan(f.lowest) && isnan(f.mean) && isnan(f.noise));
  assert_int_equal(f.missing, 4);
}

static void test_inspect_text__keeps_the_width(void **state) {
  (void)state;
  static const int widths[] = {30, 60, 80, 140, 300};
  plb_capture *c = make_capture(4000);
  for (size_t i = 0; i < sizeof widths / sizeof widths[0]; i++) {
    char *text = NULL;
    assert_int_equal(plb_report_inspect_text(&text, c, widths[i], NULL), PLB_OK);
    if (longest_line(text, true) > widths[i])
      fail_msg("a line of %d at %d:\n%s", longest_line(text, true), widths[i], text);
    free(text);
  }
  plb_capture_free(c);
}

static void test_inspect_text__tells_what_is_there(void **state) {
  (void)state;
  plb_capture *c = make_capture(4000);
  char *text = NULL;
  assert_int_equal(plb_report_inspect_text(&text, c, 80, NULL), PLB_OK);
  assert_says(text, "a<b>.csv: delimited text, 2 channels, 4,000 samples at 10 kHz, 400 ms long");
  assert_says(text, "time column: 1");
  assert_says(text, "switch");
  assert_says(text, "47.5 V");
  assert_says(text, "nois\xEF\xBF\xBD"
                    "e");
  assert_says(text, "Recording check");
  assert_says(text, "Picture of switch");
  assert_says(text, "Guesses, and how sure they are");
  assert_says(text, "--channel");
  assert_says_not(text, "nan");
  free(text);
  plb_capture_free(c);
}

/* A spike of one sample in four thousand, in a picture of seventy columns. */
static void test_sketch__shows_a_spike_of_one_sample(void **state) {
  (void)state;
  double x[4000] = {0};
  x[2345] = 1;
  plb_page page;
  plb_page_init(&page, PLB_TEXT_PLAIN, 80);
  plb_sketch(&page, x, 0, 4000, 1000, 0, "V");
  const char *top = strchr(page.out.data, '|');
  const size_t columns = strcspn(top + 1, "\n");
  assert_int_equal(columns, 2345 * 70 / 4000 + 1); /* blanks up to the spike, then its top */
  assert_int_equal(top[columns], '|');
  size_t lines = 0;
  for (const char *c = page.out.data; *c; c++)
    lines += *c == '\n';
  assert_int_equal(lines, PLB_SKETCH_ROWS + 1);
  plb_buffer_dispose(&page.out);
}

static void test_sketch_closer__centres_on_the_longest_gap(void **state) {
  (void)state;
  double x[6000];
  for (int i = 0; i < 6000; i++) /* 20 samples a wave; two waves are missing at 3000 */
    x[i] = i >= 3000 && i < 3040 ? 0 : i % 20 < 10 ? 1 : 0;
  size_t first = 0, count = 0;
  assert_int_equal(plb_sketch_closer(x, 6000, &first, &count, NULL), PLB_OK);
  assert_true(count > 0 && first < 3000 && first + count > 3040 && count < 300);
  assert_int_equal(plb_sketch_closer(x, 300, &first, &count, NULL), PLB_OK); /* few waves: the whole shows enough */
  assert_int_equal(count, 0);
}

static void test_inspect_json__is_valid_and_says_the_same(void **state) {
  (void)state;
  plb_capture *c = make_capture(4000);
  char *text = NULL;
  assert_int_equal(plb_report_inspect_json(&text, c, NULL), PLB_OK);
  json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
  assert_non_null(root);
  double duration, highest;
  int samples, missing;
  assert_int_equal(json_unpack(root, "{s:F, s:i, s:[{s:F}, {s:i}]}", "duration_s", &duration, "samples", &samples,
                               "channels", "highest", &highest, "missing", &missing),
                   0);
  assert_true(fabs(duration - 0.4) < 1e-12 && highest == 47.5);
  assert_int_equal(samples, 4000);
  assert_int_equal(missing, 1);
  json_decref(root);
  plb_capture_free(c);
  assert_valid_json("capture-1.json", "capture.json", text);
  free(text);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_facts__noise_is_the_scatter_of_white_noise),
      cmocka_unit_test(test_facts__noise_does_not_see_slopes),
      cmocka_unit_test(test_facts__survive_a_channel_without_numbers),
      cmocka_unit_test(test_inspect_text__keeps_the_width),
      cmocka_unit_test(test_inspect_text__tells_what_is_there),
      cmocka_unit_test(test_sketch__shows_a_spike_of_one_sample),
      cmocka_unit_test(test_sketch_closer__centres_on_the_longest_gap),
      cmocka_unit_test(test_inspect_json__is_valid_and_says_the_same),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
