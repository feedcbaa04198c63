/* Frequency bands: levels of signals whose spectra are known by construction, and what is said of hash and of ripple. */
#include "capture/capture.h"
#include "core/random.h"
#include "compare/judge.h"
#include "tests/core/close.h"
#include <math.h>
#include <plumbline/learn.h>
#include <stdlib.h>
#include <string.h>

enum { GOOD = 8, SAMPLES = 40000 };
static const double two_pi = 6.283185307179586;

typedef struct wave {
  double hz, size, noise, tone_hz, tone, rate_hz;
  uint64_t seed;
} wave;
static const wave usual = {50.0, 1.0, 0.002, 3017.0, 0.0, 20e3, 1};

static plb_capture *draw(const wave *w) {
  static double x[SAMPLES];
  plb_random r;
  plb_error err = PLB_ERROR_INIT;
  plb_random_seed(&r, w->seed);
  for (size_t i = 0; i < SAMPLES; i++) {
    const double t = (double)i / w->rate_hz;
    x[i] = w->size * (sin(two_pi * w->hz * t) + 0.4 * sin(2.0 * two_pi * w->hz * t + 0.5)) + w->tone * sin(two_pi * w->tone_hz * t) +
           w->noise * plb_random_normal(&r);
  }
  plb_capture *c = plb_capture_new();
  assert_non_null(c);
  c->rate_hz = w->rate_hz;
  plb_text_print(c->path, sizeof c->path, "made-%llu.csv", (unsigned long long)w->seed);
  assert_int_equal(plb_capture_add_real(c, "wave", "V", x, SAMPLES, &err), PLB_OK);
  return c;
}

static plb_reference *learn(const wave *w, const char *cycle, plb_frequency_bands bands) {
  plb_good good[GOOD] = {{0}};
  plb_capture *c[GOOD];
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  o.type = "test";
  o.name = "bench/bands";
  o.frequency = bands;
  assert_int_equal(plb_cycle_spec_parse(cycle, &o.cycle, &err), PLB_OK);
  for (size_t i = 0; i < GOOD; i++) {
    wave one = *w;
    one.seed = 10 + i;
    one.hz *= 1.0 + 0.004 * (double)((i * 3) % 7);
    one.size *= 1.0 + 0.01 * (double)((i * 5) % 7);
    c[i] = draw(&one);
    good[i].capture = c[i];
  }
  if (plb_learn(&r, NULL, good, GOOD, &o, &err) != PLB_OK) {
    fail_msg("%s", err.message);
  }
  for (size_t i = 0; i < GOOD; i++) {
    plb_capture_free(c[i]);
  }
  return r;
}

static plb_verdict *judge(const plb_reference *r, const wave *w) {
  plb_verdict *v = NULL;
  plb_error err = PLB_ERROR_INIT;
  plb_capture *c = draw(w);
  if (plb_compare(&v, c, r, NULL, &err) != PLB_OK) {
    fail_msg("%s", err.message);
  }
  plb_capture_free(c);
  return v;
}

static const plb_band *band_of(const plb_reference *r, const char *name) {
  for (size_t b = 0; b < r->bands; b++) {
    if (strcmp(r->band[b].name, name) == 0) {
      return &r->band[b];
    }
  }
  return NULL;
}

static const plb_finding *frequency_finding(const plb_verdict *v) {
  for (size_t i = 0; i < v->findings; i++) {
    if (v->finding[i].kind == PLB_FINDING_FREQUENCY) {
      return &v->finding[i];
    }
  }
  return NULL;
}

/*
 * White noise of deviation s has the density 2 s^2 / rate: a band of width B holds 2 s^2 B / rate (COMPUTED). Edges of IEC 61260-1, base ten, from
 * CHECK-VALUES: 1 kHz octave 707.9458 to 1412.5375 Hz (VERIFIED, 2nd-hand).
 */
static void test_frequency__noise_of_known_density(void **state) {
  (void)state;
  wave w = usual;
  w.noise = 0.05;
  plb_reference *r = learn(&w, "repeat", PLB_FREQUENCY_AUTO);
  const plb_band *b = band_of(r, "octave 1 kHz");
  assert_non_null(b);
  assert_true(b->residual);
  assert_true(fabs(b->from - 707.9458) < 1e-3 && fabs(b->to - 1412.5375) < 1e-3);
  /* the median over 100 cycles takes 1.57 / 100 of the noise into itself, and the gain of the whole differs by some per cent */
  assert_true(fabs(b->level - 10.0 * log10(2.0 * 0.05 * 0.05 * (b->to - b->from) / 20e3)) < 0.3);
  assert_true(band_of(r, "octave 8 kHz") == NULL); /* ends at 11.2 kHz, above 0.4 of the rate */
  assert_non_null(band_of(r, "octave 4 kHz"));
  plb_reference_free(r);
}

