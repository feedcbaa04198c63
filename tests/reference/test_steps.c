#include "core/cmocka_all.h"
#include "core/core.h"
#include "reference/steps.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { N = 20000 };

typedef double (*recorder)(double code);

static double swing(size_t i) { return sin((double)i * 0.0137) + 0.01 * sin((double)(i * i % 1000)); }

/* Found or not; what is found gives every value back. @return how many different codes there may be, 0: not found */
static double find(const int64_t *m, size_t n, plb_steps *out) {
  int32_t *code = plb_calloc(n, sizeof *code), low = INT32_MAX, high = INT32_MIN;
  assert_non_null(code);
  bool found;
  assert_int_equal(plb_steps_find(m, n, out, code, &found, NULL), PLB_OK);
  for (size_t i = 0; found && i < n; i++) {
    int64_t back;
    assert_true(plb_steps_apply(out, code[i], &back));
    assert_true(back == m[i]);
    low = code[i] < low ? code[i] : low;
    high = code[i] > high ? code[i] : high;
  }
  free(code);
  return found ? (double)high - low + 1.0 : 0.0;
}

typedef struct row {
  const char *what;
  double step;   /* volts */
  double offset; /* units of the last decimal */
  double codes;  /* half the swing */
  int decimals;
} row;

/* Recorders of 10 to 16 bits, printing so few decimals that the step is barely there, and so many that rounding
   hardly shows. */
static const row rows[] = {
    {"10 bits over 5 V, mV", 5.0 / 1023, 0, 500, 3},
    {"10 bits over 5 V, 0.1 mV", 5.0 / 1023, -12345, 500, 4},
    {"12 bits over 10 V, mV", 10.0 / 4096, -5000, 2000, 3},
    {"12 bits over 5 V, mV: less than a quarter of the numbers missing", 5.0 / 4096, 0, 2000, 3},
    {"12 bits over 5 V, uV", 5.0 / 4096, 300, 2000, 6},
    {"16 bits over 20 V, 0.1 mV", 20.0 / 65536, 0.2, 30000, 4},
    {"a step in whole decimals", 0.0025, 1, 2000, 4},
    {"negative throughout", 0.004887, -90000, 500, 3},
};

static void test_steps__found_behind_rounded_decimals(void **state) {
  (void)state;
  int64_t *m = plb_calloc(N, sizeof *m);
  assert_non_null(m);
  for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
    plb_steps steps;
    for (size_t i = 0; i < N; i++)
      m[i] = llround(rows[r].offset + rows[r].step * pow(10, rows[r].decimals) * round(rows[r].codes * swing(i)));
    const double codes = find(m, N, &steps);
    print_message("%s: %.0f codes, %d coefficients\n", rows[r].what, codes, steps.coefficients);
    assert_true(codes > 1.9 * rows[r].codes && codes < 2.1 * rows[r].codes);
  }
  free(m);
}

static double straight(double k) { return 1.5312345678e-6 + 3.29123456789e-4 * k; }
static double bent(double k) { return -0.78 + 3.2903781e-4 * k + 1.7e-13 * k * k + 5.8e-18 * k * k * k; }

/* "%.6E" rounds large and small values differently, and a calibrated recorder's line is slightly bent. */
static void test_steps__found_behind_significant_digits(void **state) {
  (void)state;
  static const recorder recorders[] = {straight, bent};
  int64_t *m = plb_calloc(N, sizeof *m);
  assert_non_null(m);
  for (size_t r = 0; r < 2; r++) {
    plb_steps steps;
    for (size_t i = 0; i < N; i++) {
      char text[40];
      snprintf(text, sizeof text, "%.6E", recorders[r](round(8000 * swing(i) + (r ? 8100 : 0))));
      m[i] = llround(strtod(text, NULL) * 1e12);
    }
    const double codes = find(m, N, &steps);
    print_message("recorder %zu: %.0f codes\n", r, codes);
    assert_true(codes > 15000 && codes < 17000);
    assert_int_equal(steps.digits, 7);
    assert_int_equal(steps.coefficients, r ? 4 : 2);
  }
  free(m);
}

static void test_steps__none_where_there_are_none(void **state) {
  (void)state;
  int64_t *m = plb_calloc(N, sizeof *m);
  plb_steps steps;
  plb_random random;
  plb_random_seed(&random, 9);
  assert_non_null(m);
  for (size_t i = 0; i < N; i++)
    m[i] = llround(2000 * swing(i));
  assert_true(find(m, N, &steps) == 0);
  for (size_t i = 0; i < N; i++)
    m[i] = (int64_t)plb_random_below(&random, 1000000);
  assert_true(find(m, N, &steps) == 0);
  for (size_t i = 0; i < N; i++)
    m[i] = 42;
  assert_true(find(m, N, &steps) == 0);
  assert_true(find(m, 1, &steps) == 0);
  assert_true(find(m, 0, &steps) == 0);
  free(m);
}

