/* Periodic signals whose every cycle begins at a known place. */
#include "cycle_test.h"

enum { GOOD = 4, SAMPLES = 12000 };

/** One cycle of a pump's current: a steep rise, a slow fall with a ripple on it. `at` in 0..1, the rise at 0.3. */
static double pump(double at) {
  const double pi = acos(-1.0), rise = 1.0 / (1.0 + exp(-(at - 0.3) / 0.004));
  return 2.0 + 1.5 * rise * exp(-3.0 * fmax(0.0, at - 0.3)) + 0.18 * (1.0 - rise) * (1.0 - at) +
         0.1 * sin(10.0 * pi * at);
}

/** Places where cycles begin; the period changes slowly and by chance. @return their number */
static size_t plan(double *begin, double period, double drift, double jitter, double start, size_t samples,
                   uint64_t seed) {
  plb_random r;
  size_t count = 0;
  double at = start;
  plb_random_seed(&r, seed);
  while (at < (double)samples) {
    begin[count++] = at;
    at += period * (1.0 + drift * at / (double)samples + jitter * plb_random_normal(&r));
  }
  begin[count] = at;
  return count;
}

static plb_tracks *play(double (*shape)(double), const double *begin, size_t count, size_t samples, double rate_hz) {
  plb_tracks *t = new_tracks(1, samples, rate_hz);
  size_t k = 0;
  for (size_t i = 0; i < samples; i++) {
    while (k + 1 < count && (double)i >= begin[k + 1])
      k++;
    double at = ((double)i - begin[k]) / (begin[k + 1] - begin[k]);
    if (at < 0)
      at += 1.0;
    t->x[0][i] = shape(at);
  }
  return t;
}

static plb_cycle_choice learn(double (*shape)(double), const char *spec, double jitter) {
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  static double begin[SAMPLES];
  for (size_t i = 0; i < GOOD; i++) {
    const size_t count = plan(begin, 220.0 + 8.0 * (double)i, 0.02, jitter, -60.0 * (double)i - 13.3, SAMPLES, i);
    t[i] = play(shape, begin, count, SAMPLES, 1e4);
    add_noise(t[i], 0, 0.02, 100 + i);
  }
  choose_from(&c, t, GOOD, spec, 0);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
  return c;
}

/** Distance from a found cycle's marks to the true ones: the first landmark is the rise at 0.3. */
static double worst_rise(const plb_frame *f, const double *begin, size_t count) {
  double worst = 0;
  for (size_t i = 0; i < f->found; i++) {
    const plb_cycle_found *c = &f->cycle[i];
    if (c->state != PLB_MAPPED || isnan(f->landmark_phase[c->row * f->landmarks]))
      continue;
    const double at = c->first + f->landmark_phase[c->row * f->landmarks] * (c->last - c->first);
    double off = INFINITY;
    for (size_t k = 0; k < count; k++)
      off = fmin(off, fabs(begin[k] + 0.3 * (begin[k + 1] - begin[k]) - at));
    worst = fmax(worst, off);
  }
  return worst;
}

static void test_repeat__period_template_and_landmark_are_learned(void **state) {
  (void)state;
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  assert_true(1e4 / c.rate_high_hz > 218.0 && 1e4 / c.rate_high_hz < 226.0);
  assert_true(1e4 / c.rate_low_hz > 240.0 && 1e4 / c.rate_low_hz < 250.0);
  assert_int_equal(c.landmarks, 1);
  assert_string_equal(c.landmark[0].name, "rise 1");
  /* The seam lies in the middle of the longest stretch without a landmark: half a cycle away. */
  assert_true(fabs(c.landmark[0].phase - 0.5) < 0.02);
  assert_true(c.correlation_low > 0.98);
  plb_cycle_choice_dispose(&c);
}

/** High from 0.3 on; how far it stays high is given. */
static double gate(double at, double until) {
  return 1.0 / (1.0 + exp(-(at - 0.3) / 0.004)) - 1.0 / (1.0 + exp(-(at - until) / 0.004));
}

