/*
 * The main job on real captures: a single-cylinder engine with a 60-2 wheel. Which captures are good, defective, silent or coasting is
 * stated in the data's README; the counts that are expected here come from it.
 */
#include "core/random.h"
#include "signal/distribution.h"
#include "tests/core/close.h"
#include "tests/learn/engine.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { GOOD = 14 };
static const char *const good_name[GOOD] = {"none-1", "none-2", "none-3", "none-4", "none-5", "half-1", "half-2",
                                            "half-3", "half-4", "half-5", "full-1", "full-2", "full-3", "full-4"};
static const char *const taught[] = {"none-1", "none-3", "half-1", "half-3", "full-1", "full-3"};

static plb_capture *good[GOOD];
static plb_reference *reference;

static bool is_taught(const char *name) {
  for (size_t i = 0; i < 6; i++) {
    if (strcmp(name, taught[i]) == 0) {
      return true;
    }
  }
  return false;
}

static int set_up(void **state) {
  (void)state;
  plb_capture *six[6];
  size_t used = 0;
  for (size_t i = 0; i < GOOD; i++) {
    char name[64];
    snprintf(name, sizeof name, "setup-one/%s.txt", good_name[i]);
    good[i] = engine_read(name, "crank=2:V");
    if (is_taught(good_name[i])) {
      six[used++] = good[i];
    }
  }
  assert_int_equal(used, 6);
  plb_learned *learned = NULL;
  reference = engine_learn(six, 6, &learned);
  printf("# learned from 6: limit %.2f, guard %.2f, promise 1 in %.0f\n", learned->limit, learned->guard, 1.0 / learned->promise);
  plb_learned_free(learned);
  return 0;
}

static int tear_down(void **state) {
  (void)state;
  for (size_t i = 0; i < GOOD; i++) {
    plb_capture_free(good[i]);
  }
  plb_reference_free(reference);
  return 0;
}

static const plb_finding *find(const plb_verdict *v, const char *band, const char *direction) {
  for (size_t i = 0; i < v->findings; i++) {
    if ((band == NULL || strcmp(v->finding[i].band, band) == 0) && (direction == NULL || strcmp(v->finding[i].direction, direction) == 0)) {
      return &v->finding[i];
    }
  }
  return NULL;
}

static bool has_reason(const plb_verdict *v, const char *code) {
  for (size_t i = 0; i < v->reasons; i++) {
    if (strcmp(v->reason[i].code, code) == 0) {
      return true;
    }
  }
  return false;
}

static void test_engine__the_other_good_captures_agree(void **state) {
  (void)state;
  for (size_t i = 0; i < GOOD; i++) {
    plb_verdict *v = engine_compare(good[i], reference);
    printf("# %s %s score %.2f\n", good_name[i], plb_word_name(v->word), v->score);
    if (!is_taught(good_name[i])) {
      assert_int_equal(v->word, PLB_AGREES);
      assert_true(v->score > 0.0); /* continuous inside the good range too */
    }
    for (size_t k = 0; k < v->fitnesses; k++) {
      assert_string_not_equal(v->fitness[k].code, "clipped"); /* the flat bottom is the circuit's */
    }
    plb_verdict_free(v);
  }
}

/* 57 pulses between gaps and a hump in place of tooth 1 in every revolution; a typical tooth about a fifth lower. */
static void test_engine__the_damaged_wheel_departs_at_tooth_1_in_every_revolution(void **state) {
  (void)state;
  static const char *const name[] = {"none-1", "none-2", "none-3", "half-1", "half-2", "half-3", "full-1", "full-2", "full-3"};
  for (size_t i = 0; i < 9; i++) {
    char path[64];
    snprintf(path, sizeof path, "setup-two/%s.txt", name[i]);
    plb_capture *c = engine_read(path, "crank=2:V");
    plb_verdict *v = engine_compare(c, reference);
    printf("# setup-two/%s: %s\n", name[i], v->sentence);
    assert_int_equal(v->word, PLB_DEPARTS);
    const plb_finding *tooth = find(v, "tooth 1", "missing");
    assert_non_null(tooth);
    assert_ptr_equal(tooth, &v->finding[0]);
    assert_int_equal(tooth->count, v->cycles.found);
    assert_int_equal(tooth->of, v->cycles.found);
    assert_int_equal(v->cycles.unmapped, 0);
    /* whole revolutions inside half a second: one less than the gaps, which are never fewer than the turns less two */
    assert_true(v->cycles.found + 2.0 > 0.5 * v->cycles.rate_hz && v->cycles.found <= 0.5 * v->cycles.rate_hz);
    assert_int_equal(tooth->pattern, PLB_LASTING);
    assert_non_null(strstr(v->sentence, "tooth 1"));
    const plb_finding *low = find(v, "amplitude", "low");
    assert_non_null(low);
    assert_true(low->size > 0.72 && low->size < 0.88);
    plb_verdict_free(v);
    plb_capture_free(c);
  }
}

