/*
 * Supplies and consumers seen over seconds: sensor supply, drops under load, what a parked vehicle draws,
 * glow plugs, a relay. Each is a source, resistances and something that switches.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

typedef struct rest_noise {
  double hz, volt, phase;
} rest_noise;

static double ripple_at(const rest_noise *r, double t) {
  const double s = sin(plb_two_pi * r->hz * t + r->phase);
  return r->volt * (fabs(s) - 0.6366);
}

static rest_noise draw_ripple(plb_draw *draw, double volt) {
  return (rest_noise){plb_between(draw, 600, 800), plb_part(draw, volt, 0.08), plb_between(draw, 0, 6)};
}

static plb_status simulate_sensor_supply(plb_draw *draw, plb_error *err) {
  (void)err;
  const rest_noise r = draw_ripple(draw, 0.004);
  /* 5 V within 1 %: common practice */
  const double level = plb_part(draw, 5.0, 0.004) - 1.6 * plb_fault(draw, "weak-regulator") -
                       2.2 * plb_fault(draw, "loaded-by-short") + 1.5 * plb_fault(draw, "leak-from-supply");
  /* sensors and control unit load it: from memory */
  const double load_hz = plb_between(draw, 20, 30), joint = 0.9 * plb_fault(draw, "joint"),
               ground_v = 0.6 * plb_fault(draw, "poor-ground");
  const double sag = 0.02 + 0.5 * joint, ripple = 1.0 + 60.0 * plb_fault(draw, "dead-capacitor");
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i / draw->rate_hz;
    const double load = 0.5 + 0.5 * sin(plb_two_pi * load_hz * t);
    draw->x[0][i] = level - joint - sag * load - ground_v * (0.7 + 0.3 * load) + ripple * ripple_at(&r, t);
  }
  /* charging voltage: common practice */
  draw->supply_v = plb_between(draw, 13.6, 14.3);
  plb_break_signal(draw, 0, "intermittent-contact", 10.0, 0.0, 0.02, 0.0, 3e-4);
  plb_add_interference(draw, 0, "ignition-interference", 2.0);
  return PLB_OK;
}

/* Load switched on: I = V / (R + joints), a motor's start draws three times as much. The drop is measured over
 * one side's wiring. */
static plb_status simulate_drop(plb_draw *draw, plb_error *err) {
  (void)err;
  /* charging voltage; a blower of some 19 A: common practice */
  const double supply_v = plb_between(draw, 13.4, 14.2) - 4.0 * plb_fault(draw, "weak-supply"), load_ohm = plb_part(draw, 0.72, 0.04);
  /* a clean side drops a tenth or two of a volt: common practice */
  const double clean_ohm = plb_part(draw, 8e-3, 0.08), joint = plb_joint_ohm(plb_fault(draw, "joint"), 0.35) +
                                                               plb_joint_ohm(plb_fault(draw, "poor-terminal"), 0.20);
  /* other side as clean; the motor runs up in some tenths of a second: common practice */
  const double other = 0.012 + 1.2 * plb_fault(draw, "other-side-joint"), tau_s = plb_part(draw, 0.12, 0.06),
               on_s = plb_between(draw, 0.35, 0.55);
  const double heat = plb_fault(draw, "warming-joint"), drag = 1.0 + 0.9 * plb_fault(draw, "drag"),
               share = plb_fault(draw, "bypass") * 0.75;
  draw->supply_v = supply_v;
  double amp = 0.0;
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i / draw->rate_hz - on_s;
    const double warm = joint + 0.15 * heat * (1.0 - exp(-fmax(0.0, t) / 0.6));
    const double wanted = t > 0.0 ? supply_v / (load_ohm / drag + other + clean_ohm + warm) *
                                        (1.0 + 2.0 * exp(-t / tau_s) / (1.0 + 4.0 * warm))
                                  : 0.0;
    amp = wanted + (amp - wanted) * exp(-1.0 / (2e-3 * draw->rate_hz));
    draw->x[0][i] = amp * (clean_ohm + warm) * (1.0 - share);
  }
  plb_break_signal(draw, 0, "intermittent-contact", 4.0, 0.0, 0.05, supply_v, 1e-4);
  return PLB_OK;
}

