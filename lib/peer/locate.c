/*
 * Where is a signal lost? Traces of one wire at its two ends, of the component's supply and of its ground, all against one scope ground.
 * Each question is asked of the samples alone: do supply and ground jump together (then it is the scope's own ground), do the two ends of the
 * wire differ (then it is lost between them), does ground rise or supply fall? Only a voltage that lasts some samples counts.
 *
 * The limits are common practice: a ground that carries a sensor stays within a fifth of a volt of the battery's negative post, a supply
 * within a tenth of what it should be.
 */
#include "compare/explain.h"
#include "core/core.h"
#include "peer/likes.h"
#include "signal/signal.h"
#include <math.h>
#include <string.h>

static const double ground_limit_v = 0.2, supply_limit = 0.1;
static const double wire_limit = 0.04;  /* of the swing: two channels of one instrument agree better than that */
static const double together_share = 0.75;
enum { LASTING = 3 }; /* samples in a row */

const char *plb_place_name(plb_place place) {
  static const char *const name[PLB_PLACES] = {"component", "control-unit", "supply", "ground"};
  return name[place];
}

const char *plb_lost_name(plb_lost lost) {
  static const char *const name[] = {"", "component", "wiring", "supply", "ground", "instrument"};
  return name[lost];
}

void plb_locate_free(plb_locate *locate) {
  if (locate != NULL) {
    free(locate->reason);
    free(locate);
  }
}

/* One place's trace with its noise and typical level. */
typedef struct trace {
  double *x; /* NULL: this place was not measured */
  size_t n;
  double rate_hz, start_s;
  double noise, middle, low, high; /* low, high: the levels within which all but a thousandth of the samples lie */
} trace;

typedef struct scene {
  trace at[PLB_PLACES];
  bool together; /* all in one capture: instants can be compared */
  char unit[PLB_UNIT_SIZE];
} scene;

/* The largest excursion that lasts: of the least of LASTING neighbours. */
typedef struct excursion {
  double size; /* signed */
  size_t at;
  size_t count; /* samples beyond the limit */
} excursion;

static plb_status take_trace(trace *t, const plb_placed *from, plb_error *err) {
  t->n = plb_capture_samples(from->capture);
  t->rate_hz = plb_capture_rate_hz(from->capture);
  t->start_s = plb_capture_start_s(from->capture);
  t->x = plb_capture_copy_values(from->capture, from->channel);
  double *sorted = plb_calloc(t->n, sizeof *sorted);
  if (t->x == NULL || sorted == NULL) {
    free(sorted);
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu samples", t->n);
  }
  size_t n = 0, steps = 0;
  for (size_t i = 1; i < t->n; i++) { /* noise from the steps between neighbours: edges are few among them */
    const double step = fabs(t->x[i] - t->x[i - 1]);
    if (isfinite(step)) {
      sorted[steps++] = step;
    }
  }
  t->noise = steps > 0 ? 1.4826 * plb_median(sorted, steps) / sqrt(2.0) : 0.0;
  for (size_t i = 0; i < t->n; i++) {
    if (isfinite(t->x[i])) {
      sorted[n++] = t->x[i];
    }
  }
  plb_status status = PLB_OK;
  if (n < 16) {
    status = plb_fail(err, PLB_EDATA, "'%s' holds %zu samples; record the fault in a longer capture", plb_capture_role(from->capture, from->channel), n);
  } else {
    qsort(sorted, n, sizeof *sorted, plb_compare_double);
    t->middle = sorted[n / 2];
    t->low = sorted[n / 1000];
    t->high = sorted[n - 1 - n / 1000];
  }
  free(sorted);
  return status;
}

static plb_status take_scene(scene *s, const plb_placed *given, size_t count, plb_error *err) {
  s->together = true;
  for (size_t i = 0; i < count; i++) {
    trace *t = &s->at[given[i].place];
    if (t->x != NULL) {
      return plb_fail(err, PLB_EUSAGE, "'%s' is given twice; one trace for each place", plb_place_name(given[i].place));
    }
    const char *unit = plb_capture_unit(given[i].capture, given[i].channel);
    if (i > 0 && strcmp(unit, s->unit) != 0) {
      return plb_fail(err, PLB_EDATA, "'%s' is in %s and another trace in %s; measure voltages, and name the unit with --channel",
                      plb_place_name(given[i].place), unit, s->unit);
    }
    plb_text_copy(s->unit, sizeof s->unit, unit);
    const plb_status status = take_trace(t, &given[i], err);
    if (status != PLB_OK) {
      return status;
    }
    s->together = s->together && given[i].capture == given[0].capture;
  }
  if (s->at[PLB_AT_COMPONENT].x == NULL && s->at[PLB_AT_CONTROL_UNIT].x == NULL) {
    return plb_fail(err, PLB_EUSAGE, "none of the two ends of the wire is there; name a channel component or control-unit");
  }
  return PLB_OK;
}