static void test_engine__silence_is_no_verdict(void **state) {
  (void)state;
  for (int i = 1; i <= 2; i++) {
    char path[64];
    snprintf(path, sizeof path, "setup-one/silent-%d.txt", i);
    plb_capture *c = engine_read(path, "crank=2:V");
    plb_verdict *v = engine_compare(c, reference);
    assert_int_equal(v->word, PLB_UNJUDGED);
    assert_true(has_reason(v, "no-signal"));
    assert_string_equal(v->sentence, "no signal, prove the connection");
    plb_verdict_free(v);
    plb_compare_options options = PLB_COMPARE_OPTIONS_INIT;
    options.connected = true;
    plb_error err = PLB_ERROR_INIT;
    assert_int_equal(plb_compare(&v, c, reference, &options, &err), PLB_OK);
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_non_null(find(v, "signal", "missing"));
    plb_verdict_free(v);
    plb_capture_free(c);
  }
}

/* Coasting at a quarter of the speed costs 8 % of the volts: the input clamps. Never a fault of amplitude. */
static void test_engine__coasting_is_outside_the_speed_and_nothing_else(void **state) {
  (void)state;
  plb_capture *c = engine_read("setup-one/full-5.txt", "crank=2:V");
  plb_verdict *v = engine_compare(c, reference);
  printf("# full-5: %s\n", v->sentence);
  assert_int_equal(v->word, PLB_UNJUDGED);
  assert_true(has_reason(v, "speed-outside"));
  assert_true(strncmp(v->sentence, "speed outside", 13) == 0);
  assert_int_equal(v->findings, 0);
  assert_true(v->drawings == 1 && v->alignment.correlation > 0.9); /* its shape is still shown */
  for (size_t b = 0; b < v->bands; b++) {
    assert_int_equal(v->band[b].status, PLB_UNJUDGED);
    assert_string_equal(v->band[b].direction, "");
  }
  plb_verdict_free(v);
  plb_capture_free(c);
}

/* Half of the good captures teach, the other half must not depart more often than promised. */
static void test_engine__random_halves_keep_the_promise(void **state) {
  (void)state;
  plb_random random;
  plb_random_seed(&random, 20261125);
  unsigned departs = 0, judged = 0;
  double promise = 0.0;
  for (int draw = 0; draw < 50; draw++) {
    plb_capture *order[GOOD];
    memcpy(order, good, sizeof order);
    for (size_t i = GOOD - 1; i > 0; i--) {
      const size_t k = (size_t)plb_random_below(&random, i + 1);
      plb_capture *swap = order[i];
      order[i] = order[k];
      order[k] = swap;
    }
    plb_learned *learned = NULL;
    plb_reference *r = engine_learn(order, GOOD / 2, &learned);
    promise = learned->promise;
    for (size_t i = GOOD / 2; i < GOOD; i++) {
      plb_verdict *v = engine_compare(order[i], r);
      judged++;
      departs += v->word == PLB_DEPARTS;
      plb_verdict_free(v);
    }
    plb_learned_free(learned);
    plb_reference_free(r);
  }
  printf("# 50 random halves: %u of %u good captures depart (%.1f %%), promise %.1f %%\n", departs, judged, 100.0 * departs / judged,
         100.0 * promise);
  assert_true((double)departs / judged <= promise);
}

/* --- faults put into real good captures --- */

typedef struct fault {
  double gain, offset, noise;
  unsigned revolutions; /* in how many revolutions a tooth is removed */
  int tooth;
  double removed_at[8]; /* [s] */
  const plb_verdict *good;
} fault;

static void change(double *x, size_t n, double rate_hz, void *payload) {
  const fault *f = payload;
  plb_random random;
  plb_random_seed(&random, 7);
  for (size_t i = 0; i < n; i++) {
    x[i] = f->gain * x[i] + f->offset + (f->noise > 0.0 ? f->noise * plb_random_normal(&random) : 0.0);
  }
  /* remove the tooth: hold the bottom of the trace over one pitch around it */
  for (unsigned k = 0; k < f->revolutions; k++) {
    const double pitch = rate_hz / f->good->cycles.rate_hz / 60.0;
    const double from = f->removed_at[k] * rate_hz - 0.3 * pitch;
    for (size_t i = (size_t)from; i < (size_t)(from + pitch); i++) {
      x[i] = -0.77;
    }
  }
}

