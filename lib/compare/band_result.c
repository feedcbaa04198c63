#include "compare/explain.h"
#include <math.h>
#include <string.h>

/* How much of the median lies inside the drawn good range, and how far it gets out of its middle. */
static void place_in_range(plb_band_result *r, const plb_reference *ref, const plb_outcome *o, size_t c, size_t from, size_t to) {
  const size_t grid = ref->choice.grid;
  const float *median = plb_profile_curve(o->profile, c);
  size_t inside = 0;
  for (size_t g = from; g < to; g++) {
    const size_t k = c * grid + g;
    const double low = (double)ref->corridor.lower[k], high = (double)ref->corridor.upper[k];
    const double middle = (double)ref->corridor.centre[k], m = (double)median[g];
    inside += m >= low && m <= high;
    const double half = m > middle ? high - middle : middle - low;
    r->exceedance = fmax(r->exceedance, half > 0.0 ? fabs(m - middle) / half : 0.0);
  }
  r->inside_share = (double)inside / (double)(to - from);
}

static void place_worst(plb_band_result *r, const plb_judge *judge, const plb_outcome *o, const plb_band_view *v, const plb_tracks *tracks) {
  const plb_reference *ref = judge->reference;
  const plb_frame *f = o->profile->frame;
  r->worst_phase = ((double)v->worst + 0.5) / (double)ref->choice.grid;
  r->worst_degrees = plb_degrees_at(ref, r->worst_phase);
  r->worst_tooth = plb_tooth_at(ref, r->worst_phase);
  const size_t row = v->row != SIZE_MAX ? v->row : 0;
  r->worst_time_s = NAN;
  if (f->edge_at != NULL && row < f->mapped) {
    const double *edge = f->edge_at + row * (f->grid + 1);
    const double cycle = edge[f->grid] - edge[0];
    if (f->unordered) { /* in the capture, of the cycle that departs */
      r->worst_time_s = v->row != SIZE_MAX ? tracks->start_s + edge[v->worst] / tracks->rate_hz : NAN;
      return;
    }
    r->worst_time_s = (0.5 * (edge[v->worst] + edge[v->worst + 1]) - edge[0]) / tracks->rate_hz;
    r->lag_s = v->lag / (double)f->grid * cycle / tracks->rate_hz;
  }
}

plb_status plb_explain_bands(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, const plb_tracks *tracks, plb_error *err) {
  const plb_reference *ref = judge->reference;
  const plb_slices *s = &judge->plan.slices;
  float *curve = plb_calloc(judge->fit->grid, sizeof *curve);
  bool *shown = plb_calloc(o->profile->frame->mapped, sizeof *shown);
  v->band = plb_calloc(s->bands + judge->plan.levels.count, sizeof *v->band);
  plb_status status = PLB_OK;
  if (curve == NULL || shown == NULL || v->band == NULL) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
    goto done;
  }
  v->bands = s->bands;
  for (size_t b = 0; b < s->bands; b++) {
    plb_band_result *r = &v->band[b];
    plb_band_view view;
    plb_band_look(&view, judge, o, b, false, curve);
    plb_text_copy(r->channel, sizeof r->channel, ref->channel[s->channel[b]].role);
    plb_text_copy(r->name, sizeof r->name, ref->band[s->band[b]].name);
    plb_text_copy(r->domain, sizeof r->domain, "cycle");
    plb_text_copy(r->unit, sizeof r->unit, "cycle");
    plb_text_copy(r->direction, sizeof r->direction, view.direction);
    r->from = ref->band[s->band[b]].from;
    r->to = ref->band[s->band[b]].to;
    r->score = view.score;
    r->status = plb_word_for_score(&ref->calibration, view.score);
    r->deviation = view.deviation;
    r->lag_s = NAN;
    place_in_range(r, ref, o, s->channel[b], s->from[b], s->to[b]);
    place_worst(r, judge, o, &view, tracks);
    if (r->status != PLB_AGREES) {
      plb_band_shown(&view, judge, o, b, shown);
      for (size_t k = 0; k < o->profile->frame->mapped; k++) {
        r->departing_cycles += shown[k];
      }
    }
  }
  plb_explain_levels(v, judge, o);
done:
  free(curve);
  free(shown);
  return status;
}

