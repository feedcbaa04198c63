/*
 * Brush motor: each commutator bar is a hump of current. Armature: L di/dt = V - e(theta) - R(theta) i; while a brush
 * bridges two bars their coil is shorted and R is lower. Speed settles where torque of motor and load meet; the
 * load's torque falls with speed.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"
#include "model/draw.h"

typedef struct motor_set {
  int bars;
  double ampere, per_s, ohm, henry; /* typical current and speed at 13.8 V; all of the path */
  double load_slope;                /* share of the torque that goes with speed */
} motor_set;

enum { MOST_BARS = 24 };

typedef struct motor {
  int bars;
  double supply_v, ohm, henry, emf_v, per_s, bad_ohm[MOST_BARS], uneven[MOST_BARS];
  double brush_ohm; /* chance part of the contact's resistance */
} motor;

static motor make_motor(plb_draw *draw, const motor_set *set) {
  motor m = {.bars = set->bars};
  const double weak = plb_fault(draw, "weak-supply");
  /* charging voltage: common practice */
  m.supply_v = plb_between(draw, 13.5, 14.3);
  const double ampere = plb_part(draw, set->ampere, 0.05), per_s = plb_part(draw, set->per_s, 0.04);
  const double ohm = plb_part(draw, set->ohm, 0.04);
  m.henry = plb_part(draw, set->henry, 0.06);
  for (int k = 0; k < set->bars; k++)
    /* bars differ by some parts in a hundred: from memory */
    m.uneven[k] = 0.007 * plb_normal(draw);
  const int bad = (int)plb_random_below(&draw->part, (uint64_t)set->bars);
  const double emf_v = m.supply_v - ampere * ohm;
  m.bad_ohm[bad] = 0.9 * ohm * plb_fault(draw, "bad-bar");
  draw->supply_v = m.supply_v - 4.0 * weak;
  m.supply_v -= 4.0 * weak;
  m.ohm = ohm + plb_joint_ohm(plb_fault(draw, "joint-in-supply"), 1.6) +
          plb_joint_ohm(plb_fault(draw, "poor-ground"), 1.3) + 0.35 * ohm * plb_fault(draw, "worn-brushes");
  const double shorted = plb_fault(draw, "shorted-turns");
  const double torque = 1.0 + 0.9 * plb_fault(draw, "drag") - 0.55 * plb_fault(draw, "no-load");
  /* (V - E r) / R = I T (1 - a + a r), solved for the speed ratio r */
  const double a = set->load_slope, field = 1.0 - 0.25 * shorted, iload = ampere * torque / field;
  const double ratio = fmax(0.02, (m.supply_v - iload * m.ohm * (1.0 - a)) / (emf_v * field + iload * m.ohm * a));
  m.emf_v = emf_v * field * ratio;
  m.per_s = per_s * ratio;
  for (int k = 0; k < 2; k++) /* the coil that is shorted passes the brushes twice a turn */
    m.bad_ohm[(bad + k * set->bars / 2) % set->bars] -= 0.3 * ohm * shorted;
  /* contact: from memory */
  m.brush_ohm = ohm * (0.006 + 0.45 * plb_fault(draw, "worn-brushes"));
  return m;
}

static plb_status simulate_motor(plb_draw *draw, plb_error *err) {
  (void)err;
  const motor m = make_motor(draw, draw->family->set);
  plb_rotation rotation = plb_rotation_even(draw, m.per_s, 0.004);
  plb_random chance;
  plb_random_seed(&chance, plb_random_next(&draw->part));
  double *x = draw->x[0];
  plb_rotate(&rotation, draw->rate_hz, draw->n, x);
  const double dt_s = 1.0 / draw->rate_hz, k = m.henry / dt_s;
  double amp = (m.supply_v - m.emf_v) / m.ohm, contact_ohm = 0.0;
  long bar_before = -1;
  for (size_t i = 0; i < draw->n; i++) {
    const double at = x[i] * m.bars;
    const long bar = (long)at;
    const double u = at - (double)bar;
    if (bar != bar_before) {
      contact_ohm = m.brush_ohm * fabs(plb_random_normal(&chance));
      bar_before = bar;
    }
    const int which = (int)(bar % m.bars);
    /* the bridged coil: about a quarter of the bar, with soft ends */
    const double bridged = u < 0.28 ? sin(plb_pi * u / 0.28) : 0.0;
    const double hump = u * (1.0 - u) * 4.0;
    const double ohm = m.ohm * (1.0 - 0.06 * bridged) + m.bad_ohm[which] * hump + contact_ohm;
    const double emf = m.emf_v * (1.0 + m.uneven[which] * hump + 0.06 - 0.09 * hump);
    amp = (k * amp + m.supply_v - emf) / (k + ohm); /* backward Euler */
    x[i] = amp;
  }
  plb_break_signal(draw, 0, "intermittent-contact", 12.0, 0.0, 4e-3, 0.0, 1e-4);
  plb_add_interference(draw, 0, "ignition-interference", 0.25 * draw->family->channel[0].range);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"bad-bar", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT,
     "one commutator bar or its coil has resistance: one low hump a turn"},
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT,
     "one armature coil shorted: two high humps a turn, more current"},
    {"worn-brushes", PLB_FAULT_TRACK, PLB_IN_COMPONENT, "brushes worn: uneven contact, ragged humps"},
    {"drag", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "pump or bearing drags: slow, more current"},
    {"no-load", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "nothing to move (pump runs dry, fan loose): fast, less current"},
    {"joint-in-supply", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the supply wire or connector"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "resistance in the ground wire"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply too low"},
};
enum { FAULTS = sizeof faults / sizeof faults[0] };
static const plb_model_reason reasons[] = {
    {PLB_FAULT_SHORT, "a short past the motor blows its fuse: nothing is left to record"}};
enum {
  HAS = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_MOTION | PLB_HAS_LIKE_PARTS | PLB_HAS_TRACK |
        PLB_HAS_SENSING
};

/* eight bars, some five to six amperes, 5,500 turns a minute: common practice; resistance, inductance, slope of the load: from memory */
static const motor_set set_pump = {8, 5.6, 92.0, 1.15, 0.16e-3, 0.5};

const plb_model_family plb_fuel_pump_current = {
    .name = "fuel-pump-current",
    .type = "fuel-pump-current",
    .text = "electric fuel pump, brush motor of eight bars, at pressure",
    .channel = {{"pump-current", "A", "clamp round the supply wire of the pump", PLB_BY_CLAMP, 10.0, 0.02, 20e3}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 50e3,
    .duration_s = 0.8,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .reason = reasons,
    .reasons = 1,
    .simulate = simulate_motor,
    .set = &set_pump};

/* twelve bars, fourteen amperes, 2,500 turns a minute: common practice; resistance, inductance, slope of the load: from memory */
static const motor_set set_blower = {12, 14.0, 42.0, 0.36, 0.09e-3, 0.8};

const plb_model_family plb_blower_current = {
    .name = "blower-current",
    .type = "blower-motor",
    .text = "heater blower, brush motor of twelve bars, full speed",
    .channel = {{"blower-current", "A", "clamp round the supply wire of the blower", PLB_BY_CLAMP, 20.0, 0.04, 20e3}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 50e3,
    .duration_s = 1.0,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .reason = reasons,
    .reasons = 1,
    .simulate = simulate_motor,
    .set = &set_blower};