static plb_verdict *judge_fault(size_t which, fault f) {
  plb_capture *c = engine_changed(good[which], change, &f);
  plb_verdict *v = engine_compare(c, reference);
  printf("# %s: %s: %s\n", good_name[which], plb_word_name(v->word), v->sentence);
  plb_capture_free(c);
  return v;
}

static void test_engine__weak_departs_low(void **state) {
  (void)state;
  for (size_t i = 0; i < GOOD; i += 3) {
    plb_verdict *v = judge_fault(i, (fault){.gain = 0.6});
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_non_null(find(v, "amplitude", "low"));
    assert_string_equal(v->finding[0].direction, "low");
    assert_null(find(v, NULL, "high"));
    assert_true(fabs(v->finding[0].size - 0.6) < 0.03);
    plb_verdict_free(v);
  }
}

static void test_engine__raised_departs_high(void **state) {
  (void)state;
  for (size_t i = 0; i < GOOD; i += 3) {
    plb_verdict *v = judge_fault(i, (fault){.gain = 1.0, .offset = 0.5});
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_string_equal(v->finding[0].direction, "high");
    assert_true(fabs(v->finding[0].size - 0.5) < 0.05);
    assert_null(find(v, NULL, "low"));
    plb_verdict_free(v);
  }
}

static void test_engine__noise_departs_noisy(void **state) {
  (void)state;
  for (size_t i = 0; i < GOOD; i += 3) {
    plb_verdict *v = judge_fault(i, (fault){.gain = 1.0, .noise = 0.5});
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_string_equal(v->finding[0].direction, "noisy");
    assert_true(fabs(v->finding[0].size - 0.5) < 0.15);
    plb_verdict_free(v);
  }
}

static void test_engine__inverted_is_a_lead(void **state) {
  (void)state;
  for (size_t i = 0; i < GOOD; i += 3) {
    plb_verdict *v = judge_fault(i, (fault){.gain = -1.0});
    assert_int_equal(v->word, PLB_UNJUDGED);
    assert_true(has_reason(v, "lead-inverted"));
    plb_verdict_free(v);
  }
}

static void test_engine__ten_times_is_a_factor(void **state) {
  (void)state;
  static const double factor[] = {10.0, 0.1, 0.05, 100.0};
  for (size_t i = 0; i < GOOD; i += 3) {
    for (size_t k = 0; k < 4; k++) {
      plb_verdict *v = judge_fault(i, (fault){.gain = factor[k]});
      assert_int_equal(v->word, PLB_UNJUDGED);
      assert_true(has_reason(v, "factor"));
      plb_verdict_free(v);
    }
  }
}

/* A tenth of the volts with noise of the usual size is a fault, not a factor. */
static void test_engine__a_tenth_with_its_usual_noise_departs_low(void **state) {
  (void)state;
  plb_verdict *v = judge_fault(3, (fault){.gain = 0.1, .noise = 0.03});
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_non_null(find(v, "amplitude", "low"));
  plb_verdict_free(v);
}

/* Rising mid-level edge of a tooth in the revolutions asked for, from the trace itself. */
static void place_tooth(fault *f, size_t which) {
  const size_t n = plb_capture_samples(good[which]);
  const double rate = plb_capture_rate_hz(good[which]);
  double *x = plb_capture_copy_values(good[which], 0);
  double edge[4000];
  size_t edges = 0;
  bool high = x[0] > 2.0;
  for (size_t i = 1; i < n; i++) {
    if (!high && x[i] > 2.0) {
      edge[edges++] = (double)i / rate;
      high = true;
    } else if (high && x[i] < 1.0) {
      high = false;
    }
  }
  unsigned turn = 0, placed = 0;
  for (size_t e = 1; e + 60 < edges && placed < f->revolutions; e++) {
    if (edge[e] - edge[e - 1] > 2.0 * (edge[e + 1] - edge[e]) && e + (size_t)f->tooth < edges) {
      turn++;
      if (turn % 5 == 2) {
        f->removed_at[placed++] = edge[e + (size_t)f->tooth - 1];
      }
    }
  }
  assert_int_equal(placed, f->revolutions);
  free(x);
}

