/* Wheels whose truth is modelled: every tooth's time is known to a fraction of a sample. */
#include "cycle_test.h"

enum { GOOD = 4 };

/** Choices from good captures at four speeds; the fault is judged with them. */
static plb_cycle_choice good_choice(wheel_model m, const char *spec) {
  plb_tracks *t[GOOD];
  plb_cycle_choice choice;
  m.faults = 0;
  for (size_t i = 0; i < GOOD; i++) {
    m.start = 0.17 + 0.61 * (double)i;
    m.turns_per_s = (1.0 + 0.1 * (double)i) * 50.0 * 60.0 / (double)m.teeth;
    t[i] = model_wheel(&m);
    add_noise(t[i], 0, 0.02, 10 + i);
  }
  choose_from(&choice, t, GOOD, spec, 0);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
  return choice;
}

static plb_frame *frame_of(const wheel_model *m, const plb_cycle_choice *choice, double noise) {
  plb_tracks *t = model_wheel(m);
  add_noise(t, 0, noise, 99);
  plb_frame *f = build(t, choice);
  plb_tracks_free(t);
  return f;
}

static int turn_of(const wheel_model *m, const plb_cycle_found *c) {
  return (int)floor(wheel_turns_at(m, 0.5 * (c->first + c->last)) + 0.025);
}

/** Whole turns between middles of gaps. */
static size_t whole_turns(const wheel_model *m) {
  const double half = 0.5 * (m->missing + 1) / m->teeth;
  const double first = ceil(wheel_turns_at(m, 0.0) + half),
               last = floor(wheel_turns_at(m, (double)m->samples - 1.0) + half);
  return (size_t)(last - first);
}

/** Every mapped cycle's edges and teeth lie where the model put them. */
static void assert_true_to_model(const wheel_model *m, const plb_frame *f, double tolerance) {
  /* The middle of the gap is the middle in time: where the speed changes inside the gap it differs a little from the middle in angle. */
  const double gap_tolerance = tolerance + (m->ripple > 0 ? 1.5 : 0.3);
  const double half = 0.5 * (m->missing + 1) / m->teeth;
  for (size_t i = 0; i < f->found; i++) {
    const plb_cycle_found *c = &f->cycle[i];
    const int turn = turn_of(m, c);
    if (c->state != PLB_MAPPED)
      continue;
    assert_true(fabs(c->first - wheel_sample_at(m, turn - half)) < gap_tolerance);
    assert_true(fabs(c->last - wheel_sample_at(m, turn + 1 - half)) < gap_tolerance);
    for (size_t k = 0; k < f->landmarks; k++) {
      const double phase = f->landmark_phase[c->row * f->landmarks + k];
      if (isnan(phase))
        continue;
      const double at = c->first + phase * (c->last - c->first);
      assert_true(fabs(at - wheel_sample_at(m, turn + (double)k / m->teeth)) < tolerance);
    }
  }
}

