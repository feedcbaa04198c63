/*
 * Ignition coil. Primary: exact exponential rise through the transistor, limited; switched off, the primary rings up
 * until the gap breaks down or the transistor's clamp (350..500 V, data sheet of an ignition driver) holds; then the
 * burn line, reflected by the turns ratio; when the energy is used up the rest rings out with the coil's inductance
 * and capacitance (plb_ring). Secondary: the same event seen by a capacitive pick-up, uncalibrated; on a wasted-spark
 * coil half the cylinders are inverted.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

enum { PLUGS = 4, PRIMARY_VOLTAGE = 0, PRIMARY_CURRENT, SECONDARY, COMMAND };

typedef struct coil {
  double supply_v, ohm, henry, limit_a, on_v, clamp_v, dwell_s, ground_ohm;
  double kept; /* share of the energy that a leak leaves */
  double spark_v[PLUGS], burn_v[PLUGS], burn_s[PLUGS], burn_rise[PLUGS]; /* as the primary sees them */
  plb_ring tail;
  double rise_s, full_a;
} coil;

static coil make_coil(plb_draw *draw) {
  const double shorted = 1.0 - 0.55 * plb_fault(draw, "shorted-turns");
  /* charging voltage: common practice */
  coil c = {.supply_v = plb_between(draw, 13.6, 14.3) - 4.5 * plb_fault(draw, "weak-supply")};
  draw->supply_v = c.supply_v;
  /* primary of half an ohm, wiring a tenth: common practice */
  /* ground of the driver: the current no longer reaches its limit, half the energy is left and it misfires under load: common practice.
   * Of a coil with its own driver: two volts of drop, and the command no longer reaches its threshold: computed */
  const bool own_driver = draw->family == &plb_coil_command;
  c.ground_ohm = plb_joint_ohm(plb_fault(draw, "poor-ground"), own_driver ? 0.3 : 1.4);
  c.ohm = plb_part(draw, 0.60, 0.04) * shorted + 0.12 + plb_joint_ohm(plb_fault(draw, "joint"), 4.0) + c.ground_ohm;
  c.kept = 1.0 - 0.7 * plb_fault(draw, "leak-to-ground");
  /* some millihenry, so that the dwell of idle fills it: common practice */
  c.henry = plb_part(draw, 3.2e-3, 0.03) * shorted * shorted;
  /* the driver holds 7 to 8 A: common practice */
  c.limit_a = plb_part(draw, 7.5, 0.02);
  /* saturated transistor: common practice */
  c.on_v = plb_part(draw, 0.9, 0.05);
  /* 350 to 500 V: data sheet of an ignition driver, VERIFIED */
  c.clamp_v = plb_part(draw, 390.0, 0.02) * (1.0 - 0.6 * plb_fault(draw, "weak-clamp"));
  /* about three milliseconds at charging voltage: common practice */
  c.dwell_s = plb_part(draw, 2.9e-3, 0.02) * (1.0 - 0.7 * plb_fault(draw, "short-dwell"));
  /* the secondary fires within some ten microseconds: from memory */
  c.rise_s = plb_part(draw, 14e-6, 0.05) + 60e-6 * plb_fault(draw, "slow-driver");
  c.full_a = c.limit_a;
  const int bad = (int)plb_random_below(&draw->part, PLUGS);
  /* turns ratio near a hundred: common practice */
  const double ratio = plb_part(draw, 85.0, 0.02) *
                       shorted; /* secondary over primary turns; here shorted turns are in the secondary too */
  for (int k = 0; k < PLUGS; k++) {
    const double wide = k == bad ? plb_fault(draw, "wide-gap") : 0.0,
                 fouled = k == bad ? plb_fault(draw, "fouled-plug") : 0.0;
    /* some 10 to 20 kV at idle: common practice */
    c.spark_v[k] = plb_part(draw, 19e3, 0.04) * (1.0 + 0.9 * wide) * (1.0 - 0.7 * fouled) / 70.0;
    /* burn line of about a kilovolt: common practice */
    c.burn_v[k] = plb_part(draw, 1150.0, 0.03) * (1.0 + 0.8 * wide) * (1.0 - 0.45 * fouled) / ratio + 10.0;
    /* one to two milliseconds: common practice */
    c.burn_s[k] = plb_part(draw, 1.5e-3, 0.03) * (1.0 - 0.55 * wide) * (1.0 + 0.5 * fouled);
    /* slope of the burn line: from memory */
    c.burn_rise[k] = plb_part(draw, 0.18, 0.08) + 0.25 * plb_fault(draw, "resistive-lead");
    c.burn_v[k] *= 1.0 + 0.5 * plb_fault(draw, "resistive-lead");
  }
  /* four to six swings after the burn: common practice; parts from memory */
  c.tail = plb_ring_of(plb_part(draw, 42.0, 0.05) / shorted, 6.0e-3, plb_part(draw, 0.20e-6, 0.04));
  return c;
}

