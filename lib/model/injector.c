/*
 * Port injector, switched to ground by a transistor with a clamp.
 *
 * Electrical: L di/dt = u - R i - i v dL/dx, exact exponential over each sample. Off, the transistor clamps: the
 * current falls against the clamp (plb_clamp_decay_s()), then the node falls back to supply, lifted by the flux that
 * eddy currents keep alive. Mechanical: a needle between two stops; force goes with flux squared, and it takes less
 * flux to hold than to lift. Its motion is seen as a bend in the rising current and a hump in the decaying voltage;
 * both depend on the current that was reached. Common practice.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

typedef struct coil {
  double ohm, henry, on_ohm, supply_v, clamp_v, ground_ohm, edge_s;
  double eddy_s, lift_a, hold_a, mobility, coupling; /* flux is counted in amperes of a settled current */
  double leak_ohm;                                   /* from the switched wire to ground; 0: none */
} coil;

typedef struct needle {
  double lift, speed_per_s; /* 0 closed .. 1 open */
} needle;

static coil make_coil(plb_draw *draw) {
  const double shorted = 1.0 - 0.6 * plb_fault(draw, "shorted-turns");
  const double stuck = plb_fault(draw, "stuck-needle");
  /* charging voltage of a running engine: common practice */
  coil c = {.supply_v = plb_between(draw, 13.6, 14.4) - 4.5 * plb_fault(draw, "weak-supply")};
  draw->supply_v = c.supply_v;
  /* a warm engine bay: common practice */
  draw->temperature_cel = plb_between(draw, 70, 95);
  const double copper = 1.0 + 0.00393 * (draw->temperature_cel - 20.0); /* temperature coefficient of copper */
  /* high-resistance injector, 12 to 16 ohm: common practice */
  c.ohm = plb_part(draw, 12.2, 0.02) * copper * shorted + plb_joint_ohm(plb_fault(draw, "joint-in-supply"), 60.0);
  /* about ten millihenry, so that the current takes a millisecond: from memory */
  c.henry = plb_part(draw, 11.0e-3, 0.03) * shorted * shorted;
  /* driver and wire: from memory */
  c.on_ohm = plb_part(draw, 0.35, 0.10) + plb_joint_ohm(plb_fault(draw, "joint-to-driver"), 40.0);
  c.ground_ohm = plb_joint_ohm(plb_fault(draw, "poor-ground"), 6.0);
  /* 48 / 53 / 58 V: data sheet of an injector driver, VERIFIED */
  c.clamp_v = plb_part(draw, 53.0, 0.02) * (1.0 - 0.6 * plb_fault(draw, "weak-clamp"));
  c.edge_s = 2e-6 + 250e-6 * plb_fault(draw, "slow-driver");
  /* flux lags the current: from memory */
  c.eddy_s = plb_part(draw, 0.45e-3, 0.05);
  /* the bend stands at about half the final current: common practice */
  c.lift_a = plb_part(draw, 0.44, 0.04);
  /* holding takes less than lifting: common practice; value from memory */
  c.hold_a = plb_part(draw, 0.20, 0.04);
  /* opens in about a millisecond: common practice; value from memory */
  c.mobility = plb_part(draw, 4.5e6, 0.06) * (1.0 - 0.9 * stuck);
  c.coupling = 0.10 * (1.0 - stuck);
  const double leak = plb_fault(draw, "leak-to-ground");
  c.leak_ohm = leak > 0.0 ? 6.0 + 200.0 * (1.0 - leak) / leak : 0.0;
  return c;
}

static void move_needle(const coil *c, needle *n, double flux_a, double dt_s) {
  const double needed = c->lift_a - (c->lift_a - c->hold_a) * n->lift;
  const double force = fmin(4.0, (flux_a / needed) * (flux_a / needed) - 1.0);
  n->speed_per_s += c->mobility * force * dt_s;
  n->lift += n->speed_per_s * dt_s;
  if (n->lift <= 0.0 || n->lift >= 1.0) { /* hits a stop and bounces a little */
    n->lift = n->lift <= 0.0 ? 0.0 : 1.0;
    n->speed_per_s *= -0.12;
  }
}

typedef struct node {
  double amp, volt, flux_a, drive_v; /* drive_v: what drives the current, behind the driver's edges */
} node;