static void scene_dispose(scene *s) {
  for (size_t k = 0; k < PLB_PLACES; k++) {
    free(s->at[k].x);
  }
}

/* x - base over the samples; an excursion counts when LASTING neighbours are beyond `limit` on the same side. `sign` 0: either side. */
static excursion search(const double *x, const double *minus, double base, size_t n, double limit, int sign) {
  excursion e = {0.0, 0, 0};
  double run_least = 0.0;
  int run_sign = 0;
  size_t run = 0;
  for (size_t i = 0; i < n; i++) {
    const double d = x[i] - (minus != NULL ? minus[i] : base);
    const int side = d > limit ? 1 : d < -limit ? -1 : 0;
    if (side == 0 || (sign != 0 && side != sign)) {
      run = 0;
      run_sign = 0;
      continue;
    }
    run = side == run_sign ? run + 1 : 1;
    run_sign = side;
    run_least = run == 1 ? fabs(d) : fmin(run_least, fabs(d));
    e.count += run == LASTING ? LASTING : run > LASTING;
    if (run >= LASTING && run_least > fabs(e.size)) {
      e.size = side * run_least;
      e.at = i + 1 - run;
      run_least = fabs(d); /* the next stretch of this excursion may be larger */
    }
  }
  return e;
}

/*
 * Do two quiet places move by the same amount at the same time? Of the instants at which either is away from its middle, the share at which
 * the other is too, by the same voltage within a third.
 */
static bool move_together(const trace *a, const trace *b, double *size_out, size_t *at_out) {
  const double limit = fmax(0.05, 6.0 * hypot(a->noise, b->noise));
  size_t away = 0, common = 0;
  double most = 0.0;
  for (size_t i = 0; i < a->n && i < b->n; i++) {
    const double da = a->x[i] - a->middle, db = b->x[i] - b->middle;
    if (fabs(da) > limit || fabs(db) > limit) {
      away++;
      common += fabs(da - db) < fmax(limit, 0.33 * fmax(fabs(da), fabs(db)));
      if (fabs(da) > fabs(most)) {
        most = da;
        *at_out = i;
      }
    }
  }
  *size_out = most;
  return away >= LASTING && (double)common > together_share * (double)away;
}

static void found(plb_locate *l, const scene *s, plb_lost where, plb_place place, double size, size_t at) {
  const trace *t = &s->at[place];
  l->where = where;
  l->size = size;
  l->time_s = s->together ? t->start_s + (double)at / t->rate_hz : NAN;
}

static void say_when(const plb_locate *l, char *out, size_t size) {
  char at[PLB_NAME_SIZE];
  out[0] = '\0';
  if (isfinite(l->time_s)) {
    plb_say_size(at, sizeof at, l->time_s, "s");
    plb_text_print(out, size, " at %s", at);
  }
}

static bool ask_instrument(plb_locate *l, const scene *s) {
  const trace *supply = &s->at[PLB_AT_SUPPLY], *ground = &s->at[PLB_AT_GROUND];
  double size = 0.0;
  size_t at = 0;
  if (!s->together || supply->x == NULL || ground->x == NULL || !move_together(supply, ground, &size, &at)) {
    return false;
  }
  char volts[PLB_NAME_SIZE], when[PLB_NAME_SIZE];
  found(l, s, PLB_LOST_INSTRUMENT, PLB_AT_GROUND, size, at);
  plb_say_size(volts, sizeof volts, fabs(size), s->unit);
  say_when(l, when, sizeof when);
  plb_text_print(l->sentence, sizeof l->sentence, "all channels jump together, by %s%s: the instrument's own ground", volts, when);
  plb_text_print(l->evidence, sizeof l->evidence, "supply and ground of the component move by the same voltage at the same instants; no circuit does that to both");
  return true;
}