typedef struct event {
  double off_a; /* current reached */
  double spark_v, burn_v, burn_s, peak_v;
  int plug;
} event;

/* Energy counts: half the current is a quarter of the burn, and a weak coil cannot reach the breakdown of the
 * gap at all. */
static event begin_event(const coil *c, plb_draw *draw, int plug) {
  event e = {.plug = plug};
  e.off_a = fmin(c->limit_a, plb_rl_current(0.0, c->supply_v - c->on_v, c->ohm, c->henry, c->dwell_s));
  const double energy = c->kept * e.off_a * e.off_a * c->henry / (7.5 * 7.5 * 3.2e-3);
  const double reach_v = 620.0 * sqrt(energy);
  e.spark_v = c->spark_v[plug] * (1.0 + 0.04 * plb_normal(draw));
  e.burn_v = c->burn_v[plug] * (1.0 + 0.02 * plb_normal(draw));
  e.burn_s = c->burn_s[plug] * (1.0 + 0.04 * plb_normal(draw)) * fmin(1.3, energy);
  e.peak_v = fmin(fmin(e.spark_v, c->clamp_v), reach_v);
  if (e.peak_v < e.spark_v) /* no spark: the clamp or the coil itself takes the energy */
    e.burn_s = 0.0;
  return e;
}

/* Volts at the switched wire, t after switching off. */
static double after_off(const coil *c, const event *e, double t, double burn_rise) {
  const double peak_s = c->rise_s;
  if (t < peak_s)
    return c->on_v + (e->peak_v - c->on_v) * sin(0.5 * plb_pi * t / peak_s);
  const double since = t - peak_s;
  if (since < e->burn_s || e->burn_s <= 0.0) {
    if (e->burn_s <= 0.0) /* rings down from the peak without a spark */
      return c->supply_v + plb_ring_at(&c->tail, 0.55 * e->peak_v, 0.0, since);
    const double share = since / e->burn_s;
    const double line =
        c->supply_v + e->burn_v * (1.0 - 0.10 * sin(plb_pi * fmin(1.0, share * 1.6)) + burn_rise * share * share);
    /* leakage inductance rings when the gap breaks down */
    return line +
           (e->peak_v - line) * exp(-since / 9e-6) * cos(plb_two_pi * 60e3 * since) * (since < 90e-6 ? 1.0 : 0.0);
  }
  const double after = since - e->burn_s;
  return c->supply_v + plb_ring_at(&c->tail, e->burn_v * 1.1, 0.0, after);
}

static double on_current(const coil *c, double t) {
  const double free_a = plb_rl_current(0.0, c->supply_v - c->on_v, c->ohm, c->henry, t);
  return fmin(free_a, c->limit_a);
}

/* In limiting, the transistor takes what the coil does not: the switched wire comes up. */
static double on_voltage(const coil *c, double t) {
  const double a = on_current(c, t);
  const bool limiting = a >= c->limit_a;
  return limiting ? c->supply_v - a * (c->ohm - c->ground_ohm) : c->on_v - 0.15 + (0.02 + c->ground_ohm) * a;
}

typedef struct ignition_set {
  int view;   /* PRIMARY_VOLTAGE ... */
  int sparks; /* of this coil in two turns of the crank */
  int plugs;
  bool inverts; /* wasted spark: every other firing of the lead is seen upside down */
} ignition_set;

