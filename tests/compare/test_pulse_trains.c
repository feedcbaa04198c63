/* Pulses that begin with an edge, from capture to words: lost ones, half-size ones, edges that lie anywhere between two samples. Modelled here. */
#include "capture/capture.h"
#include "core/random.h"
#include "population.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { GOOD = 8 };

typedef struct train {
  double rate_hz, period_s, duty; /* of the recording; of the pulses */
  double duration_s, amplitude, start_s;
  double jitter_samples;     /* each edge lies up to so far from where it should */
  unsigned lost_first, lost; /* pulses that do not come */
  double noise, edge_s;
  uint64_t seed;
} train;

static double pulse_at(const train *m, plb_random *r, double t, double on, double off) {
  (void)r;
  const double up = (t - on) / m->edge_s, down = (t - off) / m->edge_s;
  return fmin(1.0, fmax(0.0, up + 0.5)) - fmin(1.0, fmax(0.0, down + 0.5));
}

static plb_capture *draw(const train *m) {
  const size_t n = (size_t)(m->duration_s * m->rate_hz);
  double *x = calloc(n, sizeof *x);
  plb_random r;
  plb_error err = PLB_ERROR_INIT;
  plb_random_seed(&r, m->seed);
  assert_non_null(x);
  const double dither = m->jitter_samples / m->rate_hz;
  const size_t pulses = (size_t)(m->duration_s / m->period_s);
  for (size_t k = 0; k <= pulses; k++) {
    if (k >= m->lost_first && k < m->lost_first + m->lost)
      continue;
    const double on = m->start_s + (double)k * m->period_s + dither * (2.0 * plb_random_uniform(&r) - 1.0);
    const double off = m->start_s + ((double)k + m->duty) * m->period_s + dither * (2.0 * plb_random_uniform(&r) - 1.0);
    const size_t first = (size_t)fmax(0.0, floor((on - 2.0 * m->edge_s) * m->rate_hz));
    for (size_t i = first; i < n && (double)i / m->rate_hz < off + 2.0 * m->edge_s; i++)
      x[i] += m->amplitude * pulse_at(m, &r, (double)i / m->rate_hz, on, off);
  }
  for (size_t i = 0; i < n; i++)
    x[i] += 0.2 + m->noise * plb_random_normal(&r);
  plb_capture *c = plb_capture_new();
  assert_non_null(c);
  c->rate_hz = m->rate_hz;
  snprintf(c->path, sizeof c->path, "train-%llu.csv", (unsigned long long)m->seed);
  assert_int_equal(plb_capture_add_real(c, "valve", "V", x, n, &err), PLB_OK);
  free(x);
  return c;
}

static const train USUAL = {.rate_hz = 50e3, .period_s = 0.01, .duty = 0.4, .duration_s = 0.5, .amplitude = 12.0, .start_s = 0.0123,
                            .noise = 0.03, .edge_s = 4e-6};

static plb_reference *learn(const train *m, const char *cycle, bool dutied) {
  plb_good good[GOOD] = {{0}};
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  o.type = "pwm-valve";
  o.name = "bench/train";
  assert_int_equal(plb_cycle_spec_parse(cycle, &o.cycle, &err), PLB_OK);
  plb_capture *c[GOOD];
  for (size_t i = 0; i < GOOD; i++) {
    train one = *m;
    one.seed = 10 + i;
    one.amplitude *= 1.0 + 0.004 * ((double)i - 3.5);
    one.duty *= dutied ? 0.6 + 0.1 * (double)i : 1.0;
    c[i] = draw(&one);
    good[i].capture = c[i];
  }
  if (plb_learn(&r, NULL, good, GOOD, &o, &err) != PLB_OK)
    fail_msg("%s", err.message);
  for (size_t i = 0; i < GOOD; i++)
    plb_capture_free(c[i]);
  return r;
}

static plb_verdict *judge(const plb_reference *r, const train *m) {
  plb_capture *c = draw(m);
  plb_verdict *v = population_judge(r, c, NULL, false);
  assert_non_null(v);
  plb_capture_free(c);
  return v;
}

static void test_pulse_trains__lost_pulses_are_counted_and_timed(void **state) {
  (void)state;
  plb_reference *r = learn(&USUAL, "edge:level=50%states,slope=rising", false);
  train m = USUAL;
  m.seed = 100;
  m.lost_first = 20;
  m.lost = 3;
  plb_verdict *v = judge(r, &m);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_true(v->findings > 0);
  if (!says_all(v->sentence, "3 pulses missing at 0.21"))
    fail_msg("%s", v->sentence);
  assert_int_equal(v->finding[0].pattern, PLB_INTERMITTENT);
  assert_int_equal(v->finding[0].count, 3);
  assert_string_equal(v->finding[0].direction, "missing");
  plb_verdict_free(v);
  plb_reference_free(r);
}

static void test_pulse_trains__edges_between_two_samples_are_healthy(void **state) {
  (void)state;
  plb_reference *r = learn(&USUAL, "edge", false); /* exactly 100 Hz: every edge of every good capture falls alike on the samples */
  for (uint64_t seed = 200; seed < 206; seed++) {
    train m = USUAL;
    m.seed = seed;
    m.start_s += 1e-6 * (double)(seed - 199) * 3.0;
    m.jitter_samples = 0.5;
    plb_verdict *v = judge(r, &m);
    if (v->word == PLB_DEPARTS)
      fail_msg("jitter of a sample: %s", v->sentence);
    plb_verdict_free(v);
  }
  plb_reference_free(r);
}

