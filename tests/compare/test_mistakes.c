/* Recordings, measurements and conditions that cannot be judged: every code, with its evidence and what to do; never "matches". Modelled. */
#include "compare/profile.h"
#include "core/random.h"
#include "tests/compare/population.h"
#include "tests/core/cmocka_all.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SEEDS = 2, FIRST_SEED = 40 };

typedef struct mistake {
  const char *family, *fault, *code;
  bool blocks; /* else it is said beside a finding, because a fault looks the same */
  const char *evidence, *action;
} mistake;

/* The ten measuring mistakes of the models. */
static const mistake mistakes[] = {
    {"injector-voltage", "lead-inverted", "lead-inverted", true, "lead inverted", "swap the leads"},
    {"injector-voltage", "attenuator-forgotten", "factor", true, "10 times too small", "attenuator"},
    {"fuel-pump-current", "attenuator-forgotten", "factor", true, "10 times too small", "attenuator"},
    {"injector-current", "clamp-zero", "clamp", true, "clamp zero|A high", "zero the clamp"},
    {"coil-primary-current", "clamp-zero", "clamp", true, "clamp zero|A high", "zero the clamp"},
    {"starter-current", "clamp-direction", "clamp", true, "wrong way round", "turn the clamp round"},
    {"injector-voltage", "ac-coupled", "ac-coupled", true, "averages to nought", "set the input to DC"},
    {"crank-hall-idle", "ac-coupled", "ac-coupled", true, "averages to nought", "set the input to DC"},
    {"crank-hall-idle", "alias", "sparse", true, "", "sample at|kHz or more"},
    {"injector-voltage", "alias", "sparse", true, "recorded too thinly|one sample every", "sample at|kHz or more"},
    {"injector-voltage", "floating", "floating", true, "hardly any signal", "prove the contact"},
    {"crank-hall-idle", "floating", "floating", true, "hardly any signal", "prove the contact"},
    {"injector-voltage", "hum", "hum", true, "hum of 50 Hz", "mains"},
    {"crank-hall-idle", "hum", "hum", true, "hum of 50 Hz", "mains"},
    {"crank-inductive-60-2-idle", "pick-up", "pick-up", false, "short bursts", "move the test lead"},
    {"crank-hall-idle", "far-ground", "far-ground", false, "V high", "clip the ground at the sensor"},
};

static void test_mistakes__each_is_named_with_evidence_and_what_to_do(void **state) {
  (void)state;
  for (size_t m = 0; m < sizeof mistakes / sizeof *mistakes; m++) {
    const lesson_plan plan = {.family = mistakes[m].family};
    plb_reference *r = population_learn(&plan);
    assert_non_null(r);
    for (uint64_t seed = FIRST_SEED; seed < FIRST_SEED + SEEDS; seed++) {
      plb_model_request q = PLB_MODEL_REQUEST_INIT;
      q.seed = seed;
      q.fault = mistakes[m].fault;
      q.severity = 1.0;
      plb_capture *c = population_draw(mistakes[m].family, &q);
      plb_verdict *v = population_judge(r, c, NULL, false);
      population_print(mistakes[m].fault, v);
      const plb_reason *why = population_reason(v, mistakes[m].code);
      assert_non_null(why);
      assert_int_not_equal(v->word, PLB_AGREES);
      assert_int_equal(why->blocks, mistakes[m].blocks);
      assert_true(!why->blocks || v->word == PLB_UNJUDGED);
      assert_true(says_all(why->text, mistakes[m].evidence));
      assert_true(says_all(why->action, mistakes[m].action));
      assert_true(why->blocks || v->findings > 0); /* both are said where a fault looks the same */
      plb_verdict_free(v);
      plb_capture_free(c);
    }
    plb_reference_free(r);
  }
}

