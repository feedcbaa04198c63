/*
 * Pulses that carry a frequency: the active wheel-speed sensor, which draws 7 or 14 mA (data sheets and a service
 * text give 5.9..8.4 and 11.8..16.8 mA), seen over a series resistor of 100 ohm - a clamp cannot resolve it.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"

enum { RING_POLES = 48 };

static plb_status simulate_wheel_current(plb_draw *draw, plb_error *err) {
  (void)err;
  const plb_rotation r = plb_rotation_even(draw, draw->speed_per_min / 60.0, 0.03);
  /* 7 and 14 mA: data sheet, VERIFIED; resistor of 100 ohm: service text, VERIFIED */
  const double low_a = plb_part(draw, 7.0e-3, 0.025), high_a = plb_part(draw, 14.0e-3, 0.025),
               ohm = plb_part(draw, 100.0, 0.005);
  /* runout of a good ring: from memory */
  const double gap = plb_fault(draw, "air-gap"), runout = 0.06 + 0.9 * plb_fault(draw, "runout") + 0.75 * gap,
               worn = plb_fault(draw, "damaged-tooth");
  const double joint = plb_joint_ohm(plb_fault(draw, "joint"), 2500.0),
               leak_a = 6e-3 * plb_fault(draw, "leak-to-ground");
  const double weak = plb_fault(draw, "weak-supply"), edge_s = 8e-6 + 400e-6 * plb_fault(draw, "slow-output");
  const double share =
      1.0 / (1.0 + joint / 600.0); /* the sensor needs some volts: with too much resistance its currents give way */
  const int bad = 3 + (int)plb_random_below(&draw->part, RING_POLES - 6);
  /* so wide that the weaker part of the turn no longer reaches the thresholds: pulses are lost there, the rest stays. What is far away
   * is seen the less even, and a loose bearing is how the gap grows: common practice */
  const double keep = exp(-1.0 / (edge_s * draw->rate_hz)), on_at = 0.16, swing = 1.0 - 0.70 * gap;
  const double bias = 0.03 * plb_normal(draw);
  double *x = draw->x[0];
  bool on = false;
  plb_rotate(&r, draw->rate_hz, draw->n, x);
  double amp = low_a;
  for (size_t i = 0; i < draw->n; i++) {
    const double turn = x[i] - floor(x[i]), pole = turn * RING_POLES;
    const double damage = (int)pole == bad ? 1.0 - 1.1 * worn : 1.0;
    const double field =
        damage * swing * (1.0 - runout * (0.5 + 0.5 * cos(plb_two_pi * turn))) * sin(plb_two_pi * pole) + bias;
    on = plb_hysteresis(on, field, on_at, -on_at);
    const double want = (on ? high_a : low_a) * (1.0 - 0.45 * weak);
    amp = want + (amp - want) * keep;
    x[i] = (amp * share + leak_a) * ohm;
  }
  /* key on, engine off: common practice */
  draw->supply_v = plb_between(draw, 11.8, 12.6);
  plb_break_signal(draw, 0, "intermittent-contact", 4.0, 0.0, 0.04, 0.0, 1e-5);
  plb_add_interference(draw, 0, "ignition-interference", 1.2);
  return PLB_OK;
}

static const plb_model_fault wheel_faults[] = {
    {"air-gap", PLB_FAULT_GAP, PLB_IN_COMPONENT,
     "air gap too wide or ring weakly magnetised: pulses are lost over part of the turn"},
    {"damaged-tooth", PLB_FAULT_TOOTH, PLB_IN_COMPONENT, "one pole of the ring damaged or covered with swarf"},
    {"runout", PLB_FAULT_RUNOUT, PLB_IN_COMPONENT, "ring off centre, bearing worn"},
    {"slow-output", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "output of the sensor slow"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the two wires"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "leak past the sensor: both levels high"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wires beside ignition leads"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply of the sensor low: both levels low"},
};
static const plb_model_reason wheel_reasons[] = {
    {PLB_FAULT_GROUND, "two wires from the control unit: the sensor has no ground of its own"}};

const plb_model_family plb_wheel_speed_current = {
    .name = "wheel-speed-current",
    .type = "wheel-speed-current",
    .text = "active wheel-speed sensor, 7 and 14 mA over a series resistor of 100 ohm",
    .channel = {{"wheel-speed", "V", "across a series resistor of 100 ohm in the supply wire", PLB_BY_PROBE, 2.0, 0.008,
                 0}},
    .channels = 1,
    .cycle = "edge:level=50%states,slope=rising",
    .rate_hz = 50e3,
    .duration_s = 1.2,
    .low_per_min = 110,
    .high_per_min = 170,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_GAP | PLB_HAS_TEETH | PLB_HAS_DRIVER,
    .fault = wheel_faults,
    .faults = sizeof wheel_faults / sizeof wheel_faults[0],
    .reason = wheel_reasons,
    .reasons = 1,
    .simulate = simulate_wheel_current};
