/*
 * Inductive sensor: a coil on a magnet, teeth passing, a control unit's input as the load.
 *
 * Flux over the angle: wheel.c. Voltage: Faraday's law. Circuit: resistance and inductance of the coil, load of the
 * input, which may be clamped: then the amplitude hardly follows the speed any more.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"
#include "model/wheel.h"
#include "core/fail.h"

typedef struct slope_table {
  int cells;     /* of the whole turn */
  double *slope; /* d(linkage)/d(turn), [size: cells + 1], the last equal to the first */
} slope_table;

static plb_status make_slope(const plb_wheel_cut *cut, double linkage_wb, slope_table *out, plb_error *err) {
  const int cells = cut->positions * PLB_WHEEL_CELLS;
  double *profile = plb_calloc((size_t)cells * 2, sizeof *profile);
  out->cells = cells;
  out->slope = plb_calloc((size_t)cells + 1, sizeof *out->slope);
  plb_status status = PLB_OK;
  if (!profile || !out->slope) {
    status = plb_fail(err, PLB_ENOMEM, "not enough memory to draw a recording; close other programs");
    goto done;
  }
  double *flux = profile + cells;
  plb_wheel_profile(cut, profile);
  status = plb_wheel_flux(profile, cells, PLB_WHEEL_CELLS, cut->gap_pitches * PLB_WHEEL_CELLS, cut->runout, flux, err);
  for (int i = 0; i <= cells && !status; i++) {
    const double change = flux[(i + 1) % cells] - flux[(i + cells - 1) % cells];
    out->slope[i] = linkage_wb * change * cells / 2.0;
  }
done:
  free(profile);
  return status;
}

typedef struct circuit {
  double ohm, henry, load_ohm, clamp_high_v, clamp_low_v;
  double amp; /* state */
} circuit;

/* Slope of a clamped input once it conducts: to the supply of the control unit, and of its diode to ground;
 * from memory. */
static const double clamp_high_ohm = 110.0, clamp_low_ohm = 25.0;

/* Backward Euler: L di/dt + R i + v(i) = e, where v(i) is the load's, bent where the input's clamp conducts. */
static double pass_circuit(circuit *c, double emf_v, double dt_s) {
  const double k = c->henry / dt_s;
  c->amp = (k * c->amp + emf_v) / (k + c->ohm + c->load_ohm);
  double v = c->amp * c->load_ohm;
  if (c->clamp_high_v <= 0.0 || (v <= c->clamp_high_v && v >= c->clamp_low_v))
    return v;
  /* beyond the clamp: v = edge + slope (i - edge / load) */
  const double before = c->amp * (k + c->ohm + c->load_ohm);
  const double edge = v > c->clamp_high_v ? c->clamp_high_v : c->clamp_low_v;
  const double slope_ohm = v > c->clamp_high_v ? clamp_high_ohm : clamp_low_ohm;
  c->amp = (before - edge + slope_ohm * edge / c->load_ohm) / (k + c->ohm + slope_ohm);
  v = edge + slope_ohm * (c->amp - edge / c->load_ohm);
  return v;
}

static circuit make_circuit(plb_draw *draw, const plb_inductive_set *set, double *turns_share_out) {
  const double shorted = 1.0 - 0.65 * plb_fault(draw, "shorted-turns");
  const double joint = plb_joint_ohm(plb_fault(draw, "joint"), 150e3);
  const double leak = plb_fault(draw, "leak-to-ground");
  circuit c = {.ohm = plb_part(draw, set->coil_ohm, 0.04) * shorted + set->series_ohm + joint};
  c.henry = plb_part(draw, set->coil_h, 0.06) * shorted * shorted; /* inductance goes with the square of the turns */
  c.load_ohm = plb_part(draw, set->load_ohm, 0.02);
  if (leak > 0.0)
    c.load_ohm = 1.0 / (1.0 / c.load_ohm + leak * leak / 120.0);
  c.clamp_high_v = set->clamp_high_v * (1.0 + 0.01 * plb_normal(draw));
  c.clamp_low_v = set->clamp_low_v * (1.0 + 0.02 * plb_normal(draw));
  *turns_share_out = shorted;
  return c;
}

