/* Captures that are one event. */
#include "cycle_test.h"

#include <time.h>

/** A start-up current: a peak, a decay with humps. `at` in seconds. */
static double start_up(double at) {
  return at < 0 ? 0.0 : 300.0 * exp(-at / 0.05) * (1.0 - exp(-at / 0.004)) + 80.0 + 25.0 * sin(40.0 * at);
}

static plb_tracks *capture(size_t samples, double rate_hz, double begin_s, uint64_t seed) {
  plb_tracks *t = new_tracks(1, samples, rate_hz);
  for (size_t i = 0; i < samples; i++)
    t->x[0][i] = start_up((double)i / rate_hz - begin_s);
  add_noise(t, 0, 1.0, seed);
  return t;
}

static void test_once__the_whole_capture_is_one_cycle_of_at_most_128_points(void **state) {
  (void)state;
  plb_tracks *t[4];
  plb_cycle_choice c;
  for (size_t i = 0; i < 4; i++)
    t[i] = capture(600, 1000.0, 0.05, i);
  choose_from(&c, t, 4, "once", 0);
  assert_int_equal(c.grid, 128);
  plb_frame *f = build(t[0], &c);
  assert_int_equal(f->found, 1);
  assert_int_equal(f->mapped, 1);
  assert_true(f->cycle[0].correlation > 0.99);
  /* Every point is the mean of its samples. */
  for (size_t k = 0; k < 128; k++) {
    double sum = 0, count = 0;
    for (size_t i = 0; i < 600; i++) {
      const double inside =
          fmin((double)i + 1.0, 600.0 / 128.0 * (double)(k + 1)) - fmax((double)i, 600.0 / 128.0 * (double)k);
      if (inside > 0) {
        sum += inside * t[0]->x[0][i];
        count += inside;
      }
    }
    assert_true(fabs((double)f->value[k] - sum / count) < 8.0);
  }
  plb_frame_free(f);
  for (size_t i = 0; i < 4; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

/* Nothing is warped: what is late stays late. */
static void test_once__late_stays_late(void **state) {
  (void)state;
  plb_tracks *t[3];
  plb_cycle_choice c;
  for (size_t i = 0; i < 3; i++)
    t[i] = capture(600, 1000.0, 0.05, i);
  choose_from(&c, t, 3, "once", 0);
  plb_tracks *late = capture(600, 1000.0, 0.15, 9);
  plb_frame *good = build(t[0], &c), *f = build(late, &c);
  size_t top = 0, late_top = 0;
  for (size_t k = 0; k < 128; k++) {
    top = good->value[k] > good->value[top] ? k : top;
    late_top = f->value[k] > f->value[late_top] ? k : late_top;
  }
  assert_in_range(late_top - top, 20, 22);
  plb_frame_free(f);
  plb_frame_free(good);
  plb_tracks_free(late);
  for (size_t i = 0; i < 3; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

static void test_once__the_event_is_found_in_a_long_capture(void **state) {
  (void)state;
  static const double begin_s[] = {0.3, 1.234, 4.2};
  plb_tracks *t[3];
  plb_cycle_choice c;
  for (size_t i = 0; i < 3; i++)
    t[i] = capture(600, 1000.0, 0.05, i);
  choose_from(&c, t, 3, "once", 0);
  for (size_t i = 0; i < 3; i++) {
    plb_tracks *longer = capture(5000, 1000.0, begin_s[i], 20 + i);
    plb_frame *f = build(longer, &c);
    assert_int_equal(f->mapped, 1);
    assert_true(fabs(f->cycle[0].first - 1000.0 * (begin_s[i] - 0.05)) < 5.0);
    assert_true(fabs(f->cycle[0].last - f->cycle[0].first - 600.0) < 1.0);
    assert_true(f->correlation > 0.95 && f->runner_up < f->correlation);
    plb_frame_free(f);
    plb_tracks_free(longer);
  }
  for (size_t i = 0; i < 3; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

static void test_once__short_captures_are_laid_out(void **state) {
  (void)state;
  plb_tracks *t[3];
  plb_cycle_choice c;
  for (size_t i = 0; i < 3; i++)
    t[i] = capture(16 + i, 100.0, 0.02, i);
  choose_from(&c, t, 3, "once", 0);
  assert_int_equal(c.grid, 16);
  plb_tracks *tiny = capture(2, 100.0, 0.0, 5);
  plb_frame *f = build(tiny, &c);
  assert_int_equal(f->mapped, 1);
  plb_frame_free(f);
  plb_tracks_free(tiny);
  for (size_t i = 0; i < 3; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

static void test_once__a_thousand_short_captures(void **state) {
  (void)state;
  enum { MANY = 1000 };
  static plb_tracks *t[MANY];
  plb_cycle_choice c;
  struct timespec begin, end;
  for (size_t i = 0; i < MANY; i++)
    t[i] = capture(150, 1000.0, 0.02, i);
  clock_gettime(CLOCK_MONOTONIC, &begin);
  choose_from(&c, t, MANY, "once", 0);
  clock_gettime(CLOCK_MONOTONIC, &end);
  print_message("choices from %d captures of 150 samples: %.1f ms\n", MANY,
                1e3 * (double)(end.tv_sec - begin.tv_sec) + 1e-6 * (double)(end.tv_nsec - begin.tv_nsec));
  assert_int_equal(c.grid, 128);
  assert_true(c.correlation_low > 0.9);
  for (size_t i = 0; i < MANY; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_once__the_whole_capture_is_one_cycle_of_at_most_128_points),
      cmocka_unit_test(test_once__late_stays_late),
      cmocka_unit_test(test_once__the_event_is_found_in_a_long_capture),
      cmocka_unit_test(test_once__short_captures_are_laid_out),
      cmocka_unit_test(test_once__a_thousand_short_captures),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
