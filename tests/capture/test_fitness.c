#include "capture_test.h"
#include "core/random.h"
#include <dirent.h>
#include <math.h>

static const double pi = 3.14159265358979323846;

/* One channel of n samples at 10 kHz. */
static plb_capture *capture_of(const double *x, size_t n) {
  plb_capture *c = plb_capture_new();
  plb_error error = PLB_ERROR_INIT;
  assert_int_equal(plb_capture_add_real(c, "signal", "V", x, n, &error), PLB_OK);
  c->rate_hz = 10000;
  return c;
}

static plb_reason *check(const plb_capture *c, size_t *count) {
  plb_reason *reasons = NULL;
  plb_error error = PLB_ERROR_INIT;
  assert_int_equal(plb_capture_check(c, &reasons, count, &error), PLB_OK);
  for (size_t i = 0; i < *count; i++) {
    assert_int_equal(reasons[i].kind, PLB_REASON_RECORDING);
    assert_true(reasons[i].text[0] && reasons[i].action[0]);
  }
  return reasons;
}

/* How many reasons carry the code; the last of them goes to *out. */
static size_t count_code(const plb_capture *c, const char *code, plb_reason *out) {
  size_t count = 0, found = 0;
  plb_reason *reasons = check(c, &count);
  for (size_t i = 0; i < count; i++) {
    if (strcmp(reasons[i].code, code) != 0)
      continue;
    found++;
    if (out)
      *out = reasons[i];
  }
  free(reasons);
  return found;
}

static size_t count_of(const double *x, size_t n, const char *code) {
  plb_capture *c = capture_of(x, n);
  const size_t count = count_code(c, code, NULL);
  plb_capture_free(c);
  return count;
}

enum { N = 20000 };

/* Rounded to a recorder's steps. */
static void quantise(double *x, double step) {
  for (size_t i = 0; i < N; i++)
    x[i] = round(x[i] / step) * step;
}

static void limit(double *x, double low, double high) {
  for (size_t i = 0; i < N; i++)
    x[i] = fmin(fmax(x[i], low), high);
}

static void add_noise(double *x, double sd, uint64_t seed) {
  plb_random random;
  plb_random_seed(&random, seed);
  for (size_t i = 0; i < N; i++)
    x[i] += sd * plb_random_normal(&random);
}

static void make_sine(double *x, double amplitude, double samples_per_period) {
  for (size_t i = 0; i < N; i++)
    x[i] = amplitude * sin(2.0 * pi * (double)i / samples_per_period);
}

/* An event of three states: battery level, pulled down for a fifth of the time, a spike of 60 V that decays. */
static void make_injector(double *x) {
  for (size_t i = 0; i < N; i++) {
    const size_t k = i % 500;
    x[i] = k < 100 ? 0.2 : k < 110 ? 60.0 - 0.5 * (double)(k - 100) : 14.0 + 40.0 * exp(-((double)k - 110.0) / 8.0);
  }
}

/* A 60-2 wheel into an input that clamps at the bottom softly. */
static void make_wheel(double *x) {
  for (size_t i = 0; i < N; i++) {
    const double tooth = (double)i / 33.0;
    const double raw = fmod(tooth, 60.0) < 58.0 ? 4.5 * sin(2.0 * pi * tooth) : 0.0;
    x[i] = raw > 0.0 ? raw : -0.78 * (1.0 - exp(raw / 0.5));
  }
}

typedef struct clip_row {
  const char *name;
  double noise, step, low, high;
  size_t expected;
} clip_row;

static void test_fitness__clipped_by_the_recorder(void **state) {
  (void)state;
  static const clip_row rows[] = {
      {"top, 12 bits, noise", 0.01, 0.004, -10, 3, 1},
      {"bottom, 12 bits, noise", 0.01, 0.004, -2, 10, 1},
      {"both, 12 bits, noise", 0.01, 0.004, -3, 3, 2},
      {"top, no noise, doubles", 0, 0, -10, 3.3, 1},
      {"top, 8 bits, no noise", 0, 0.04, -10, 3.2, 1},
      {"top, 8 bits, noise of half a step", 0.02, 0.04, -10, 3.2, 1},
      {"deep, no noise", 0, 0.001, -2.7, 2.7, 2},
      {"only just", 0.002, 0.001, -10, 4.3, 1},
      {"not at all, 12 bits", 0.01, 0.004, -10, 10, 0},
      {"not at all, 8 bits", 0.01, 0.04, -10, 10, 0},
      {"not at all, 6 bits, no noise", 0, 0.15, -10, 10, 0},
      {"not at all, doubles", 0, 0, -10, 10, 0},
  };
  static double x[N];
  static const double periods[] = {33.3, 100, 1000};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    for (size_t k = 0; k < 3; k++) {
      const clip_row *r = &rows[i];
      make_sine(x, 4.5, periods[k]);
      add_noise(x, r->noise, i + 1);
      limit(x, r->low, r->high);
      if (r->step > 0.0)
        quantise(x, r->step);
      const size_t got = count_of(x, N, "clipped");
      if (got != r->expected)
        fail_msg("%s, %g samples a period: %zu sides clipped, expected %zu", r->name, periods[k], got, r->expected);
    }
  }
}

