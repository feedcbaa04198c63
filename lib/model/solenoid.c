/*
 * Solenoids, heaters and motors that a transistor switches: a list of stages in each cycle drives L di/dt = u - R i
 * (exact over each sample). A stage holds the supply or a boosted voltage on the coil, lets the current freewheel
 * through a diode, or takes it down against a clamp; with limits it switches between the two to keep the current.
 * Moving parts show as a bend, as in injector.c.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

enum { MOST_STAGES = 6 };
typedef enum drive { OFF_CLAMP, OFF_FREEWHEEL, ON_SUPPLY, ON_BOOST } drive;

typedef struct stage {
  drive how;
  double share; /* of the period; 0: lasts for_s */
  double for_s;
  double low_a, high_a; /* > 0: chopped between these */
} stage;

typedef struct solenoid_set {
  stage stages[MOST_STAGES];
  int count;
  double period_s; /* 0: two turns of the crank */
  double ohm, henry, clamp_v, boost_v;
  double move_a;                 /* current at which the moving part starts; 0: none moves */
  bool high_side;                /* the switch is towards supply: the test point sits at ground when off */
  int volt_channel, amp_channel; /* -1: not recorded */
} solenoid_set;

typedef struct coil {
  double supply_v, ohm, henry, clamp_v, boost_v, motion_v, move_a, coupling, on_v, edge_s, hold,
      low_ohm; /* motion_v: that a moving part of coupling 1 would induce; from memory; low_ohm: part of a bad joint between test point and driver */
} coil;

static coil make_coil(plb_draw *draw, const solenoid_set *set) {
  const double shorted = 1.0 - 0.6 * plb_fault(draw, "shorted-turns"), stuck = plb_fault(draw, "stuck");
  /* charging voltage: common practice */
  coil c = {.supply_v = plb_between(draw, 13.6, 14.3) - 4.5 * plb_fault(draw, "weak-supply")};
  draw->supply_v = c.supply_v;
  const double joint = plb_joint_ohm(plb_fault(draw, "joint"), 12.0 * set->ohm);
  c.low_ohm = joint / 3.0;
  c.ohm = plb_part(draw, set->ohm, 0.04) * shorted + joint;
  c.henry = plb_part(draw, set->henry, 0.04) * shorted * shorted;
  c.clamp_v = plb_part(draw, set->clamp_v, 0.02);
  /* from a weak supply the converter does not fill the capacitor again before the next opening */
  c.boost_v = plb_part(draw, set->boost_v, 0.015) * (1.0 - 0.6 * plb_fault(draw, "weak-driver")) *
              (1.0 - 0.4 * plb_fault(draw, "weak-supply"));
  /* where the driver limits the current, it returns through the driver's ground: so much resistance that the peak, by which valve or needle
   * is pulled, is not reached in time: common practice */
  const bool limited = set->stages[0].high_a > 0.0;
  if (limited)
    c.ohm += plb_joint_ohm(plb_fault(draw, "poor-ground"), 1.8 * set->ohm);
  c.motion_v = set->boost_v > 0.0 ? 0.5 * set->boost_v : c.supply_v;
  c.move_a = plb_part(draw, set->move_a, 0.03);
  c.coupling = 0.5 * (1.0 - stuck);
  /* saturated driver: common practice */
  c.on_v = plb_part(draw, 0.25, 0.1) + 2.5 * plb_fault(draw, "poor-ground");
  c.edge_s =
      1e-6 + 400e-6 * plb_fault(draw, "slow-driver") * fmin(1.0, set->period_s > 0.0 ? set->period_s * 100.0 : 1.0);
  c.hold = 1.0 - 0.4 * plb_fault(draw, "weak-driver");
  return c;
}

typedef struct coil_state {
  double amp, motion, volt, drive_v; /* drive_v: what drives the current, behind the driver's edges */
  bool chopped_off, moved;
} coil_state;

static double source_of(const coil *c, drive how) {
  switch (how) {
  case ON_BOOST:
    return c->boost_v;
  case ON_SUPPLY:
    return c->supply_v - c->on_v;
  case OFF_FREEWHEEL:
    return -0.8;
  case OFF_CLAMP:
    return c->supply_v - c->clamp_v;
  }
  return 0.0;
}