static void test_repeat__a_mark_that_healthy_cycles_lack_is_given_up(void **state) {
  (void)state;
  for (int loose = 0; loose <= 1; loose++) { /* the fall of every second cycle of one good capture lies elsewhere */
    plb_tracks *t[GOOD];
    plb_cycle_choice c;
    for (size_t i = 0; i < GOOD; i++) {
      t[i] = new_tracks(1, SAMPLES, 1e4);
      for (size_t k = 0; k < SAMPLES; k++) {
        const double at = (double)k / 225.0 + 0.1 * (double)i, until = loose && i == 2 && (long)at % 2 ? 0.83 : 0.7;
        t[i]->x[0][k] = gate(at - floor(at), until);
      }
      add_noise(t[i], 0, 0.01, 300 + i);
    }
    choose_from(&c, t, GOOD, "repeat", 0);
    assert_int_equal(c.landmarks, loose ? 1 : 2);
    assert_int_equal(c.landmark[0].direction, 1);
    plb_cycle_choice_dispose(&c);
    for (size_t i = 0; i < GOOD; i++)
      plb_tracks_free(t[i]);
  }
}

/*
 * A wave whose noise is a quarter of its swing: the median cycle has its edges, the captures themselves cross the levels many times a cycle. A
 * quiet one keeps its marks; where the noise is, none can be counted, and no healthy cycle may be called damaged.
 */
static void test_repeat__edges_within_noise_serve_as_no_marks(void **state) {
  (void)state;
  static const double noise[] = {0.01, 0.28};
  for (size_t k = 0; k < 2; k++) {
    plb_tracks *t[GOOD];
    plb_cycle_choice c;
    for (size_t i = 0; i < GOOD; i++) {
      t[i] = new_tracks(1, SAMPLES, 1e4);
      for (size_t s = 0; s < SAMPLES; s++) {
        const double at = (double)s / 225.0 + 0.1 * (double)i;
        t[i]->x[0][s] = gate(at - floor(at), 0.7);
      }
      add_noise(t[i], 0, noise[k], 700 + i);
    }
    choose_from(&c, t, GOOD, "repeat", 0);
    assert_int_equal(c.landmarks, k == 0 ? 2 : 0);
    plb_frame *f = build(t[0], &c);
    assert_int_equal(f->mapped, f->found);
    for (size_t i = 0; i < f->found; i++) {
      assert_int_equal(f->cycle[i].missing, 0);
      assert_int_equal(f->cycle[i].surplus, 0);
    }
    plb_frame_free(f);
    plb_cycle_choice_dispose(&c);
    for (size_t i = 0; i < GOOD; i++)
      plb_tracks_free(t[i]);
  }
}

