/*
 * References that a standard sets: a signal in the middle of every limit matches; one value just outside a limit does not. The limits are
 * those of ISO 11898-2, ISO 17987-4, SAE J2716 and of current-type wheel speed sensors as data sheets give them (VERIFIED second-hand),
 * repeated here as numbers so that a slip in a sheet is seen. SENT checksums: VERIFIED and COMPUTED pairs of nibbles and checksum.
 */
#include "tests/core/cmocka_all.h"
#include "capture/capture.h"
#include "model/model.h"
#include "model/physics.h"
#include "reference/model.h"
#include <math.h>
#include <stdio.h>
#include <plumbline/compare.h>
#include <stdlib.h>
#include <string.h>

enum { SAMPLES = 40000 };

/* Levels of one channel: low, high [V]. */
typedef struct levels {
  const char *role;
  double low, high;
  bool inverted; /* rests high, as CAN low does */
} levels;

/* A recorder's noise of a few steps, other for each channel. */
static double grain(const levels *l, size_t i) { return 1e-3 * (double)((i * 7919 + (l->inverted ? 3 : 0) * i * i) % 5) - 2e-3; }

/* Bits of a fixed pattern with one, two and three equal ones, `per` samples each. */
static double *draw(const levels *l, size_t per) {
  static const char pattern[] = "0110100010110111001010011";
  double *x = plb_calloc(SAMPLES, sizeof *x);
  assert_non_null(x);
  for (size_t i = 0; i < SAMPLES; i++) {
    const bool high = (pattern[(i / per) % (sizeof pattern - 1)] == '1') != l->inverted;
    x[i] = (high ? l->high : l->low) + grain(l, i);
  }
  return x;
}

/* A SENT line: 56 ticks of calibration, eight nibbles, five ticks low at each start, then a pause. */
static double *draw_sent(const levels *l, double tick_samples) {
  static const int ticks[] = {56, 12, 17, 15, 26, 17, 15, 26, 27, 60}; /* status 0, data 5 3 14 5 3 14, checksum 15 */
  double *x = plb_calloc(SAMPLES, sizeof *x);
  assert_non_null(x);
  double start = 0;
  for (size_t k = 0, i = 0; i < SAMPLES; k = (k + 1) % 10) {
    const double end = start + ticks[k] * tick_samples;
    for (; i < SAMPLES && (double)i < end; i++)
      x[i] = ((double)i < start + 5 * tick_samples ? l->low : l->high) + grain(l, i);
    start = end;
  }
  return x;
}

static plb_word judge(const char *name, double rate_hz, const levels *l, size_t count, double tick_s, const char *condition) {
  char path[1024];
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = NULL;
  plb_verdict *v = NULL;
  plb_stated stated;
  snprintf(path, sizeof path, PLB_SOURCE_DIR "/refs/references/%s/0001.xml", name);
  plb_capture *c = plb_capture_new();
  c->rate_hz = rate_hz;
  c->samples = SAMPLES;
  for (size_t k = 0; k < count; k++) {
    double *x = tick_s > 0 ? draw_sent(&l[k], tick_s * rate_hz) : draw(&l[k], 20);
    assert_int_equal(plb_capture_add_real(c, l[k].role, "V", x, SAMPLES, &err), PLB_OK);
    free(x);
  }
  if (plb_reference_read(&r, path, &err) != PLB_OK)
    fail_msg("%s: %s", path, err.message);
  plb_compare_options options = PLB_COMPARE_OPTIONS_INIT;
  if (condition) {
    assert_int_equal(plb_stated_parse(condition, &stated, &err), PLB_OK);
    options.stated = &stated;
    options.stated_count = 1;
  }
  if (plb_compare(&v, c, r, &options, &err) != PLB_OK)
    fail_msg("%s", err.message);
  const plb_word word = v->word;
  if (word == PLB_UNJUDGED)
    printf("%s: %s\n", name, v->sentence);
  if (getenv("PLUMBLINE_SHOW"))
    for (size_t i = 0; i < v->readings; i++)
      printf("  %s %s: %g %s, %g to %g, %s\n", v->reading[i].channel, v->reading[i].name, v->reading[i].value, v->reading[i].unit,
             v->reading[i].low, v->reading[i].high, plb_word_plain(v->reading[i].status));
  plb_verdict_free(v);
  plb_reference_free(r);
  plb_capture_free(c);
  return word;
}

