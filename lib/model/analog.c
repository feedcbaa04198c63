/*
 * Pressure sensors with three wires (three_wire.h): fuel rail, cylinder. A gauge bridge behind a hose or passage; what
 * differs is the pressure over time: a function for each.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"
#include "model/three_wire.h"

/* What one drawn quantity needs; meaning by quantity. */
typedef struct quantity {
  double level, swing, noise, phase;
  double per_part[4];
  double clogged; /* kind PLB_FAULT_STUCK: what makes the quantity itself wrong */
} quantity;

typedef struct analog_set {
  quantity (*make)(plb_draw *draw);
  /* share of the sensor's supply, 0..1; turns: of the crank, 0 where there is none */
  double (*at)(const quantity *q, double t_s, double turns);
  double lag_s;
  int cranking;           /* 0: no crank, 1: running, 2: cranked */
  double lowest, highest; /* share at which the sensor's output stops */
} analog_set;

static double bell(double x) { return exp(-0.5 * x * x); }

/* Common rail or port rail: pump strokes and injections ripple on the regulated level. */
static quantity make_rail(plb_draw *draw) {
  /* regulated pressure as a share of the sensor's range, ripple of strokes and injections: from memory */
  quantity q = {.level = plb_part(draw, 0.34, 0.025) * (1.0 - 0.45 * plb_fault(draw, "air-leak")),
                .swing = plb_part(draw, 0.030, 0.08)};
  for (int k = 0; k < 4; k++)
    q.per_part[k] = plb_part(draw, 1.0, 0.05);
  q.per_part[(int)plb_random_below(&draw->part, 4)] *= 1.0 + 2.5 * plb_fault(draw, "leaking-valve");
  q.clogged = plb_fault(draw, "blocked-path");
  return q;
}
static double rail_at(const quantity *q, double t_s, double turns) {
  const double stroke = turns * 2.0, at = stroke - floor(stroke);
  const int k = (int)fmod(floor(stroke), 4.0);
  const double drop = at < 0.12 ? at / 0.12 : 1.0 - (at - 0.12) / 0.88;
  return q->level - q->swing * q->per_part[k] * (drop - 0.5) * (1.0 + 2.0 * q->clogged) +
         q->clogged * 0.05 * sin(plb_two_pi * 1.7 * t_s);
}

/* In-cylinder pressure, plug out, compression 10; cranked from about ambient, running from the manifold's
 * vacuum. A transducer of 20 bar. */
static quantity make_cylinder(plb_draw *draw) {
  /* polytropic exponent 1.2 to 1.35: from memory */
  quantity q = {.level = plb_part(draw, 1.25, 0.006), .swing = 1.0 - 0.75 * plb_fault(draw, "leaking-valve")};
  q.phase = plb_fault(draw, "air-leak") * 0.06; /* cam late, in turns of the crank */
  q.clogged = plb_fault(draw, "blocked-path");
  q.noise = draw->family->low_per_min < 500.0 ? 1.0 : 0.38; /* bar in the manifold */
  return q;
}
static double valve(double deg, double at) { return 1.0 / (1.0 + exp(-(deg - at) / 6.0)); }
static double cylinder_at(const quantity *q, double t_s, double turns) {
  (void)t_s;
  const double cycle = turns / 2.0,
               deg = (cycle - floor(cycle)) * 720.0 - 360.0; /* 0: top dead centre of compression */
  const double shift = q->phase * 360.0, compression = 10.0, rod = 3.3;
  const double close = -140.0 + shift, open = 140.0 + shift; /* intake valve shuts, exhaust valve opens */
  const double start = plb_cylinder_volume(plb_two_pi * close / 360.0, compression, rod);
  const double now = plb_cylinder_volume(plb_two_pi * deg / 360.0, compression, rod);
  const double loss = deg > 0.0 ? 0.90 : 1.0;
  const double closed_bar = plb_polytropic_pa(q->noise * 1e5, start / now, q->level) * 1e-5 * loss;
  const double sealed = q->noise + (closed_bar - q->noise) * q->swing;
  const double exhaust = 1.02 + 0.5 * q->clogged * bell((fabs(deg) - 250.0) / 60.0), intake = q->noise;
  const double is_exhaust = deg > 0.0 ? valve(deg, open) : 1.0 - valve(deg, -360.0 + 12.0 + shift);
  const double is_intake = deg > 0.0 ? 0.0 : valve(deg, -360.0 + 12.0 + shift) * (1.0 - valve(deg, close));
  const double bar = sealed * (1.0 - fmin(1.0, is_exhaust + is_intake)) + exhaust * is_exhaust + intake * is_intake;
  return 0.10 + 0.04 * bar;
}