/* Wherever the capture ends, what is behind the last cycle found is seen in part and not lost, though cycles there are longer than typical. */
static void test_repeat__an_end_just_behind_a_period_loses_no_cycle(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  for (size_t more = 0; more < 230; more += 2) {
    const size_t samples = 8000 + more, count = plan(begin, 230.0, 0.1, 0.0, -37.7, samples, 9);
    plb_tracks *t = play(pump, begin, count, samples, 1e4);
    add_noise(t, 0, 0.02, more);
    plb_frame *f = build(t, &c);
    assert_int_equal(f->mapped, f->found);
    assert_in_range(f->found, count - 3, count);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_repeat__every_whole_cycle_is_found_in_its_place(void **state) {
  (void)state;
  static double begin[SAMPLES];
  static const double speed[] = {0.75, 1.0, 1.3};
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  for (size_t i = 0; i < 3; i++) {
    const size_t count = plan(begin, 230.0 / speed[i], 0.1, 0.01, -37.7, SAMPLES, 7);
    plb_tracks *t = play(pump, begin, count, SAMPLES, 1e4);
    add_noise(t, 0, 0.02, 5);
    plb_frame *f = build(t, &c);
    unsigned wrong = 0;
    for (size_t k = 0; k < f->found; k++)
      wrong += f->cycle[k].missing + f->cycle[k].surplus;
    assert_int_equal(f->mapped, f->found);
    assert_in_range(f->found, count - 2, count);
    assert_int_equal(wrong, 0);
    assert_true(worst_rise(f, begin, count) < 1.0);
    assert_true(fabs(f->rate_hz - 1e4 / (230.0 / speed[i] * 1.05)) < 3.0);
    assert_true(f->correlation > 0.98);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

/* The period wanders by a tenth from cycle to cycle, as a heart's or an idling engine's. */
static void test_repeat__an_uneven_rhythm_is_followed(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  for (uint64_t seed = 0; seed < 10; seed++) {
    const size_t count = plan(begin, 230.0, 0.0, 0.08, -20.0, SAMPLES, 50 + seed);
    plb_tracks *t = play(pump, begin, count, SAMPLES, 1e4);
    add_noise(t, 0, 0.05, seed);
    plb_frame *f = build(t, &c);
    assert_in_range(f->found, count - 3, count);
    assert_in_range(f->mapped, f->found - 1, f->found);
    assert_true(worst_rise(f, begin, count) < 2.0);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_repeat__bad_cycles_pull_no_others_off(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  const size_t count = plan(begin, 230.0, 0.02, 0.01, -37.7, SAMPLES, 9);
  plb_tracks *t = play(pump, begin, count, SAMPLES, 1e4);
  plb_frame *whole = build(t, &c);
  /* Cycles 10 to 12 vanish, cycle 25 is noise. */
  plb_random r;
  plb_random_seed(&r, 1);
  for (size_t i = (size_t)begin[10]; i < (size_t)begin[13]; i++)
    t->x[0][i] = 2.0;
  for (size_t i = (size_t)begin[25]; i < (size_t)begin[26]; i++)
    t->x[0][i] = 2.0 + plb_random_normal(&r);
  plb_frame *f = build(t, &c);
  assert_int_equal(f->found, whole->found);
  assert_in_range(whole->mapped - f->mapped, 2, 6);
  for (size_t i = 0; i < f->found; i++)
    if (f->cycle[i].first > begin[13] + 230.0 && f->cycle[i].last < begin[24])
      assert_int_equal(f->cycle[i].state, PLB_MAPPED);
  assert_true(worst_rise(f, begin, count) < 1.5);
  plb_frame_free(whole);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static void test_repeat__a_signal_that_stops_is_counted_to_the_end(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  const size_t count = plan(begin, 230.0, 0.0, 0.0, -37.7, SAMPLES, 9);
  plb_tracks *t = play(pump, begin, count, SAMPLES, 1e4);
  for (size_t i = (size_t)begin[30]; i < SAMPLES; i++)
    t->x[0][i] = 1.5;
  add_noise(t, 0, 0.01, 3);
  plb_frame *f = build(t, &c);
  assert_in_range(f->found, count - 3, count);
  assert_in_range(f->mapped, 28, 31);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static void test_repeat__size_and_offset_do_not_matter(void **state) {
  (void)state;
  static double begin[SAMPLES];
  static const double change[][2] = {{0.1, 0}, {10, 0}, {1, 50}, {0.5, -3}};
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  const size_t count = plan(begin, 230.0, 0.02, 0.005, -37.7, SAMPLES, 9);
  for (size_t i = 0; i < 4; i++) {
    plb_tracks *t = play(pump, begin, count, SAMPLES, 1e4);
    scale_track(t, 0, change[i][0], change[i][1]);
    plb_frame *f = build(t, &c);
    unsigned missing = 0;
    for (size_t k = 0; k < f->found; k++)
      missing += f->cycle[k].missing;
    assert_int_equal(f->mapped, f->found);
    assert_int_equal(missing, 0);
    assert_false(f->inverted);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_repeat__upside_down_is_said(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  const size_t count = plan(begin, 230.0, 0.02, 0.005, -37.7, SAMPLES, 9);
  plb_tracks *t = play(pump, begin, count, SAMPLES, 1e4);
  scale_track(t, 0, -1.0, 5.0);
  plb_frame *f = build(t, &c);
  assert_true(f->structure && f->inverted);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static void test_repeat__noise_and_silence_have_no_cycles(void **state) {
  (void)state;
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  for (uint64_t seed = 0; seed < 8; seed++) {
    plb_tracks *t = new_tracks(1, SAMPLES, 1e4);
    if (seed > 0)
      add_noise(t, 0, 0.5, seed);
    plb_frame *f = build(t, &c);
    assert_false(f->structure);
    assert_int_equal(f->found, 0);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_repeat__a_period_out_of_range_is_structure_without_cycles(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  const size_t count = plan(begin, 700.0, 0.0, 0.0, -7.7, SAMPLES, 9);
  plb_tracks *t = play(pump, begin, count, SAMPLES, 1e4);
  plb_frame *f = build(t, &c);
  assert_true(f->structure);
  assert_int_equal(f->found, 0);
  assert_true(fabs(1e4 / f->rate_hz - 700.0) < 10.0);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

/* Three times as fast: a multiple of the period lies in the range, but what is found there is unlike the template. */
static void test_repeat__a_faster_signal_is_unlike(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(pump, "repeat", 0.002);
  const size_t count = plan(begin, 77.0, 0.0, 0.0, -7.7, SAMPLES, 9);
  plb_tracks *t = play(pump, begin, count, SAMPLES, 1e4);
  plb_frame *f = build(t, &c);
  assert_true(f->structure);
  for (size_t i = 0; i < f->found; i++)
    assert_true(f->cycle[i].correlation < 0.8);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

/** Two states with edges at 0.2 and 0.55, as a Hall sensor's. */
static double square(double at) { return at > 0.2 && at < 0.55 ? 5.0 : 0.2; }

static void test_repeat__both_edges_of_a_square_are_landmarks(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(square, "repeat", 0.002);
  assert_int_equal(c.landmarks, 2);
  const size_t count = plan(begin, 230.0, 0.0, 0.02, -37.7, SAMPLES, 9);
  plb_tracks *t = play(square, begin, count, SAMPLES, 1e4);
  for (size_t i = 0; i < 6; i++) /* one pulse too many in cycle 20 */
    t->x[0][(size_t)(begin[20] + 0.75 * 230.0) + i] = 5.0;
  plb_frame *f = build(t, &c);
  unsigned missing = 0, surplus = 0;
  for (size_t k = 0; k < f->found; k++) {
    missing += f->cycle[k].missing;
    surplus += f->cycle[k].surplus;
    assert_int_equal(f->cycle[k].surplus > 0, isfinite(f->cycle[k].surplus_phase));
  }
  assert_int_equal(f->mapped, f->found);
  assert_int_equal(missing, 0);
  assert_int_equal(surplus, 1);
  /* Between its edges every cycle is laid out alike, whatever its length. */
  for (size_t row = 0; row < f->mapped; row++) {
    const double *phase = f->landmark_phase + row * 2;
    const double length = f->edge_at[row * (f->grid + 1) + f->grid] - f->edge_at[row * (f->grid + 1)];
    assert_true(fabs((phase[1] - phase[0]) * length - 0.35 * 230.0) < 25.0);
    const size_t middle = (size_t)(0.5 * (c.landmark[0].phase + c.landmark[1].phase) * (double)f->grid);
    assert_true(fabs((double)f->value[row * f->grid + middle] - 5.0) < 0.1);
  }
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static double sine(double at) { return sin(2.0 * acos(-1.0) * at); }

static void test_repeat__a_sine_has_no_landmark_and_is_laid_out(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_cycle_choice c = learn(sine, "repeat", 0.0);
  assert_int_equal(c.landmarks, 0);
  const size_t count = plan(begin, 230.0, 0.0, 0.0, -37.7, SAMPLES, 9);
  plb_tracks *t = play(sine, begin, count, SAMPLES, 1e4);
  plb_frame *f = build(t, &c);
  assert_int_equal(f->mapped, f->found);
  assert_in_range(f->found, count - 3, count);
  for (size_t i = 0; i < f->found; i++) {
    assert_true(fabs(f->cycle[i].last - f->cycle[i].first - 230.0) < 0.2);
    assert_true(f->cycle[i].correlation > 0.999);
  }
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

/* Eight bars a turn, one of them low: bars nearly alike are the cycle, and the odd one is one cycle in eight. */
static void test_repeat__a_hint_leads_to_the_longer_unit(void **state) {
  (void)state;
  static double begin[SAMPLES];
  plb_tracks *t[GOOD];
  plb_cycle_choice bar, turn;
  for (size_t i = 0; i < GOOD; i++) {
    const size_t count = plan(begin, 60.0, 0.0, 0.003, -13.0, SAMPLES, i);
    t[i] = play(pump, begin, count, SAMPLES, 1e4);
    for (size_t k = 3; k < count; k += 8)
      for (size_t s = (size_t)begin[k]; s < (size_t)begin[k + 1] && s < SAMPLES; s++)
        t[i]->x[0][s] = 2.0 + 0.6 * (t[i]->x[0][s] - 2.0);
    add_noise(t[i], 0, 0.02, 100 + i);
  }
  choose_from(&bar, t, GOOD, "repeat", 0);
  choose_from(&turn, t, GOOD, "repeat:period=48ms", 0);
  assert_true(fabs(1e4 / bar.rate_high_hz - 60.0) < 2.0);
  assert_true(fabs(1e4 / turn.rate_high_hz - 480.0) < 10.0);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&bar);
  plb_cycle_choice_dispose(&turn);
}

static void test_repeat__what_does_not_repeat_is_refused(void **state) {
  (void)state;
  plb_cycle_spec spec;
  plb_cycle_choice c;
  plb_error err = PLB_ERROR_INIT;
  plb_tracks *t[3] = {new_tracks(1, 3000, 1e4), new_tracks(1, 3000, 1e4), new_tracks(1, 3000, 1e4)};
  for (size_t i = 0; i < 3; i++)
    add_noise(t[i], 0, 1.0, i);
  assert_int_equal(plb_cycle_spec_parse("repeat", &spec, &err), PLB_OK);
  assert_int_equal(plb_cycle_choose(&c, (const plb_tracks *const *)t, 3, &spec, 0, NULL, &err), PLB_EDATA);
  assert_non_null(strstr(err.message, "capture 1 of 3"));
  assert_int_equal(plb_cycle_spec_parse("steady", &spec, &err), PLB_OK);
  assert_int_equal(plb_cycle_choose(&c, (const plb_tracks *const *)t, 3, &spec, 0, NULL, &err), PLB_OK);
  plb_cycle_choice_dispose(&c);
  for (size_t i = 0; i < 3; i++)
    plb_tracks_free(t[i]);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_repeat__period_template_and_landmark_are_learned),
      cmocka_unit_test(test_repeat__a_mark_that_healthy_cycles_lack_is_given_up),
      cmocka_unit_test(test_repeat__edges_within_noise_serve_as_no_marks),
      cmocka_unit_test(test_repeat__an_end_just_behind_a_period_loses_no_cycle),
      cmocka_unit_test(test_repeat__every_whole_cycle_is_found_in_its_place),
      cmocka_unit_test(test_repeat__an_uneven_rhythm_is_followed),
      cmocka_unit_test(test_repeat__bad_cycles_pull_no_others_off),
      cmocka_unit_test(test_repeat__a_signal_that_stops_is_counted_to_the_end),
      cmocka_unit_test(test_repeat__size_and_offset_do_not_matter),
      cmocka_unit_test(test_repeat__upside_down_is_said),
      cmocka_unit_test(test_repeat__noise_and_silence_have_no_cycles),
      cmocka_unit_test(test_repeat__a_period_out_of_range_is_structure_without_cycles),
      cmocka_unit_test(test_repeat__a_faster_signal_is_unlike),
      cmocka_unit_test(test_repeat__both_edges_of_a_square_are_landmarks),
      cmocka_unit_test(test_repeat__a_sine_has_no_landmark_and_is_laid_out),
      cmocka_unit_test(test_repeat__a_hint_leads_to_the_longer_unit),
      cmocka_unit_test(test_repeat__what_does_not_repeat_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
