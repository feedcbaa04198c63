/*
 * References set by a standard's limits, on signals whose levels and times are known by construction. Limits: ISO 11898-2 as transceiver data
 * sheets give them (CAN), 60/40 % of the supply (LIN receiver), tick 3 us (SENT frame of SAE J2716, 2nd-hand); VERIFIED (2nd-hand).
 */
#include "capture/capture.h"
#include "core/random.h"
#include "reference/model.h"
#include "tests/core/close.h"
#include <math.h>
#include <plumbline/compare.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a bus does; the levels are those of the two wires. */
typedef struct bus {
  double high_dominant, high_recessive, low_dominant, low_recessive;
  double bit_s;
} bus;

static const bus good = {3.5, 2.5, 1.5, 2.5, 2e-6};

enum { SAMPLES = 40000, RATE = 50000000, EDGE = 4 };

/* Frames of random bits, stuffed after five equal ones, edges of a few samples; codes of 1 mV. */
static plb_capture *draw_bus(const bus *b) {
  double *high = calloc(SAMPLES, sizeof *high), *low = calloc(SAMPLES, sizeof *low);
  plb_random r;
  plb_random_seed(&r, 7);
  int run = 0;
  bool dominant = false;
  double share = 0.0;
  size_t bit = SIZE_MAX;
  for (size_t i = 0; i < SAMPLES; i++) {
    const size_t now = (size_t)((double)i / RATE / b->bit_s);
    if (now != bit) {
      bit = now;
      const bool next = run >= 5 ? !dominant : plb_random_uniform(&r) < 0.5;
      run = next == dominant ? run + 1 : 1;
      dominant = next;
    }
    const double to = dominant ? 1.0 : 0.0;
    share = fabs(to - share) <= 1.0 / EDGE ? to : share + (to > share ? 1.0 : -1.0) / EDGE;
    high[i] = round(1e3 * (b->high_recessive + share * (b->high_dominant - b->high_recessive) + 0.001 * plb_random_normal(&r))) / 1e3;
    low[i] = round(1e3 * (b->low_recessive + share * (b->low_dominant - b->low_recessive) + 0.001 * plb_random_normal(&r))) / 1e3;
  }
  plb_capture *c = plb_capture_new();
  plb_error err = PLB_ERROR_INIT;
  assert_non_null(c);
  c->rate_hz = RATE;
  assert_int_equal(plb_capture_add_real(c, "can-high", "V", high, SAMPLES, &err), PLB_OK);
  assert_int_equal(plb_capture_add_real(c, "can-low", "V", low, SAMPLES, &err), PLB_OK);
  free(high);
  free(low);
  return c;
}

static plb_verdict *judge(const plb_reference *r, const plb_capture *c, const char *condition) {
  plb_compare_options o = PLB_COMPARE_OPTIONS_INIT;
  plb_stated stated;
  plb_verdict *v = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (condition != NULL) {
    assert_int_equal(plb_stated_parse(condition, &stated, &err), PLB_OK);
    o.stated = &stated;
    o.stated_count = 1;
  }
  if (plb_compare(&v, c, r, &o, &err) != PLB_OK) {
    fail_msg("%s", err.message);
  }
  return v;
}

static plb_verdict *judge_bus(const bus *b) {
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (plb_reference_read(&r, PLB_SOURCE_DIR "/tests/compare/data/can-pair-limits.xml", &err) != PLB_OK) {
    fail_msg("%zu: %s", (size_t)err.line, err.message);
  }
  plb_capture *c = draw_bus(b);
  plb_verdict *v = judge(r, c, NULL);
  plb_capture_free(c);
  plb_reference_free(r);
  return v;
}

static void test_standard__inside_every_limit_agrees(void **state) {
  (void)state;
  plb_verdict *v = judge_bus(&good);
  assert_int_equal(v->word, PLB_AGREES);
  assert_int_equal(v->readings, 6);
  for (size_t i = 0; i < v->readings; i++) {
    assert_int_equal(v->reading[i].status, PLB_AGREES);
    assert_true(v->reading[i].score < 1.0);
  }
  assert_true(v->score >= 0.0 && v->score < 1.0);
  assert_true(isnan(v->p_value) && isnan(v->promise) && isnan(v->guard) && isnan(v->limit));
  assert_non_null(strstr(v->sentence, "inside the limits of ISO 11898-2"));
  plb_verdict_free(v);
}

