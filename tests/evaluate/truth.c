/*
 * Where a fault shows, told by the model alone: the faulty capture less the same draw without the fault. Instrument and
 * noise are the same in both, so that nothing but the fault is left. The difference is laid over the phase axis by the
 * frame of the good twin; where the fault changes the length of the cycles, the two median cycles are compared instead.
 *
 * A finding is right when the section it names is changed at least a quarter as much (in half-widths of the good range)
 * as the section of the same channel that the fault changes most, in the direction named, and the fault reaches that channel
 * (half-widths of two channels do not compare: one may be known to a hundredth, the other to a tenth); a reading when the
 * fault moves it in that direction against its own twin. Windows of a steady signal are compared by their sorted levels, as
 * they are judged.
 */
#include "evaluate.h"
#include "compare/outcome.h"
#include "core/core.h"
#include <math.h>
#include <string.h>

static const double share = 0.25;

typedef struct slice_truth {
  double amount; /* worst cycle's RMS difference in half-widths of the good range */
  double lowest, highest;
  double lag; /* sign of the shift: + late */
} slice_truth;

struct eval_twin {
  const plb_judge *judge;
  plb_tracks *track;
  plb_outcome *outcome;
  plb_verdict *verdict;
};

struct eval_truth {
  const plb_judge *judge;
  const plb_verdict *twin_verdict;
  plb_tracks *faulty_track;
  const plb_tracks *twin_track;
  plb_outcome *faulty; /* NULL: not asked for yet */
  const plb_outcome *twin;
  slice_truth *slice; /* [slices] */
  double *effect;     /* [channels] RMS of the difference / peak-to-peak of the good ones */
  double *most;       /* [channels] largest amount */
  bool shows, same_length;
};

static double step_of(const plb_capture *capture, size_t channel) {
  const plb_samples *s = &capture->channel[channel].samples;
  return s->code ? s->scale : plb_capture_step(capture, channel);
}

/* Beyond rounding: more than two steps in more than three samples. */
static void look_at_samples(eval_truth *t, const plb_capture *faulty) {
  const plb_tracks *a = t->faulty_track, *b = t->twin_track;
  t->same_length = a->samples == b->samples;
  t->shows = !t->same_length;
  for (size_t c = 0; c < a->channels && t->same_length; c++) {
    const double step = step_of(faulty, c);
    double sum = 0.0;
    size_t beyond = 0;
    for (size_t i = 0; i < a->samples; i++) {
      const double d = a->x[c][i] - b->x[c][i];
      sum += d * d;
      beyond += fabs(d) > 2.0 * step;
    }
    t->effect[c] = sqrt(sum / (double)a->samples) / fmax(t->judge->reference->channel[c].peak_to_peak, 1e-12);
    t->shows = t->shows || beyond > 3;
  }
}

static double half_width(const plb_fit_channel *ch, size_t g) {
  return sqrt((double)ch->half[g] * (double)ch->half[g] + (double)ch->within[g] * (double)ch->within[g]);
}

static void note_cell(slice_truth *s, double d, double slope) {
  s->lowest = fmin(s->lowest, d);
  s->highest = fmax(s->highest, d);
  s->lag -= d * slope;
}

static double slope_of(const float *curve, size_t grid, size_t g) {
  return (double)curve[(g + 1) % grid] - (double)curve[(g + grid - 1) % grid];
}

static double cell_mean(const double *a, const double *b, size_t n, double from, double to) {
  size_t first = (size_t)fmax(floor(from + 0.5), 0.0), last = (size_t)fmax(floor(to + 0.5), 0.0);
  double sum = 0.0;
  last = last <= first ? first + 1 : last;
  last = last > n ? n : last;
  for (size_t i = first; i < last; i++)
    sum += a[i] - b[i];
  return last > first ? sum / (double)(last - first) : 0.0;
}