static void test_engine__a_tooth_lost_in_three_revolutions_is_counted(void **state) {
  (void)state;
  static const int tooth[] = {17, 40, 2, 57};
  for (size_t i = 0; i < GOOD; i += 4) {
    for (size_t k = 0; k < 4; k++) {
      plb_verdict *whole = engine_compare(good[i], reference);
      fault f = {.gain = 1.0, .revolutions = 3, .tooth = tooth[k], .good = whole};
      place_tooth(&f, i);
      plb_verdict *v = judge_fault(i, f);
      char name[32];
      snprintf(name, sizeof name, "tooth %d", tooth[k]);
      assert_int_equal(v->word, PLB_DEPARTS);
      const plb_finding *lost = find(v, name, "missing");
      assert_non_null(lost);
      assert_ptr_equal(lost, &v->finding[0]);
      assert_int_equal(lost->count, 3);
      assert_int_equal(lost->of, whole->cycles.found);
      assert_true(lost->pattern == PLB_INTERMITTENT || lost->pattern == PLB_RECURRING);
      plb_verdict_free(v);
      plb_verdict_free(whole);
    }
  }
}

/* Every fourth sample of a good capture: what looks like noise and lag is the recording's. */
static void test_engine__thinly_recorded_is_no_fault(void **state) {
  (void)state;
  for (size_t i = 1; i < GOOD; i += 6) {
    const size_t n = plb_capture_samples(good[i]) / 4;
    double *x = plb_capture_copy_values(good[i], 0);
    plb_capture *thin = plb_capture_new();
    plb_error err = PLB_ERROR_INIT;
    for (size_t k = 0; k < n; k++) {
      x[k] = x[4 * k];
    }
    thin->rate_hz = plb_capture_rate_hz(good[i]) / 4.0;
    assert_int_equal(plb_capture_add_real(thin, "crank", "V", x, n, &err), PLB_OK);
    plb_verdict *v = engine_compare(thin, reference);
    assert_true(v->word == PLB_AGREES || (v->word == PLB_UNJUDGED && has_reason(v, "sparse")));
    assert_int_equal(v->findings, 0);
    plb_verdict_free(v);
    plb_capture_free(thin);
    free(x);
  }
}

/* Cylinder pressure where the crank should be: another circuit, not another speed. */
static void test_engine__a_wrong_channel_has_no_speed(void **state) {
  (void)state;
  plb_capture *c = engine_read("setup-one/half-4.txt", "crank=3:V");
  plb_verdict *v = engine_compare(c, reference);
  assert_int_not_equal(v->word, PLB_AGREES);
  assert_false(has_reason(v, "speed-outside"));
  assert_null(strstr(v->sentence, "speed"));
  plb_verdict_free(v);
  plb_capture_free(c);
}

static void test_engine__one_recording_counts_once(void **state) {
  (void)state;
  plb_good list[4] = {{good[0], NULL, NULL}, {good[1], NULL, NULL}, {good[2], NULL, NULL}, {good[0], NULL, NULL}};
  plb_learn_options options = PLB_LEARN_OPTIONS_INIT;
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  options.type = "crank-inductive";
  options.name = "bench/60-2";
  assert_int_equal(plb_cycle_spec_parse("wheel:teeth=60,missing=2", &options.cycle, &err), PLB_OK);
  assert_int_equal(plb_learn(&r, NULL, list, 4, &options, &err), PLB_EDATA);
  assert_non_null(strstr(err.message, "the same recording"));
}

int main(void) {
  if (engine_folder()[0] == '\0') {
    printf("skipped: the real engine captures are not here (set PLUMBLINE_TEST_DATA)\n");
    return 77;
  }
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_engine__the_other_good_captures_agree),
      cmocka_unit_test(test_engine__the_damaged_wheel_departs_at_tooth_1_in_every_revolution),
      cmocka_unit_test(test_engine__silence_is_no_verdict),
      cmocka_unit_test(test_engine__coasting_is_outside_the_speed_and_nothing_else),
      cmocka_unit_test(test_engine__random_halves_keep_the_promise),
      cmocka_unit_test(test_engine__weak_departs_low),
      cmocka_unit_test(test_engine__raised_departs_high),
      cmocka_unit_test(test_engine__noise_departs_noisy),
      cmocka_unit_test(test_engine__inverted_is_a_lead),
      cmocka_unit_test(test_engine__ten_times_is_a_factor),
      cmocka_unit_test(test_engine__a_tenth_with_its_usual_noise_departs_low),
      cmocka_unit_test(test_engine__a_tooth_lost_in_three_revolutions_is_counted),
      cmocka_unit_test(test_engine__thinly_recorded_is_no_fault),
      cmocka_unit_test(test_engine__a_wrong_channel_has_no_speed),
      cmocka_unit_test(test_engine__one_recording_counts_once),
  };
  return cmocka_run_group_tests(tests, set_up, tear_down);
}
