#include "compare/explain.h"
#include <math.h>

double plb_local_lag(const float *curve, const float *centre, size_t grid, size_t from, size_t to, size_t reach, double *explained_out) {
  double before = 0.0, best = INFINITY, left = INFINITY, right = INFINITY, previous = INFINITY;
  ptrdiff_t at = 0;
  const ptrdiff_t last = (ptrdiff_t)grid - 1, most = (ptrdiff_t)reach;
  for (ptrdiff_t shift = -most; shift <= most; shift++) {
    double sum = 0.0;
    for (size_t g = from; g < to; g++) {
      ptrdiff_t k = (ptrdiff_t)g - shift;
      k = k < 0 ? 0 : k > last ? last : k;
      const double d = (double)curve[g] - (double)centre[k];
      sum += d * d;
    }
    before = shift == 0 ? sum : before;
    if (sum < best) {
      best = sum;
      at = shift;
      left = previous;
      right = INFINITY;
    } else if (shift == at + 1) {
      right = sum;
    }
    previous = sum;
  }
  *explained_out = before > 0.0 ? 1.0 - best / before : 0.0;
  double offset = 0.0;
  if (isfinite(left) && isfinite(right)) {
    double height;
    offset = plb_parabola_peak(-left, -best, -right, &height);
  }
  return (double)at + offset;
}

static double square_apart(const float *curve, const float *centre, ptrdiff_t last, ptrdiff_t from, ptrdiff_t to, ptrdiff_t shift) {
  double sum = 0.0;
  for (ptrdiff_t g = from; g < to; g++) {
    const ptrdiff_t k = g - shift < 0 ? 0 : g - shift > last ? last : g - shift;
    const double d = (double)curve[g] - (double)centre[k];
    sum += d * d;
  }
  return sum;
}

/*
 * An edge is late or early only where the same step is seen, elsewhere: the curve must get from the level before it to the level behind it,
 * and the shift must hold beside the place where it was found too. A spike that is gone has a flank that no shift brings back.
 */
static bool is_moved_edge(const float *curve, const float *centre, size_t grid, size_t from, size_t to, size_t reach, double lag) {
  const ptrdiff_t last = (ptrdiff_t)grid - 1, wide = (ptrdiff_t)reach + 1;
  const ptrdiff_t begin = (ptrdiff_t)from - wide < 0 ? 0 : (ptrdiff_t)from - wide;
  const ptrdiff_t end = (ptrdiff_t)to + wide > last + 1 ? last + 1 : (ptrdiff_t)to + wide;
  const double whole = square_apart(curve, centre, last, begin, end, 0);
  const double left = square_apart(curve, centre, last, begin, end, (ptrdiff_t)lrint(lag));
  float low = centre[begin], high = low, seen_low = curve[begin], seen_high = seen_low;
  for (ptrdiff_t g = begin; g < end; g++) {
    low = fminf(low, centre[g]);
    high = fmaxf(high, centre[g]);
    seen_low = fminf(seen_low, curve[g]);
    seen_high = fmaxf(seen_high, curve[g]);
  }
  const float slack = 0.2F * (high - low);
  return seen_low <= low + slack && seen_high >= high - slack && (fabs(lag) < 1.0 || left < 0.5 * whole);
}

/* How far a steep edge may be from where it belongs and still be told as time: never as far as the next tooth. [cells] */
static size_t lag_reach(const plb_reference *ref) {
  const plb_cycle_spec *spec = &ref->choice.spec;
  const size_t grid = ref->choice.grid;
  const size_t wide = spec->kind == PLB_CYCLE_WHEEL ? grid / (size_t)(spec->teeth * spec->revs) / 3 : grid / 32;
  return wide > 3 ? wide : 3;
}

static double score_of(const plb_judge *judge, const plb_outcome *o, plb_distance_kind kind, size_t slice) {
  const size_t term = plb_term_find(&judge->terms, kind, slice);
  const double score = term != SIZE_MAX ? plb_term_score(judge, o, term) : NAN;
  return isfinite(score) ? score : 0.0;
}

bool plb_gain_helps(const plb_judge *judge, const plb_outcome *o, size_t channel) {
  const plb_calibration *calibration = &judge->reference->calibration;
  double raw = 0.0, shape = 0.0;
  if (plb_word_for_score(calibration, score_of(judge, o, PLB_D_GAIN, channel)) == PLB_AGREES &&
      plb_word_for_score(calibration, score_of(judge, o, PLB_D_OFFSET, channel)) == PLB_AGREES) {
    return true; /* next to nothing is removed */
  }
  for (size_t b = 0; b < judge->plan.slices.bands; b++) {
    if (judge->plan.slices.channel[b] == channel) {
      raw = fmax(raw, fmax(score_of(judge, o, PLB_D_LASTING, b), score_of(judge, o, PLB_D_RAW, b)));
      shape = fmax(shape, score_of(judge, o, PLB_D_SHAPE, b));
    }
  }
  return !judge->fit->channel[channel].judge_raw || shape <= 1.0 * raw;
}

