/*
 * Oxygen sensors. Narrow band: Nernst cell (plb_nernst_v()) on exhaust whose equilibrium oxygen changes by many
 * powers of ten round the stoichiometric mixture; the control unit's loop swings the mixture. Before warm, the cell's
 * resistance is high and the control unit's bias of 0.45 V is what one sees. Wide band: pump current in proportion to
 * lean or rich, given here as the voltage of the control unit's amplifier.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

static double smooth_step(double x) { return 1.0 / (1.0 + exp(-x)); }

/* log10 of the oxygen's partial pressure over the electrode: lean, what is left over; rich, the water-gas
 * equilibrium near 1e-20. */
static double log_oxygen(double lambda) {
  const double lean = log10(0.209 * fmax(1e-4, lambda - 1.0) / fmax(1.0, lambda) + 2e-4),
               rich = -19.0 - 25.0 * fmax(0.0, 1.0 - lambda);
  const double share = smooth_step((lambda - 1.0) / 0.0022);
  return share * lean + (1.0 - share) * rich;
}

typedef struct cell {
  double kelvin, to_lean_s, to_rich_s, bias, gain, offset_v, ground_v, leak_v;
} cell;

/* An open wire leaves nothing but the control unit's bias. Nine tenths of the way there the signal no longer leaves 0.40 to 0.50 V, where
 * a control unit sees no activity: common practice. */
static double towards_bias(const plb_draw *draw) { return 0.9 * plb_fault(draw, "joint"); }

static cell make_cell(plb_draw *draw) {
  const double lazy = plb_fault(draw, "lazy-sensor");
  /* tip at 600 to 700 Celsius: common practice */
  cell c = {.kelvin = plb_part(draw, 900.0, 0.02)};
  /* a good sensor passes within a tenth of a second, faster to rich: common practice; values from memory */
  c.to_lean_s = plb_part(draw, 0.055, 0.08) * (1.0 + 9.0 * lazy);
  c.to_rich_s = plb_part(draw, 0.040, 0.08) * (1.0 + 6.0 * lazy);
  /* electrodes: from memory */
  c.gain = plb_part(draw, 0.97, 0.012) * (1.0 - 0.5 * plb_fault(draw, "worn-element"));
  c.bias = 0.9 * plb_fault(draw, "heater-off");
  c.offset_v = 0.004 * plb_normal(draw) + 0.35 * plb_fault(draw, "poor-ground");
  c.leak_v = plb_fault(draw, "leak-from-heater");
  /* charging voltage, warm engine: common practice */
  draw->supply_v = plb_between(draw, 13.6, 14.3);
  draw->temperature_cel = plb_between(draw, 85, 95);
  return c;
}

static double see_cell(const cell *c, double cell_v, double joint, double leak) {
  const double own = c->gain * cell_v;
  const double biased = own + (0.45 - own) * fmin(1.0, c->bias + joint);
  return (biased + c->offset_v) * (1.0 - leak) + 2.2 * c->leak_v;
}

/* The loop: integral steps towards the other side until the sensor has seen it, so a slower sensor swings wider
 * and slower. */
