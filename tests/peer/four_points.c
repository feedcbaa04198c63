#include "tests/peer/four_points.h"
#include "tests/core/cmocka_all.h"
#include <math.h>

enum { SAMPLES = 25000, POINTS = 4 };
static const double rate_hz = 50e3, supply_v = 5.0, pull_up_ohm = 2200.0, battery_side_ohm = 0.4;

/* Is a moment inside one of the openings? Three of them, 4 to 9 ms each. */
static int opened(double t, const double at[3], const double length[3]) {
  for (int k = 0; k < 3; k++) {
    if (t >= at[k] && t < at[k] + length[k]) {
      return 1;
    }
  }
  return 0;
}

/*
 * The node equations of one instant. The open collector pulls the signal pin to the sensor's own ground through some 30 ohms; the pull-up sits
 * in the control unit, so a resistance in the wire between makes the two ends differ while the transistor conducts.
 */
static void solve(four_fault fault, int conducts, int open, double *v) {
  const double sensor_a = 0.008, others_a = 0.5;
  const double ground_ohm = fault == FOUR_GROUND_RESISTS ? 2.5 : 0.02;
  double ground = (sensor_a + others_a) * ground_ohm;
  if (fault == FOUR_GROUND_OPENS && open) {
    ground = 1.8; /* through the other users' leads */
  }
  double supply = supply_v - sensor_a * battery_side_ohm;
  if (fault == FOUR_SUPPLY_RESISTS) {
    supply = supply_v - sensor_a * 160.0;
  }
  if (fault == FOUR_SUPPLY_DROPS && open) {
    supply = 0.3;
  }
  const int works = supply - ground > 2.7; /* below that the output lets go */
  const double wire_ohm = fault == FOUR_WIRE_RESISTS ? 420.0 : 0.2, low_ohm = 30.0;
  const int wire_open = fault == FOUR_WIRE_OPENS && open;
  if (conducts && works && !wire_open) {
    const double current = (supply_v - ground) / (pull_up_ohm + wire_ohm + low_ohm);
    v[0] = ground + current * low_ohm;
    v[1] = v[0] + current * wire_ohm;
  } else {
    v[1] = supply_v;
    v[0] = wire_open ? (conducts ? ground : ground + 0.4) : supply_v;
  }
  v[2] = supply;
  v[3] = ground;
}

plb_capture *four_points_draw(four_fault fault, uint64_t seed) {
  static const char *const role[POINTS] = {"component", "control-unit", "supply", "ground"};
  plb_random random;
  double *x[POINTS], held[POINTS] = {0}, at[3], length[3];
  plb_error err = PLB_ERROR_INIT;
  plb_random_seed(&random, seed);
  for (int k = 0; k < POINTS; k++) {
    x[k] = plb_calloc(SAMPLES, sizeof(double));
    assert_non_null(x[k]);
  }
  for (int k = 0; k < 3; k++) {
    at[k] = 0.05 + 0.14 * k + 0.05 * plb_random_uniform(&random);
    length[k] = 0.004 + 0.005 * plb_random_uniform(&random);
  }
  const double tooth_hz = 300.0 + 200.0 * plb_random_uniform(&random);
  for (size_t i = 0; i < SAMPLES; i++) {
    const double t = (double)i / rate_hz;
    const int open = opened(t, at, length);
    int conducts = fmod(t * tooth_hz, 1.0) < 0.5;
    if (fault == FOUR_SENSOR_SKIPS && open) {
      conducts = 0;
    }
    double v[POINTS];
    solve(fault, conducts, open, v);
    for (int k = 0; k < POINTS; k++) {
      const double settle = k < 2 ? 0.6 : 0.8; /* wires and probes are no wider than this */
      held[k] = i == 0 ? v[k] : held[k] + settle * (v[k] - held[k]);
      const double clip = fault == FOUR_SCOPE_GROUND && open ? -0.9 : 0.0;
      x[k][i] = held[k] + clip + 0.01 * plb_random_normal(&random);
    }
  }
  plb_capture *capture = plb_capture_new();
  assert_non_null(capture);
  capture->rate_hz = rate_hz;
  for (int k = 0; k < POINTS; k++) {
    assert_int_equal(plb_capture_add_real(capture, role[k], "V", x[k], SAMPLES, &err), PLB_OK);
    free(x[k]);
  }
  return capture;
}
