/*
 * Cranking: battery, starter and engine as one system. Motor: V = I R + K w, torque K I (permanent-magnet starter,
 * seen at the crank). Engine: each cylinder compresses its charge polytropically (plb_polytropic_pa(), slider-crank
 * volume); the torque is the pressure above the ambient times dV/dangle. Inertia: J dw/dt = K I - gas - friction. The
 * humps of current are the compressions.
 */
#include "model/families.h"
#include "model/physics.h"
#include "model/draw.h"

enum { GRID = 720, CYLINDERS = 4 };

typedef struct engine {
  double gas_nm[GRID + 1]; /* of one cylinder, its top dead centre of compression at 360 degrees; over 720 degrees */
  double seal[CYLINDERS];  /* share of the good gas torque */
  double friction_nm, viscous_nm_s, inertia;
} engine;

typedef struct starter {
  double source_v, source_ohm, path_ohm, k; /* K in volt-seconds, equal to newton-metres per ampere */
  double pinion_s;                          /* from battery connected to engine moving */
} starter;

/* Displacement 0.5 litre a cylinder, compression 10; leakage and cold walls make the exponent about 1.25 at
 * cranking, from memory. */
static void make_gas_torque(double exponent, double gas_nm[GRID + 1]) {
  const double clearance_m3 = 0.5e-3 / 9.0, ambient_pa = 1.0e5, rod = 3.3;
  for (int i = 0; i <= GRID; i++) {
    const double angle = plb_two_pi * i / 360.0; /* 0: top dead centre of overlap */
    gas_nm[i] = 0.0;
    if (i < 200 || i > 520)
      continue; /* a valve is open: no work to speak of */
    const double step = plb_two_pi / 720.0;
    const double volume = plb_cylinder_volume(angle, 10.0, rod);
    const double slope_m3 =
        clearance_m3 * (plb_cylinder_volume(angle + step, 10.0, rod) - plb_cylinder_volume(angle - step, 10.0, rod)) /
        (2.0 * step);
    const double start = plb_cylinder_volume(plb_two_pi * 200.0 / 360.0, 10.0, rod);
    const double loss = i > 360 ? 0.78 : 1.0; /* what leaked and cooled on the way up is missing on the way down */
    gas_nm[i] = -(loss * plb_polytropic_pa(ambient_pa, start / volume, exponent) - ambient_pa) * slope_m3;
  }
}

static engine make_engine(plb_draw *draw) {
  engine e;
  /* polytropic exponent 1.2 to 1.35: from memory */
  make_gas_torque(plb_part(draw, 1.25, 0.006), e.gas_nm);
  const double all = 1.0 - 0.55 * plb_fault(draw, "low-compression-all");
  for (int k = 0; k < CYLINDERS; k++)
    /* healthy cylinders differ by a few per cent: common practice */
    e.seal[k] = plb_part(draw, 1.0, 0.015) * all;
  const int bad = (int)plb_random_below(&draw->part, CYLINDERS);
  e.seal[bad] *= 1.0 - 0.9 * plb_fault(draw, "low-compression");
  /* friction at cranking speed: from memory */
  e.friction_nm = plb_part(draw, 38.0, 0.06) * (1.0 + 0.9 * plb_fault(draw, "drag"));
  /* its part that goes with the speed: from memory */
  e.viscous_nm_s = plb_part(draw, 0.45, 0.05);
  /* crank, flywheel, starter seen through its gear: from memory */
  e.inertia = plb_part(draw, 0.32, 0.04);
  return e;
}

