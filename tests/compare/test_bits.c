/* The length of one bit of a serial level, whatever the data. */
#include "compare/bits.h"
#include "core/random.h"
#include "tests/core/close.h"
#include <math.h>

enum { PULSES = 120 };

/* Pulses of 1 to 5 bits as the data wants, edges late by `late_s`, each known to a sample. */
static void send(double *pulse, uint64_t seed, double bit_s, double late_s, unsigned most) {
  plb_random random;
  plb_random_seed(&random, seed);
  for (size_t i = 0; i < PULSES; i++) {
    const double bits = (double)(1 + plb_random_below(&random, most));
    pulse[i] = bits * bit_s + late_s + 0.01 * bit_s * (plb_random_uniform(&random) - 0.5);
  }
}

static void test_bits__length_does_not_follow_the_data(void **state) {
  (void)state;
  double pulse[PULSES];
  for (uint64_t seed = 1; seed <= 10; seed++) {
    send(pulse, seed, 2e-6, 0.0, 5);
    assert_close(plb_bits_pulse(pulse, PULSES), 2e-6, 0.004e-6);
  }
}

static void test_bits__late_edges_lengthen_the_pulse_and_not_the_bit(void **state) {
  (void)state;
  double pulse[PULSES];
  send(pulse, 3, 52e-6, 6e-6, 6);
  assert_close(plb_bits_pulse(pulse, PULSES), 58e-6, 0.3e-6);
}

static void test_bits__a_clock_that_is_off_by_two_percent_shows(void **state) {
  (void)state;
  double pulse[PULSES];
  send(pulse, 4, 2.04e-6, 0.0, 5);
  assert_close(plb_bits_pulse(pulse, PULSES) / 2e-6, 1.02, 0.003);
}

static void test_bits__pulses_of_any_length_are_no_bits(void **state) {
  (void)state;
  double pulse[PULSES];
  plb_random random;
  plb_random_seed(&random, 5);
  for (size_t i = 0; i < PULSES; i++) {
    pulse[i] = 1e-3 * (1.0 + 3.0 * plb_random_uniform(&random));
  }
  assert_true(isnan(plb_bits_pulse(pulse, PULSES)));
  send(pulse, 6, 1e-3, 0.0, 1); /* all alike: a plain pulse */
  assert_true(isnan(plb_bits_pulse(pulse, PULSES)));
  assert_true(isnan(plb_bits_pulse(pulse, 5)));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_bits__length_does_not_follow_the_data),
      cmocka_unit_test(test_bits__late_edges_lengthen_the_pulse_and_not_the_bit),
      cmocka_unit_test(test_bits__a_clock_that_is_off_by_two_percent_shows),
      cmocka_unit_test(test_bits__pulses_of_any_length_are_no_bits),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
