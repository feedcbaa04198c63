/*
 * Coolant sensor: an NTC (Steinhart and Hart) to ground, a pull-up resistor to 5 V in the control unit; many control
 * units switch to a smaller pull-up when warm, so the voltage jumps up once and falls again. Warm-up: heat in,
 * coolant and walls as one lump, then a thermostat.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

typedef struct warmth {
  double start_cel, rate_s, open_cel, swing_cel, opens_s;
} warmth;

static double coolant_at(const warmth *w, double t_s) {
  const double heating = w->start_cel + (118.0 - w->start_cel) * (1.0 - exp(-t_s / w->rate_s));
  if (t_s < w->opens_s)
    return heating;
  const double since = (t_s - w->opens_s) / 38.0; /* the thermostat hunts a little */
  return w->open_cel + w->swing_cel * exp(-since / 3.0) * sin(plb_two_pi * since * 0.6) + 1.5 * (1.0 - exp(-since));
}

static warmth draw_warmth(plb_draw *draw) {
  /* a night in the workshop; warm in a few minutes, as modelled here at raised speed: common practice */
  warmth w = {.start_cel = plb_between(draw, 12, 26), .rate_s = plb_part(draw, 240.0, 0.07)};
  /* thermostat: common practice */
  w.open_cel = plb_part(draw, 88.0, 0.012) - 32.0 * plb_fault(draw, "thermostat-open");
  w.rate_s *= 1.0 + 0.8 * plb_fault(draw, "thermostat-open");
  /* it hunts by a few kelvin: common practice */
  w.swing_cel = plb_part(draw, 2.5, 0.2);
  w.opens_s = -w.rate_s * log(1.0 - (w.open_cel - w.start_cel) / (118.0 - w.start_cel));
  draw->temperature_cel = w.start_cel;
  return w;
}

static plb_status simulate_coolant(plb_draw *draw, plb_error *err) {
  (void)err;
  /* 2.5 kilo-ohm at 20 Celsius, a common sort; three points of its table, from memory */
  static const double celsius[3] = {0.0, 20.0, 80.0}, ohm[3] = {5896.0, 2500.0, 322.0};
  const plb_ntc ntc = plb_ntc_through(celsius, ohm);
  const warmth w = draw_warmth(draw);
  /* tolerance of the thermistor: common practice */
  const double built = plb_part(draw, 1.0, 0.012) * (1.0 + 1.2 * plb_fault(draw, "biased-sensor"));
  const double joint = plb_joint_ohm(plb_fault(draw, "joint"), 4000.0);
  const double leak = plb_fault(draw, "leak-to-ground"), leak_ohm = leak > 0.0 ? 20e3 * pow(0.01, leak) : 1e9;
  /* 5 V reference within 1 %, pull-up of some kilohms: common practice */
  const double pull_v = plb_part(draw, 5.0, 0.004) - 1.6 * plb_fault(draw, "weak-supply"),
               pull_ohm = plb_part(draw, 2600.0, 0.01) * (1.0 + 3.0 * plb_fault(draw, "weak-pull-up"));
  /* second pull-up and where it is switched in: common practice; values from memory */
  const double small_ohm = plb_part(draw, 320.0, 0.01), switch_cel = plb_part(draw, 50.0, 0.01);
  const double ground_v = 0.9 * plb_fault(draw, "poor-ground");
  /* the sensor follows within seconds: common practice */
  const double lag_s = plb_part(draw, 4.0, 0.1) + 160.0 * plb_fault(draw, "lazy-sensor");
  const bool switches = plb_in_state(draw, "pull-up-switch");
  double cel = w.start_cel;
  bool warm = false;
  const double dt_s = 1.0 / draw->rate_hz, keep = exp(-dt_s / lag_s);
  for (size_t i = 0; i < draw->n; i++) {
    const double now = coolant_at(&w, (double)i * dt_s);
    cel = now + (cel - now) * keep;
    warm = plb_hysteresis(warm, cel, switch_cel, switch_cel - 4.0);
    double r = built * plb_ntc_ohm(&ntc, cel) + joint;
    r = r * leak_ohm / (r + leak_ohm);
    const double up = switches && warm ? small_ohm : pull_ohm;
    draw->x[0][i] = ground_v + (pull_v - ground_v) * r / (r + up);
  }
  /* charging voltage: common practice */
  draw->supply_v = plb_between(draw, 13.6, 14.4);
  plb_break_signal(draw, 0, "open-circuit", 0.02, 0.0, 0.003, 5.0, 0.0);
  plb_break_signal(draw, 0, "intermittent-contact", 0.06, 0.0, 6.0, 5.0, 0.0);
  plb_add_interference(draw, 0, "ignition-interference", 1.0);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"biased-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "sensor reads too cold: its resistance has drifted up"},
    {"lazy-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "sensor in air or scale: slow"},
    {"thermostat-open", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "thermostat stuck open: slow, stays cool"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal or ground wire"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to ground"},
    {"open-circuit", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "opens for some milliseconds now and then"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens for seconds now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-pull-up", PLB_FAULT_PULLUP, PLB_IN_SUPPLY_OR_GROUND, "pull-up too high"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "5 V of the control unit too low"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
static const char *const states[] = {"pull-up-switch", NULL};

const plb_model_family plb_coolant_warm_up = {
    .name = "coolant-warm-up",
    .type = "coolant-temperature",
    .text = "coolant sensor (NTC) over a warm-up from ambient, one pull-up",
    .channel = {{"coolant", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.008, 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 50,
    .duration_s = 600,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_PULLUP | PLB_HAS_SENSING | PLB_HAS_MOTION,
    .fault = faults,
    .faults = sizeof faults / sizeof faults[0],
    .state = states,
    .simulate = simulate_coolant};