/* Faults that one mistake or another would explain as well: told as faults, the measuring check beside them. */
static const struct {
  const char *family, *fault, *code; /* code: said beside, never in place of the finding; NULL: nothing is */
} hidden[] = {
    {"crank-inductive-60-2-idle", "weak-magnet", NULL}, {"starter-current", "drag", NULL},
    {"starter-current", "shorted-turns", NULL},  {"injector-peak-hold", "leak-to-ground", NULL},
    {"high-pressure-pump-valve", "leak-to-ground", NULL}, {"alternator-ripple", "weak-field", "load-outside"},
};

static void test_mistakes__a_fault_is_not_hidden_behind_one(void **state) {
  (void)state;
  for (size_t m = 0; m < sizeof hidden / sizeof *hidden; m++) {
    const lesson_plan plan = {.family = hidden[m].family};
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    plb_reference *r = population_learn(&plan);
    assert_non_null(r);
    q.seed = FIRST_SEED;
    q.fault = hidden[m].fault;
    q.severity = 1.0;
    plb_capture *c = population_draw(hidden[m].family, &q);
    plb_verdict *v = population_judge(r, c, NULL, true);
    population_print(hidden[m].fault, v);
    assert_true(v->word == PLB_DEPARTS || v->word == PLB_BORDERLINE);
    assert_true(v->findings > 0);
    for (size_t i = 0; i < v->reasons; i++) {
      assert_false(v->reason[i].blocks);
    }
    assert_true(hidden[m].code == NULL ? v->reasons == 0 : population_reason(v, hidden[m].code) != NULL);
    plb_verdict_free(v);
    plb_capture_free(c);
    plb_reference_free(r);
  }
}

/* White noise of RMS s is found again, COMPUTED; a sine of 30 samples a period adds less than a thousandth of its amplitude. */
static void test_mistakes__sample_noise_is_the_noise_and_not_the_signal(void **state) {
  (void)state;
  enum { N = 20000 };
  static double noise[N], sine[N], both[N];
  plb_random random;
  plb_random_seed(&random, 11);
  for (size_t i = 0; i < N; i++) {
    noise[i] = 0.02 * plb_random_normal(&random);
    sine[i] = 2.0 * sin(2.0 * 3.14159265358979 * (double)i / 30.0);
    both[i] = noise[i] + sine[i];
  }
  assert_true(fabs(plb_sample_noise(noise, N) - 0.02) < 0.001);
  assert_true(plb_sample_noise(sine, N) < 0.002);
  assert_true(fabs(plb_sample_noise(both, N) - 0.02) < 0.001);
  assert_true(isnan(plb_sample_noise(noise, 5)));
}

/* One good capture with something done to its samples. */
static plb_verdict *judge_changed(const lesson_plan *plan, void (*change)(plb_capture *c, double *x, size_t n),
                                  const char *what) {
  plb_reference *r = population_learn(plan);
  plb_model_request q = PLB_MODEL_REQUEST_INIT;
  plb_error err = PLB_ERROR_INIT;
  assert_non_null(r);
  q.seed = 77;
  plb_capture *good = population_draw(plan->family, &q), *c = plb_capture_new();
  assert_non_null(c);
  c->rate_hz = good->rate_hz;
  double *x = plb_capture_copy_values(good, 0);
  assert_non_null(x);
  change(c, x, good->samples);
  assert_int_equal(plb_capture_add_real(c, plb_capture_role(good, 0), plb_capture_unit(good, 0), x,
                                        c->samples > 0 ? c->samples : good->samples, &err),
                   PLB_OK);
  plb_verdict *v = population_judge(r, c, NULL, false);
  population_print(what, v);
  free(x);
  plb_capture_free(good);
  plb_capture_free(c);
  plb_reference_free(r);
  return v;
}

static void expect(plb_verdict *v, const char *code, const char *evidence, const char *action) {
  const plb_reason *why = NULL;
  for (size_t i = 0; i < v->reasons + v->fitnesses && why == NULL; i++) {
    const plb_reason *one = i < v->reasons ? &v->reason[i] : &v->fitness[i - v->reasons];
    why = strcmp(one->code, code) == 0 && one->blocks ? one : NULL;
  }
  assert_int_equal(v->word, PLB_UNJUDGED);
  assert_non_null(why);
  assert_true(says_all(why->text, evidence));
  assert_true(says_all(why->action, action));
  plb_verdict_free(v);
}

