/*
 * CAN, high speed: each node is a source of about 2.9 V behind its own resistance, on a bus of 60 ohm (two
 * terminators of 120 ohm). Several nodes drive the acknowledge bit together, so it stands taller. Edges: bus
 * resistance times the capacitance of wire and nodes. Levels ISO 11898-2 (dominant 1.5..3.0 V between the wires at
 * 50..65 ohm, recessive 2.5 V on both); framing CAN 2.0 (from memory).
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

enum { NODES = 4, MOST_BITS = 160, BIT_HZ = 500000 };

typedef struct frame {
  uint8_t bit[MOST_BITS]; /* 1 recessive, stuffed */
  size_t count, acknowledge;
  size_t flag_begin, flag_end; /* an error flag, which all nodes send; both 0: none */
} frame;

static void append(uint8_t *bit, size_t *n, uint32_t value, int width) {
  for (int i = width - 1; i >= 0; i--)
    bit[(*n)++] = (uint8_t)((value >> i) & 1u);
}

/* Start, identifier, control, data, checksum: stuffed after five equal bits; then delimiter, acknowledge,
 * delimiter, end. */
static frame make_frame(plb_random *r) {
  uint8_t plain[MOST_BITS];
  size_t n = 0;
  const uint32_t bytes = 2 + (uint32_t)plb_random_below(r, 5);
  append(plain, &n, 0, 1);
  append(plain, &n, (uint32_t)plb_random_below(r, 0x700), 11);
  append(plain, &n, 0, 3);
  append(plain, &n, bytes, 4);
  for (uint32_t k = 0; k < bytes; k++)
    append(plain, &n, (uint32_t)plb_random_below(r, 256), 8);
  append(plain, &n, plb_can_crc(plain, n), 15);
  frame f = {.count = 0};
  int run = 0;
  for (size_t i = 0; i < n; i++) {
    run = i > 0 && f.count > 0 && plain[i] == f.bit[f.count - 1] ? run + 1 : 1;
    f.bit[f.count++] = plain[i];
    if (run == 5) {
      f.bit[f.count] = (uint8_t)!plain[i];
      f.count++;
      run = 1;
    }
  }
  f.bit[f.count++] = 1;
  f.acknowledge = f.count;
  f.bit[f.count++] = 0;
  for (int k = 0; k < 11; k++) /* delimiter, end of frame, intermission */
    f.bit[f.count++] = 1;
  return f;
}

/*
 * Receivers follow a sender's clock from edge to edge towards dominant and sample at four fifths of a bit (common practice): whoever is a
 * fifth of a bit off before the next such edge is misread. The receivers break the frame off with six dominant bits, the sender answers
 * with its own, so that six to twelve stand there; eight recessive bits and the pause follow. The standard allows a clock to be off by 1.58 %
 * (CAN 2.0, sections 6 and 9; from memory).
 */
static void break_off(frame *f, double clock_off, plb_random *r) {
  size_t since_edge = 0, at = 0;
  for (size_t i = 1; i < f->count && at == 0; i++) {
    since_edge = f->bit[i - 1] && !f->bit[i] ? 0 : since_edge + 1;
    if ((double)since_edge * clock_off > 0.2)
      at = i + 1;
  }
  if (at == 0 || at >= f->acknowledge)
    return;
  f->flag_begin = at;
  f->flag_end = at + 6 + (size_t)plb_random_below(r, 7);
  f->count = f->acknowledge = f->flag_end + 11;
  for (size_t i = at; i < f->count; i++)
    f->bit[i] = i >= f->flag_end;
}

typedef struct bus {
  double source_v[NODES], node_ohm[NODES], middle_v[NODES], late_s;
  double bus_ohm, farad, ring; /* ring: share of an edge that echoes for want of termination */
  double high_leak, low_leak, bridge_ohm;
  double high_ohm; /* in the high wire */
} bus;