static bool ask_wire(plb_locate *l, const scene *s) {
  const trace *c = &s->at[PLB_AT_COMPONENT], *u = &s->at[PLB_AT_CONTROL_UNIT];
  if (c->x == NULL || u->x == NULL) {
    return false;
  }
  const double swing = fmax(c->high - c->low, u->high - u->low);
  const double limit = fmax(wire_limit * swing, 6.0 * hypot(c->noise, u->noise));
  char volts[PLB_NAME_SIZE], when[PLB_NAME_SIZE];
  if (s->together) {
    const size_t n = c->n < u->n ? c->n : u->n;
    const excursion e = search(u->x, c->x, 0.0, n, limit, 0);
    if (e.count == 0) {
      return false;
    }
    found(l, s, PLB_LOST_WIRING, PLB_AT_CONTROL_UNIT, e.size, e.at);
    plb_say_size(volts, sizeof volts, fabs(e.size), s->unit);
    say_when(l, when, sizeof when);
    plb_text_print(l->sentence, sizeof l->sentence, "lost on the way: the control unit sees %s %s than the component sends%s", volts,
                   e.size > 0.0 ? "more" : "less", when);
    plb_text_print(l->evidence, sizeof l->evidence, "the two ends of the wire differ in %.2g %% of the samples", 100.0 * (double)e.count / (double)n);
    return true;
  }
  const double low = u->low - c->low, high = u->high - c->high, most = fabs(high) > fabs(low) ? high : low;
  if (fabs(most) <= limit) {
    return false;
  }
  found(l, s, PLB_LOST_WIRING, PLB_AT_CONTROL_UNIT, most, 0);
  plb_say_size(volts, sizeof volts, fabs(most), s->unit);
  plb_text_print(l->sentence, sizeof l->sentence, "lost on the way: the %s level is %s %s at the control unit than at the component",
                 most == high ? "highest" : "lowest", volts, most > 0.0 ? "higher" : "lower");
  plb_text_print(l->evidence, sizeof l->evidence, "levels of two captures, not of one instant: a fault that comes and goes may have been in one of them only");
  return true;
}

static bool ask_ground(plb_locate *l, const scene *s) {
  const trace *g = &s->at[PLB_AT_GROUND];
  if (g->x == NULL) {
    return false;
  }
  const excursion e = search(g->x, NULL, 0.0, g->n, fmax(ground_limit_v, 6.0 * g->noise), 0);
  if (e.count == 0) {
    return false;
  }
  char volts[PLB_NAME_SIZE], when[PLB_NAME_SIZE];
  found(l, s, PLB_LOST_GROUND, PLB_AT_GROUND, e.size, e.at);
  plb_say_size(volts, sizeof volts, fabs(e.size), s->unit);
  say_when(l, when, sizeof when);
  plb_text_print(l->sentence, sizeof l->sentence, "the component's ground is not at ground: %s%s", volts, when);
  plb_text_print(l->evidence, sizeof l->evidence, "it is beyond 0.2 V of the scope's ground in %.3g %% of the samples", 100.0 * (double)e.count / (double)g->n);
  return true;
}

/* What the supply should be: stated, else five volts or the higher level that the trace itself shows. */
static double nominal(const trace *supply, double stated_v) {
  if (stated_v > 0.0) {
    return stated_v;
  }
  return supply->high < 7.0 ? 5.0 : fmax(supply->high, 10.5);
}

static bool ask_supply(plb_locate *l, const scene *s, double stated_v) {
  const trace *v = &s->at[PLB_AT_SUPPLY];
  if (v->x == NULL) {
    return false;
  }
  const double should = nominal(v, stated_v);
  const excursion e = search(v->x, NULL, should, v->n, fmax(supply_limit * should, 6.0 * v->noise), -1);
  if (e.count == 0) {
    return false;
  }
  char volts[PLB_NAME_SIZE], full[PLB_NAME_SIZE], when[PLB_NAME_SIZE];
  found(l, s, PLB_LOST_SUPPLY, PLB_AT_SUPPLY, e.size, e.at);
  plb_say_size(volts, sizeof volts, should + e.size, s->unit);
  plb_say_size(full, sizeof full, should, s->unit);
  say_when(l, when, sizeof when);
  plb_text_print(l->sentence, sizeof l->sentence, "the component's supply falls to %s where it should be %s%s", volts, full, when);
  plb_text_print(l->evidence, sizeof l->evidence, "it is more than a tenth too low in %.3g %% of the samples", 100.0 * (double)e.count / (double)v->n);
  return true;
}

static void say_ends(plb_locate *l, const scene *s) {
  if (s->at[PLB_AT_COMPONENT].x == NULL || s->at[PLB_AT_CONTROL_UNIT].x == NULL) {
    l->where = PLB_LOST_UNKNOWN;
    plb_text_print(l->sentence, sizeof l->sentence, "one end of the wire alone cannot say where the signal is lost; measure the other end too");
    return;
  }
  l->where = PLB_LOST_COMPONENT;
  plb_text_print(l->sentence, sizeof l->sentence, "the same at both ends: what is wrong in this trace is made at an end, not lost on the way");
  plb_text_print(l->evidence, sizeof l->evidence, "the two ends agree throughout%s%s",
                 s->at[PLB_AT_SUPPLY].x != NULL ? "; the supply holds" : "; the supply was not measured",
                 s->at[PLB_AT_GROUND].x != NULL ? "; the ground is quiet" : "; the ground was not measured");
}

