#include "filled.h"

#include <math.h>
#include <string.h>

static void *some(size_t count, size_t size) {
  void *memory = plb_calloc(count, size);
  assert_non_null(memory);
  return memory;
}

static char *text(const char *t) {
  char *copy = plb_strdup(t);
  assert_non_null(copy);
  return copy;
}

/* A plausible sensor curve: swing, harmonics and noise, on multiples of 10^-decimals as learning leaves them. */
static float *curves(size_t count, size_t grid, double swing, double shift, int decimals, plb_random *random) {
  float *out = some(count * grid, sizeof *out);
  for (size_t i = 0; i < count * grid; i++) {
    const double phase = 6.283185307179586 * (double)(i % grid) / (double)grid;
    out[i] = (float)(shift + swing * (sin(7 * phase) + 0.3 * sin(15 * phase) + 0.01 * plb_random_normal(random)));
  }
  plb_round_decimals(out, count * grid, decimals);
  return out;
}

static void fill_texts(plb_reference *r) {
  plb_text_copy(r->type, sizeof r->type, "crank-inductive");
  plb_text_copy(r->name, sizeof r->name, "crank-inductive/bench/60-2.v1_x");
  r->version = 17;
  r->title = text("Crank sensor, inductive, 60-2 wheel");
  r->why = text("first line & <second>\n  third \"quoted\" \xC3\xA4\xE2\x82\xAC, tab\there, return\rthere ");
  r->date = text("2024-05-31T08:09:10Z");
  r->predecessor = text("0123456789abcdef");
  r->method = text("learned from good captures");
  r->sources = text("workshop of a small municipal fleet");
  r->system = text("2.0 litre petrol, four cylinders");
  r->cylinders = 4;
  r->supply_nominal_v = 12.5;
}

static void fill_conditions(plb_reference *r) {
  r->conditions = 3;
  r->condition = some(r->conditions, sizeof *r->condition);
  r->condition[0] = (plb_condition){.name = "state", .word = "hot-idle", .low = NAN, .high = NAN, .stated = true};
  r->condition[1] = (plb_condition){.name = "speed", .unit = "/min", .low = 600.1, .high = 6000, .stated = false};
  r->condition[2] = (plb_condition){.name = "coolant", .unit = "Cel", .low = 1.0 / 3.0, .high = NAN, .stated = true};
  r->connection.test_point = text("signal wire");
  r->connection.place = text("at the control unit");
  r->connection.ground = text("battery negative");
  r->connection.never = text("the sensor's shield");
  r->connection.probe = text("x1");
  r->connection.range = text("20 V");
  r->connection.coupling = text("DC");
  r->connection.trigger = text("rising, 1 V");
  r->connection.rate_needed_hz = 50000;
  r->connection.connected = false;
  r->connection.cautions = 2;
  r->connection.caution = some(2, sizeof *r->connection.caution);
  r->connection.caution[0] = text("Keep clear of belts and fans.");
  r->connection.caution[1] = text("Back-probe; do not pierce.");
}

static void fill_channels(plb_reference *r) {
  r->channels = FILLED_CHANNELS;
  r->channel = some(r->channels, sizeof *r->channel);
  r->channel[0] = (plb_reference_channel){.role = "crank",
                                          .unit = "V",
                                          .amplitude = PLB_RULE_SPEED_CURVE,
                                          .offset = PLB_RULE_PEGGED,
                                          .peak_to_peak = 5.4321,
                                          .noise = 0.0123,
                                          .sample_noise = 0.0042,
                                          .step = 0.002442,
                                          .range_low = -0.78,
                                          .range_high = 4.7,
                                          .column = 2,
                                          .header = "a \"b\"\tc",
                                          .pegged = "tooth 2"};
  r->channel[0].speeds = 2;
  r->channel[0].speed = some(2, sizeof *r->channel[0].speed);
  r->channel[0].speed[0] = (plb_speed_point){10.5, 0.8};
  r->channel[0].speed[1] = (plb_speed_point){50.25, 1.0};
  r->channel[1] = (plb_reference_channel){.role = "pressure",
                                          .unit = "[psi]",
                                          .amplitude = PLB_RULE_LOAD_PROPORTIONAL,
                                          .offset = PLB_RULE_FREE,
                                          .peak_to_peak = 123.0,
                                          .noise = NAN,
                                          .range_low = NAN,
                                          .range_high = NAN};
}

