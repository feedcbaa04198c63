/*
 * Air-mass meters: a film heated by a bridge that holds it at one temperature, in the intake of an engine. The throttle is a nozzle,
 * the manifold a volume that fills and empties, each intake stroke draws from it, and the crank speeds up with the torque. Two outputs:
 * a voltage, on a snap of the throttle, and the frequency of a converter behind an open collector, at idle.
 *
 * Part values: engine of 2.0 litre and its manifold *common practice*; film, bridge and amplifier *from memory*, each where it stands.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/rotation.h"
#include "model/three_wire.h"

static const double air_r = 287.0, air_k = 300.0, air_pa = 1.0e5, air_exponent = 1.4; /* dry air, 27 C */

typedef struct engine {
  double swept_m3, manifold_m3, fill; /* fill: volumetric efficiency */
  double idle_m2, open_m2;            /* effective areas of the throttle */
  double leak_m2;                     /* behind the meter */
  double open_s, shut_s, move_s;      /* the snap */
  double torque_nm, inertia, drag_nm; /* drag: at idle; the torque at idle is as large */
  double draws[4];                    /* of each cylinder; one that leaks back draws less and blows */
  double blows[4];
  double duct_s;                           /* air box and duct between meter and throttle even out the strokes */
  double p_pa, rad_s, turns, metered_kg_s; /* state */
} engine;

static double throttle_kg_s(double m2, double p_pa) {
  return m2 * air_pa / sqrt(air_r * air_k) * plb_nozzle_share(fmin(1.0, p_pa / air_pa), air_exponent);
}

static double mean_draw_kg_s(const engine *e, double p_pa) {
  return e->fill * e->swept_m3 * e->rad_s / (2.0 * plb_two_pi) * p_pa / (air_r * air_k);
}

/* The idle control sets the throttle for the speed it wants: with air leaking in behind the meter it shuts further. */
static engine make_engine(plb_draw *draw, bool snap) {
  /* engine of 2.0 litre, manifold of twice that: common practice */
  engine e = {.swept_m3 = plb_part(draw, 2.0e-3, 0.004),
              .manifold_m3 = plb_part(draw, 4.5e-3, 0.03)}; /* common practice: 2 swept volumes */
  const double blocked = plb_fault(draw, "blocked-path");
  e.fill =
      plb_part(draw, 0.85, 0.01) * (1.0 - 0.45 * blocked); /* common practice; a blocked exhaust leaves less room */
  e.rad_s = plb_two_pi * draw->speed_per_min / 60.0;
  e.p_pa = air_pa * plb_part(draw, 0.32, 0.03) * (1.0 + 0.5 * blocked); /* common practice at hot idle */
  for (int k = 0; k < 4; k++)
    e.draws[k] = plb_part(draw, 1.0, 0.02);
  const int bad = (int)plb_random_below(&draw->part, 4);
  const double valve = plb_fault(draw, "leaking-valve");
  e.draws[bad] *= 1.0 - 0.3 * valve;
  e.blows[bad] = 0.95 * valve; /* of the charge, pushed back while it is compressed */
  const double needed_kg_s = mean_draw_kg_s(&e, e.p_pa);
  e.leak_m2 = needed_kg_s / throttle_kg_s(1.0, e.p_pa) * 0.75 * plb_fault(draw, "air-leak");
  e.idle_m2 = needed_kg_s / throttle_kg_s(1.0, e.p_pa) - e.leak_m2;
  e.open_m2 = plb_part(draw, 1.5e-3, 0.03) * (1.0 - 0.85 * blocked); /* a bore of 50 mm with losses: common practice */
  e.open_s = snap ? plb_between(draw, 0.5, 0.7) : 1e9;
  e.shut_s = e.open_s + plb_part(draw, 0.85, 0.05);
  e.move_s = plb_part(draw, 0.09, 0.06);     /* a quick foot or motor: common practice */
  e.torque_nm = plb_part(draw, 170.0, 0.03); /* at full manifold pressure: common practice */
  e.inertia = plb_part(draw, 0.25, 0.03);    /* kg m2 with the flywheel: from memory */
  e.drag_nm = e.torque_nm * e.p_pa / air_pa; /* at idle the two are equal */
  e.duct_s = plb_part(draw, 6.0e-3, 0.05);   /* from memory */
  e.metered_kg_s = throttle_kg_s(e.idle_m2, e.p_pa);
  e.turns = 2.0 * plb_random_uniform(&draw->part);
  return e;
}

static double ramp(double t_s, double length_s) { return fmax(0.0, fmin(1.0, t_s / length_s)); }