static bus make_bus(plb_draw *draw) {
  const double missing = plb_fault(draw, "terminator-missing"), extra = plb_fault(draw, "terminator-extra");
  bus b = {.bus_ohm = 1.0 / (1.0 / 120.0 + 1.0 / (120.0 * (1.0 + 30.0 * missing)) + extra / 100.0)};
  b.bus_ohm = plb_part(draw, b.bus_ohm, 0.008);
  for (int k = 0; k < NODES; k++) {
    /* drivers behind their resistance, so that 2 V stand over 60 ohm: ISO 11898-2 allows 1.5 to 3 V; parts from memory */
    b.source_v[k] = plb_part(draw, 2.89, 0.02) * (1.0 - 0.5 * plb_fault(draw, "weak-supply"));
    b.node_ohm[k] = plb_part(draw, 26.7, 0.04);
    /* rest at half of 5 V: ISO 11898-2, VERIFIED second-hand */
    b.middle_v[k] = plb_part(draw, 2.5, 0.008);
  }
  const int bad = (int)plb_random_below(&draw->part, NODES);
  b.middle_v[bad] += 1.3 * plb_fault(draw, "poor-ground");
  b.node_ohm[bad] *= 1.0 + 4.0 * plb_fault(draw, "weak-node");
  /* wires and nodes of a small bus: from memory */
  b.farad = plb_part(draw, 1.4e-9, 0.06);
  b.late_s = 25e-9 + 350e-9 * plb_fault(draw, "slow-driver");
  b.ring = 0.03 + 0.25 * missing;
  b.high_leak = plb_fault(draw, "high-to-ground");
  b.low_leak = plb_fault(draw, "low-to-supply");
  b.bridge_ohm = plb_fault(draw, "bridged") > 0.0 ? 400.0 * pow(0.01, draw->severity) : 1e9;
  b.high_ohm = plb_joint_ohm(plb_fault(draw, "joint-in-high"), 60.0);
  return b;
}

/* Wire levels for `drivers` nodes sending dominant together, the first of them `node`; 0: recessive. */
static void settle(const bus *b, int drivers, int node, double *high_v, double *low_v) {
  const double bus_ohm = b->bus_ohm * b->bridge_ohm / (b->bus_ohm + b->bridge_ohm);
  const double node_ohm = (b->node_ohm[node] + b->high_ohm) / (drivers > 0 ? drivers : 1);
  const double across = drivers > 0 ? b->source_v[node] * bus_ohm / (bus_ohm + node_ohm) : 0.0;
  const double middle = b->middle_v[drivers > 0 ? node : 0];
  *high_v = (middle + across / 2.0) * (1.0 - 0.9 * b->high_leak);
  *low_v = (middle - across / 2.0) * (1.0 - b->high_leak * 0.35) + b->low_leak * (12.0 - middle + across / 2.0) * 0.8;
  *high_v += b->low_leak * 3.0;
}

typedef struct wires {
  plb_resonator high, low;
} wires;

/* Towards dominant a driver pulls; back to recessive nothing but the terminators discharge the wires. */
static double follow(plb_resonator *r, double level, bool dominant, double recessive_keep) {
  if (dominant)
    return plb_resonator_step(r, level);
  r->x = level + (r->x - level) * recessive_keep;
  r->slope = 0.0;
  return r->x;
}