/* Each limit is passed by 40 mV, twice its uncertainty, then by 10 mV, half of it; the score is 1 + d / half the width. */
static void test_standard__just_outside_each_limit(void **state) {
  (void)state;
  static const struct {
    bus b; /* exactly on the limit; the recessive levels keep the sum inside its own */
    int which; /* level that goes on: 0 high dominant, 1 low dominant, 2 low recessive, 3 both recessive and dominant up, 4 down */
    double sign;
    const char *channel, *reading, *direction;
    double half;
  } row[] = {
      {{4.5, 2.4, 1.6, 2.4, 2e-6}, 0, 1, "can-high", "high-level", "high", 0.875},
      {{2.75, 2.6, 1.2, 2.6, 2e-6}, 0, -1, "can-high", "high-level", "low", 0.875},
      {{3.8, 2.4, 2.25, 2.4, 2e-6}, 1, 1, "can-low", "low-level", "high", 0.875},
      {{3.0, 2.85, 0.5, 2.85, 2e-6}, 1, -1, "can-low", "low-level", "low", 0.875},
      {{4.0, 2.5, 1.0, 2.5, 2e-6}, 0, 1, "can-high minus can-low", "high-level", "high", 0.75},
      {{3.25, 2.5, 1.75, 2.5, 2e-6}, 0, -1, "can-high minus can-low", "high-level", "low", 0.75},
      {{3.5, 2.5, 1.5, 2.488, 2e-6}, 2, -1, "can-high minus can-low", "low-level", "high", 0.066},
      {{3.5, 2.5, 1.5, 2.62, 2e-6}, 2, 1, "can-high minus can-low", "low-level", "low", 0.066},
  };
  for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
    for (int far = 0; far < 2; far++) {
      bus b = row[i].b;
      const double d = far ? 0.04 : 0.01;
      double *level = row[i].which == 0 ? &b.high_dominant : row[i].which == 1 ? &b.low_dominant : &b.low_recessive;
      *level += row[i].sign * d;
      plb_verdict *v = judge_bus(&b);
      const plb_reading_result *found = NULL;
      for (size_t k = 0; k < v->readings; k++) {
        if (strcmp(v->reading[k].channel, row[i].channel) == 0 && strcmp(v->reading[k].name, row[i].reading) == 0) {
          found = &v->reading[k];
        }
      }
      assert_non_null(found);
      if (found->status != (far ? PLB_DEPARTS : PLB_BORDERLINE)) {
        fail_msg("row %zu, %g beyond: %s, value %g", i, d, plb_word_name(found->status), found->value);
      }
      assert_int_equal(v->word, far ? PLB_DEPARTS : PLB_BORDERLINE);
      assert_string_equal(found->direction, row[i].direction);
      assert_true(fabs(found->score - (1.0 + d / row[i].half)) < 0.006 / row[i].half); /* levels are modes of a histogram: a few mV */
      assert_true(v->findings == 1);
      assert_non_null(strstr(v->finding[0].text, "by the limits of ISO 11898-2"));
      plb_verdict_free(v);
    }
  }
}

static void test_standard__symmetry_and_bit_time(void **state) {
  (void)state;
  bus b = {3.5, 2.5, 1.5, 2.5, 2e-6};
  b.high_dominant += 0.6;
  b.high_recessive += 0.6;
  b.low_dominant += 0.6;
  b.low_recessive += 0.6; /* both wires too high: only the sum sees it, 6.2 V */
  plb_verdict *v = judge_bus(&b);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_string_equal(v->finding[0].channel, "can-high plus can-low");
  plb_verdict_free(v);
  b = good;
  b.bit_s = 2.04e-6; /* 490 kbit/s */
  v = judge_bus(&b);
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_string_equal(v->finding[0].band, "bit-time");
  assert_true(fabs(v->finding[0].size - 2.04e-6) < 0.004e-6);
  plb_verdict_free(v);
}

static plb_reference *one_channel(const char *role, const plb_reading_limit *limit, size_t limits) {
  plb_reference *r = plb_reference_new();
  assert_non_null(r);
  r->provenance = PLB_STANDARD;
  plb_text_copy(r->type, sizeof r->type, "bus");
  plb_text_copy(r->name, sizeof r->name, "bus/limits");
  r->channels = 1;
  r->channel = plb_calloc(1, sizeof *r->channel);
  plb_text_copy(r->channel[0].role, sizeof r->channel[0].role, role);
  plb_text_copy(r->channel[0].unit, sizeof r->channel[0].unit, "V");
  r->choice.spec.kind = PLB_CYCLE_STEADY;
  r->choice.grid = 64;
  r->readings = limits;
  r->reading = plb_calloc(limits, sizeof *r->reading);
  memcpy(r->reading, limit, limits * sizeof *limit);
  return r;
}