static void pick_kind(plb_band_view *v, const plb_judge *judge, const plb_outcome *o, size_t slice, bool moved) {
  const bool as_it_stands = !plb_gain_helps(judge, o, judge->plan.slices.channel[slice]);
  v->kind = moved ? PLB_D_SHAPE : PLB_D_LASTING;
  v->score = 0.0;
  for (plb_distance_kind kind = v->kind; kind <= PLB_D_NOISE; kind++) {
    if (as_it_stands && (kind == PLB_D_SHAPE || kind == PLB_D_CYCLE)) {
      continue;
    }
    const size_t term = plb_term_find(&judge->terms, kind, slice);
    const double s = term != SIZE_MAX ? plb_term_score(judge, o, term) : NAN;
    if (s > v->score) {
      v->score = s;
      v->kind = kind;
    }
  }
}

static size_t worst_row(const plb_judge *judge, const plb_outcome *o, size_t slice, plb_gain gain) {
  size_t worst = 0;
  double most = -1.0;
  for (size_t r = 0; r < o->profile->frame->mapped; r++) {
    const double d = plb_cycle_distance(judge->fit, &judge->plan, o->profile, slice, r, gain);
    if (d > most) {
      most = d;
      worst = r;
    }
  }
  return worst;
}

static void take_curve(plb_band_view *v, const plb_judge *judge, const plb_outcome *o, size_t slice, float *curve) {
  const size_t c = judge->plan.slices.channel[slice], grid = judge->fit->grid;
  const plb_fit_channel *ch = &judge->fit->channel[c];
  const bool shape = v->kind == PLB_D_SHAPE || v->kind == PLB_D_CYCLE || !ch->judge_raw;
  v->gain = shape && o->gain[c].usable ? o->gain[c] : (plb_gain){1.0, 0.0, true};
  v->centre = shape ? ch->shape_centre : ch->centre;
  v->half = shape ? ch->shape_half : ch->half;
  v->row = v->kind == PLB_D_CYCLE ? worst_row(judge, o, slice, o->gain[c]) : SIZE_MAX;
  const float *source = v->row != SIZE_MAX ? plb_frame_curve(o->profile->frame, v->row, c) : plb_profile_curve(o->profile, c);
  for (size_t g = 0; g < grid; g++) {
    const bool unreached = isnan(source[g]); /* says nothing: as the centre has it */
    curve[g] = unreached ? v->centre[g] : (float)(((double)source[g] - v->gain.offset) / v->gain.gain);
  }
  v->curve = curve;
}

static void look_at_noise(plb_band_view *v, const plb_judge *judge, const plb_outcome *o, size_t slice) {
  const size_t c = judge->plan.slices.channel[slice];
  const float *scatter = o->profile->scatter + c * judge->fit->grid;
  for (size_t g = judge->plan.slices.from[slice]; g < judge->plan.slices.to[slice]; g++) {
    if (scatter[g] > scatter[v->worst]) {
      v->worst = g;
    }
  }
  v->deviation = sqrt((double)scatter[v->worst]);
  v->direction = "noisy";
}

/*
 * A signal that swings to both sides of its rest is weak or strong where its swing is, whichever way the deviation points: a trough that is
 * not deep enough is no "high". Two-sided: the mean of the centre lies near the middle of its extremes, and the curve passes there slowly; a
 * switched level that is high for half of the time has nothing in between.
 */
static double swing_at(const plb_band_view *v, const plb_reference *ref) {
  const size_t grid = ref->choice.grid;
  double low = INFINITY, high = -INFINITY, mean = 0.0;
  for (size_t g = 0; g < grid; g++) {
    low = fmin(low, (double)v->centre[g]);
    high = fmax(high, (double)v->centre[g]);
    mean += (double)v->centre[g] / (double)grid;
  }
  const double middle = 0.5 * (low + high), swing = high - low, there = (double)v->centre[v->worst] - mean;
  size_t between = 0;
  for (size_t g = 0; g < grid; g++) {
    between += fabs((double)v->centre[g] - middle) < 0.2 * swing;
  }
  const bool two_sided = ref->choice.spec.kind == PLB_CYCLE_WHEEL && fabs(mean - middle) < 0.08 * swing && 8 * between > grid;
  return two_sided && fabs(there) > 0.25 * swing ? ((double)v->curve[v->worst] - mean) / there : (double)NAN;
}

