/* Cycles that begin with a level crossing: injectors, pulse width, sensors with two states. Modelled; every edge's time is known. */
#include "cycle_test.h"

enum { GOOD = 4, SAMPLES = 20000, PULSES = 400 };
static const double RATE_HZ = 1e5;

typedef struct injector {
  double period_s, on_s;       /* typical */
  double vary_on, vary_period; /* standard deviation, as a share */
  double supply_v;
  uint64_t seed;
} injector;

typedef struct truth {
  double on[PULSES], off[PULSES]; /* [samples] */
  size_t count;
} truth;

/**
 * An injector's voltage: supply, near zero while it is on, a flyback of 70 V when it is let go, then a decay with a hump of fixed time.
 */
static plb_tracks *inject(const injector *m, truth *where) {
  plb_tracks *t = new_tracks(1, SAMPLES, RATE_HZ);
  plb_random r;
  plb_random_seed(&r, m->seed);
  where->count = 0;
  for (double at = -0.7 * m->period_s * RATE_HZ; at < SAMPLES && where->count < PULSES;) {
    where->on[where->count] = at;
    where->off[where->count++] = at + m->on_s * RATE_HZ * (1.0 + m->vary_on * plb_random_normal(&r));
    at += m->period_s * RATE_HZ * (1.0 + m->vary_period * plb_random_normal(&r));
  }
  size_t k = 0;
  for (size_t i = 0; i < SAMPLES; i++) {
    while (k + 1 < where->count && (double)i >= where->on[k + 1])
      k++;
    const double since = ((double)i - where->off[k]) / RATE_HZ, begun = ((double)i - where->on[k]) / RATE_HZ;
    double v = m->supply_v;
    if (begun >= 0 && since < 0)
      v = 0.3;
    else if (since >= 0)
      v = m->supply_v + 56.0 * exp(-since / 0.00008) + 3.0 * exp(-0.5 * pow((since - 0.0012) / 0.0002, 2));
    t->x[0][i] = v;
  }
  add_noise(t, 0, 0.05, m->seed + 1000);
  return t;
}

static plb_cycle_choice learn_injector(const char *spec, const double *on_s, const double *period_s) {
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  truth where;
  for (size_t i = 0; i < GOOD; i++)
    t[i] = inject(&(injector){period_s[i], on_s[i], 0.02, 0.01, 14.0, i}, &where);
  choose_from(&c, t, GOOD, spec, 0);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
  return c;
}

static const double ON_S[GOOD] = {0.0025, 0.003, 0.004, 0.005}, PERIOD_S[GOOD] = {0.012, 0.014, 0.017, 0.020};

static void test_edge__a_flyback_is_no_state(void **state) {
  (void)state;
  plb_cycle_choice c = learn_injector("edge:level=7V,slope=falling", ON_S, PERIOD_S);
  assert_int_equal(c.edge, -1);
  assert_true(c.level_low < 7.0 && c.level_high > 7.0 && c.level_high < 13.0);
  assert_int_equal(c.landmarks, 2);
  assert_string_equal(c.landmark[0].name, "fall 1");
  assert_string_equal(c.landmark[1].name, "rise 1");
  plb_cycle_choice_dispose(&c);
  c = learn_injector("edge", ON_S, PERIOD_S);
  assert_true(fabs(0.5 * (c.level_low + c.level_high) - 7.15) < 0.5); /* half-way between 0.3 V and 14 V, not 70 V */
  plb_cycle_choice_dispose(&c);
}

