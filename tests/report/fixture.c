#include "tests/report/fixture.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const double pi = 3.14159265358979323846;

static void *need(void *memory) {
  assert_non_null(memory);
  return memory;
}

static void put(char *out, size_t size, const char *text) { snprintf(out, size, "%s", text); }
#define PUT(field, text) put(field, sizeof(field), text)

static plb_verdict *bare(void) {
  plb_verdict *v = need(calloc(1, sizeof *v));
  v->word = PLB_UNJUDGED;
  v->score = v->limit = v->guard = v->guard_robust = v->p_value = v->promise = v->promise_upper90 = NAN;
  v->alignment.shift_s = v->alignment.scale = v->alignment.gain = v->alignment.offset = NAN;
  v->alignment.correlation = v->alignment.runner_up = NAN;
  v->cycles.p_chance = v->cycles.rate_hz = v->landmark_phase_first = NAN;
  return v;
}

static void fill_common(plb_verdict *v) {
  v->score = 0.83;
  v->limit = 1.31;
  v->guard = 2.04;
  v->guard_robust = 2.4;
  v->p_value = 0.571;
  v->promise = 1.0 / 7;
  v->promise_upper90 = 0.319;
  PUT(v->promise_text, "good captures of 6 vehicles: about 1 healthy one in 7 may still be called not normal");
  v->alignment.shift_s = 0.0021;
  v->alignment.scale = 1.002;
  v->alignment.gain = 0.99;
  v->alignment.offset = 0.013;
  v->alignment.correlation = 0.9981;
  v->alignment.runner_up = 0.412;
  v->alignment.polarity = 1;
  PUT(v->reference.selector, "crank-inductive/bench/60-2");
  PUT(v->reference.id, "00112233445566778899aabbccddeeff");
  PUT(v->reference.sha256, "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef");
  PUT(v->reference.title, "Crank sensor, inductive, 60-2 wheel");
  PUT(v->reference.path, "ref.xml");
  PUT(v->reference.status, "file");
  PUT(v->reference.cycle, "wheel:teeth=60,missing=2");
  v->reference.exemplars = 6;
  PUT(v->capture.path, "captures/workshop/trace.csv");
  PUT(v->capture.sha256, "fedcba9876543210fedcba9876543210fedcba9876543210fedcba9876543210");
  v->capture.rate_hz = 100000;
  v->capture.samples = 50000;
}

static plb_band_result *add_bands(plb_verdict *v, const char *channel, size_t count) {
  v->band = need(realloc(v->band, (v->bands + count) * sizeof *v->band));
  plb_band_result *first = &v->band[v->bands];
  memset(first, 0, count * sizeof *first);
  for (size_t i = 0; i < count; i++) {
    plb_band_result *b = &first[i];
    PUT(b->channel, channel);
    snprintf(b->name, sizeof b->name, "b%02zu", i + 1);
    PUT(b->domain, "cycle");
    PUT(b->unit, "cycle");
    b->from = (double)i / (double)count;
    b->to = (double)(i + 1) / (double)count;
    b->status = PLB_AGREES;
    b->score = 0.4 + 0.03 * (double)i;
    b->inside_share = 1;
    b->exceedance = 0.3;
    b->worst_phase = b->from + 0.02;
    b->worst_degrees = b->worst_phase * 360;
    b->worst_time_s = b->worst_phase * 0.021;
    b->deviation = 0.02;
    b->lag_s = NAN;
    PUT(b->direction, "high");
  }
  v->bands += count;
  return first;
}

static plb_drawing *add_drawing(plb_verdict *v, const char *channel, const char *unit, size_t columns) {
  v->drawing = need(realloc(v->drawing, (v->drawings + 1) * sizeof *v->drawing));
  plb_drawing *d = &v->drawing[v->drawings++];
  memset(d, 0, sizeof *d);
  PUT(d->channel, channel);
  PUT(d->unit, unit);
  d->columns = columns;
  float **const curves[] = {&d->centre, &d->lower, &d->upper, &d->lowest, &d->median, &d->highest};
  for (size_t i = 0; i < 6; i++)
    *curves[i] = need(calloc(columns, sizeof(float)));
  return d;
}

static plb_finding *add_finding(plb_verdict *v) {
  v->finding = need(realloc(v->finding, (v->findings + 1) * sizeof *v->finding));
  plb_finding *f = &v->finding[v->findings++];
  memset(f, 0, sizeof *f);
  f->size = f->phase = f->time_s = NAN;
  return f;
}

