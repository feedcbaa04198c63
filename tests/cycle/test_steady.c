/* Signals without a cycle: windows laid out as their sorted levels. */
#include "cycle_test.h"

enum { GOOD = 4, SAMPLES = 8000 };
static const double RATE_HZ = 1e4;

/** A supply of 5 V with a little noise. */
static plb_tracks *supply(double level, double noise, uint64_t seed) {
  plb_tracks *t = new_tracks(1, SAMPLES, RATE_HZ);
  for (size_t i = 0; i < SAMPLES; i++)
    t->x[0][i] = level;
  add_noise(t, 0, noise, seed);
  return t;
}

static plb_cycle_choice learn_supply(void) {
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  for (size_t i = 0; i < GOOD; i++)
    t[i] = supply(5.0, 0.02, i + 1);
  choose_from(&c, t, GOOD, "steady", 0);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
  return c;
}

static void test_steady__a_window_is_the_quantile_curve_of_its_samples(void **state) {
  (void)state;
  plb_cycle_choice c = learn_supply();
  plb_tracks *t = supply(5.0, 0.02, 77);
  plb_frame *f = build(t, &c);
  assert_int_equal(f->found, 40);
  assert_int_equal(f->mapped, 40);
  assert_true(f->unordered);
  /* the middle of a normal distribution's quantile curve is its mean, at a share of 0.8413 it lies one sigma above */
  double middle = 0, sigma = 0;
  for (size_t r = 0; r < f->mapped; r++) {
    const float *row = f->value + r * f->grid;
    for (size_t k = 1; k < f->grid; k++)
      assert_true(row[k] >= row[k - 1]);
    middle += (double)row[f->grid / 2] / (double)f->mapped;
    sigma += ((double)row[(size_t)(0.8413 * (double)f->grid)] - 5.0) / (double)f->mapped;
  }
  assert_true(fabs(middle - 5.0) < 0.002);
  assert_true(fabs(sigma - 0.02) < 0.002);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static void test_steady__one_sample_of_a_dropout_stands_in_the_lowest_cell_at_its_time(void **state) {
  (void)state;
  plb_cycle_choice c = learn_supply();
  plb_tracks *t = supply(5.0, 0.02, 78);
  t->x[0][4321] = 0.3;
  plb_frame *f = build(t, &c);
  size_t low = 0;
  for (size_t r = 0; r < f->mapped; r++)
    if (f->value[r * f->grid] < 1.0f) {
      low++;
      assert_true(fabs(f->edge_at[r * (f->grid + 1)] - 4321.0) < 0.5);
    }
  assert_int_equal(low, 1);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

/** The mean difference of two captures' typical quantile curves. */
static double apart(const plb_tracks *a, const plb_tracks *b, const plb_cycle_choice *c) {
  plb_frame *f = build(a, c), *g = build(b, c);
  double sum = 0;
  for (size_t k = 2; k + 2 < f->grid; k++) {
    double x = 0, y = 0;
    for (size_t r = 0; r < f->mapped; r++)
      x += (double)f->value[r * f->grid + k] / (double)f->mapped;
    for (size_t r = 0; r < g->mapped; r++)
      y += (double)g->value[r * g->grid + k] / (double)g->mapped;
    sum += fabs(x - y) / (double)f->grid;
  }
  plb_frame_free(f);
  plb_frame_free(g);
  return sum;
}

static void test_steady__the_step_of_a_coarse_recorder_does_not_show(void **state) {
  (void)state;
  plb_cycle_choice c = learn_supply();
  plb_tracks *t = supply(5.0, 0.02, 79), *coarse = copy_tracks(t);
  for (size_t i = 0; i < SAMPLES; i++)
    coarse->x[0][i] = 0.04 * floor(t->x[0][i] / 0.04 + 0.5);
  assert_true(apart(t, coarse, &c) < 0.005); /* steps as they are would lie 0.01 V apart */
  plb_tracks_free(t);
  plb_tracks_free(coarse);
  plb_cycle_choice_dispose(&c);
}

static void test_steady__another_rate_gives_the_same_levels(void **state) {
  (void)state;
  plb_cycle_choice c = learn_supply();
  plb_tracks *t = supply(5.0, 0.02, 80), *half = new_tracks(1, SAMPLES / 2, RATE_HZ / 2);
  for (size_t i = 0; i < SAMPLES / 2; i++)
    half->x[0][i] = t->x[0][2 * i];
  plb_frame *f = build(half, &c);
  assert_int_equal(f->mapped, 40);
  plb_frame_free(f);
  assert_true(apart(t, half, &c) < 0.001);
  plb_tracks_free(t);
  plb_tracks_free(half);
  plb_cycle_choice_dispose(&c);
}

static void test_steady__a_ripple_fills_whole_windows(void **state) {
  (void)state;
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  for (size_t i = 0; i < GOOD; i++) {
    t[i] = supply(14.0, 0.01, i + 1);
    for (size_t k = 0; k < SAMPLES; k++)
      t[i]->x[0][k] += 0.4 * sin(6.283185307179586 * (double)k / 170.0 + (double)i);
  }
  choose_from(&c, t, GOOD, "steady", 0);
  const double periods = RATE_HZ / c.rate_low_hz / 170.0;
  assert_true(fabs(periods - floor(periods + 0.5)) < 0.02 && periods > 0.9);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

static void test_steady__a_window_without_samples_is_counted_not_dropped(void **state) {
  (void)state;
  plb_cycle_choice c = learn_supply();
  plb_tracks *t = supply(5.0, 0.02, 81);
  for (size_t i = 1000; i < 1200; i++)
    t->x[0][i] = NAN;
  plb_frame *f = build(t, &c);
  assert_int_equal(f->found, 40);
  assert_int_equal(f->mapped, 39);
  assert_int_equal(f->cycle[5].state, PLB_UNMAPPED_SHAPE);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_steady__a_window_is_the_quantile_curve_of_its_samples),
      cmocka_unit_test(test_steady__one_sample_of_a_dropout_stands_in_the_lowest_cell_at_its_time),
      cmocka_unit_test(test_steady__the_step_of_a_coarse_recorder_does_not_show),
      cmocka_unit_test(test_steady__another_rate_gives_the_same_levels),
      cmocka_unit_test(test_steady__a_ripple_fills_whole_windows),
      cmocka_unit_test(test_steady__a_window_without_samples_is_counted_not_dropped),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
