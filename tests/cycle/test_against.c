/* One channel along another: two tracks moved by hand, at any speed, with pauses. */
#include "cycle_test.h"

enum { GOOD = 4 };
static const double RATE_HZ = 1000, TURN = 6.283185307179586;

/** y = 4.5 - x * 0.4 with a bend, x from 0.5 V to 4.5 V and back, `strokes` times half a second each way; the hand stops on the way. */
static plb_tracks *move_by_hand(double seconds_each, double reach, double pause_s, uint64_t seed) {
  const size_t stroke = (size_t)(seconds_each * RATE_HZ), pause = (size_t)(pause_s * RATE_HZ), n = 400 + 4 * stroke + pause;
  plb_tracks *t = new_tracks(2, n, RATE_HZ);
  name_track(t, 0, "track-1");
  name_track(t, 1, "track-2");
  for (size_t i = 0; i < n; i++) {
    double at = (double)i - 200.0;
    const double stop = 0.6 * (double)stroke;
    at = at < stop ? at : at < stop + (double)pause ? stop : at - (double)pause;
    const double turns = fmax(0.0, fmin(2.0, at / (2.0 * (double)stroke)));
    const double x = 0.5 + 4.0 * reach * (0.5 - 0.5 * cos(TURN * turns));
    t->x[1][i] = x;
    t->x[0][i] = 4.5 - 0.8 * x + 0.1 * sin(2.0 * x);
  }
  add_noise(t, 0, 0.005, seed);
  add_noise(t, 1, 0.005, seed + 500);
  return t;
}

static plb_cycle_choice learn_tracks(void) {
  static const double seconds[GOOD] = {0.5, 0.8, 1.1, 0.6};
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  for (size_t i = 0; i < GOOD; i++)
    t[i] = move_by_hand(seconds[i], 1.0, 0.1 * (double)i, i + 1);
  choose_from(&c, t, GOOD, "against:channel=track-2", 0);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
  return c;
}

static double x_of(const plb_cycle_choice *c, size_t cell) {
  return c->level_low + ((double)cell + 0.5) / (double)c->grid * (c->level_high - c->level_low);
}

static void test_against__the_other_channel_is_judged_whichever_comes_first(void **state) {
  (void)state;
  plb_cycle_choice c = learn_tracks();
  assert_int_equal(c.channel, 0);
  assert_true(fabs(c.level_low - 0.5) < 0.05 && fabs(c.level_high - 4.5) < 0.05);
  plb_cycle_choice_dispose(&c);
}

static void test_against__speed_and_pauses_of_the_hand_do_not_matter(void **state) {
  (void)state;
  static const double seconds[] = {0.1, 0.5, 3.0}, pause[] = {0.0, 2.0, 0.3};
  plb_cycle_choice c = learn_tracks();
  for (size_t i = 0; i < 3; i++) {
    plb_tracks *t = move_by_hand(seconds[i], 1.0, pause[i], 40 + i);
    plb_frame *f = build(t, &c);
    assert_int_equal(f->mapped, 4);
    assert_true(f->covered > 0.99);
    for (size_t r = 0; r < f->mapped; r++)
      for (size_t k = 1; k + 1 < f->grid; k++) {
        const double x = x_of(&c, k);
        assert_true(fabs((double)f->value[2 * r * f->grid + k] - (4.5 - 0.8 * x + 0.1 * sin(2.0 * x))) < 0.04);
      }
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_against__a_dropout_of_one_sample_in_a_long_pause_shows(void **state) {
  (void)state;
  plb_cycle_choice c = learn_tracks();
  plb_tracks *t = move_by_hand(0.8, 1.0, 3.0, 50);
  const size_t at = 200 + 480 + 1500;
  t->x[0][at] = 0.2;
  plb_frame *f = build(t, &c);
  size_t seen = 0;
  for (size_t r = 0; r < f->mapped; r++)
    for (size_t k = 0; k < f->grid; k++)
      if (fabs((double)f->value[2 * r * f->grid + k] - (4.5 - 0.8 * x_of(&c, k))) > 0.5) {
        seen++;
        assert_true(fabs(f->edge_at[r * (f->grid + 1) + k] - (double)at) < 0.5);
        assert_true(fabs(x_of(&c, k) - t->x[1][at]) < 0.05);
      }
  assert_int_equal(seen, 1);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static void test_against__a_short_stroke_counts_for_what_it_reaches(void **state) {
  (void)state;
  plb_cycle_choice c = learn_tracks();
  plb_tracks *t = move_by_hand(0.8, 0.4, 0.0, 51);
  plb_frame *f = build(t, &c);
  assert_int_equal(f->mapped, 4);
  assert_true(fabs(f->covered - 0.4) < 0.03);
  for (size_t r = 0; r < f->mapped; r++)
    for (size_t k = 2; k < f->grid; k++)
      if (k < 9 * f->grid / 25 || k > 11 * f->grid / 25)
        assert_int_equal(isfinite(f->value[2 * r * f->grid + k]) != 0, k < f->grid * 2 / 5);
  assert_true(fabs(f->landmark_phase[1] - 0.4) < 0.02); /* the travel ends there */
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static void test_against__a_resting_hand_makes_no_stroke(void **state) {
  (void)state;
  plb_cycle_choice c = learn_tracks();
  plb_tracks *t = move_by_hand(0.8, 0.0, 0.0, 52);
  plb_frame *f = build(t, &c);
  assert_int_equal(f->found, 0);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static void test_against__a_missing_channel_is_named(void **state) {
  (void)state;
  plb_tracks *t[1] = {move_by_hand(0.5, 1.0, 0.0, 1)};
  plb_cycle_choice c;
  plb_cycle_spec spec;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_cycle_spec_parse("against:channel=pressure", &spec, &err), PLB_OK);
  assert_int_equal(plb_cycle_choose(&c, (const plb_tracks *const *)t, 1, &spec, 0, NULL, &err), PLB_EUSAGE);
  assert_non_null(strstr(err.message, "pressure"));
  plb_tracks_free(t[0]);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_against__the_other_channel_is_judged_whichever_comes_first),
      cmocka_unit_test(test_against__speed_and_pauses_of_the_hand_do_not_matter),
      cmocka_unit_test(test_against__a_dropout_of_one_sample_in_a_long_pause_shows),
      cmocka_unit_test(test_against__a_short_stroke_counts_for_what_it_reaches),
      cmocka_unit_test(test_against__a_resting_hand_makes_no_stroke),
      cmocka_unit_test(test_against__a_missing_channel_is_named),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