static plb_wheel_cut cut_wheel(plb_draw *draw, const plb_inductive_set *set) {
  plb_wheel_cut cut = {.positions = set->positions, .missing = set->missing};
  cut.gap_pitches = plb_part(draw, set->gap_pitches, 0.08) * (1.0 + 3.0 * plb_fault(draw, "air-gap"));
  cut.runout = fabs(plb_part(draw, set->runout, 0.3)) + 0.55 * plb_fault(draw, "runout");
  const int teeth = set->positions - set->missing;
  cut.damaged = (int)(2 + plb_random_below(&draw->part, (uint64_t)teeth - 4));
  cut.bent = plb_fault(draw, "damaged-tooth");
  cut.debris = 0.9 * plb_fault(draw, "metal-in-gap");
  return cut;
}

plb_status plb_inductive_render(plb_draw *draw, const plb_inductive_set *set, const double *turns, double *out,
                                plb_error *err) {
  double share;
  circuit c = make_circuit(draw, set, &share);
  const plb_wheel_cut cut = cut_wheel(draw, set);
  const double linkage = plb_part(draw, set->linkage_wb, 0.05) * share *
                         plb_scaled(plb_fault(draw, "weak-magnet"), 0.1) *
                         (plb_fault(draw, "reversed-leads") > 0.0 ? -1.0 : 1.0);
  slope_table w = {0};
  plb_contact contact;
  plb_contact_plan(draw, "intermittent-contact", 6.0, 0.0, 0.02, &contact);
  const plb_status status = make_slope(&cut, linkage, &w, err);
  const double dt = 1.0 / draw->rate_hz;
  double before = draw->n > 1 ? 2.0 * turns[0] - turns[1] : 0.0;
  for (size_t i = 0; i < draw->n && !status; i++) {
    const double now = turns[i], cell = (now - floor(now)) * w.cells;
    const int k = (int)cell;
    const double slope = w.slope[k] + (cell - k) * (w.slope[k + 1] - w.slope[k]);
    const double emf = plb_induced_v(slope * (now - before), dt);
    out[i] = plb_contact_is_open(&contact, (double)i * dt) ? 0.0 : pass_circuit(&c, emf, dt);
    before = now;
  }
  free(w.slope);
  return status;
}

static plb_status simulate_inductive(plb_draw *draw, plb_error *err) {
  const plb_inductive_set *set = draw->family->set;
  plb_rotation rotation = set->cylinders ? plb_rotation_crank(draw, set->cylinders, set->cranking)
                                         : plb_rotation_even(draw, draw->speed_per_min / 60.0, 0.03);
  plb_rotate(&rotation, draw->rate_hz, draw->n, draw->x[0]);
  const plb_status status = plb_inductive_render(draw, set, draw->x[0], draw->x[0], err);
  plb_add_interference(draw, 0, "ignition-interference", 0.8 * draw->family->channel[0].range);
  return status;
}

static const plb_model_fault wheel_faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT,
     "turns of the coil shorted: fewer turns, less resistance and inductance"},
    {"air-gap", PLB_FAULT_GAP, PLB_IN_COMPONENT, "air gap up to four times too wide"},
    {"weak-magnet", PLB_FAULT_GAP, PLB_IN_COMPONENT, "magnet weak: a tenth of the flux at worst"},
    {"damaged-tooth", PLB_FAULT_TOOTH, PLB_IN_COMPONENT, "one tooth bent or broken off"},
    {"metal-in-gap", PLB_FAULT_TOOTH, PLB_IN_COMPONENT, "metal in the place of a missing tooth"},
    {"runout", PLB_FAULT_RUNOUT, PLB_IN_COMPONENT, "wheel off centre: the air gap swings once a turn"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "high resistance between sensor and control unit, up to open"},
    {"reversed-leads", PLB_FAULT_REVERSED, PLB_IN_WIRING, "wires crossed in the connector"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to ground or its return"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "screen open, wire beside ignition leads"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
};
/* A ring without a gap has no place for metal in it. */
static const plb_model_fault ring_faults[] = {
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT,
     "turns of the coil shorted: fewer turns, less resistance and inductance"},
    {"air-gap", PLB_FAULT_GAP, PLB_IN_COMPONENT, "air gap up to four times too wide"},
    {"weak-magnet", PLB_FAULT_GAP, PLB_IN_COMPONENT, "magnet weak: a tenth of the flux at worst"},
    {"damaged-tooth", PLB_FAULT_TOOTH, PLB_IN_COMPONENT, "one tooth bent or broken off"},
    {"runout", PLB_FAULT_RUNOUT, PLB_IN_COMPONENT, "ring off centre: the air gap swings once a turn"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "high resistance between sensor and control unit, up to open"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to ground or its return"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "screen open, wire beside ignition leads"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
};
enum {
  WHEEL_FAULTS = sizeof wheel_faults / sizeof wheel_faults[0],
  RING_FAULTS = sizeof ring_faults / sizeof ring_faults[0]
};
enum {
  HAS_WHEEL = PLB_HAS_WINDING | PLB_HAS_GAP | PLB_HAS_TEETH | PLB_HAS_POLARITY,
  HAS_RING = PLB_HAS_WINDING | PLB_HAS_GAP | PLB_HAS_TEETH
};

