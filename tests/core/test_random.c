#include "cmocka_all.h"
#include "core/random.h"

#include <math.h>
#include <stdlib.h>

/* The sequence of xoshiro256** from the state 1, 2, 3, 4. COMPUTED with a second program in Python; the first four are
 * also in published test vectors (FROM MEMORY). */
static void test_random__sequence_is_the_published_one(void **state) {
  (void)state;
  const uint64_t expected[] = {UINT64_C(11520),
                               UINT64_C(0),
                               UINT64_C(1509978240),
                               UINT64_C(1215971899390074240),
                               UINT64_C(1216172134540287360),
                               UINT64_C(607988272756665600),
                               UINT64_C(16172922978634559625),
                               UINT64_C(8476171486693032832),
                               UINT64_C(10595114339597558777),
                               UINT64_C(2904607092377533576)};
  plb_random r = {{1, 2, 3, 4}};
  for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++)
    assert_true(plb_random_next(&r) == expected[i]);
}

/* SplitMix64 from 1234567: the example outputs in general use (FROM MEMORY), COMPUTED with a second program too. */
static void test_random__seed_fills_the_state_by_split_mix(void **state) {
  (void)state;
  plb_random r;
  plb_random_seed(&r, 1234567);
  assert_true(r.state[0] == UINT64_C(6457827717110365317));
  assert_true(r.state[1] == UINT64_C(3203168211198807973));
  assert_true(r.state[2] == UINT64_C(9817491932198370423));
  assert_true(r.state[3] == UINT64_C(4593380528125082431));
}

static void test_random__same_seed_same_numbers(void **state) {
  (void)state;
  plb_random a, b, c;
  plb_random_seed(&a, 42);
  plb_random_seed(&b, 42);
  plb_random_seed(&c, 43);
  int equal = 0;
  for (int i = 0; i < 100; i++) {
    const uint64_t x = plb_random_next(&a);
    assert_true(x == plb_random_next(&b));
    equal += x == plb_random_next(&c);
  }
  assert_int_equal(equal, 0);
}

/* Mean 1/2 and variance 1/12; the bounds are five standard errors for n = 100,000. */
static void test_random__uniform_fills_the_unit_interval(void **state) {
  (void)state;
  plb_random r;
  plb_random_seed(&r, 1);
  enum { N = 100000 };
  double sum = 0, squares = 0, lowest = 2, highest = -1;
  for (int i = 0; i < N; i++) {
    const double x = plb_random_uniform(&r);
    sum += x;
    squares += (x - 0.5) * (x - 0.5);
    lowest = fmin(lowest, x);
    highest = fmax(highest, x);
  }
  assert_true(lowest >= 0 && lowest < 1e-3 && highest > 1 - 1e-3 && highest < 1);
  assert_true(fabs(sum / N - 0.5) < 5 * sqrt(1.0 / 12 / N));
  assert_true(fabs(squares / N - 1.0 / 12) < 5 * sqrt(1.0 / 180 / N));
}

/* With n = 3 * 2^62 a plain remainder would give the first third half of all draws. */
static void test_random__below_has_no_bias(void **state) {
  (void)state;
  plb_random r;
  plb_random_seed(&r, 2);
  const uint64_t n = UINT64_C(3) << 62;
  int first = 0;
  for (int i = 0; i < 30000; i++) {
    const uint64_t x = plb_random_below(&r, n);
    assert_true(x < n);
    first += x < n / 3;
  }
  assert_true(abs(first - 10000) < 5 * 82); /* sqrt(30000 * 1/3 * 2/3) = 82 */
}

static void test_random__below_reaches_every_value(void **state) {
  (void)state;
  plb_random r;
  plb_random_seed(&r, 3);
  int counts[6] = {0};
  for (int i = 0; i < 60000; i++)
    counts[plb_random_below(&r, 6)]++;
  for (int i = 0; i < 6; i++)
    assert_true(abs(counts[i] - 10000) < 5 * 92); /* sqrt(60000 * 1/6 * 5/6) = 91.3 */
  assert_true(plb_random_below(&r, 1) == 0);
}

/* Mean 0, variance 1, fourth moment 3, and the share within one sigma 0.6827 (erf(1/sqrt 2)); five standard errors. */
static void test_random__normal_has_its_moments(void **state) {
  (void)state;
  plb_random r;
  plb_random_seed(&r, 4);
  enum { N = 200000 };
  double sum = 0, squares = 0, fourth = 0;
  int inside = 0;
  for (int i = 0; i < N; i++) {
    const double x = plb_random_normal(&r);
    assert_true(isfinite(x));
    sum += x;
    squares += x * x;
    fourth += x * x * x * x;
    inside += fabs(x) < 1;
  }
  assert_true(fabs(sum / N) < 5 * sqrt(1.0 / N));
  assert_true(fabs(squares / N - 1) < 5 * sqrt(2.0 / N));
  assert_true(fabs(fourth / N - 3) < 5 * sqrt(96.0 / N));
  assert_true(fabs((double)inside / N - erf(sqrt(0.5))) < 5 * sqrt(0.6827 * 0.3173 / N));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_random__sequence_is_the_published_one),
      cmocka_unit_test(test_random__seed_fills_the_state_by_split_mix),
      cmocka_unit_test(test_random__same_seed_same_numbers),
      cmocka_unit_test(test_random__uniform_fills_the_unit_interval),
      cmocka_unit_test(test_random__below_has_no_bias),
      cmocka_unit_test(test_random__below_reaches_every_value),
      cmocka_unit_test(test_random__normal_has_its_moments),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
