/*
 * Hall switch: the field over the angle (wheel.c) through a switch with two thresholds; the output transistor pulls
 * the wire to ground, a resistor in the control unit pulls it up. Unplugged there is no pull-up, so a healthy sensor
 * shows 0 V.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"
#include "model/wheel.h"

enum { MOST_CELLS = 2048, CAM_CELLS = 720 };

typedef struct switch_circuit {
  double on_at, off_below; /* of the flux, 0..1 */
  double high_v, low_v, rise_s, fall_s;
  bool dead;
} switch_circuit;

static switch_circuit make_switch(plb_draw *draw, const plb_hall_set *set, bool connected) {
  const double weak = plb_fault(draw, "weak-pull-up"), supply = plb_fault(draw, "weak-supply");
  switch_circuit s = {.dead = false};
  /* switches near the middle of the swing: from memory */
  const double middle = plb_part(draw, 0.47, 0.03) + 0.25 * supply;
  const double width =
      plb_part(draw, 0.10, 0.08); /* hysteresis, thresholds some ten per cent of the swing apart: from memory */
  s.on_at = middle + width / 2.0;
  s.off_below = middle - width / 2.0;
  const double pull_v = plb_part(draw, set->pull_v, 0.006),
               pull_ohm = plb_part(draw, set->pull_ohm, 0.02) * plb_scaled(weak, 60.0);
  const double leak = plb_fault(draw, "leak-to-ground");
  const double leak_ohm = leak > 0.0 ? 20e3 * pow(0.02, leak) : 400e3;
  /* output transistor, a tenth of a volt at two milliamperes: common practice */
  const double low_ohm = plb_part(draw, 22.0, 0.1) + plb_joint_ohm(plb_fault(draw, "joint"), 6.0 * set->pull_ohm);
  const double farad = plb_part(draw, set->farad, 0.08);
  const double ground_v = 0.02 + 1.9 * plb_fault(draw, "poor-ground");
  s.high_v = pull_v * leak_ohm / (leak_ohm + pull_ohm);
  s.low_v = ground_v + (pull_v - ground_v) * low_ohm / (low_ohm + pull_ohm);
  s.rise_s = farad * pull_ohm * leak_ohm / (leak_ohm + pull_ohm);
  /* so slow that half a tooth at 3,000/min (60 teeth: 167 us, plb_tooth_s()) is over before the level has risen to its middle (0.69 of
   * the time constant): from there on teeth are lost and the engine does not rev up. Computed. */
  s.fall_s = farad * (low_ohm + 30.0) + 100e-6 * plb_fault(draw, "slow-output");
  s.rise_s += 240e-6 * plb_fault(draw, "slow-output");
  s.dead = !connected || plb_fault(draw, "no-pull-up") > 0.0;
  return s;
}

/* The last part of the step after the switch has turned counts with the new state, so edges lie between samples. */
static double step_switch(const switch_circuit *s, bool *on, double before, double now, double v, double dt_s) {
  const bool next = plb_hysteresis(*on, now, s->on_at, s->off_below);
  double left_s = dt_s;
  if (next != *on && now != before) {
    const double at = ((next ? s->on_at : s->off_below) - before) / (now - before);
    const double first_s = fmax(0.0, fmin(1.0, at)) * dt_s;
    v = *on ? s->low_v + (v - s->low_v) * exp(-first_s / s->fall_s)
            : s->high_v + (v - s->high_v) * exp(-first_s / s->rise_s);
    left_s -= first_s;
  }
  *on = next;
  return next ? s->low_v + (v - s->low_v) * exp(-left_s / s->fall_s)
              : s->high_v + (v - s->high_v) * exp(-left_s / s->rise_s);
}

static void cut_windows(const double *window, double bent, double *profile) {
  for (int k = 0; window[2 * k] >= 0.0; k++) {
    const double height = k == 1 ? 1.0 - bent : 1.0;
    for (int i = 0; i < CAM_CELLS; i++) {
      const double at = (i + 0.5) / CAM_CELLS, turn = at - floor(at);
      if (turn >= window[2 * k] && turn < window[2 * k + 1])
        profile[i] = height;
    }
  }
}