/* Coil 860 ohm, 0.37 H; gap 1 mm under a pitch of 9 mm; flux such that idle gives some +-8 V: from memory,
 * common practice. */
static const plb_inductive_set set_60_2_idle = {60, 2, 4, false, 6.5e-3, 0.10, 860, 0.37, 0, 22e3, 0, 0, 0.05};
static const plb_inductive_set set_60_2_cranking = {60, 2, 4, true, 6.5e-3, 0.10, 860, 0.37, 0, 22e3, 0, 0, 0.05};
static const plb_inductive_set set_60_2_clamped = {60,   2,     4,    false, 6.5e-3, 0.10, 860,
                                                   0.37, 4.7e3, 47e3, 4.15,  -0.72,  0.05};
/* larger pitch, more flux, fewer turns: from memory */
static const plb_inductive_set set_36_1_idle = {36, 1, 4, false, 8.5e-3, 0.07, 420, 0.20, 0, 15e3, 0, 0, 0.05};
static const plb_inductive_set set_36_1_cranking = {36, 1, 4, true, 8.5e-3, 0.07, 420, 0.20, 0, 15e3, 0, 0, 0.05};
/* Rings of 48 teeth at the wheel hub and 40 on a gearbox shaft; coil 1.1 kilo-ohm. */
/* ring of 48 at a hub, coil of about a kilohm: common practice; flux and inductance from memory */
static const plb_inductive_set set_hub = {48, 0, 0, false, 2.6e-3, 0.12, 1100, 0.55, 0, 30e3, 0, 0, 0.06};
/* 40 teeth at a gearbox shaft, some hundred ohms: common practice; flux and inductance from memory */
static const plb_inductive_set set_shaft = {40, 0, 0, false, 1.9e-3, 0.10, 560, 0.25, 0, 20e3, 0, 0, 0.03};

static const plb_model_reason ring_reasons[] = {
    {PLB_FAULT_REVERSED, "an even row of teeth looks the same upside down"}};

const plb_model_family plb_crank_inductive_60_2_idle = {
    .name = "crank-inductive-60-2-idle",
    .type = "crank-inductive",
    .text = "inductive crank sensor, 60-2 wheel, four cylinders, idle",
    .channel = {{"crank", "V", "between the two wires of the sensor, connected", PLB_BY_PROBE, 20.0, 0.012, 0}},
    .channels = 1,
    .cycle = "wheel:teeth=60,missing=2",
    .rate_hz = 100e3,
    .duration_s = 0.8,
    .low_per_min = 720,
    .high_per_min = 900,
    .has = HAS_WHEEL,
    .fault = wheel_faults,
    .faults = WHEEL_FAULTS,
    .simulate = simulate_inductive,
    .set = &set_60_2_idle};

const plb_model_family plb_crank_inductive_60_2_cranking = {
    .name = "crank-inductive-60-2-cranking",
    .type = "crank-inductive",
    .text = "inductive crank sensor, 60-2 wheel, four cylinders, cranking",
    .channel = {{"crank", "V", "between the two wires of the sensor, connected", PLB_BY_PROBE, 5.0, 0.008, 0}},
    .channels = 1,
    .cycle = "wheel:teeth=60,missing=2",
    .rate_hz = 25e3,
    .duration_s = 2.4,
    .low_per_min = 180,
    .high_per_min = 260,
    .has = HAS_WHEEL,
    .fault = wheel_faults,
    .faults = WHEEL_FAULTS,
    .simulate = simulate_inductive,
    .set = &set_60_2_cranking};

