/*
 * Stepper for idle air: two windings driven by bridges, full steps; each winding L di/dt = +-V - R i - motion. Back
 * and forth once.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

static plb_status simulate_stepper(plb_draw *draw, plb_error *err) {
  (void)err;
  /* charging voltage: common practice */
  const double supply_v = plb_between(draw, 13.5, 14.3) - 4.5 * plb_fault(draw, "weak-supply"),
               shorted = 1.0 - 0.6 * plb_fault(draw, "shorted-turns");
  /* coils of some fifty ohms, stepped a hundred times a second or so: common practice; inductance from memory */
  const double ohm = plb_part(draw, 52.0, 0.03), henry = plb_part(draw, 60e-3, 0.04),
               step_s = 1.0 / (plb_part(draw, 120.0, 0.01) * (1.0 - 0.3 * plb_fault(draw, "slow-command")));
  const double joint = plb_joint_ohm(plb_fault(draw, "joint"), 250.0), open = plb_fault(draw, "open-winding"),
               stuck = plb_fault(draw, "stuck");
  /* bipolar bridge: common practice */
  const double drop_v = plb_part(draw, 1.4, 0.05) + 3.0 * plb_fault(draw, "poor-ground"),
               leak = plb_fault(draw, "leak-to-ground"), weak = plb_fault(draw, "weak-driver");
  draw->supply_v = supply_v;
  double amp[2] = {0, 0}, phase = plb_between(draw, 0, 4);
  const double dt_s = 1.0 / draw->rate_hz;
  for (size_t i = 0; i < draw->n; i++) {
    phase += dt_s / step_s;
    const double within = phase - floor(phase);
    for (int k = 0; k < 2; k++) {
      const int quarter = (int)fmod(floor(phase) + (k ? 3.0 : 0.0), 4.0);
      const double sign = quarter < 2 ? 1.0 : -1.0;
      const double r = k == 0 ? ohm * shorted + joint + 20.0 * ohm * open : ohm,
                   l = k == 0 ? henry * shorted * shorted : henry;
      const double motion = (1.0 - stuck) * 2.2 * exp(-0.5 * (within - 0.35) * (within - 0.35) / 0.012) * sign;
      amp[k] = plb_rl_current(amp[k], sign * fmax(0.0, supply_v - drop_v) * (1.0 - 0.5 * weak) - motion, r, l, dt_s);
      draw->x[k][i] = amp[k] + (k == 0 ? 0.15 * leak : 0.0);
    }
  }
  plb_break_signal(draw, 0, "intermittent-contact", 20.0, 0.0, 0.02, 0.0, 1e-4);
  plb_add_interference(draw, 0, "ignition-interference", 0.2);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns of one winding shorted"},
    {"open-winding", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one of the two windings open"},
    {"stuck", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "rotor stuck: no bend from motion"},
    {"weak-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "bridge of the control unit weak"},
    {"slow-command", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "control unit steps too slowly"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in one wire"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "one wire leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wires beside ignition leads"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "driver's ground has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply too low"},
};

const plb_model_family plb_stepper = {
    .name = "stepper-idle-air",
    .type = "stepper",
    .text = "stepper of the idle air valve, both windings' currents, stepping steadily",
    .channel = {{"winding-1", "A", "clamp round one wire of the first winding", PLB_BY_CLAMP, 0.5, 0.002, 20e3},
                {"winding-2", "A", "clamp round one wire of the second winding", PLB_BY_CLAMP, 0.5, 0.002, 20e3}},
    .channels = 2,
    .cycle = "repeat:channel=winding-1",
    .rate_hz = 50e3,
    .duration_s = 0.5,
    .has = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_MOTION | PLB_HAS_LIKE_PARTS |
           PLB_HAS_CODE,
    .fault = faults,
    .faults = sizeof faults / sizeof faults[0],
    .simulate = simulate_stepper};