void plb_band_look(plb_band_view *out, const plb_judge *judge, const plb_outcome *o, size_t slice, bool moved, float *curve) {
  const size_t from = judge->plan.slices.from[slice], to = judge->plan.slices.to[slice], grid = judge->fit->grid;
  *out = (plb_band_view){.worst = from, .lag = NAN, .swing = NAN, .direction = "shape"};
  pick_kind(out, judge, o, slice, moved);
  take_curve(out, judge, o, slice, curve);
  double most = -1.0, signed_sum = 0.0, sum = 0.0;
  for (size_t g = from; g < to; g++) {
    const double z = ((double)curve[g] - (double)out->centre[g]) / (double)out->half[g];
    signed_sum += z;
    sum += fabs(z);
    if (fabs(z) > most) {
      most = fabs(z);
      out->worst = g;
    }
  }
  /* as it stands on the screen: against the known-good drawn at this trace's own size */
  out->deviation = ((double)curve[out->worst] - (double)out->centre[out->worst]) * out->gain.gain;
  if (out->kind == PLB_D_NOISE) {
    out->worst = from;
    look_at_noise(out, judge, o, slice);
    return;
  }
  double explained = 0.0;
  const bool unordered = o->profile->frame->unordered; /* no early and no late there */
  const size_t reach = lag_reach(judge->reference);
  const size_t near_from = out->worst > from + reach ? out->worst - reach : from;
  const size_t near_to = out->worst + reach + 1 < to ? out->worst + reach + 1 : to;
  out->lag = plb_local_lag(curve, out->centre, grid, near_from, near_to, reach, &explained);
  const bool at_the_end = fabs(out->lag) > (double)reach - 1.0;
  if (at_the_end || unordered) {
    out->lag = NAN;
  }
  if (!at_the_end && !unordered && explained > 0.75 && fabs(out->lag) > 0.25 &&
      is_moved_edge(curve, out->centre, grid, near_from, near_to, reach, out->lag)) {
    out->direction = out->lag > 0.0 ? "late" : "early";
    return;
  }
  out->swing = swing_at(out, judge->reference);
  if (isfinite(out->swing)) {
    out->direction = out->swing > 1.0 ? "high" : "low";
  } else if (fabs(signed_sum) > 0.3 * sum) {
    out->direction = signed_sum > 0.0 ? "high" : "low";
  } else {
    out->direction = out->deviation > 0.0 ? "high" : "low";
  }
}

/* RMS distance of one cycle from the median of all inside a slice, in the scatter of good captures. */
static double apart_from_median(const plb_judge *judge, const plb_outcome *o, size_t slice, size_t row) {
  const size_t c = judge->plan.slices.channel[slice], from = judge->plan.slices.from[slice], to = judge->plan.slices.to[slice];
  const float *cycle = plb_frame_curve(o->profile->frame, row, c), *median = plb_profile_curve(o->profile, c);
  const double floor = judge->fit->channel[c].floor;
  double sum = 0.0;
  for (size_t g = from; g < to; g++) {
    const double within = (double)judge->fit->channel[c].within[g], apart = isnan(cycle[g]) ? 0.0 : (double)cycle[g] - (double)median[g];
    sum += apart * apart / (within * within + floor * floor);
  }
  return sqrt(sum / (double)(to - from));
}

/* Noisy cycles: half the score from the median, or, where the score counts the steepness of an edge besides, half of what cycles typically are. */
static void show_noise(const plb_band_view *view, const plb_judge *judge, const plb_outcome *o, size_t slice, bool *shown) {
  const size_t cycles = o->profile->frame->mapped;
  double square = 0.0;
  size_t count = 0;
  for (size_t r = 0; r < cycles; r++) {
    const double apart = apart_from_median(judge, o, slice, r);
    square += apart * apart / (double)cycles;
    shown[r] = apart > 0.5 * view->score;
    count += shown[r];
  }
  for (size_t r = 0; r < cycles && count == 0; r++) {
    shown[r] = apart_from_median(judge, o, slice, r) > 0.5 * sqrt(square);
  }
}

void plb_band_shown(const plb_band_view *view, const plb_judge *judge, const plb_outcome *o, size_t slice, bool *shown) {
  const size_t c = judge->plan.slices.channel[slice], from = judge->plan.slices.from[slice], to = judge->plan.slices.to[slice];
  const plb_frame *f = o->profile->frame;
  if (view->kind == PLB_D_NOISE) {
    show_noise(view, judge, o, slice, shown);
    return;
  }
  for (size_t r = 0; r < f->mapped; r++) {
    const float *cycle = plb_frame_curve(f, r, c);
    double along = 0.0, whole = 0.0;
    for (size_t g = from; g < to; g++) {
      if (isnan(cycle[g])) {
        continue;
      }
      const double expected = (double)view->curve[g] - (double)view->centre[g];
      const double seen = ((double)cycle[g] - view->gain.offset) / view->gain.gain - (double)view->centre[g];
      along += seen * expected;
      whole += expected * expected;
    }
    shown[r] = whole > 0.0 && along >= 0.5 * whole;
  }
}