static void fill_spec(plb_cycle_spec *s, plb_cycle_kind kind) {
  s->kind = kind;
  s->level.value = NAN;
  switch (kind) {
  case PLB_CYCLE_WHEEL:
    s->teeth = 60;
    s->missing = 2;
    s->revs = 2;
    break;
  case PLB_CYCLE_EDGE:
    plb_text_copy(s->channel, sizeof s->channel, "crank");
    s->level = (plb_level){.value = 1500, .of = PLB_LEVEL_UNIT, .unit = "mV"};
    s->slope = -1;
    break;
  case PLB_CYCLE_REPEAT:
    s->period_s = 0.04;
    break;
  case PLB_CYCLE_AGAINST:
    plb_text_copy(s->against, sizeof s->against, "pressure");
    break;
  case PLB_CYCLE_ONCE:
  case PLB_CYCLE_STEADY:
    break;
  }
}

static void fill_cycle(plb_reference *r, plb_cycle_kind kind, plb_random *random) {
  plb_cycle_choice *c = &r->choice;
  fill_spec(&c->spec, kind);
  c->channel = 0;
  c->grid = FILLED_GRID;
  c->level_low = 1.25;
  c->level_high = 1.75;
  c->edge = -1;
  c->rate_low_hz = 47.1;
  c->rate_high_hz = 51.9;
  c->seam = 0.125;
  c->correlation_low = 0.991234567890123;
  c->template_ = curves(1, FILLED_GRID, 2.5, 1.9, 4, random);
  c->stroke_channel = 1;
  c->stroke = curves(1, FILLED_GRID, 50, 60, 3, random);
  c->landmarks = 3;
  c->landmark = some(3, sizeof *c->landmark);
  c->landmark[0] = (plb_landmark){"tooth 1", 0.1, 1, 1.5};
  c->landmark[1] = (plb_landmark){"tooth 2", 1.0 / 7.0, -1, NAN};
  c->landmark[2] = (plb_landmark){"tooth 3", 0.9, 0, -0.25};
  c->spans = 2;
  c->span = some(2, sizeof *c->span);
  c->span[0] = (plb_span){"on", 0, 1, false, 0.0031};
  c->span[1] = (plb_span){"", 1, 3, true, 0.0125};
}

static void fill_corridor(plb_reference *r, plb_random *random) {
  plb_corridor *c = &r->corridor;
  const size_t n = FILLED_CHANNELS * FILLED_GRID;
  c->centre = curves(FILLED_CHANNELS, FILLED_GRID, 2.5, 1.9, 4, random);
  c->lower = some(n, sizeof *c->lower);
  c->upper = some(n, sizeof *c->upper);
  for (size_t i = 0; i < n; i++) {
    c->lower[i] = c->centre[i] - 0.1f;
    c->upper[i] = c->centre[i] + (float)(0.1 * plb_random_uniform(random)); /* no multiples: kept as they are */
  }
  plb_round_decimals(c->lower, n, 4);
  c->jitter = curves(1, FILLED_GRID, 0.001, 0.002, 7, random);
}

