/* What changed between two references, said as a technician would: the good range section by section, readings, conditions, captures. */
#include "collection/read/layout.h"
#include "core/core.h"
#include "reference/model.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

typedef struct difference_list {
  plb_difference *item;
  size_t count, capacity;
  bool well;
} difference_list;

static void add(difference_list *l, const char *what, const char *where, double size, const char *unit, const char *format, ...) PLB_PRINTF(6, 7);

static void add(difference_list *l, const char *what, const char *where, double size, const char *unit, const char *format, ...) {
  plb_difference *grown = plb_grow(l->item, l->count, &l->capacity, sizeof *grown);
  if (!grown) {
    l->well = false;
    return;
  }
  l->item = grown;
  plb_difference *d = &grown[l->count++];
  *d = (plb_difference){.size = size};
  snprintf(d->what, sizeof d->what, "%s", what);
  snprintf(d->where, sizeof d->where, "%.250s", where);
  snprintf(d->unit, sizeof d->unit, "%s", unit);
  va_list values;
  va_start(values, format);
  vsnprintf(d->text, sizeof d->text, format, values);
  va_end(values);
}

static bool same_number(double a, double b) { return a == b || (isnan(a) && isnan(b)); }
static const char *text_of(const char *text) { return text ? text : ""; }

static void compare_text(difference_list *l, const char *name, const char *a, const char *b) {
  if (strcmp(text_of(a), text_of(b)) == 0)
    return;
  if (!text_of(a)[0])
    add(l, "text", name, NAN, "", "%s: new: \"%.180s\"", name, b);
  else if (!text_of(b)[0])
    add(l, "text", name, NAN, "", "%s: no longer there, was \"%.180s\"", name, a);
  else
    add(l, "text", name, NAN, "", "%s: was \"%.180s\", is \"%.180s\"", name, a, b);
}

static void compare_texts(difference_list *l, const plb_reference *a, const plb_reference *b) {
  compare_text(l, "title", a->title, b->title);
  compare_text(l, "why", a->why, b->why);
  compare_text(l, "method", a->method, b->method);
  compare_text(l, "sources", a->sources, b->sources);
  compare_text(l, "system", a->system, b->system);
  compare_text(l, "test point", a->connection.test_point, b->connection.test_point);
  compare_text(l, "place", a->connection.place, b->connection.place);
  compare_text(l, "ground", a->connection.ground, b->connection.ground);
  compare_text(l, "never on", a->connection.never, b->connection.never);
  compare_text(l, "probe", a->connection.probe, b->connection.probe);
  compare_text(l, "range", a->connection.range, b->connection.range);
  compare_text(l, "coupling", a->connection.coupling, b->connection.coupling);
  compare_text(l, "trigger", a->connection.trigger, b->connection.trigger);
  if (a->provenance != b->provenance)
    add(l, "provenance", "", NAN, "", "was %s, is %s", plb_provenance_name(a->provenance), plb_provenance_name(b->provenance));
}

static void condition_text(const plb_condition *c, char *out, size_t size) {
  if (c->word[0])
    snprintf(out, size, "%s", c->word);
  else if (c->low == c->high)
    snprintf(out, size, "%.6g %s", c->low, c->unit);
  else
    snprintf(out, size, "%.6g to %.6g %s", c->low, c->high, c->unit);
}

static const plb_condition *find_condition(const plb_reference *r, const char *name) {
  for (size_t i = 0; i < r->conditions; i++)
    if (strcmp(r->condition[i].name, name) == 0)
      return &r->condition[i];
  return NULL;
}

static void compare_conditions(difference_list *l, const plb_reference *a, const plb_reference *b) {
  char was[160], is[160];
  for (size_t i = 0; i < a->conditions; i++) {
    const plb_condition *x = &a->condition[i], *y = find_condition(b, x->name);
    condition_text(x, was, sizeof was);
    if (!y) {
      add(l, "condition", x->name, NAN, "", "%s: no longer stated, was %s", x->name, was);
      continue;
    }
    condition_text(y, is, sizeof is);
    if (strcmp(was, is) != 0)
      add(l, "condition", x->name, NAN, "", "%s: was %s, is %s", x->name, was, is);
  }
  for (size_t i = 0; i < b->conditions; i++)
    if (!find_condition(a, b->condition[i].name)) {
      condition_text(&b->condition[i], is, sizeof is);
      add(l, "condition", b->condition[i].name, NAN, "", "%s: new, %s", b->condition[i].name, is);
    }
}

