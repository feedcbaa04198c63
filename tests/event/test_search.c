/* Each kind of event alone, the ways a recording is stored, and signals in which nothing must be found. */
#include "core/core.h"
#include "tests/core/cmocka_all.h"
#include <plumbline/event.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { N = 120000, MOST = 16 };
static const double rate_hz = 10000;

typedef struct result {
  plb_event event[MOST];
  size_t count;
  size_t cycles;
  plb_search_summary summary;
} result;

static bool keep(const plb_event *e, void *payload) {
  result *r = payload;
  if (r->count < MOST)
    r->event[r->count] = *e;
  r->count++;
  return true;
}

static bool count_cycle(const char *channel, double time_s, double period_s, double high_s, double lowest,
                        double highest, void *payload) {
  result *r = payload;
  (void)channel, (void)time_s, (void)period_s, (void)high_s, (void)lowest, (void)highest;
  r->cycles++;
  return true;
}

static double *signal_of(double (*f)(size_t), double noise, uint64_t seed) {
  plb_random random;
  plb_random_seed(&random, seed);
  double *x = calloc(N, sizeof *x);
  assert_non_null(x);
  for (size_t i = 0; i < N; i++)
    x[i] = f(i) + noise * plb_random_normal(&random);
  return x;
}

static void path_of(char *path, size_t size, const char *ending) {
  const char *folder = getenv("TMPDIR");
  snprintf(path, size, "%s/search-%ld.%s", folder ? folder : "/tmp", (long)getpid(), ending);
}

static void write_codes(const char *path, const double *x) {
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  for (size_t i = 0; i < N; i++) {
    const int16_t code = (int16_t)lrint(1000 * x[i]);
    assert_int_equal(fwrite(&code, sizeof code, 1, file), 1);
  }
  assert_int_equal(fclose(file), 0);
}

static plb_search_options bare(void) {
  plb_search_options o = PLB_SEARCH_OPTIONS_INIT;
  o.stream = (plb_stream_options){1, PLB_SAMPLE_INT16, 1, rate_hz, 1e-3, 0};
  return o;
}

/* Writes, searches, frees. */
static result search(double *x) {
  static result r;
  char path[512];
  plb_error err = PLB_ERROR_INIT;
  const plb_search_options o = bare();
  r = (result){.count = 0};
  const plb_event_listener listener = {.on_event = keep, .payload = &r};
  path_of(path, sizeof path, "raw");
  write_codes(path, x);
  free(x);
  const plb_status status = plb_search(path, &o, &listener, &r.summary, &err);
  remove(path);
  if (status != PLB_OK)
    fail_msg("%s", err.message);
  assert_int_equal(r.summary.samples, N);
  return r;
}

static double supply(size_t i) { (void)i; return 13.8; }
static double square(size_t i) { return i % 50 < 20 ? 5 : 0; }
static double wheel(size_t i) { return i / 20 % 60 < 58 && i % 20 < 10 ? 5 : 0; }
static double sine(size_t i) { return 8 * sin(0.02 * (double)i); }
static double sweep(size_t i) { return 2.5 + 2 * sin(4e-4 * (double)i); }
/* Bits of a bus: two states in no even order. */
static double levels(size_t i) { return (double)((uint32_t)(i / 37) * 2654435761U >> 31) * 2; }

static void assert_one(const result *r, plb_event_kind kind, double time_s, double duration_s, double size, double within) {
  if (r->count != 1)
    fail_msg("%zu events instead of one", r->count);
  assert_string_equal(plb_event_kind_name(r->event[0].kind), plb_event_kind_name(kind));
  assert_true(fabs(r->event[0].time_s - time_s) < 3e-4);
  assert_true(fabs(r->event[0].duration_s - duration_s) < 5e-4);
  assert_true(fabs(r->event[0].size - size) <= within);
  assert_true(r->event[0].confidence > 0.9);
}