/* Same length of cycles: sample by sample, the worst cycle counts. */
static void compare_samples(eval_truth *t, size_t b) {
  const plb_slices *slices = &t->judge->plan.slices;
  const plb_frame *f = t->twin->profile->frame;
  const size_t c = slices->channel[b];
  const float *curve = plb_profile_curve(t->twin->profile, c);
  slice_truth *s = &t->slice[b];
  for (size_t r = 0; r < f->mapped; r++) {
    const double *edge = f->edge_at + r * (f->grid + 1);
    double sum = 0.0;
    for (size_t g = slices->from[b]; g < slices->to[b]; g++) {
      const double d =
          cell_mean(t->faulty_track->x[c], t->twin_track->x[c], t->twin_track->samples, edge[g], edge[g + 1]);
      const double z = d / half_width(&t->judge->fit->channel[c], g);
      sum += z * z;
      note_cell(s, d, slope_of(curve, f->grid, g));
    }
    s->amount = fmax(s->amount, sqrt(sum / (double)(slices->to[b] - slices->from[b])));
  }
}

static void compare_medians(eval_truth *t, size_t b) {
  const plb_slices *slices = &t->judge->plan.slices;
  const size_t c = slices->channel[b], grid = t->twin->profile->grid;
  const float *good = plb_profile_curve(t->twin->profile, c), *bad = plb_profile_curve(t->faulty->profile, c);
  slice_truth *s = &t->slice[b];
  double sum = 0.0;
  for (size_t g = slices->from[b]; g < slices->to[b]; g++) {
    const double d = (double)bad[g] - (double)good[g], z = d / half_width(&t->judge->fit->channel[c], g);
    sum += z * z;
    note_cell(s, d, slope_of(good, grid, g));
  }
  s->amount = sqrt(sum / (double)(slices->to[b] - slices->from[b]));
}

/* Windows of sorted levels: level by level, the worst window counts. */
static void compare_windows(eval_truth *t, size_t b) {
  const plb_slices *slices = &t->judge->plan.slices;
  const plb_frame *bad = t->faulty->profile->frame, *good = t->twin->profile->frame;
  const size_t c = slices->channel[b];
  slice_truth *s = &t->slice[b];
  for (size_t r = 0; r < good->mapped && r < bad->mapped; r++) {
    const float *x = plb_frame_curve(bad, r, c), *y = plb_frame_curve(good, r, c);
    double sum = 0.0;
    for (size_t g = slices->from[b]; g < slices->to[b]; g++) {
      const double d = (double)x[g] - (double)y[g], z = d / half_width(&t->judge->fit->channel[c], g);
      sum += z * z;
      note_cell(s, d, 0.0);
    }
    s->amount = fmax(s->amount, sqrt(sum / (double)(slices->to[b] - slices->from[b])));
  }
}

static bool keeps_time(const eval_truth *t) {
  const double a = plb_outcome_frame(t->faulty)->rate_hz, b = plb_outcome_frame(t->twin)->rate_hz;
  return !(fabs(a - b) > 1e-3 * b) || !t->faulty->profile;
}

static void look_at_slices(eval_truth *t) {
  if (!t->twin->profile || !t->twin->profile->frame)
    return;
  const bool steady = t->judge->reference->choice.spec.kind == PLB_CYCLE_STEADY;
  const bool windows = steady && t->faulty->profile && t->faulty->profile->frame;
  const bool samples = !steady && t->same_length && keeps_time(t) && t->twin->profile->frame->edge_at;
  for (size_t b = 0; b < t->judge->plan.slices.bands; b++) {
    if (samples)
      compare_samples(t, b);
    else if (windows)
      compare_windows(t, b);
    else if (t->faulty->profile)
      compare_medians(t, b);
    double *most = &t->most[t->judge->plan.slices.channel[b]];
    *most = fmax(*most, t->slice[b].amount);
  }
}

static plb_status track_of(plb_tracks **out, const plb_reference *r, const plb_capture *capture, plb_error *err) {
  char(*role)[PLB_NAME_SIZE] = plb_calloc(r->channels, sizeof *role);
  if (!role)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t c = 0; c < r->channels; c++)
    plb_text_copy(role[c], sizeof *role, r->channel[c].role);
  const plb_status status =
      plb_tracks_from_capture(out, capture, (const char(*)[PLB_NAME_SIZE])role, r->channels, err);
  free(role);
  return status;
}