static double view(const ignition_set *set, const coil *c, const event *e, double t_on, double t_off, double sign) {
  if (set->view == PRIMARY_CURRENT || set->view == COMMAND)
    return t_off >= 0.0 ? e->off_a * exp(-t_off / (0.4 * c->rise_s)) : t_on >= 0.0 ? on_current(c, t_on) : 0.0;
  if (set->view == PRIMARY_VOLTAGE)
    return t_off >= 0.0  ? after_off(c, e, t_off, c->burn_rise[e->plug])
           : t_on >= 0.0 ? on_voltage(c, t_on)
                         : c->supply_v;
  /* secondary: what is seen over supply, times an unknown share; the start of dwell rings a little the other way */
  const double swing =
      t_off >= 0.0  ? after_off(c, e, t_off, c->burn_rise[e->plug]) - c->supply_v
      : t_on >= 0.0 ? -14.0 * exp(-t_on / 0.9e-3) * (1.0 - 0.8 * cos(plb_two_pi * 7e3 * t_on) * exp(-t_on / 0.25e-3))
                    : 0.0;
  return -sign * swing * 0.010;
}

static plb_status simulate_ignition(plb_draw *draw, plb_error *err) {
  (void)err;
  const ignition_set *set = draw->family->set;
  const coil c = make_coil(draw);
  /* uncalibrated: common practice */
  const double coupling = set->view == SECONDARY ? plb_between(draw, 0.85, 1.15) : 1.0;
  const double period_s = 120.0 / (draw->speed_per_min * set->sparks), dt_s = 1.0 / draw->rate_hz;
  plb_contact contact;
  plb_contact_plan(draw, "intermittent-contact", 0.2 / period_s, 1.05 * period_s, 2.5 * period_s, &contact);
  double off_s = period_s * plb_between(draw, 0.2, 0.9);
  int plug = (int)plb_random_below(&draw->part, (uint64_t)set->plugs);
  event e = begin_event(&c, draw, plug);
  const double leak = plb_fault(draw, "leak-to-ground");
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i * dt_s;
    if (t > off_s + 0.55 * period_s) {
      off_s += period_s * (1.0 + 0.003 * plb_normal(draw));
      plug = (plug + 1) % set->plugs;
      e = begin_event(&c, draw, plug);
    }
    const double sign = set->inverts && plug % 2 ? -1.0 : 1.0;
    double v = coupling * view(set, &c, &e, t - (off_s - c.dwell_s), t - off_s, sign);
    if (plb_contact_is_open(&contact, t))
      v = 0.0;
    /* the leak divides what stands on the switched wire or takes part of the current; the lead of a plug only has less energy */
    draw->x[0][i] = leak > 0.0 && set->view != SECONDARY ? v / (1.0 + 1.5 * leak) : v;
    if (set->view == COMMAND) {
      const bool on = t >= off_s - c.dwell_s && t < off_s;
      const double high = 4.6 - 2.4 * plb_fault(draw, "weak-command"), low = 0.08;
      /* against the coil's ground, which the current lifts over that of the control unit */
      draw->x[1][i] = on ? high - c.ground_ohm * on_current(&c, t - (off_s - c.dwell_s)) : low;
    }
  }
  return PLB_OK;
}

static const plb_model_fault primary_faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns of the coil shorted: little energy, few rings"},
    {"weak-clamp", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "driver's clamp conducts too early: no spark voltage"},
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "driver switches off slowly"},
    {"short-dwell", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "control unit charges the coil too briefly"},
    {"wide-gap", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one plug's gap too wide: high, short"},
    {"fouled-plug", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one plug fouled or its gap bridged: low, long"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the primary circuit"},
    {"resistive-lead", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the secondary: burn line high and steep"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "switched wire leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "driver's ground has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply of the coil too low"},
};
enum { PRIMARY_FAULTS = sizeof primary_faults / sizeof primary_faults[0] };
/* The current ends where the spark begins: plugs and leads do not show in it. */
static const plb_model_fault current_faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns of the coil shorted: the current rises too steeply"},
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "driver switches off slowly"},
    {"short-dwell", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "control unit charges the coil too briefly"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the primary circuit"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "part of the current returns past the clamp"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "driver's ground has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply of the coil too low"},
};
enum { CURRENT_FAULTS = sizeof current_faults / sizeof current_faults[0] };
static const plb_model_fault command_faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns of the coil shorted: the current rises too steeply"},
    {"short-dwell", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "control unit charges the coil too briefly"},
    {"weak-command", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "command from the control unit low"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the primary circuit"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "coil's ground has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply of the coil too low"},
};
enum { COMMAND_FAULTS = sizeof command_faults / sizeof command_faults[0] };
enum { HAS = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_LIKE_PARTS | PLB_HAS_CODE };
static const plb_model_reason reasons[] = {
    {PLB_FAULT_INTERFERENCE, "the ignition is itself the source"},
    {PLB_FAULT_SHORT, "a shorted command never charges the coil: that is a missing signal"}};