static plb_status make_field(plb_draw *draw, const plb_hall_set *set, double *flux, int *cells_out, plb_error *err) {
  double profile[MOST_CELLS] = {0};
  plb_wheel_cut cut = {.positions = set->positions, .missing = set->missing};
  cut.gap_pitches = plb_part(draw, set->gap_pitches, 0.08) * (1.0 + 4.0 * plb_fault(draw, "air-gap"));
  /* a wheel runs out by some hundredths of its gap: from memory */
  cut.runout = fabs(plb_part(draw, 0.05, 0.3)) + 0.8 * plb_fault(draw, "runout");
  cut.bent = plb_fault(draw, "damaged-tooth");
  cut.damaged = 2 + (int)plb_random_below(&draw->part, 28);
  int cells = CAM_CELLS, pitch = CAM_CELLS / 8;
  if (set->positions) {
    plb_wheel_profile(&cut, profile);
    cells = set->positions * PLB_WHEEL_CELLS;
    pitch = PLB_WHEEL_CELLS;
  } else {
    cut_windows(set->window, cut.bent, profile);
  }
  *cells_out = cells;
  return plb_wheel_flux(profile, cells, pitch, cut.gap_pitches * pitch, cut.runout, flux, err);
}

plb_status plb_hall_render(plb_draw *draw, const plb_hall_set *set, bool connected, const double *turns, double *out,
                           plb_error *err) {
  double flux[MOST_CELLS + 1];
  int cells;
  const plb_status status = make_field(draw, set, flux, &cells, err);
  if (status)
    return status;
  flux[cells] = flux[0];
  const switch_circuit s = make_switch(draw, set, connected);
  const double dt_s = 1.0 / draw->rate_hz;
  bool on = false;
  double before = 0.0, v = s.high_v;
  for (size_t i = 0; i < draw->n; i++) {
    const double cell = (turns[i] - floor(turns[i])) * cells;
    const int k = (int)cell;
    const double now = flux[k] + (cell - k) * (flux[k + 1] - flux[k]);
    if (i == 0) {
      on = now > 0.5 * (s.on_at + s.off_below);
      v = on ? s.low_v : s.high_v;
      before = now;
    }
    v = step_switch(&s, &on, before, now, v, dt_s);
    before = now;
    out[i] = s.dead ? 0.004 : v;
  }
  return status;
}

static void add_wire_faults(plb_draw *draw, const plb_hall_set *set) {
  plb_break_signal(draw, 0, "intermittent-contact", 8.0, 0.0, 0.02, set->pull_v, set->farad * set->pull_ohm);
  plb_add_interference(draw, 0, "ignition-interference", 3.5);
}

static plb_status simulate_crank_hall(plb_draw *draw, plb_error *err) {
  const plb_hall_set *set = draw->family->set;
  const bool cranking = draw->family->channels > 1;
  plb_rotation rotation = plb_rotation_crank(draw, 4, cranking);
  plb_rotate(&rotation, draw->rate_hz, draw->n, draw->x[0]);
  if (cranking) { /* the starter pulls hardest where the crank is slowest, shortly before each top dead centre */
    /* cranking current of four cylinders: common practice */
    const double mean_a = plb_part(draw, 165.0, 0.06), swing_a = plb_part(draw, 55.0, 0.06);
    for (size_t i = 0; i < draw->n; i++)
      draw->x[1][i] = mean_a + swing_a * cos(plb_two_pi * 2.0 * draw->x[0][i] + 0.5);
  }
  const plb_status status = plb_hall_render(draw, set, !plb_in_state(draw, "unplugged"), draw->x[0], draw->x[0], err);
  draw->supply_v = plb_between(draw, cranking ? 9.8 : 13.7, cranking ? 11.0 : 14.4);
  if (!plb_in_state(draw, "unplugged"))
    add_wire_faults(draw, set);
  return status;
}

static plb_status simulate_cam_hall(plb_draw *draw, plb_error *err) {
  const plb_hall_set *set = draw->family->set;
  plb_rotation rotation = plb_rotation_crank(draw, 4, false);
  plb_rotate(&rotation, draw->rate_hz, draw->n, draw->x[0]);
  for (size_t i = 0; i < draw->n; i++)
    draw->x[0][i] *= 0.5; /* the cam turns at half the speed */
  const plb_status status = plb_hall_render(draw, set, !plb_in_state(draw, "unplugged"), draw->x[0], draw->x[0], err);
  /* charging voltage: common practice */
  draw->supply_v = plb_between(draw, 13.7, 14.4);
  if (!plb_in_state(draw, "unplugged"))
    add_wire_faults(draw, set);
  return status;
}

