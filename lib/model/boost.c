/*
 * Boost pressure on a full-load pull: a turbine on the exhaust spins a compressor, whose pressure fills the charge-air pipe; a waste
 * gate holds the pressure through a slow actuator, whence one overshoot; lifting off opens the dump valve. A gauge bridge behind a
 * short hose turns it into a voltage.
 *
 * Compressor: pressure rises with the square of its speed (Euler's equation of turbomachines; from memory); shaft: J w dw/dt = turbine
 * power - compressor power - bearing loss. Part values *from memory*, scaled to the speed that gives the wanted pressure.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"
#include "model/three_wire.h"

typedef struct charger {
  double spin_s;                /* time constant of the shaft at full gas */
  double gas;                   /* turbine power at full load, against what holds the wanted pressure */
  double wanted_bar, leak;      /* over the surroundings; leak: share of the compressor's flow at the wanted pressure */
  double fill_s, dump_s;        /* filling of the pipe; emptying through the dump valve */
  double gate_s, gain, reset_s; /* actuator; controller */
  double stuck;                 /* how little the gate follows */
  double on_s, off_s;
  double speed, gate, sum, bar; /* state; speed: 1 gives the wanted pressure */
} charger;

static charger make_charger(plb_draw *draw) {
  charger c = {.wanted_bar = plb_part(draw, 0.90, 0.02)}; /* common practice: about a bar */
  const double blocked = plb_fault(draw, "blocked-path");
  c.on_s = plb_between(draw, 0.8, 1.1);
  c.off_s = c.on_s + plb_part(draw, 3.6, 0.015);                 /* a pull of a set length */
  c.spin_s = plb_part(draw, 0.55, 0.05) * (1.0 + 1.5 * blocked); /* common practice: a second or so to full boost */
  c.gas = plb_part(draw, 1.6, 0.03) * (1.0 - 0.45 * blocked);    /* the gate has room to spare */
  c.leak = 0.9 * plb_fault(draw, "air-leak");
  c.fill_s = plb_part(draw, 0.06, 0.06); /* some litres of pipe and cooler */
  c.dump_s = plb_part(draw, 0.16, 0.06);
  /* actuator and controller, so that one overshoot of a tenth is left: from memory */
  c.gate_s = plb_part(draw, 0.14, 0.06);
  c.gain = plb_part(draw, 1.3, 0.04);
  c.reset_s = plb_part(draw, 0.55, 0.04);
  c.stuck = plb_fault(draw, "leaking-valve");
  c.speed = 0.12;
  return c;
}

static double limit(double x, double low, double high) { return fmax(low, fmin(high, x)); }

/* @return bar over the surroundings in the pipe */
static double charger_step(charger *c, double t_s, double dt_s) {
  const bool full = t_s >= c->on_s && t_s < c->off_s;
  const double off = c->wanted_bar - c->bar;
  /* the gate opens as the pressure nears what is wanted; the controller's sum holds while its output is at a stop */
  const double asked = 0.4 - c->gain * off - c->sum;
  if (full && asked > 0.0 && asked < 1.0)
    c->sum += off * c->gain / c->reset_s * dt_s;
  const double to = full ? limit(asked, 0.0, 1.0) : 0.0;
  c->gate += (to * (1.0 - c->stuck) - c->gate) / (c->gate_s * (1.0 + 3.0 * c->stuck)) * dt_s;
  /* divided by J w: turbine power grows with the gas, the compressor's with the cube of the speed */
  const double turbine = (full ? c->gas : 0.03) * (1.0 - c->gate),
               load = c->speed * c->speed * c->speed * (1.0 + c->leak);
  c->speed = fmax(0.05, c->speed + (turbine - load) / (c->spin_s * fmax(0.25, c->speed)) * dt_s);
  const double head_bar = c->wanted_bar * c->speed * c->speed, held = 1.0 - 0.6 * c->leak;
  const bool dumped = !full && t_s >= c->off_s;
  const double goal = dumped ? 0.0 : head_bar * held;
  c->bar += (goal - c->bar) / (dumped ? c->dump_s : c->fill_s) * dt_s;
  return c->bar;
}

static plb_status simulate_boost(plb_draw *draw, plb_error *err) {
  (void)err;
  const plb_rotation r = plb_rotation_crank(draw, 4, false);
  charger c = make_charger(draw);
  const plb_three_wire wires = plb_three_wire_draw(draw);
  plb_element gauge = plb_element_draw(draw, 9e-3, 0.02, 0.98); /* sensor and hose: from memory */
  const double per_bar = 0.38,
               at_air = 0.40; /* share of 5 V: 2 V at one bar absolute, 250 kPa at full scale: common practice */
  draw->supply_v = plb_between(draw, 13.6, 14.3);
  double *x = draw->x[0];
  plb_rotate(&r, draw->rate_hz, draw->n, x);
  const int steps = (int)ceil(1.0 / (1.0e-3 * draw->rate_hz));
  const double dt_s = 1.0 / (draw->rate_hz * steps);
  for (double t = -1.0; t < 0.0; t += 1.0e-3)
    charger_step(&c, t, 1.0e-3);
  for (size_t i = 0; i < draw->n; i++) {
    double bar = 0.0;
    for (int k = 0; k < steps; k++)
      bar = charger_step(&c, (double)i / draw->rate_hz, dt_s);
    const double strokes = 0.010 * sin(plb_two_pi * 2.0 * x[i]); /* bar, each intake stroke */
    x[i] = plb_three_wire_v(&wires, plb_element_step(&gauge, at_air + per_bar * (bar + strokes)), 0.0);
  }
  plb_three_wire_disturb(draw);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"air-leak", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "charge-air pipe leaks: late and low"},
    {"biased-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT,
     "one gauge of the bridge changed: output too high throughout"},
    {"weak-span", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "membrane stiff: output changes too little"},
    {"lazy-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "hose narrowed or sooted: slow"},
    {"leaking-valve", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT,
     "waste gate or its actuator sticks: slow to open, not far enough"},
    {"blocked-path", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "filter or exhaust blocked, shaft drags: spins up late"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wire: low"},
    {"leak-to-supply", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to 5 V"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "5 V of the sensor low"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};

const plb_model_family plb_boost_pressure = {
    .name = "boost-pressure",
    .type = "boost-pressure",
    .text = "boost pressure sensor, full load from raised speed, then lift off",
    .channel = {{"boost", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 5e3,
    .duration_s = 7,
    .low_per_min = 2200,
    .high_per_min = 2600,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_SENSING | PLB_HAS_LIKE_PARTS | PLB_HAS_MOTION,
    .fault = faults,
    .faults = sizeof faults / sizeof faults[0],
    .simulate = simulate_boost};
