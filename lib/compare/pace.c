#include "compare/explain.h"
#include <math.h>
#include <string.h>

/*
 * Whether cycles far outside the known-good's rate are another speed, or the fault itself.
 *
 * An engine that turns at another speed still gives whole and even cycles, and its speeds span a factor of ten (600 to 6000/min, *common practice*).
 * Edges that bounce, are lost or are added by interference give uneven or damaged cycles, or rates that no engine has. Humps in the current of a
 * motor (pump, fan, starter) tell the speed of the motor itself: where the known-good was not recorded against a speed, slow is what is wrong.
 */
static const double engine_span = 10.0;
static const double far_outside = 2.0;
static const double mostly = 0.5; /* of the cycles damaged or not to be laid over known-good */
static const double leap = 1.5;   /* times as long as the cycle before: a flywheel does not let an engine do that from one cycle to the next */

static bool has_speed_condition(const plb_reference *r) {
  bool has = false;
  for (size_t i = 0; i < r->conditions; i++) {
    has = has || strcmp(r->condition[i].name, "speed") == 0;
  }
  return has;
}

/* How many times above (> 1) or below (< 1) the good captures' rates; 1: among them. */
static double times_outside(const plb_judge *j, double rate_hz) {
  const plb_cycle_choice *c = &j->reference->choice;
  return rate_hz > c->rate_high_hz ? rate_hz / c->rate_high_hz : rate_hz < c->rate_low_hz ? rate_hz / c->rate_low_hz : 1.0;
}

static bool is_own_speed(const plb_judge *j) {
  const plb_reference *r = j->reference;
  return r->choice.spec.kind == PLB_CYCLE_REPEAT && strcmp(r->channel[r->choice.channel].unit, "A") == 0 && !has_speed_condition(r);
}

/* More uneven than good captures are. */
static bool is_uneven(const plb_judge *j, const plb_outcome *o) {
  const size_t term = plb_term_find(&j->terms, PLB_D_READING, PLB_READ_IRREGULARITY);
  const double uneven = term != SIZE_MAX ? plb_term_score(j, o, term) : NAN;
  return plb_word_for_score(&j->reference->calibration, uneven) == PLB_DEPARTS;
}

/* Do cycles, at least one in four, last much longer or shorter than the one before? Edges added or lost do that; an engine that speeds up does not. */
static bool leaps(const plb_frame *f) {
  size_t leaping = 0;
  for (size_t i = 1; i < f->found; i++) {
    const double ratio = (f->cycle[i].last - f->cycle[i].first) / (f->cycle[i - 1].last - f->cycle[i - 1].first);
    leaping += fabs(log(ratio)) > log(leap);
  }
  return leaping > 1 && 4 * leaping >= f->found - 1;
}

/* Cycles that are damaged, or uneven beyond what good captures are. */
static bool is_broken(const plb_judge *j, const plb_outcome *o) { return o->structural || is_uneven(j, o); }

bool plb_pace_is_symptom(const plb_judge *j, const plb_outcome *o) {
  const plb_cycle_kind kind = j->reference->choice.spec.kind;
  if ((kind != PLB_CYCLE_EDGE && kind != PLB_CYCLE_REPEAT) || o->profile == NULL) {
    return false;
  }
  if (is_own_speed(j)) {
    return true;
  }
  const double times = times_outside(j, o->profile->frame->rate_hz), far = fmax(times, 1.0 / times);
  const bool in_pieces = plb_structural_share(o->profile) > mostly; /* then no rate is read from whole cycles */
  const bool torn = leaps(o->profile->frame) && is_uneven(j, o);
  return o->word == PLB_DEPARTS && (far > engine_span || torn || ((far > far_outside || in_pieces) && is_broken(j, o)));
}

/* "29.9/s over 26 cycles, good 6.48 to 7.37". */
static void say_rates(char *out, size_t size, const plb_frame *frame, const plb_reference *r) {
  const double rate[] = {frame->rate_hz, r->choice.rate_low_hz, r->choice.rate_high_hz};
  char text[3][32];
  for (int k = 0; k < 3; k++) {
    plb_text_say(text[k], sizeof text[k], rate[k] < 1000.0 ? "%.3g" : "%.0f", rate[k]);
  }
  plb_text_say(out, size, "%s/s over %zu cycle%s, good %s to %s", text[0], frame->found, frame->found == 1 ? "" : "s", text[1],
               text[2]);
}

plb_status plb_find_pace(plb_verdict *v, const plb_judge *j, const plb_outcome *o, plb_error *err) {
  const plb_reference *r = j->reference;
  const plb_frame *frame = o->profile->frame;
  const bool own = is_own_speed(j);
  const double times = times_outside(j, frame->rate_hz);
  plb_finding *f = plb_finding_add(v);
  if (f == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  v->word = PLB_DEPARTS;
  v->score = fmax(o->score, PLB_STRUCTURAL_STEP);
  f->kind = own ? PLB_FINDING_READING : PLB_FINDING_STRUCTURAL;
  f->score = v->score + 2.0; /* before the marks that are odd because of it */
  f->pattern = PLB_LASTING;
  f->count = f->of = (unsigned)frame->found;
  f->size = frame->rate_hz;
  f->phase = NAN;
  plb_text_copy(f->unit, sizeof f->unit, "Hz");
  plb_text_copy(f->channel, sizeof f->channel, r->channel[r->choice.channel].role);
  plb_text_copy(f->band, sizeof f->band, "cycle rate");
  plb_text_copy(f->direction, sizeof f->direction, times < 1.0 ? "low" : "high");
  char rates[PLB_TEXT_SIZE];
  say_rates(rates, sizeof rates, frame, r);
  if (own) {
    plb_text_say(f->text, sizeof f->text, "%s: %s", times < 1.0 ? "slow" : "fast", rates);
  } else {
    plb_text_say(f->text, sizeof f->text, "edges come %.3g times too %s, no engine speed explains it: %s",
                 fmax(times, 1.0 / times), times < 1.0 ? "seldom" : "often", rates);
  }
  plb_advise(f, r, NULL);
  return PLB_OK;
}
