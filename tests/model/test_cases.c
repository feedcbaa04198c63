/* The misleading traces must show what their texts say, and facts of the trade (common practice) must come out
 * of the circuits. */
#include "model_test.h"

typedef struct trace {
  double *x;
  size_t n;
  double rate_hz;
} trace;

static trace take(plb_capture *capture, size_t channel) {
  const trace t = {must_copy(capture, channel), capture->samples, plb_capture_rate_hz(capture)};
  plb_capture_free(capture);
  return t;
}

static trace draw_case(const char *name, uint64_t seed, size_t channel) {
  plb_capture *capture = NULL;
  plb_error err = PLB_ERROR_INIT;
  const plb_model_case *which = plb_model_case_find(name);
  assert_non_null(which);
  if (plb_model_draw_case(&capture, which, seed, &err))
    fail_msg("%s: %s", name, err.message);
  return take(capture, channel);
}

static trace draw_at(const char *family, uint64_t seed, double speed_per_min, const char *fault, double severity) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = seed;
  request.speed_per_min = speed_per_min;
  request.fault = fault;
  request.severity = severity;
  plb_capture *capture = NULL;
  assert_int_equal(plb_model_draw(&capture, plb_model_find(family), &request, NULL, NULL), PLB_OK);
  return take(capture, 0);
}