/* A sine of amplitude a in a band: 10 lg(a^2 / 2). */
static void test_frequency__sine_in_its_band(void **state) {
  (void)state;
  wave w = usual;
  w.tone = 0.02;
  plb_reference *r = learn(&w, "repeat", PLB_FREQUENCY_THIRDS); /* 3,017 Hz is no multiple of any of the cycles: it is left over */
  const plb_band *b = band_of(r, "third 3.15 kHz");
  assert_non_null(b);
  assert_true(fabs(b->level - 10.0 * log10(0.02 * 0.02 / 2.0)) < 0.3);
  assert_true(band_of(r, "third 2 kHz")->level < b->level - 12.0);
  plb_reference_free(r);
}

static void test_frequency__hash_is_found_and_named(void **state) {
  (void)state;
  plb_reference *r = learn(&usual, "repeat", PLB_FREQUENCY_AUTO);
  wave w = usual;
  w.seed = 90;
  plb_verdict *v = judge(r, &w);
  assert_int_equal(v->word, PLB_AGREES);
  size_t bands = 0;
  for (size_t i = 0; i < v->bands; i++) {
    bands += strcmp(v->band[i].domain, "frequency") == 0 && strcmp(v->band[i].unit, "Hz") == 0;
  }
  assert_true(bands >= 4);
  plb_verdict_free(v);
  w.tone = 0.02; /* about a fiftieth of the swing, in one octave */
  v = judge(r, &w);
  assert_int_equal(v->word, PLB_DEPARTS);
  const plb_finding *f = frequency_finding(v);
  assert_non_null(f);
  assert_string_equal(f->direction, "noisy");
  assert_string_equal(f->band, "octave 4 kHz"); /* 2.8 to 5.6 kHz holds 3,017 Hz */
  /* noise of 0.002 V holds 2 * 4e-6 * 2805 / 20e3 there, and half a thousandth of the swing is added: the tone is that much above */
  assert_true(f->size > 15.0);
  assert_non_null(strstr(f->text, "above the good captures"));
  plb_verdict_free(v);
  plb_reference_free(r);
}

static void test_frequency__other_rates_compare_what_both_have(void **state) {
  (void)state;
  plb_reference *r = learn(&usual, "repeat", PLB_FREQUENCY_AUTO);
  wave w = usual;
  w.seed = 91;
  w.rate_hz = 15e3; /* 4 kHz octave ends at 5.6 kHz, below 0.4 of it; 12 kHz would be too few */
  plb_verdict *v = judge(r, &w);
  assert_true(v->word == PLB_AGREES || v->word == PLB_BORDERLINE);
  plb_verdict_free(v);
  w.rate_hz = 13e3;
  v = judge(r, &w);
  bool unjudged = false;
  for (size_t i = 0; i < v->bands; i++) {
    unjudged = unjudged || (strcmp(v->band[i].name, "octave 4 kHz") == 0 && v->band[i].status == PLB_UNJUDGED);
  }
  assert_true(unjudged);
  plb_verdict_free(v);
  plb_reference_free(r);
}

static void test_frequency__an_order_that_is_missing(void **state) {
  (void)state;
  wave w = usual;
  w.tone_hz = 200.0;
  plb_reference *r = learn(&w, "repeat", PLB_FREQUENCY_ORDERS);
  const plb_band *two = band_of(r, "order 2");
  assert_non_null(two);
  assert_int_equal(two->domain, PLB_BAND_ORDER);
  assert_true(fabs(two->level - 10.0 * log10(0.4 * 0.4 / 2.0)) < 0.6); /* the captures' sizes differ by 0 to 6 per cent */
  assert_true(fabs(band_of(r, "order 1")->level - 10.0 * log10(0.5)) < 0.6);
  plb_reference_free(r);
}

static void test_frequency__none_when_not_wanted(void **state) {
  (void)state;
  plb_reference *r = learn(&usual, "repeat", PLB_FREQUENCY_NONE);
  assert_int_equal(plb_reference_levels(r), 0);
  plb_reference_free(r);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_frequency__noise_of_known_density),           cmocka_unit_test(test_frequency__sine_in_its_band),
      cmocka_unit_test(test_frequency__hash_is_found_and_named),          cmocka_unit_test(test_frequency__other_rates_compare_what_both_have),
      cmocka_unit_test(test_frequency__an_order_that_is_missing),         cmocka_unit_test(test_frequency__none_when_not_wanted),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