static starter make_starter(plb_draw *draw) {
  const double shorted = plb_fault(draw, "shorted-turns"), weak = plb_fault(draw, "weak-battery");
  /* a charged battery at rest: common practice */
  starter s = {.source_v = plb_between(draw, 12.35, 12.75) - 1.1 * weak};
  draw->supply_v = s.source_v;
  /* workshop: common practice */
  draw->temperature_cel = plb_between(draw, 15, 30);
  /* battery: some milliohms, common practice */
  s.source_ohm = plb_part(draw, 8.0e-3, 0.06) * (1.0 + 1.4 * weak);
  /* cables, contact and armature: from memory */
  s.path_ohm = plb_part(draw, 10.0e-3, 0.05) * (1.0 - 0.3 * shorted) + plb_joint_ohm(plb_fault(draw, "joint"), 28e-3) +
               plb_joint_ohm(plb_fault(draw, "poor-ground"), 24e-3) + 14e-3 * plb_fault(draw, "worn-brushes");
  /* so that some 170 A turn the engine at about 230 a minute: common practice */
  s.k = plb_part(draw, 0.34, 0.03) * (1.0 - 0.3 * shorted);
  /* the solenoid engages within a tenth of a second or two: common practice */
  s.pinion_s = plb_between(draw, 0.10, 0.16);
  return s;
}

static double gas_at(const engine *e, double turns) {
  double sum = 0.0;
  for (int k = 0; k < CYLINDERS; k++) {
    const double cycle = turns / 2.0 + 0.25 * k, at = (cycle - floor(cycle)) * GRID;
    const int i = (int)at;
    const double torque = e->gas_nm[i] + (at - i) * (e->gas_nm[i + 1] - e->gas_nm[i]);
    /* a leaking cylinder takes less to compress and gives less back */
    sum += torque * e->seal[k];
  }
  return sum;
}

typedef struct crank_state {
  double turns, rad_s, amp;
} crank_state;

static void step_crank(const starter *s, const engine *e, bool closed, bool ragged, double dt_s, crank_state *c) {
  const double ohm = s->source_ohm + s->path_ohm + (ragged ? 9e-3 : 0.0);
  const double target = closed ? (s->source_v - s->k * c->rad_s) / ohm : 0.0;
  c->amp = fmax(0.0, target + (c->amp - target) * exp(-dt_s / 1.5e-3)); /* inductance of the motor */
  const double drive = s->k * c->amp - gas_at(e, c->turns);
  const double against = e->friction_nm + e->viscous_nm_s * c->rad_s;
  c->rad_s += (drive - against) / e->inertia * dt_s;
  if (c->rad_s < 0.0)
    c->rad_s = 0.0; /* the pinion holds it */
  c->turns += c->rad_s / plb_two_pi * dt_s;
}

/* A steady capture starts when the engine has been cranked for a while; one from standstill shows the inrush. */
static plb_status simulate_cranking(plb_draw *draw, plb_error *err) {
  (void)err;
  const bool volts = draw->family == &plb_battery_cranking;
  const bool standstill = volts || plb_in_state(draw, "from-standstill");
  const engine e = make_engine(draw);
  const starter s = make_starter(draw);
  crank_state c = {.turns = 2.0 * plb_random_uniform(&draw->part)};
  plb_contact contact;
  plb_contact_plan(draw, "intermittent-contact", 3.0, 0.0, 0.05, &contact);
  const double dt_s = 1.0 / draw->rate_hz;
  const size_t before = (size_t)(standstill ? 0.0 : 1.2 * draw->rate_hz);
  const double stop_s = volts ? (double)draw->n * dt_s * plb_between(draw, 0.70, 0.76) : 1e9;
  double polar_v = 0.0, brush = 0.0;
  for (size_t i = 0; i < before + draw->n; i++) {
    const double t = i < before ? 0.0 : (double)(i - before) * dt_s;
    const bool pulled_in = !standstill || t > 0.25 + s.pinion_s;
    const bool closed = pulled_in && t < stop_s && !(i >= before && plb_contact_is_open(&contact, t));
    brush += 1.0;
    step_crank(&s, &e, closed,
               plb_fault(draw, "worn-brushes") > 0.0 && fmod(brush * dt_s * 310.0, 1.0) < 0.5 * draw->severity, dt_s,
               &c);
    const double solenoid = standstill && t > 0.25 && t < stop_s ? 22.0 : 0.0;
    polar_v += (0.0022 * c.amp - polar_v) * dt_s / 0.25; /* the battery's slower polarisation */
    if (t >= stop_s)                                     /* it runs: the alternator takes over, the pinion is out */
      c.rad_s = 0.0;
    if (i < before)
      continue;
    const double rising =
        t >= stop_s ? 1.7 * (1.0 - exp(-(t - stop_s) / 0.35)) * (1.0 - plb_fault(draw, "no-charge")) : 0.0;
    draw->x[0][i - before] =
        volts ? s.source_v - s.source_ohm * (c.amp + solenoid) - polar_v + rising : c.amp + solenoid;
  }
  return PLB_OK;
}

