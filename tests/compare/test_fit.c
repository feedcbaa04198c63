/* The fit of good captures against plain restatements of its formulas. */
#include "compare/judge.h"
#include "core/random.h"
#include "tests/core/close.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { GRID = 96, BANDS = 3 };

/* A plan without readings: one channel, three equal bands. */
typedef struct bench {
  plb_cycle_choice choice;
  plb_reference_channel channel;
  plb_plan plan;
  size_t from[BANDS], to[BANDS], of[BANDS], band[BANDS];
  plb_profile profile[40];
  const plb_profile *member[40];
  float curve[40][GRID], spread[40][GRID];
  double reading[40][PLB_READ_COMMON];
} bench;

static bench *bench_new(size_t n, uint64_t seed) {
  bench *b = calloc(1, sizeof *b);
  assert_non_null(b);
  b->choice.spec.kind = PLB_CYCLE_REPEAT;
  b->choice.grid = GRID;
  for (size_t k = 0; k < BANDS; k++) {
    b->from[k] = k * GRID / BANDS;
    b->to[k] = (k + 1) * GRID / BANDS;
    b->band[k] = k;
  }
  b->plan = (plb_plan){.slices = {1, GRID, BANDS, b->from, b->to, b->of, b->band}, .choice = &b->choice, .channel = &b->channel,
                       .readings = PLB_READ_COMMON, .channels = 1};
  plb_random r;
  plb_random_seed(&r, seed);
  for (size_t i = 0; i < n; i++) {
    const double a = 1.0 + 0.02 * plb_random_normal(&r), shift = 0.01 * plb_random_normal(&r), c = 0.05 * plb_random_normal(&r);
    for (size_t g = 0; g < GRID; g++) {
      const double phase = 6.283185307179586 * ((double)g / GRID + shift);
      b->curve[i][g] = (float)(a * sin(phase) + c * cos(2.0 * phase) + 0.01 * plb_random_normal(&r));
      b->spread[i][g] = 0.02F;
    }
    b->profile[i] = (plb_profile){.channels = 1, .grid = GRID, .readings = PLB_READ_COMMON, .median = b->curve[i], .spread = b->spread[i],
                                  .reading = b->reading[i], .cycles = 10, .borrowed = true};
    b->member[i] = &b->profile[i];
  }
  return b;
}

/* y' (S + lambda I)^-1 y / width by Gaussian elimination, no Cholesky, no dual form. */
static double plain_ridge(const bench *b, size_t n, size_t band, const float *x, double floor) {
  enum { W = GRID / BANDS };
  double mean[W] = {0}, s[W][W + 1], y[W];
  for (size_t i = 0; i < n; i++) {
    for (size_t k = 0; k < W; k++) {
      mean[k] += (double)b->curve[i][b->from[band] + k] / (double)n;
    }
  }
  double trace = 0.0;
  for (size_t p = 0; p < W; p++) {
    y[p] = (double)x[b->from[band] + p] - mean[p];
    for (size_t q = 0; q < W; q++) {
      s[p][q] = 0.0;
      for (size_t i = 0; i < n; i++) {
        s[p][q] += ((double)b->curve[i][b->from[band] + p] - mean[p]) * ((double)b->curve[i][b->from[band] + q] - mean[q]) / (double)(n - 1);
      }
    }
    trace += s[p][p];
    s[p][W] = y[p];
  }
  const double lambda = 0.1 * trace / W + floor * floor;
  for (size_t p = 0; p < W; p++) {
    s[p][p] += lambda;
  }
  for (size_t p = 0; p < W; p++) {
    for (size_t q = p + 1; q < W; q++) {
      const double f = s[q][p] / s[p][p];
      for (size_t k = p; k <= W; k++) {
        s[q][k] -= f * s[p][k];
      }
    }
  }
  double z[W], sum = 0.0;
  for (size_t p = W; p-- > 0;) {
    z[p] = s[p][W];
    for (size_t k = p + 1; k < W; k++) {
      z[p] -= s[p][k] * z[k];
    }
    z[p] /= s[p][p];
    sum += z[p] * y[p];
  }
  return sqrt(sum / W);
}