static void step_coil(const coil *c, const stage *s, const solenoid_set *set, double dt_s, coil_state *state) {
  drive how = s->how;
  if (s->high_a > 0.0) {
    if (state->amp >= s->high_a * c->hold)
      state->chopped_off = true;
    if (state->amp <= s->low_a * c->hold)
      state->chopped_off = false;
    if (state->chopped_off)
      how = OFF_FREEWHEEL;
  }
  const bool on = how == ON_SUPPLY || how == ON_BOOST;
  if (c->move_a > 0.0 && !state->moved && state->amp > c->move_a) {
    state->moved = true;
    state->motion = 1.0;
  }
  if (!on && state->amp < 0.3 * c->move_a)
    state->moved = false;
  state->motion *= exp(-dt_s / 0.25e-3);
  const double back_v = state->motion > 0.01 ? c->coupling * c->motion_v * state->motion : 0.0;
  const double drive_v = source_of(c, how);
  state->drive_v = drive_v + (state->drive_v - drive_v) * exp(-dt_s / c->edge_s);
  state->amp = plb_rl_current(state->amp, state->drive_v - (on ? back_v : 0.0), c->ohm, c->henry, dt_s);
  if (state->amp < 0.0)
    state->amp = 0.0;
  double target;
  if (set->high_side)
    target = on                 ? (how == ON_BOOST ? c->boost_v : c->supply_v - 0.3)
             : state->amp > 0.0 ? (how == OFF_CLAMP ? c->supply_v - c->clamp_v : -0.8)
                                : 0.0;
  else
    target = on                 ? c->on_v + state->amp * c->low_ohm
             : state->amp > 0.0 ? (how == OFF_CLAMP ? c->clamp_v : c->supply_v + 0.8)
                                : c->supply_v;
  state->volt = target + (state->volt - target) * exp(-dt_s / c->edge_s);
}

/*
 * A leak from the switched wire to ground. Switched to ground, it holds the wire between supply and ground and current in the coil while
 * the driver is off, as a divider of coil and leak does; on, the driver bypasses it. Switched to supply, it takes current of its own
 * while the wire is up: some twenty ohm.
 */
static void add_leak(const solenoid_set *set, const coil *c, double leak, double *volt, double *amp) {
  if (leak <= 0.0)
    return;
  const double high_side_ohm = 23.0, share = set->stages[0].high_a > 0.0 ? 0.3 : 0.6;
  if (set->high_side) {
    *amp += fmax(0.0, *volt) * leak / high_side_ohm;
    *volt *= 1.0 - 0.3 * leak; /* the converter gives way */
  } else {
    *amp = fmax(*amp, share * leak * c->supply_v / c->ohm);
    *volt *= 1.0 - share * leak;
  }
}

static plb_status simulate_solenoid(plb_draw *draw, plb_error *err) {
  (void)err;
  const solenoid_set *set = draw->family->set;
  const coil c = make_coil(draw, set);
  const double period_s = set->period_s > 0.0 ? plb_part(draw, set->period_s, 0.01) : 120.0 / draw->speed_per_min;
  /* duty from vehicle to vehicle: from memory */
  const double longer = plb_part(draw, 1.0, 0.05) * (1.0 + 0.35 * plb_fault(draw, "wrong-duty"));
  double end[MOST_STAGES], sum = 0.0;
  for (int k = 0; k < set->count; k++) {
    sum +=
        (k == 0 ? longer : 1.0) * (set->stages[k].share > 0.0 ? set->stages[k].share * period_s : set->stages[k].for_s);
    end[k] = sum;
  }
  const double dt_s = 1.0 / draw->rate_hz, leak = plb_fault(draw, "leak-to-ground");
  double start_s = -period_s * plb_between(draw, 0.15, 0.85);
  coil_state state = {.volt = set->high_side ? 0.0 : c.supply_v};
  const stage rest = set->stages[set->count - 1];
  /* some periods before the capture, so that the current has settled */
  const size_t before = period_s < 0.02 ? (size_t)(10.0 * period_s / dt_s) : 0;
  for (size_t j = 0; j < before + draw->n; j++) {
    const size_t i = j < before ? 0 : j - before;
    double t = (double)j * dt_s - start_s;
    if (t >= period_s) {
      start_s += period_s;
      t -= period_s;
    }
    int k = 0;
    while (k < set->count && t >= end[k])
      k++;
    step_coil(&c, k < set->count ? &set->stages[k] : &rest, set, dt_s, &state);
    double volt = state.volt, amp = state.amp;
    add_leak(set, &c, leak, &volt, &amp);
    if (set->volt_channel >= 0)
      draw->x[set->volt_channel][i] = volt;
    if (set->amp_channel >= 0)
      draw->x[set->amp_channel][i] = amp;
  }
  plb_break_signal(draw, 0, "intermittent-contact", 0.1 / period_s, 1.05 * period_s, 2.0 * period_s, 0.0, 1e-5);
  plb_add_interference(draw, 0, "ignition-interference", 0.3 * draw->family->channel[0].range);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns shorted: less resistance and inductance"},
    {"stuck", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "moving part stuck: no bend in the current"},
    {"weak-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "boost or current limit of the driver low"},
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "driver switches slowly"},
    {"wrong-duty", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "control unit drives too long"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the supply or switched wire"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "switched wire leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "ground of the driver has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply too low"},
};
/* What does not move, or is not regulated, leaves two of them out. */
static const plb_model_fault plain_faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns or part of the element shorted: less resistance"},
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "driver switches slowly"},
    {"wrong-duty", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "control unit drives too long"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the supply or switched wire"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "switched wire leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "ground of the driver has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply too low"},
};
enum { FAULTS = sizeof faults / sizeof faults[0], PLAIN_FAULTS = sizeof plain_faults / sizeof plain_faults[0] };
enum {
  HAS_PLAIN = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_CODE,
  HAS = HAS_PLAIN | PLB_HAS_MOTION
};