static void test_search__nothing_in_healthy_signals(void **state) {
  (void)state;
  double (*const all[])(size_t) = {supply, square, wheel, sine, sweep, levels};
  for (size_t k = 0; k < sizeof all / sizeof all[0]; k++)
    for (uint64_t seed = 1; seed < 4; seed++) {
      const result r = search(signal_of(all[k], 0.02, seed));
      if (r.count != 0)
        fail_msg("signal %zu seed %llu: %zu events, first %s at %g", k, (unsigned long long)seed, r.count,
                 plb_event_kind_name(r.event[0].kind), r.event[0].time_s);
    }
}

/* Seven openings of an injector in twelve seconds: too few to be two states, and usual all the same; what does not recur is told. */
static double openings(size_t i) { return i > 5000 && (i - 5000) % 16500 < 30 ? 0.8 : 13.8; }

static void test_search__what_recurs_regularly_is_no_event(void **state) {
  (void)state;
  result r = search(signal_of(openings, 0.02, 1));
  assert_int_equal(r.count, 0);
  double *x = signal_of(openings, 0.02, 2);
  x[62001] += 1; /* a stray sample between two of them */
  r = search(x);
  assert_one(&r, PLB_EVENT_SPIKE, 6.2001, 0.0001, 1, 0.1);
  static const size_t irregular[] = {11000, 29000, 34000, 77000, 101500}; /* alike, and in no even order */
  x = signal_of(supply, 0.02, 3);
  for (size_t k = 0; k < 5; k++)
    for (size_t i = 0; i < 30; i++)
      x[irregular[k] + i] -= 13;
  r = search(x);
  assert_int_equal(r.count, 5);
}

static void test_search__dropout_and_spike(void **state) {
  (void)state;
  double *x = signal_of(supply, 0.02, 1);
  for (size_t i = 50000; i < 50040; i++)
    x[i] -= 1.5;
  result r = search(x);
  assert_one(&r, PLB_EVENT_DROPOUT, 5, 0.004, -1.5, 0.02);
  x = signal_of(supply, 0.02, 1);
  x[70001] += 1;
  r = search(x);
  assert_one(&r, PLB_EVENT_SPIKE, 7.0001, 0.0001, 1, 0.1);
}

static void test_search__a_step_that_is_undone_is_a_dropout(void **state) {
  (void)state;
  double *x = signal_of(supply, 0.02, 2);
  for (size_t i = 40000; i < N; i++)
    x[i] -= 0.3;
  result r = search(x);
  assert_one(&r, PLB_EVENT_STEP, 4, 0, -0.3, 0.02);
  x = signal_of(supply, 0.02, 2);
  for (size_t i = 40000; i < 70000; i++)
    x[i] -= 0.3;
  r = search(x);
  assert_one(&r, PLB_EVENT_DROPOUT, 4, 3, -0.3, 0.02);
}

static void test_search__missing_and_extra_pulses(void **state) {
  (void)state;
  double *x = signal_of(square, 0.02, 3);
  for (size_t i = 30000; i < 30020; i++)
    x[i] -= 5;
  result r = search(x);
  assert_one(&r, PLB_EVENT_MISSING, 2.99495, 0.01, 1, 0);
  x = signal_of(square, 0.02, 3);
  for (size_t i = 30030; i < 30040; i++)
    x[i] += 5;
  r = search(x);
  assert_one(&r, PLB_EVENT_EXTRA, 2.99995, 0.005, 1, 0);
}

/* The gap of a wheel is usual, a tooth less elsewhere is not. */
static void test_search__a_tooth_missing_beside_the_gap_of_the_wheel(void **state) {
  (void)state;
  double *x = signal_of(wheel, 0.02, 4);
  for (size_t i = 60000 + 400; i < 60000 + 410; i++)
    x[i] -= 5;
  const result r = search(x);
  assert_one(&r, PLB_EVENT_MISSING, 6.03795, 0.004, 1, 0);
}

static void test_search__stuck_value_and_pulses_that_stop(void **state) {
  (void)state;
  double *x = signal_of(supply, 0.02, 5);
  for (size_t i = 50001; i < 50400; i++)
    x[i] = x[50000];
  result r = search(x);
  assert_one(&r, PLB_EVENT_STUCK, 5, 0.04, 0, 0);
  x = signal_of(square, 0.02, 5);
  for (size_t i = 110000; i < N; i++)
    x[i] -= square(i);
  r = search(x);
  assert_one(&r, PLB_EVENT_STUCK, 10.99695, 1.00305, 201, 1);
}