static plb_status simulate_front(plb_draw *draw, plb_error *err) {
  (void)err;
  const cell c = make_cell(draw);
  const double dt_s = 1.0 / draw->rate_hz;
  /* mixture control: ramp, jump and transport delay, so that idle switches about once a second: common practice; values from memory */
  const double ramp = plb_part(draw, 0.040, 0.06), jump = plb_part(draw, 0.012, 0.06),
               delay_s = plb_part(draw, 0.16, 0.06);
  /* between two pulses of exhaust the leak sucks air in, now more and now less, on average what the loop can just correct: common
   * practice; at idle a pulse comes every 40 ms */
  const double air_leak = 0.12 * plb_fault(draw, "exhaust-leak");
  const size_t pulse = (size_t)fmax(1.0, 0.040 * draw->rate_hz);
  double air = 0.0;
  const double joint = towards_bias(draw), leak = 0.95 * plb_fault(draw, "leak-to-ground");
  const bool cold = plb_in_state(draw, "cold"), enriched = plb_in_state(draw, "enriched");
  const double enrich_s = (double)draw->n * dt_s * 0.55;
  enum { DELAY = 4096 };
  double line[DELAY];
  const size_t lag = (size_t)fmin(DELAY - 1, delay_s * draw->rate_hz);
  for (size_t i = 0; i < DELAY; i++)
    line[i] = 1.0;
  double correction = 0.0, sensed = 1.0, previous_side = 1.0;
  const size_t before =
      (size_t)(6.0 * draw->rate_hz * plb_between(draw, 0.6, 1.0)); /* let it swing in; the start falls anywhere */
  for (size_t i = 0; i < before + draw->n; i++) {
    line[i % DELAY] = 1.0 + correction + 0.0015 * plb_normal(draw);
    if (i % pulse == 0)
      air = 2.0 * air_leak * plb_random_uniform(&draw->event);
    double mixture = line[(i + DELAY - lag) % DELAY] + air;
    if (enriched)
      mixture = i >= before && (double)(i - before) * dt_s > enrich_s ? 0.93 : 1.05;
    sensed += (mixture - sensed) * (1.0 - exp(-dt_s / (mixture > sensed ? c.to_lean_s : c.to_rich_s)));
    const double cell_v = plb_nernst_v(c.kelvin, 0.209, pow(10.0, log_oxygen(sensed)));
    double v = see_cell(&c, cell_v, joint, leak);
    const double side = v > 0.45 ? 1.0 : -1.0;
    if (side != previous_side) {
      correction += side * jump;
      previous_side = side;
    }
    correction = fmax(-0.12, fmin(0.12, correction + side * ramp * dt_s));
    if (cold)
      v = 0.45 + 0.002 * (cell_v - 0.45);
    if (i >= before)
      draw->x[0][i - before] = v;
  }
  plb_break_signal(draw, 0, "intermittent-contact", 0.8, 0.0, 0.4, 0.45, 0.01);
  plb_add_interference(draw, 0, "ignition-interference", 0.6);
  return PLB_OK;
}

/* After the catalyst the swings are stored away: rich and slow while the catalyst works. */
static plb_status simulate_rear(plb_draw *draw, plb_error *err) {
  (void)err;
  const cell c = make_cell(draw);
  /* what is left behind a good catalyst, and the period in front of it: common practice */
  const double worn = plb_fault(draw, "worn-catalyst"), period_s = plb_part(draw, 1.1, 0.06),
               phase = plb_between(draw, 0, 6.28);
  /* rests near 0.6 to 0.7 V and wanders: common practice */
  const double slow_s = plb_between(draw, 9, 16), level = plb_part(draw, 0.66, 0.02);
  const double joint = towards_bias(draw), leak = 0.95 * plb_fault(draw, "leak-to-ground"),
               air = plb_fault(draw, "exhaust-leak");
  double v = level;
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i / draw->rate_hz;
    const double swing = fmax(-1.0, fmin(1.0, 2.2 * sin(plb_two_pi * t / period_s + phase)));
    const double want = level + 0.035 * sin(plb_two_pi * t / slow_s + phase) + worn * (0.40 * swing - 0.2) - 0.55 * air;
    v += (want - v) * (1.0 - exp(-1.0 / (draw->rate_hz * (c.to_rich_s + 0.05))));
    draw->x[0][i] = see_cell(&c, v, joint, leak);
  }
  plb_break_signal(draw, 0, "intermittent-contact", 0.8, 0.0, 0.4, 0.45, 0.01);
  plb_add_interference(draw, 0, "ignition-interference", 0.6);
  return PLB_OK;
}

/* Snap throttle and over-run: rich, then no fuel at all. 2.5 V stands for a stoichiometric mixture. */
static plb_status simulate_wide(plb_draw *draw, plb_error *err) {
  (void)err;
  const cell c = make_cell(draw);
  /* snap, enrichment, then fuel cut: order common practice, lengths and volts from memory */
  const double end_s = (double)draw->n / draw->rate_hz, at_s = end_s * plb_between(draw, 0.18, 0.24),
               rich_s = plb_part(draw, 0.55, 0.06);
  const double cut_s = plb_part(draw, 2.2, 0.05), rich_v = plb_part(draw, 0.55, 0.05),
               lean_v = plb_part(draw, 1.9, 0.02);
  const double joint = plb_fault(draw, "joint"), leak = 0.8 * plb_fault(draw, "leak-to-ground"),
               air = plb_fault(draw, "exhaust-leak");
  double v = 0.0;
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i / draw->rate_hz - at_s;
    const double want = (t > 0.0 && t < rich_s               ? -rich_v
                         : t >= rich_s && t < rich_s + cut_s ? lean_v
                                                             : 0.03 * sin(plb_two_pi * 1.3 * t)) +
                        0.4 * air;
    v += (want - v) * (1.0 - exp(-1.0 / (draw->rate_hz * (want > v ? c.to_lean_s + 0.03 : c.to_rich_s + 0.03))));
    draw->x[0][i] = (2.5 + c.gain * v * (1.0 - joint) * (1.0 - c.bias)) * (1.0 - leak) + c.offset_v + 2.0 * c.leak_v;
  }
  plb_break_signal(draw, 0, "intermittent-contact", 0.8, 0.0, 0.4, 0.45, 0.01);
  return PLB_OK;
}

