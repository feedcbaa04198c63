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
  default:
    return count == 1 ? "cycle" : "cycles";
  }
}

double plb_degrees_at(const plb_reference *reference, double phase) {
  const plb_cycle_spec *s = &reference->choice.spec;
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

void plb_say_phase(char *out, size_t size, const plb_reference *reference, double phase, double duration_s) {
  if (reference->choice.spec.kind == PLB_CYCLE_WHEEL) {
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