static void test_search__options_that_make_no_sense(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  plb_search_options o = bare();
  o.sigma = 1;
  assert_int_equal(plb_search("none.raw", &o, NULL, NULL, &err), PLB_EUSAGE);
  o = bare();
  o.stream.rate_hz = 0;
  assert_int_equal(plb_search("none.raw", &o, NULL, NULL, &err), PLB_EUSAGE);
  o = bare();
  assert_int_equal(plb_search("no-such-file.raw", &o, NULL, NULL, &err), PLB_ENOINPUT);
}

/* Text of more than one piece gives what bare samples give. */
static void test_search__text_in_pieces(void **state) {
  (void)state;
  char path[512];
  double *x = signal_of(supply, 0.02, 1);
  for (size_t i = 100000; i < 100040; i++)
    x[i] -= 1.5;
  path_of(path, sizeof path, "csv");
  FILE *file = fopen(path, "w");
  assert_non_null(file);
  fputs("time [s];supply [V]\n", file);
  for (size_t i = 0; i < N; i++)
    fprintf(file, "%zu,%04zu;%d,%03d\n", i / 10000, i % 10000, (int)x[i], (int)(1000 * (x[i] - (int)x[i])));
  assert_int_equal(fclose(file), 0);
  free(x);
  result r = {.count = 0};
  plb_error err = PLB_ERROR_INIT;
  const plb_event_listener listener = {.on_event = keep, .payload = &r};
  const plb_status status = plb_search(path, NULL, &listener, &r.summary, &err);
  remove(path);
  if (status != PLB_OK)
    fail_msg("%s", err.message);
  assert_int_equal(r.summary.samples, N);
  assert_one(&r, PLB_EVENT_DROPOUT, 10, 0.004, -1.5, 0.02);
  assert_string_equal(r.event[0].unit, "V");
}

/* Live: pieces through a pipe give the same event, and every cycle once. */
static void test_search__watching_a_pipe(void **state) {
  (void)state;
  int ends[2];
  assert_int_equal(pipe(ends), 0);
  double *x = signal_of(square, 0.02, 6);
  for (size_t i = 30000; i < 30020; i++)
    x[i] -= 5;
  result r = {.count = 0};
  const plb_event_listener listener = {.on_event = keep, .on_cycle = count_cycle, .payload = &r};
  plb_search_options o = bare();
  plb_watch *watch = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_watch_new(&watch, ends[0], &o, &err), PLB_OK);
  bool open = true;
  for (size_t i = 0; i < N; i += 500) {
    int16_t code[500];
    for (size_t k = 0; k < 500; k++)
      code[k] = (int16_t)lrint(1000 * x[i + k]);
    assert_int_equal(write(ends[1], code, sizeof code), sizeof code);
    assert_int_equal(plb_watch_step(watch, &listener, &open, &err), PLB_OK);
    if (i == 32000)
      assert_int_equal(r.count, 1); /* told while it goes on */
  }
  close(ends[1]);
  while (open)
    assert_int_equal(plb_watch_step(watch, &listener, &open, &err), PLB_OK);
  assert_one(&r, PLB_EVENT_MISSING, 2.99495, 0.01, 1, 0);
  assert_true(r.cycles >= N / 50 - 3 && r.cycles <= N / 50 - 1);
  plb_watch_free(watch);
  close(ends[0]);
  free(x);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_search__nothing_in_healthy_signals),
      cmocka_unit_test(test_search__what_recurs_regularly_is_no_event),
      cmocka_unit_test(test_search__dropout_and_spike),
      cmocka_unit_test(test_search__a_step_that_is_undone_is_a_dropout),
      cmocka_unit_test(test_search__missing_and_extra_pulses),
      cmocka_unit_test(test_search__a_tooth_missing_beside_the_gap_of_the_wheel),
      cmocka_unit_test(test_search__stuck_value_and_pulses_that_stop),
      cmocka_unit_test(test_search__options_that_make_no_sense),
      cmocka_unit_test(test_search__text_in_pieces),
      cmocka_unit_test(test_search__watching_a_pipe),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