static void leave(plb_capture *c, double *x, size_t n) { (void)c, (void)x, (void)n; }

static void cut_top(plb_capture *c, double *x, size_t n) {
  (void)c;
  double high = -INFINITY;
  for (size_t i = 0; i < n; i++) {
    high = fmax(high, x[i]);
  }
  for (size_t i = 0; i < n; i++) {
    x[i] = fmin(x[i], 0.5 * high);
  }
}

static void make_coarse(plb_capture *c, double *x, size_t n) {
  (void)c;
  double high = -INFINITY;
  for (size_t i = 0; i < n; i++) {
    high = fmax(high, x[i]);
  }
  for (size_t i = 0; i < n; i++) {
    x[i] = 0.2 * high * round(x[i] / (0.2 * high));
  }
}

/* Eight steps over the swing, and all of it moved up by as much as it swings. */
static void make_coarse_and_high(plb_capture *c, double *x, size_t n) {
  double low, high;
  (void)c;
  plb_extremes(x, n, &low, &high);
  const double step = (high - low) / 8.0;
  for (size_t i = 0; i < n; i++) {
    x[i] = high - low + step * round(x[i] / step);
  }
}

static void pair_up(plb_capture *c, double *x, size_t n) {
  (void)x, (void)n;
  c->pairs = true;
}

static void pause_recorder(plb_capture *c, double *x, size_t n) {
  for (size_t i = n / 2; i < n; i++) { /* what the recorder missed is missing from the middle */
    x[i] = x[i < n - 700 ? i + 700 : i];
  }
  c->uneven = 700.0;
  c->gap_row = n / 2;
}

static void cut_short(plb_capture *c, double *x, size_t n) {
  (void)x;
  c->samples = n / 16;
}

static void silence(plb_capture *c, double *x, size_t n) {
  (void)c;
  plb_random r;
  plb_random_seed(&r, 5);
  for (size_t i = 0; i < n; i++) {
    x[i] = 0.003 * plb_random_normal(&r);
  }
}

static void no_numbers(plb_capture *c, double *x, size_t n) {
  (void)c;
  for (size_t i = 0; i < n; i++) {
    x[i] = NAN;
  }
}

static void test_mistakes__what_a_recording_hides_is_not_judged(void **state) {
  (void)state;
  const lesson_plan crank = {.family = "crank-inductive-60-2-idle"};
  plb_verdict *v = judge_changed(&crank, leave, "unchanged");
  assert_int_equal(v->word, PLB_AGREES); /* what is changed below matters */
  plb_verdict_free(v);
  expect(judge_changed(&crank, cut_top, "clipped"), "clipped", "top is cut off", "larger range");
  expect(judge_changed(&crank, make_coarse, "coarse"), "coarse", "only|steps", "smaller range");
  expect(judge_changed(&crank, pair_up, "thinned"), "thinned", "lowest and highest", "export all samples");
  expect(judge_changed(&crank, pause_recorder, "uneven"), "uneven", "time steps", "export");
  expect(judge_changed(&crank, cut_short, "short"), "short", "too short", "record longer");
  expect(judge_changed(&crank, silence, "no signal"), "no-signal", "no signal|prove the connection", "known signal");
  expect(judge_changed(&crank, no_numbers, "no numbers"), "non-finite", "no number", "column");
}

/* No finer step would bring back what stands far beyond the good range: it is told, the steps beside it. */
static void test_mistakes__what_stands_far_beyond_the_steps_is_judged(void **state) {
  (void)state;
  static const char *const family[] = {"alternator-ripple", "cylinder-pressure-running", "oxygen-front"};
  for (size_t i = 0; i < sizeof family / sizeof *family; i++) {
    plb_verdict *v = judge_changed(&(lesson_plan){.family = family[i]}, make_coarse_and_high, "coarse and high");
    const plb_reason *steps = population_reason(v, "coarse");
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_true(v->findings > 0);
    assert_string_equal(v->finding[0].direction, "high");
    assert_non_null(steps);
    assert_false(steps->blocks);
    plb_verdict_free(v);
  }
}