static int find_channel(const plb_reference *r, const char *role) {
  for (size_t i = 0; i < r->channels; i++)
    if (strcmp(r->channel[i].role, role) == 0)
      return (int)i;
  return -1;
}

static void compare_channels(difference_list *l, const plb_reference *a, const plb_reference *b) {
  for (size_t i = 0; i < a->channels; i++) {
    const plb_reference_channel *x = &a->channel[i];
    const int k = find_channel(b, x->role);
    if (k < 0) {
      add(l, "channel", x->role, NAN, "", "%s: no longer there", x->role);
      continue;
    }
    const plb_reference_channel *y = &b->channel[k];
    if (strcmp(x->unit, y->unit) != 0)
      add(l, "channel", x->role, NAN, "", "%s: was in %s, is in %s", x->role, x->unit, y->unit);
    if (x->amplitude != y->amplitude)
      add(l, "channel", x->role, NAN, "", "%s: the size was judged as %s, is judged as %s", x->role, plb_rule_name(x->amplitude), plb_rule_name(y->amplitude));
    if (x->offset != y->offset)
      add(l, "channel", x->role, NAN, "", "%s: the level was judged as %s, is judged as %s", x->role, plb_rule_name(x->offset), plb_rule_name(y->offset));
    if (fabs(x->peak_to_peak - y->peak_to_peak) > 1e-6 * fabs(x->peak_to_peak))
      add(l, "channel", x->role, y->peak_to_peak - x->peak_to_peak, x->unit, "%s: peak to peak was %.4g %s, is %.4g %s", x->role, x->peak_to_peak, x->unit,
          y->peak_to_peak, y->unit);
  }
  for (size_t i = 0; i < b->channels; i++)
    if (find_channel(a, b->channel[i].role) < 0)
      add(l, "channel", b->channel[i].role, NAN, "", "%s: new, in %s", b->channel[i].role, b->channel[i].unit);
}

/** How one limit moved inside a section: the largest move and where. */
typedef struct move {
  double size, phase, centre, width_a, width_b;
} move;

/* Both corridors on one grid: the phase of b's cell is looked up in a's. */
static move largest_move(const plb_reference *a, size_t i, const plb_reference *b, size_t k, double from, double to) {
  move m = {0, from, 0, 0, 0};
  const size_t grid = b->choice.grid, grid_a = a->choice.grid;
  size_t n = 0;
  for (size_t g = (size_t)(from * (double)grid); g < grid && (double)g < to * (double)grid; g++, n++) {
    const size_t h = grid_a == grid ? g : (size_t)(((double)g + 0.5) / (double)grid * (double)grid_a);
    const size_t at_a = i * grid_a + (h < grid_a ? h : grid_a - 1), at_b = k * grid + g;
    const double low = (double)b->corridor.lower[at_b] - (double)a->corridor.lower[at_a];
    const double high = (double)b->corridor.upper[at_b] - (double)a->corridor.upper[at_a];
    const double centre = (double)b->corridor.centre[at_b] - (double)a->corridor.centre[at_a];
    const double worst = fabs(low) > fabs(high) ? low : high;
    if (fabs(worst) > fabs(m.size)) {
      m.size = worst;
      m.phase = ((double)g + 0.5) / (double)grid;
    }
    m.centre += centre;
    m.width_a += (double)a->corridor.upper[at_a] - (double)a->corridor.lower[at_a];
    m.width_b += (double)b->corridor.upper[at_b] - (double)b->corridor.lower[at_b];
  }
  if (n) {
    m.centre /= (double)n;
    m.width_a /= (double)n;
    m.width_b /= (double)n;
  }
  return m;
}

