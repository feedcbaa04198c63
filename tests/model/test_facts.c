/*
 * Facts of the trade that the models must respect; common practice unless a source stands beside them. Each test draws from the family
 * and measures with its own few lines.
 */
#include "model_test.h"

#include <stdlib.h>

static plb_capture *must_draw_at(const char *family, uint64_t seed, const char *state, double speed_per_min,
                                 plb_model_conditions *at) {
  const plb_model_family *f = plb_model_find(family);
  assert_non_null(f);
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = seed;
  request.state = state;
  request.speed_per_min = speed_per_min;
  plb_error err = PLB_ERROR_INIT;
  plb_capture *capture = NULL;
  if (plb_model_draw(&capture, f, &request, at, &err))
    fail_msg("%s: %s", family, err.message);
  return capture;
}

static int by_value(const void *a, const void *b) {
  const double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

/* The sample that `share` of all lie below. */
static double quantile(const plb_capture *capture, size_t channel, double share) {
  double *x = must_copy(capture, channel);
  qsort(x, capture->samples, sizeof *x, by_value);
  const double value = x[(size_t)(share * (double)(capture->samples - 1))];
  free(x);
  return value;
}

/* Between the highest and the lowest hundredth. */
static double height_at(const char *family, uint64_t seed, double speed_per_min) {
  plb_capture *capture = must_draw_at(family, seed, NULL, speed_per_min, NULL);
  const double height = quantile(capture, 0, 0.99) - quantile(capture, 0, 0.01);
  plb_capture_free(capture);
  return height;
}

/* Faraday: twice the speed, twice the volts, where nothing loads the coil. A clamped input holds the tops where they are. */
static void test_facts__inductive_amplitude_follows_speed_only_unloaded(void **state) {
  (void)state;
  for (uint64_t seed = 1; seed <= 4; seed++) {
    const double open = height_at("wheel-speed-inductive", seed, 120) / height_at("wheel-speed-inductive", seed, 60);
    assert_near(open, 2.0, 0.15, "unloaded, twice the speed");
    const double clamped =
        height_at("crank-inductive-60-2-clamped", seed, 3000) / height_at("crank-inductive-60-2-clamped", seed, 1500);
    if (!(clamped > 0.95 && clamped < 1.3))
      fail_msg("clamped, twice the speed: %g times as tall", clamped);
  }
}

/* The pick-up's share of the voltage is unknown, so no factor can be forgotten or checked; half of a wasted-spark system's cylinders fire
 * the other way round, so that the lead's firings point up and down in turn. */
static void test_facts__secondary_pick_up_is_uncalibrated_and_half_inverted(void **state) {
  (void)state;
  const plb_model_family *f = plb_model_find("coil-secondary");
  assert_int_equal(f->channel[0].by, PLB_BY_PICK_UP);
  assert_string_not_equal(f->channel[0].unit, "kV");
  assert_null(plb_model_fault_find(f, "attenuator-forgotten"));
  plb_capture *capture = must_draw("coil-secondary", 3, NULL, 0);
  double *x = must_copy(capture, 0);
  const size_t n = capture->samples, dead = (size_t)(4e-3 * plb_capture_rate_hz(capture));
  double most = 0.0;
  for (size_t i = 0; i < n; i++)
    most = fmax(most, fabs(x[i]));
  int up = 0, down = 0;
  for (size_t i = 0; i < n; i++)
    if (fabs(x[i]) > 0.6 * most) {
      up += x[i] > 0.0;
      down += x[i] < 0.0;
      i += dead;
    }
  free(x);
  plb_capture_free(capture);
  assert_true(up >= 5 && down >= 5 && abs(up - down) <= 1);
}

/* Some milliamperes: a clamp cannot tell 7 from 14, so the sensor is seen as a voltage over a resistor. */
static void test_facts__current_type_wheel_sensor_needs_a_series_resistor(void **state) {
  (void)state;
  const plb_model_family *f = plb_model_find("wheel-speed-current");
  assert_int_equal(f->channel[0].by, PLB_BY_PROBE);
  assert_string_equal(f->channel[0].unit, "V");
  assert_non_null(strstr(f->channel[0].text, "series resistor"));
}

/* How long the flyback stands above 30 V, and how far the voltage bulges over its end in the milliseconds after it. */
static void flyback_of(const char *fault, double severity, double *decay_s, double *hump_v) {
  plb_capture *capture = must_draw("injector-voltage", 4, fault, severity);
  double *x = must_copy(capture, 0);
  const double rate_hz = plb_capture_rate_hz(capture), rest_v = x[0];
  size_t first = 0, above = 0;
  for (size_t i = 1; i < capture->samples && first == 0; i++)
    if (x[i - 1] <= 30.0 && x[i] > 30.0)
      first = i;
  assert_true(first > 0);
  while (x[first + above] > 30.0)
    above++;
  *decay_s = (double)above / rate_hz;
  /* half a millisecond after the clamp: the flux that is left lifts the voltage */
  *hump_v = 0.0;
  const size_t from = first + above + (size_t)(0.3e-3 * rate_hz), to = from + (size_t)(0.3e-3 * rate_hz);
  for (size_t i = from; i < to; i++)
    *hump_v += (x[i] - rest_v) / (double)(to - from);
  free(x);
  plb_capture_free(capture);
}

static void test_facts__flyback_and_hump_depend_on_the_current_reached(void **state) {
  (void)state;
  double good_s, good_v, weak_s, weak_v;
  flyback_of(NULL, 0, &good_s, &good_v);
  flyback_of("joint-in-supply", 0.7, &weak_s, &weak_v); /* the coil as it is, less current */
  if (!(weak_s < 0.8 * good_s && weak_v < 0.8 * good_v && good_v > 0.2))
    fail_msg("decay %g and %g s, lift %g and %g V", good_s, weak_s, good_v, weak_v);
}

/* Over vehicles with different supplies the level divided by the supply stays, so it follows the supply. */
static void check_share(const char *family, size_t channel, double at, double least, double most) {
  double low_v = 99.0, high_v = 0.0;
  for (uint64_t seed = 1; seed <= 12; seed++) {
    plb_model_conditions is;
    plb_capture *capture = must_draw_at(family, seed, NULL, 0, &is);
    const double share = quantile(capture, channel, at) / is.supply_v;
    if (!(share >= least && share <= most))
      fail_msg("%s, seed %u: %g of the supply", family, (unsigned)seed, share);
    low_v = fmin(low_v, is.supply_v);
    high_v = fmax(high_v, is.supply_v);
    plb_capture_free(capture);
  }
  assert_true(high_v > low_v + 0.3);
}

static void test_facts__bus_levels_follow_the_supply(void **state) {
  (void)state;
  check_share("lin-bus", 0, 0.95, 0.93, 1.02);
}

/* High is what the pull-up is fed with, less what leaks; low is the ground of the sensor and what drops on the way. */
static void test_facts__hall_level_is_that_of_its_pull_up(void **state) {
  (void)state;
  plb_capture *good = must_draw("crank-hall-idle", 6, NULL, 0),
              *leak = must_draw("crank-hall-idle", 6, "leak-to-ground", 0.5),
              *ground = must_draw("crank-hall-idle", 6, "poor-ground", 0.5);
  assert_near(quantile(good, 0, 0.9), 5.0, 0.15, "pull-up");
  assert_true(quantile(leak, 0, 0.9) < quantile(good, 0, 0.9) - 0.3);
  assert_true(quantile(ground, 0, 0.1) > quantile(good, 0, 0.1) + 0.3);
  plb_capture_free(good);
  plb_capture_free(leak);
  plb_capture_free(ground);
}

static double height_with(const char *family, const char *state, const char *fault, double severity) {
  plb_capture *capture = fault ? must_draw(family, 8, fault, severity) : must_draw_at(family, 8, state, 0, NULL);
  const double height = quantile(capture, 0, 0.99) - quantile(capture, 0, 0.01);
  plb_capture_free(capture);
  return height;
}

static void test_facts__ripple_follows_the_load(void **state) {
  (void)state;
  assert_true(height_with("alternator-ripple", "no-load", NULL, 0) <
              0.5 * height_with("alternator-ripple", NULL, NULL, 0));
}

static void test_facts__solenoid_current_follows_the_supply(void **state) {
  (void)state;
  const double good = height_with("injector-current", NULL, NULL, 0),
               weak = height_with("injector-current", NULL, "weak-supply", 1.0);
  assert_near(weak / good, 1.0 - 4.5 / 14.0, 0.07, "current with 4.5 of about 14 V missing");
}

/* King's law: with a film held at one temperature the square of the bridge voltage rises with the root of the flow, so that equal steps
 * of flow give ever smaller steps of voltage. Seen at the meter: the first peak, some hundred grams a second, is less than five times the
 * voltage of some four grams at idle. */
static void test_facts__air_mass_voltage_is_no_straight_line(void **state) {
  (void)state;
  for (uint64_t seed = 1; seed <= 6; seed++) {
    plb_capture *capture = must_draw("air-mass-voltage", seed, NULL, 0);
    const double idle = quantile(capture, 0, 0.3), top = quantile(capture, 0, 0.999);
    if (!(idle > 0.7 && idle < 1.4 && top > 3.2 && top < 4.9))
      fail_msg("seed %u: %g V at idle, %g V at the top", (unsigned)seed, idle, top);
    plb_capture_free(capture);
  }
}

/* The dip is what the battery carries until the field has grown: worn brushes leave it there, a worn battery deepens it. */
static double level_in(const plb_capture *capture, double from_s, double to_s) {
  double *x = must_copy(capture, 0), sum = 0.0;
  const size_t from = (size_t)(from_s * plb_capture_rate_hz(capture)),
               to = (size_t)(to_s * plb_capture_rate_hz(capture));
  for (size_t i = from; i < to; i++)
    sum += x[i] / (double)(to - from);
  free(x);
  return sum;
}

static void test_facts__charging_recovers_only_with_a_field(void **state) {
  (void)state;
  plb_capture *good = must_draw("charging-voltage", 2, NULL, 0),
              *brushes = must_draw("charging-voltage", 2, "weak-field", 1);
  assert_true(level_in(good, 0.0, 0.7) > 13.8 && level_in(good, 0.0, 0.7) < 14.7);
  assert_true(level_in(good, 2.5, 3.0) > level_in(good, 0.0, 0.7) - 0.35);
  assert_true(level_in(brushes, 2.5, 3.0) < 12.6); /* the battery alone */
  plb_capture_free(good);
  plb_capture_free(brushes);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_facts__inductive_amplitude_follows_speed_only_unloaded),
                                     cmocka_unit_test(test_facts__secondary_pick_up_is_uncalibrated_and_half_inverted),
                                     cmocka_unit_test(test_facts__current_type_wheel_sensor_needs_a_series_resistor),
                                     cmocka_unit_test(test_facts__flyback_and_hump_depend_on_the_current_reached),
                                     cmocka_unit_test(test_facts__bus_levels_follow_the_supply),
                                     cmocka_unit_test(test_facts__hall_level_is_that_of_its_pull_up),
                                     cmocka_unit_test(test_facts__ripple_follows_the_load),
                                     cmocka_unit_test(test_facts__solenoid_current_follows_the_supply),
                                     cmocka_unit_test(test_facts__air_mass_voltage_is_no_straight_line),
                                     cmocka_unit_test(test_facts__charging_recovers_only_with_a_field)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
