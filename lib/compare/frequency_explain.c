#include "compare/explain.h"
#include <math.h>
#include <string.h>

static const double missing_db = 15.0; /* so far below the good captures it is not there */

/* How far the level lies from the middle of the good captures [dB], as it was judged. */
static double level_off(const plb_judge *judge, const plb_outcome *o, size_t k) {
  const plb_level_place *place = &judge->plan.levels.place[k];
  const plb_gain g = o->gain[place->channel];
  const bool larger = judge->plan.levels.band[place->band].residual && g.usable && g.gain > 1.0;
  return o->profile->level[k] - (larger ? 20.0 * log10(g.gain) : 0.0) - judge->fit->level_mid[k];
}

static const char *direction_of(double off, bool residual) { return off > 0.0 ? (residual ? "noisy" : "high") : !residual && off < -missing_db ? "missing" : "low"; }

static void fill_result(plb_band_result *r, const plb_judge *judge, const plb_outcome *o, size_t k) {
  const plb_level_place *place = &judge->plan.levels.place[k];
  const plb_band *band = &judge->reference->band[place->band];
  const size_t term = plb_term_find(&judge->terms, PLB_D_FREQUENCY, k);
  *r = (plb_band_result){.from = band->from, .to = band->to, .inside_share = NAN, .exceedance = NAN, .worst_phase = NAN,
                         .worst_degrees = NAN, .worst_time_s = NAN, .deviation = NAN, .lag_s = NAN, .score = NAN, .status = PLB_UNJUDGED};
  plb_text_copy(r->channel, sizeof r->channel, judge->reference->channel[place->channel].role);
  plb_text_copy(r->name, sizeof r->name, band->name);
  plb_text_copy(r->domain, sizeof r->domain, "frequency");
  plb_text_copy(r->unit, sizeof r->unit, band->domain == PLB_BAND_ORDER ? "order" : "Hz");
  const double score = plb_term_score(judge, o, term), off = level_off(judge, o, k);
  if (!isfinite(score) || !isfinite(off)) {
    return; /* this capture cannot show the band */
  }
  r->score = score;
  r->status = plb_word_for_score(&judge->reference->calibration, score);
  r->deviation = off;
  r->exceedance = fabs(off) / (3.0 * fmax(sqrt(judge->fit->level_var[k]), 0.5)); /* in half-widths of three spreads, as drawn ranges are */
  r->inside_share = r->exceedance <= 1.0 ? 1.0 : 0.0;
  plb_text_copy(r->direction, sizeof r->direction, direction_of(off, band->residual));
}

void plb_explain_levels(plb_verdict *v, const plb_judge *judge, const plb_outcome *o) {
  for (size_t k = 0; k < judge->plan.levels.count; k++) {
    fill_result(&v->band[v->bands++], judge, o, k);
  }
}

/*
 * What else has been found in a channel says more of where the fault is than its spectrum, and noise told in the channel's own unit says how
 * large it is: the spectrum then comes behind.
 */
static double rank(const plb_verdict *v, const char *channel, double score) {
  double factor = 1.0, most = INFINITY;
  for (size_t i = 0; i < v->findings; i++) {
    const plb_finding *f = &v->finding[i];
    const bool here = f->channel[0] == '\0' || strcmp(f->channel, channel) == 0;
    if (here && f->kind == PLB_FINDING_BAND && strcmp(f->direction, "noisy") == 0) {
      most = fmin(most, 0.99 * f->score);
    } else if (here && (f->kind == PLB_FINDING_STRUCTURAL || f->kind == PLB_FINDING_BAND)) {
      factor = 0.5;
    }
  }
  return fmin(factor * score, most);
}

static void say_levels(plb_finding *f, const plb_band *first, const plb_band *last) {
  char stretch[128];
  if (first->domain == PLB_BAND_ORDER) {
    const int low = (int)lrint(0.5 * (first->from + first->to)), high = (int)lrint(0.5 * (last->from + last->to));
    plb_text_say(stretch, sizeof stretch, low == high ? "order %d of the cycle" : "orders %d to %d of the cycle", low, high);
  } else {
    const char *low_unit = "Hz", *high_unit = "Hz";
    const double low = plb_unit_scale_for_people(first->from, "Hz", &low_unit), high = plb_unit_scale_for_people(last->to, "Hz", &high_unit);
    plb_text_say(stretch, sizeof stretch, "from %.2g %s to %.2g %s", first->from * low, low_unit, last->to * high, high_unit);
  }
  const char *what = first->domain == PLB_BAND_ORDER ? "" : first->residual ? "hash " : "the signal ";
  const bool many = first->domain == PLB_BAND_ORDER && first != last;
  plb_text_say(f->text, sizeof f->text, "%s%s %s %.0f dB %s the good captures", what, stretch, many ? "are" : "is", fabs(f->size),
               f->size > 0.0 ? "above" : "below");
}

static plb_status tell(plb_verdict *v, const plb_judge *judge, size_t first, size_t last, size_t worst, const plb_band_result *result,
                       plb_error *err) {
  const plb_level_place *place = judge->plan.levels.place;
  const plb_band *band = judge->reference->band;
  const double score = rank(v, result[worst].channel, result[worst].score);
  plb_finding *f = plb_finding_add(v);
  if (f == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  f->kind = PLB_FINDING_FREQUENCY;
  f->size = result[worst].deviation;
  f->score = score;
  f->pattern = PLB_LASTING;
  plb_text_copy(f->unit, sizeof f->unit, "dB");
  plb_text_copy(f->channel, sizeof f->channel, result[worst].channel);
  plb_text_copy(f->band, sizeof f->band, result[worst].name);
  plb_text_copy(f->direction, sizeof f->direction, result[worst].direction);
  say_levels(f, &band[place[first].band], &band[place[last].band]);
  plb_advise(f, judge->reference, &band[place[worst].band]);
  return PLB_OK;
}

/* Neighbouring bands of a channel that depart the same way are one finding, told at the worst of them. */
plb_status plb_explain_frequencies(plb_verdict *v, const plb_judge *judge, plb_error *err) {
  const size_t count = judge->plan.levels.count;
  const plb_band_result *result = v->band + (v->bands - count);
  const plb_band *band = judge->reference->band;
  plb_status status = PLB_OK;
  for (size_t k = 0; k < count && status == PLB_OK; k++) {
    size_t last = k, worst = k;
    if (result[k].status != PLB_BORDERLINE && result[k].status != PLB_DEPARTS) {
      continue;
    }
    const plb_level_place *place = judge->plan.levels.place;
    while (last + 1 < count && place[last + 1].channel == place[k].channel && result[last + 1].deviation * result[k].deviation > 0.0 &&
           (result[last + 1].status == PLB_BORDERLINE || result[last + 1].status == PLB_DEPARTS) &&
           band[place[last + 1].band].domain == band[place[k].band].domain && band[place[last + 1].band].residual == band[place[k].band].residual) {
      last++;
      worst = result[last].score > result[worst].score ? last : worst;
    }
    status = tell(v, judge, k, last, worst, result, err);
    k = last;
  }
  return status;
}