static void test_edge__every_pulse_is_laid_out_from_its_edge(void **state) {
  (void)state;
  truth where;
  plb_cycle_choice c = learn_injector("edge:level=7V,slope=falling", ON_S, PERIOD_S);
  plb_tracks *t = inject(&(injector){0.015, 0.0035, 0.2, 0.05, 14.0, 77}, &where);
  plb_frame *f = build(t, &c);
  assert_in_range(f->found, where.count - 3, where.count - 1);
  assert_int_equal(f->mapped, f->found);
  for (size_t i = 0; i < f->found; i++) {
    const plb_cycle_found *cycle = &f->cycle[i];
    const double *phase = f->landmark_phase + cycle->row * 2;
    const double on = cycle->first + phase[0] * (cycle->last - cycle->first);
    const double off = cycle->first + phase[1] * (cycle->last - cycle->first);
    size_t k = 0;
    while (fabs(where.on[k] - on) > 2.0 && k < where.count)
      k++;
    assert_true(k < where.count);
    assert_true(fabs(where.off[k] - off) < 2.0);
    assert_int_equal(cycle->missing + cycle->surplus, 0);
    assert_true(fabs(f->span_s[cycle->row * 2] - (where.off[k] - where.on[k]) / RATE_HZ) < 3e-5);
    /* The seam is away from the edge. */
    assert_true(on - cycle->first > 20.0);
  }
  assert_true(fabs(f->rate_hz - 1.0 / 0.015) < 3.0);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

/* What comes after the pulse takes its own time, whatever the period: those seconds are kept. */
static void test_edge__the_tail_keeps_its_seconds(void **state) {
  (void)state;
  truth where;
  plb_buffer notes;
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  plb_cycle_spec spec;
  plb_error err = PLB_ERROR_INIT;
  plb_buffer_init(&notes, 10000);
  for (size_t i = 0; i < GOOD; i++)
    t[i] = inject(&(injector){PERIOD_S[i], ON_S[i], 0.02, 0.01, 14.0, i}, &where);
  assert_int_equal(plb_cycle_spec_parse("edge:level=7V,slope=falling", &spec, &err), PLB_OK);
  assert_int_equal(plb_cycle_choose(&c, (const plb_tracks *const *)t, GOOD, &spec, 0, &notes, &err), PLB_OK);
  assert_int_equal(c.spans, 2);
  assert_true(c.span[1].absolute);
  assert_non_null(strstr(notes.data, "time kept"));
  /* The hump 1.2 ms after the pulse lies at one phase in all of them. */
  const double kept = c.span[1].duration_s, width = 0.875 * (1.0 - c.landmark[1].phase);
  const double at = c.landmark[1].phase + width * 0.0012 / kept;
  for (size_t i = 0; i < GOOD; i++) {
    plb_frame *f = build(t[i], &c);
    assert_true(f->mapped > 5);
    for (size_t row = 0; row < f->mapped; row++) {
      const float *curve = f->value + row * f->grid;
      size_t top = (size_t)((at - 0.05) * (double)f->grid);
      for (size_t k = top; k < (size_t)((at + 0.05) * (double)f->grid); k++)
        top = curve[k] > curve[top] ? k : top;
      assert_true(fabs((double)top / (double)f->grid - at) < 0.02);
    }
    plb_frame_free(f);
    plb_tracks_free(t[i]);
  }
  plb_buffer_dispose(&notes);
  plb_cycle_choice_dispose(&c);
}

/* An on-time of a fiftieth of the cycle gets a fair share of the grid, and so does what settles right behind it; phases and seconds convert. */
static void test_edge__a_short_stretch_gets_a_fair_share_of_the_grid(void **state) {
  (void)state;
  static const double on_s[GOOD] = {0.0008, 0.00085, 0.0009, 0.001}, period_s[GOOD] = {0.038, 0.041, 0.044, 0.046};
  truth where;
  plb_cycle_choice c = learn_injector("edge:level=7V,slope=falling", on_s, period_s);
  assert_int_equal(c.spans, 2);
  const double on = c.landmark[1].phase - c.landmark[0].phase;
  assert_true(on > 0.05 && on < 0.3);              /* proportional it would be 0.02 */
  assert_true(on * (double)c.grid <= 0.0009 * RATE_HZ + 1.0); /* no more cells than samples */
  const plb_knee knee = plb_span_knee(&c, 1);
  assert_true(knee.width > 0.2 && knee.seconds > 0.0018 && knee.seconds < 0.02);
  assert_true(fabs(plb_span_seconds(&c, 1, plb_span_phase(&c, 1, 0.0012)) - 0.0012) < 1e-9);
  assert_true(fabs(plb_span_seconds(&c, 1, plb_span_phase(&c, 1, 0.03)) - 0.03) < 1e-9);
  plb_tracks *t = inject(&(injector){0.043, 0.00095, 0.02, 0.01, 14.0, 78}, &where);
  plb_frame *f = build(t, &c);
  assert_true(f->mapped >= 2);
  /* the hump 1.2 ms behind the pulse lies where the layout says */
  const size_t at = (size_t)((c.landmark[1].phase + plb_span_phase(&c, 1, 0.0012)) * (double)f->grid);
  size_t top = at - 20;
  for (size_t k = at - 20; k < at + 20; k++)
    top = f->value[k] > f->value[top] ? k : top;
  assert_true(fabs((double)top - (double)at) < 15.0 && f->value[top] > 16.0f);
  plb_frame_free(f);
  plb_tracks_free(t);
  plb_cycle_choice_dispose(&c);
}

/** Pulse width: the rise comes evenly, the fall where the duty cycle puts it. */
static plb_tracks *modulate(double period, double low, double high, uint64_t seed, size_t *pulses) {
  plb_tracks *t = new_tracks(1, SAMPLES, RATE_HZ);
  plb_random r;
  plb_random_seed(&r, seed);
  *pulses = 0;
  for (double at = -0.3 * period; at < SAMPLES; at += period, ++*pulses) {
    const double duty = low + (high - low) * plb_random_uniform(&r);
    for (size_t i = (size_t)fmax(0.0, ceil(at)); i < SAMPLES && (double)i < at + duty * period; i++)
      t->x[0][i] = 12.0;
  }
  add_noise(t, 0, 0.1, seed + 7);
  return t;
}

static void test_edge__the_regular_slope_is_chosen(void **state) {
  (void)state;
  size_t pulses = 0;
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  for (size_t i = 0; i < GOOD; i++)
    t[i] = modulate(500.0, 0.2, 0.8, i, &pulses);
  choose_from(&c, t, GOOD, "edge", 0);
  assert_int_equal(c.edge, 1);
  for (size_t i = 0; i < GOOD; i++) {
    plb_frame *f = build(t[i], &c);
    assert_int_equal(f->mapped, f->found);
    assert_in_range(f->found, pulses - 3, pulses - 1);
    assert_true(fabs(f->rate_hz - RATE_HZ / 500.0) < 0.1);
    plb_frame_free(f);
    scale_track(t[i], 0, -1.0, 12.0); /* turned over it is the fall */
  }
  plb_cycle_choice_dispose(&c);
  choose_from(&c, t, GOOD, "edge", 0);
  assert_int_equal(c.edge, -1);
  plb_cycle_choice_dispose(&c);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
}

static void test_edge__a_level_follows_the_supply(void **state) {
  (void)state;
  size_t pulses = 0;
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  plb_cycle_spec spec;
  plb_error err = PLB_ERROR_INIT;
  for (size_t i = 0; i < GOOD; i++) {
    plb_tracks *one = modulate(400.0, 0.3, 0.5, i, &pulses);
    t[i] = new_tracks(2, SAMPLES, RATE_HZ);
    name_track(t[i], 1, "supply");
    for (size_t k = 0; k < SAMPLES; k++) {
      t[i]->x[1][k] = 11.0 + (double)i;
      t[i]->x[0][k] = one->x[0][k] / 12.0 * t[i]->x[1][k];
    }
    plb_tracks_free(one);
  }
  choose_from(&c, t, GOOD, "edge:level=60%supply,slope=rising", 0);
  assert_true(fabs(0.5 * (c.level_low + c.level_high) - 0.6 * 12.5) < 0.05);
  /* At 24 V the level is 14.4 V: learned levels alone would still cross, the half-way place tells. */
  for (size_t k = 0; k < SAMPLES; k++) {
    t[0]->x[0][k] = fmod((double)k, 400.0) < 100.0 ? 0.24 * fmod((double)k, 400.0) : 0.0;
    t[0]->x[1][k] = 24.0;
  }
  plb_frame *f = build(t[0], &c);
  assert_true(f->mapped > 40);
  const plb_cycle_found *cycle = &f->cycle[3];
  const double at = cycle->first + f->landmark_phase[cycle->row * f->landmarks] * (cycle->last - cycle->first);
  assert_true(fabs(fmod(at, 400.0) - 60.0) < 1.0);
  plb_frame_free(f);
  /* Without the supply channel it says what is missing. */
  t[0]->role[1][0] = 'x';
  assert_int_equal(plb_frame_build(&f, t[0], &c, &err), PLB_EDATA);
  assert_non_null(strstr(err.message, "supply"));
  plb_cycle_choice_dispose(&c);
  assert_int_equal(plb_cycle_spec_parse("edge:level=60%supply", &spec, &err), PLB_OK);
  assert_int_equal(plb_cycle_choose(&c, (const plb_tracks *const *)t, 1, &spec, 0, NULL, &err), PLB_EDATA);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
}

static void test_edge__a_level_in_another_unit_is_converted_or_refused(void **state) {
  (void)state;
  size_t pulses = 0;
  plb_tracks *t = modulate(400.0, 0.3, 0.5, 1, &pulses);
  plb_cycle_choice c;
  plb_cycle_spec spec;
  plb_error err = PLB_ERROR_INIT;
  choose_from(&c, &t, 1, "edge:level=5000mV,slope=rising", 0);
  assert_true(fabs(0.5 * (c.level_low + c.level_high) - 5.0) < 1e-9);
  plb_cycle_choice_dispose(&c);
  assert_int_equal(plb_cycle_spec_parse("edge:level=2A", &spec, &err), PLB_OK);
  assert_int_equal(plb_cycle_choose(&c, (const plb_tracks *const *)&t, 1, &spec, 0, NULL, &err), PLB_EUSAGE);
  plb_tracks_free(t);
}

/* A small first pulse before each main one: the cycle begins behind the long pause. */
static void test_edge__two_pulses_to_a_cycle(void **state) {
  (void)state;
  plb_tracks *t[GOOD];
  plb_cycle_choice c;
  for (size_t i = 0; i < GOOD; i++) {
    const double period = 900.0 + 40.0 * (double)i;
    t[i] = new_tracks(1, SAMPLES, RATE_HZ);
    for (size_t k = 0; k < SAMPLES; k++) {
      const double at = fmod((double)k + 333.0, period);
      t[i]->x[0][k] = at < 40.0 || (at > 120.0 && at < 270.0) ? 20.0 : 0.0;
    }
    add_noise(t[i], 0, 0.2, i);
  }
  choose_from(&c, t, GOOD, "edge:slope=rising", 0);
  assert_int_equal(c.landmarks, 4);
  assert_string_equal(c.landmark[2].name, "rise 2");
  for (size_t i = 0; i < GOOD; i++) {
    plb_frame *f = build(t[i], &c);
    assert_int_equal(f->mapped, f->found);
    const size_t whole = (size_t)(SAMPLES / (900.0 + 40.0 * (double)i));
    assert_in_range(f->found, whole - 2, whole);
    for (size_t k = 0; k < f->found; k++)
      assert_int_equal(f->cycle[k].missing + f->cycle[k].surplus, 0);
    plb_frame_free(f);
  }
  /* One first pulse is gone. */
  for (size_t k = 0; k < SAMPLES; k++) {
    const double turn = floor(((double)k + 333.0) / 900.0), at = fmod((double)k + 333.0, 900.0);
    if (turn == 7.0 && at < 60.0)
      t[0]->x[0][k] = 0.0;
  }
  plb_frame *f = build(t[0], &c);
  unsigned missing = 0;
  for (size_t k = 0; k < f->found; k++)
    missing += f->cycle[k].missing;
  assert_int_equal(missing, 2);
  plb_frame_free(f);
  for (size_t i = 0; i < GOOD; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

static void test_edge__another_size_is_still_laid_out(void **state) {
  (void)state;
  truth where;
  static const double gain[] = {0.1, 0.4, 10.0};
  plb_cycle_choice c = learn_injector("edge:level=7V,slope=falling", ON_S, PERIOD_S);
  for (size_t i = 0; i < 3; i++) {
    plb_tracks *t = inject(&(injector){0.015, 0.0035, 0.05, 0.02, 14.0, 5}, &where);
    scale_track(t, 0, gain[i], 0.0);
    plb_frame *f = build(t, &c);
    assert_in_range(f->mapped, where.count - 3, where.count - 1);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_edge__noise_and_silence_have_no_cycles(void **state) {
  (void)state;
  plb_cycle_choice c = learn_injector("edge:level=7V,slope=falling", ON_S, PERIOD_S);
  for (uint64_t seed = 0; seed < 8; seed++) {
    plb_tracks *t = new_tracks(1, SAMPLES, RATE_HZ);
    if (seed > 0)
      add_noise(t, 0, 0.02, seed);
    plb_frame *f = build(t, &c);
    assert_false(f->structure);
    assert_int_equal(f->found, 0);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_edge__a_flyback_is_no_state),
      cmocka_unit_test(test_edge__every_pulse_is_laid_out_from_its_edge),
      cmocka_unit_test(test_edge__the_tail_keeps_its_seconds),
      cmocka_unit_test(test_edge__a_short_stretch_gets_a_fair_share_of_the_grid),
      cmocka_unit_test(test_edge__the_regular_slope_is_chosen),
      cmocka_unit_test(test_edge__a_level_follows_the_supply),
      cmocka_unit_test(test_edge__a_level_in_another_unit_is_converted_or_refused),
      cmocka_unit_test(test_edge__two_pulses_to_a_cycle),
      cmocka_unit_test(test_edge__another_size_is_still_laid_out),
      cmocka_unit_test(test_edge__noise_and_silence_have_no_cycles),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