static void test_pulse_trains__half_the_amplitude_is_told_as_amplitude(void **state) {
  (void)state;
  plb_reference *r = learn(&USUAL, "edge:level=50%states", false);
  for (double share = 0.45; share < 0.6; share += 0.05) {
    train m = USUAL;
    m.seed = 300;
    m.amplitude *= share;
    plb_verdict *v = judge(r, &m);
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_true(v->findings > 0);
    assert_string_equal(v->finding[0].band, "amplitude");
    assert_string_equal(v->finding[0].direction, "low");
    assert_true(fabs(v->finding[0].size - share) < 0.03);
    plb_verdict_free(v);
  }
  plb_reference_free(r);
}

static void test_pulse_trains__a_duty_inside_the_good_range_is_normal(void **state) {
  (void)state;
  plb_reference *r = learn(&USUAL, "edge:level=50%states,slope=rising", true);
  for (double duty = 0.26; duty < 0.51; duty += 0.06) {
    train m = USUAL;
    m.seed = 400;
    m.duty = duty;
    plb_verdict *v = judge(r, &m);
    if (v->word != PLB_AGREES)
      fail_msg("duty %.2f: %s", duty, v->sentence);
    plb_verdict_free(v);
  }
  plb_reference_free(r);
}

/* Properties: what a recording is laid on must not change what is said, where the score is clear of the limits. */
static void test_pulse_trains__shift_and_rate_change_no_verdict(void **state) {
  (void)state;
  static const double rate[] = {50e3, 43e3, 71e3, 100e3}, shift[] = {0.0, 0.13, 0.37, 0.5, 0.81};
  plb_reference *r = learn(&USUAL, "edge:level=50%states,slope=rising", false);
  for (int faulty = 0; faulty < 2; faulty++)
    for (size_t k = 0; k < sizeof rate / sizeof rate[0]; k++)
      for (size_t s = 0; s < sizeof shift / sizeof shift[0]; s++) {
        train m = USUAL;
        m.seed = 500 + s;
        m.rate_hz = rate[k];
        m.start_s += shift[s] / rate[k];
        m.amplitude *= faulty ? 0.8 : 1.0;
        plb_verdict *v = judge(r, &m);
        if (v->word != (faulty ? PLB_DEPARTS : PLB_AGREES))
          fail_msg("%g Hz, shifted by %g of a sample: %s (score %g)", rate[k], shift[s], v->sentence, v->score);
        plb_verdict_free(v);
      }
  plb_reference_free(r);
}

/* A rate that no engine speed explains is the fault; even cycles at another speed are only another speed; a motor's own speed is a symptom. Models. */
static void test_pulse_trains__edges_that_no_speed_explains_are_a_fault(void **state) {
  (void)state;
  static const struct {
    const char *family, *fault, *says; /* no fault: a healthy one */
    double speed_per_min;
    uint64_t seed;
  } shown[] = {{"injector-voltage", "ignition-interference", "", 0.0, 77},
               {"injector-current", "ignition-interference", "edges come", 0.0, 700050000}, /* less than twice too often, but by leaps */
               {"injector-peak-hold", "joint", "", 0.0, 77},
               {"fuel-pump-current", "drag", "slow", 0.0, 77},
               {"injector-current", NULL, "speed outside", 1400.0, 77},
               {"injector-voltage", NULL, "speed outside", 2600.0, 77}};
  for (size_t k = 0; k < sizeof shown / sizeof *shown; k++) {
    plb_model_request q = PLB_MODEL_REQUEST_INIT;
    q.seed = shown[k].seed;
    q.fault = shown[k].fault;
    q.severity = shown[k].fault != NULL ? 1.0 : 0.0;
    q.speed_per_min = shown[k].speed_per_min;
    plb_reference *r = population_learn(&(lesson_plan){.family = shown[k].family});
    assert_non_null(r);
    plb_capture *c = population_draw(shown[k].family, &q);
    plb_verdict *v = population_judge(r, c, NULL, true);
    population_print(shown[k].fault != NULL ? shown[k].fault : "another speed", v);
    assert_int_equal(v->word, shown[k].fault != NULL ? PLB_DEPARTS : PLB_UNJUDGED);
    assert_true(strstr(v->sentence, shown[k].says) != NULL);
    assert_int_equal(population_reason(v, "speed-outside") != NULL, shown[k].fault == NULL);
    plb_verdict_free(v);
    plb_capture_free(c);
    plb_reference_free(r);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_pulse_trains__lost_pulses_are_counted_and_timed),
      cmocka_unit_test(test_pulse_trains__edges_between_two_samples_are_healthy),
      cmocka_unit_test(test_pulse_trains__half_the_amplitude_is_told_as_amplitude),
      cmocka_unit_test(test_pulse_trains__shift_and_rate_change_no_verdict),
      cmocka_unit_test(test_pulse_trains__a_duty_inside_the_good_range_is_normal),
      cmocka_unit_test(test_pulse_trains__edges_that_no_speed_explains_are_a_fault),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