static void say_move(difference_list *l, const plb_band *band, const plb_reference_channel *c, const move *m) {
  char where[PLB_TEXT_SIZE];
  snprintf(where, sizeof where, "%s, section %s", c->role, band->name);
  const double share = c->peak_to_peak > 0 ? 100 * fabs(m->size) / c->peak_to_peak : 0;
  add(l, "good range", where, m->size, c->unit,
      "%s (%.0f to %.0f degrees): the middle moved by %+.3g %s, the width from %.3g to %.3g %s; at most by %+.3g %s (%.1f %% of peak to peak) at %.0f degrees", where,
      360 * band->from, 360 * band->to, m->centre, c->unit, m->width_a, m->width_b, c->unit, m->size, c->unit, share, 360 * m->phase);
}

/* A move below a ten-thousandth of the size is rounding. */
static void compare_corridors(difference_list *l, const plb_reference *a, const plb_reference *b) {
  const bool both = a->corridor.lower && b->corridor.lower && a->choice.grid && b->choice.grid;
  if (!both && (a->corridor.lower || b->corridor.lower))
    add(l, "good range", "", NAN, "", a->corridor.lower ? "no longer drawn" : "drawn now");
  for (size_t i = 0; both && i < b->bands; i++) {
    const plb_band *band = &b->band[i];
    for (size_t k = 0; k < b->channels && band->domain == PLB_BAND_CYCLE; k++) {
      const plb_reference_channel *c = &b->channel[k];
      const int old = find_channel(a, c->role);
      if (old < 0 || strcmp(a->channel[old].unit, c->unit) != 0 || (band->channel[0] && strcmp(band->channel, c->role) != 0))
        continue;
      const move m = largest_move(a, (size_t)old, b, k, band->from, band->to);
      if (fabs(m.size) > 1e-4 * fabs(c->peak_to_peak) && m.size != 0)
        say_move(l, band, c, &m);
    }
  }
}

static const plb_band *find_band(const plb_reference *r, const plb_band *like) {
  for (size_t i = 0; i < r->bands; i++)
    if (strcmp(r->band[i].name, like->name) == 0 && strcmp(r->band[i].channel, like->channel) == 0 && r->band[i].domain == like->domain)
      return &r->band[i];
  return NULL;
}

static void compare_bands(difference_list *l, const plb_reference *a, const plb_reference *b) {
  for (size_t i = 0; i < a->bands; i++) {
    const plb_band *x = &a->band[i], *y = find_band(b, x);
    if (!y)
      add(l, "section", x->name, NAN, "", "%s %s: no longer judged", x->channel, x->name);
    else if (!same_number(x->from, y->from) || !same_number(x->to, y->to))
      add(l, "section", x->name, NAN, "", "%s %s: was %.5g to %.5g, is %.5g to %.5g", x->channel, x->name, x->from, x->to, y->from, y->to);
    if (y && !same_number(x->tolerance, y->tolerance))
      add(l, "section", x->name, y->tolerance - x->tolerance, "1", "%s %s: tolerance was %.4g, is %.4g", x->channel, x->name, x->tolerance, y->tolerance);
    if (y)
      compare_text(l, x->name, x->good, y->good);
  }
  for (size_t i = 0; i < b->bands; i++)
    if (!find_band(a, &b->band[i]))
      add(l, "section", b->band[i].name, NAN, "", "%s %s: judged now", b->band[i].channel, b->band[i].name);
}

static const plb_reading_limit *find_reading(const plb_reference *r, const plb_reading_limit *like) {
  for (size_t i = 0; i < r->readings; i++)
    if (strcmp(r->reading[i].name, like->name) == 0 && strcmp(r->reading[i].channel, like->channel) == 0)
      return &r->reading[i];
  return NULL;
}

/* "crank peak", or "speed" alone where it belongs to no channel; a pure number has no unit to print. */
static void say_reading(difference_list *l, const plb_reading_limit *r, const char *text) {
  add(l, "reading", r->name, NAN, r->unit, "%s%s%s: %s", r->channel, r->channel[0] ? " " : "", r->name, text);
}