/* One step of filling and emptying: V/(R T) dp/dt = in - out; J dw/dt = torque - drag. Heywood, chapter 14.
 * @return what passes the meter, kg/s */
static double engine_step(engine *e, double t_s, double dt_s) {
  const double idle_rad_s = 84.0;
  const double opened = ramp(t_s - e->open_s, e->move_s) - ramp(t_s - e->shut_s, e->move_s);
  const double past_throttle = throttle_kg_s(e->idle_m2 + opened * e->open_m2, e->p_pa);
  const double stroke = e->turns * 2.0, at = stroke - floor(stroke);
  const int k = (int)fmod(floor(stroke), 4.0), before = (k + 3) % 4;
  const double lobe =
      1.0 - 0.5 * cos(plb_two_pi * at); /* neighbouring intake strokes overlap: common practice; mean 1 */
  const double out = mean_draw_kg_s(e, e->p_pa) * lobe * (e->draws[k] - e->blows[before]);
  e->p_pa = fmax(0.05 * air_pa, e->p_pa + air_r * air_k / e->manifold_m3 *
                                              (past_throttle + throttle_kg_s(e->leak_m2, e->p_pa) - out) * dt_s);
  const double drag = e->drag_nm * (0.85 + 0.15 * e->rad_s / idle_rad_s); /* friction grows with speed: from memory */
  e->rad_s = fmax(0.7 * idle_rad_s, e->rad_s + (e->torque_nm * fmin(1.0, e->p_pa / air_pa) - drag) / e->inertia * dt_s);
  e->turns += e->rad_s / plb_two_pi * dt_s;
  e->metered_kg_s += (past_throttle - e->metered_kg_s) / e->duct_s * dt_s;
  return e->metered_kg_s;
}

/* The film, its bridge and the amplifier that feeds the bridge. */
typedef struct film {
  double film_ohm, series_ohm;       /* of the heated leg */
  double above_k;                    /* held above the air */
  double a_w_per_k, b_w_per_k;       /* King: at rest, and for the root of a gram a second */
  double heat_j_per_k, gain_a_per_k; /* of the film; of the amplifier through the bridge */
  double most_a;                     /* what the supply can drive */
  double is_k, amp;                  /* state */
} film;

static film make_film(plb_draw *draw, double supply_v) {
  const double dirty = plb_fault(draw, "dirty-element"), coat = plb_scaled(plb_fault(draw, "lazy-sensor"), 60.0);
  /* trimmed by laser, 160 K above the air: from memory */
  film f = {.film_ohm = plb_part(draw, 20.0, 0.003),
            .series_ohm = 10.0,
            .above_k = 160.0};                /* from memory; trimmed by laser */
  f.a_w_per_k = plb_part(draw, 2.5e-4, 0.01); /* from memory: 0.1 A at idle, 0.2 A at full flow */
  f.b_w_per_k = plb_part(draw, 5.0e-4, 0.008) * (1.0 - 0.55 * dirty); /* dirt keeps the air off the film */
  f.heat_j_per_k = plb_part(draw, 2.0e-3, 0.05) * coat;               /* from memory: answers in some milliseconds */
  f.gain_a_per_k = 0.1;                                               /* from memory */
  f.most_a = fmax(0.0, supply_v - 1.5) / (f.film_ohm + f.series_ohm); /* 1.5 V stay over the amplifier's transistor */
  return f;
}

/* C dT/dt = I^2 R - (a + b sqrt(flow)) T, the amplifier drives I against what is missing of the temperature.
 * @return volts over the series resistor */
static double film_step(film *f, double kg_s, double dt_s) {
  const double loss = plb_king_w_per_k(f->a_w_per_k, f->b_w_per_k, kg_s * 1e3);
  f->amp = fmax(0.0, fmin(f->most_a, f->gain_a_per_k * (f->above_k - f->is_k)));
  f->is_k += (f->amp * f->amp * f->film_ohm - loss * f->is_k) / f->heat_j_per_k * dt_s;
  return f->amp * f->series_ohm;
}

/* Where the bridge comes to rest at this flow: I^2 R = loss * T with I = gain (above - T). */
static void film_settle(film *f, double kg_s) {
  double low = 0.0, high = f->above_k;
  const double loss = plb_king_w_per_k(f->a_w_per_k, f->b_w_per_k, kg_s * 1e3);
  for (int i = 0; i < 60; i++) {
    f->is_k = 0.5 * (low + high);
    f->amp = fmin(f->most_a, f->gain_a_per_k * (f->above_k - f->is_k));
    if (f->amp * f->amp * f->film_ohm > loss * f->is_k)
      low = f->is_k;
    else
      high = f->is_k;
  }
}

