/*
 * Signals that repeat (everything here is modelled) from something that turns at half to twice the usual speed. Shape and size do not follow the
 * speed here, so that nothing but the time changes; the recorder keeps its rate. Good captures over the range must not depart (but within 5 %
 * of the limit or a guard), full faults must.
 */
#include "tests/core/cmocka_all.h"
#include "model/model.h"
#include <math.h>
#include <plumbline/compare.h>
#include <plumbline/learn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EXEMPLARS = 16, GOODS = 3, FINE = 6 /* captures are drawn at so many times the rate, then played */ };
static const uint64_t taught_seed = 7100001, fresh_seed = 7200001;
static const double near_share = 0.05;
static const double slowest = 0.47, fastest = 2.14; /* of the usual speed, among the exemplars */

typedef struct subject {
  const char *family;
  const char *fault[3];
} subject;

/* What a recorder of the family's rate takes at so many times the drawn speed. */
static plb_capture *drive(const plb_model_family *f, uint64_t seed, const char *fault, double times) {
  plb_error err = PLB_ERROR_INIT;
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  plb_capture *source = NULL, *c = plb_capture_new();
  assert_non_null(c);
  request.seed = seed;
  request.fault = fault;
  request.severity = fault ? 1.0 : 0.0;
  request.rate_hz = FINE * f->rate_hz;
  request.duration_s = f->duration_s * fmax(1.0, times) + 0.01;
  if (plb_model_draw(&source, f, &request, NULL, &err) != PLB_OK)
    fail_msg("%s: %s", f->name, err.message);
  c->rate_hz = source->rate_hz / FINE;
  c->samples = (size_t)(f->duration_s * c->rate_hz);
  for (size_t k = 0; k < source->channels; k++) {
    plb_channel *to_channel = plb_capture_add_channel(c);
    assert_non_null(to_channel);
    memcpy(to_channel->role, source->channel[k].role, sizeof to_channel->role);
    memcpy(to_channel->unit, source->channel[k].unit, sizeof to_channel->unit);
    to_channel->samples = source->channel[k].samples;
    to_channel->samples.code = malloc(c->samples * sizeof *to_channel->samples.code);
    assert_non_null(to_channel->samples.code);
    double at = 0.0;
    for (size_t i = 0; i < c->samples; i++) {
      assert_true((size_t)at < source->samples);
      to_channel->samples.code[i] = source->channel[k].samples.code[(size_t)at];
      at += FINE * times;
    }
  }
  plb_capture_free(source);
  return c;
}

static plb_judge *learn(const plb_model_family *f, plb_reference **reference) {
  plb_error err = PLB_ERROR_INIT;
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  plb_good good[EXEMPLARS];
  char name[EXEMPLARS][16];
  plb_judge *out = NULL;
  for (int i = 0; i < EXEMPLARS; i++) {
    const double times = slowest * pow(fastest / slowest, (double)i / (EXEMPLARS - 1));
    snprintf(name[i], sizeof name[i], "good-%d", i);
    good[i] = (plb_good){drive(f, taught_seed + (uint64_t)i, NULL, times), NULL, name[i]};
  }
  o.type = f->type;
  o.name = "speed";
  o.provenance = PLB_MODELLED;
  assert_int_equal(plb_cycle_spec_parse(f->cycle, &o.cycle, &err), PLB_OK);
  if (plb_learn(reference, NULL, good, EXEMPLARS, &o, &err) != PLB_OK || plb_judge_new(&out, *reference, &err) != PLB_OK)
    fail_msg("%s: %s", f->name, err.message);
  for (int i = 0; i < EXEMPLARS; i++)
    plb_capture_free((plb_capture *)(uintptr_t)good[i].capture);
  return out;
}

static bool is_near(const plb_verdict *v) {
  return fabs(v->score / v->limit - 1.0) <= near_share || fabs(v->score / v->guard - 1.0) <= near_share ||
         fabs(v->score / v->guard_robust - 1.0) <= near_share;
}

/* One capture judged. @return departs (1), or not (0), or unjudged (-1); 2: near the limit or a guard */
static int judged(const plb_judge *by, const plb_model_family *f, uint64_t seed, const char *fault, double times) {
  plb_error err = PLB_ERROR_INIT;
  plb_compare_options o = PLB_COMPARE_OPTIONS_INIT;
  plb_verdict *v = NULL;
  plb_capture *c = drive(f, seed, fault, times);
  o.drawing = false;
  o.connected = true;
  if (plb_judge_capture(&v, by, c, &o, &err) != PLB_OK)
    fail_msg("%s", err.message);
  const int result = v->word == PLB_DEPARTS && !(is_near(v) && !fault) ? 1 : v->word == PLB_UNJUDGED ? -1 : is_near(v) ? 2 : 0;
  if (result != (fault ? 1 : 0) || v->word == PLB_BORDERLINE)
    printf("# %s %s, %.3g of the speed, seed %llu: %s %.2f (limit %.2f, guard %.2f): %s\n", f->name, fault ? fault : "good", times, (unsigned long long)seed, plb_word_name(v->word), v->score, v->limit, v->guard, v->sentence);
  plb_verdict_free(v);
  plb_capture_free(c);
  return result;
}

typedef struct tally {
  unsigned good, good_wrong, near, faults, faults_missed;
} tally;

static tally try_all(const plb_judge *by, const plb_model_family *f, const subject *s) {
  static const double at[] = {0.5, 0.75, 1.0, 1.4, 2.0};
  tally t = {0, 0, 0, 0, 0};
  for (size_t i = 0; i < sizeof at / sizeof *at; i++) {
    for (uint64_t k = 0; k < GOODS; k++, t.good++) {
      const int got = judged(by, f, fresh_seed + k, NULL, at[i]);
      t.good_wrong += got == 1 || got == -1;
      t.near += got == 2;
    }
    for (uint64_t k = 0; k < 3; k++, t.faults++)
      t.faults_missed += judged(by, f, fresh_seed + 10 + k, s->fault[k], at[i]) != 1;
  }
  return t;
}

static void check(const subject *s) {
  const plb_model_family *f = plb_model_find(s->family);
  plb_reference *reference = NULL;
  assert_non_null(f);
  plb_judge *by = learn(f, &reference);
  const tally t = try_all(by, f, s);
  plb_judge_free(by);
  plb_reference_free(reference);
  printf("# %s: of %u good %u depart or cannot be told, %u more near the limit; of %u faults %u not found\n", f->name, t.good, t.good_wrong,
         t.near, t.faults, t.faults_missed);
  assert_int_equal(t.good_wrong, 0);
  assert_int_equal(t.faults_missed, 0);
  assert_true(t.near * 10 <= t.good);
}

static void test_speed__manifold_pressure(void **state) {
  (void)state;
  check(&(const subject){"manifold-pressure-idle", {"air-leak", "biased-sensor", "poor-ground"}});
}

static void test_speed__fuel_pump(void **state) {
  (void)state;
  check(&(const subject){"fuel-pump-current", {"bad-bar", "worn-brushes", "drag"}});
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_speed__fuel_pump),
      cmocka_unit_test(test_speed__manifold_pressure),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