/* Control units fall asleep one after another; a good one wakes now and then for a moment. */
static plb_status simulate_parasitic(plb_draw *draw, plb_error *err) {
  (void)err;
  double until_s[4], amp[4];
  /* control units fall asleep over some minutes: common practice; steps from memory */
  static const double typical_s[4] = {20, 65, 150, 260}, typical_a[4] = {2.2, 1.1, 0.45, 0.16};
  for (int k = 0; k < 4; k++) {
    until_s[k] = plb_part(draw, typical_s[k], 0.08) * (1.0 + (k == 1 ? 1.2 * plb_fault(draw, "slow-to-sleep") : 0.0));
    amp[k] = plb_part(draw, typical_a[k], 0.06);
  }
  /* a unit that does not sleep keeps the bus awake and draws an ampere or so; a lamp of 5 to 10 W that stays on was on like the others
   * before: common practice. Acted on above some 50 mA: common practice. */
  const double stays[4] = {0.6 / 2.2 * plb_fault(draw, "lamp-on"), plb_fault(draw, "stays-awake"), 0.0, 0.0},
               /* asleep below 50 mA: common practice */
               rest_a = plb_part(draw, 0.022, 0.10) +
                        0.25 * plb_fault(draw, "leak-to-ground") + 0.35 * plb_fault(draw, "leaky-diode");
  /* a receiver that wakes now and then: from memory */
  const double wake_s = plb_part(draw, 45.0, 0.05), phase_s = plb_between(draw, 0, 45),
               wakes = plb_fault(draw, "wakes-up"), joint = 1.0 - 0.8 * plb_fault(draw, "joint");
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i / draw->rate_hz;
    double sum = rest_a;
    for (int k = 0; k < 4; k++)
      sum += t < until_s[k] ? amp[k] : stays[k] * amp[k];
    const double cycle = fmod(t + phase_s, wake_s * (1.0 - 0.6 * wakes));
    if (cycle < 0.6 + 8.0 * wakes)
      sum += 0.05 + 0.8 * wakes;
    draw->x[0][i] = sum * joint;
  }
  /* a charged battery at rest: common practice */
  draw->supply_v = plb_between(draw, 12.4, 12.7) - 1.5 * plb_fault(draw, "weak-battery");
  for (size_t i = 0; i < draw->n; i++)
    draw->x[0][i] *= 1.0 - 0.3 * plb_fault(draw, "weak-battery");
  plb_break_signal(draw, 0, "intermittent-contact", 0.03, 0.0, 5.0, 0.0, 0.0);
  return PLB_OK;
}

/* Glow plugs: a heater with a regulating coil whose resistance rises several times as it warms. Four in parallel. */
static plb_status simulate_glow(plb_draw *draw, plb_error *err) {
  (void)err;
  /* battery under four plugs: common practice */
  const double supply_v = plb_between(draw, 11.6, 12.2) - 3.0 * plb_fault(draw, "weak-supply"),
               on_s = plb_between(draw, 0.4, 0.6),
               off_s = on_s + plb_part(draw, 7.0, 0.01) * (1.0 - 0.5 * plb_fault(draw, "short-time"));
  /* rail, relay and ground: from memory */
  const double path_ohm = plb_part(draw, 0.020, 0.08) + plb_joint_ohm(plb_fault(draw, "joint"), 0.35) +
                          plb_joint_ohm(plb_fault(draw, "poor-ground"), 0.25);
  double cold[4], warm[4], tau[4], conduct[4], heat[4] = {0};
  const int bad = (int)plb_random_below(&draw->part, 4);
  for (int k = 0; k < 4; k++) {
    /* 15 to 20 A a plug at first, 8 to 10 A when hot, within some seconds: common practice */
    cold[k] = plb_part(draw, 0.55, 0.03);
    warm[k] = plb_part(draw, 1.35, 0.03);
    tau[k] = plb_part(draw, 1.5, 0.04);
    conduct[k] = k == bad ? 1.0 - plb_fault(draw, "open-plug") : 1.0;
  }
  cold[bad] *= 1.0 - 0.55 * plb_fault(draw, "shorted-turns");
  warm[bad] *= 1.0 - 0.65 * plb_fault(draw, "shorted-turns");
  draw->supply_v = supply_v;
  const double leak = 1.0 * plb_fault(draw, "leak-to-ground");
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i / draw->rate_hz;
    double siemens = 0.0;
    for (int k = 0; k < 4; k++)
      siemens += conduct[k] / (cold[k] + (warm[k] - cold[k]) * heat[k]);
    siemens += leak * 1.5;
    const bool on = t > on_s && t < off_s;
    const double amp = on ? supply_v / (path_ohm + 1.0 / siemens) : 0.0;
    draw->x[0][i] = amp;
    const double power = on ? 1.0 / (1.0 + path_ohm * siemens) : 0.0;
    for (int k = 0; k < 4; k++)
      heat[k] += (power - heat[k]) / (tau[k] * draw->rate_hz);
  }
  plb_break_signal(draw, 0, "intermittent-contact", 1.5, 0.0, 0.2, 0.0, 1e-4);
  return PLB_OK;
}