static plb_reading_result *add_reading(plb_verdict *v, const char *channel, const char *name, const char *unit, double value) {
  plb_reading_result *r = &v->reading[v->readings++];
  *r = (plb_reading_result){.value = value, .low = NAN, .high = NAN, .score = NAN, .status = PLB_AGREES};
  plb_text_copy(r->channel, sizeof r->channel, channel);
  plb_text_copy(r->name, sizeof r->name, name);
  plb_text_copy(r->unit, sizeof r->unit, unit);
  return r;
}

static void judge_reading(plb_reading_result *r, const plb_judge *judge, const plb_outcome *o, plb_distance_kind kind, size_t index,
                          double middle) {
  const size_t term = plb_term_find(&judge->terms, kind, index);
  if (term == SIZE_MAX && (r->value < r->low || r->value > r->high)) {
    r->status = PLB_UNJUDGED; /* a condition: outside what the good captures show, and not called good or bad */
  }
  if (term != SIZE_MAX) {
    r->score = plb_term_score(judge, o, term);
    r->status = isnan(r->score) ? PLB_UNJUDGED : plb_word_for_score(&judge->reference->calibration, r->score);
    plb_text_copy(r->direction, sizeof r->direction, r->value > middle ? "high" : "low");
  }
}

/* Gain and offset of one channel, and what the good captures show of them. */
static void read_channel(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, size_t c) {
  const plb_reference_channel *ch = &judge->reference->channel[c];
  const plb_fit_channel *fit = &judge->fit->channel[c];
  plb_reading_result *gain = add_reading(v, ch->role, "amplitude", "1",
                                          plb_gain_told(fit, o->gain[c].gain, plb_rule_log_gain(&fit->rule, o->profile)));
  plb_reading_result *offset = add_reading(v, ch->role, "offset", ch->unit, plb_offset_told(fit, o->gain[c]));
  gain->low = offset->low = INFINITY;
  gain->high = offset->high = -INFINITY;
  for (size_t i = 0; i < judge->reference->exemplars; i++) {
    const plb_gain g = plb_gain_against(plb_profile_curve(judge->member[i], c), fit->centre, judge->fit->grid);
    const double told = plb_gain_told(fit, g.gain, plb_rule_log_gain(&fit->rule, judge->member[i]));
    gain->low = fmin(gain->low, told);
    gain->high = fmax(gain->high, told);
    offset->low = fmin(offset->low, plb_offset_told(fit, g));
    offset->high = fmax(offset->high, plb_offset_told(fit, g));
  }
  judge_reading(gain, judge, o, PLB_D_GAIN, c, plb_gain_told(fit, exp(fit->gain_mid), 0.0));
  judge_reading(offset, judge, o, PLB_D_OFFSET, c, fit->offset_mid * fit->peak_to_peak);
}

plb_status plb_explain_readings(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, plb_error *err) {
  const plb_reference *ref = judge->reference;
  const bool wheel = ref->choice.spec.kind == PLB_CYCLE_WHEEL;
  const size_t first_mark = plb_profile_first_mark(&ref->choice);
  v->reading = plb_calloc(ref->readings + 2 * ref->channels + 1, sizeof *v->reading);
  if (v->reading == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t c = 0; c < ref->channels; c++) {
    read_channel(v, judge, o, c);
  }
  for (size_t k = 0; k < ref->readings && k < (wheel ? first_mark : ref->readings); k++) {
    const plb_reading_limit *limit = &ref->reading[k];
    const bool duration = k >= PLB_READ_COMMON && k < first_mark; /* kept as logarithms, shown in seconds */
    const double value = duration ? exp(o->profile->reading[k]) : o->profile->reading[k];
    if (isnan(value) && isnan(limit->low)) {
      continue; /* this kind of cycle has no such reading */
    }
    plb_reading_result *r = add_reading(v, limit->channel, limit->name, limit->unit, value);
    r->low = duration ? exp(limit->low) : limit->low;
    r->high = duration ? exp(limit->high) : limit->high;
    judge_reading(r, judge, o, PLB_D_READING, k, duration ? exp(judge->fit->reading_mid[k]) : judge->fit->reading_mid[k]);
  }
  return PLB_OK;
}