/* Frames with pauses, each from one node; bits in time with each sender's own clock. */
static plb_status simulate_can(plb_draw *draw, plb_error *err) {
  (void)err;
  const bus b = make_bus(draw);
  plb_random traffic;
  plb_random_seed(&traffic, plb_random_next(&draw->part));
  const double node_hz = BIT_HZ * (1.0 + 0.0005 * plb_normal(draw));
  const double clock_off = 0.05 * plb_fault(draw, "clock-off"); /* three times what the standard allows */
  double next_s = 5e-6 + 60e-6 * plb_random_uniform(&traffic), begin_s = 0.0;
  frame f = {.count = 0};
  int node = 0;
  wires w;
  double high, low;
  settle(&b, 0, 0, &high, &low);
  const double corner_hz = 1.0 / (plb_two_pi * (40e-9 + b.late_s));
  plb_resonator_init(&w.high, fmin(2.2 * corner_hz, 0.4 * draw->rate_hz), 1.0 - fmin(0.8, 1.6 * b.ring), draw->rate_hz,
                     high);
  plb_resonator_init(&w.low, fmin(2.2 * corner_hz, 0.4 * draw->rate_hz), 1.0 - fmin(0.8, 1.6 * b.ring), draw->rate_hz,
                     low);
  double bit_hz = node_hz;
  const double recessive_keep = exp(-1.0 / ((b.bus_ohm * b.farad + b.late_s) * draw->rate_hz));
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i / draw->rate_hz;
    if (t >= next_s) {
      f = make_frame(&traffic);
      node = (int)plb_random_below(&traffic, NODES);
      bit_hz = node_hz * (node == 1 ? 1.0 + clock_off : 1.0);
      if (node == 1)
        break_off(&f, clock_off, &draw->event);
      begin_s = next_s;
      next_s += (double)f.count / bit_hz +
                (plb_random_uniform(&traffic) < 0.5 ? 4e-6 : 180e-6 * plb_random_uniform(&traffic));
    }
    const size_t k = (size_t)((t - begin_s) * bit_hz);
    const bool dominant = f.count > 0 && t >= begin_s && k < f.count && f.bit[k] == 0;
    const bool acknowledge = k == f.acknowledge || (k >= f.flag_begin && k < f.flag_end);
    settle(&b, !dominant ? 0 : acknowledge ? NODES - 1 : 1, acknowledge ? (node + 1) % NODES : node, &high, &low);
    draw->x[0][i] = follow(&w.high, high, dominant, recessive_keep);
    draw->x[1][i] = follow(&w.low, low, dominant, recessive_keep);
  }
  /* charging voltage: common practice */
  draw->supply_v = plb_between(draw, 13.6, 14.4);
  plb_break_signal(draw, 1, "intermittent-contact", 3000.0, 0.0, 80e-6, 2.5, 2e-7);
  plb_add_interference(draw, 0, "ignition-interference", 2.0);
  plb_add_interference(draw, 1, "ignition-interference", 1.4);
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"weak-node", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "driver of one node weak: its frames are low"},
    {"slow-driver", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "drivers slow: rounded edges"},
    {"clock-off", PLB_FAULT_PROTOCOL, PLB_IN_COMPONENT, "clock of one node too fast: the others break its frames off"},
    {"terminator-missing", PLB_FAULT_TERMINATOR, PLB_IN_WIRING,
     "one terminator missing: levels high, recessive edges slow, ringing"},
    {"terminator-extra", PLB_FAULT_TERMINATOR, PLB_IN_WIRING, "terminators too many: levels low"},
    {"high-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "high wire leaks or is shorted to ground"},
    {"low-to-supply", PLB_FAULT_SHORT, PLB_IN_WIRING, "low wire leaks or is shorted to supply"},
    {"bridged", PLB_FAULT_SHORT, PLB_IN_WIRING, "the two wires leak into each other or touch"},
    {"joint-in-high", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the high wire"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "low wire opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wires untwisted beside ignition leads"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND,
     "ground of one node off: both wires shift while it sends"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "5 V supply of the drivers low"},
};

const plb_model_family plb_can_pair = {
    .name = "can-pair",
    .type = "can-pair",
    .text = "CAN high speed, 500 kbit/s, both wires, four nodes",
    .channel = {{"can-high", "V", "high wire against ground", PLB_BY_PROBE, 5.0, 0.012, 0},
                {"can-low", "V", "low wire against ground", PLB_BY_PROBE, 5.0, 0.012, 0}},
    .channels = 2,
    .cycle = "edge:level=3V,slope=rising,channel=can-high",
    .rate_hz = 20e6,
    .duration_s = 2.5e-3,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_DRIVER | PLB_HAS_LIKE_PARTS | PLB_HAS_BUS | PLB_HAS_CODE,
    .fault = faults,
    .faults = sizeof faults / sizeof faults[0],
    .simulate = simulate_can};