static plb_word can(double high_dominant, double high_recessive, double low_dominant, double low_recessive) {
  const levels l[] = {{"can-high", high_recessive, high_dominant, false}, {"can-low", low_dominant, low_recessive, true}};
  return judge("can-pair/iso-11898-2", 10e6, l, 2, 0, NULL);
}

static void test_refs_standard__can_levels(void **state) {
  (void)state;
  assert_int_equal(can(3.5, 2.5, 1.5, 2.5), PLB_AGREES);
  assert_int_equal(can(2.6, 2.5, 0.8, 2.5), PLB_DEPARTS);  /* CAN high below 2.75 */
  assert_int_equal(can(4.65, 2.5, 2.2, 2.5), PLB_DEPARTS); /* above 4.5 */
  assert_int_equal(can(2.9, 2.5, 0.35, 2.5), PLB_DEPARTS); /* CAN low below 0.5 */
  assert_int_equal(can(4.4, 2.5, 2.4, 2.5), PLB_DEPARTS);  /* above 2.25 */
  assert_int_equal(can(3.5, 1.85, 1.5, 1.85), PLB_DEPARTS); /* recessive below 2 */
  assert_int_equal(can(3.5, 3.15, 1.5, 3.15), PLB_DEPARTS); /* above 3 */
  assert_int_equal(can(2.9, 2.5, 1.6, 2.5), PLB_DEPARTS);  /* 1.3 V apart */
  assert_int_equal(can(4.2, 2.5, 1.0, 2.5), PLB_DEPARTS);  /* 3.2 V apart */
  assert_int_equal(can(3.5, 2.7, 1.5, 2.5), PLB_DEPARTS);  /* 0.2 V apart when recessive */
}

static plb_word lin(double low, double high) {
  const levels l = {"lin", low, high, true};
  return judge("lin/iso-17987-4", 400e3, &l, 1, 0, "supply=12V");
}

static void test_refs_standard__lin_levels_in_shares_of_the_supply(void **state) {
  (void)state;
  assert_int_equal(lin(1.2, 11.5), PLB_AGREES);
  assert_int_equal(lin(1.2, 6.9), PLB_DEPARTS);  /* 57.5 % */
  assert_int_equal(lin(5.1, 11.5), PLB_DEPARTS); /* 42.5 % */
}

static plb_word sent(double low, double high, double tick_s) {
  const levels l = {"sent", low, high, false};
  return judge("sent/sae-j2716", 2e6, &l, 1, tick_s, NULL);
}

static void test_refs_standard__sent_levels_and_tick(void **state) {
  (void)state;
  assert_int_equal(sent(0.1, 4.8, 3e-6), PLB_AGREES);
  assert_int_equal(sent(0.6, 4.8, 3e-6), PLB_DEPARTS);
  assert_int_equal(sent(0.1, 4.0, 3e-6), PLB_DEPARTS);
  assert_int_equal(sent(0.1, 4.8, 2.6e-6), PLB_DEPARTS);
}

static plb_word wheel(double low, double high) {
  const levels l = {"wheel-speed", low, high, false};
  return judge("wheel-speed-current/data-sheet-levels", 50e3, &l, 1, 0, NULL);
}

static void test_refs_standard__wheel_speed_current_levels(void **state) {
  (void)state;
  assert_int_equal(wheel(0.70, 1.40), PLB_AGREES);
  assert_int_equal(wheel(0.55, 1.40), PLB_DEPARTS);
  assert_int_equal(wheel(0.88, 1.40), PLB_DEPARTS);
  assert_int_equal(wheel(0.70, 1.14), PLB_DEPARTS);
  assert_int_equal(wheel(0.70, 1.72), PLB_DEPARTS);
}

/* ---- SENT frames, decoded by the spacing of falling edges alone, as SAE J2716 sends them ---- */

typedef struct decoded {
  unsigned frames, right; /* checksums */
  uint8_t nibble[8];      /* of the last frame: status, six of data, checksum */
} decoded;

