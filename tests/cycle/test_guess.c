/* Guesses of a wheel from modelled sensors. */
#include "cycle_test.h"

static plb_wheel_guess guess(const wheel_model *m, double noise, double gain) {
  plb_wheel_guess g;
  plb_tracks *t = model_wheel(m);
  add_noise(t, 0, noise, 3);
  scale_track(t, 0, gain, 0.0);
  assert_int_equal(plb_wheel_guess_from(t->x[0], t->samples, t->rate_hz, &g, NULL), PLB_OK);
  plb_tracks_free(t);
  return g;
}

static void test_guess__common_wheels_are_recognised(void **state) {
  (void)state;
  static const int wheel[][2] = {{60, 2}, {36, 1}, {36, 2}, {24, 1}, {12, 1}, {30, 2}};
  for (size_t i = 0; i < sizeof wheel / sizeof *wheel; i++) {
    wheel_model m = WHEEL_60_2;
    m.teeth = wheel[i][0];
    m.missing = wheel[i][1];
    for (int sign = -1; sign <= 1; sign += 2) {
      const plb_wheel_guess g = guess(&m, 0.05, sign);
      assert_int_equal(g.teeth, wheel[i][0]);
      assert_int_equal(g.missing, wheel[i][1]);
      assert_true(fabs(g.per_min - 3000.0) < 5.0);
      assert_true(g.confidence > 0.6 && g.confidence <= 1.0);
    }
  }
}

/* A first tooth gone in every turn makes the gap one too long: the common wheel is still the better guess, with less confidence. */
static void test_guess__a_damaged_tooth_makes_it_less_sure(void **state) {
  (void)state;
  const wheel_fault fault = {-1, 1, 0};
  wheel_model m = WHEEL_60_2;
  const double sure = guess(&m, 0.05, 1.0).confidence;
  m.fault = &fault;
  m.faults = 1;
  const plb_wheel_guess g = guess(&m, 0.05, 1.0);
  assert_int_equal(g.teeth, 60);
  assert_int_equal(g.missing, 2);
  assert_true(g.confidence < 0.9 * sure);
}

static void test_guess__what_is_no_wheel_gets_no_confidence(void **state) {
  (void)state;
  plb_tracks *t = new_tracks(1, 20000, 1e5);
  plb_wheel_guess g;
  for (int kind = 0; kind < 4; kind++) {
    for (size_t i = 0; i < t->samples; i++)
      t->x[0][i] = kind == 1 ? sin(0.05 * (double)i) : kind == 2 ? fmod((double)i, 700.0) < 200.0 : 0.0;
    if (kind == 3)
      add_noise(t, 0, 1.0, 9);
    assert_int_equal(plb_wheel_guess_from(t->x[0], t->samples, t->rate_hz, &g, NULL), PLB_OK);
    assert_true(g.confidence < 0.2);
  }
  assert_int_equal(plb_wheel_guess_from(t->x[0], 0, 1e5, &g, NULL), PLB_OK);
  assert_true(g.confidence == 0.0);
  plb_tracks_free(t);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_guess__common_wheels_are_recognised),
      cmocka_unit_test(test_guess__a_damaged_tooth_makes_it_less_sure),
      cmocka_unit_test(test_guess__what_is_no_wheel_gets_no_confidence),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