/* pulled in by 4 A, held at 1 A, coil of two ohms: common practice; times, inductance and clamp from memory */
static const solenoid_set set_peak_hold = {{{ON_SUPPLY, 0, 1.3e-3, 3.9, 4.0},
                                            {OFF_FREEWHEEL, 0, 0.25e-3, 0, 0},
                                            {ON_SUPPLY, 0, 1.8e-3, 0.9, 1.05},
                                            {OFF_CLAMP, 0, 1e-3, 0, 0}},
                                           4,
                                           0,
                                           2.0,
                                           2.2e-3,
                                           45.0,
                                           0,
                                           2.2,
                                           false,
                                           -1,
                                           0};
/* 65 V, 11 A, then 2 to 3 A: common practice; coil and times from memory */
static const solenoid_set set_boosted = {{{ON_BOOST, 0, 0.34e-3, 10.6, 11.0},
                                          {OFF_CLAMP, 0, 0.15e-3, 0, 0},
                                          {ON_SUPPLY, 0, 0.75e-3, 2.4, 2.9},
                                          {OFF_CLAMP, 0, 1e-3, 0, 0}},
                                         4,
                                         0,
                                         1.4,
                                         1.3e-3,
                                         65.0,
                                         65.0,
                                         7.0,
                                         true,
                                         1,
                                         0};
/* pulled in by 8 A, held at 3 A: common practice; coil, times and clamp from memory */
static const solenoid_set set_pump_valve = {{{ON_SUPPLY, 0, 2.2e-3, 7.6, 8.0},
                                             {OFF_CLAMP, 0, 0.28e-3, 0, 0},
                                             {ON_SUPPLY, 0, 1.6e-3, 2.6, 3.1},
                                             {OFF_CLAMP, 0, 1e-3, 0, 0}},
                                            4,
                                            0.05,
                                            0.75,
                                            1.6e-3,
                                            40.0,
                                            0,
                                            4.5,
                                            false,
                                            -1,
                                            0};
/* purge valve of some 24 ohm: common practice; frequency, inductance and current of the motion from memory */
static const solenoid_set set_pwm = {{{ON_SUPPLY, 0.40, 0, 0, 0}, {OFF_FREEWHEEL, 0.60, 0, 0, 0}},
                                     2,
                                     1.0 / 120.0,
                                     24.0,
                                     70e-3,
                                     40.0,
                                     0,
                                     0.22,
                                     false,
                                     0,
                                     1};
/* oil valve of 7 to 8 ohm, some hundred hertz: common practice; inductance from memory */
static const solenoid_set set_phaser = {
    {{ON_SUPPLY, 0.48, 0, 0, 0}, {OFF_FREEWHEEL, 0.52, 0, 0, 0}}, 2, 1.0 / 250.0, 7.6, 16e-3, 40.0, 0, 0, false, 0, 1};
/* heater of 8 to 9 ohm hot, switched some ten times a second: common practice; it has hardly any inductance */
static const solenoid_set set_heater = {
    {{ON_SUPPLY, 0.42, 0, 0, 0}, {OFF_CLAMP, 0.58, 0, 0, 0}}, 2, 0.10, 8.6, 20e-6, 40.0, 0, 0, false, 0, 1};
/* command at a hundred hertz, milliamperes only: common practice */
static const solenoid_set set_fan = {
    {{ON_SUPPLY, 0.55, 0, 0, 0}, {OFF_CLAMP, 0.45, 0, 0, 0}}, 2, 0.01, 1200.0, 1e-3, 40.0, 0, 0, false, 0, -1};

const plb_model_family plb_injector_peak_hold = {
    .name = "injector-peak-hold",
    .type = "injector-peak-hold-current",
    .text = "low-ohm port injector with peak and hold driver, current, idle",
    .channel = {{"injector-current", "A", "clamp round one wire of the injector", PLB_BY_CLAMP, 5.0, 0.012, 20e3}},
    .channels = 1,
    .cycle = "edge:level=0.5A,slope=rising",
    .rate_hz = 100e3,
    .duration_s = 1.2,
    .low_per_min = 720,
    .high_per_min = 900,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_solenoid,
    .set = &set_peak_hold};