static plb_reading_result *add_reading(plb_verdict *v, const char *channel, const char *name, const char *unit,
                                       double value, double low, double high) {
  v->reading = need(realloc(v->reading, (v->readings + 1) * sizeof *v->reading));
  plb_reading_result *r = &v->reading[v->readings++];
  memset(r, 0, sizeof *r);
  PUT(r->channel, channel);
  PUT(r->name, name);
  PUT(r->unit, unit);
  r->value = value;
  r->low = low;
  r->high = high;
  r->score = 0.5;
  return r;
}

static plb_reason *add_reason(plb_reason **list, size_t *count, plb_reason_class kind, const char *code, bool blocks,
                              const char *text, const char *action) {
  *list = need(realloc(*list, (*count + 1) * sizeof **list));
  plb_reason *r = &(*list)[(*count)++];
  memset(r, 0, sizeof *r);
  r->kind = kind;
  r->blocks = blocks;
  PUT(r->code, code);
  PUT(r->text, text);
  PUT(r->action, action);
  return r;
}

static void add_note(plb_verdict *v, const char *text) {
  v->condition_note = need(realloc(v->condition_note, (v->condition_notes + 1) * sizeof *v->condition_note));
  put(v->condition_note[v->condition_notes++], PLB_TEXT_SIZE, text);
}

/* An inductive sensor on a 60-2 wheel into an input that clamps its lower half-waves. */
static double wheel_volts(double phase, double swing, double hump) {
  const double tooth = phase * 60;
  if (tooth >= 58)
    return -0.2 * swing;
  const double wave = sin(2 * pi * tooth) * 4.5 * swing;
  const double first = tooth < 1 && hump > 0 && wave > 0 ? wave * hump : wave;
  return first < -0.78 ? -0.78 : first;
}

static void draw_wheel(plb_verdict *v, double swing, double hump) {
  plb_drawing *d = add_drawing(v, "crank", "V", 1740);
  if (hump > 0)
    d->worst = need(calloc(d->columns, sizeof(float)));
  for (size_t k = 0; k < d->columns; k++) {
    const double phase = ((double)k + 0.5) / (double)d->columns;
    const double centre = wheel_volts(phase, 1, 0), own = wheel_volts(phase, swing, hump);
    d->centre[k] = (float)centre;
    d->lower[k] = (float)(centre - 0.25);
    d->upper[k] = (float)(centre + 0.25);
    d->median[k] = (float)own;
    d->lowest[k] = (float)(own - 0.1 - 0.05 * fabs(sin(31 * phase)));
    d->highest[k] = (float)(own + 0.1 + 0.05 * fabs(cos(23 * phase)));
    if (d->worst)
      d->worst[k] = (float)(own - 0.15 * sin(40 * phase));
  }
}

static plb_verdict *wheel(double swing, double hump) {
  plb_verdict *v = bare();
  fill_common(v);
  v->cycles.found = v->cycles.judged = 23;
  v->cycles.rate_hz = 47.38;
  PUT(v->cycles.unit_name, "revolution");
  v->landmark_phase_first = 0.25 / 60;
  add_bands(v, "crank", 12);
  for (size_t i = 0; i < v->bands; i++)
    v->band[i].worst_tooth = (int)(v->band[i].worst_phase * 60) + 1;
  draw_wheel(v, swing, hump);
  add_reading(v, "crank", "speed", "/min", 2843, 2838, 3092);
  add_reading(v, "crank", "peak", "V", 4.5 * swing, 4.4, 4.7);
  add_note(v, "judged as if at steady speed; not stated: coolant temperature, load");
  return v;
}

static plb_verdict *wheel_agrees(void) {
  plb_verdict *v = wheel(1.01, 0);
  v->word = PLB_AGREES;
  PUT(v->sentence, "crank, 23 revolutions at 2,843 rpm, nearest to its limit in b12");
  return v;
}