static void test_fitness__clipped_wheel(void **state) {
  (void)state;
  static double x[N];
  make_wheel(x);
  add_noise(x, 0.003, 5);
  quantise(x, 0.000329);
  assert_int_equal(count_of(x, N, "clipped"), 0);
  limit(x, -10, 4.0);
  assert_int_equal(count_of(x, N, "clipped"), 1);
}

/* Levels that a circuit or a switch makes are part of the signal. */
/* Edges too fast to be followed, and no noise to speak of: the exact tops give it away. */
static void test_fitness__clipped_behind_fast_edges(void **state) {
  (void)state;
  static double x[N];
  make_sine(x, 4.5, 33.3);
  for (size_t i = 0; i < N; i++)
    x[i] = x[i] > 0 ? 2.5 + 0.45 * x[i] : 0.05 * x[i] - 0.7;
  quantise(x, 0.000329);
  assert_int_equal(count_of(x, N, "clipped"), 0);
  limit(x, -10, 3);
  assert_int_equal(count_of(x, N, "clipped"), 1);
}

static void test_fitness__states_and_circuit_limits_are_not_clipped(void **state) {
  (void)state;
  static double x[N];
  for (size_t i = 0; i < N; i++)
    x[i] = i % 100 < 50 ? 0 : 1; /* a logic channel */
  assert_int_equal(count_of(x, N, "clipped"), 0);
  assert_int_equal(count_of(x, N, "coarse"), 0);
  for (size_t i = 0; i < N; i++)
    x[i] = i % 100 < 48 ? 0.1 : i % 100 < 50 ? 2.5 : 4.9; /* an ideal square wave with a sample on the edge */
  assert_int_equal(count_of(x, N, "clipped"), 0);
  for (size_t k = 0; k < 3; k++) {
    static const double steps[] = {0.005, 0.05, 0.3};
    make_injector(x);
    add_noise(x, 0.02, 3);
    quantise(x, steps[k]); /* in the last two the noise is below a step, and the low state is exact */
    assert_int_equal(count_of(x, N, "clipped"), 0);
  }
  for (size_t i = 0; i < N;
       i++) /* an open collector: an exact low state, a supply with ripple and noise as the high one */
    x[i] = 14 + 0.05 * sin((double)i / 40.0);
  add_noise(x, 0.02, 9);
  for (size_t i = 0; i < N; i++)
    x[i] = i % 700 < 300 ? 0.1 : x[i];
  quantise(x, 0.005);
  assert_int_equal(count_of(x, N, "clipped"), 0);
  for (size_t i = 0; i < N; i++) /* slow edges between exact states */
    x[i] = 12.0 * fmin(1.0, fmax(0.0, fabs((double)(i % 200) - 100.0) / 5.0 - 9.0));
  quantise(x, 0.01);
  assert_int_equal(count_of(x, N, "clipped"), 0);
}

/* At the rails of a format that has them, flat runs are the recorder's. */
static void test_fitness__rails_of_the_format(void **state) {
  (void)state;
  plb_capture *c = plb_capture_new();
  plb_channel *channel = plb_capture_add_channel(c);
  int32_t *code = malloc(N * sizeof *code);
  c->samples = N;
  c->rate_hz = 48000;
  strcpy(channel->role, "c1");
  channel->samples =
      (plb_samples){.code = code, .decimals = -1, .scale = 1.0 / 32768, .code_low = -32768, .code_high = 32767};
  for (int i = 0; i < N; i++)
    code[i] = i % 1000 < 5 ? 32767 : (i * 7919) % 20000;
  plb_reason reason;
  assert_int_equal(count_code(c, "clipped", &reason), 1);
  assert_string_equal(reason.channel, "c1");
  assert_false(reason.blocks);
  assert_non_null(strstr(reason.text, "top is cut off"));
  assert_non_null(strstr(reason.text, "100 samples in 20 flat runs"));
  for (int i = 0; i < N; i++)
    code[i] = i / 3 == 1000
                  ? -32767
                  : (i * 7919) % 20000; /* once is enough; one above the lowest code: many recorders stop there */
  assert_int_equal(count_code(c, "clipped", &reason), 1);
  assert_non_null(strstr(reason.text, "bottom is cut off"));
  for (int i = 0; i < N; i++)
    code[i] = i % 1000 < 300 ? -30000 : i % 1000 < 600 ? 0 : 10000 + (i % 1000 - 600); /* flat, but not at the rail */
  assert_int_equal(count_code(c, "clipped", &reason), 0);
  for (int i = 0; i < N; i++)
    code[i] =
        i % 100 < 50 ? 32767 : -32768; /* a switched signal that fills the range has its two states all the same */
  assert_int_equal(count_code(c, "clipped", &reason), 0);
  channel->factor = -3;
  for (int i = 0; i < N; i++)
    code[i] = i % 1000 < 5 ? 32767 : (i * 7919) % 20000;
  assert_int_equal(count_code(c, "clipped", &reason), 1);
  assert_non_null(strstr(reason.text, "bottom is cut off at -3:"));
  plb_capture_free(c);
}

