#include "compare/outcome.h"
#include "compare/standard.h"
#include <math.h>
#include <string.h>

/* The reference's scales in the order of the terms; a reference without one of them was made by another rule. */
static plb_status take_scales(plb_judge *j, plb_error *err) {
  const plb_calibration *c = &j->reference->calibration;
  if (c->scales != j->terms.count) {
    return plb_fail(err, PLB_EDATA, "the reference has %zu scales where its sections and readings need %zu; learn it again", c->scales,
                    j->terms.count);
  }
  for (size_t k = 0; k < c->scales; k++) {
    if (strcmp(c->scale[k].kind, plb_distance_kind_name(j->terms.term[k].kind)) != 0 || !(c->scale[k].value > 0.0)) {
      return plb_fail(err, PLB_EDATA, "scale %zu of the reference is not '%s'; learn it again", k + 1,
                      plb_distance_kind_name(j->terms.term[k].kind));
    }
    const plb_term *t = &j->terms.term[k];
    const double tolerance = t->kind <= PLB_D_NOISE ? j->reference->band[j->plan.slices.band[t->index]].tolerance : 1.0;
    j->scale[k] = c->scale[k].value * tolerance;
  }
  return PLB_OK;
}

static double structural_limit(const plb_reference *r) {
  double worst = 0.0;
  for (size_t i = 0; i < r->exemplars; i++) {
    worst = fmax(worst, r->exemplar[i].reading[PLB_READ_AFFECTED]);
  }
  return fmax(0.04, 3.0 * worst);
}

static plb_status fit_members(plb_judge *j, plb_error *err) {
  const plb_reference *r = j->reference;
  for (size_t i = 0; i < r->exemplars; i++) {
    const plb_status status = plb_profile_from_exemplar(&j->member[i], r, i, err);
    if (status != PLB_OK) {
      return status;
    }
  }
  const plb_profile *const *member = (const plb_profile *const *)j->member;
  const plb_status status = plb_fit_new(&j->fit, &j->plan, member, r->exemplars, err);
  if (status != PLB_OK || r->choice.spec.kind != PLB_CYCLE_ONCE) {
    return status;
  }
  return plb_elastic_new(&j->elastic, &j->plan, member, r->exemplars, err);
}