static plb_verdict *wheel_departs(void) {
  plb_verdict *v = wheel(0.8, 0.06);
  v->word = PLB_DEPARTS;
  v->score = 1012.4;
  v->p_value = 1.0 / 7;
  PUT(v->sentence, "crank tooth 1 (first after the gap) missing in 23 of 23 revolutions; check first the wheel's first "
                   "tooth for damage");
  v->cycles.departing = 23;
  v->cycles.pattern = PLB_LASTING;
  for (size_t i = 0; i < 4; i++) {
    plb_band_result *b = &v->band[i == 3 ? 11 : i];
    b->status = i == 2 ? PLB_BORDERLINE : PLB_DEPARTS;
    PUT(b->direction, "low");
    b->score = 12.0 - 3 * (double)i;
    b->exceedance = 15;
    b->inside_share = 0.614;
    b->deviation = i == 0 ? -4.23 : -0.9;
    b->lag_s = i == 0 ? NAN : 12e-6;
    b->departing_cycles = 23;
  }
  v->band[0].worst_phase = 0.25 / 60;
  v->band[0].worst_degrees = 1.5;
  v->band[0].worst_tooth = 1;
  plb_finding *f = add_finding(v);
  f->kind = PLB_FINDING_STRUCTURAL;
  PUT(f->channel, "crank");
  PUT(f->band, "tooth 1");
  PUT(f->direction, "missing");
  f->count = f->of = 23;
  f->pattern = PLB_LASTING;
  f->score = 1000;
  f->phase = 0.25 / 60;
  f->time_s = 0.0017;
  PUT(f->text, "Tooth 1, the first after the gap, is missing in 23 of 23 revolutions: a hump of 0.3 V stands where 4.5 "
               "V belong.");
  PUT(f->check_first[0], "the wheel's first tooth after the gap: bent, broken, filled with dirt");
  PUT(f->check_first[1], "the wheel's seat and run-out");
  f = add_finding(v);
  f->kind = PLB_FINDING_BAND;
  PUT(f->channel, "crank");
  PUT(f->band, "b12");
  PUT(f->direction, "low");
  f->size = -0.9;
  PUT(f->unit, "V");
  f->count = 22;
  f->of = 23;
  f->pattern = PLB_LASTING;
  f->phase = 0.93;
  PUT(f->check_first[0], "the air gap between sensor and wheel");
  v->reading[1].status = PLB_DEPARTS;
  PUT(v->reading[1].direction, "low");
  PUT(v->reference.odd, "none-3.txt");
  return v;
}

static void draw_injector(plb_verdict *v) {
  plb_drawing *volts = add_drawing(v, "volts", "V", 1000);
  plb_drawing *amps = add_drawing(v, "amps", "A", 1000);
  volts = &v->drawing[0]; /* the array may have moved */
  for (size_t k = 0; k < 1000; k++) {
    const double t = (double)k / 1000;
    const double v0 = t > 0.1 && t < 0.3 ? 0.6 : t >= 0.3 && t < 0.36 ? 14 + 46 * exp(-(t - 0.3) * 60) : 14;
    const double a0 = t > 0.1 && t < 0.3 ? 1.1 * (1 - exp(-(t - 0.1) * 14)) - (t > 0.22 && t < 0.24 ? 0.05 : 0) : 0;
    volts->centre[k] = volts->median[k] = (float)v0;
    amps->centre[k] = (float)a0;
    amps->median[k] = (float)(a0 * 0.9);
    volts->lower[k] = (float)(v0 - 0.8);
    volts->upper[k] = (float)(v0 + 0.8 + (t > 0.29 && t < 0.33 ? 6 : 0));
    amps->lower[k] = (float)(a0 * 0.93 - 0.02);
    amps->upper[k] = (float)(a0 * 1.07 + 0.02);
    volts->lowest[k] = (float)(v0 - 0.3);
    volts->highest[k] = (float)(v0 + 0.4);
    amps->lowest[k] = amps->median[k] - 0.03f;
    amps->highest[k] = amps->median[k] + 0.03f;
  }
  amps->median[500] = NAN; /* a hole in the curve */
}

