/*
 * Potentiometers with two tracks: one rises with the position, the other falls or rises at half the slope, so that
 * the control unit can compare. A worn place on a track lets the wiper lift: a dropout at the same position each time.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

typedef struct track_set {
  double low_1, high_1, low_2, high_2; /* shares of 5 V at rest and at the end */
} track_set;

static double sweep_at(double t, double begin_s, double up_s, double hold_s, double down_s) {
  const double a = (t - begin_s) / up_s, b = (t - begin_s - up_s - hold_s) / down_s;
  const double up = a <= 0.0 ? 0.0 : a >= 1.0 ? 1.0 : 0.5 - 0.5 * cos(plb_pi * a);
  const double down = b <= 0.0 ? 0.0 : b >= 1.0 ? 1.0 : 0.5 - 0.5 * cos(plb_pi * b);
  return up - down;
}

static plb_status simulate_track(plb_draw *draw, plb_error *err) {
  (void)err;
  const track_set *set = draw->family->set;
  /* a hand or a foot: common practice */
  const double begin_s = plb_between(draw, 0.3, 0.5), up_s = plb_part(draw, 1.0, 0.12),
               hold_s = plb_part(draw, 0.4, 0.15), down_s = plb_part(draw, 1.0, 0.12);
  /* 5 V reference within 1 %: common practice */
  const double supply_v = plb_part(draw, 5.0, 0.004) - 1.7 * plb_fault(draw, "weak-supply"),
               ground_v = 0.7 * plb_fault(draw, "poor-ground");
  const double worn = plb_fault(draw, "worn-track"), worn_at = plb_between(draw, 0.15, 0.45),
               stuck = plb_fault(draw, "stuck");
  const double joint = plb_joint_ohm(plb_fault(draw, "joint"), 60e3), leak = plb_fault(draw, "leak-to-ground");
  /* mechanical stop: from memory */
  const double bias = 0.14 * plb_fault(draw, "biased-track"), reach = plb_part(draw, 0.97, 0.008) * (1.0 - 0.6 * stuck);
  double offset[2], slope[2];
  for (int k = 0; k < 2; k++) {
    offset[k] = 0.004 * plb_normal(draw);
    /* tracks agree within a per cent or so: common practice */
    slope[k] = plb_part(draw, 1.0, 0.006);
  }
  plb_random lift;
  plb_random_seed(&lift, plb_random_next(&draw->event));
  double gap = 0.0;
  for (size_t i = 0; i < draw->n; i++) {
    const double p = reach * sweep_at((double)i / draw->rate_hz, begin_s, up_s, hold_s, down_s);
    const double one = set->low_1 + (set->high_1 - set->low_1) * p * slope[0] + offset[0] + bias;
    const double two = set->low_2 + (set->high_2 - set->low_2) * p * slope[1] + offset[1];
    double v = (ground_v + (supply_v - ground_v) * one) * 50e3 / (50e3 + joint) * (1.0 - 0.8 * leak);
    /* over the worn place the wiper's contact comes and goes */
    if (i % 8 == 0)
      gap = plb_random_uniform(&lift);
    if (worn > 0.0 && fabs(p - worn_at) < 0.02 + 0.05 * worn && gap < worn)
      v *= 1.0 - worn * (0.4 + 0.6 * gap);
    draw->x[0][i] = v;
    draw->x[1][i] = ground_v + (supply_v - ground_v) * two;
  }
  /* key on, engine off: common practice */
  draw->supply_v = plb_between(draw, 12.3, 12.8);
  plb_break_signal(draw, 0, "intermittent-contact", 4.0, 0.0, 0.05, 0.0, 1e-4);
  plb_add_interference(draw, 0, "ignition-interference", 2.5);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"worn-track", PLB_FAULT_TRACK, PLB_IN_COMPONENT, "track worn: dropouts at one position"},
    {"biased-track", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "first track reads high: the two disagree"},
    {"stuck", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "does not reach its end"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the first signal wire"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "first signal wire leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "5 V of the sensor low"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
enum {
  FAULTS = sizeof faults / sizeof faults[0],
  HAS = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_SENSING | PLB_HAS_TRACK | PLB_HAS_MOTION
};

/* one rises as the other falls; one twice as steep as the other: common practice; ends from memory */
static const track_set set_throttle = {0.13, 0.88, 0.87, 0.12}, set_pedal = {0.15, 0.80, 0.075, 0.40};

const plb_model_family plb_throttle_dual = {
    .name = "throttle-dual",
    .type = "throttle-dual",
    .text = "throttle position, two tracks, opened and shut once, key on, engine off",
    .channel = {{"track-1", "V", "first signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0},
                {"track-2", "V", "second signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0}},
    .channels = 2,
    .cycle = "against:channel=track-2",
    .rate_hz = 10e3,
    .duration_s = 3.2,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_track,
    .set = &set_throttle};
const plb_model_family plb_pedal_dual = {
    .name = "pedal-dual",
    .type = "pedal-dual",
    .text = "accelerator pedal, two tracks, pressed and released once, key on, engine off",
    .channel = {{"track-1", "V", "first signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0},
                {"track-2", "V", "second signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0}},
    .channels = 2,
    .cycle = "against:channel=track-2",
    .rate_hz = 10e3,
    .duration_s = 3.2,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_track,
    .set = &set_pedal};