static plb_status judge_new_standard(plb_judge **out, const plb_reference *reference, plb_error *err) {
  const plb_status status = plb_standard_check(reference, err);
  if (status != PLB_OK) {
    return status;
  }
  *out = plb_calloc(1, sizeof **out);
  if (*out == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  (*out)->reference = reference;
  return PLB_OK;
}

plb_status plb_judge_new(plb_judge **out, const plb_reference *reference, plb_error *err) {
  *out = NULL;
  if (plb_is_standard(reference)) {
    return judge_new_standard(out, reference, err);
  }
  if (reference->exemplars == 0) {
    return plb_fail(err, PLB_EDATA, "the reference holds no good captures to compare with; learn one with `plumb learn`");
  }
  plb_judge *j = plb_calloc(1, sizeof *j);
  if (j == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  j->reference = reference;
  plb_status status = plb_plan_init(&j->plan, reference, err);
  if (status == PLB_OK) {
    status = plb_terms_new(&j->terms, &j->plan, err);
  }
  j->member = plb_calloc(reference->exemplars, sizeof(plb_profile *));
  j->scale = plb_calloc(j->terms.count, sizeof *j->scale);
  j->decimals = plb_calloc(reference->channels, sizeof *j->decimals);
  if (status == PLB_OK && (j->member == NULL || j->scale == NULL || j->decimals == NULL)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  if (status == PLB_OK) {
    status = take_scales(j, err);
  }
  if (status == PLB_OK) {
    status = fit_members(j, err);
  }
  if (status != PLB_OK) {
    plb_judge_free(j);
    return status;
  }
  for (size_t c = 0; c < reference->channels; c++) {
    j->decimals[c] = plb_decimals_for(reference->channel[c].peak_to_peak);
  }
  j->structural = structural_limit(reference);
  *out = j;
  return PLB_OK;
}

void plb_judge_free(plb_judge *judge) {
  if (judge == NULL) {
    return;
  }
  for (size_t i = 0; judge->member != NULL && i < judge->reference->exemplars; i++) {
    plb_profile_free(judge->member[i]);
  }
  free(judge->member);
  free(judge->scale);
  free(judge->decimals);
  plb_fit_free(judge->fit);
  plb_elastic_free(judge->elastic);
  plb_plan_dispose(&judge->plan);
  plb_terms_dispose(&judge->terms);
  free(judge);
}

plb_word plb_word_for_score(const plb_calibration *calibration, double score) {
  if (score > calibration->limit && score > calibration->guard) {
    return PLB_DEPARTS;
  }
  return score > calibration->limit || score > calibration->guard_robust ? PLB_BORDERLINE : PLB_AGREES;
}

double plb_term_score(const plb_judge *judge, const plb_outcome *outcome, size_t term) {
  return plb_term_weight(&judge->terms.term[term], judge->elastic != NULL) * outcome->d[term] / judge->scale[term];
}

size_t plb_term_find(const plb_terms *terms, plb_distance_kind kind, size_t index) {
  for (size_t j = 0; j < terms->count; j++) {
    if (terms->term[j].kind == kind && terms->term[j].index == index) {
      return j;
    }
  }
  return SIZE_MAX;
}

static plb_status score_profile(plb_outcome *o, const plb_judge *judge, plb_error *err) {
  plb_status status = plb_distances(judge->fit, &judge->plan, &judge->terms, o->profile, o->d, err);
  if (status == PLB_OK && judge->elastic != NULL) {
    status = plb_elastic_distances(judge->elastic, &judge->terms, o->profile, o->d, err);
  }
  double share = 0.0;
  if (status == PLB_OK) {
    status = plb_block_distances(&o->blocks, &share, judge, o->profile, o->d, err);
  }
  if (status != PLB_OK) {
    return status;
  }
  for (size_t c = 0; c < judge->plan.channels; c++) {
    o->gain[c] = plb_gain_of(&judge->fit->channel[c], plb_profile_curve(o->profile, c), judge->fit->grid, o->profile);
  }
  o->score = plb_score_of(&judge->terms, o->d, judge->scale, judge->elastic != NULL, &o->worst);
  o->structural = share > judge->structural;
  o->score += o->structural ? PLB_STRUCTURAL_STEP : 0.0;
  o->word = plb_word_for_score(&judge->reference->calibration, o->score);
  return PLB_OK;
}

static plb_status frame_and_score(plb_outcome *o, const plb_judge *judge, const plb_tracks *tracks, const plb_cycle_choice *choice,
                                  plb_error *err) {
  plb_frame *frame = NULL;
  plb_status status = plb_frame_build(&frame, tracks, choice, err);
  if (status != PLB_OK || frame->mapped == 0) {
    o->frame = frame;
    return status;
  }
  status = plb_profile_new(&o->profile, frame, choice, judge->decimals, err);
  if (status == PLB_OK) {
    o->profile->supply_v = tracks->supply_v;
    o->profile->load = tracks->load;
    status = plb_levels_measure(o->profile, &judge->plan, tracks, err);
  }
  return status == PLB_OK ? score_profile(o, judge, err) : status;
}

static plb_status outcome_init(plb_outcome **out, const plb_judge *judge, plb_error *err) {
  *out = plb_calloc(1, sizeof **out);
  if (*out != NULL) {
    (*out)->score = NAN;
    (*out)->worst = SIZE_MAX;
    (*out)->word = PLB_UNJUDGED;
    (*out)->d = plb_calloc(judge->terms.count, sizeof *(*out)->d);
    (*out)->gain = plb_calloc(judge->plan.channels, sizeof *(*out)->gain);
  }
  if (*out == NULL || (*out)->d == NULL || (*out)->gain == NULL) {
    plb_outcome_free(*out);
    *out = NULL;
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  return PLB_OK;
}

/* A trace that sits higher or is smaller as a whole crosses fixed levels elsewhere on its flanks. */
static bool levels_follow(const plb_judge *judge, const plb_outcome *o, plb_cycle_choice *moved) {
  const plb_cycle_choice *choice = &judge->reference->choice;
  if (choice->spec.kind != PLB_CYCLE_WHEEL || o->profile == NULL) {
    return false;
  }
  const plb_gain g = o->gain[choice->channel];
  const double swing = judge->fit->channel[choice->channel].peak_to_peak;
  if (!(g.gain > 0.0) || (fabs(log(g.gain)) < 0.03 && fabs(g.offset) < 0.02 * swing)) {
    return false;
  }
  *moved = *choice;
  moved->level_low = g.gain * choice->level_low + g.offset;
  moved->level_high = g.gain * choice->level_high + g.offset;
  return true;
}

/*
 * Gain and offset are judged once and then removed, so the levels that find the teeth follow them: otherwise every tooth would seem early
 * or late by its flank. The second frame is kept when it maps as many cycles.
 */
plb_status plb_outcome_new(plb_outcome **out, const plb_judge *judge, const plb_tracks *tracks, plb_error *err) {
  plb_cycle_choice moved;
  plb_outcome *first = NULL, *second = NULL;
  *out = NULL;
  plb_status status = outcome_init(&first, judge, err);
  if (status == PLB_OK) {
    status = frame_and_score(first, judge, tracks, &judge->reference->choice, err);
  }
  if (status == PLB_OK && levels_follow(judge, first, &moved)) {
    status = outcome_init(&second, judge, err);
    if (status == PLB_OK) {
      status = frame_and_score(second, judge, tracks, &moved, err);
    }
    if (status == PLB_OK && second->profile != NULL && second->profile->cycles >= first->profile->cycles &&
        plb_structural_share(second->profile) <= plb_structural_share(first->profile)) {
      plb_outcome *swap = first;
      first = second;
      second = swap;
    }
  }
  plb_outcome_free(second);
  if (status != PLB_OK) {
    plb_outcome_free(first);
    return status;
  }
  *out = first;
  return PLB_OK;
}

void plb_outcome_free(plb_outcome *outcome) {
  if (outcome == NULL) {
    return;
  }
  plb_profile_free(outcome->profile);
  plb_frame_free(outcome->frame);
  free(outcome->d);
  free(outcome->gain);
  free(outcome);
}
