/*
 * Vibration sensor: a piezo plate under a mass, resonant far above; the block's own resonances, some 6 to 7 kHz, are
 * struck by each combustion and by the valves. Modelled as a resonator driven by noise whose strength follows the
 * engine's cycle.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"

static double strength(const double *loud, double knock, double turns) {
  const double stroke = turns * 2.0, at = stroke - floor(stroke);
  const int k = (int)fmod(floor(stroke), 4.0);
  const double combustion = exp(-0.5 * (at - 0.14) * (at - 0.14) / (0.05 * 0.05)),
               valves = exp(-0.5 * (at - 0.62) * (at - 0.62) / (0.02 * 0.02));
  return 0.16 + loud[k] * combustion * (1.0 + (k == 2 ? 6.0 * knock : 0.0)) + 0.55 * valves;
}

static plb_status simulate_knock(plb_draw *draw, plb_error *err) {
  (void)err;
  plb_rotation rotation = plb_rotation_crank(draw, 4, false);
  double loud[4];
  for (int k = 0; k < 4; k++)
    /* cylinders differ in how well they are heard: common practice; value from memory */
    loud[k] = plb_part(draw, 1.0, 0.06);
  /* tens of millivolts at raised idle: common practice */
  const double gain = plb_part(draw, 0.055, 0.05) * (1.0 - 0.8 * plb_fault(draw, "loose-mounting")) /
                      (1.0 + 4.0 * plb_joint_ohm(plb_fault(draw, "joint"), 1.0)) *
                      (1.0 - 0.85 * plb_fault(draw, "leak-between-wires")) *
                      (1.0 - 0.6 * plb_fault(draw, "cracked-plate"));
  /* six to seven kilohertz for bores of 80 to 90 mm: common practice */
  const double tone_hz = plb_part(draw, 6500.0, 0.02) * (1.0 - 0.35 * plb_fault(draw, "loose-mounting"));
  const double knock = plb_fault(draw, "knocking"), screen = plb_fault(draw, "open-screen");
  plb_resonator block;
  plb_resonator_init(&block, tone_hz, 0.06, draw->rate_hz, 0.0);
  plb_random noise;
  plb_random_seed(&noise, plb_random_next(&draw->part));
  double *x = draw->x[0];
  plb_rotate(&rotation, draw->rate_hz, draw->n, x);
  for (size_t i = 0; i < draw->n; i++) {
    const double push = strength(loud, knock, x[i]) * plb_random_normal(&noise);
    x[i] = gain * plb_resonator_step(&block, push * 2.0) +
           0.18 * screen * sin(plb_two_pi * 900.0 * (double)i / draw->rate_hz);
  }
  plb_break_signal(draw, 0, "intermittent-contact", 25.0, 0.0, 0.02, 0.0, 0.0);
  /* two to three times as tall as the combustion, so that the control unit takes sparks for knocking: common practice */
  plb_add_interference(draw, 0, "ignition-interference", 2.0);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"knocking", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one cylinder knocks: the sensor is right"},
    {"loose-mounting", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "sensor loose: weak and dull"},
    {"cracked-plate", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "piezo plate cracked: weak"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the wire"},
    {"leak-between-wires", PLB_FAULT_SHORT, PLB_IN_WIRING, "wires leak into each other"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads: taken for knocking"},
    {"open-screen", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "screen not grounded: hum of the alternator"},
};

const plb_model_family plb_knock_idle = {
    .name = "knock-idle",
    .type = "knock",
    .text = "knock sensor, four cylinders, raised idle",
    .channel = {{"knock", "V", "between the two wires of the sensor, connected", PLB_BY_PROBE, 2.0, 0.003, 0}},
    .channels = 1,
    .cycle = "steady",
    .rate_hz = 50e3,
    .duration_s = 1.0,
    .low_per_min = 1400,
    .high_per_min = 1700,
    .has = PLB_HAS_GROUND | PLB_HAS_SENSING | PLB_HAS_LIKE_PARTS | PLB_HAS_MOTION,
    .fault = faults,
    .faults = sizeof faults / sizeof faults[0],
    .simulate = simulate_knock};