plb_status eval_twin_new(eval_twin **out, const plb_judge *judge, const plb_capture *capture, plb_verdict *verdict,
                         plb_error *err) {
  eval_twin *t = plb_calloc(1, sizeof *t);
  *out = NULL;
  if (!t) {
    plb_verdict_free(verdict);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  *t = (eval_twin){.judge = judge, .verdict = verdict};
  plb_status status = track_of(&t->track, judge->reference, capture, err);
  if (!status)
    status = plb_outcome_new(&t->outcome, judge, t->track, err);
  if (status) {
    eval_twin_free(t);
    return status;
  }
  *out = t;
  return PLB_OK;
}

void eval_twin_free(eval_twin *t) {
  if (!t)
    return;
  plb_tracks_free(t->track);
  plb_outcome_free(t->outcome);
  plb_verdict_free(t->verdict);
  free(t);
}

plb_status eval_truth_new(eval_truth **out, const eval_twin *twin, const plb_capture *faulty, plb_error *err) {
  eval_truth *t = plb_calloc(1, sizeof *t);
  *out = NULL;
  if (t) {
    *t = (eval_truth){.judge = twin->judge, .twin_verdict = twin->verdict, .twin_track = twin->track, .twin = twin->outcome};
    t->slice = plb_calloc(t->judge->plan.slices.bands, sizeof *t->slice);
    t->effect = plb_calloc(t->judge->plan.channels, sizeof *t->effect);
    t->most = plb_calloc(t->judge->plan.channels, sizeof *t->most);
  }
  plb_status status = t && t->slice && t->effect && t->most ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (!status)
    status = track_of(&t->faulty_track, t->judge->reference, faulty, err);
  if (status) {
    eval_truth_free(t);
    return status;
  }
  look_at_samples(t, faulty);
  *out = t;
  return PLB_OK;
}

void eval_truth_free(eval_truth *t) {
  if (!t)
    return;
  plb_tracks_free(t->faulty_track);
  plb_outcome_free(t->faulty);
  free(t->slice);
  free(t->effect);
  free(t->most);
  free(t);
}

bool eval_truth_shows(const eval_truth *truth) { return truth->shows; }

/* Unnamed: the channel that gives the cycle. */
static size_t channel_of(const eval_truth *t, const char *role) {
  if (!role[0])
    return t->judge->reference->choice.channel;
  for (size_t c = 0; c < t->judge->plan.channels; c++)
    if (strcmp(t->judge->reference->channel[c].role, role) == 0)
      return c;
  return SIZE_MAX;
}

static bool touches_channel(const eval_truth *t, size_t c) {
  double most = 0.0;
  for (size_t k = 0; k < t->judge->plan.channels; k++)
    most = fmax(most, t->effect[k]);
  return !t->same_length || t->effect[c] >= 0.1 * most;
}

static bool fits_slice(const eval_truth *t, size_t b, const char *direction) {
  const slice_truth *s = &t->slice[b];
  const double size = fmax(s->highest, -s->lowest);
  const size_t c = t->judge->plan.slices.channel[b];
  if (!(s->amount >= share * t->most[c]) || !touches_channel(t, c))
    return false;
  if (strcmp(direction, "low") == 0)
    return -s->lowest >= 0.3 * size;
  if (strcmp(direction, "high") == 0)
    return s->highest >= 0.3 * size;
  if (strcmp(direction, "late") == 0)
    return s->lag > 0.0;
  if (strcmp(direction, "early") == 0)
    return s->lag < 0.0;
  return true;
}

static bool fits_band(const eval_truth *t, const plb_finding *f, size_t c) {
  const plb_slices *slices = &t->judge->plan.slices;
  size_t bands = 0, touched = 0;
  for (size_t b = 0; b < slices->bands; b++) {
    if (slices->channel[b] != c)
      continue;
    bands++;
    touched += t->slice[b].amount >= share * t->most[c];
    if (strcmp(t->judge->reference->band[slices->band[b]].name, f->band) == 0)
      return fits_slice(t, b, f->direction);
  }
  return 2 * touched >= bands && touches_channel(t, c); /* said of the whole cycle */
}

static bool fits_phase(const eval_truth *t, double phase, size_t c) {
  const plb_slices *slices = &t->judge->plan.slices;
  for (size_t b = 0; b < slices->bands; b++) {
    const double at = phase * (double)slices->grid;
    if (slices->channel[b] == c && at >= (double)slices->from[b] && at < (double)slices->to[b])
      return fits_slice(t, b, "");
  }
  return true;
}

static double swing(const float *curve, size_t grid) {
  float low = curve[0], high = curve[0];
  for (size_t g = 1; g < grid; g++) {
    low = curve[g] < low ? curve[g] : low;
    high = curve[g] > high ? curve[g] : high;
  }
  return (double)(high - low);
}

static bool fits_size(const eval_truth *t, const plb_finding *f, size_t c) {
  if (!t->faulty->profile || !t->twin->profile)
    return true;
  const size_t grid = t->twin->profile->grid;
  const float *bad = plb_profile_curve(t->faulty->profile, c), *good = plb_profile_curve(t->twin->profile, c);
  const plb_gain gain = plb_gain_against(bad, good, grid);
  const double larger = swing(bad, grid) / swing(good, grid);
  double mean = 0.0;
  for (size_t g = 0; g < grid; g++)
    mean += ((double)bad[g] - (double)good[g]) / (double)grid;
  if (strcmp(f->band, "offset") == 0)
    mean = fabs(gain.offset) > fabs(mean) ? gain.offset : mean;
  const bool low = strcmp(f->direction, "low") == 0;
  if (strcmp(f->band, "offset") == 0)
    return fabs(mean) >= 0.005 * swing(good, grid) && (mean < 0.0) == low;
  return low ? fmin(gain.gain, larger) < 0.99 : fmax(gain.gain, larger) > 1.01;
}

static const plb_reading_result *reading_of(const plb_verdict *v, const char *channel, const char *name) {
  for (size_t i = 0; i < v->readings; i++)
    if (strcmp(v->reading[i].name, name) == 0 && strcmp(v->reading[i].channel, channel) == 0)
      return &v->reading[i];
  return NULL;
}

static bool fits_reading(const eval_truth *t, const plb_verdict *v, const plb_finding *f, size_t c) {
  const plb_reading_result *bad = reading_of(v, f->channel, f->band);
  const plb_reading_result *good = reading_of(t->twin_verdict, f->channel, f->band);
  if (strcmp(f->band, "amplitude") == 0 || strcmp(f->band, "offset") == 0)
    return fits_size(t, f, c);
  if (!bad || !good)
    return isfinite(f->phase) ? fits_phase(t, f->phase, c) : touches_channel(t, c);
  const bool less = strcmp(f->direction, "low") == 0 || strcmp(f->direction, "early") == 0;
  const double change = bad->value - good->value;
  return isnan(change) || (less ? change < 0.0 : change > 0.0);
}

static bool fits(const eval_truth *t, const plb_verdict *v, const plb_finding *f) {
  const size_t c = channel_of(t, f->channel);
  if (c == SIZE_MAX || !t->shows)
    return false;
  switch (f->kind) {
  case PLB_FINDING_STRUCTURAL:
    return isfinite(f->phase) ? fits_phase(t, f->phase, c) : touches_channel(t, c);
  case PLB_FINDING_READING:
    return fits_reading(t, v, f, c);
  case PLB_FINDING_BAND:
    return fits_band(t, f, c);
  default:
    return touches_channel(t, c);
  }
}

plb_status eval_truth_fits(bool *out, eval_truth *t, const plb_verdict *v, const plb_finding *f, plb_error *err) {
  plb_status status = PLB_OK;
  if (!t->faulty) {
    status = plb_outcome_new(&t->faulty, t->judge, t->faulty_track, err);
    if (status)
      return status;
    look_at_slices(t);
  }
  *out = fits(t, v, f);
  return status;
}