static void range_text(const plb_reading_limit *r, char *out, size_t size) {
  const bool pure = strcmp(r->unit, "1") == 0 || !r->unit[0];
  snprintf(out, size, "%.5g to %.5g%s%s", r->low, r->high, pure ? "" : " ", pure ? "" : r->unit);
}

static void compare_readings(difference_list *l, const plb_reference *a, const plb_reference *b) {
  for (size_t i = 0; i < a->readings; i++) {
    const plb_reading_limit *x = &a->reading[i], *y = find_reading(b, x);
    char was[PLB_TEXT_SIZE], is[PLB_TEXT_SIZE], text[2 * PLB_TEXT_SIZE + 16];
    if (!y) {
      say_reading(l, x, "no longer limited");
    } else if (!same_number(x->low, y->low) || !same_number(x->high, y->high)) {
      range_text(x, was, sizeof was);
      range_text(y, is, sizeof is);
      snprintf(text, sizeof text, "was %s, is %s", was, is);
      say_reading(l, y, text);
    }
  }
  for (size_t i = 0; i < b->readings; i++) {
    char is[PLB_TEXT_SIZE], text[PLB_TEXT_SIZE + 32];
    range_text(&b->reading[i], is, sizeof is);
    snprintf(text, sizeof text, "limited now, %s", is);
    if (!find_reading(a, &b->reading[i]))
      say_reading(l, &b->reading[i], text);
  }
}

static const plb_exemplar *find_exemplar(const plb_reference *r, const char *sha256) {
  for (size_t i = 0; i < r->exemplars; i++)
    if (strcmp(r->exemplar[i].sha256, sha256) == 0)
      return &r->exemplar[i];
  return NULL;
}

static void compare_exemplars(difference_list *l, const plb_reference *a, const plb_reference *b) {
  for (size_t i = 0; i < a->exemplars; i++)
    if (!find_exemplar(b, a->exemplar[i].sha256))
      add(l, "good capture", a->exemplar[i].name, NAN, "", "left out: %.200s", a->exemplar[i].name);
  for (size_t i = 0; i < b->exemplars; i++)
    if (!find_exemplar(a, b->exemplar[i].sha256))
      add(l, "good capture", b->exemplar[i].name, NAN, "", "new: %.200s", b->exemplar[i].name);
  if (a->exemplars && b->exemplars && !same_number(a->calibration.limit, b->calibration.limit))
    add(l, "calibration", "limit", b->calibration.limit - a->calibration.limit, "1", "the limit for \"does not match\" was %.4g, is %.4g", a->calibration.limit,
        b->calibration.limit);
}

static void compare_cycles(difference_list *l, const plb_reference *a, const plb_reference *b) {
  char was[PLB_TEXT_SIZE], is[PLB_TEXT_SIZE];
  plb_cycle_spec_format(&a->choice.spec, was, sizeof was);
  plb_cycle_spec_format(&b->choice.spec, is, sizeof is);
  if (strcmp(was, is) != 0)
    add(l, "cycle", "", NAN, "", "was %.200s, is %.200s", was, is);
  if (a->choice.landmarks != b->choice.landmarks)
    add(l, "cycle", "marks", NAN, "", "had %zu marks, has %zu", a->choice.landmarks, b->choice.landmarks);
}

plb_status plb_reference_difference(const plb_reference *a, const plb_reference *b, plb_difference **out, size_t *count_out, plb_error *err) {
  difference_list l = {.well = true};
  compare_texts(&l, a, b);
  compare_conditions(&l, a, b);
  compare_channels(&l, a, b);
  compare_cycles(&l, a, b);
  compare_corridors(&l, a, b);
  compare_bands(&l, a, b);
  compare_readings(&l, a, b);
  compare_exemplars(&l, a, b);
  if (!l.well) {
    free(l.item);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  *out = l.item;
  *count_out = l.count;
  return PLB_OK;
}
