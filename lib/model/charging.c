/*
 * Charging voltage when a load is switched on: the alternator's phases behind a six-pulse bridge (plb_bridge_v()) and the impedance of
 * the windings, a field winding with its time constant, a regulator that switches the field by the voltage at the alternator, the
 * charging cable and the ground strap, a battery, and consumers. The dip is what the battery must carry until the field has grown.
 *
 * Battery: electromotive force, a resistance, and a double layer that charging lifts (resistance beside capacitance: the simplest
 * of the usual equivalent circuits; Linden, Handbook of Batteries; from memory).
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

typedef struct charging {
  double turn_rad_s, theta, upper[3]; /* electrical */
  double slip;                        /* of the belt, for each ampere beyond what it holds */
  double volt_per_a;                  /* peak of a phase for an ampere of field */
  double winding_ohm, diode_v, cable_ohm;
  double field_ohm, field_h;
  double set_v, sense_s, gain; /* regulator */
  double rest_v, battery_ohm, layer_ohm, layer_f;
  double base_s, load_s, on_s;                        /* consumers, siemens */
  double field_a, sense_v, layer_v, smooth_a, mean_a; /* state */
} charging;

static charging make_charging(plb_draw *draw) {
  const double shaft_per_s =
      plb_between(draw, 1450, 1650) / 60.0 * plb_part(draw, 2.6, 0.02); /* pulley 2.6: common practice */
  charging c = {.turn_rad_s = plb_two_pi * 6.0 * shaft_per_s};          /* six pole pairs: common practice */
  c.upper[0] = 1.0 - plb_fault(draw, "open-diode");
  c.upper[1] = c.upper[2] = 1.0;
  c.theta = plb_between(draw, 0, plb_two_pi);
  c.volt_per_a = plb_part(draw, 4.4, 0.04) * c.turn_rad_s / 2500.0; /* Faraday: grows with the speed; from memory */
  c.slip = 0.02 * plb_fault(draw, "slipping-belt");
  c.winding_ohm = plb_part(draw, 0.15, 0.05); /* from memory: resistance and reactance together */
  c.diode_v = 1.6;                            /* two diodes: common practice */
  c.cable_ohm = plb_part(draw, 4.0e-3, 0.08) + plb_joint_ohm(plb_fault(draw, "joint"), 45e-3) +
                plb_joint_ohm(plb_fault(draw, "poor-ground"), 40e-3);
  c.field_ohm = plb_part(draw, 2.8, 0.04) +
                plb_joint_ohm(plb_fault(draw, "weak-field"), 14.0); /* rotor, some ohms: common practice */
  c.field_h = plb_part(draw, 0.60, 0.06); /* answers in some tenths of a second: common practice */
  c.set_v = plb_part(draw, 14.25, 0.005) + 1.6 * plb_fault(draw, "overcharge"); /* common practice: 13.8 to 14.7 V */
  c.sense_s = plb_part(draw, 0.006, 0.1) * plb_scaled(plb_fault(draw, "slow-regulator"), 120.0);
  c.gain = 6.0; /* duty for each volt that is missing: from memory */
  const double worn = plb_fault(draw, "weak-battery");
  c.rest_v = 12.75;
  c.battery_ohm = plb_part(draw, 5.5e-3, 0.08) * (1.0 + 4.0 * worn); /* common practice: some milliohms */
  c.layer_ohm = plb_part(draw, 0.25, 0.08);                          /* takes some amperes when full: common practice */
  c.layer_f = plb_part(draw, 35.0, 0.08) * (1.0 - 0.75 * worn);      /* tens of farads: from memory */
  c.base_s = 1.0 / plb_part(draw, 0.60, 0.06);                       /* ignition, pump, fans: common practice */
  c.load_s = 1.0 / plb_part(draw, 0.32, 0.04);                       /* lamps and rear window: common practice */
  c.on_s = plb_between(draw, 0.8, 1.2);
  return c;
}