/* The differential equations want steps of a tenth of a millisecond or less, whatever the recorder's rate. */
typedef struct meter {
  engine engine;
  film film;
  int steps;
  double dt_s, mean_kg_s;
} meter;

static meter make_meter(plb_draw *draw, bool snap) {
  const double weak = plb_fault(draw, "weak-supply");
  /* charging voltage: common practice */
  draw->supply_v = plb_between(draw, 13.6, 14.3) * (1.0 - 0.72 * weak);
  meter m = {.engine = make_engine(draw, snap)};
  m.film = make_film(draw, draw->supply_v);
  m.steps = (int)ceil(1.0 / (1.0e-4 * draw->rate_hz));
  m.dt_s = 1.0 / (draw->rate_hz * m.steps);
  /* two turns before the recording, so that the pulses of the strokes have settled */
  film_settle(&m.film, throttle_kg_s(m.engine.idle_m2, m.engine.p_pa));
  for (double t = 0.0; t < 0.15; t += m.dt_s) {
    const double rad_s = m.engine.rad_s;
    film_step(&m.film, engine_step(&m.engine, -1.0, m.dt_s), m.dt_s);
    m.engine.rad_s = rad_s;
  }
  return m;
}

static double meter_step(meter *m, double t_s) {
  double v = 0.0;
  for (int k = 0; k < m->steps; k++)
    v = film_step(&m->film, engine_step(&m->engine, t_s, m->dt_s), m->dt_s);
  return v;
}

static plb_status simulate_air_voltage(plb_draw *draw, plb_error *err) {
  (void)err;
  meter m = make_meter(draw, true);
  plb_three_wire wires = plb_three_wire_draw(draw);
  wires.supply_v = 5.0; /* the meter makes its own reference from the battery */
  /* amplifier, so that idle stands near 1 V: common practice; values from memory */
  const double gain = 3.0 * plb_part(draw, 1.0, 0.006) * (1.0 - 0.30 * plb_fault(draw, "weak-span")),
               zero_v = 0.65 + 0.003 * plb_normal(draw) -
                        0.3 * plb_fault(draw, "biased-sensor"); /* amplifier: 1 V at idle, from memory */
  for (size_t i = 0; i < draw->n; i++) {
    const double share = gain * (meter_step(&m, (double)i / draw->rate_hz) - zero_v) / 5.0;
    draw->x[0][i] = plb_three_wire_v(&wires, fmax(0.0, fmin(0.98, share)), 0.0);
  }
  plb_three_wire_disturb(draw);
  return PLB_OK;
}

/* The open collector at the meter's plug: pull-up in the control unit, cable, leak and transistor. Millman's theorem for where it goes,
 * R C for how fast. */
typedef struct collector {
  double pull_v, ground_v, pull_s, leak_s, on_s, farad; /* _s: siemens */
  double lag_s, conducts, v;                            /* the transistor opens and shuts with a lag */
} collector;

static collector make_collector(plb_draw *draw) {
  collector c = {.ground_v = 1.6 * plb_fault(draw, "poor-ground")};
  /* 5 V reference within 1 %: common practice */
  c.pull_v = plb_part(draw, 5.0, 0.005) * (1.0 - 0.35 * plb_fault(draw, "weak-pull-supply"));
  const double pull_ohm = plb_part(draw, 3.3e3, 0.03); /* common practice: some kilohms */
  c.pull_s = 1.0 / (pull_ohm * plb_scaled(plb_fault(draw, "weak-pull-up"), 40.0));
  c.leak_s = 2.3 / pull_ohm * plb_fault(draw, "leak-to-ground") + 1.0 / 500e3; /* the input: from memory */
  c.on_s = 1.0 / (80.0 + plb_joint_ohm(plb_fault(draw, "joint"), 9e3));        /* transistor: from memory */
  c.farad = plb_part(draw, 1.0e-9, 0.1);                                       /* filter and cable: common practice */
  c.lag_s = 0.5e-6 + 60e-6 * plb_fault(draw, "slow-output");
  c.v = c.pull_v;
  return c;
}

static double collector_step(collector *c, bool on, double dt_s) {
  const double want = on ? c->on_s : 0.0;
  c->conducts = want + (c->conducts - want) * exp(-dt_s / c->lag_s);
  const double sum = c->pull_s + c->leak_s + c->conducts;
  const double end = (c->pull_v * c->pull_s + c->ground_v * c->conducts) / sum;
  return c->v = end + (c->v - end) * exp(-dt_s * sum / c->farad);
}

