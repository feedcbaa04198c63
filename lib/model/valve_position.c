/*
 * Position of an exhaust-gas valve: a brush motor moves the valve against a spring, its drive is a bridge under a position controller,
 * and a potentiometer on the shaft tells where it stands. Equation of motion in units of the stroke: m x'' = K i - F0 - c x - b x' -
 * friction, i = (u - K x')/R with the winding's inductance left out (it answers in less than a millisecond).
 *
 * Part values *from memory*, chosen so that the valve opens in about a tenth of a second (*common practice*).
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/three_wire.h"

typedef struct valve {
  double mass, spring_0, spring, damping, friction; /* forces per ampere of a good motor */
  double winding_ohm, motor, most_a, bridge_v;      /* motor: force for an ampere, volts for a stroke a second */
  double supply_v;
  double seat, stop; /* where the travel ends */
  double open_s, shut_s, target;
  double at, speed, sum; /* state */
} valve;

static valve make_valve(plb_draw *draw) {
  const double shorted = plb_fault(draw, "shorted-turns");
  /* moving parts, spring, friction: from memory */
  valve v = {.mass = plb_part(draw, 3.2e-3, 0.05)};
  v.spring_0 = plb_part(draw, 0.50, 0.04);
  v.spring = plb_part(draw, 0.40, 0.04);
  /* oil and soot: from memory */
  v.damping = plb_part(draw, 0.03, 0.1);
  v.friction = plb_part(draw, 0.08, 0.1) * plb_scaled(plb_fault(draw, "stiff"), 24.0);
  /* motor of three ohms: common practice; force from memory */
  v.winding_ohm =
      plb_part(draw, 3.0, 0.03) * (1.0 - 0.5 * shorted) + plb_joint_ohm(plb_fault(draw, "motor-joint"), 14.0);
  v.motor = plb_part(draw, 1.0, 0.03) * (1.0 - 0.72 * shorted);
  v.most_a = 2.5; /* the bridge limits */
  v.bridge_v = 0.6 + 9.0 * plb_fault(draw, "weak-driver");
  /* key on, engine off: common practice */
  draw->supply_v = plb_between(draw, 12.2, 12.7) - 9.0 * plb_fault(draw, "weak-motor-supply");
  v.supply_v = draw->supply_v;
  v.seat = 0.45 * plb_fault(draw, "sooted-seat");
  v.stop = 1.12;
  v.open_s = plb_between(draw, 0.5, 0.7);
  /* the maker's test, opened for about a second: from memory */
  v.shut_s = v.open_s + plb_part(draw, 1.2, 0.02);
  v.target = plb_part(draw, 1.0, 0.008);
  return v;
}

/* Soot grows while the valve stands shut: it starts on its seat and comes back to lie on the soot. */
static void valve_step(valve *v, double t_s, double dt_s) {
  const bool open = t_s >= v->open_s && t_s < v->shut_s;
  const double off = (open ? v->target : 0.0) - v->at, can_v = fmax(0.0, v->supply_v - v->bridge_v);
  const double wanted_v = 34.0 * off + v->sum - 1.1 * v->speed, u = fmax(-can_v, fmin(can_v, wanted_v));
  if (u == wanted_v)
    v->sum += 80.0 * off * dt_s;
  if (!open)
    v->sum = 0.0;
  const double amp = fmax(-v->most_a, fmin(v->most_a, (u - v->motor * v->speed) / v->winding_ohm));
  const double force = v->motor * amp - v->spring_0 - v->spring * v->at - v->damping * v->speed;
  /* dry friction holds what is slow and pushed too little, and never pushes by itself */
  const double free_speed = v->speed + force / v->mass * dt_s, brake = v->friction / v->mass * dt_s;
  v->speed = fabs(free_speed) <= brake ? 0.0 : free_speed - copysign(brake, free_speed);
  v->at += v->speed * dt_s;
  const double seat = t_s >= v->shut_s ? v->seat : 0.0;
  if (v->at < seat || v->at > v->stop) {
    v->at = fmax(seat, fmin(v->stop, v->at));
    v->speed = 0.0;
  }
}