static void add_check(plb_locate *l, const char *text) {
  if (l->checks < PLB_LOCATE_CHECKS) {
    plb_text_copy(l->check[l->checks++], PLB_TEXT_SIZE, text);
  }
}

/* The likeliest measuring error first, then the cheapest check; common practice. */
static void advise(plb_locate *l, const scene *s) {
  static const char *const first[] = {
      [PLB_LOST_UNKNOWN] = "that every ground clip is on the battery's negative post, none on the part",
      [PLB_LOST_COMPONENT] = "that both tips touch metal of the same wire: move each on the pin and see the trace change",
      [PLB_LOST_WIRING] = "swap the two probes: the difference must stay with the place, not with the probe",
      [PLB_LOST_SUPPLY] = "the supply at the battery at the same instant: a weak battery lowers it everywhere",
      [PLB_LOST_GROUND] = "that the scope's ground is on the battery's negative post and its clip bites",
      [PLB_LOST_INSTRUMENT] = "the scope's ground: clip, lead and point; put it on the battery's negative post and record again"};
  static const char *const then[][4] = {
      [PLB_LOST_UNKNOWN] = {"the other end of the same wire, in the same capture"},
      [PLB_LOST_COMPONENT] = {"what the part senses or drives: target, gap, linkage, fluid", "pull-up or driver of the control unit, with the part unplugged where that is allowed",
                              "the part itself, last"},
      [PLB_LOST_WIRING] = {"connector pins at both ends: pushed back, spread, green", "the harness between them while it is moved by hand, engine off where parts turn",
                           "the voltage drop along the wire under load, not its resistance alone"},
      [PLB_LOST_SUPPLY] = {"fuse, relay and connector of this supply: voltage drop from the battery under load", "other users of the same supply: do they fall with it?",
                           "a short at one of them: unplug them one at a time"},
      [PLB_LOST_GROUND] = {"ground bolt and its joints: voltage drop to the battery's negative post under load", "other users of the same ground: do they rise with it?"},
      [PLB_LOST_INSTRUMENT] = {"a second instrument, or the scope on its own battery, with the vehicle's charger unplugged"}};
  add_check(l, first[l->where]);
  for (size_t i = 0; i < 4 && then[l->where][i] != NULL; i++) {
    add_check(l, then[l->where][i]);
  }
  static const struct {
    plb_place place;
    const char *text;
  } wanted[] = {{PLB_AT_CONTROL_UNIT, "the same wire at the control unit's connector, back-probed, in the same capture"},
                {PLB_AT_COMPONENT, "the same wire at the component's connector, back-probed, in the same capture"},
                {PLB_AT_GROUND, "the ground pin of the component against the battery's negative post, in the same capture"},
                {PLB_AT_SUPPLY, "the supply pin of the component, in the same capture"}};
  for (size_t k = 0; k < sizeof wanted / sizeof wanted[0] && l->next_point[0] == '\0'; k++) {
    if (s->at[wanted[k].place].x == NULL && (l->where == PLB_LOST_UNKNOWN || l->where == PLB_LOST_COMPONENT)) {
      plb_text_copy(l->next_point, sizeof l->next_point, wanted[k].text);
    }
  }
}

plb_status plb_locate_loss(plb_locate **out, const plb_placed *given, size_t count, double supply_v, plb_error *err) {
  *out = NULL;
  scene s = {.together = true};
  plb_locate *l = plb_calloc(1, sizeof *l);
  plb_status status = l != NULL ? take_scene(&s, given, count, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK) {
    plb_text_copy(l->unit, sizeof l->unit, s.unit);
    l->size = l->time_s = NAN;
    if (!ask_instrument(l, &s) && !ask_wire(l, &s) && !ask_ground(l, &s) && !ask_supply(l, &s, supply_v)) {
      say_ends(l, &s);
    }
    advise(l, &s);
  }
  if (status == PLB_OK && !s.together) {
    status = plb_reason_add(&l->reason, &l->reasons, PLB_REASON_MEASURING, "uneven", "", false,
                            "the places were recorded one after the other, so a fault that comes and goes can be in one of them only",
                            "record the places in one capture");
    status = status == PLB_OK ? status : plb_fail(err, status, "out of memory");
  }
  scene_dispose(&s);
  if (status != PLB_OK) {
    plb_locate_free(l);
    return status;
  }
  *out = l;
  return PLB_OK;
}