static plb_status simulate_analog(plb_draw *draw, plb_error *err) {
  (void)err;
  const analog_set *set = draw->family->set;
  plb_rotation r = {0};
  if (set->cranking)
    r = plb_rotation_crank(draw, 4, set->cranking == 2);
  const quantity q = set->make(draw);
  const plb_three_wire wires = plb_three_wire_draw(draw);
  plb_element element = plb_element_draw(draw, set->lag_s, set->lowest, set->highest);
  /* charging voltage: common practice */
  draw->supply_v = plb_between(draw, 13.6, 14.3);
  double *x = draw->x[0];
  if (set->cranking)
    plb_rotate(&r, draw->rate_hz, draw->n, x);
  for (size_t i = 0; i < draw->n; i++) {
    const double share = plb_element_step(&element, set->at(&q, (double)i / draw->rate_hz, x[i]));
    x[i] = plb_three_wire_v(&wires, share, 0.0);
  }
  plb_three_wire_disturb(draw);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"air-leak", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "leak in what is measured (in the cylinder: valve timing late)"},
    {"biased-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "output too high throughout"},
    {"weak-span", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "output changes too little"},
    {"lazy-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "sensor or its hose slow"},
    {"leaking-valve", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT,
     "a valve of one cylinder, an injector or the controlled valve leaks or sticks"},
    {"blocked-path", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "filter, exhaust or moving part blocked"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wire: low"},
    {"leak-to-supply", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to 5 V"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "5 V of the sensor low"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
enum { FAULTS = sizeof faults / sizeof faults[0] };
enum { HAS = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_SENSING | PLB_HAS_LIKE_PARTS | PLB_HAS_MOTION };

static const analog_set set_rail = {make_rail, rail_at, 1e-3, 1, 0.05, 0.95};
static const analog_set set_cylinder_cranking = {make_cylinder, cylinder_at, 1e-4, 2, 0.0, 1.0};
static const analog_set set_cylinder_running = {make_cylinder, cylinder_at, 1e-4, 1, 0.0, 1.0};

const plb_model_family plb_rail_pressure = {
    .name = "rail-pressure",
    .type = "fuel-rail-pressure",
    .text = "fuel-rail pressure sensor, idle",
    .channel = {{"rail", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.005, 0}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 20e3,
    .duration_s = 1.6,
    .low_per_min = 720,
    .high_per_min = 880,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_analog,
    .set = &set_rail};
const plb_model_family plb_cylinder_pressure_cranking = {
    .name = "cylinder-pressure-cranking",
    .type = "cylinder-pressure-cranking",
    .text = "pressure in one cylinder by transducer in place of the plug, cranking; 0.2 V a bar from 0.5 V",
    .channel = {{"cylinder", "V", "output of the transducer", PLB_BY_PROBE, 5.0, 0.006, 0}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 20e3,
    .duration_s = 3,
    .low_per_min = 180,
    .high_per_min = 260,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_analog,
    .set = &set_cylinder_cranking};
const plb_model_family plb_cylinder_pressure_running = {
    .name = "cylinder-pressure-running",
    .type = "cylinder-pressure-running",
    .text = "pressure in one cylinder without its spark, idle; 0.2 V a bar from 0.5 V",
    .channel = {{"cylinder", "V", "output of the transducer", PLB_BY_PROBE, 5.0, 0.006, 0}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 50e3,
    .duration_s = 1.5,
    .low_per_min = 740,
    .high_per_min = 880,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_analog,
    .set = &set_cylinder_running};