/* One sample with the transistor on or off. */
static void step_coil(const coil *c, bool on, needle *n, node *s, double dt_s) {
  const double motion_v = s->amp * n->speed_per_s * c->coupling * c->henry;
  const double low_ohm = c->on_ohm + c->ground_ohm;
  double target;
  const double drive_v = on ? c->supply_v - 0.06 : c->supply_v - c->clamp_v;
  s->drive_v = drive_v + (s->drive_v - drive_v) * exp(-dt_s / c->edge_s);
  if (on) {
    s->amp = fmax(0.0, plb_rl_current(s->amp, s->drive_v - motion_v, c->ohm + low_ohm, c->henry, dt_s));
    target = 0.06 + s->amp * low_ohm + 0.2 * c->ground_ohm;
  } else {
    s->amp = plb_rl_current(s->amp, s->drive_v - motion_v, c->ohm, c->henry, dt_s);
    const double eddy_v = 5.0e-3 * s->flux_a / c->eddy_s - 9.0e-3 * s->flux_a * n->speed_per_s * (c->coupling / 0.10);
    target = s->amp > 0.0 ? c->clamp_v + 1.0 * s->amp : c->supply_v + eddy_v;
    s->amp = fmax(0.0, s->amp);
  }
  if (c->leak_ohm > 0.0)
    target = fmin(target, c->supply_v * c->leak_ohm / (c->leak_ohm + c->ohm) + 0.1 * target);
  const double fall_s = !on && s->amp <= 0.0 ? fmax(c->edge_s, 45e-6) : c->edge_s;
  s->volt = target + (s->volt - target) * exp(-dt_s / fall_s);
  s->flux_a = s->amp + (s->flux_a - s->amp) * exp(-dt_s / c->eddy_s);
  move_needle(c, n, s->flux_a, dt_s);
}

static plb_status simulate_injector(plb_draw *draw, plb_error *err) {
  (void)err;
  const bool volts = draw->family == &plb_injector_voltage;
  const coil c = make_coil(draw);
  const double period_s = 120.0 / draw->speed_per_min, dt_s = 1.0 / draw->rate_hz;
  /* at hot idle: common practice */
  const double pulse_s = plb_between(draw, 2.4e-3, 3.2e-3);
  double on_s = period_s * plb_between(draw, 0.1, 0.9), off_s = on_s + pulse_s;
  const double rest_v = c.leak_ohm > 0.0
                            ? fmin(c.supply_v, c.supply_v * c.leak_ohm / (c.leak_ohm + c.ohm) + 0.1 * c.supply_v)
                            : c.supply_v;
  const double rest_a = c.leak_ohm > 0.0 ? c.supply_v / (c.ohm + c.leak_ohm) : 0.0;
  needle n = {0, 0};
  node s = {0.0, rest_v, 0.0, 0.0};
  double *x = draw->x[0];
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i * dt_s;
    if (t < on_s) {
      x[i] = volts ? rest_v : rest_a;
      continue;
    }
    step_coil(&c, t < off_s, &n, &s, dt_s);
    x[i] = volts ? s.volt : s.amp + (t < off_s ? 0.0 : rest_a);
    if (t < off_s + 9e-3)
      continue;
    on_s += period_s * (1.0 + 0.008 * plb_normal(draw));
    off_s = on_s + pulse_s * (1.0 + 0.006 * plb_normal(draw));
    n = (needle){0, 0};
    s = (node){0.0, rest_v, 0.0, 0.0};
  }
  plb_break_signal(draw, 0, "intermittent-contact", 0.15 / period_s, 1.05 * period_s, 2.0 * period_s, volts ? 0.8 : 0.0,
                   volts ? 1e-4 : 0.0);
  plb_add_interference(draw, 0, "ignition-interference", volts ? 12.0 : 0.4);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT,
     "turns of the coil shorted: less resistance and inductance, more current"},
    {"stuck-needle", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "needle drags or does not move: no bend, no hump"},
    {"weak-clamp", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "clamp of the driver conducts too early: low, long flyback"},
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "driver switches slowly"},
    {"joint-in-supply", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance between supply and injector"},
    {"joint-to-driver", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance between injector and driver"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "switched wire leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "ground of the driver has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply too low"},
};
enum { FAULTS = sizeof faults / sizeof faults[0] };
enum { HAS = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_MOTION };

const plb_model_family plb_injector_voltage = {
    .name = "injector-voltage",
    .type = "injector-voltage",
    .text = "port injector, voltage of the switched wire, hot idle",
    .channel = {{"injector", "V", "switched wire at the injector, against battery ground", PLB_BY_PROBE, 80.0, 0.03,
                 0}},
    .channels = 1,
    .cycle = "edge:level=7V,slope=falling",
    .rate_hz = 100e3,
    .duration_s = 1.2,
    .low_per_min = 720,
    .high_per_min = 900,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_injector};

const plb_model_family plb_injector_current = {
    .name = "injector-current",
    .type = "injector-current",
    .text = "port injector, current, hot idle",
    .channel = {{"injector-current", "A", "clamp round one wire of the injector", PLB_BY_CLAMP, 2.0, 0.006, 20e3}},
    .channels = 1,
    .cycle = "edge:level=0.2A,slope=rising",
    .rate_hz = 100e3,
    .duration_s = 1.2,
    .low_per_min = 720,
    .high_per_min = 900,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_injector};