/* Samples between falling passages of 2.5 V, interpolated. @return how many spacings */
static size_t spacings(const double *x, size_t n, double *out, size_t room) {
  double last = NAN;
  size_t count = 0;
  for (size_t i = 1; i < n && count < room; i++)
    if (x[i - 1] >= 2.5 && x[i] < 2.5) {
      const double at = (double)i - (2.5 - x[i]) / (x[i - 1] - x[i]);
      if (isfinite(last))
        out[count++] = at - last;
      last = at;
    }
  return count;
}

static decoded decode_sent(const double *x, size_t n) {
  enum { ROOM = 8192 };
  static double gap[ROOM];
  decoded d = {0};
  const size_t count = spacings(x, n, gap, ROOM);
  for (size_t k = 0; k + 8 < count; k++) {
    const double tick = gap[k] / 56.0;
    uint8_t nibble[8];
    bool whole = true;
    for (size_t j = 0; j < 8 && whole; j++) {
      const double ticks = gap[k + 1 + j] / tick;
      whole = ticks > 11.5 && ticks < 27.5;
      nibble[j] = whole ? (uint8_t)(lrint(ticks) - 12) : 0;
    }
    if (!whole)
      continue;
    d.frames++;
    d.right += nibble[7] == plb_sent_crc(nibble + 1, 6, true);
    memcpy(d.nibble, nibble, sizeof nibble);
    k += 8;
  }
  return d;
}

static void test_refs_standard__sent_frames_with_published_checksums_decode(void **state) {
  (void)state;
  const levels l = {"sent", 0.1, 4.8, false};
  double *x = draw_sent(&l, 6);
  const decoded d = decode_sent(x, SAMPLES);
  free(x);
  assert_true(d.frames >= 10);
  assert_int_equal(d.right, d.frames);
  const uint8_t expected[] = {0, 5, 3, 14, 5, 3, 14, 15};
  assert_memory_equal(d.nibble, expected, sizeof expected);
  /* checksum pairs, legacy and recommended: VERIFIED table and polynomial, COMPUTED values */
  static const struct {
    uint8_t data[6], legacy, recommended;
  } pair[] = {{{0, 0, 0, 0, 0, 0}, 15, 5},    {{15, 15, 15, 15, 15, 15}, 3, 10}, {{5, 3, 14, 5, 3, 14}, 12, 15},
              {{7, 4, 8, 7, 4, 8}, 5, 3}, {{1, 2, 3, 4, 5, 6}, 13, 2}};
  for (size_t k = 0; k < sizeof pair / sizeof pair[0]; k++) {
    assert_int_equal(plb_sent_crc(pair[k].data, 6, false), pair[k].legacy);
    assert_int_equal(plb_sent_crc(pair[k].data, 6, true), pair[k].recommended);
  }
}

static decoded decode_model(const char *fault, double severity) {
  plb_error err = PLB_ERROR_INIT;
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  plb_capture *c = NULL;
  request.seed = 7700011;
  request.fault = fault;
  request.severity = severity;
  assert_int_equal(plb_model_draw(&c, plb_model_find("sent"), &request, NULL, &err), PLB_OK);
  double *x = plb_capture_copy_values(c, 0);
  assert_non_null(x);
  const decoded d = decode_sent(x, plb_capture_samples(c));
  free(x);
  plb_capture_free(c);
  return d;
}

static void test_refs_standard__modelled_sent_frames_decode_and_bad_checksums_show(void **state) {
  (void)state;
  const decoded good = decode_model(NULL, 0), bad = decode_model("bad-checksum", 1);
  printf("%u of %u frames right; with bad checksums %u of %u\n", good.right, good.frames, bad.right, bad.frames);
  assert_true(good.frames > 5);
  assert_int_equal(good.right, good.frames);
  assert_true(bad.frames > 5);
  assert_true(bad.right < bad.frames);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_refs_standard__can_levels),
      cmocka_unit_test(test_refs_standard__lin_levels_in_shares_of_the_supply),
      cmocka_unit_test(test_refs_standard__sent_levels_and_tick),
      cmocka_unit_test(test_refs_standard__wheel_speed_current_levels),
      cmocka_unit_test(test_refs_standard__sent_frames_with_published_checksums_decode),
      cmocka_unit_test(test_refs_standard__modelled_sent_frames_decode_and_bad_checksums_show),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