/* Relay: coil current lags, the armature moves, the contact bounces; the coil's diode or resistor limits its
 * kick. Low-side driver. */
static plb_status simulate_relay(plb_draw *draw, plb_error *err) {
  (void)err;
  /* key on, engine off: common practice */
  const double supply_v = plb_between(draw, 12.2, 12.7) - 5.0 * plb_fault(draw, "weak-supply"),
               shorted = 1.0 - 0.6 * plb_fault(draw, "shorted-turns");
  /* coil of 80 to 100 ohm: common practice; inductance from memory */
  const double ohm = plb_part(draw, 88.0, 0.03) * shorted + plb_joint_ohm(plb_fault(draw, "joint"), 120.0),
               henry = plb_part(draw, 0.35, 0.05) * shorted * shorted;
  /* pulls in at half its current, drops at a fifth: common practice; values from memory. It is ampere-turns that pull: with fewer turns
   * it takes more current. */
  const double pull_a = plb_part(draw, 0.062, 0.04) / shorted, drop_a = plb_part(draw, 0.022, 0.06) / shorted,
               move_s = plb_part(draw, 2.6e-3, 0.05) * (1.0 + 5.0 * plb_fault(draw, "stuck"));
  const double on_s = plb_between(draw, 0.018, 0.024), off_s = on_s + 0.06,
               ground_v = 0.01 + 2.5 * plb_fault(draw, "poor-ground");
  const double driver_ohm = 1.0; /* small protected switch, an ohm when warm: common practice */
  const double open_kick = 1.0 + 60.0 * plb_fault(draw, "diode-open"),
               contact_v = 0.04 + 4.0 * plb_fault(draw, "burnt-contact"),
               /* contacts bounce for about a millisecond: common practice */
               bounce = plb_part(draw, 0.5e-3, 0.1) * (1.0 + 5.0 * plb_fault(draw, "burnt-contact"));
  const double leak = plb_fault(draw, "leak-to-ground");
  draw->supply_v = supply_v;
  double amp = 0.0, begun_s = -1.0, dropped_s = -1.0;
  const double dt_s = 1.0 / draw->rate_hz;
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i * dt_s;
    const bool on = t >= on_s && t < off_s;
    amp = fmax(0.0, plb_rl_current(amp, on ? supply_v - ground_v : -0.8 * open_kick,
                                  on ? ohm + driver_ohm : ohm, henry, dt_s));
    if (on && begun_s < 0.0 && amp > pull_a)
      begun_s = t;
    if (!on && begun_s >= 0.0 && dropped_s < 0.0 && amp < drop_a)
      dropped_s = t;
    const double since = begun_s < 0.0 ? -1.0 : t - begun_s - move_s,
                 gone = dropped_s < 0.0 ? -1.0 : t - dropped_s - 1.2e-3;
    const bool bouncing = since >= 0.0 && since < 4.0 * bounce && fmod(since / bounce, 1.0) > 0.75;
    const bool closed = since >= 0.0 && gone < 0.0 && !bouncing;
    draw->x[0][i] = (on ? ground_v + driver_ohm * amp : amp > 0.0 ? supply_v + 0.8 * open_kick : supply_v) * (1.0 - 0.4 * leak);
    draw->x[1][i] = closed ? supply_v - contact_v : 0.0;
  }
  plb_break_signal(draw, 1, "intermittent-contact", 60.0, 0.0, 6e-3, 0.0, 1e-5);
  return PLB_OK;
}