static void test_mistakes__another_circuit_never_matches(void **state) {
  (void)state;
  static const char *const wrong[] = {"injector-voltage", "cam-hall", "pwm-valve", "coil-command"};
  const lesson_plan plan = {.family = "crank-inductive-60-2-idle"};
  plb_reference *r = population_learn(&plan);
  for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    q.seed = 3;
    plb_capture *c = population_draw(wrong[i], &q);
    plb_text_copy(c->channel[0].role, sizeof c->channel[0].role, "crank");
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print(wrong[i], v);
    assert_int_not_equal(v->word, PLB_AGREES);
    const plb_reason *why = population_reason(v, "wrong-channel");
    assert_non_null(why);
    assert_true(says_all(why->action, "column"));
    plb_verdict_free(v);
    plb_capture_free(c);
  }
  plb_reference_free(r);
}

/* Another sensor of the same unit, whose swing, speed or level gives it away: told beside whatever else is said. */
static void test_mistakes__another_sensor_of_the_same_unit_is_told(void **state) {
  (void)state;
  static const struct {
    const char *family, *other;
  } swapped[] = {
      {"injector-voltage", "manifold-pressure-idle"}, {"charging-voltage", "manifold-pressure-idle"},
      {"injector-voltage", "relay"}, /* too short for a cycle: by the time at each level */
      {"crank-inductive-60-2-cranking", "coil-secondary"},
      {"knock-idle", "charging-voltage"},         /* too few samples: by the levels */
      {"cam-phaser-valve", "pwm-valve"},          /* neither the rate nor the trace */
      {"injector-current", "injector-peak-hold"}, /* neither shape nor size */
      {"crank-inductive-60-2-idle", "crank-hall-idle"},    /* the same wheel, on one side of nought */
      {"throttle-dual", "pedal-dual"},            /* the relation of two tracks */
  };
  for (size_t i = 0; i < sizeof swapped / sizeof *swapped; i++) {
    const lesson_plan plan = {.family = swapped[i].family};
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    plb_reference *r = population_learn(&plan);
    assert_non_null(r);
    q.seed = 9;
    plb_capture *c = population_draw(swapped[i].other, &q);
    plb_text_copy(c->channel[0].role, sizeof c->channel[0].role, r->channel[0].role);
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print(swapped[i].other, v);
    assert_int_not_equal(v->word, PLB_AGREES);
    assert_non_null(population_reason(v, "wrong-channel"));
    plb_verdict_free(v);
    plb_capture_free(c);
    plb_reference_free(r);
  }
}

/* The recording is too short for a cycle, and what there is of it is known-good's. */
static void test_mistakes__a_piece_of_known_good_is_no_other_circuit(void **state) {
  (void)state;
  static const char *const family[] = {"injector-voltage", "crank-inductive-60-2-cranking", "coil-primary-current", "cam-hall"};
  for (size_t i = 0; i < sizeof family / sizeof *family; i++) {
    plb_reference *r = population_learn(&(lesson_plan){.family = family[i]});
    assert_non_null(r);
    for (uint64_t seed = 31; seed < 35; seed++) {
      plb_model_request q = PLB_MODEL_REQUEST_INIT;
      q.seed = seed;
      q.duration_s = 0.9 / r->choice.rate_high_hz;
      plb_capture *c = population_draw(family[i], &q);
      plb_verdict *v = population_judge(r, c, NULL, false);
      population_print(family[i], v);
      assert_non_null(population_reason(v, "short"));
      assert_null(population_reason(v, "wrong-channel"));
      plb_verdict_free(v);
      plb_capture_free(c);
    }
    plb_reference_free(r);
  }
}