static plb_verdict *edge_doubtful(void) {
  plb_verdict *v = bare();
  fill_common(v);
  v->word = PLB_BORDERLINE;
  v->score = 1.6;
  PUT(v->sentence,
      "doubtful: amps low while the needle lifts in every 4th of 212 cycles; check first the supply at the injector");
  PUT(v->reference.selector, "injector-voltage/port@3");
  PUT(v->reference.status, "approved");
  PUT(v->reference.cycle, "edge:level=7V,slope=falling");
  v->reference.version = 3;
  v->reference.provenance = PLB_MODELLED;
  v->reference.groups = 5;
  v->reference.groups_stated = true;
  v->cycles.found = 214;
  v->cycles.judged = 212;
  v->cycles.departing = 53;
  v->cycles.unmapped = 2;
  v->cycles.pattern = PLB_RECURRING;
  v->cycles.every = 4;
  v->cycles.phase = 3;
  v->cycles.p_chance = 0.0002;
  v->cycles.rate_hz = 25;
  PUT(v->cycles.unit_name, "cycle");
  plb_band_result *b = add_bands(v, "volts", 4);
  for (size_t i = 0; i < 4; i++)
    b[i].worst_degrees = NAN;
  b = add_bands(v, "amps", 4);
  for (size_t i = 0; i < 4; i++)
    b[i].worst_degrees = NAN;
  b[0].status = PLB_BORDERLINE;
  b[0].deviation = -0.061;
  b[0].lag_s = 0.00042;
  b[0].inside_share = 0.999;
  b[0].worst_phase = 0.2;
  b[0].worst_time_s = 0.0081;
  PUT(b[0].direction, "low");
  b[3].status = PLB_UNJUDGED;
  plb_finding *f = add_finding(v);
  f->kind = PLB_FINDING_BAND;
  PUT(f->channel, "amps");
  PUT(f->band, "b01");
  PUT(f->direction, "low");
  f->size = 0.061;
  PUT(f->unit, "A");
  f->count = 53;
  f->of = 212;
  f->pattern = PLB_RECURRING;
  f->phase = 0.2;
  PUT(f->check_first[0], "supply at the injector while it is driven");
  add_reading(v, "volts", "on-time", "s", 0.00812, 0.0061, NAN);
  add_reading(v, "volts", "flyback", "V", 58.7, NAN, 65);
  add_reading(v, "amps", "peak", "A", 0.99, NAN, NAN)->score = NAN;
  v->reading[2].status = PLB_UNJUDGED;
  add_reason(&v->fitness, &v->fitnesses, PLB_REASON_RECORDING, "coarse", false, "one code is 40 mA, 4 % of the swing",
             "choose a smaller range");
  PUT(v->fitness[0].channel, "amps");
  draw_injector(v);
  return v;
}

static plb_verdict *silent(void) {
  plb_verdict *v = bare();
  fill_common(v);
  v->score = v->p_value = NAN;
  v->alignment.correlation = NAN;
  PUT(v->sentence, "cannot tell: no signal, prove the connection");
  PUT(v->cycles.unit_name, "revolution");
  add_reason(&v->reason, &v->reasons, PLB_REASON_MEASURING, "no-signal", true,
             "peak to peak is 4.6 mV, good captures show 5.4 V",
             "prove the connection: probe on the pin, ground on the engine, engine turning, then repeat");
  add_reason(&v->reason, &v->reasons, PLB_REASON_CONDITIONS, "state-outside", false, "the state was not stated",
             "give --condition state=WORD");
  plb_drawing *d = add_drawing(v, "crank", "V", 600);
  for (size_t k = 0; k < d->columns; k++) {
    d->centre[k] = (float)wheel_volts((double)k / 600, 1, 0);
    d->lower[k] = d->centre[k] - 0.2f;
    d->upper[k] = d->centre[k] + 0.2f;
  }
  free(d->lowest);
  free(d->median);
  free(d->highest);
  d->lowest = d->median = d->highest = NULL;
  return v;
}

static plb_verdict *many(void) {
  plb_verdict *v = wheel_agrees();
  v->bands = 0;
  add_bands(v, "crank", 40);
  add_bands(v, "cam", 40)[7].status = PLB_DEPARTS;
  for (size_t i = 30; i < 33; i++) {
    PUT(v->band[i].domain, "frequency");
    PUT(v->band[i].unit, "Hz");
    v->band[i].from = 353.55;
    v->band[i].to = 707.11;
    v->band[i].status = PLB_BORDERLINE;
    v->band[i].deviation = 7.25;
    v->band[i].worst_phase = v->band[i].worst_degrees = v->band[i].worst_time_s = NAN;
    v->band[i].worst_tooth = 0;
    PUT(v->band[i].direction, "noisy");
  }
  for (int i = 0; i < 20; i++) {
    plb_finding *f = add_finding(v);
    PUT(f->channel, "cam");
    snprintf(f->text, sizeof f->text, "finding number %d", i + 1);
    f->phase = i * 0.004;
  }
  return v;
}