static const plb_model_fault faults[] = {
    {"air-gap", PLB_FAULT_GAP, PLB_IN_COMPONENT, "air gap up to five times too wide: edges move, then teeth are lost"},
    {"damaged-tooth", PLB_FAULT_TOOTH, PLB_IN_COMPONENT, "one tooth bent or broken off"},
    {"runout", PLB_FAULT_RUNOUT, PLB_IN_COMPONENT, "wheel off centre: the air gap swings once a turn"},
    {"slow-output", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "output transistor slow: above 3,000/min teeth are lost"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance between control unit and sensor: the low level rises"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to ground: the high level falls"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "signal contact opens now and then"},
    {"weak-pull-up", PLB_FAULT_PULLUP, PLB_IN_SUPPLY_OR_GROUND,
     "pull-up in the control unit has become high in resistance"},
    {"no-pull-up", PLB_FAULT_PULLUP, PLB_IN_SUPPLY_OR_GROUND, "pull-up missing or signal wire broken: flat at 0 V"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground has resistance: the low level rises"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "sensor's supply too low: its thresholds move"},
};
enum { FAULTS = sizeof faults / sizeof faults[0] };
enum { HAS = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_GAP | PLB_HAS_TEETH | PLB_HAS_PULLUP | PLB_HAS_DRIVER };
static const char *const states[] = {"unplugged", NULL};

/* gap in pitches from memory; pull-up of 2.2 kilohm to 5 V and some nanofarads at the input: common practice */
static const plb_hall_set set_crank = {60, 2, NULL, 0.14, 5.0, 2.2e3, 4.7e-9};
/* Four teeth of different width on the cam, as on many engines: two long, two short. */
static const double cam_windows[] = {0.03, 0.22, 0.28, 0.36, 0.53, 0.61, 0.78, 0.97, -1};
static const plb_hall_set set_cam = {0, 0, cam_windows, 0.10, 5.0, 2.2e3, 4.7e-9};

const plb_model_family plb_crank_hall_idle = {
    .name = "crank-hall-idle",
    .type = "crank-hall",
    .text = "Hall crank sensor, 60-2 wheel, four cylinders, idle",
    .channel = {{"crank", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 10.0, 0.012, 0}},
    .channels = 1,
    .cycle = "wheel:teeth=60,missing=2",
    .rate_hz = 100e3,
    .duration_s = 0.8,
    .low_per_min = 720,
    .high_per_min = 900,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .state = states,
    .simulate = simulate_crank_hall,
    .set = &set_crank};

const plb_model_family plb_crank_hall_cranking = {
    .name = "crank-hall-cranking",
    .type = "crank-hall",
    .text = "Hall crank sensor, 60-2 wheel, with starter current, cranking",
    .channel = {{"crank", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 10.0, 0.012, 0},
                {"starter-current", "A", "clamp round the battery cable", PLB_BY_CLAMP, 500.0, 0.8, 10e3}},
    .channels = 2,
    .cycle = "wheel:teeth=60,missing=2,channel=crank",
    .rate_hz = 25e3,
    .duration_s = 2.4,
    .low_per_min = 180,
    .high_per_min = 260,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .state = states,
    .simulate = simulate_crank_hall,
    .set = &set_crank};

const plb_model_family plb_cam_hall = {
    .name = "cam-hall",
    .type = "cam-hall",
    .text = "Hall cam sensor, four teeth of two widths, idle",
    .channel = {{"cam", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 10.0, 0.012, 0}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 50e3,
    .duration_s = 1.6,
    .low_per_min = 720,
    .high_per_min = 900,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .state = states,
    .simulate = simulate_cam_hall,
    .set = &set_cam};

/*
 * Cam with crank: the cam's angle against the crank's. With variable timing the cam is parked at idle and advanced
 * when running; a belt or chain that has jumped is off in every state.
 */
static const plb_inductive_set set_cam_crank = {60, 2, 4, false, 6.5e-3, 0.10, 860, 0.37, 0, 22e3, 0, 0, 0.05};

static plb_status simulate_cam_crank(plb_draw *draw, plb_error *err) {
  plb_rotation rotation = plb_rotation_crank(draw, 4, false);
  plb_rotate(&rotation, draw->rate_hz, draw->n, draw->x[0]);
  const double built_deg = 0.8 * plb_normal(draw); /* of the crank: tolerance of belt and sensors */
  double late_deg = built_deg + 18.0 * plb_fault(draw, "jumped-belt");
  if (plb_in_state(draw, "advanced"))
    late_deg -= 25.0;
  const double slack_deg = 0.3 + 4.5 * plb_fault(draw, "slack-chain");
  for (size_t i = 0; i < draw->n; i++) {
    /* the cam's springs and lobes sway the slack with every valve */
    const double sway = slack_deg * sin(plb_two_pi * 2.0 * draw->x[0][i] + 0.7);
    draw->x[1][i] = 0.5 * (draw->x[0][i] - (late_deg + sway) / 360.0) + 0.06;
  }
  plb_status status = plb_inductive_render(draw, &set_cam_crank, draw->x[0], draw->x[0], err);
  if (!status)
    status = plb_hall_render(draw, &set_cam, true, draw->x[1], draw->x[1], err);
  /* charging voltage: common practice */
  draw->supply_v = plb_between(draw, 13.7, 14.4);
  plb_break_signal(draw, 1, "intermittent-cam-contact", 8.0, 0.0, 0.02, 5.0, 1e-5);
  plb_add_interference(draw, 0, "ignition-interference", 12.0);
  plb_add_interference(draw, 1, "ignition-interference", 3.5);
  return status;
}

/* Joints, gaps and grounds of the two sensors are the matter of their own families: these names act on one of
 * the two only. */
static const plb_model_fault pair_faults[] = {
    {"jumped-belt", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "belt or chain has jumped: the cam is late in every state"},
    {"slack-chain", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "slack chain: the cam sways against the crank"},
    {"air-gap", PLB_FAULT_GAP, PLB_IN_COMPONENT, "air gaps too wide"},
    {"damaged-tooth", PLB_FAULT_TOOTH, PLB_IN_COMPONENT, "a tooth of the crank wheel and one of the cam wheel damaged"},
    {"runout", PLB_FAULT_RUNOUT, PLB_IN_COMPONENT, "wheels off centre"},
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "turns of the crank sensor's coil shorted"},
    {"slow-output", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "cam sensor's output transistor switches slowly"},
    {"reversed-leads", PLB_FAULT_REVERSED, PLB_IN_WIRING, "crank sensor's wires crossed"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wires"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wires leak to ground"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wires beside ignition leads"},
    {"intermittent-cam-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "cam sensor's contact opens now and then"},
    {"weak-pull-up", PLB_FAULT_PULLUP, PLB_IN_SUPPLY_OR_GROUND, "cam sensor's pull-up high in resistance"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "cam sensor's ground has resistance"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "cam sensor's supply too low"},
};
enum { PAIR_FAULTS = sizeof pair_faults / sizeof pair_faults[0] };
static const char *const pair_states[] = {"advanced", NULL};

const plb_model_family plb_cam_crank = {
    .name = "cam-crank",
    .type = "cam-crank",
    .text = "cam sensor (Hall) with crank sensor (inductive, 60-2): timing, idle, cam parked",
    .channel = {{"crank", "V", "between the two wires of the crank sensor, connected", PLB_BY_PROBE, 20.0, 0.012, 0},
                {"cam", "V", "signal wire of the cam sensor against its ground, connected", PLB_BY_PROBE, 10.0, 0.012,
                 0}},
    .channels = 2,
    .cycle = "wheel:teeth=60,missing=2,revs=2,channel=crank",
    .rate_hz = 50e3,
    .duration_s = 1.2,
    .low_per_min = 720,
    .high_per_min = 900,
    .has = HAS | PLB_HAS_WINDING | PLB_HAS_POLARITY | PLB_HAS_MOTION | PLB_HAS_SENSING,
    .fault = pair_faults,
    .faults = PAIR_FAULTS,
    .state = pair_states,
    .simulate = simulate_cam_crank};