/* printf rounds exact ties to even, some loggers away from zero: 5 V / 4096 in mV is 625 / 512, a tie at every 512th
   code. */
static void test_steps__exact_ties(void **state) {
  (void)state;
  int64_t *m = plb_calloc(N, sizeof *m);
  assert_non_null(m);
  for (int even = 0; even < 2; even++) {
    plb_steps steps;
    for (size_t i = 0; i < N; i++) {
      const double millivolts = 625.0 / 512.0 * round(2000 * swing(i)); /* exact in binary */
      m[i] = even ? llrint(millivolts) : llround(millivolts);
    }
    assert_true(find(m, N, &steps) > 3900);
  }
  free(m);
}

/* One value that does not fit: it comes back all the same, with another step or with none. */
static void test_steps__one_stray_value(void **state) {
  (void)state;
  int64_t *m = plb_calloc(N, sizeof *m);
  plb_steps steps;
  assert_non_null(m);
  for (size_t i = 0; i < N; i++)
    m[i] = llround(round(500 * swing(i)) * 48.8759);
  assert_true(find(m, N, &steps) > 0);
  for (int64_t stray = 1; stray < 48; stray += 9) {
    m[N / 3] += stray;
    find(m, N, &steps);
    m[N / 3] -= stray;
  }
  free(m);
}

/* Extremes must not overflow. */
static void test_steps__extreme_values(void **state) {
  (void)state;
  const int64_t most = INT64_C(1) << 53;
  int64_t m[64];
  plb_steps steps;
  for (int i = 0; i < 64; i++)
    m[i] = i % 2 ? most - 1000003 * i : -most + 999983 * i;
  find(m, 64, &steps);
  for (int i = 0; i < 64; i++)
    m[i] = (INT64_C(1) << i % 53) * (i % 2 ? 1 : -1);
  find(m, 64, &steps);
  const plb_steps wild = {{INT64_MAX, INT64_MAX, INT64_MIN, INT64_MAX}, 4, 31, 40, 17, PLB_TIES_UP};
  static const int32_t codes[] = {INT32_MIN, -1, 0, 1, INT32_MAX};
  int64_t back;
  for (size_t i = 0; i < 5; i++)
    (void)plb_steps_apply(&wild, codes[i], &back);
  assert_false(plb_steps_apply(&wild, 0, &back));
}

/* COMPUTED by hand: p = 100 + floor(k (48 + floor(3 k / 4)) / 4) in fractions of 1/2. k = 3: floor(9 / 4) = 2, 3 * 50
   = 150, * floor(150 / 4) = 37, p = 137, m = floor(68.5 + 0.5) = 69; with two digits |p| < 100 * 2 holds: 69. k = 20:
   floor(60 / 4) = 15, * 20 * 63 = 1260, p = 415, 207.5 -> 208; with two digits the unit is 10: floor(20.75 + 0.5) =
   21 -> 210. k = -3: floor(-9 / 4) = -3, * -3 * 45 = -135, floor(-33.75) = -34, p = 66 -> 33. */
static void test_steps__applied_as_described(void **state) {
  (void)state;
  plb_steps steps = {{100, 48, 3, 0}, 3, 2, 1, 0, PLB_TIES_UP};
  int64_t m;
  assert_true(plb_steps_apply(&steps, 3, &m) && m == 69);
  assert_true(plb_steps_apply(&steps, 20, &m) && m == 208);
  assert_true(plb_steps_apply(&steps, -3, &m) && m == 33);
  steps.ties = PLB_TIES_AWAY; /* k = -20: floor(-60 / 4) = -15, 33 * -20 / 4 = -165, p = -65, -32.5 */
  assert_true(plb_steps_apply(&steps, 3, &m) && m == 69);
  assert_true(plb_steps_apply(&steps, -20, &m) && m == -33);
  steps.ties = PLB_TIES_EVEN;
  assert_true(plb_steps_apply(&steps, 3, &m) && m == 68);
  assert_true(plb_steps_apply(&steps, 20, &m) && m == 208);
  assert_true(plb_steps_apply(&steps, -20, &m) && m == -32);
  steps.ties = PLB_TIES_UP;
  assert_true(plb_steps_apply(&steps, -20, &m) && m == -32);
  steps.digits = 2;
  assert_true(plb_steps_apply(&steps, 3, &m) && m == 69);
  assert_true(plb_steps_apply(&steps, 20, &m) && m == 210);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_steps__found_behind_rounded_decimals),
      cmocka_unit_test(test_steps__found_behind_significant_digits),
      cmocka_unit_test(test_steps__none_where_there_are_none),
      cmocka_unit_test(test_steps__exact_ties),
      cmocka_unit_test(test_steps__one_stray_value),
      cmocka_unit_test(test_steps__extreme_values),
      cmocka_unit_test(test_steps__applied_as_described),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