/* A pattern that takes up a whole field: markup, an escape sequence, malformed UTF-8, a C1 control, and words. */
static void put_long(char *out, size_t size) {
  static const char pattern[] = "a<b>&\"'\033[31m\xff\xc2\x9b\xe2\x82\xac long words ";
  for (size_t i = 0; i + 1 < size; i++)
    out[i] = pattern[i % (sizeof pattern - 1)];
  out[size - 1] = '\0';
}
#define PUT_LONG(field) put_long(field, sizeof(field))

static plb_verdict *long_texts(void) {
  plb_verdict *v = wheel_departs();
  PUT_LONG(v->sentence);
  PUT_LONG(v->promise_text);
  PUT_LONG(v->cycles.unit_name);
  PUT_LONG(v->reference.selector);
  PUT_LONG(v->reference.title);
  PUT_LONG(v->reference.path);
  PUT_LONG(v->reference.status);
  PUT_LONG(v->reference.odd);
  PUT_LONG(v->capture.path);
  for (size_t i = 0; i < v->bands; i++) {
    PUT_LONG(v->band[i].name);
    PUT_LONG(v->band[i].direction);
  }
  for (size_t i = 0; i < v->readings; i++) {
    PUT_LONG(v->reading[i].name);
    PUT_LONG(v->reading[i].unit);
    PUT_LONG(v->reading[i].direction);
  }
  for (size_t i = 0; i < v->findings; i++) {
    PUT_LONG(v->finding[i].text);
    PUT_LONG(v->finding[i].band);
    for (size_t k = 0; k < PLB_CHECK_MOST; k++)
      PUT_LONG(v->finding[i].check_first[k]);
  }
  PUT_LONG(v->condition_note[0]);
  plb_reason *r = add_reason(&v->reason, &v->reasons, PLB_REASON_MEASURING, "factor", true, "", "");
  PUT_LONG(r->text);
  PUT_LONG(r->action);
  PUT_LONG(r->channel);
  for (size_t i = 0; i < v->drawings; i++) {
    PUT_LONG(v->drawing[i].channel);
    PUT_LONG(v->drawing[i].unit);
  }
  return v;
}

static const struct {
  const char *name;
  plb_verdict *(*make)(void);
} makers[FIXTURE_KINDS] = {
    [FIXTURE_WHEEL_AGREES] = {"wheel-agrees", wheel_agrees},
    [FIXTURE_WHEEL_DEPARTS] = {"wheel-departs", wheel_departs},
    [FIXTURE_EDGE_DOUBTFUL] = {"edge-doubtful", edge_doubtful},
    [FIXTURE_SILENT] = {"silent", silent},
    [FIXTURE_MANY] = {"many", many},
    [FIXTURE_LONG] = {"long", long_texts},
    [FIXTURE_BARE] = {"bare", bare},
};

plb_verdict *fixture_verdict(fixture_kind kind) { return makers[kind].make(); }
const char *fixture_name(fixture_kind kind) { return makers[kind].name; }

void fixture_free(plb_verdict *v) {
  for (size_t i = 0; i < v->drawings; i++) {
    plb_drawing *d = &v->drawing[i];
    float *const curves[] = {d->centre, d->lower, d->upper, d->lowest, d->median, d->highest, d->worst};
    for (size_t k = 0; k < sizeof curves / sizeof curves[0]; k++)
      free(curves[k]);
  }
  free(v->drawing);
  free(v->band);
  free(v->reading);
  free(v->finding);
  free(v->fitness);
  free(v->reason);
  free(v->condition_note);
  free(v);
}

void assert_says(const char *text, const char *part) {
  if (!strstr(text, part))
    fail_msg("\"%s\" is not said in:\n%s", part, text);
}

void assert_says_not(const char *text, const char *part) {
  if (strstr(text, part))
    fail_msg("\"%s\" must not be said in:\n%s", part, text);
}

int longest_line(const char *text, bool first) {
  int longest = 0, columns = 0;
  for (; *text; text++) {
    if (*text == '\n') {
      longest = first && columns > longest ? columns : longest;
      first = true;
      columns = 0;
    } else if (((unsigned char)*text & 0xC0) != 0x80) {
      columns++;
    }
  }
  return longest;
}
