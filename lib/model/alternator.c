/*
 * Alternator: three-phase bridge (plb_bridge_v()) behind the winding's impedance, charging a battery with internal
 * resistance. The regulator sets the field so that the mean current is what the consumers take: with a diode open the
 * rest must work harder.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"

enum { TABLE = 360 };

typedef struct machine {
  double current_a[TABLE + 1]; /* over one electrical turn */
  double battery_ohm, mean_a;
} machine;

static double mean_current(const double *bridge, double peak_v, double battery_v, double ohm, double *out) {
  double sum = 0.0;
  for (int i = 0; i < TABLE; i++) {
    const double i_a = fmax(0.0, (peak_v * bridge[i] - battery_v) / ohm);
    sum += i_a;
    if (out)
      out[i] = i_a;
  }
  return sum / TABLE;
}

static void charge(machine *m, const double *bridge, double battery_v, double ohm, double wanted_a) {
  double low_v = 0.2 * battery_v, high_v = 4.0 * battery_v; /* peak of a phase */
  for (int i = 0; i < 30; i++) {
    const double middle = 0.5 * (low_v + high_v);
    if (mean_current(bridge, middle, battery_v, ohm, NULL) < wanted_a)
      low_v = middle;
    else
      high_v = middle;
  }
  m->mean_a = mean_current(bridge, 0.5 * (low_v + high_v), battery_v, ohm, m->current_a);
  m->current_a[TABLE] = m->current_a[0];
}

static machine make_machine(plb_draw *draw) {
  double bridge[TABLE], upper[3] = {1, 1, 1}, lower[3] = {1, 1, 1};
  double phase[3];
  const double open_phase = plb_fault(draw, "open-phase"), open_diode = plb_fault(draw, "open-diode");
  const double uneven = plb_fault(draw, "shorted-turns");
  for (int k = 0; k < 3; k++)
    /* phases agree within some parts in a thousand: from memory */
    phase[k] = plb_part(draw, 1.0, 0.004);
  upper[0] = 1.0 - fmax(open_diode, open_phase);
  lower[0] = 1.0 - open_phase;
  for (int i = 0; i < TABLE; i++) {
    const double theta = plb_two_pi * i / TABLE;
    bridge[i] = plb_bridge_v(theta, upper, lower);
    /* small differences of the phases, and a phase with shorted turns, lower the two half-waves of that phase */
    for (int k = 0; k < 3; k++) {
      const double share = phase[k] - (k == 1 ? 0.35 * uneven : 0.0);
      bridge[i] -= (1.0 - share) * fabs(sin(theta - plb_two_pi / 3.0 * k)) * 0.6;
    }
  }
  machine m;
  /* battery and its joints: common practice */
  m.battery_ohm = plb_part(draw, 6.0e-3, 0.08) + plb_joint_ohm(plb_fault(draw, "joint"), 60e-3) +
                  plb_joint_ohm(plb_fault(draw, "poor-ground"), 50e-3);
  /* windings: from memory */
  const double ohm = plb_part(draw, 0.045, 0.05) + m.battery_ohm;
  /* lamps and blower on: common practice */
  const double wanted = plb_in_state(draw, "no-load") ? plb_between(draw, 2.0, 4.0) : plb_between(draw, 48, 62);
  charge(&m, bridge, 13.9, ohm, wanted * (1.0 - 0.9 * plb_fault(draw, "weak-field")));
  return m;
}

static plb_status simulate_alternator(plb_draw *draw, plb_error *err) {
  (void)err;
  const machine m = make_machine(draw);
  /* pulley two to three, six pole pairs: common practice */
  const double pulley = plb_part(draw, 2.6, 0.02), pole_pairs = 6.0;
  plb_rotation r = plb_rotation_even(draw, draw->speed_per_min / 60.0 * pulley * pole_pairs, 0.01);
  r.hunting = 0.004 + 0.08 * plb_fault(draw, "slipping-belt");
  r.hunting_hz = plb_between(draw, 8, 12);
  double *x = draw->x[0];
  plb_rotate(&r, draw->rate_hz, draw->n, x);
  /* the windings' inductance rounds small currents most */
  /* rounding by leakage inductance: from memory */
  const double sharp_hz = plb_part(draw, plb_in_state(draw, "no-load") ? 300.0 : 14e3, 0.1),
               keep = exp(-plb_two_pi * sharp_hz / draw->rate_hz);
  /* field switched by the regulator: from memory */
  const double chop_v = 0.006, chop_hz = plb_between(draw, 130, 170);
  double smooth = m.mean_a;
  for (size_t i = 0; i < draw->n; i++) {
    const double at = (x[i] - floor(x[i])) * TABLE;
    const int k = (int)at;
    const double i_a = m.current_a[k] + (at - k) * (m.current_a[k + 1] - m.current_a[k]);
    smooth = i_a + (smooth - i_a) * keep;
    const double field = sin(plb_two_pi * chop_hz * (double)i / draw->rate_hz);
    x[i] = m.battery_ohm * (smooth - m.mean_a) + chop_v * field;
  }
  /* charging voltage: common practice */
  draw->supply_v = plb_between(draw, 13.7, 14.3);
  plb_break_signal(draw, 0, "intermittent-contact", 15.0, 0.0, 0.01, -0.30, 1e-3);
  plb_add_interference(draw, 0, "ignition-interference", 0.6);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"open-diode", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT,
     "one diode does not conduct: a deep dip in each electrical turn"},
    {"open-phase", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one phase open"},
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "one phase has shorted turns"},
    {"weak-field", PLB_FAULT_TRACK, PLB_IN_COMPONENT, "brushes or regulator: little field, little current"},
    {"slipping-belt", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "belt slips: the frequency sways"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING,
     "resistance in the charging cable or at the battery: more ripple at the alternator"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "charging cable opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "pick-up from the ignition"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "resistance in the ground strap"},
};
static const plb_model_reason reasons[] = {
    {PLB_FAULT_SUPPLY, "the alternator is the supply; its battery is judged in charging and cranking"},
    {PLB_FAULT_SHORT, "a short from the main cable blows its fuse: nothing is left to record"}};
static const char *const states[] = {"no-load", NULL};

const plb_model_family plb_alternator_ripple = {
    .name = "alternator-ripple",
    .type = "alternator-ripple",
    .text = "ripple of the charging voltage, AC coupled, lamps and blower on, raised idle",
    .channel = {{"ripple", "V", "main terminal of the alternator against its housing, AC coupled", PLB_BY_PROBE, 1.0,
                 0.003, 0}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 50e3,
    .duration_s = 0.6,
    .low_per_min = 1400,
    .high_per_min = 1700,
    .has = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_LIKE_PARTS | PLB_HAS_TRACK | PLB_HAS_MOTION,
    .fault = faults,
    .faults = sizeof faults / sizeof faults[0],
    .reason = reasons,
    .reasons = 2,
    .state = states,
    .simulate = simulate_alternator};