static const plb_model_fault front_faults[] = {
    {"lazy-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "sensor aged: slow, so the loop swings slowly and wide"},
    {"worn-element", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "element poisoned: small swing"},
    {"exhaust-leak", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "air gets into the exhaust before the sensor"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wire: drawn towards the bias"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to ground"},
    {"leak-from-heater", PLB_FAULT_SHORT, PLB_IN_WIRING, "heater's supply leaks into the signal wire"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"heater-off", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "heater without supply: cell too cold"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
static const plb_model_fault wide_faults[] = {
    {"lazy-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "sensor aged: slow"},
    {"worn-element", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "element poisoned: small swing"},
    {"exhaust-leak", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "air gets into the exhaust before the sensor"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the wire of the pump cell: small swing"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to ground"},
    {"leak-from-heater", PLB_FAULT_SHORT, PLB_IN_WIRING, "heater's supply leaks into the signal wire"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"heater-off", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "heater without supply: cell too cold"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
static const plb_model_reason wide_reasons[] = {
    {PLB_FAULT_INTERFERENCE, "the amplifier's output is filtered: sparks of some microseconds do not pass"}};
static const plb_model_fault rear_faults[] = {
    {"worn-catalyst", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "catalyst stores no oxygen: the rear follows the front"},
    {"worn-element", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "element poisoned: low"},
    {"exhaust-leak", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "air gets into the exhaust"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wire: drawn towards the bias"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to ground"},
    {"leak-from-heater", PLB_FAULT_SHORT, PLB_IN_WIRING, "heater's supply leaks into the signal wire"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"heater-off", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "heater without supply: cell too cold"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
enum {
  FRONT_FAULTS = sizeof front_faults / sizeof front_faults[0],
  WIDE_FAULTS = sizeof wide_faults / sizeof wide_faults[0],
  REAR_FAULTS = sizeof rear_faults / sizeof rear_faults[0]
};
enum { HAS = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_SENSING };
static const char *const front_states[] = {"cold", "enriched", NULL};

const plb_model_family plb_oxygen_front = {
    .name = "oxygen-front",
    .type = "oxygen-front",
    .text = "narrow-band oxygen sensor before the catalyst, closed loop, hot",
    .channel = {{"oxygen", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 2.0, 0.004, 0}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 1000,
    .duration_s = 15,
    .has = HAS,
    .fault = front_faults,
    .faults = FRONT_FAULTS,
    .state = front_states,
    .simulate = simulate_front};
const plb_model_family plb_oxygen_rear = {
    .name = "oxygen-rear",
    .type = "oxygen-rear",
    .text = "narrow-band oxygen sensor after the catalyst, hot, steady speed",
    .channel = {{"oxygen", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 2.0, 0.004, 0}},
    .channels = 1,
    .cycle = "steady",
    .rate_hz = 1000,
    .duration_s = 15,
    .has = HAS,
    .fault = rear_faults,
    .faults = REAR_FAULTS,
    .simulate = simulate_rear};
const plb_model_family plb_oxygen_wide = {
    .name = "oxygen-wide",
    .type = "oxygen-wide-band",
    .text = "wide-band oxygen sensor's amplifier voltage over snap throttle and over-run",
    .channel = {{"oxygen", "V", "amplifier output or pump-cell test point at the control unit, connected", PLB_BY_PROBE,
                 5.0, 0.008, 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 1000,
    .duration_s = 8,
    .has = HAS,
    .fault = wide_faults,
    .faults = WIDE_FAULTS,
    .reason = wide_reasons,
    .reasons = 1,
    .simulate = simulate_wide};
