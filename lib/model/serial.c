/*
 * Serial signals on one wire. LIN (ISO 17987-4): recessive by a pull-up to the supply through a diode, dominant by
 * transistors, slopes limited. SENT (SAE J2716): times between falling edges carry nibbles. Current signalling: a
 * sensor adds some 26 mA to its supply current, in Manchester code, 125 kbit/s (open specification of the two-wire
 * interface), seen over a resistor of 10 ohm. Framing of LIN is from memory; levels and the checksum of SENT have
 * sources in physics.h.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"
#include <string.h>

enum { MOST_EDGES = 4096 };

/* Alternating levels: the wire is low from edge 2k to edge 2k+1. The sender of each stretch matters for its level. */
typedef struct edges {
  double at_s[MOST_EDGES];
  uint8_t sender[MOST_EDGES / 2];
  size_t count;
} edges;

static void add_low(edges *e, double from_s, double to_s, int sender) {
  if (e->count + 2 > MOST_EDGES)
    return;
  if (e->count > 0 && from_s <= e->at_s[e->count - 1] + 1e-9) { /* goes on being low */
    e->at_s[e->count - 1] = to_s;
    return;
  }
  e->sender[e->count / 2] = (uint8_t)sender;
  e->at_s[e->count++] = from_s;
  e->at_s[e->count++] = to_s;
}

typedef struct levels {
  double high_v, low_v[2]; /* by sender */
  double fall_s, rise_s;   /* time constants */
} levels;

/* An edge falls between samples: the part of the sample before it counts with the old level. */
static void render(const edges *e, const levels *l, double rate_hz, size_t n, double *x) {
  size_t k = 0;
  double v = l->high_v;
  const double dt_s = 1.0 / rate_hz;
  for (size_t i = 0; i < n; i++) {
    double from_s = (double)i * dt_s - dt_s;
    const double to_s = (double)i * dt_s;
    while (from_s < to_s) {
      const double until_s = k < e->count && e->at_s[k] < to_s ? fmax(from_s, e->at_s[k]) : to_s;
      const bool low = k % 2 == 1;
      const double target = low ? l->low_v[e->sender[k / 2] & 1] : l->high_v;
      v = target + (v - target) * exp(-(until_s - from_s) / (low ? l->fall_s : l->rise_s));
      from_s = until_s;
      if (k < e->count && e->at_s[k] <= from_s)
        k++;
    }
    x[i] = v;
  }
}

static double add_byte(edges *e, double at_s, double bit_s, uint8_t byte, int sender) {
  add_low(e, at_s, at_s + bit_s, sender); /* start bit */
  for (int k = 0; k < 8; k++)
    if (!((byte >> k) & 1))
      add_low(e, at_s + (1 + k) * bit_s, at_s + (2 + k) * bit_s, sender);
  return at_s + 10.0 * bit_s;
}

static double add_lin_frame(edges *e, double at_s, double bit_s, double answer_bit_s, plb_random *r, bool bad_sum) {
  uint8_t data[4];
  const uint8_t id = plb_lin_identifier((uint8_t)plb_random_below(r, 0x3C));
  for (int k = 0; k < 4; k++)
    data[k] = (uint8_t)plb_random_below(r, 256);
  add_low(e, at_s, at_s + 13.0 * bit_s, 0);
  at_s = add_byte(e, at_s + 14.5 * bit_s, bit_s, 0x55, 0);
  at_s = add_byte(e, at_s + 0.5 * bit_s, bit_s, id, 0) + 3.0 * bit_s;
  for (int k = 0; k < 4; k++)
    at_s = add_byte(e, at_s + 0.3 * bit_s, answer_bit_s, data[k], 1);
  const uint8_t sum = plb_lin_checksum(id, data, 4);
  return add_byte(e, at_s + 0.3 * bit_s, answer_bit_s, bad_sum ? (uint8_t)(sum ^ 0x0F) : sum, 1);
}

static edges *new_edges(plb_error *err) {
  edges *e = plb_calloc(1, sizeof *e);
  if (!e)
    (void)plb_fail(err, PLB_ENOMEM, "not enough memory to draw a recording; close other programs");
  return e;
}