static void test_fitness__coarse(void **state) {
  (void)state;
  static double x[N];
  make_sine(x, 1.0, 200);
  add_noise(x, 0.01, 1);
  quantise(x, 0.1);
  plb_capture *c = capture_of(x, N);
  plb_reason reason;
  assert_int_equal(count_code(c, "coarse", &reason), 1);
  assert_non_null(strstr(reason.text, "only 20 steps of 0.1 V"));
  plb_capture_free(c);
  make_sine(x, 1.0, 200);
  quantise(x, 0.05);
  assert_int_equal(count_of(x, N, "coarse"), 0);
}

static void test_fitness__sparse(void **state) {
  (void)state;
  static double x[N];
  make_sine(x, 1.0, 3.1);
  plb_capture *c = capture_of(x, N);
  plb_reason reason;
  assert_int_equal(count_code(c, "sparse", &reason), 1);
  assert_non_null(strstr(reason.action, "Hz or more"));
  plb_capture_free(c);
  make_sine(x, 1.0, 12);
  assert_int_equal(count_of(x, N, "sparse"), 0);
  for (size_t i = 0; i < N; i++)
    x[i] = i % 50 < 2 ? 5 : 0; /* wide gaps do not hide narrow pulses */
  assert_int_equal(count_of(x, N, "sparse"), 1);
  for (size_t i = 0; i < N; i++)
    x[i] = 0;
  add_noise(x, 1.0, 1); /* noise alone has no pulses */
  assert_int_equal(count_of(x, N, "sparse"), 0);
}

static void test_fitness__short_flat_missing_uneven_thinned(void **state) {
  (void)state;
  double x[N] = {1, 2, 3, 2, 1, 0, 1, 2, 3, 4};
  plb_reason reason;
  plb_capture *c = capture_of(x, 10);
  assert_int_equal(count_code(c, "short", &reason), 1);
  assert_false(reason.blocks);
  plb_capture_free(c);
  c = capture_of(x, 7);
  assert_int_equal(count_code(c, "short", &reason), 1);
  assert_true(reason.blocks);
  plb_capture_free(c);
  make_sine(x, 1, 100);
  assert_int_equal(count_of(x, 32, "short"), 0);

  x[3] = x[4] = NAN;
  c = capture_of(x, N);
  assert_int_equal(count_code(c, "non-finite", &reason), 1);
  assert_false(reason.blocks);
  assert_non_null(strstr(reason.text, "2 of 20000"));
  c->uneven = 0.04;
  assert_int_equal(count_code(c, "uneven", &reason), 0);
  c->uneven = 0.06;
  c->gap_row = 41;
  assert_int_equal(count_code(c, "uneven", &reason), 1);
  assert_non_null(strstr(reason.text, "6 %"));
  assert_non_null(strstr(reason.text, "sample 42"));
  c->pairs = true;
  assert_int_equal(count_code(c, "thinned", &reason), 1);
  plb_capture_free(c);

  for (size_t i = 0; i < N; i++)
    x[i] = NAN;
  c = capture_of(x, N);
  assert_int_equal(count_code(c, "non-finite", &reason), 1);
  assert_true(reason.blocks);
  assert_int_equal(count_code(c, "flat", NULL), 0);
  plb_capture_free(c);

  for (size_t i = 0; i < N; i++)
    x[i] = 0.3;
  c = capture_of(x, N);
  assert_int_equal(count_code(c, "flat", &reason), 1);
  assert_false(reason.blocks);
  assert_non_null(strstr(reason.text, "0.3 V"));
  assert_int_equal(count_code(c, "coarse", NULL) + count_code(c, "clipped", NULL), 0);
  plb_capture_free(c);
}

