/*
 * Does the promise hold? Smooth random curves, many redraws of the exemplars: the share of healthy captures above the limit must not be
 * significantly above the promise (Clopper-Pearson, one-sided 99 %), with light and heavy tails, and with captures in groups.
 */
#include "core/random.h"
#include "learn/calibrate.h"
#include "tests/core/close.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { GRID = 48, BANDS = 3, MOST = 24, WAVES = 5 };

typedef struct family {
  const char *name;
  size_t groups, each;
  bool heavy;
  int redraws;
} family;

/* A healthy capture: a fixed shape plus a few smooth waves of the vehicle and of the capture. */
static void draw(plb_random *r, const double *vehicle, bool heavy, float *curve) {
  double own[WAVES];
  const double tail = heavy ? 1.0 / sqrt(0.2 + 0.8 * plb_random_uniform(r)) : 1.0;
  for (int k = 0; k < WAVES; k++) {
    own[k] = 0.05 * tail * plb_random_normal(r) / (1.0 + k);
  }
  for (size_t g = 0; g < GRID; g++) {
    const double t = 6.283185307179586 * (double)g / GRID;
    double x = sin(t) + 0.4 * sin(3.0 * t);
    for (int k = 0; k < WAVES; k++) {
      x += (own[k] + vehicle[k]) * cos((k + 1) * t + k);
    }
    curve[g] = (float)(x + 0.005 * plb_random_normal(r));
  }
}

static void draw_vehicle(plb_random *r, double *vehicle) {
  for (int k = 0; k < WAVES; k++) {
    vehicle[k] = 0.08 * plb_random_normal(r) / (1.0 + k);
  }
}

static void simulate(const family *f) {
  plb_cycle_choice choice = {.spec = {.kind = PLB_CYCLE_REPEAT}, .grid = GRID};
  plb_reference_channel channel = {.amplitude = PLB_RULE_ABSOLUTE, .offset = PLB_RULE_FIXED};
  size_t from[BANDS], to[BANDS], of[BANDS] = {0}, band[BANDS];
  for (size_t b = 0; b < BANDS; b++) {
    from[b] = b * GRID / BANDS;
    to[b] = (b + 1) * GRID / BANDS;
    band[b] = b;
  }
  plb_plan plan = {.slices = {1, GRID, BANDS, from, to, of, band}, .choice = &choice, .channel = &channel, .readings = PLB_READ_COMMON,
                   .channels = 1};
  plb_terms terms;
  plb_error err = PLB_ERROR_INIT;
  plb_random r;
  plb_random_seed(&r, 1234);
  assert_int_equal(plb_terms_new(&terms, &plan, &err), PLB_OK);
  const size_t n = f->groups * f->each;
  static float curve[MOST + 1][GRID], spread[GRID];
  static double reading[PLB_READ_COMMON];
  static char name[MOST][24];
  plb_profile profile[MOST + 1];
  const plb_profile *member[MOST];
  const char *group[MOST];
  uint64_t above = 0, tried = 0;
  double promise = 0.0;
  double *d = calloc(terms.count, sizeof *d), *scale = calloc(terms.count, sizeof *scale);
  for (int redraw = 0; redraw < f->redraws; redraw++) {
    double vehicle[WAVES] = {0};
    for (size_t i = 0; i <= n; i++) {
      if (i % f->each == 0 || i == n) {
        draw_vehicle(&r, vehicle);
      }
      draw(&r, vehicle, f->heavy, curve[i]);
      profile[i] = (plb_profile){.channels = 1, .grid = GRID, .readings = PLB_READ_COMMON, .median = curve[i], .spread = spread,
                                 .reading = reading, .cycles = 5, .borrowed = true};
      if (i < n) {
        member[i] = &profile[i];
        snprintf(name[i], sizeof name[i], "%zu", i / f->each);
        group[i] = f->each > 1 ? name[i] : NULL;
      }
    }
    plb_units units;
    bool stated, one;
    double held_out[MOST];
    plb_calibration c = {0};
    plb_fit *fit = NULL;
    assert_int_equal(plb_units_init(&units, group, n, &stated, &one, &err), PLB_OK);
    assert_int_equal(plb_calibrate(&c, held_out, scale, &plan, &terms, member, &units, 0.05, &err), PLB_OK);
    assert_int_equal(plb_fit_new(&fit, &plan, member, n, &err), PLB_OK);
    assert_int_equal(plb_distances(fit, &plan, &terms, &profile[n], d, &err), PLB_OK);
    above += plb_score_of(&terms, d, scale, false, NULL) > c.limit;
    tried++;
    promise = c.promise;
    plb_fit_free(fit);
    plb_units_dispose(&units);
  }
  double low, high;
  plb_clopper_pearson(above, tried, 0.02, &low, &high);
  printf("# %s: %llu of %llu above the limit (%.1f %%, at least %.1f %%), promise %.1f %%\n", f->name, (unsigned long long)above,
         (unsigned long long)tried, 100.0 * (double)above / (double)tried, 100.0 * low, 100.0 * promise);
  assert_true(low <= promise);
  free(d);
  free(scale);
  plb_terms_dispose(&terms);
}

static void test_promise__single_captures(void **state) {
  (void)state;
  simulate(&(family){"6 captures, light tails", 6, 1, false, 500});
  simulate(&(family){"6 captures, heavy tails", 6, 1, true, 500});
  simulate(&(family){"19 captures, light tails", 19, 1, false, 120});
}

static void test_promise__captures_in_groups(void **state) {
  (void)state;
  simulate(&(family){"5 vehicles of 4 captures", 5, 4, false, 400});
  simulate(&(family){"2 vehicles of 4 captures", 2, 4, false, 500});
  simulate(&(family){"2 vehicles of 4 captures, heavy tails", 2, 4, true, 500});
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_promise__single_captures),
      cmocka_unit_test(test_promise__captures_in_groups),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
