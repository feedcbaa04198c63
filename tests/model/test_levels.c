/*
 * Signals of the standards: the drawn captures must keep the published levels and times, and decode. The decoders
 * here are the test's own and read nothing but samples.
 */
#include "model_test.h"

#include "model/physics.h"

/* Median of the samples that `select` keeps: levels without edges. */
static int compare_double(const void *a, const void *b) {
  const double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

static double level_between(const double *x, size_t n, double low, double high) {
  double *kept = malloc(n * sizeof *kept);
  assert_non_null(kept);
  size_t m = 0;
  for (size_t i = 0; i < n; i++)
    if (x[i] >= low && x[i] < high)
      kept[m++] = x[i];
  assert_true(m > 100);
  qsort(kept, m, sizeof *kept, compare_double);
  const double middle = kept[m / 2];
  free(kept);
  return middle;
}

/* ISO 11898-2 driver limits, VERIFIED (2nd-hand, data sheets): dominant high 2.75..4.5 V, low 0.5..2.25 V, between
 * them 1.5..3.0 V; recessive 2.0..3.0 V, -0.12..+0.012 V between them; a receiver calls 0.9 V and more dominant, 0.5
 * V and less recessive. */
static void check_can(const double *high, const double *low, size_t n, double dominant_least, double dominant_most) {
  double *between = malloc(n * sizeof *between);
  assert_non_null(between);
  for (size_t i = 0; i < n; i++)
    between[i] = high[i] - low[i];
  const double dominant = level_between(between, n, 0.9, 9.0), recessive = level_between(between, n, -9.0, 0.5);
  assert_true(dominant >= dominant_least && dominant <= dominant_most);
  assert_near(recessive, 0.0, 0.05, "recessive difference");
  size_t undefined = 0;
  for (size_t i = 0; i < n; i++)
    undefined += between[i] > 0.5 && between[i] < 0.9;
  assert_true(undefined < n / 50);
  free(between);
}

static void test_levels__can(void **state) {
  (void)state;
  for (uint64_t seed = 1; seed <= 8; seed++) {
    plb_capture *capture = must_draw("can-pair", seed, NULL, 0);
    double *high = must_copy(capture, 0), *low = must_copy(capture, 1);
    check_can(high, low, capture->samples, 1.5, 3.0);
    const double high_v = level_between(high, capture->samples, 3.0, 9.0),
                 low_v = level_between(low, capture->samples, -1.0, 2.0);
    assert_true(high_v >= 2.75 && high_v <= 4.5 && low_v >= 0.5 && low_v <= 2.25);
    assert_near(level_between(high, capture->samples, 2.0, 2.75), 2.5, 0.12, "recessive");
    free(high);
    free(low);
    plb_capture_free(capture);
  }
}

/* One bit at 500 kbit/s is 2.000 us (COMPUTED): sampled in the middle of each bit after the start's edge, the frame
 * must come out with its checksum right and its acknowledge bit taller than the rest. */
static size_t read_frame(const double *between, size_t start, double per_bit, uint8_t *bit, double *level,
                         size_t most) {
  size_t n = 0, k = 0;
  int run = 0;
  uint8_t last = 2;
  while (n < most) {
    const size_t at = start + (size_t)(((double)k++ + 0.6) * per_bit);
    const uint8_t now = between[at] < 0.9;
    if (run == 5) { /* a stuff bit */
      run = 1;
      last = now;
      continue;
    }
    run = now == last ? run + 1 : 1;
    last = now;
    level[n] = between[at];
    bit[n++] = now;
    if (n >= 19) {
      const size_t bytes = (size_t)bit[15] * 8 + bit[16] * 4u + bit[17] * 2u + bit[18];
      if (n == 19 + bytes * 8 + 15) {
        const size_t stuff = run == 5 ? 1 : 0;
        level[n] = between[start + (size_t)(((double)(k + stuff + 1) + 0.6) * per_bit)]; /* the acknowledge bit */
        return n;
      }
    }
  }
  return 0;
}

static void test_levels__can_frames_decode(void **state) {
  (void)state;
  plb_capture *capture = must_draw("can-pair", 5, NULL, 0);
  double *high = must_copy(capture, 0), *low = must_copy(capture, 1);
  const size_t n = capture->samples;
  for (size_t i = 0; i < n; i++)
    high[i] -= low[i];
  const double per_bit = plb_capture_rate_hz(capture) * 2e-6;
  int frames = 0, good = 0, tall = 0;
  size_t quiet = 0;
  for (size_t i = 1; i + (size_t)(150 * per_bit) < n; i++) {
    quiet = high[i] < 0.5 ? quiet + 1 : 0;
    if (quiet < (size_t)(10 * per_bit) || high[i + 1] < 0.5)
      continue;
    uint8_t bit[130];
    double level[131];
    const size_t bits = read_frame(high, i + 1, per_bit, bit, level, 130);
    quiet = 0;
    frames++;
    good += bits > 0 && plb_can_crc(bit, bits) == 0;
    tall += bits > 0 && level[bits] > level[0] + 0.3; /* bit 0 is the start, dominant by one node */
    i += (size_t)(40 * per_bit);
  }
  assert_true(frames >= 5);
  assert_int_equal(good, frames);
  assert_int_equal(tall, frames);
  free(high);
  free(low);
  plb_capture_free(capture);
}

/* The missing terminator leaves the limits of 50..65 ohm towards the higher ones of larger loads; one value
 * just outside is found so. */
static void test_levels__can_without_a_terminator(void **state) {
  (void)state;
  plb_capture *good = must_draw("can-pair", 2, NULL, 0), *bad = must_draw("can-pair", 2, "terminator-missing", 1);
  double *x = must_copy(good, 0), *y = must_copy(bad, 0);
  assert_true(level_between(y, bad->samples, 3.0, 9.0) > level_between(x, good->samples, 3.0, 9.0) + 0.1);
  free(x);
  free(y);
  plb_capture_free(good);
  plb_capture_free(bad);
}

/* Receiver limits, VERIFIED: recessive above 60 % of the supply, dominant below 40 %: always of the measured
 * supply, never fixed volts. */
static void test_levels__lin(void **state) {
  (void)state;
  for (uint64_t seed = 1; seed <= 8; seed++) {
    const plb_model_family *f = plb_model_find("lin-bus");
    plb_model_request request = PLB_MODEL_REQUEST_INIT;
    request.seed = seed;
    plb_model_conditions at;
    plb_capture *capture = NULL;
    assert_int_equal(plb_model_draw(&capture, f, &request, &at, NULL), PLB_OK);
    double *x = must_copy(capture, 0);
    assert_true(level_between(x, capture->samples, 0.5 * at.supply_v, 99.0) > 0.6 * at.supply_v);
    assert_true(level_between(x, capture->samples, -1.0, 0.5 * at.supply_v) < 0.4 * at.supply_v);
    free(x);
    plb_capture_free(capture);
  }
}

/* Levels VERIFIED (2nd-hand): below 0.5 V, above 4.1 V; falling edges 56 ticks for calibration, 12 to 27 for a
 * nibble. */
static int decode_sent(const plb_capture *capture, int *frames) {
  double *x = must_copy(capture, 0);
  double fall[4000];
  size_t n = 0;
  for (size_t i = 1; i < capture->samples && n < 4000; i++)
    if (x[i - 1] > 2.5 && x[i] <= 2.5)
      fall[n++] = ((double)i - 1.0 + (x[i - 1] - 2.5) / (x[i - 1] - x[i])) / plb_capture_rate_hz(capture);
  free(x);
  int good = 0;
  *frames = 0;
  for (size_t i = 0; i + 10 < n; i++) {
    /* calibration: the next eight times are nibbles of its tick, and it is within a quarter of 56 ticks of 3 us */
    const double tick = (fall[i + 1] - fall[i]) / 56.0;
    if (fabs(tick - 3e-6) > 0.25 * 3e-6)
      continue;
    uint8_t nibble[8];
    bool whole = true;
    for (int k = 0; k < 8; k++) {
      const double ticks = (fall[i + 2 + (size_t)k] - fall[i + 1 + (size_t)k]) / tick;
      const int value = (int)floor(ticks + 0.5) - 12;
      whole = whole && value >= 0 && value <= 15;
      nibble[k] = (uint8_t)(value & 15);
    }
    if (!whole)
      continue;
    (*frames)++;
    good += plb_sent_crc(nibble + 1, 6, true) == nibble[7];
    i += 8;
  }
  return good;
}

static void test_levels__sent(void **state) {
  (void)state;
  int frames;
  plb_capture *capture = must_draw("sent", 4, NULL, 0);
  const int good = decode_sent(capture, &frames);
  assert_true(frames >= 20);
  assert_int_equal(good, frames);
  double *x = must_copy(capture, 0);
  assert_true(level_between(x, capture->samples, 2.5, 9.0) > 4.1);
  double low = 9.0;
  for (size_t i = 0; i < capture->samples; i++)
    low = fmin(low, x[i]);
  assert_true(low < 0.5);
  free(x);
  plb_capture_free(capture);
  capture = must_draw("sent", 4, "bad-checksum", 1);
  assert_int_equal(decode_sent(capture, &frames), 0);
  assert_true(frames >= 20);
  plb_capture_free(capture);
}

/* Data sheet and service text, VERIFIED: 7 mA (5.9..8.4) and 14 mA (11.8..16.8), over 100 ohm 0.70 and 1.40 V. */
static void test_levels__wheel_speed_current(void **state) {
  (void)state;
  for (uint64_t seed = 1; seed <= 8; seed++) {
    plb_capture *capture = must_draw("wheel-speed-current", seed, NULL, 0);
    double *x = must_copy(capture, 0);
    const double low = level_between(x, capture->samples, 0.0, 1.05) / 100.0,
                 high = level_between(x, capture->samples, 1.05, 9.0) / 100.0;
    assert_true(low >= 5.9e-3 && low <= 8.4e-3 && high >= 11.8e-3 && high <= 16.8e-3);
    free(x);
    plb_capture_free(capture);
  }
}

/* Tooth times of a drawn wheel: 60 pitches a turn, so that rising crossings come 1 / rpm seconds apart but for
 * the gap of three pitches. */
static void test_levels__tooth_times(void **state) {
  (void)state;
  const plb_model_family *f = plb_model_find("crank-inductive-60-2-clamped");
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = 9;
  request.speed_per_min = 3000;
  plb_capture *capture = NULL;
  assert_int_equal(plb_model_draw(&capture, f, &request, NULL, NULL), PLB_OK);
  double *x = must_copy(capture, 0), before = 0.0, shortest = 1.0, longest = 0.0;
  double time_sum = 0.0;
  int gaps = 0, teeth = 0;
  bool high = true;
  for (size_t i = 1; i < capture->samples; i++) {
    if (high && x[i] < 1.0)
      high = false;
    if (high || x[i] < 2.0)
      continue;
    high = true;
    const double now = (double)i / plb_capture_rate_hz(capture), step = now - before;
    if (before > 0.0 && step > 1.8 * plb_tooth_s(3000, 60)) {
      gaps++;
      longest = fmax(longest, step);
    } else if (before > 0.0) {
      shortest = fmin(shortest, step);
      time_sum += step;
      teeth++;
    }
    before = now;
  }
  assert_true(gaps >= 20);
  assert_near(time_sum / teeth, plb_tooth_s(3000, 60), 0.04 * plb_tooth_s(3000, 60), "tooth");
  assert_near(longest, 3.0 * plb_tooth_s(3000, 60), 0.35 * plb_tooth_s(3000, 60), "gap");
  assert_near((double)teeth / gaps, 57.0, 3.0, "teeth between gaps");
  free(x);
  plb_capture_free(capture);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_levels__can),
                                     cmocka_unit_test(test_levels__can_frames_decode),
                                     cmocka_unit_test(test_levels__can_without_a_terminator),
                                     cmocka_unit_test(test_levels__lin),
                                     cmocka_unit_test(test_levels__sent),
                                     cmocka_unit_test(test_levels__wheel_speed_current),
                                     cmocka_unit_test(test_levels__tooth_times)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