static plb_capture *one_trace(const char *role, const double *x, size_t n, double rate_hz) {
  plb_capture *c = plb_capture_new();
  plb_error err = PLB_ERROR_INIT;
  c->rate_hz = rate_hz;
  assert_int_equal(plb_capture_add_real(c, role, "V", x, n, &err), PLB_OK);
  return c;
}

/* Shares of the supply are judged only when the supply is known, and never in fixed volts. */
static void test_standard__shares_of_the_supply(void **state) {
  (void)state;
  const plb_reading_limit limit[] = {
      {.name = "high-level", .channel = "lin", .low = 60, .high = NAN, .of_supply = true},
      {.name = "low-level", .channel = "lin", .low = NAN, .high = 40, .of_supply = true},
  };
  enum { N = 20000 };
  static double x[N];
  for (size_t i = 0; i < N; i++) {
    x[i] = (i / 100) % 2 == 0 ? 9.0 : 1.0;
  }
  plb_reference *r = one_channel("lin", limit, 2);
  plb_capture *c = one_trace("lin", x, N, 1e6);
  plb_verdict *v = judge(r, c, NULL);
  assert_int_equal(v->word, PLB_UNJUDGED);
  assert_true(v->condition_notes > 0 && strstr(v->condition_note[0], "supply is not known") != NULL);
  plb_verdict_free(v);
  v = judge(r, c, "supply=12V");
  assert_int_equal(v->word, PLB_AGREES);
  plb_verdict_free(v);
  v = judge(r, c, "supply=16V"); /* 9 V are 56 % of it */
  assert_int_equal(v->word, PLB_DEPARTS);
  assert_true(fabs(v->finding[0].size - 56.25) < 0.5);
  plb_verdict_free(v);
  plb_capture_free(c);
  plb_reference_free(r);
}

/* Frames of a calibration pulse of 56 ticks, a status and six data nibbles and a check nibble of 12 + value ticks, each beginning with 5 low ticks. */
static void test_standard__tick_of_nibbles(void **state) {
  (void)state;
  enum { N = 60000 };
  static const int ticks[] = {56, 12, 17, 15, 26, 17, 15, 26, 27};
  static double x[N];
  const double rate_hz = 5e6, tick_s = 3.3e-6;
  double at = 0;
  for (size_t i = 0, k = 0; i < N; i++) {
    while ((double)i / rate_hz >= at + ticks[k % 9] * tick_s) {
      at += ticks[k++ % 9] * tick_s;
    }
    x[i] = (double)i / rate_hz < at + 5 * tick_s ? 0.2 : 4.6;
  }
  plb_reading_limit limit = {.name = "sent-tick", .channel = "sent", .unit = "us", .low = 2.4, .high = 3.6}; /* 3 us with 20 per cent */
  plb_reference *r = one_channel("sent", &limit, 1);
  plb_capture *c = one_trace("sent", x, N, rate_hz);
  plb_verdict *v = judge(r, c, NULL);
  assert_int_equal(v->word, PLB_AGREES);
  assert_true(fabs(v->reading[0].value - 3.3) < 0.005);
  plb_verdict_free(v);
  r->reading[0].high = 3.2;
  v = judge(r, c, NULL);
  assert_int_equal(v->word, PLB_DEPARTS);
  plb_verdict_free(v);
  plb_capture_free(c);
  plb_reference_free(r);
}

static void test_standard__no_signal_cannot_be_judged(void **state) {
  (void)state;
  plb_reading_limit limit = {.name = "high-level", .channel = "bus", .unit = "V", .low = 1, .high = 2};
  static double x[1000];
  plb_reference *r = one_channel("bus", &limit, 1);
  plb_capture *c = one_trace("bus", x, 1000, 1e6);
  plb_verdict *v = judge(r, c, NULL);
  assert_int_equal(v->word, PLB_UNJUDGED);
  assert_true(v->reasons > 0 || v->fitnesses > 0);
  plb_verdict_free(v);
  r->reading[0].low = r->reading[0].high = NAN;
  plb_error err = PLB_ERROR_INIT;
  plb_judge *j = NULL;
  assert_int_equal(plb_judge_new(&j, r, &err), PLB_EDATA);
  plb_capture_free(c);
  plb_reference_free(r);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_standard__inside_every_limit_agrees),     cmocka_unit_test(test_standard__just_outside_each_limit),
      cmocka_unit_test(test_standard__symmetry_and_bit_time),         cmocka_unit_test(test_standard__shares_of_the_supply),
      cmocka_unit_test(test_standard__tick_of_nibbles),               cmocka_unit_test(test_standard__no_signal_cannot_be_judged),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
