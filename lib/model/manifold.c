/*
 * Manifold pressure: a plenum that fills through the throttle and is emptied by the cylinders one after another, and a gauge bridge that
 * turns its pressure into a voltage (three_wire.h).
 *
 * Plenum: V/(R T) dp/dt = in - out, isothermal (Heywood, Internal Combustion Engine Fundamentals, chapter 14; from memory). In: a nozzle
 * (plb_nozzle_share()) for throttle and leak. Out: each cylinder takes p/(R T) dV while its intake valve is open, dV by the slider-crank
 * (plb_cylinder_volume()), and gives back what its piston pushes out until the valve shuts after bottom dead centre. When the valve
 * opens, burned gas at exhaust pressure expands out of the clearance volume into the plenum (polytropic): the upstroke of the pulse.
 *
 * Part values: engine of 2.0 litre, plenum of about as much *common practice*; valve timing and residual gas *from memory*.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"
#include "model/three_wire.h"

enum { CYLINDERS = 4 };
static const double air_r = 287.0, air_k = 310.0, air_pa = 1.0e5, air_exponent = 1.4;
static const double compression = 10.0, rod = 3.3, shuts_deg = 225.0; /* intake valve, after top dead centre */
static const double opens_for_deg = 40.0;                             /* while burned gas flows back */

typedef struct plenum {
  double volume_m3, clearance_m3; /* clearance_m3: of one cylinder */
  double throttle_m2, leak_m2;
  double exhaust_pa;
  double takes[CYLINDERS], blows[CYLINDERS]; /* share of a good cylinder's; share of its charge that it blows back */
  double pa, turns;                          /* state */
} plenum;

static double through_kg_s(double m2, double pa) {
  return m2 * air_pa / sqrt(air_r * air_k) * plb_nozzle_share(fmin(1.0, pa / air_pa), air_exponent);
}

static double volume_at(double deg) { return plb_cylinder_volume(deg * plb_pi / 180.0, compression, rod); }

/* By how much the burned gas of the clearance volume grows when it falls to the plenum's pressure. */
static double back_m3(const plenum *p, double pa) {
  return p->clearance_m3 * fmax(0.0, pow(p->exhaust_pa / pa, 1.0 / 1.3) - 1.0);
}

/* Share of an event between two angles of a rounded pulse from `begin` over `length` degrees: 0 before, 1 after it. */
static double pulse_share(double from_deg, double to_deg, double begin, double length) {
  const double a = fmax(0.0, fmin(1.0, (from_deg - begin) / length)), b = fmax(0.0, fmin(1.0, (to_deg - begin) / length));
  return (b - sin(plb_two_pi * b) / plb_two_pi) - (a - sin(plb_two_pi * a) / plb_two_pi);
}

/* What one cylinder takes between two angles of its own cycle, as volume at the plenum's pressure; 0: top dead centre of overlap. */
static double taken_m3(const plenum *p, int k, double from_deg, double to_deg, double pa) {
  double m3 = 0.0;
  if (from_deg < shuts_deg)
    m3 = p->takes[k] * p->clearance_m3 * (volume_at(fmin(to_deg, shuts_deg)) - volume_at(from_deg));
  m3 -= back_m3(p, pa) * pulse_share(from_deg, to_deg, 0.0, opens_for_deg);
  /* a leaking intake valve blows part of the charge back while it is compressed */
  const double charge_m3 = p->clearance_m3 * (volume_at(shuts_deg) - 1.0);
  return m3 - p->blows[k] * charge_m3 * pulse_share(from_deg, to_deg, shuts_deg, 135.0);
}

static void plenum_step(plenum *p, double turns, double dt_s) {
  double m3 = 0.0;
  for (int k = 0; k < CYLINDERS; k++) {
    const double before = p->turns / 2.0 + 0.25 * k, from_deg = (before - floor(before)) * 720.0;
    m3 += taken_m3(p, k, from_deg, from_deg + (turns - p->turns) * 360.0, p->pa);
  }
  const double in_kg = (through_kg_s(p->throttle_m2, p->pa) + through_kg_s(p->leak_m2, p->pa)) * dt_s;
  p->pa = fmax(0.05 * air_pa, p->pa + air_r * air_k / p->volume_m3 * in_kg - p->pa * m3 / p->volume_m3);
  p->turns = turns;
}

/* Opening that lets in, at this pressure and speed, what four good cylinders take. */
static double needed_m2(const plenum *p, double pa, double turns_per_s) {
  const double cycle_m3 = p->clearance_m3 * (volume_at(shuts_deg) - 1.0) - back_m3(p, pa);
  return CYLINDERS * cycle_m3 * pa / (air_r * air_k) * turns_per_s / 2.0 / through_kg_s(1.0, pa);
}

typedef struct manifold_set {
  double pa, spread;          /* good pressure and its spread */
  bool cranking;
  double leak_pa, blocked_pa; /* by how much a leak, and an exhaust that is blocked, lift it at full severity */
} manifold_set;