static plb_status simulate_lin(plb_draw *draw, plb_error *err) {
  edges *e = new_edges(err);
  if (!e)
    return PLB_ENOMEM;
  plb_random r;
  plb_random_seed(&r, plb_random_next(&draw->part));
  /* 19,200 bit/s within the clock's tolerance: ISO 17987, from memory */
  const double end_s = (double)draw->n / draw->rate_hz, bit_s = 1.0 / plb_part(draw, 19200, 0.0015);
  const double answer_s = bit_s * (1.0 + 0.004 * plb_normal(draw)) * (1.0 + 0.08 * plb_fault(draw, "clock-off"));
  /* pauses between frames of some milliseconds: from memory */
  for (double at_s = end_s * 0.02; at_s < end_s;)
    at_s = add_lin_frame(e, at_s, bit_s, answer_s, &r, plb_fault(draw, "bad-checksum") > 0.0) +
           plb_between(draw, 2e-3, 4e-3);
  /* charging voltage: common practice */
  const double supply_v = plb_between(draw, 13.4, 14.4) - 5.0 * plb_fault(draw, "weak-supply");
  draw->supply_v = supply_v;
  const double weak = plb_fault(draw, "no-master-pull-up"), leak = plb_fault(draw, "leak-to-ground");
  const double pull_ohm = 940.0 * (1.0 + 30.0 * weak),
               /* master pull-up of 1 kilohm, some nanofarads of bus: ISO 17987, from memory */
               farad = plb_part(draw, 4.5e-9, 0.06) * (1.0 + 5.0 * plb_fault(draw, "bus-capacitance"));
  const double leak_ohm = leak > 0.0 ? 20e3 * pow(0.015, leak) : 200e3;
  levels l = {.high_v = (supply_v - 0.6) * leak_ohm / (leak_ohm + pull_ohm)};
  const double joint = plb_joint_ohm(plb_fault(draw, "joint"), 900.0);
  /* a driver pulls to a volt or so: from memory */
  l.low_v[0] = 0.06 * supply_v + 0.2 + plb_part(draw, 0.1, 0.3);
  l.low_v[1] = 0.06 * supply_v + 0.3 + plb_part(draw, 0.1, 0.3) + 3.5 * plb_fault(draw, "poor-ground") +
               (supply_v - 1.0) * joint / (joint + pull_ohm);
  l.low_v[1] += 4.0 * plb_fault(draw, "weak-node");
  /* slopes slow on purpose: common practice; value from memory */
  l.fall_s = plb_part(draw, 3.5e-6, 0.08) * (1.0 + 5.0 * plb_fault(draw, "slow-driver"));
  l.rise_s = plb_part(draw, 1.5e-6, 0.08) + farad * pull_ohm * leak_ohm / (pull_ohm + leak_ohm);
  render(e, &l, draw->rate_hz, draw->n, draw->x[0]);
  plb_break_signal(draw, 0, "intermittent-contact", 60.0, 0.0, 2e-3, 0.6 * l.high_v, 2e-6);
  plb_add_interference(draw, 0, "ignition-interference", 8.0);
  free(e);
  return PLB_OK;
}

static double add_sent_frame(edges *e, double at_s, double tick_s, const uint8_t nibble[8]) {
  const double low_s = 5.0 * tick_s;
  add_low(e, at_s, at_s + low_s, 0);
  at_s += 56.0 * tick_s;
  for (int k = 0; k < 8; k++) {
    add_low(e, at_s, at_s + low_s, 0);
    at_s += (12.0 + nibble[k]) * tick_s;
  }
  add_low(e, at_s, at_s + low_s, 0); /* the pause pulse ends the last nibble */
  return at_s + 60.0 * tick_s;
}

