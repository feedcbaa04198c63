#include "compare/explain.h"
#include <math.h>
#include <string.h>

const char *plb_unit_of_cycle(const plb_reference *reference, unsigned count) {
  switch (reference->choice.spec.kind) {
  case PLB_CYCLE_WHEEL:
    if (reference->choice.spec.revs == 2) {
      return count == 1 ? "pair of revolutions" : "pairs of revolutions";
    }
    return count == 1 ? "revolution" : "revolutions";
  case PLB_CYCLE_ONCE:
    return count == 1 ? "event" : "events";
  case PLB_CYCLE_AGAINST:
    return count == 1 ? "stroke" : "strokes";
  case PLB_CYCLE_STEADY:
    return count == 1 ? "window" : "windows";
  default:
    return count == 1 ? "cycle" : "cycles";
  }
}

double plb_degrees_at(const plb_reference *reference, double phase) {
  const plb_cycle_spec *s = &reference->choice.spec;
  if (s->kind == PLB_CYCLE_AGAINST || s->kind == PLB_CYCLE_STEADY) {
    return NAN; /* nothing turns */
  }
  return phase * (s->kind == PLB_CYCLE_WHEEL && s->revs == 2 ? 720.0 : 360.0);
}

int plb_tooth_at(const plb_reference *reference, double phase) {
  const plb_cycle_choice *c = &reference->choice;
  if (c->spec.kind != PLB_CYCLE_WHEEL || c->landmarks == 0) {
    return 0;
  }
  size_t best = 0;
  for (size_t m = 1; m < c->landmarks; m++) {
    if (fabs(c->landmark[m].phase - phase) < fabs(c->landmark[best].phase - phase)) {
      best = m;
    }
  }
  const int teeth = c->spec.teeth - c->spec.missing;
  return (int)best % teeth + 1;
}

static const plb_reference_channel *along_channel(const plb_reference *reference) {
  for (size_t c = 0; c < reference->channels && reference->choice.spec.kind == PLB_CYCLE_AGAINST; c++) {
    if (strcmp(reference->channel[c].role, reference->choice.spec.against) == 0) {
      return &reference->channel[c];
    }
  }
  return NULL;
}

double plb_along_at(const plb_reference *reference, double phase) {
  const plb_cycle_choice *c = &reference->choice;
  return c->spec.kind == PLB_CYCLE_AGAINST ? c->level_low + phase * (c->level_high - c->level_low) : (double)NAN;
}

void plb_explain_along(plb_verdict *v, const plb_reference *reference) {
  const plb_reference_channel *along = along_channel(reference);
  v->reference.along_low = plb_along_at(reference, 0.0);
  v->reference.along_high = plb_along_at(reference, 1.0);
  if (along != NULL) {
    v->landmark_phase_first = NAN; /* the end of the travel needs no mark */
    plb_text_copy(v->reference.along, sizeof v->reference.along, along->role);
    plb_text_copy(v->reference.along_unit, sizeof v->reference.along_unit, along->unit);
  }
}

void plb_say_end_of_travel(plb_finding *finding, const plb_reference *reference, const plb_reading_limit *limit, double value) {
  const plb_reference_channel *along = along_channel(reference);
  const char *unit = along != NULL ? along->unit : "1", *role = along != NULL ? along->role : "";
  char here[64], low[64], high[64];
  finding->size = plb_along_at(reference, value);
  plb_text_copy(finding->unit, sizeof finding->unit, unit);
  plb_text_copy(finding->channel, sizeof finding->channel, role);
  plb_say_size(here, sizeof here, finding->size, unit);
  plb_say_size(low, sizeof low, plb_along_at(reference, limit->low), unit);
  plb_say_size(high, sizeof high, plb_along_at(reference, limit->high), unit);
  const bool less = value < limit->low || (!(value > limit->high) && strcmp(finding->direction, "low") == 0);
  plb_text_say(finding->text, sizeof finding->text, "the travel of %s ends at %s, %s than in good captures (%s to %s)", role, here,
               less ? "lower" : "higher", low, high);
}

plb_status plb_typical_most(const double *x, size_t n, double *out, plb_error *err) {
  double *size = plb_calloc(n, sizeof *size);
  size_t count = 0;
  if (size == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu samples", n);
  }
  for (size_t i = 0; i < n; i++) {
    if (isfinite(x[i])) {
      size[count++] = fabs(x[i]);
    }
  }
  *out = count > 0 ? plb_quantile(size, count, 0.995) : 0.0;
  free(size);
  return PLB_OK;
}

/* Where in the sorted levels of a window: the middle needs no number. */
static const char *level_words(double phase) {
  static const struct {
    double up_to;
    const char *words;
  } part[] = {{0.02, "the lowest levels"},  {0.1, "the lowest tenth of the levels"}, {0.35, "the lower levels"},
              {0.65, "the middle levels"},  {0.9, "the upper levels"},               {0.98, "the highest tenth of the levels"},
              {INFINITY, "the highest levels"}};
  size_t k = 0;
  while (!(phase < part[k].up_to) && isfinite(part[k].up_to)) {
    k++;
  }
  return part[k].words;
}

/* From the nearest mark before the place, in seconds: an absolute span keeps them, a scaled one has the typical length. */
static bool say_after_mark(char *out, size_t size, const plb_cycle_choice *c, double phase) {
  size_t k = c->landmarks;
  while (k > 0 && c->landmark[k - 1].phase > phase) {
    k--;
  }
  if (c->spec.kind != PLB_CYCLE_EDGE || k == 0 || k > c->spans || !(c->span[k - 1].duration_s > 0.0)) {
    return false;
  }
  char time[64];
  plb_say_size(time, sizeof time, plb_span_seconds(c, k - 1, phase - c->landmark[k - 1].phase), "s");
  plb_text_say(out, size, "%s after %s", time, c->landmark[k - 1].name);
  return true;
}

void plb_say_phase(char *out, size_t size, const plb_reference *reference, double phase, double duration_s) {
  const plb_reference_channel *along = along_channel(reference);
  if (say_after_mark(out, size, &reference->choice, phase)) {
    return;
  }
  if (along != NULL) {
    char value[64];
    plb_say_size(value, sizeof value, plb_along_at(reference, phase), along->unit);
    plb_text_say(out, size, "%s of %s", value, along->role);
  } else if (reference->choice.spec.kind == PLB_CYCLE_STEADY) {
    plb_text_say(out, size, "%s", level_words(phase));
  } else if (reference->choice.spec.kind == PLB_CYCLE_WHEEL) {
    plb_text_say(out, size, "%.0f deg", plb_degrees_at(reference, phase));
  } else if (isfinite(duration_s)) {
    const char *code = "s";
    const double scale = plb_unit_scale_for_people(phase * duration_s, "s", &code);
    plb_text_say(out, size, "%.3g %s", phase * duration_s * scale, code);
  } else {
    plb_text_say(out, size, "%.0f %%", phase * 100.0);
  }
}

void plb_say_size(char *out, size_t size, double value, const char *unit) {
  const char *code = unit;
  const double shown = value * plb_unit_scale_for_people(value, unit, &code);
  const bool bare = code == NULL || code[0] == '\0' || strcmp(code, "1") == 0;
  plb_text_say(out, size, fabs(shown) >= 1000.0 ? "%.0f%s%s" : "%.3g%s%s", shown, bare ? "" : " ", bare ? "" : code);
}