static plenum make_plenum(plb_draw *draw, const manifold_set *set, double turns_per_s) {
  /* engine of 2.0 litre, plenum of about as much: common practice */
  plenum p = {.volume_m3 = plb_part(draw, 1.8e-3, 0.05), .clearance_m3 = plb_part(draw, 0.5e-3, 0.004) / (compression - 1.0)};
  const double leak = plb_fault(draw, "air-leak"), blocked = plb_fault(draw, "blocked-path");
  for (int k = 0; k < CYLINDERS; k++)
    p.takes[k] = plb_part(draw, 1.0, 0.02); /* common practice: a few per cent */
  const int bad = (int)plb_random_below(&draw->part, CYLINDERS);
  p.blows[bad] = 0.5 * plb_fault(draw, "leaking-valve");
  const double good_pa = plb_part(draw, set->pa, set->spread);
  /* a tenth of a bar of back pressure at idle is too much: common practice. The more burned gas stays, the wider the throttle must be. */
  p.exhaust_pa = (set->cranking ? 1.00e5 : 1.02e5) + 0.5e5 * blocked;
  const double wide_pa = fmin(0.985 * air_pa, good_pa + set->blocked_pa * blocked);
  p.throttle_m2 = needed_m2(&p, wide_pa, turns_per_s);
  const double leak_pa = fmin(0.985 * air_pa, good_pa + set->leak_pa * leak);
  p.leak_m2 = leak > 0.0 ? fmax(0.0, needed_m2(&p, leak_pa, turns_per_s) - p.throttle_m2) : 0.0;
  p.pa = leak > 0.0 ? leak_pa : wide_pa;
  return p;
}

static plb_status simulate_manifold(plb_draw *draw, plb_error *err) {
  (void)err;
  const manifold_set *set = draw->family->set;
  const plb_rotation r = plb_rotation_crank(draw, CYLINDERS, set->cranking);
  plenum p = make_plenum(draw, set, r.per_s);
  const plb_three_wire wires = plb_three_wire_draw(draw);
  plb_element element = plb_element_draw(draw, 4e-3, 0.02, 0.98); /* hose and sensor: from memory */
  const double per_pa = 0.88e-5, at_nought = 0.02; /* share of 5 V; 0.1 V at nought, 4.5 V at the air's: common practice */
  draw->supply_v = plb_between(draw, 13.6, 14.3);  /* charging voltage: common practice */
  const double dt_s = 1.0 / draw->rate_hz;
  double *x = draw->x[0];
  plb_rotate(&r, draw->rate_hz, draw->n, x);
  /* ten turns before the recording, so that the pulses have settled */
  p.turns = x[0] - 10.0;
  while (p.turns + r.per_s * dt_s < x[0])
    plenum_step(&p, p.turns + r.per_s * dt_s, dt_s);
  for (size_t i = 0; i < draw->n; i++) {
    if (x[i] > p.turns)
      plenum_step(&p, x[i], dt_s);
    x[i] = plb_three_wire_v(&wires, plb_element_step(&element, at_nought + per_pa * p.pa), 0.0);
  }
  plb_three_wire_disturb(draw);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"air-leak", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "air leaks in behind the throttle: high, small pulses"},
    {"biased-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "one gauge of the bridge changed: output too high throughout"},
    {"weak-span", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "membrane stiff: output changes too little"},
    {"lazy-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "hose narrowed or oiled: slow"},
    {"leaking-valve", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT,
     "intake valve of one cylinder leaks: it blows back as it compresses"},
    {"blocked-path", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "exhaust blocked: burned gas stays and flows back, pressure high"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wire: low"},
    {"leak-to-supply", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to 5 V"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "5 V of the sensor low"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
enum { FAULTS = sizeof faults / sizeof faults[0] };
enum { HAS = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_SENSING | PLB_HAS_LIKE_PARTS | PLB_HAS_MOTION };

/* a third of a bar at hot idle; a shut throttle pulls a little when cranked, and hardly at all where air leaks in or the exhaust is blocked
 * so that it does not start: common practice */
static const manifold_set set_idle = {0.32e5, 0.04, false, 0.32e5, 0.14e5};
static const manifold_set set_cranking = {0.885e5, 0.01, true, 0.09e5, 0.085e5};

const plb_model_family plb_manifold_pressure_idle = {
    .name = "manifold-pressure-idle",
    .type = "manifold-pressure",
    .text = "manifold pressure sensor, four cylinders, idle",
    .channel = {{"manifold", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0, 1.6, 0.5}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 20e3,
    .duration_s = 1.6,
    .low_per_min = 720,
    .high_per_min = 880,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_manifold,
    .set = &set_idle};
const plb_model_family plb_manifold_pressure_cranking = {
    .name = "manifold-pressure-cranking",
    .type = "manifold-pressure",
    .text = "manifold pressure sensor, four cylinders, cranking, throttle shut",
    .channel = {{"manifold", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0, 4.0, 0.6}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 10e3,
    .duration_s = 3,
    .low_per_min = 180,
    .high_per_min = 260,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_manifold,
    .set = &set_cranking};