static void test_wheel__choices_are_the_clean_edge_and_every_tooth(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  assert_int_equal(c.edge, 1);
  assert_int_equal(c.landmarks, 58);
  assert_int_equal(c.grid % 60, 0);
  assert_string_equal(c.landmark[0].name, "tooth 1");
  assert_string_equal(c.landmark[57].name, "tooth 58");
  assert_true(fabs(c.landmark[0].phase - 1.5 / 60.0) < 1e-12);
  assert_true(c.level_low > 0.0 && c.level_low < c.level_high && c.level_high < 3.7);
  assert_true(c.correlation_low > 0.99);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__an_upside_down_sensor_has_its_clean_edge_falling(void **state) {
  (void)state;
  plb_tracks *t[3];
  plb_cycle_choice c;
  wheel_model m = WHEEL_60_2;
  for (size_t i = 0; i < 3; i++) {
    m.start = 0.2 + 0.3 * (double)i;
    t[i] = model_wheel(&m);
    scale_track(t[i], 0, -1.0, 0.0);
  }
  choose_from(&c, t, 3, "wheel:teeth=60,missing=2", 0);
  assert_int_equal(c.edge, -1);
  for (size_t i = 0; i < 3; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__constant_speed(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  plb_frame *f = frame_of(&WHEEL_60_2, &c, 0.0);
  assert_int_equal(f->found, whole_turns(&WHEEL_60_2));
  assert_int_equal(f->mapped, f->found);
  assert_true(fabs(f->rate_hz - 50.0) < 0.01);
  assert_true(fabs(f->revolutions - 9.97) < 0.05);
  assert_true(f->structure && !f->inverted);
  assert_true_to_model(&WHEEL_60_2, f, 0.1);
  plb_frame_free(f);
  plb_cycle_choice_dispose(&c);
}

/* Cranking and coasting: the speed doubles or halves inside the capture, with ripple on it. */
static void test_wheel__acceleration_is_taken_out(void **state) {
  (void)state;
  static const double acceleration[] = {250.0, -180.0};
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  for (size_t i = 0; i < 2; i++) {
    wheel_model m = WHEEL_60_2;
    m.acceleration = acceleration[i];
    m.ripple = 0.08;
    plb_frame *f = frame_of(&m, &c, 0.02);
    assert_int_equal(f->found, whole_turns(&m));
    assert_int_equal(f->mapped, f->found);
    assert_true_to_model(&m, f, 0.2);
    /* All cycles look alike once laid out. */
    for (size_t k = 0; k < f->mapped; k++)
      assert_true(f->cycle[k].correlation > 0.99);
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__noise_moves_no_tooth_far(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  plb_frame *f = frame_of(&WHEEL_60_2, &c, 0.5);
  unsigned wrong = 0;
  assert_int_equal(f->mapped, whole_turns(&WHEEL_60_2));
  for (size_t i = 0; i < f->found; i++)
    wrong += f->cycle[i].missing + f->cycle[i].surplus;
  assert_int_equal(wrong, 0);
  assert_true_to_model(&WHEEL_60_2, f, 2.0);
  plb_frame_free(f);
  plb_cycle_choice_dispose(&c);
}

/** The teeth missing in a cycle are exactly those of the model. */
static void assert_missing_as_modelled(const wheel_model *m, const plb_frame *f) {
  for (size_t i = 0; i < f->found; i++) {
    const plb_cycle_found *c = &f->cycle[i];
    const int turn = turn_of(m, c);
    unsigned expected = 0;
    assert_int_equal(c->state, PLB_MAPPED);
    for (size_t k = 0; k < m->faults; k++) {
      const bool here = m->fault[k].turn == turn || m->fault[k].turn < 0;
      expected += here && m->fault[k].height < 0.5;
      if (here && m->fault[k].height < 0.5)
        assert_true(isnan(f->landmark_phase[c->row * f->landmarks + (size_t)m->fault[k].tooth - 1]));
    }
    assert_int_equal(c->missing, expected);
    assert_int_equal(c->surplus, 0);
  }
}

static void test_wheel__one_tooth_missing_in_three_turns(void **state) {
  (void)state;
  static const int tooth[] = {1, 2, 3, 30, 56, 57, 58};
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  for (size_t i = 0; i < sizeof tooth / sizeof *tooth; i++) {
    const wheel_fault fault[] = {{2, tooth[i], 0}, {4, tooth[i], 0}, {7, tooth[i], 0}};
    wheel_model m = WHEEL_60_2;
    m.fault = fault;
    m.faults = 3;
    plb_frame *f = frame_of(&m, &c, 0.05);
    assert_int_equal(f->found, whole_turns(&m));
    assert_missing_as_modelled(&m, f);
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

/* Gone in every turn: beside the gap only the template can say which tooth it is. */
static void test_wheel__the_same_teeth_missing_in_every_turn(void **state) {
  (void)state;
  static const int tooth[][3] = {{1, 0, 0}, {2, 0, 0},   {30, 0, 0},   {57, 0, 0},
                                 {1, 2, 0}, {20, 21, 0}, {20, 21, 22}, {2, 57, 0}};
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  for (size_t i = 0; i < sizeof tooth / sizeof *tooth; i++) {
    wheel_fault fault[3];
    wheel_model m = WHEEL_60_2;
    m.fault = fault;
    m.faults = 0;
    for (size_t k = 0; k < 3 && tooth[i][k]; k++)
      fault[m.faults++] = (wheel_fault){-1, tooth[i][k], 0};
    plb_frame *f = frame_of(&m, &c, 0.05);
    assert_in_range(f->found, whole_turns(&m) - 1, whole_turns(&m));
    assert_missing_as_modelled(&m, f);
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

/* The last tooth gone in every turn leaves the teeth as the first one gone does, and the long pulse is gone with it: not to be decided, so not mapped. */
static void test_wheel__what_cannot_be_decided_stays_unmapped(void **state) {
  (void)state;
  const wheel_fault fault = {-1, 58, 0};
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  wheel_model m = WHEEL_60_2;
  m.fault = &fault;
  m.faults = 1;
  plb_frame *f = frame_of(&m, &c, 0.05);
  assert_in_range(f->found, whole_turns(&m) - 1, whole_turns(&m));
  assert_int_equal(f->mapped, 0);
  for (size_t i = 0; i < f->found; i++)
    assert_int_equal(f->cycle[i].state, PLB_UNMAPPED_NO_GAP);
  plb_frame_free(f);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__a_low_first_tooth_is_missing_not_another(void **state) {
  (void)state;
  const wheel_fault fault = {-1, 1, 0.35};
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  wheel_model m = WHEEL_60_2;
  m.fault = &fault;
  m.faults = 1;
  plb_frame *f = frame_of(&m, &c, 0.05);
  assert_int_equal(f->found, whole_turns(&m));
  assert_missing_as_modelled(&m, f);
  plb_frame_free(f);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__a_run_of_missing_teeth_is_not_the_gap(void **state) {
  (void)state;
  wheel_fault fault[30];
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  for (size_t length = 2; length <= 12; length += 5) {
    wheel_model m = WHEEL_60_2;
    for (size_t k = 0; k < length; k++)
      fault[k] = (wheel_fault){4, 30 + (int)k, 0};
    m.fault = fault;
    m.faults = length;
    plb_frame *f = frame_of(&m, &c, 0.05);
    assert_int_equal(f->found, whole_turns(&m));
    assert_missing_as_modelled(&m, f);
    plb_frame_free(f);
  }
  /* Half a turn without a tooth: that turn cannot be mapped, the others can. */
  wheel_model m = WHEEL_60_2;
  for (size_t k = 0; k < 30; k++)
    fault[k] = (wheel_fault){4, 10 + (int)k, 0};
  m.fault = fault;
  m.faults = 30;
  plb_frame *f = frame_of(&m, &c, 0.05);
  assert_int_equal(f->found, whole_turns(&m));
  assert_int_equal(f->mapped, f->found - 1);
  for (size_t i = 0; i < f->found; i++)
    assert_int_equal(f->cycle[i].state, turn_of(&m, &f->cycle[i]) == 4 ? PLB_UNMAPPED_TEETH : PLB_MAPPED);
  assert_true_to_model(&m, f, 0.5);
  plb_frame_free(f);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__a_filled_gap_is_found_by_the_other_turns(void **state) {
  (void)state;
  const wheel_fault fault[] = {{3, 59, 1}, {3, 60, 1}, {6, 59, 1}, {6, 60, 1}};
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  wheel_model m = WHEEL_60_2;
  m.fault = fault;
  m.faults = 4;
  plb_frame *f = frame_of(&m, &c, 0.05);
  unsigned surplus = 0, missing = 0;
  assert_int_equal(f->found, whole_turns(&m));
  assert_int_equal(f->mapped, f->found);
  for (size_t i = 0; i < f->found; i++) {
    surplus += f->cycle[i].surplus;
    missing += f->cycle[i].missing;
    if (f->cycle[i].surplus > 0)
      assert_true(f->cycle[i].surplus_phase < 0.03 || f->cycle[i].surplus_phase > 0.97);
  }
  /* The long pulse before the gap hides the first of the two. */
  assert_in_range(surplus, 2, 4);
  assert_int_equal(missing, 0);
  assert_true_to_model(&m, f, 0.5);
  plb_frame_free(f);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__a_surplus_pulse_is_counted_and_located(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  plb_tracks *t = model_wheel(&WHEEL_60_2);
  for (int turn = 3; turn <= 7; turn += 2) {
    const double at = wheel_sample_at(&WHEEL_60_2, turn + 20.75 / 60.0);
    for (size_t i = 0; i < 5; i++)
      t->x[0][(size_t)at - 2 + i] = 4.4;
  }
  plb_frame *f = build(t, &c);
  unsigned surplus = 0;
  assert_int_equal(f->mapped, whole_turns(&WHEEL_60_2));
  for (size_t i = 0; i < f->found; i++) {
    const int turn = turn_of(&WHEEL_60_2, &f->cycle[i]);
    assert_int_equal(f->cycle[i].surplus, turn == 3 || turn == 5 || turn == 7);
    assert_int_equal(f->cycle[i].missing, 0);
    surplus += f->cycle[i].surplus;
    if (f->cycle[i].surplus)
      assert_true(fabs(f->cycle[i].surplus_phase - (20.75 + 1.5) / 60.0) < 0.003);
  }
  assert_int_equal(surplus, 3);
  assert_true_to_model(&WHEEL_60_2, f, 0.1);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

/* Any mixture of lone faults, in any turn: what is missing is named exactly, nothing else is. */
static void test_wheel__random_faults_are_named_exactly(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  plb_random r;
  plb_random_seed(&r, 4711);
  for (int round = 0; round < 60; round++) {
    wheel_fault fault[8];
    wheel_model m = WHEEL_60_2;
    m.start = plb_random_uniform(&r);
    m.turns_per_s = 35.0 + 40.0 * plb_random_uniform(&r);
    m.acceleration = 60.0 * (plb_random_uniform(&r) - 0.5);
    m.ripple = 0.04 * plb_random_uniform(&r);
    m.fault = fault;
    m.faults = 1 + plb_random_below(&r, 8);
    for (size_t k = 0; k < m.faults; k++) {
      fault[k] = (wheel_fault){(int)plb_random_below(&r, 9), 1 + (int)plb_random_below(&r, 58), 0};
      for (size_t other = 0; other < k; other++)
        if (fault[other].turn == fault[k].turn && fault[other].tooth == fault[k].tooth)
          fault[k].turn = 1000;
    }
    plb_frame *f = frame_of(&m, &c, 0.1);
    assert_in_range(f->found, whole_turns(&m) - 1, whole_turns(&m));
    assert_missing_as_modelled(&m, f);
    assert_true_to_model(&m, f, 1.0);
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__another_size_or_offset_is_still_laid_out(void **state) {
  (void)state;
  static const double change[][2] = {{0.6, 0}, {0.1, 0}, {0.01, 0}, {10, 0}, {1, 0.5}, {1, 4}, {1, -3}, {0.3, 1}};
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  for (size_t i = 0; i < sizeof change / sizeof *change; i++) {
    plb_tracks *t = model_wheel(&WHEEL_60_2);
    scale_track(t, 0, change[i][0], change[i][1]);
    plb_frame *f = build(t, &c);
    unsigned wrong = 0;
    assert_int_equal(f->mapped, whole_turns(&WHEEL_60_2));
    for (size_t k = 0; k < f->found; k++)
      wrong += f->cycle[k].missing + f->cycle[k].surplus;
    assert_int_equal(wrong, 0);
    assert_false(f->inverted);
    assert_true_to_model(&WHEEL_60_2, f, 1.5);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__upside_down_is_said(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  plb_tracks *t = model_wheel(&WHEEL_60_2);
  scale_track(t, 0, -1.0, 0.0);
  plb_frame *f = build(t, &c);
  assert_true(f->structure && f->inverted);
  assert_true(fabs(f->rate_hz - 50.0) < 0.5);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__no_signal_has_no_structure(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  for (uint64_t seed = 0; seed < 20; seed++) {
    plb_tracks *t = new_tracks(1, 20000, 1e5);
    plb_random r;
    plb_random_seed(&r, seed);
    if (seed > 0)
      add_noise(t, 0, seed % 2 ? 0.002 : 3.0, seed);
    for (size_t i = 1; i < t->samples && seed % 5 == 4; i++) /* coloured */
      t->x[0][i] = 0.97 * t->x[0][i - 1] + 0.1 * t->x[0][i];
    for (size_t i = 0; i < t->samples && seed % 5 == 3; i++) /* coarse */
      t->x[0][i] = 0.001 * floor(t->x[0][i] / 0.001);
    plb_frame *f = build(t, &c);
    assert_false(f->structure);
    assert_int_equal(f->found, 0);
    assert_true(isnan(f->rate_hz));
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__a_wheel_without_its_gap_stays_unmapped(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  wheel_model m = WHEEL_60_2;
  m.missing = 0;
  plb_frame *f = frame_of(&m, &c, 0.02);
  assert_true(f->structure);
  assert_int_equal(f->mapped, 0);
  assert_in_range(f->found, 9, 10);
  for (size_t i = 0; i < f->found; i++)
    assert_int_equal(f->cycle[i].state, PLB_UNMAPPED_NO_GAP);
  assert_true(fabs(f->rate_hz - 50.0) < 0.1);
  plb_frame_free(f);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__less_than_a_turn_is_no_cycle(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  wheel_model m = WHEEL_60_2;
  for (m.samples = 2; m.samples < 2000; m.samples = m.samples * 3 / 2 + 1) {
    plb_frame *f = frame_of(&m, &c, 0.0);
    assert_int_equal(f->found, 0);
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__missing_samples_do_no_harm(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  plb_tracks *t = model_wheel(&WHEEL_60_2);
  for (size_t i = 0; i < t->samples; i += 501)
    t->x[0][i] = NAN;
  for (size_t i = 9000; i < 12000; i++)
    t->x[0][i] = NAN;
  plb_frame *f = build(t, &c);
  assert_int_equal(f->found, whole_turns(&WHEEL_60_2));
  assert_in_range(f->mapped, f->found - 3, f->found - 1);
  assert_true_to_model(&WHEEL_60_2, f, 1.5);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

/* ---- properties: what must not change */

static void assert_same_landmarks(const plb_frame *a, const plb_frame *b, double tolerance) {
  assert_true(a->mapped > 0 && b->mapped > 0);
  for (size_t k = 0; k < a->landmarks; k++)
    assert_true(fabs(a->landmark_phase[k] - b->landmark_phase[k]) < tolerance);
}

static void test_wheel__a_shift_by_part_of_a_sample_changes_no_phase(void **state) {
  (void)state;
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  plb_frame *reference = frame_of(&WHEEL_60_2, &c, 0.0);
  for (int part = 1; part < 8; part++) {
    wheel_model m = WHEEL_60_2;
    m.start += 0.125 * part * m.turns_per_s / m.rate_hz;
    plb_frame *f = frame_of(&m, &c, 0.0);
    assert_same_landmarks(reference, f, 0.1 / 2000.0);
    assert_true(fabs(reference->cycle[0].first - f->cycle[0].first - 0.125 * part) < 0.1);
    plb_frame_free(f);
  }
  plb_frame_free(reference);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__speed_and_rate_change_no_phase(void **state) {
  (void)state;
  static const double speed[] = {0.5, 0.8, 1.25, 2.0};
  static const double rate[] = {44100.0, 1e5, 250e3};
  plb_cycle_choice c = good_choice(WHEEL_60_2, "wheel:teeth=60,missing=2");
  plb_frame *reference = frame_of(&WHEEL_60_2, &c, 0.0);
  for (size_t i = 0; i < 4; i++)
    for (size_t k = 0; k < 3; k++) {
      wheel_model m = WHEEL_60_2;
      m.turns_per_s *= speed[i];
      m.rate_hz = rate[k];
      m.samples = (size_t)(0.2 * rate[k]);
      plb_frame *f = frame_of(&m, &c, 0.0);
      assert_in_range(f->mapped, whole_turns(&m) - 1, whole_turns(&m));
      assert_same_landmarks(reference, f, 0.3 * m.turns_per_s / m.rate_hz);
      assert_true(f->cycle[0].correlation > 0.98);
      plb_frame_free(f);
    }
  plb_frame_free(reference);
  plb_cycle_choice_dispose(&c);
}

/* ---- other wheels */

static void test_wheel__other_wheels(void **state) {
  (void)state;
  static const int wheel[][2] = {{36, 1}, {36, 2}, {24, 1}, {12, 1},  {12, 3}, {8, 1}, {5, 1},
                                 {4, 1},  {4, 2},  {3, 1},  {120, 4}, {60, 0}, {4, 0}};
  for (size_t i = 0; i < sizeof wheel / sizeof *wheel; i++) {
    char text[80];
    wheel_model m = WHEEL_60_2;
    m.teeth = wheel[i][0];
    m.missing = wheel[i][1];
    m.turns_per_s = 50.0 * 60.0 / m.teeth;
    snprintf(text, sizeof text, "wheel:teeth=%d,missing=%d", m.teeth, m.missing);
    plb_cycle_choice c = good_choice(m, text);
    plb_frame *f = frame_of(&m, &c, 0.02);
    /* Without a gap the turn begins with the first tooth seen, not with the model's. */
    if (m.missing > 0) {
      assert_in_range(f->mapped, whole_turns(&m) - 1, whole_turns(&m));
      assert_true_to_model(&m, f, 0.3);
    } else {
      assert_in_range(f->mapped, (size_t)f->revolutions - 1, (size_t)f->revolutions + 1);
    }
    for (size_t k = 0; k < f->found; k++)
      assert_int_equal(f->cycle[k].missing + f->cycle[k].surplus, 0);
    plb_frame_free(f);
    plb_cycle_choice_dispose(&c);
  }
}

static void test_wheel__a_capture_without_the_wheel_is_refused(void **state) {
  (void)state;
  plb_cycle_spec spec;
  plb_error err = PLB_ERROR_INIT;
  plb_cycle_choice c;
  wheel_model m = WHEEL_60_2;
  plb_tracks *t[3] = {model_wheel(&m), model_wheel(&m), new_tracks(1, 20000, 1e5)};
  add_noise(t[2], 0, 1.0, 3);
  assert_int_equal(plb_cycle_spec_parse("wheel:teeth=60,missing=2", &spec, &err), PLB_OK);
  assert_int_equal(plb_cycle_choose(&c, (const plb_tracks *const *)t, 3, &spec, 0, NULL, &err), PLB_EDATA);
  assert_non_null(strstr(err.message, "capture 3 of 3"));
  for (size_t i = 0; i < 3; i++)
    plb_tracks_free(t[i]);
}

/* ---- two turns to a cycle */

static void check_strokes(bool pressure, double stroke_ripple, bool known) {
  enum { CAPTURES = 3 };
  wheel_model m = WHEEL_60_2;
  m.pressure = pressure;
  m.stroke_ripple = stroke_ripple;
  m.samples = 24000;
  plb_tracks *t[CAPTURES];
  plb_cycle_choice c;
  for (size_t i = 0; i < CAPTURES; i++) {
    m.start = 0.3 + (double)i;
    t[i] = model_wheel(&m);
    add_noise(t[i], 0, 0.02, i);
  }
  choose_from(&c, t, CAPTURES, "wheel:teeth=60,missing=2,revs=2", 0);
  assert_int_equal(c.landmarks, 116);
  assert_string_equal(c.landmark[58].name, "tooth 1, turn 2");
  assert_int_equal(c.stroke != NULL, known);
  int first_turn = -1;
  for (size_t i = 0; i < CAPTURES; i++) {
    m.start = 0.3 + (double)i;
    plb_frame *f = build(t[i], &c);
    assert_int_equal(f->stroke_known, known);
    assert_in_range(f->mapped, 5, 6);
    assert_true(fabs(f->rate_hz - 25.0) < 0.3);
    for (size_t k = 0; k < f->found && known; k++) {
      const int turn = (int)floor(wheel_turns_at(&m, f->cycle[k].first) + 0.5);
      if (first_turn < 0)
        first_turn = turn % 2;
      assert_int_equal(turn % 2, first_turn);
    }
    plb_frame_free(f);
  }
  if (pressure)
    assert_int_equal(first_turn, 0); /* the higher hump comes first */
  for (size_t i = 0; i < CAPTURES; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

static void test_wheel__a_second_channel_tells_the_strokes_apart(void **state) {
  (void)state;
  check_strokes(true, 0.0, true);
}

static void test_wheel__the_teeth_tell_the_strokes_apart(void **state) {
  (void)state;
  check_strokes(false, 0.01, true);
}

static void test_wheel__equal_turns_leave_the_stroke_unknown(void **state) {
  (void)state;
  check_strokes(false, 0.0, false);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_wheel__choices_are_the_clean_edge_and_every_tooth),
      cmocka_unit_test(test_wheel__an_upside_down_sensor_has_its_clean_edge_falling),
      cmocka_unit_test(test_wheel__constant_speed),
      cmocka_unit_test(test_wheel__acceleration_is_taken_out),
      cmocka_unit_test(test_wheel__noise_moves_no_tooth_far),
      cmocka_unit_test(test_wheel__one_tooth_missing_in_three_turns),
      cmocka_unit_test(test_wheel__the_same_teeth_missing_in_every_turn),
      cmocka_unit_test(test_wheel__what_cannot_be_decided_stays_unmapped),
      cmocka_unit_test(test_wheel__a_low_first_tooth_is_missing_not_another),
      cmocka_unit_test(test_wheel__a_run_of_missing_teeth_is_not_the_gap),
      cmocka_unit_test(test_wheel__a_filled_gap_is_found_by_the_other_turns),
      cmocka_unit_test(test_wheel__a_surplus_pulse_is_counted_and_located),
      cmocka_unit_test(test_wheel__random_faults_are_named_exactly),
      cmocka_unit_test(test_wheel__another_size_or_offset_is_still_laid_out),
      cmocka_unit_test(test_wheel__upside_down_is_said),
      cmocka_unit_test(test_wheel__no_signal_has_no_structure),
      cmocka_unit_test(test_wheel__a_wheel_without_its_gap_stays_unmapped),
      cmocka_unit_test(test_wheel__less_than_a_turn_is_no_cycle),
      cmocka_unit_test(test_wheel__missing_samples_do_no_harm),
      cmocka_unit_test(test_wheel__a_shift_by_part_of_a_sample_changes_no_phase),
      cmocka_unit_test(test_wheel__speed_and_rate_change_no_phase),
      cmocka_unit_test(test_wheel__other_wheels),
      cmocka_unit_test(test_wheel__a_capture_without_the_wheel_is_refused),
      cmocka_unit_test(test_wheel__a_second_channel_tells_the_strokes_apart),
      cmocka_unit_test(test_wheel__the_teeth_tell_the_strokes_apart),
      cmocka_unit_test(test_wheel__equal_turns_leave_the_stroke_unknown),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