static void fill_bands(plb_reference *r) {
  r->bands = FILLED_BANDS;
  r->band = some(r->bands, sizeof *r->band);
  r->band[0] = (plb_band){.name = "b01",
                          .channel = "crank",
                          .domain = PLB_BAND_CYCLE,
                          .from = 0,
                          .to = 1.0 / 12.0,
                          .tolerance = 1,
                          .good = text("round peaks of equal height")};
  r->band[0].pointers = 2;
  r->band[0].pointer = some(2, sizeof *r->band[0].pointer);
  r->band[0].pointer[0] = (plb_pointer){"low", text("measure the air gap")};
  r->band[0].pointer[1] = (plb_pointer){"missing", text("look at the wheel")};
  r->band[1] =
      (plb_band){.name = "hash", .domain = PLB_BAND_FREQUENCY, .from = 891.2509, .to = 1122.018, .tolerance = 1.5, .residual = true, .level = -43.25, .spread = 1.0 / 3.0};
  r->band[2] = (plb_band){
      .name = "order 2", .channel = "pressure", .domain = PLB_BAND_ORDER, .from = 1.5, .to = 2.5, .tolerance = 2, .level = 3, .spread = 0.5};
  r->readings = FILLED_READINGS;
  r->reading = some(r->readings, sizeof *r->reading);
  r->reading[0] = (plb_reading_limit){.name = "log gain", .channel = "crank", .unit = "1", .low = -0.2, .high = 0.2, .source = text("exemplars")};
  r->reading[1] = (plb_reading_limit){.name = "speed", .unit = "Hz", .low = 40, .high = NAN};
  r->reading[2] = (plb_reading_limit){.name = "irregularity",
                                      .channel = "pressure",
                                      .low = NAN,
                                      .high = NAN,
                                      .source = text("a standard, table 3"),
                                      .against = "crank",
                                      .combine = PLB_COMBINE_DIFFERENCE,
                                      .of_supply = true,
                                      .statistic = PLB_LIMIT_EACH,
                                      .uncertainty = 0.02};
}

static void fill_exemplars(plb_reference *r, plb_random *random) {
  static const char *const groups[FILLED_EXEMPLARS] = {"van 1", "van 1", "", "sweeper"};
  r->exemplars = FILLED_EXEMPLARS;
  r->exemplar = some(r->exemplars, sizeof *r->exemplar);
  for (size_t i = 0; i < r->exemplars; i++) {
    plb_exemplar *e = &r->exemplar[i];
    plb_text_print(e->name, sizeof e->name, "good-%zu.txt", i);
    if (i != 3)
      plb_sha256(e->name, strlen(e->name), e->sha256);
    plb_text_copy(e->group, sizeof e->group, groups[i]);
    e->held_out = i == 2 ? (double)NAN : 1.0 + plb_random_uniform(random);
    e->rate_hz = 49.0 + plb_random_uniform(random);
    e->cycles = 23 + (unsigned)i;
    e->unmapped = (unsigned)i;
    e->damaged = 2 * (unsigned)i;
    e->supply_v = 13.5 + (double)i;
    e->load = i == 2 ? 0.25 : 0.0;
    e->median = curves(FILLED_CHANNELS, FILLED_GRID, 2.5, 1.9, 4, random);
    e->spread = curves(FILLED_CHANNELS, FILLED_GRID, 0.01, 0.05, 4, random);
    e->reading = some(r->readings, sizeof *e->reading);
    for (size_t k = 0; k < r->readings; k++)
      e->reading[k] = k == i ? (double)NAN : plb_random_normal(random) * pow(10, (double)k - 8);
    if (i == 0)
      continue;
    e->band_score = some(r->bands, sizeof *e->band_score);
    for (size_t k = 0; k < r->bands; k++)
      e->band_score[k] = k == i ? (double)NAN : plb_random_uniform(random);
    const size_t levels = plb_reference_levels(r); /* "hash" holds for both channels */
    assert_int_equal(levels, 3);
    e->level = some(levels, sizeof *e->level);
    for (size_t k = 0; k < levels; k++)
      e->level[k] = k == i ? (double)NAN : -60.0 + plb_random_normal(random);
  }
}