/* A steady level hardly swings, so its factor shows in the level itself; a tenth of it is no lost connection. */
static void test_mistakes__a_factor_of_a_steady_level_is_told(void **state) {
  (void)state;
  plb_reference *r = population_learn(&(lesson_plan){.family = "sensor-supply-5v"});
  assert_non_null(r);
  for (uint64_t seed = 41; seed < 45; seed++) {
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    q.seed = seed;
    q.fault = "attenuator-forgotten";
    q.severity = 1.0;
    plb_capture *c = population_draw("sensor-supply-5v", &q);
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print(q.fault, v);
    assert_int_not_equal(v->word, PLB_AGREES);
    assert_non_null(population_reason(v, "factor"));
    plb_verdict_free(v);
    plb_capture_free(c);
  }
  plb_reference_free(r);
}

/* Sampled 25 times too slowly, slow signals look like known-good and what is lost is not seen. */
static void test_mistakes__far_too_few_samples_never_match(void **state) {
  (void)state;
  static const char *const slow[] = {"manifold-pressure-idle", "oxygen-rear", "throttle-dual"};
  for (size_t i = 0; i < sizeof slow / sizeof *slow; i++) {
    const lesson_plan plan = {.family = slow[i]};
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    plb_reference *r = population_learn(&plan);
    assert_non_null(r);
    q.seed = FIRST_SEED;
    q.fault = "alias";
    q.severity = 1.0;
    plb_capture *c = population_draw(slow[i], &q);
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print(slow[i], v);
    assert_int_equal(v->word, PLB_UNJUDGED);
    assert_non_null(population_reason(v, "sparse"));
    plb_verdict_free(v);
    plb_capture_free(c);
    plb_reference_free(r);
  }
}

/* A cycle given without a channel: findings, readings and reasons name the one that gives it. */
static void test_mistakes__what_is_said_of_the_cycle_names_its_channel(void **state) {
  (void)state;
  const lesson_plan plan = {.family = "crank-inductive-60-2-idle"};
  plb_model_request q = PLB_MODEL_REQUEST_INIT;
  plb_reference *r = population_learn(&plan);
  assert_non_null(r);
  assert_string_equal(r->choice.spec.channel, "");
  q.seed = FIRST_SEED;
  q.fault = "damaged-tooth";
  q.severity = 1.0;
  plb_capture *c = population_draw("crank-inductive-60-2-idle", &q);
  plb_verdict *v = population_judge(r, c, NULL, false);
  population_print("damaged-tooth", v);
  assert_true(v->findings > 0 && v->readings > 0);
  for (size_t i = 0; i < v->findings; i++) {
    assert_string_equal(v->finding[i].channel, "crank");
  }
  for (size_t i = 0; i < v->readings; i++) {
    assert_string_equal(v->reading[i].channel, "crank");
  }
  plb_verdict_free(v);
  plb_capture_free(c);
  plb_reference_free(r);
}

/* An ignition coil fires twice a turn or once in two: revolutions per minute are no rate of its cycles, hertz are. */
/* Half the cylinders of a double-ended coil show their sparks upside down: turned over the trace is like itself, and no lead is to blame. Models. */
static void test_mistakes__two_like_halves_have_no_polarity(void **state) {
  (void)state;
  static const struct {
    const char *fault;
    uint64_t seed;
  } shown[] = {{"slow-driver", 40}, {"intermittent-contact", 54}};
  plb_reference *r = population_learn(&(lesson_plan){.family = "coil-secondary", .captures = 6, .seed = 3000});
  assert_non_null(r);
  for (size_t k = 0; k < sizeof shown / sizeof *shown; k++) {
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    q.seed = shown[k].seed;
    q.fault = shown[k].fault;
    q.severity = 1.0;
    plb_capture *c = population_draw("coil-secondary", &q);
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print(q.fault, v);
    assert_null(population_reason(v, "lead-inverted"));
    plb_verdict_free(v);
    plb_capture_free(c);
  }
  plb_reference_free(r);
}