static plb_status simulate_sent(plb_draw *draw, plb_error *err) {
  edges *e = new_edges(err);
  if (!e)
    return PLB_ENOMEM;
  plb_random r;
  plb_random_seed(&r, plb_random_next(&draw->part));
  const double end_s = (double)draw->n / draw->rate_hz,
               tick_s = 3e-6 * (1.0 + 0.03 * plb_normal(draw)) * (1.0 + 0.3 * plb_fault(draw, "clock-off"));
  const unsigned value = 800 + (unsigned)plb_random_below(&r, 2400);
  for (double at_s = 1e-4 * plb_between(draw, 0.1, 5.0); at_s < end_s;) {
    const unsigned one = value + (unsigned)plb_random_below(&r, 6), two = 4095 - one;
    uint8_t nibble[8] = {0, (one >> 8) & 15, (one >> 4) & 15, one & 15, two & 15, (two >> 4) & 15, (two >> 8) & 15, 0};
    nibble[7] = plb_sent_crc(nibble + 1, 6, true);
    if (plb_fault(draw, "bad-checksum") > 0.0)
      nibble[7] ^= 6;
    at_s = add_sent_frame(e, at_s, tick_s, nibble);
  }
  const double pull_ohm = 10e3 * (1.0 + 12.0 * plb_fault(draw, "weak-pull-up")),
               leak = plb_fault(draw, "leak-to-ground");
  const double leak_ohm = leak > 0.0 ? 60e3 * pow(0.01, leak) : 1e6;
  /* above 4.1 V and below 0.5 V: SAE J2716, VERIFIED second-hand; values between from memory */
  levels l = {.high_v = (plb_part(draw, 4.85, 0.006) - 1.5 * plb_fault(draw, "weak-supply")) * leak_ohm /
                        (leak_ohm + 600.0 + 0.2 * (pull_ohm - 10e3))};
  l.low_v[0] = plb_part(draw, 0.15, 0.1) + 0.9 * plb_fault(draw, "poor-ground") +
               4.0 * plb_joint_ohm(plb_fault(draw, "joint"), 6e3) / (pull_ohm + 6e3);
  l.low_v[1] = l.low_v[0];
  const double slow = plb_fault(draw, "slow-driver");
  /* edges: from memory */
  l.fall_s = plb_part(draw, 1.3e-6, 0.06) * (1.0 + 8.0 * slow);
  l.rise_s = plb_part(draw, 2.2e-6, 0.06) * (1.0 + 4.0 * slow) * (pull_ohm / 10e3 * 0.15 + 0.85);
  render(e, &l, draw->rate_hz, draw->n, draw->x[0]);
  draw->supply_v = plb_between(draw, 13.6, 14.3);
  plb_break_signal(draw, 0, "intermittent-contact", 200.0, 0.0, 1e-3, 4.9, 5e-6);
  plb_add_interference(draw, 0, "ignition-interference", 3.0);
  free(e);
  return PLB_OK;
}

/* Two start bits, data, parity in Manchester; the current is up in the first half of a 0, in the second half of a 1. */
static plb_status simulate_current(plb_draw *draw, plb_error *err) {
  edges *e = new_edges(err);
  if (!e)
    return PLB_ENOMEM;
  plb_random r;
  plb_random_seed(&r, plb_random_next(&draw->part));
  const double end_s = (double)draw->n / draw->rate_hz,
               bit_s = 8e-6 * (1.0 + 0.01 * plb_normal(draw)) * (1.0 + 0.2 * plb_fault(draw, "clock-off"));
  for (double frame_s = 30e-6; frame_s < end_s; frame_s += 500e-6) {
    unsigned parity = 0;
    for (int k = 0; k < 13; k++) {
      unsigned bit = k < 2 ? 0u : (unsigned)plb_random_below(&r, 2);
      if (k == 12)
        bit = parity ^ (plb_fault(draw, "bad-checksum") > 0.0 ? 1u : 0u);
      else if (k >= 2)
        parity ^= bit;
      const double at_s = frame_s + k * bit_s + (bit ? 0.5 * bit_s : 0.0);
      add_low(e, at_s, at_s + 0.5 * bit_s, 0);
    }
  }
  /* 26 mA of signal VERIFIED (weak); quiet current from memory */
  const double ohm = 10.0, quiet_a = plb_part(draw, 8e-3, 0.06),
               signal_a = plb_part(draw, 26e-3, 0.03) * (1.0 - 0.5 * plb_fault(draw, "weak-output"));
  const double joint = 1.0 / (1.0 + 2.5 * plb_fault(draw, "joint")), leak_a = 15e-3 * plb_fault(draw, "leak-to-ground");
  const double low = 1.0 - 0.4 * plb_fault(draw, "weak-supply");
  levels l = {.high_v = ohm * (quiet_a * low + leak_a)}; /* "low" of the edges is the signal current here */
  l.low_v[0] = ohm * (quiet_a * low + leak_a + signal_a * joint * low);
  l.low_v[1] = l.low_v[0];
  /* edges: from memory */
  l.fall_s = plb_part(draw, 0.45e-6, 0.06) * (1.0 + 5.0 * plb_fault(draw, "slow-driver"));
  l.rise_s = l.fall_s;
  render(e, &l, draw->rate_hz, draw->n, draw->x[0]);
  draw->supply_v = plb_between(draw, 13.6, 14.3);
  plb_break_signal(draw, 0, "intermittent-contact", 400.0, 0.0, 0.4e-3, 0.0, 1e-6);
  plb_add_interference(draw, 0, "ignition-interference", 0.25);
  free(e);
  return PLB_OK;
}