static void fill_calibration(plb_reference *r) {
  plb_calibration *c = &r->calibration;
  *c = (plb_calibration){.alpha = 0.05,
                         .promise = 0.2,
                         .promise_upper90 = 0.43765867480964745,
                         .independent = 3,
                         .groups_stated = true,
                         .one_group = false,
                         .limit = 2.125,
                         .guard = 2.65,
                         .guard_robust = NAN,
                         .odd = "good-3.txt",
                         .odd_ratio = 4.5,
                         .scales = 2};
  c->scale = some(2, sizeof *c->scale);
  c->scale[0] = (plb_scale){"M-shape", "crank", "b01", 0.93};
  c->scale[1] = (plb_scale){"R", "", "speed", 1.2e-9};
}

plb_reference *filled_reference(plb_cycle_kind kind, plb_provenance provenance) {
  plb_random random;
  plb_random_seed(&random, 20240531);
  plb_reference *r = plb_reference_new();
  assert_non_null(r);
  r->provenance = provenance;
  fill_texts(r);
  fill_conditions(r);
  fill_channels(r);
  fill_cycle(r, kind, &random);
  fill_corridor(r, &random);
  fill_bands(r);
  if (provenance != PLB_STANDARD) {
    fill_exemplars(r, &random);
    fill_calibration(r);
  }
  return r;
}

/* ---- comparing ---- */

static void same_number(double a, double b) {
  if (isnan(a) || isnan(b))
    assert_true(isnan(a) && isnan(b));
  else
    assert_memory_equal(&a, &b, sizeof a);
}

static void same_text(const char *a, const char *b) { assert_string_equal(a ? a : "", b ? b : ""); }

static void same_curve(const float *a, const float *b, size_t n) {
  assert_int_equal(a == NULL, b == NULL);
  if (a)
    assert_memory_equal(a, b, n * sizeof *a);
}

static void same_numbers(const double *a, const double *b, size_t n) {
  assert_int_equal(a == NULL, b == NULL);
  for (size_t i = 0; a && i < n; i++)
    same_number(a[i], b[i]);
}

static void same_head(const plb_reference *a, const plb_reference *b) {
  same_text(a->id, b->id);
  same_text(a->type, b->type);
  same_text(a->name, b->name);
  same_text(a->sha256, b->sha256);
  assert_int_equal(a->version, b->version);
  same_text(a->title, b->title);
  same_text(a->why, b->why);
  same_text(a->date, b->date);
  same_text(a->predecessor, b->predecessor);
  assert_int_equal(a->provenance, b->provenance);
  same_text(a->method, b->method);
  same_text(a->sources, b->sources);
  same_text(a->system, b->system);
  assert_int_equal(a->cylinders, b->cylinders);
  same_number(a->supply_nominal_v, b->supply_nominal_v);
}

static void same_conditions(const plb_reference *a, const plb_reference *b) {
  assert_int_equal(a->conditions, b->conditions);
  for (size_t i = 0; i < a->conditions; i++) {
    const plb_condition *x = &a->condition[i], *y = &b->condition[i];
    same_text(x->name, y->name);
    same_text(x->word, y->word);
    same_text(x->unit, y->unit);
    same_number(x->low, y->low);
    same_number(x->high, y->high);
    assert_int_equal(x->stated, y->stated);
  }
  same_text(a->connection.test_point, b->connection.test_point);
  same_text(a->connection.place, b->connection.place);
  same_text(a->connection.ground, b->connection.ground);
  same_text(a->connection.never, b->connection.never);
  same_text(a->connection.probe, b->connection.probe);
  same_text(a->connection.range, b->connection.range);
  same_text(a->connection.coupling, b->connection.coupling);
  same_text(a->connection.trigger, b->connection.trigger);
  same_number(a->connection.rate_needed_hz, b->connection.rate_needed_hz);
  assert_int_equal(a->connection.connected, b->connection.connected);
  assert_int_equal(a->connection.cautions, b->connection.cautions);
  for (size_t i = 0; i < a->connection.cautions; i++)
    same_text(a->connection.caution[i], b->connection.caution[i]);
}