/* One coil with a distributor: four plugs in turn, so dwell has its distributor degrees (plb_dwell_deg()). */
static const ignition_set set_voltage = {PRIMARY_VOLTAGE, 4, 4, false}, set_current = {PRIMARY_CURRENT, 4, 4, false};
static const ignition_set set_wasted = {SECONDARY, 4, 4, true}, set_command = {COMMAND, 1, 1, false};

const plb_model_family plb_coil_primary_voltage = {
    .name = "coil-primary-voltage",
    .type = "coil-primary-voltage",
    .text = "ignition coil with distributor, switched wire, idle",
    .channel = {{"primary", "V", "switched wire of the coil against ground, attenuator rated above 500 V", PLB_BY_PROBE,
                 500.0, 0.25, 0}},
    .channels = 1,
    .cycle = "edge:level=100V,slope=rising", /* the spark; below it limiting, burn line and ringing cross too */
    .rate_hz = 400e3,
    .duration_s = 0.3,
    .low_per_min = 720,
    .high_per_min = 880,
    .has = HAS,
    .fault = primary_faults,
    .faults = PRIMARY_FAULTS,
    .reason = reasons,
    .reasons = 1,
    .simulate = simulate_ignition,
    .set = &set_voltage};

const plb_model_family plb_coil_primary_current = {
    .name = "coil-primary-current",
    .type = "coil-primary-current",
    .text = "ignition coil with distributor, primary current, idle",
    .channel = {{"primary-current", "A", "clamp round the coil's supply wire", PLB_BY_CLAMP, 20.0, 0.02, 20e3}},
    .channels = 1,
    .cycle = "edge:level=1A,slope=rising",
    .rate_hz = 100e3,
    .duration_s = 0.4,
    .low_per_min = 720,
    .high_per_min = 880,
    .has = HAS & ~(unsigned)PLB_HAS_LIKE_PARTS,
    .fault = current_faults,
    .faults = CURRENT_FAULTS,
    .reason = reasons,
    .reasons = 1,
    .simulate = simulate_ignition,
    .set = &set_current};

const plb_model_family plb_coil_secondary = {
    .name = "coil-secondary",
    .type = "coil-secondary",
    .text = "secondary by capacitive pick-up, wasted spark, idle: shape and time only, never kilovolts",
    .channel = {{"secondary", "V", "capacitive pick-up round an ignition lead, uncalibrated", PLB_BY_PICK_UP, 5.0, 0.01,
                 0}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 250e3,
    .duration_s = 0.5,
    .low_per_min = 720,
    .high_per_min = 880,
    .has = HAS,
    .fault = primary_faults,
    .faults = PRIMARY_FAULTS,
    .reason = reasons,
    .reasons = 1,
    .simulate = simulate_ignition,
    .set = &set_wasted};

const plb_model_family plb_coil_command = {
    .name = "coil-command",
    .type = "coil-command",
    .text = "coil on plug with its own driver: current and command, idle",
    .channel = {{"primary-current", "A", "clamp round the coil's supply wire", PLB_BY_CLAMP, 20.0, 0.02, 20e3},
                {"command", "V", "command wire against the coil's ground", PLB_BY_PROBE, 10.0, 0.01, 0}},
    .channels = 2,
    .cycle = "edge:level=50%states,slope=rising,channel=command",
    .rate_hz = 100e3,
    .duration_s = 1.2,
    .low_per_min = 720,
    .high_per_min = 880,
    .has = HAS & ~(unsigned)PLB_HAS_LIKE_PARTS,
    .fault = command_faults,
    .faults = COMMAND_FAULTS,
    .reason = reasons,
    .reasons = 2,
    .simulate = simulate_ignition,
    .set = &set_command};