static void test_mistakes__a_stated_speed_is_a_rate_of_cycles_only_in_hertz(void **state) {
  (void)state;
  static const struct {
    const char *speed;
    bool outside;
  } stated[] = {{"speed=700..900/min", false}, {"speed=20..40Hz", false}, {"speed=5..10Hz", true}};
  for (size_t i = 0; i < sizeof stated / sizeof *stated; i++) {
    plb_reference *r = population_learn(&(lesson_plan){.family = "coil-primary-current", .condition = {stated[i].speed}});
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    q.seed = 77;
    plb_capture *c = population_draw("coil-primary-current", &q);
    plb_verdict *v = population_judge(r, c, NULL, false);
    population_print(stated[i].speed, v);
    assert_true((population_reason(v, "speed-outside") != NULL) == stated[i].outside);
    assert_true(!stated[i].outside || says_all(v->sentence, "speaks for 5 to 10"));
    plb_verdict_free(v);
    plb_capture_free(c);
    plb_reference_free(r);
  }
}

static void test_mistakes__a_condition_outside_is_not_judged_and_one_not_stated_is_said(void **state) {
  (void)state;
  static const struct {
    const char *stated, *code, *evidence;
  } outside[] = {
      {"load=full", "load-outside", "load outside: full stated"},
      {"supply=9V", "supply-outside", "supply outside: 9 V stated"},
      {"state=snap-throttle", "state-outside", "state outside: snap-throttle stated"},
      {"speed=3000/min", "speed-outside", "speed outside: 3000/min stated"},
      {"connection=unplugged", "unplugged", "unplugged"},
  };
  const lesson_plan plan = {.family = "crank-inductive-60-2-idle",
                            .condition = {"load=none", "supply=12..15V", "state=hot-idle", "speed=500..1200/min"}};
  plb_reference *r = population_learn(&plan);
  plb_model_request q = PLB_MODEL_REQUEST_INIT;
  q.seed = 77;
  plb_capture *c = population_draw(plan.family, &q);
  for (size_t i = 0; i < sizeof outside / sizeof *outside; i++) {
    plb_verdict *v = population_judge(r, c, outside[i].stated, false);
    population_print(outside[i].stated, v);
    assert_int_equal(v->word, PLB_UNJUDGED);
    const plb_reason *why = population_reason(v, outside[i].code);
    assert_non_null(why);
    assert_true(why->blocks && says_all(why->text, outside[i].evidence) && why->action[0] != '\0');
    assert_true(v->bands > 0 && isfinite(v->score)); /* the differences are still shown */
    plb_verdict_free(v);
  }
  plb_verdict *v = population_judge(r, c, NULL, false);
  bool hot = false;
  assert_int_equal(v->word, PLB_AGREES);
  for (size_t i = 0; i < v->condition_notes; i++) {
    hot = hot || says_all(v->condition_note[i], "if state is hot-idle|not stated");
  }
  assert_true(hot);
  plb_verdict_free(v);
  plb_capture_free(c);
  plb_reference_free(r);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_mistakes__each_is_named_with_evidence_and_what_to_do),
      cmocka_unit_test(test_mistakes__a_fault_is_not_hidden_behind_one),
      cmocka_unit_test(test_mistakes__sample_noise_is_the_noise_and_not_the_signal),
      cmocka_unit_test(test_mistakes__what_a_recording_hides_is_not_judged),
      cmocka_unit_test(test_mistakes__what_stands_far_beyond_the_steps_is_judged),
      cmocka_unit_test(test_mistakes__another_circuit_never_matches),
      cmocka_unit_test(test_mistakes__a_piece_of_known_good_is_no_other_circuit),
      cmocka_unit_test(test_mistakes__a_factor_of_a_steady_level_is_told),
      cmocka_unit_test(test_mistakes__another_sensor_of_the_same_unit_is_told),
      cmocka_unit_test(test_mistakes__far_too_few_samples_never_match),
      cmocka_unit_test(test_mistakes__what_is_said_of_the_cycle_names_its_channel),
      cmocka_unit_test(test_mistakes__two_like_halves_have_no_polarity),
      cmocka_unit_test(test_mistakes__a_stated_speed_is_a_rate_of_cycles_only_in_hertz),
      cmocka_unit_test(test_mistakes__a_condition_outside_is_not_judged_and_one_not_stated_is_said),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