static int compare_double(const void *a, const void *b) {
  const double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

/* Value below which the share of samples lies. The trace is sorted and freed. */
static double quantile(trace t, double share) {
  qsort(t.x, t.n, sizeof *t.x, compare_double);
  const double v = t.x[(size_t)(share * (double)(t.n - 1))];
  free(t.x);
  return v;
}

/* Unloaded, twice the speed gives about twice the volts; clamped, it hardly changes: 4.6 V against 4.2 V at a
 * fifth of the speed. */
static void test_cases__amplitude_and_speed(void **state) {
  (void)state;
  const double slow = quantile(draw_at("crank-inductive-60-2-idle", 3, 400, NULL, 0), 0.97),
               fast = quantile(draw_at("crank-inductive-60-2-idle", 3, 800, NULL, 0), 0.97);
  assert_near(fast / slow, 2.0, 0.12, "unloaded");
  const double coasting = quantile(draw_case("clamped-coil-slow", 3, 0), 0.97),
               driving = quantile(draw_at("crank-inductive-60-2-clamped", 3, 3000, NULL, 0), 0.97);
  assert_true(coasting < driving && coasting > 0.85 * driving);
}

static void test_cases__hall_without_pull_up(void **state) {
  (void)state;
  assert_true(quantile(draw_case("hall-unplugged", 2, 0), 0.999) < 0.2);
  assert_true(quantile(draw_case("hall-connected-flat", 2, 0), 0.999) < 0.2);
  trace current = draw_case("hall-connected-flat", 2, 1), again = draw_case("hall-connected-flat", 2, 1);
  assert_true(quantile(current, 0.95) > 1.5 * quantile(again, 0.05)); /* the engine turns */
}

/* A forgotten factor takes noise and code steps with it; a weak magnet does not. */
static void test_cases__a_tenth_twice(void **state) {
  (void)state;
  plb_capture *good = must_draw("crank-inductive-60-2-idle", 4, NULL, 0), *factor = NULL, *weak = NULL;
  assert_int_equal(plb_model_draw_case(&factor, plb_model_case_find("factor-forgotten"), 4, NULL), PLB_OK);
  assert_int_equal(plb_model_draw_case(&weak, plb_model_case_find("amplitude-a-tenth"), 4, NULL), PLB_OK);
  assert_near(factor->channel[0].samples.scale / good->channel[0].samples.scale, 0.1, 1e-9, "steps");
  assert_near(weak->channel[0].samples.scale / good->channel[0].samples.scale, 1.0, 1e-9, "steps");
  const double full = quantile(take(good, 0), 0.98);
  assert_near(quantile(take(factor, 0), 0.98) / full, 0.1, 0.002, "factor");
  assert_near(quantile(take(weak, 0), 0.98) / full, 0.1, 0.02, "magnet");
}

/* The bar that is bad comes once a turn: the number of deep dips is the number of turns, an eighth of the humps. */
static void test_cases__one_bar_in_eight(void **state) {
  (void)state;
  trace bad = draw_case("pump-bad-bar", 6, 0);
  double mean = 0.0, low = 1e9;
  for (size_t i = 0; i < bad.n; i++) {
    mean += bad.x[i] / (double)bad.n;
    low = fmin(low, bad.x[i]);
  }
  const double enter = low + 0.35 * (mean - low), leave = low + 0.7 * (mean - low);
  int dips = 0;
  bool inside = false;
  for (size_t i = 0; i < bad.n; i++) {
    if (!inside && bad.x[i] < enter)
      dips++;
    inside = inside ? bad.x[i] < leave : bad.x[i] < enter;
  }
  free(bad.x);
  assert_true(dips > 260 && dips < 360); /* some 300 turns */
}

static void test_cases__coolant(void **state) {
  (void)state;
  trace t = draw_case("coolant-pull-up-switch", 3, 0);
  size_t jump = 0;
  for (size_t i = 1; i < t.n; i++)
    if (t.x[i] - t.x[i - 1] > 1.0)
      jump = i;
  assert_true(jump > 0);
  assert_near(t.x[jump - 1], 1.2, 0.15, "before");
  assert_near(t.x[jump + 1], 3.6, 0.15, "after");
  assert_true(t.x[t.n - 1] < t.x[jump + 1] - 0.8);
  free(t.x);
  t = draw_case("coolant-open", 3, 0);
  size_t open = 0;
  for (size_t i = 0; i < t.n; i++)
    open += t.x[i] > 4.5;
  assert_true(open >= 1 && open <= 64 * 4);
  free(t.x);
}

/* Sampled at 20 kS/s the peaks of like sparks differ wildly, sampled well they do not. */
static void peak_range(trace t, double *least, double *most) {
  *least = 1e9;
  *most = 0.0;
  const size_t window = (size_t)(t.rate_hz * 1e-3);
  for (size_t i = 1; i + window < t.n; i++) {
    if (t.x[i] < 60.0 || t.x[i - 1] >= 60.0)
      continue;
    double peak = 0.0;
    for (size_t k = 0; k < window; k++)
      peak = fmax(peak, t.x[i + k]);
    *least = fmin(*least, peak);
    *most = fmax(*most, peak);
    i += window;
  }
  free(t.x);
}

static void test_cases__coil_sampled_slowly(void **state) {
  (void)state;
  double least, most, worst = 1.0, best = 9.0;
  for (uint64_t seed = 1; seed <= 8; seed++) {
    peak_range(draw_case("coil-sampled-slowly", seed, 0), &least, &most);
    if (most > 0.0)
      worst = fmax(worst, most / least);
    peak_range(draw_at("coil-primary-voltage", seed, 0, NULL, 0), &least, &most);
    best = fmin(best, most / least);
    assert_true(most / least < 1.6);
  }
  assert_true(worst > 2.0);
}

static void test_cases__alternator(void **state) {
  (void)state;
  const double loaded = quantile(draw_at("alternator-ripple", 3, 0, NULL, 0), 0.99) -
                        quantile(draw_at("alternator-ripple", 3, 0, NULL, 0), 0.01);
  const double idle =
      quantile(draw_case("ripple-no-load", 3, 0), 0.99) - quantile(draw_case("ripple-no-load", 3, 0), 0.01);
  const double open =
      quantile(draw_case("ripple-open-diode", 3, 0), 0.99) - quantile(draw_case("ripple-open-diode", 3, 0), 0.01);
  assert_true(idle < 0.06 && idle < 0.4 * loaded);
  assert_true(open > 1.8 * loaded);
}

static void test_cases__oxygen(void **state) {
  (void)state;
  assert_near(quantile(draw_case("oxygen-cold", 3, 0), 0.5), 0.45, 0.02, "cold");
  trace t = draw_case("oxygen-enriched", 3, 0);
  size_t leaves = 0, arrives = 0;
  for (size_t i = 1; i < t.n && arrives == 0; i++) {
    if (leaves == 0 && t.x[i] > 0.25)
      leaves = i;
    if (leaves > 0 && t.x[i] > 0.80)
      arrives = i;
  }
  assert_true(leaves > 0 && arrives > 0);
  assert_true((double)(arrives - leaves) / t.rate_hz < 0.1);
  free(t.x);
}

/* All cylinders leak alike: even, low, and the engine turns faster. */
static int count_rises(trace t, double level) {
  int n = 0;
  bool high = true;
  for (size_t i = 0; i < t.n; i++) {
    if (!high && t.x[i] > level + 10.0)
      n++;
    high = high ? t.x[i] > level - 10.0 : t.x[i] > level + 10.0;
  }
  free(t.x);
  return n;
}

static void test_cases__cranking_even_but_low(void **state) {
  (void)state;
  const double good = quantile(draw_at("starter-current", 3, 0, NULL, 0), 0.95),
               low = quantile(draw_case("cranking-even-low", 3, 0), 0.95);
  assert_true(low < 0.85 * good);
  const double middle_good = quantile(draw_at("starter-current", 3, 0, NULL, 0), 0.5),
               middle_low = quantile(draw_case("cranking-even-low", 3, 0), 0.5);
  assert_true(count_rises(draw_case("cranking-even-low", 3, 0), middle_low) >
              count_rises(draw_at("starter-current", 3, 0, NULL, 0), middle_good));
}

/* Flyback: less current, shorter time at the clamp. */
static double clamped_share(trace t) {
  size_t n = 0;
  for (size_t i = 0; i < t.n; i++)
    n += t.x[i] > 45.0;
  free(t.x);
  return (double)n / (double)t.n;
}

static void test_cases__flyback_follows_the_current(void **state) {
  (void)state;
  const double good = clamped_share(draw_at("injector-voltage", 3, 800, NULL, 0)),
               weak = clamped_share(draw_at("injector-voltage", 3, 800, "joint-in-supply", 0.6));
  assert_true(weak < 0.8 * good);
}

/* Wasted spark: half the firings stand on their heads. */
static void test_cases__wasted_spark(void **state) {
  (void)state;
  trace t = draw_at("coil-secondary", 3, 800, NULL, 0);
  int up = 0, down = 0;
  for (size_t i = 1; i < t.n; i++)
    if (fabs(t.x[i]) > 1.8 && fabs(t.x[i - 1]) <= 1.8) {
      up += t.x[i] > 0.0;
      down += t.x[i] < 0.0;
      i += (size_t)(t.rate_hz * 5e-3);
    }
  free(t.x);
  assert_true(up >= 5 && down >= 5 && abs(up - down) <= 1);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_cases__amplitude_and_speed),
                                     cmocka_unit_test(test_cases__hall_without_pull_up),
                                     cmocka_unit_test(test_cases__a_tenth_twice),
                                     cmocka_unit_test(test_cases__one_bar_in_eight),
                                     cmocka_unit_test(test_cases__coolant),
                                     cmocka_unit_test(test_cases__coil_sampled_slowly),
                                     cmocka_unit_test(test_cases__alternator),
                                     cmocka_unit_test(test_cases__oxygen),
                                     cmocka_unit_test(test_cases__cranking_even_but_low),
                                     cmocka_unit_test(test_cases__flyback_follows_the_current),
                                     cmocka_unit_test(test_cases__wasted_spark)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
