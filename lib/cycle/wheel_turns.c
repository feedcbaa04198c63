/* From labelled teeth to cycles of one or two turns. Phase 0 is the middle of the gap (without a gap: half a pitch before tooth 1). */
#include "cycle/wheel.h"

#include <math.h>

typedef struct turns {
  const plb_teeth *teeth;
  const plb_cycle_spec *spec;
  size_t samples;
  size_t hint; /* for plb_teeth_time */
  size_t event; /* first crossing that may belong to the next cycle */
} turns;

static double half_gap(const plb_cycle_spec *spec) { return 0.5 * (spec->missing + 1); }

/** Without a gap the first turn begins half a pitch before the first tooth: nothing lies there to interpolate with. */
static bool boundary(turns *t, int64_t turn, double *at_out) {
  const double position = (double)(turn * t->teeth->positions) - half_gap(t->spec);
  if (plb_teeth_time(t->teeth, position, &t->hint, at_out))
    return true;
  if (t->spec->missing > 0)
    return false;
  const size_t last = t->teeth->count - 1;
  if ((double)t->teeth->position[0] - position == 0.5)
    *at_out = t->teeth->at[0] - 0.5 * t->teeth->pitch[0];
  else if (position - (double)t->teeth->position[last] == 0.5)
    *at_out = t->teeth->at[last] + 0.5 * t->teeth->pitch[last];
  else
    return false;
  return *at_out >= 0 && *at_out <= (double)(t->samples - 1);
}

/** More than a quarter of the teeth wrong: then which is which is a guess. */
static unsigned most_wrong(const plb_cycle_spec *spec) {
  const unsigned teeth = (unsigned)plb_wheel_landmarks(spec), quarter = teeth / 4;
  const unsigned at_least = quarter > 2 ? quarter : 2;
  return at_least < teeth - 1 ? at_least : teeth - 1;
}

/** A step whose time does not fit its length: the recording has a hole or a joint there, or the teeth are beyond counting. */
static bool is_torn(const plb_teeth *teeth, size_t before, size_t here) {
  const double steps = (double)(teeth->position[here] - teeth->position[before]);
  const double took = (teeth->at[here] - teeth->at[before]) / (0.5 * (teeth->pitch[before] + teeth->pitch[here]));
  return fabs(took - steps) > fmax(0.7, 0.15 * steps);
}

/** Tie the teeth seen to their phases, count the missing ones and the surplus crossings. */
static bool tie_teeth(turns *t, plb_draft *draft, plb_cycle_found *cycle, int64_t turn) {
  const plb_teeth *teeth = t->teeth;
  const int64_t real = teeth->positions - teeth->missing;
  double *mark = plb_draft_marks(draft), surplus_at = NAN;
  unsigned seen = 0;
  bool torn = false;
  size_t before = teeth->count;
  bool memory = plb_draft_anchor(draft, 0.0, cycle->first);
  while (t->event < teeth->count && teeth->at[t->event] < cycle->first)
    t->event++;
  size_t i = t->event;
  for (; i < teeth->count && teeth->at[i] < cycle->last; i++) {
    const int64_t position = teeth->position[i];
    if (position == PLB_NO_POSITION || !plb_teeth_is_tooth(teeth, position)) {
      surplus_at = cycle->surplus++ ? surplus_at : teeth->at[i];
      continue;
    }
    const int64_t from = position - turn * teeth->positions;
    const size_t landmark = (size_t)(from / teeth->positions * real + from % teeth->positions);
    mark[landmark] = teeth->at[i];
    torn = torn || (before < teeth->count && is_torn(teeth, before, i));
    before = i;
    seen++;
    memory = memory && plb_draft_anchor(draft, plb_wheel_phase(t->spec, landmark), teeth->at[i]);
  }
  t->event = i;
  memory = memory && plb_draft_anchor(draft, 1.0, cycle->last);
  cycle->missing = (unsigned)draft->landmarks - seen;
  if (memory && !isnan(surplus_at))
    cycle->surplus_phase = plb_draft_phase_at(draft, draft->found - 1, surplus_at);
  if (torn || cycle->missing > most_wrong(t->spec) || cycle->surplus > most_wrong(t->spec) + (unsigned)t->spec->missing)
    cycle->state = PLB_UNMAPPED_TEETH;
  return memory;
}

static plb_status no_memory(plb_error *err) {
  return plb_fail(err, PLB_ENOMEM, "no memory for the turns of a wheel; free some memory");
}

/** Turning, but where the gap is cannot be said: turns are counted in pitches and stay unmapped. */
static plb_status count_turns(plb_draft *draft, const plb_teeth *teeth, const plb_cycle_spec *spec, plb_error *err) {
  size_t hint = 0;
  for (size_t i = 0; i < teeth->count; i++) {
    if (teeth->position[i] == PLB_NO_POSITION || !plb_teeth_is_tooth(teeth, teeth->position[i]))
      continue;
    const double start = (double)teeth->position[i], length = (double)(teeth->positions * spec->revs);
    double first = 0, last = 0;
    for (size_t k = 0; plb_teeth_time(teeth, start + (double)k * length, &hint, &first) &&
                       plb_teeth_time(teeth, start + (double)(k + 1) * length, &hint, &last);
         k++)
      if (!plb_draft_cycle(draft, first, last, PLB_UNMAPPED_NO_GAP))
        return no_memory(err);
    return PLB_OK;
  }
  return PLB_OK;
}

static bool outermost(const plb_teeth *teeth, int64_t *first_out, int64_t *last_out) {
  bool any = false;
  for (size_t i = 0; i < teeth->count; i++)
    if (teeth->position[i] != PLB_NO_POSITION) {
      if (!any)
        *first_out = teeth->position[i];
      *last_out = teeth->position[i];
      any = true;
    }
  return any;
}

plb_status plb_wheel_cycles(plb_draft *draft, const plb_teeth *teeth, const plb_cycle_spec *spec, size_t samples,
                            int parity, bool decided, plb_error *err) {
  turns t = {.teeth = teeth, .spec = spec, .samples = samples};
  int64_t first_position = 0, last_position = 0;
  if (!plb_teeth_are_regular(teeth) || !outermost(teeth, &first_position, &last_position))
    return PLB_OK;
  if (!decided)
    return count_turns(draft, teeth, spec, err);
  int64_t turn = first_position / teeth->positions - 1;
  const int64_t end = last_position / teeth->positions + 1;
  double first = 0, last = 0;
  while (turn < end && !boundary(&t, turn, &first))
    turn++;
  for (turn += parity; turn + spec->revs <= end; turn += spec->revs) {
    if (!boundary(&t, turn, &first) || !boundary(&t, turn + spec->revs, &last))
      break;
    plb_cycle_found *cycle = plb_draft_cycle(draft, first, last, PLB_MAPPED);
    if (!cycle || !tie_teeth(&t, draft, cycle, turn))
      return no_memory(err);
  }
  return PLB_OK;
}