static const plb_model_fault supply_faults[] = {
    {"weak-regulator", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "regulator of the control unit low"},
    {"dead-capacitor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "smoothing capacitor dead: ripple"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the supply wire"},
    {"loaded-by-short", PLB_FAULT_SHORT, PLB_IN_WIRING, "a sensor on the same supply is shorted"},
    {"leak-from-supply", PLB_FAULT_SHORT, PLB_IN_WIRING, "a battery wire leaks into it"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor ground raised"},
};
static const plb_model_fault drop_faults[] = {
    {"drag", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "consumer drags and draws more"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the side that is measured"},
    {"warming-joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "joint that grows as it warms"},
    {"bypass", PLB_FAULT_SHORT, PLB_IN_WIRING, "a second path carries part of the current"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"poor-terminal", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "battery or ground terminal corroded"},
    {"other-side-joint", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND,
     "resistance in the other side: too little current here"},
};
static const plb_model_reason drop_reasons[] = {
    {PLB_FAULT_INTERFERENCE,
     "a cable of some milliohms holds still; what sparks add gets into the test leads: pick-up"}};
static const plb_model_unseen drop_unseen[] = {
    {{"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply too low"},
     "a lower supply drives less current, and the drop for each ampere stays; the voltage at the battery tells"}};
static const plb_model_fault parasitic_faults[] = {
    {"stays-awake", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "one control unit does not sleep"},
    {"slow-to-sleep", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "one control unit sleeps late"},
    {"wakes-up", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one control unit wakes again and again"},
    {"lamp-on", PLB_FAULT_SHORT, PLB_IN_WIRING, "a lamp does not go out with the others"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "part of the current returns past the clamp"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "battery cable opens now and then"},
    {"weak-battery", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "battery nearly empty"},
};
static const plb_model_reason parasitic_reasons[] = {
    {PLB_FAULT_INTERFERENCE, "the ignition is off"},
    {PLB_FAULT_GROUND, "milliamperes drop nothing over a ground strap"}};
static const char steady_leak[] =
    "from the first moment to the last it is like a clamp that is not zeroed: zero it and look again";
static const plb_model_unseen parasitic_unseen[] = {
    {{"leaky-diode", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "a rectifier diode leaks"}, steady_leak},
    {{"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "a wire leaks to ground"}, steady_leak}};
static const plb_model_fault glow_faults[] = {
    {"open-plug", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one of four plugs open"},
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "heater of one plug partly shorted"},
    {"short-time", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "control unit switches off too early"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the rail or supply"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "rail leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "engine ground has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "battery low"},
};
static const plb_model_reason glow_reasons[] = {{PLB_FAULT_INTERFERENCE, "a diesel has no ignition"}};
static const plb_model_fault relay_faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns of the coil shorted"},
    {"stuck", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "armature slow"},
    {"burnt-contact", PLB_FAULT_TRACK, PLB_IN_COMPONENT, "contact burnt: drop and long bounce"},
    {"diode-open", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "diode or resistor across the coil open: high kick"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the coil's wire: slow, or never"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "switched wire leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "load contact opens now and then"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "driver's ground has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply too low"},
};

static const plb_model_reason relay_reasons[] = {
    {PLB_FAULT_INTERFERENCE, "the coil of some ninety ohms holds its wire still, and a spark is over before anything moves"}};

const plb_model_family plb_sensor_supply = {
    .name = "sensor-supply-5v",
    .type = "sensor-supply",
    .text = "5 V supply of the sensors, idle",
    .channel = {{"sensor-supply", "V", "5 V wire against sensor ground, at a connected sensor", PLB_BY_PROBE, 10.0,
                 0.005, 0}},
    .channels = 1,
    .cycle = "steady",
    .rate_hz = 50e3,
    .duration_s = 0.6,
    .has = PLB_HAS_GROUND | PLB_HAS_DRIVER | PLB_HAS_SENSING,
    .fault = supply_faults,
    .faults = sizeof supply_faults / sizeof supply_faults[0],
    .simulate = simulate_sensor_supply};
const plb_model_family plb_supply_drop = {
    .name = "voltage-drop-supply",
    .type = "drop-supply",
    .text = "drop on the supply side when the blower is switched on",
    .channel = {{"drop", "V", "battery positive post against the positive terminal of the consumer", PLB_BY_PROBE, 1.0,
                 0.004, 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 10e3,
    .duration_s = 3.0,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_MOTION,
    .fault = drop_faults,
    .faults = sizeof drop_faults / sizeof drop_faults[0],
    .reason = drop_reasons,
    .reasons = 1,
    .unseen = drop_unseen,
    .unseens = 1,
    .simulate = simulate_drop};
const plb_model_family plb_ground_drop = {
    .name = "voltage-drop-ground",
    .type = "drop-ground",
    .text = "drop on the ground side when the blower is switched on",
    .channel = {{"drop", "V", "ground terminal of the consumer against the battery negative post", PLB_BY_PROBE, 1.0,
                 0.004, 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 10e3,
    .duration_s = 3.0,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_MOTION,
    .fault = drop_faults,
    .faults = sizeof drop_faults / sizeof drop_faults[0],
    .reason = drop_reasons,
    .reasons = 1,
    .unseen = drop_unseen,
    .unseens = 1,
    .simulate = simulate_drop};
const plb_model_family plb_parasitic_draw = {
    .name = "parasitic-draw",
    .type = "parasitic-draw",
    .text = "battery current after locking, until everything sleeps",
    .channel = {{"battery-current", "A", "sensitive clamp round the battery's ground cable", PLB_BY_CLAMP, 5.0, 0.002,
                 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 100,
    .duration_s = 400,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_SENSING | PLB_HAS_LIKE_PARTS | PLB_HAS_MOTION,
    .fault = parasitic_faults,
    .faults = sizeof parasitic_faults / sizeof parasitic_faults[0],
    .reason = parasitic_reasons,
    .reasons = 2,
    .unseen = parasitic_unseen,
    .unseens = 2,
    .simulate = simulate_parasitic};
const plb_model_family plb_glow_current = {
    .name = "glow-plug-current",
    .type = "glow-plug-current",
    .text = "four glow plugs, current from cold",
    .channel = {{"glow-current", "A", "clamp round the supply of the glow rail", PLB_BY_CLAMP, 100.0, 0.15, 5e3}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 2e3,
    .duration_s = 9,
    .has = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_LIKE_PARTS,
    .fault = glow_faults,
    .faults = sizeof glow_faults / sizeof glow_faults[0],
    .reason = glow_reasons,
    .reasons = 1,
    .simulate = simulate_glow};
const plb_model_family plb_relay = {
    .name = "relay",
    .type = "relay",
    .text = "relay switched on and off once: coil wire and load contact",
    .channel = {{"coil", "V", "switched wire of the coil against ground", PLB_BY_PROBE, 100.0, 0.03, 0},
                {"contact", "V", "load contact against ground", PLB_BY_PROBE, 20.0, 0.012, 0}},
    .channels = 2,
    .cycle = "once",
    .rate_hz = 200e3,
    .duration_s = 0.12,
    .has = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_MOTION | PLB_HAS_TRACK,
    .fault = relay_faults,
    .faults = sizeof relay_faults / sizeof relay_faults[0],
    .reason = relay_reasons,
    .reasons = 1,
    .simulate = simulate_relay};
