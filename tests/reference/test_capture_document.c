#include "core/cmocka_all.h"
#include "reference/capture_document.h"
#include "reference/schema.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

enum { SEVERAL_BLOCKS = 70000 };

static plb_capture *empty_capture(size_t samples) {
  plb_capture *c = plb_capture_new();
  assert_non_null(c);
  c->samples = samples;
  c->rate_hz = 100000.0;
  c->start_s = -0.0123;
  strcpy(c->path, "/somebody/private/van 7.csv");
  plb_sha256("x", 1, c->sha256);
  strcpy(c->format, "delimited text");
  return c;
}

static plb_channel *add_codes(plb_capture *c, const char *role, int decimals) {
  plb_channel *channel = plb_capture_add_channel(c);
  assert_non_null(channel);
  strcpy(channel->role, role);
  channel->samples = (plb_samples){.code = plb_calloc(c->samples, sizeof(int32_t)), .decimals = decimals, .scale = 1.0};
  assert_non_null(channel->samples.code);
  return channel;
}

static plb_channel *add_numbers(plb_capture *c, const char *role) {
  plb_channel *channel = plb_capture_add_channel(c);
  assert_non_null(channel);
  strcpy(channel->role, role);
  channel->samples = (plb_samples){.real = plb_calloc(c->samples, sizeof(double)), .scale = 1.0};
  assert_non_null(channel->samples.real);
  return channel;
}

static void same_number(double a, double b) {
  if (isnan(a) || isnan(b))
    assert_true(isnan(a) && isnan(b));
  else
    assert_memory_equal(&a, &b, sizeof a);
}

static void same_samples(const plb_samples *a, const plb_samples *b, size_t n) {
  assert_int_equal(a->code == NULL, b->code == NULL);
  if (a->code) {
    assert_memory_equal(a->code, b->code, n * sizeof *a->code);
    assert_int_equal(a->decimals, b->decimals);
    assert_int_equal(a->code_low, b->code_low);
    assert_int_equal(a->code_high, b->code_high);
    if (a->decimals < 0) {
      same_number(a->scale, b->scale);
      same_number(a->offset, b->offset);
    }
    return;
  }
  for (size_t i = 0; i < n; i++)
    same_number(a->real[i], b->real[i]);
}

static void same_capture(const plb_capture *a, const plb_capture *b) {
  assert_string_equal(a->sha256, b->sha256);
  assert_string_equal(a->format, b->format);
  assert_int_equal(a->samples, b->samples);
  same_number(a->rate_hz, b->rate_hz);
  same_number(a->start_s, b->start_s);
  same_number(a->uneven, b->uneven);
  assert_int_equal(a->gap_row, b->gap_row);
  assert_int_equal(a->pairs, b->pairs);
  assert_int_equal(a->notes, b->notes);
  for (size_t i = 0; i < a->notes; i++)
    assert_string_equal(a->note[i], b->note[i]);
  assert_int_equal(a->channels, b->channels);
  for (size_t i = 0; i < a->channels; i++) {
    assert_string_equal(a->channel[i].role, b->channel[i].role);
    assert_string_equal(a->channel[i].header, b->channel[i].header);
    assert_string_equal(a->channel[i].unit, b->channel[i].unit);
    assert_int_equal(a->channel[i].column, b->channel[i].column);
    same_number(a->channel[i].factor, b->channel[i].factor);
    same_samples(&a->channel[i].samples, &b->channel[i].samples, a->samples);
  }
}

/* Write, read, compare, write again: the same bytes. Returns them. */
static plb_buffer round_trip(const plb_capture *c) {
  plb_buffer first, second;
  plb_error err = PLB_ERROR_INIT;
  plb_capture *back = NULL;
  char id[33], id_again[33];
  plb_buffer_init(&first, SIZE_MAX);
  plb_buffer_init(&second, SIZE_MAX);
  if (plb_capture_write_buffer(c, NULL, &first, id, &err) != PLB_OK)
    fail_msg("%s", err.message);
  plb_capture_about about = {.conditions = 0};
  if (plb_capture_read_about(&back, &about, first.data, first.size, "kept.xml", &err) != PLB_OK)
    fail_msg("%s", err.message);
  assert_string_equal(about.id, id);
  same_capture(c, back);
  if (plb_capture_write_buffer(back, &about, &second, id_again, &err) != PLB_OK)
    fail_msg("%s", err.message);
  assert_string_equal(id, id_again);
  assert_int_equal(first.size, second.size);
  assert_memory_equal(first.data, second.data, first.size);
  plb_capture_about_dispose(&about);
  plb_capture_free(back);
  plb_buffer_dispose(&second);
  return first;
}

static void check(plb_capture *c, const char *expected_form) {
  plb_buffer out = round_trip(c);
  if (!strstr(out.data, expected_form))
    fail_msg("no %s in the document", expected_form);
  assert_null(strstr(out.data, "private"));
  plb_buffer_dispose(&out);
  plb_capture_free(c);
}