/* The wiper's contact over a worn place comes and goes; between, some kilohms of film stay. */
typedef struct wiper {
  double worn, worn_at, good_ohm, track_ohm, open;
  plb_random lift;
} wiper;

static wiper make_wiper(plb_draw *draw) {
  wiper w = {.worn = plb_fault(draw, "worn-track")};
  w.worn_at = plb_between(draw, 0.85, 0.99); /* where the valve mostly stands */
  /* wiper and track of some kilohms: common practice */
  w.good_ohm = plb_part(draw, 800.0, 0.2);
  w.track_ohm = plb_part(draw, 4.0e3, 0.05);
  plb_random_seed(&w.lift, plb_random_next(&draw->event));
  return w;
}

static double wiper_ohm(wiper *w, double at, size_t i, double share) {
  if (i % 8 == 0)
    w->open = plb_random_uniform(&w->lift);
  const bool lifted = w->worn > 0.0 && fabs(at - w->worn_at) < 0.03 + 0.15 * w->worn && w->open < w->worn;
  return w->good_ohm + w->track_ohm * share * (1.0 - share) + (lifted ? 400e3 * w->worn * w->open : 0.0);
}

static plb_status simulate_valve_position(plb_draw *draw, plb_error *err) {
  (void)err;
  valve v = make_valve(draw);
  const plb_three_wire wires = plb_three_wire_draw(draw);
  wiper w = make_wiper(draw);
  /* about a volt when shut: common practice; travel from memory */
  const double shut = plb_part(draw, 0.18, 0.02) +
                      0.16 * plb_fault(draw, "biased-sensor"), /* 0.9 V shut: common practice */
      travel = plb_part(draw, 0.62, 0.012) * (1.0 - 0.35 * plb_fault(draw, "weak-span"));
  const int steps = (int)ceil(1.0 / (5.0e-5 * draw->rate_hz));
  const double dt_s = 1.0 / (draw->rate_hz * steps);
  for (size_t i = 0; i < draw->n; i++) {
    for (int k = 0; k < steps; k++)
      valve_step(&v, ((double)i * steps + k) * dt_s, dt_s);
    const double share = fmin(0.99, shut + travel * v.at);
    draw->x[0][i] = plb_three_wire_v(&wires, share, wiper_ohm(&w, v.at, i, share));
  }
  plb_three_wire_disturb(draw);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"worn-track", PLB_FAULT_TRACK, PLB_IN_COMPONENT, "track worn where the valve mostly stands: dropouts"},
    {"biased-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "potentiometer turned on its shaft: high throughout"},
    {"weak-span", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "coupling of the potentiometer slips: it moves too little"},
    {"stiff", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "soot on the stem: slow, and it does not open fully"},
    {"sooted-seat", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "soot on the seat: it does not shut"},
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns of the motor shorted: weak"},
    {"weak-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "bridge of the motor drops too much: slow"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wire: low"},
    {"motor-joint", PLB_FAULT_JOINT, PLB_IN_WIRING,
     "resistance in the motor's wires: slow, and it does not open fully"},
    {"leak-to-supply", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to 5 V"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "5 V of the sensor low"},
    {"weak-motor-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply of the motor low: slow, or not at all"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};

const plb_model_family plb_egr_position = {
    .name = "egr-position",
    .type = "egr-position",
    .text = "position sensor of the exhaust-gas valve, opened and shut once",
    .channel = {{"egr", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 5e3,
    .duration_s = 3,
    .has = PLB_HAS_WINDING | PLB_HAS_DRIVER | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_SENSING | PLB_HAS_TRACK |
           PLB_HAS_MOTION,
    .fault = faults,
    .faults = sizeof faults / sizeof faults[0],
    .simulate = simulate_valve_position};