const plb_model_family plb_injector_boosted = {
    .name = "injector-boosted",
    .type = "injector-direct-current",
    .text = "direct injector, boosted voltage then held, idle: current and voltage",
    .channel = {{"injector-current", "A", "clamp round one wire of the injector", PLB_BY_CLAMP, 20.0, 0.03, 50e3},
                {"injector", "V", "high-side wire against ground; charged to a dangerous voltage", PLB_BY_PROBE, 100.0,
                 0.05, 0}},
    .channels = 2,
    .cycle = "edge:level=1A,slope=rising,channel=injector-current",
    .rate_hz = 200e3,
    .duration_s = 0.8,
    .low_per_min = 720,
    .high_per_min = 900,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_solenoid,
    .set = &set_boosted};
const plb_model_family plb_pump_valve = {
    .name = "high-pressure-pump-valve",
    .type = "high-pressure-pump-valve",
    .text = "valve of the high-pressure fuel pump, current, idle",
    .channel = {{"valve-current", "A", "clamp round one wire of the valve", PLB_BY_CLAMP, 10.0, 0.02, 20e3}},
    .channels = 1,
    .cycle = "edge:level=1A,slope=rising",
    .rate_hz = 100e3,
    .duration_s = 0.6,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .simulate = simulate_solenoid,
    .set = &set_pump_valve};
const plb_model_family plb_pwm_valve = {
    .name = "pwm-valve",
    .type = "pwm-valve",
    .text = "valve driven by pulse width, voltage and current",
    .channel = {{"valve", "V", "switched wire against ground", PLB_BY_PROBE, 20.0, 0.012, 0},
                {"valve-current", "A", "clamp round one wire of the valve", PLB_BY_CLAMP, 2.0, 0.004, 20e3}},
    .channels = 2,
    .cycle = "edge:level=7V,slope=falling,channel=valve",
    .rate_hz = 50e3,
    .duration_s = 0.5,
    .has = HAS_PLAIN,
    .fault = plain_faults,
    .faults = PLAIN_FAULTS,
    .simulate = simulate_solenoid,
    .set = &set_pwm};
const plb_model_family plb_cam_phaser_valve = {
    .name = "cam-phaser-valve",
    .type = "cam-phaser-valve",
    .text = "oil valve of the cam phaser, driven by pulse width, voltage and current",
    .channel = {{"valve", "V", "switched wire against ground", PLB_BY_PROBE, 20.0, 0.012, 0},
                {"valve-current", "A", "clamp round one wire of the valve", PLB_BY_CLAMP, 2.0, 0.004, 20e3}},
    .channels = 2,
    .cycle = "edge:level=7V,slope=falling,channel=valve",
    .rate_hz = 100e3,
    .duration_s = 0.3,
    .has = HAS_PLAIN,
    .fault = plain_faults,
    .faults = PLAIN_FAULTS,
    .simulate = simulate_solenoid,
    .set = &set_phaser};
const plb_model_family plb_oxygen_heater = {
    .name = "oxygen-heater",
    .type = "oxygen-heater",
    .text = "heater of an oxygen sensor, pulsed, voltage and current",
    .channel = {{"heater", "V", "switched wire against ground", PLB_BY_PROBE, 20.0, 0.012, 0},
                {"heater-current", "A", "clamp round the heater's supply wire", PLB_BY_CLAMP, 5.0, 0.01, 20e3}},
    .channels = 2,
    .cycle = "edge:level=7V,slope=falling,channel=heater",
    .rate_hz = 20e3,
    .duration_s = 2.0,
    .has = HAS_PLAIN,
    .fault = plain_faults,
    .faults = PLAIN_FAULTS,
    .simulate = simulate_solenoid,
    .set = &set_heater};
const plb_model_family plb_fan_command = {
    .name = "cooling-fan-pwm",
    .type = "cooling-fan-pwm",
    .text = "command of the cooling fan by pulse width",
    .channel = {{"fan-command", "V", "command wire at the fan's control unit against its ground, connected",
                 PLB_BY_PROBE, 20.0, 0.012, 0}},
    .channels = 1,
    .cycle = "edge:level=7V,slope=falling",
    .rate_hz = 50e3,
    .duration_s = 0.5,
    .has = HAS_PLAIN & ~(unsigned)PLB_HAS_WINDING,
    .fault = plain_faults + 1,
    .faults = PLAIN_FAULTS - 1,
    .simulate = simulate_solenoid,
    .set = &set_fan};