static void test_fitness__nothing_to_say(void **state) {
  (void)state;
  static double x[N];
  make_wheel(x);
  add_noise(x, 0.003, 5);
  plb_capture *c = capture_of(x, N);
  size_t count;
  plb_reason *reasons = check(c, &count);
  assert_int_equal(count, 0);
  assert_null(reasons);
  plb_capture_free(c);
}

/* --- real captures: a wheel sensor into an input that clamps at -0.78 V --- */

static bool find_folder(char *out, size_t size, const char *name) {
  const char *given = getenv("PLUMBLINE_TEST_DATA");
  if (given)
    snprintf(out, size, "%s/engine/%s", given, name);
  else
    snprintf(out, size, "%s/../shared/data/engine/%s", PLB_SOURCE_DIR, name);
  DIR *folder = opendir(out);
  if (folder)
    closedir(folder);
  return folder != NULL;
}

/* The same trace as coarser recorders would have it: the clamp at the bottom stays the circuit's. */
static void check_coarser(const plb_capture *c, const char *path) {
  static const double steps[] = {0.005, 0.01, 0.02, 0.03, 0.04, 0.05, 0.08, 0.1, 0.16};
  double *x = plb_capture_copy_values(c, 0);
  for (size_t k = 0; k < sizeof steps / sizeof steps[0]; k++) {
    plb_capture *coarse = plb_capture_new();
    plb_error error = PLB_ERROR_INIT;
    assert_int_equal(plb_capture_add_real(coarse, "crank", "V", x, c->samples, &error), PLB_OK);
    for (size_t i = 0; i < c->samples; i++)
      coarse->channel[0].samples.real[i] = round(x[i] / steps[k]) * steps[k];
    plb_reason reason;
    if (count_code(coarse, "clipped", &reason) > 0)
      fail_msg("%s in steps of %g V: %s", path, steps[k], reason.text);
    plb_capture_free(coarse);
  }
  free(x);
}

/* As recorded; in coarser steps; and with the top really cut off at 3 V. */
static size_t check_capture(const char *path, bool silent) {
  plb_capture *c = NULL;
  plb_error error = PLB_ERROR_INIT;
  assert_int_equal(plb_capture_read(&c, path, NULL, &error), PLB_OK);
  assert_int_equal(c->samples, 50000);
  assert_int_equal(c->channels, 2);
  assert_same_bits(c->rate_hz, 100000.0);
  size_t count = 0;
  plb_reason *reasons = check(c, &count);
  for (size_t i = 0; i < count; i++)
    if (strcmp(reasons[i].code, "coarse") != 0 || !silent)
      fail_msg("%s: %s %s", path, reasons[i].code, reasons[i].text);
  free(reasons);
  if (!silent) {
    check_coarser(c, path);
    double *x = c->channel[0].samples.real;
    assert_non_null(x);
    for (size_t i = 0; i < c->samples; i++)
      x[i] = fmin(x[i], 3.0);
    plb_reason reason;
    assert_int_equal(count_code(c, "clipped", &reason), 1);
    assert_non_null(strstr(reason.text, "top is cut off at 3:"));
  }
  plb_capture_free(c);
  return 1;
}

static void test_fitness__real_captures_are_fit(void **state) {
  (void)state;
  size_t files = 0;
  static const char *const folders[] = {"setup-one", "setup-two"};
  for (int i = 0; i < 2; i++) {
    char folder[PLB_PATH_SIZE], path[PLB_PATH_SIZE + 300];
    if (!find_folder(folder, sizeof folder, folders[i])) {
      print_message("the real captures are not here (PLUMBLINE_TEST_DATA): skipped\n");
      skip();
    }
    DIR *d = opendir(folder);
    for (struct dirent *entry = readdir(d); entry; entry = readdir(d)) {
      if (!strstr(entry->d_name, ".txt"))
        continue;
      snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
      files += check_capture(path, strncmp(entry->d_name, "silent", 6) == 0);
    }
    closedir(d);
  }
  assert_int_equal(files, 26);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_fitness__clipped_by_the_recorder),
      cmocka_unit_test(test_fitness__clipped_wheel),
      cmocka_unit_test(test_fitness__clipped_behind_fast_edges),
      cmocka_unit_test(test_fitness__states_and_circuit_limits_are_not_clipped),
      cmocka_unit_test(test_fitness__rails_of_the_format),
      cmocka_unit_test(test_fitness__coarse),
      cmocka_unit_test(test_fitness__sparse),
      cmocka_unit_test(test_fitness__short_flat_missing_uneven_thinned),
      cmocka_unit_test(test_fitness__nothing_to_say),
      cmocka_unit_test(test_fitness__real_captures_are_fit),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