const plb_model_family plb_crank_inductive_60_2_clamped = {
    .name = "crank-inductive-60-2-clamped",
    .type = "crank-inductive",
    .text = "inductive crank sensor into a clamped input, 60-2 wheel, raised speed",
    .channel = {{"crank", "V", "signal wire against the sensor's return at the control unit, connected", PLB_BY_PROBE,
                 10.0, 0.012, 0}},
    .channels = 1,
    .cycle = "wheel:teeth=60,missing=2",
    .rate_hz = 100e3,
    .duration_s = 0.5,
    .low_per_min = 2700,
    .high_per_min = 3200,
    .has = HAS_WHEEL,
    .fault = wheel_faults,
    .faults = WHEEL_FAULTS,
    .simulate = simulate_inductive,
    .set = &set_60_2_clamped};

const plb_model_family plb_crank_inductive_36_1_idle = {
    .name = "crank-inductive-36-1-idle",
    .type = "crank-inductive",
    .text = "inductive crank sensor, 36-1 wheel, four cylinders, idle",
    .channel = {{"crank", "V", "between the two wires of the sensor, connected", PLB_BY_PROBE, 20.0, 0.012, 0}},
    .channels = 1,
    .cycle = "wheel:teeth=36,missing=1",
    .rate_hz = 100e3,
    .duration_s = 0.8,
    .low_per_min = 700,
    .high_per_min = 880,
    .has = HAS_WHEEL,
    .fault = wheel_faults,
    .faults = WHEEL_FAULTS,
    .simulate = simulate_inductive,
    .set = &set_36_1_idle};

const plb_model_family plb_crank_inductive_36_1_cranking = {
    .name = "crank-inductive-36-1-cranking",
    .type = "crank-inductive",
    .text = "inductive crank sensor, 36-1 wheel, four cylinders, cranking",
    .channel = {{"crank", "V", "between the two wires of the sensor, connected", PLB_BY_PROBE, 5.0, 0.008, 0}},
    .channels = 1,
    .cycle = "wheel:teeth=36,missing=1",
    .rate_hz = 20e3,
    .duration_s = 2.4,
    .low_per_min = 180,
    .high_per_min = 260,
    .has = HAS_WHEEL,
    .fault = wheel_faults,
    .faults = WHEEL_FAULTS,
    .simulate = simulate_inductive,
    .set = &set_36_1_cranking};

const plb_model_family plb_wheel_speed_inductive = {
    .name = "wheel-speed-inductive",
    .type = "wheel-speed-inductive",
    .text = "inductive wheel-speed sensor, ring of 48 teeth, wheel turned evenly",
    .channel = {{"wheel-speed", "V", "between the two wires of the sensor, connected", PLB_BY_PROBE, 1.0, 0.004, 0}},
    .channels = 1,
    .cycle = "wheel:teeth=48,missing=0",
    .rate_hz = 20e3,
    .duration_s = 3.0,
    .low_per_min = 110,
    .high_per_min = 170,
    .has = HAS_RING | PLB_HAS_POLARITY,
    .fault = ring_faults,
    .faults = RING_FAULTS,
    .reason = ring_reasons,
    .reasons = 1,
    .simulate = simulate_inductive,
    .set = &set_hub};

const plb_model_family plb_transmission_speed_inductive = {
    .name = "transmission-speed",
    .type = "transmission-speed",
    .text = "inductive speed sensor of a gearbox shaft, 40 teeth, steady speed",
    .channel = {{"shaft-speed", "V", "between the two wires of the sensor, connected", PLB_BY_PROBE, 5.0, 0.008, 0}},
    .channels = 1,
    .cycle = "wheel:teeth=40,missing=0",
    .rate_hz = 100e3,
    .duration_s = 0.6,
    .low_per_min = 1300,
    .high_per_min = 1800,
    .has = HAS_RING | PLB_HAS_POLARITY,
    .fault = ring_faults,
    .faults = RING_FAULTS,
    .reason = ring_reasons,
    .reasons = 1,
    .simulate = simulate_inductive,
    .set = &set_shaft};