static const plb_model_fault lin_faults[] = {
    {"weak-node", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT,
     "transistor of the answering node weak: its dominant level is high"},
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "slopes too slow"},
    {"clock-off", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "bit time of the answering node off"},
    {"bus-capacitance", PLB_FAULT_TERMINATOR, PLB_IN_WIRING, "too much capacitance on the wire: recessive edges slow"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance towards the answering node"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "wire leaks to ground: recessive level low"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"no-master-pull-up", PLB_FAULT_PULLUP, PLB_IN_SUPPLY_OR_GROUND, "master's pull-up missing: recessive edges slow"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply of the bus low"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "ground of the answering node raised"},
};
static const plb_model_fault sent_faults[] = {
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "output stage slow"},
    {"clock-off", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "tick too long"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wire"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "wire leaks to ground"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-pull-up", PLB_FAULT_PULLUP, PLB_IN_SUPPLY_OR_GROUND, "pull-up in the control unit too high"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "5 V of the sensor low"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
static const plb_model_fault current_faults[] = {
    {"weak-output", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "sensor's signal current too small"},
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "output stage slow"},
    {"clock-off", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "bit time too long"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the two wires: signal current small"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "leak past the sensor: quiet current high"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wires beside ignition leads"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply of the interface low"},
};
/* One value among all that are good: levels, edges and times are those of any frame. */
static const plb_model_unseen sum_unseen[] = {
    {{"bad-checksum", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "checksums wrong"},
     "a decoder sees a wrong checksum, the waveform does not: its bits are as good as any"}};
static const plb_model_unseen parity_unseen[] = {
    {{"bad-checksum", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "parity wrong"},
     "a decoder sees a wrong parity, the waveform does not: its bits are as good as any"}};
static const plb_model_reason current_reasons[] = {
    {PLB_FAULT_GROUND, "two wires from the control unit: the sensor has no ground of its own"}};

const plb_model_family plb_lin_bus = {
    .name = "lin-bus",
    .type = "lin",
    .text = "LIN, 19.2 kbit/s, one master and one answering node",
    .channel = {{"lin", "V", "bus wire against ground", PLB_BY_PROBE, 20.0, 0.012, 0}},
    .channels = 1,
    .cycle = "edge:level=50%states,slope=falling",
    .rate_hz = 1e6,
    .duration_s = 0.05,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_LIKE_PARTS | PLB_HAS_BUS | PLB_HAS_CODE |
           PLB_HAS_PULLUP,
    .fault = lin_faults,
    .faults = sizeof lin_faults / sizeof lin_faults[0],
    .unseen = sum_unseen,
    .unseens = 1,
    .simulate = simulate_lin};
const plb_model_family plb_sent = {
    .name = "sent",
    .type = "sent",
    .text = "SENT, tick 3 microseconds, six data nibbles with checksum, pause pulse",
    .channel = {{"sent", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 10.0, 0.012, 0}},
    .channels = 1,
    .cycle = "edge:level=50%states,slope=falling",
    .rate_hz = 2e6,
    .duration_s = 0.03,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_CODE | PLB_HAS_PULLUP,
    .fault = sent_faults,
    .faults = sizeof sent_faults / sizeof sent_faults[0],
    .unseen = sum_unseen,
    .unseens = 1,
    .simulate = simulate_sent};
const plb_model_family plb_current_signal = {
    .name = "current-signal",
    .type = "psi5",
    .text = "two-wire sensor that signals by current, 125 kbit/s Manchester, over 10 ohm",
    .channel = {{"sensor-current", "V", "across a resistor of 10 ohm in the supply wire", PLB_BY_PROBE, 0.5, 0.002, 0}},
    .channels = 1,
    .cycle = "edge:level=50%states,slope=rising",
    .rate_hz = 5e6,
    .duration_s = 0.01,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_CODE,
    .fault = current_faults,
    .faults = sizeof current_faults / sizeof current_faults[0],
    .unseen = parity_unseen,
    .unseens = 1,
    .reason = current_reasons,
    .reasons = 1,
    .simulate = simulate_current};