static plb_status simulate_air_frequency(plb_draw *draw, plb_error *err) {
  (void)err;
  meter m = make_meter(draw, false);
  collector out = make_collector(draw);
  /* converter, two to three kilohertz at idle: from memory */
  const double zero_hz = plb_part(draw, 700.0, 0.02),
               per_v_hz = plb_part(draw, 1600.0, 0.01), /* converter: from memory */
      bias = 1.0 + 0.3 * plb_fault(draw, "biased-sensor");
  double phase = plb_between(draw, 0, 1);
  for (size_t i = 0; i < draw->n; i++) {
    phase += (zero_hz + per_v_hz * meter_step(&m, 0.0)) * bias / draw->rate_hz;
    draw->x[0][i] = collector_step(&out, phase - floor(phase) >= 0.5, 1.0 / draw->rate_hz);
  }
  plb_break_signal(draw, 0, "intermittent-contact", 20.0, 0.0, 0.01, 5.0, 1e-5);
  plb_add_interference(draw, 0, "ignition-interference", 3.0);
  return PLB_OK;
}

static const plb_model_fault voltage_faults[] = {
    {"dirty-element", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "dirt on the film: it gives less heat to the air"},
    {"air-leak", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "air enters behind the meter"},
    {"biased-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "zero of the amplifier moved: output too high throughout"},
    {"weak-span", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "amplifier weak: output changes too little"},
    {"lazy-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "coat on the film stores heat: slow"},
    {"leaking-valve", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT,
     "intake valve of one cylinder leaks: it blows back as it compresses"},
    {"blocked-path", PLB_FAULT_STUCK, PLB_IN_COMPONENT,
     "filter, throttle or exhaust blocked: less air at full throttle"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance in the signal wire: low"},
    {"leak-to-supply", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to 5 V"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND,
     "supply of the heater low: the film cannot be held hot at full flow"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "sensor's ground raised"},
};
static const plb_model_fault frequency_faults[] = {
    {"dirty-element", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "dirt on the film: frequency low"},
    {"air-leak", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "air enters behind the meter: frequency low at idle"},
    {"biased-sensor", PLB_FAULT_SENSOR, PLB_IN_COMPONENT, "converter runs too fast: frequency high"},
    {"slow-output", PLB_FAULT_DRIVER, PLB_IN_COMPONENT, "output transistor slow"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance between the meter and the test point: low level high"},
    {"leak-to-ground", PLB_FAULT_SHORT, PLB_IN_WIRING, "signal wire leaks to ground: high level low"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "contact opens now and then"},
    {"ignition-interference", PLB_FAULT_INTERFERENCE, PLB_IN_WIRING, "wire beside ignition leads"},
    {"weak-pull-up", PLB_FAULT_PULLUP, PLB_IN_SUPPLY_OR_GROUND, "pull-up too high: slow rise, high level low"},
    {"weak-pull-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "supply of the pull-up low"},
    {"weak-supply", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND,
     "supply of the heater low: the film is not held hot, frequency low"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "meter's ground raised"},
};

const plb_model_family plb_air_mass_voltage = {
    .name = "air-mass-voltage",
    .type = "air-mass-voltage",
    .text = "air-mass meter with voltage output, snap throttle",
    .channel = {{"air-mass", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 5.0, 0.006, 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 10e3,
    .duration_s = 3,
    .low_per_min = 740,
    .high_per_min = 860,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_SENSING | PLB_HAS_LIKE_PARTS | PLB_HAS_MOTION,
    .fault = voltage_faults,
    .faults = sizeof voltage_faults / sizeof voltage_faults[0],
    .simulate = simulate_air_voltage};
const plb_model_family plb_air_mass_frequency = {
    .name = "air-mass-frequency",
    .type = "air-mass-frequency",
    .text = "air-mass meter with frequency output, idle",
    .channel = {{"air-mass", "V", "signal wire against sensor ground, connected", PLB_BY_PROBE, 10.0, 0.012, 0}},
    .channels = 1,
    .cycle = "edge:level=50%states,slope=rising",
    .rate_hz = 200e3,
    .duration_s = 0.3,
    .low_per_min = 740,
    .high_per_min = 860,
    .has = PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_PULLUP | PLB_HAS_DRIVER | PLB_HAS_SENSING,
    .fault = frequency_faults,
    .faults = sizeof frequency_faults / sizeof frequency_faults[0],
    .simulate = simulate_air_frequency};