static double swing(size_t i) { return 2.0 + 2.5 * sin((double)i * 0.0137) + 0.01 * sin((double)(i * i % 1000)); }

static void test_capture_document__decimal_text_of_whole_steps(void **state) {
  (void)state;
  plb_capture *c = empty_capture(SEVERAL_BLOCKS);
  plb_channel *channel = add_codes(c, "crank", 4);
  for (size_t i = 0; i < c->samples; i++)
    channel->samples.code[i] = (int32_t)lround(swing(i) / 0.0025) * 25;
  check(c, "<steps ");
}

static void test_capture_document__decimal_text_of_rounded_steps(void **state) {
  (void)state;
  plb_capture *c = empty_capture(40000);
  plb_channel *channel = add_codes(c, "crank", 3);
  channel->factor = 10.0;
  channel->column = 3;
  strcpy(channel->header, "CH 1");
  strcpy(channel->unit, "V");
  for (size_t i = 0; i < c->samples; i++)
    channel->samples.code[i] = (int32_t)lround(round(swing(i) * 1023 / 5.0) * 5.0 / 1023 * 1000.0);
  check(c, "<steps ");
}

static void test_capture_document__decimal_text_without_steps(void **state) {
  (void)state;
  plb_capture *c = empty_capture(40000);
  plb_channel *channel = add_codes(c, "crank", 3);
  for (size_t i = 0; i < c->samples; i++)
    channel->samples.code[i] = (int32_t)lround(swing(i) * 1000.0);
  check(c, "<integers ");
}

static void test_capture_document__extreme_codes(void **state) {
  (void)state;
  static const int32_t extremes[] = {INT32_MIN, INT32_MAX, 0, INT32_MAX, INT32_MIN, INT32_MIN, 1, -1};
  plb_capture *c = empty_capture(8);
  memcpy(add_codes(c, "a", 0)->samples.code, extremes, sizeof extremes);
  plb_channel *b = add_codes(c, "b", -1);
  memcpy(b->samples.code, extremes, sizeof extremes);
  b->samples.scale = 0.1;
  b->samples.offset = -1.0 / 3.0;
  check(c, "<integers ");
}

static void test_capture_document__codes_of_a_wave_file(void **state) {
  (void)state;
  plb_capture *c = empty_capture(70000);
  plb_channel *channel = add_codes(c, "knock", -1);
  channel->samples.scale = 1.0 / 32768.0;
  channel->samples.offset = 0.25;
  channel->samples.code_low = -32768;
  channel->samples.code_high = 32767;
  for (size_t i = 0; i < c->samples; i++)
    channel->samples.code[i] = (int32_t)lround(6000 * swing(i));
  check(c, "<codes ");
}

static void test_capture_document__numbers_with_missing_ones(void **state) {
  (void)state;
  plb_capture *c = empty_capture(70000);
  plb_channel *channel = add_numbers(c, "map");
  for (size_t i = 0; i < c->samples; i++)
    channel->samples.real[i] = i % 9000 < 3 ? (double)NAN : round(swing(i) * 1e5) / 1e5;
  check(c, " missing=\"0 3 9000 3 ");
}

static void test_capture_document__numbers_of_significant_digits(void **state) {
  (void)state;
  plb_capture *c = empty_capture(30000);
  plb_channel *channel = add_numbers(c, "map");
  for (size_t i = 0; i < c->samples; i++) {
    char text[64];
    const double volts =
        round(swing(i) / 3.29e-4) * 3.29037811e-4 + 1e-6; /* and a recorder that is not quite straight */
    snprintf(text, sizeof text, "%.6E", volts + 4e-5 * pow(volts / 5.0, 3));
    channel->samples.real[i] = strtod(text, NULL);
  }
  check(c, " digits=\"7\"");
}

static void test_capture_document__numbers_as_floats(void **state) {
  (void)state;
  plb_random random;
  plb_random_seed(&random, 7);
  plb_capture *c = empty_capture(70000);
  plb_channel *wide = add_numbers(c, "wide"), *narrow = add_numbers(c, "narrow");
  wide = &c->channel[0];
  for (size_t i = 0; i < c->samples; i++) {
    wide->samples.real[i] = i % 50 == 0 ? (double)NAN : plb_random_normal(&random) * pow(10, (double)(i % 600) - 300);
    narrow->samples.real[i] = (double)(float)plb_random_normal(&random);
  }
  wide->samples.real[1] = -0.0;
  wide->samples.real[2] = INFINITY;
  wide->samples.real[3] = -INFINITY;
  narrow->samples.real[4] = -0.0;
  check(c, "planes=\"4\"");
}