/* Two nodes: what flows in is what the bridge lifts over the battery; the battery stands where its current and the consumers' balance. */
static double terminals(charging *c, double bridge, bool cable_open, double on_share, double dt_s) {
  const double loads = c->base_s + c->load_s * on_share;
  const double inner_v = c->rest_v + c->layer_v;
  const double alone_v = inner_v / (1.0 + c->battery_ohm * loads); /* without the alternator */
  const double inner_ohm = c->battery_ohm / (1.0 + c->battery_ohm * loads);
  const double held_a = 15.0; /* what a slack belt still drives: from memory */
  const double grip = 1.0 / (1.0 + c->slip * fmax(0.0, c->mean_a - held_a));
  const double lift = grip * c->volt_per_a * c->field_a * bridge - c->diode_v - alone_v;
  const double wanted_a = cable_open ? 0.0 : fmax(0.0, lift / (c->winding_ohm + c->cable_ohm + inner_ohm));
  c->smooth_a =
      wanted_a + (c->smooth_a - wanted_a) * exp(-dt_s / 12e-6); /* leakage inductance rounds the tops: from memory */
  c->mean_a += (c->smooth_a - c->mean_a) * (1.0 - exp(-dt_s / 0.02)); /* the rotor's inertia */
  const double v = alone_v + inner_ohm * c->smooth_a;
  const double battery_a = (v - inner_v) / c->battery_ohm; /* into it */
  c->layer_v += (battery_a - c->layer_v / c->layer_ohm) / c->layer_f * dt_s;
  if (c->layer_v < 0.0)
    c->layer_v += 0.9 * (0.0 - c->layer_v) * fmin(1.0, dt_s / 0.5); /* below rest the plates feed it */
  return v;
}

static void regulate(charging *c, double alternator_v, double dt_s) {
  c->sense_v += (alternator_v - c->sense_v) * (1.0 - exp(-dt_s / c->sense_s));
  const double duty = fmax(0.0, fmin(1.0, 0.35 + c->gain * (c->set_v - c->sense_v)));
  c->field_a = plb_rl_current(c->field_a, duty * alternator_v, c->field_ohm, c->field_h, dt_s);
}

static double mean_bridge(const charging *c) {
  double sum = 0.0;
  for (int i = 0; i < 360; i++)
    sum += plb_bridge_v(plb_two_pi * i / 360.0, c->upper, NULL) / 360.0;
  return sum;
}

static double step(charging *c, double bridge, bool cable_open, double on_share, double dt_s) {
  const double v = terminals(c, bridge, cable_open, on_share, dt_s);
  regulate(c, v + c->smooth_a * c->cable_ohm, dt_s);
  return v;
}

static plb_status simulate_charging(plb_draw *draw, plb_error *err) {
  (void)err;
  charging c = make_charging(draw);
  plb_contact cable;
  plb_contact_plan(draw, "intermittent-contact", 3.0, 0.0, 0.06, &cable);
  const double dt_s = 1.0 / draw->rate_hz, mean = mean_bridge(&c), before_s = 20.0, coarse_s = 2e-3;
  c.sense_v = c.set_v;
  c.field_a = 2.0;
  c.layer_v = 1.0;
  double v = c.set_v;
  for (double t = 0.0; t < before_s; t += coarse_s) /* what was before, without ripple */
    v = step(&c, mean, false, 0.0, coarse_s);
  draw->supply_v = v;
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i * dt_s, since = t - c.on_s;
    /* cold filaments take more at first: common practice */
    const double on = since > 0.0 ? 1.0 + 0.7 * exp(-since / 0.03) : 0.0;
    c.theta = fmod(c.theta + c.turn_rad_s * dt_s, plb_two_pi);
    draw->x[0][i] = step(&c, plb_bridge_v(c.theta, c.upper, NULL), plb_contact_is_open(&cable, t), on, dt_s);
  }
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"weak-field", PLB_FAULT_TRACK, PLB_IN_COMPONENT, "brushes worn: too little field, the battery carries the load"},
    {"overcharge", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "regulator sets too high"},
    {"slow-regulator", PLB_FAULT_SENSOR, PLB_IN_COMPONENT,
     "regulator senses slowly: deep dip after a load, then too high"},
    {"open-diode", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one diode open: deep ripple"},
    {"slipping-belt", PLB_FAULT_STUCK, PLB_IN_COMPONENT,
     "belt slips the more the alternator must give: voltage sags with the load"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the charging cable: lower the more flows"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "charging cable opens now and then"},
    {"weak-battery", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "battery worn: deep dip under load"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "ground strap has resistance"},
};
static const plb_model_reason reasons[] = {
    {PLB_FAULT_SHORT, "a short from the main cable blows its fuse: nothing is left to record"},
    {PLB_FAULT_INTERFERENCE,
     "the battery's milliohms hold its posts still; what sparks add gets into the test lead: pick-up"}};

const plb_model_family plb_charging_voltage = {
    .name = "charging-voltage",
    .type = "charging-voltage",
    .text = "battery voltage at raised idle when a large load is switched on",
    .channel = {{"battery", "V", "across the battery posts", PLB_BY_PROBE, 20.0, 0.008, 0, 14.0, 2.0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 20e3,
    .duration_s = 3.0,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_TRACK | PLB_HAS_DRIVER | PLB_HAS_SENSING | PLB_HAS_LIKE_PARTS |
           PLB_HAS_MOTION,
    .fault = faults,
    .faults = sizeof faults / sizeof faults[0],
    .reason = reasons,
    .reasons = 2,
    .simulate = simulate_charging};