/* n = 6 takes the dual form, n = 40 the primal one (width 32): both are the same formula. */
static void test_fit__ridge_distance_is_the_formula_in_both_forms(void **state) {
  (void)state;
  static const size_t count[] = {6, 40};
  for (size_t k = 0; k < 2; k++) {
    bench *b = bench_new(count[k], 3 + k);
    bench *other = bench_new(1, 99);
    plb_fit *fit = NULL;
    plb_terms terms;
    plb_error err = PLB_ERROR_INIT;
    assert_int_equal(plb_fit_new(&fit, &b->plan, b->member, count[k], &err), PLB_OK);
    assert_int_equal(fit->raw[0].dual, count[k] <= 32);
    assert_int_equal(plb_terms_new(&terms, &b->plan, &err), PLB_OK);
    double *d = calloc(terms.count, sizeof *d);
    assert_int_equal(plb_distances(fit, &b->plan, &terms, other->member[0], d, &err), PLB_OK);
    for (size_t j = 0; j < terms.count; j++) {
      if (terms.term[j].kind == PLB_D_RAW) {
        const double expected = plain_ridge(b, count[k], terms.term[j].index, other->curve[0], fit->channel[0].floor);
        assert_close(d[j], expected, 1e-4 * expected);
      }
    }
    free(d);
    plb_terms_dispose(&terms);
    plb_fit_free(fit);
    free(b);
    free(other);
  }
}

static void test_fit__gain_and_offset_are_found_in_spite_of_a_fault(void **state) {
  (void)state;
  float centre[GRID], curve[GRID];
  for (size_t g = 0; g < GRID; g++) {
    centre[g] = (float)sin(0.2 * (double)g);
    curve[g] = 0.7F * centre[g] + 0.3F;
  }
  for (size_t g = 10; g < 20; g++) {
    curve[g] = 5.0F; /* a tenth of the cycle is something else */
  }
  const plb_gain g = plb_gain_against(curve, centre, GRID);
  assert_true(g.usable);
  assert_true(fabs(g.gain - 0.7) < 0.03);
  assert_true(fabs(g.offset - 0.3) < 0.03);
}

static void test_fit__flat_centre_gives_no_gain(void **state) {
  (void)state;
  float flat[GRID] = {0}, curve[GRID] = {1.0F};
  assert_false(plb_gain_against(curve, flat, GRID).usable);
}

/* h^2 = drawn spread (1 + 1/n) + f^2, for a spread that is the same everywhere: drawn = spread (n-1+4)/(n+3) = spread. */
static void test_fit__half_width_of_an_even_spread(void **state) {
  (void)state;
  bench *b = bench_new(4, 5);
  static const float level[] = {-0.3F, -0.1F, 0.1F, 0.3F};
  for (size_t i = 0; i < 4; i++) {
    for (size_t g = 0; g < GRID; g++) {
      b->curve[i][g] = (g < GRID / 2 ? 1.0F : -1.0F) + level[i];
    }
  }
  plb_fit *fit = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_fit_new(&fit, &b->plan, b->member, 4, &err), PLB_OK);
  const double variance = (0.09 + 0.01 + 0.01 + 0.09) / 3.0, floor = 0.005 * 2.0;
  assert_close(fit->channel[0].half[3], sqrt(variance * 1.25 + floor * floor), 1e-5);
  assert_close(fit->channel[0].peak_to_peak, 2.0, 1e-6);
  plb_fit_free(fit);
  free(b);
}

/* Distances are linear in the size of a deviation, so that gross faults do not saturate. */
static void test_fit__distance_grows_in_proportion(void **state) {
  (void)state;
  bench *b = bench_new(8, 21);
  bench *x = bench_new(1, 22);
  plb_fit *fit = NULL;
  plb_terms terms;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_fit_new(&fit, &b->plan, b->member, 8, &err), PLB_OK);
  assert_int_equal(plb_terms_new(&terms, &b->plan, &err), PLB_OK);
  double *d = calloc(2 * terms.count, sizeof *d);
  for (size_t k = 0; k < 2; k++) {
    for (size_t g = 0; g < GRID; g++) {
      x->curve[0][g] = fit->channel[0].centre[g] + (g < 12 ? (k == 0 ? 3.0F : 6.0F) : 0.0F);
    }
    assert_int_equal(plb_distances(fit, &b->plan, &terms, x->member[0], d + k * terms.count, &err), PLB_OK);
  }
  for (size_t j = 0; j < terms.count; j++) {
    if (terms.term[j].kind == PLB_D_LASTING && terms.term[j].index == 0) {
      assert_close(d[terms.count + j], 2.0 * d[j], 1e-3 * d[j]);
      assert_true(d[j] > 10.0);
    }
  }
  free(d);
  plb_terms_dispose(&terms);
  plb_fit_free(fit);
  free(b);
  free(x);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_fit__ridge_distance_is_the_formula_in_both_forms),
      cmocka_unit_test(test_fit__gain_and_offset_are_found_in_spite_of_a_fault),
      cmocka_unit_test(test_fit__flat_centre_gives_no_gain),
      cmocka_unit_test(test_fit__half_width_of_an_even_spread),
      cmocka_unit_test(test_fit__distance_grows_in_proportion),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