static void same_channels(const plb_reference *a, const plb_reference *b) {
  assert_int_equal(a->channels, b->channels);
  for (size_t i = 0; i < a->channels; i++) {
    const plb_reference_channel *x = &a->channel[i], *y = &b->channel[i];
    same_text(x->role, y->role);
    same_text(x->unit, y->unit);
    assert_int_equal(x->amplitude, y->amplitude);
    assert_int_equal(x->offset, y->offset);
    same_number(x->peak_to_peak, y->peak_to_peak);
    same_number(x->noise, y->noise);
    same_number(x->sample_noise, y->sample_noise);
    same_number(x->step, y->step);
    same_number(x->range_low, y->range_low);
    same_number(x->range_high, y->range_high);
    assert_int_equal(x->column, y->column);
    same_text(x->header, y->header);
    same_text(x->pegged, y->pegged);
    assert_int_equal(x->speeds, y->speeds);
    for (size_t k = 0; k < x->speeds; k++) {
      same_number(x->speed[k].rate_hz, y->speed[k].rate_hz);
      same_number(x->speed[k].gain, y->speed[k].gain);
    }
  }
}

static void same_cycle(const plb_cycle_choice *a, const plb_cycle_choice *b) {
  assert_int_equal(a->spec.kind, b->spec.kind);
  same_text(a->spec.channel, b->spec.channel);
  assert_int_equal(a->spec.teeth, b->spec.teeth);
  assert_int_equal(a->spec.missing, b->spec.missing);
  assert_int_equal(a->spec.revs, b->spec.revs);
  same_number(a->spec.level.value, b->spec.level.value);
  same_text(a->spec.level.unit, b->spec.level.unit);
  assert_int_equal(a->spec.level.of, b->spec.level.of);
  assert_int_equal(a->spec.slope, b->spec.slope);
  same_number(a->spec.period_s, b->spec.period_s);
  same_text(a->spec.against, b->spec.against);
  assert_int_equal(a->channel, b->channel);
  assert_int_equal(a->grid, b->grid);
  same_number(a->level_low, b->level_low);
  same_number(a->level_high, b->level_high);
  assert_int_equal(a->edge, b->edge);
  same_number(a->rate_low_hz, b->rate_low_hz);
  same_number(a->rate_high_hz, b->rate_high_hz);
  same_number(a->seam, b->seam);
  same_curve(a->template_, b->template_, a->grid);
  assert_int_equal(a->stroke_channel, b->stroke_channel);
  same_curve(a->stroke, b->stroke, a->grid);
  same_number(a->correlation_low, b->correlation_low);
  assert_int_equal(a->landmarks, b->landmarks);
  for (size_t i = 0; i < a->landmarks; i++) {
    same_text(a->landmark[i].name, b->landmark[i].name);
    same_number(a->landmark[i].phase, b->landmark[i].phase);
    assert_int_equal(a->landmark[i].direction, b->landmark[i].direction);
    same_number(a->landmark[i].level, b->landmark[i].level);
  }
  assert_int_equal(a->spans, b->spans);
  for (size_t i = 0; i < a->spans; i++) {
    same_text(a->span[i].name, b->span[i].name);
    assert_int_equal(a->span[i].from, b->span[i].from);
    assert_int_equal(a->span[i].to, b->span[i].to);
    assert_int_equal(a->span[i].absolute, b->span[i].absolute);
    same_number(a->span[i].duration_s, b->span[i].duration_s);
  }
}