static void test_capture_document__everything_around_the_samples(void **state) {
  (void)state;
  plb_condition conditions[2] = {{.name = "state", .word = "cranking", .low = NAN, .high = NAN, .stated = true},
                                 {.name = "speed", .unit = "/min", .low = 180, .high = 220, .stated = true}};
  char place[] = "at the component", date[] = "2024-05-31";
  const plb_capture_about about = {
      .date = date, .place = place, .source = "first.csv", .condition = conditions, .conditions = 2};
  plb_capture *c = empty_capture(3), *back = NULL;
  plb_buffer with, without;
  plb_error err = PLB_ERROR_INIT;
  char id[33], id_again[33];
  add_codes(c, "crank", 0)->samples.code[1] = 5;
  c->pairs = true;
  c->uneven = 0.125;
  c->gap_row = 2;
  plb_capture_add_note(c, "time column: %d", 1);
  plb_buffer_init(&with, SIZE_MAX);
  plb_buffer_init(&without, SIZE_MAX);
  assert_int_equal(plb_capture_write_buffer(c, &about, &with, id, &err), PLB_OK);
  plb_capture_about read = {.conditions = 0};
  assert_int_equal(plb_capture_read_about(&back, &read, with.data, with.size, "kept.xml", &err), PLB_OK);
  same_capture(c, back);
  assert_string_equal(read.id, id);
  assert_string_equal(read.date, date);
  assert_string_equal(read.place, place);
  assert_string_equal(read.source, "first.csv");
  assert_int_equal(read.conditions, 2);
  assert_string_equal(read.condition[0].word, "cranking");
  assert_true(read.condition[1].low == 180 && read.condition[1].high == 220);
  assert_string_equal(read.condition[1].unit, "/min");
  /* the date is not part of the id */
  free(read.date);
  read.date = NULL;
  assert_int_equal(plb_capture_write_buffer(c, &read, &without, id_again, &err), PLB_OK);
  assert_string_equal(id, id_again);
  plb_capture_about_dispose(&read);
  plb_buffer_dispose(&with);
  plb_buffer_dispose(&without);
  plb_capture_free(c);
  plb_capture_free(back);
}

static void test_capture_document__refuses_what_cannot_be_kept(void **state) {
  (void)state;
  plb_buffer out;
  plb_error err = PLB_ERROR_INIT;
  plb_capture *c = empty_capture(3);
  plb_buffer_init(&out, SIZE_MAX);
  assert_int_equal(plb_capture_write_buffer(c, NULL, &out, NULL, &err), PLB_EUSAGE);
  add_codes(c, "crank", 0);
  c->rate_hz = NAN;
  assert_int_equal(plb_capture_write_buffer(c, NULL, &out, NULL, &err), PLB_EDATA);
  plb_buffer_dispose(&out);
  plb_capture_free(c);
}

/* Real recordings: decimal text comes back as the same numbers, and the recorder's step is found behind its
   calibration polynomial. */
static void test_capture_document__real_recordings(void **state) {
  (void)state;
  static const char *const names[] = {"setup-one/full-1.txt", "setup-one/none-3.txt", "setup-one/silent-1.txt",
                                      "setup-two/half-2.txt"};
  const char *told = getenv("PLUMBLINE_TEST_DATA");
  char path[PLB_PATH_SIZE];
  struct stat about;
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
    snprintf(path, sizeof path, "%s/engine/%s", told ? told : PLB_SOURCE_DIR "/../shared/data", names[i]);
    if (stat(path, &about) != 0) {
      print_message("skipped: %s is not there\n", path);
      skip();
    }
    plb_capture *c = NULL;
    plb_error err = PLB_ERROR_INIT;
    assert_int_equal(plb_capture_read(&c, path, NULL, &err), PLB_OK);
    plb_buffer out = round_trip(c);
    print_message("%s: %zu bytes for %zu samples of %zu channels, %lld as text\n", names[i], out.size, c->samples,
                  c->channels, (long long)about.st_size);
    assert_non_null(strstr(out.data, "<steps "));
    assert_null(strstr(out.data, "<floats "));
    plb_buffer_dispose(&out);
    plb_capture_free(c);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_capture_document__decimal_text_of_whole_steps),
      cmocka_unit_test(test_capture_document__decimal_text_of_rounded_steps),
      cmocka_unit_test(test_capture_document__decimal_text_without_steps),
      cmocka_unit_test(test_capture_document__extreme_codes),
      cmocka_unit_test(test_capture_document__codes_of_a_wave_file),
      cmocka_unit_test(test_capture_document__numbers_with_missing_ones),
      cmocka_unit_test(test_capture_document__numbers_of_significant_digits),
      cmocka_unit_test(test_capture_document__numbers_as_floats),
      cmocka_unit_test(test_capture_document__everything_around_the_samples),
      cmocka_unit_test(test_capture_document__refuses_what_cannot_be_kept),
      cmocka_unit_test(test_capture_document__real_recordings),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