static const plb_model_fault faults[] = {
    {"low-compression", PLB_FAULT_ODD_ONE, PLB_IN_COMPONENT, "one cylinder leaks: one low hump in four"},
    {"drag", PLB_FAULT_STUCK, PLB_IN_COMPONENT, "engine or starter drags"},
    {"shorted-turns", PLB_FAULT_TURNS, PLB_IN_COMPONENT, "armature of the starter shorted: much current, little speed"},
    {"worn-brushes", PLB_FAULT_TRACK, PLB_IN_COMPONENT, "brushes of the starter worn"},
    {"joint", PLB_FAULT_JOINT, PLB_IN_WIRING, "resistance at a battery terminal, cable or contact of the solenoid"},
    {"intermittent-contact", PLB_FAULT_INTERMITTENT, PLB_IN_WIRING, "solenoid contact opens now and then"},
    {"poor-ground", PLB_FAULT_GROUND, PLB_IN_SUPPLY_OR_GROUND, "resistance in the ground strap of the engine"},
    {"weak-battery", PLB_FAULT_SUPPLY, PLB_IN_SUPPLY_OR_GROUND, "battery discharged or worn: internal resistance up"},
};
enum { FAULTS = sizeof faults / sizeof faults[0] };
enum {
  HAS = PLB_HAS_WINDING | PLB_HAS_GROUND | PLB_HAS_SUPPLY | PLB_HAS_MOTION | PLB_HAS_LIKE_PARTS | PLB_HAS_TRACK |
        PLB_HAS_SENSING
};
static const char *const states[] = {"from-standstill", NULL};
static const plb_model_reason reasons[] = {
    {PLB_FAULT_SHORT, "a short here melts cables; what leaks at rest is the matter of parasitic draw"},
    {PLB_FAULT_INTERFERENCE,
     "battery and cables of some milliohms hold still; what sparks add gets into the test lead or clamp: pick-up"}};
static const plb_model_unseen unseen[] = {
    {{"low-compression-all", PLB_FAULT_SENSOR, PLB_IN_COMPONENT,
      "all cylinders leak alike (timing, worn bores): even, low, fast"},
     "relative compression compares cylinder with cylinder: all alike are even; a gauge in each cylinder tells"}};

const plb_model_family plb_starter_current = {
    .name = "starter-current",
    .type = "starter-current",
    .text = "starter current, four cylinders, cranking without starting",
    .channel = {{"starter-current", "A", "clamp round all battery ground cables", PLB_BY_CLAMP, 600.0, 0.8, 5e3}},
    .channels = 1,
    .cycle = "repeat",
    .rate_hz = 10e3,
    .duration_s = 3.0,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .reason = reasons,
    .reasons = 2,
    .unseen = unseen,
    .unseens = 1,
    .state = states,
    .simulate = simulate_cranking};

const plb_model_family plb_battery_cranking = {
    .name = "battery-cranking",
    .type = "battery-cranking",
    .text = "battery voltage from rest over cranking to running",
    .channel = {{"battery", "V", "across the battery posts", PLB_BY_PROBE, 20.0, 0.01, 0}},
    .channels = 1,
    .cycle = "once",
    .rate_hz = 5e3,
    .duration_s = 4.0,
    .has = HAS,
    .fault = faults,
    .faults = FAULTS,
    .reason = reasons,
    .reasons = 2,
    .unseen = unseen,
    .unseens = 1,
    .simulate = simulate_cranking};