static void same_bands(const plb_reference *a, const plb_reference *b) {
  assert_int_equal(a->bands, b->bands);
  for (size_t i = 0; i < a->bands; i++) {
    const plb_band *x = &a->band[i], *y = &b->band[i];
    same_text(x->name, y->name);
    same_text(x->channel, y->channel);
    assert_int_equal(x->domain, y->domain);
    same_number(x->from, y->from);
    same_number(x->to, y->to);
    same_number(x->tolerance, y->tolerance);
    assert_int_equal(x->residual, y->residual);
    if (x->domain != PLB_BAND_CYCLE) {
      same_number(x->level, y->level);
      same_number(x->spread, y->spread);
    }
    same_text(x->good, y->good);
    assert_int_equal(x->pointers, y->pointers);
    for (size_t k = 0; k < x->pointers; k++) {
      same_text(x->pointer[k].direction, y->pointer[k].direction);
      same_text(x->pointer[k].text, y->pointer[k].text);
    }
  }
  assert_int_equal(a->readings, b->readings);
  for (size_t i = 0; i < a->readings; i++) {
    same_text(a->reading[i].name, b->reading[i].name);
    same_text(a->reading[i].channel, b->reading[i].channel);
    same_text(a->reading[i].unit, b->reading[i].unit);
    same_number(a->reading[i].low, b->reading[i].low);
    same_number(a->reading[i].high, b->reading[i].high);
    same_text(a->reading[i].source, b->reading[i].source);
    same_text(a->reading[i].against, b->reading[i].against);
    assert_int_equal(a->reading[i].combine, b->reading[i].combine);
    assert_int_equal(a->reading[i].of_supply, b->reading[i].of_supply);
    assert_int_equal(a->reading[i].statistic, b->reading[i].statistic);
    same_number(a->reading[i].uncertainty, b->reading[i].uncertainty);
  }
}

static void same_exemplars(const plb_reference *a, const plb_reference *b) {
  const size_t values = a->channels * a->choice.grid;
  assert_int_equal(a->exemplars, b->exemplars);
  for (size_t i = 0; i < a->exemplars; i++) {
    const plb_exemplar *x = &a->exemplar[i], *y = &b->exemplar[i];
    same_text(x->name, y->name);
    same_text(x->sha256, y->sha256);
    same_text(x->group, y->group);
    same_number(x->held_out, y->held_out);
    same_number(x->rate_hz, y->rate_hz);
    assert_int_equal(x->cycles, y->cycles);
    assert_int_equal(x->unmapped, y->unmapped);
    assert_int_equal(x->damaged, y->damaged);
    same_number(x->supply_v, y->supply_v);
    same_number(x->load, y->load);
    same_curve(x->median, y->median, values);
    same_curve(x->spread, y->spread, values);
    same_numbers(x->reading, y->reading, a->readings);
    same_numbers(x->band_score, y->band_score, a->bands);
    same_numbers(x->level, y->level, plb_reference_levels(a));
  }
}

static void same_calibration(const plb_calibration *a, const plb_calibration *b) {
  same_number(a->alpha, b->alpha);
  same_number(a->promise, b->promise);
  same_number(a->promise_upper90, b->promise_upper90);
  assert_int_equal(a->independent, b->independent);
  assert_int_equal(a->groups_stated, b->groups_stated);
  assert_int_equal(a->one_group, b->one_group);
  same_number(a->limit, b->limit);
  same_number(a->guard, b->guard);
  same_number(a->guard_robust, b->guard_robust);
  same_text(a->odd, b->odd);
  same_number(a->odd_ratio, b->odd_ratio);
  assert_int_equal(a->scales, b->scales);
  for (size_t i = 0; i < a->scales; i++) {
    same_text(a->scale[i].kind, b->scale[i].kind);
    same_text(a->scale[i].channel, b->scale[i].channel);
    same_text(a->scale[i].name, b->scale[i].name);
    same_number(a->scale[i].value, b->scale[i].value);
  }
}

void assert_same_reference(const plb_reference *a, const plb_reference *b) {
  const size_t values = a->channels * a->choice.grid;
  same_head(a, b);
  same_conditions(a, b);
  same_channels(a, b);
  same_cycle(&a->choice, &b->choice);
  same_curve(a->corridor.centre, b->corridor.centre, values);
  same_curve(a->corridor.lower, b->corridor.lower, values);
  same_curve(a->corridor.upper, b->corridor.upper, values);
  same_curve(a->corridor.jitter, b->corridor.jitter, a->choice.grid);
  same_bands(a, b);
  same_exemplars(a, b);
  if (a->provenance != PLB_STANDARD)
    same_calibration(&a->calibration, &b->calibration);
}
