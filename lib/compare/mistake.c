#include "compare/outcome.h"
#include "signal/correlate.h"
#include <math.h>
#include <string.h>

/* The same tracks with one channel, or all of them, multiplied; only what changes is copied. */
typedef struct scaled_tracks {
  plb_tracks tracks;
  double **x;
  double *own;
} scaled_tracks;

static bool scale_channels(scaled_tracks *out, const plb_tracks *in, size_t channel, double factor) {
  const bool all = channel == SIZE_MAX;
  out->x = plb_calloc(in->channels, sizeof *out->x);
  out->own = plb_calloc((all ? in->channels : 1) * in->samples, sizeof *out->own);
  if (out->x == NULL || out->own == NULL) {
    return false;
  }
  for (size_t c = 0; c < in->channels; c++) {
    out->x[c] = in->x[c];
    if (all || c == channel) {
      double *own = out->own + (all ? c : 0) * in->samples;
      for (size_t i = 0; i < in->samples; i++) {
        own[i] = in->x[c][i] * factor;
      }
      out->x[c] = own;
    }
  }
  out->tracks = *in;
  out->tracks.x = out->x;
  return true;
}

static void scaled_dispose(scaled_tracks *s) {
  free(s->x);
  free(s->own);
}

/*
 * A mistake is named only when undoing it leaves nothing to explain: the capture must then be as good as the good ones, noise included. A
 * real tenth of the amplitude keeps its usual noise and is ten times too noisy once multiplied.
 */
static bool explains(const plb_judge *judge, const plb_outcome *undone, const plb_outcome *seen) {
  const plb_calibration *c = &judge->reference->calibration;
  return undone->profile != NULL && !undone->structural && undone->score < 1.5 * fmax(c->limit, c->guard) && !(undone->score > 0.6 * seen->score);
}

/*
 * What is left may be a fault, or what a coarse recorder does to steps: the mistake is said beside it. Where the noise does not speak for it, only
 * if the laid-over curve is the factor's size to a twentieth.
 */
static bool explains_most(const plb_outcome *undone, const plb_outcome *seen, size_t channel, bool usual_noise) {
  return undone->profile != NULL && undone->score < 0.2 * seen->score &&
         (usual_noise || (channel != SIZE_MAX && !undone->structural && fabs(log(undone->gain[channel].gain)) < log(1.05)));
}

double plb_sample_noise(const double *x, size_t samples) {
  enum { REACH = 5 };
  double *apart = plb_calloc(samples, sizeof *apart);
  size_t n = 0;
  for (size_t i = 0; i + REACH < samples && apart != NULL; i++) {
    const double d = x[i] - 5.0 * x[i + 1] + 10.0 * x[i + 2] - 10.0 * x[i + 3] + 5.0 * x[i + 4] - x[i + 5];
    if (isfinite(d)) {
      apart[n++] = fabs(d);
    }
  }
  /* independent noise of RMS s gives fifth differences of RMS s sqrt(1 + 25 + 100 + 100 + 25 + 1) */
  const double noise = n > 0 ? 1.4826 / sqrt(252.0) * plb_median(apart, n) : (double)NAN;
  free(apart);
  return noise;
}

/*
 * A factor changes the instrument's noise too, a fault does not. Four times what good captures typically have is more than instruments
 * differ, and less than the usual noise ten times enlarged; a recorder with few steps may lie in between, and then both are possible.
 * References that do not know the samples' noise have the scatter between cycles, which speed makes wide.
 */
static bool has_usual_noise(const plb_judge *judge, const plb_outcome *undone, const plb_tracks *scaled, size_t channel) {
  const plb_reference_channel *ch = &judge->reference->channel[channel];
  if (ch->sample_noise > 0.0) {
    const double noise = plb_sample_noise(scaled->x[channel], scaled->samples);
    return noise < 4.0 * ch->sample_noise && noise > ch->sample_noise / 4.0;
  }
  return !(ch->noise > 0.0) || undone->profile == NULL || undone->profile->frame == NULL ||
         plb_profile_noise(undone->profile, scaled->x[channel], scaled->samples, channel) < 6.0 * ch->noise;
}

/* Does the typical cycle stay on one side of nought, by its middle? */
static bool is_one_sided(const plb_judge *judge, size_t channel, double *middle_out) {
  const plb_fit_channel *ch = &judge->fit->channel[channel];
  double middle = 0.0;
  for (size_t g = 0; g < judge->fit->grid; g++) {
    middle += (double)ch->centre[g] / (double)judge->fit->grid;
  }
  *middle_out = middle;
  return fabs(middle) > 0.25 * judge->reference->channel[channel].peak_to_peak;
}

/* A signal that stays on one side of nought lies on the other one when its lead or clamp is turned over. */
static bool is_turned(const plb_judge *judge, const plb_tracks *tracks, size_t channel) {
  double good = 0.0, seen = 0.0;
  size_t n = 0;
  const bool one_sided = is_one_sided(judge, channel, &good);
  for (size_t i = 0; i < tracks->samples; i++) {
    seen += isfinite(tracks->x[channel][i]) ? tracks->x[channel][i] : 0.0;
    n += isfinite(tracks->x[channel][i]) != 0;
  }
  return !one_sided || n == 0 || seen / (double)n * good < 0.0;
}

static plb_status try_factor(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen, size_t channel,
                             double factor, const char *code, plb_error *err) {
  scaled_tracks scaled = {0};
  plb_outcome *undone = NULL;
  plb_status status = PLB_OK;
  if (!scale_channels(&scaled, tracks, channel, 1.0 / factor)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  } else {
    status = plb_outcome_new(&undone, judge, &scaled.tracks, err);
  }
  const bool sure = status == PLB_OK && (factor > 0.0 ? has_usual_noise(judge, undone, &scaled.tracks, channel)
                                                      : channel == SIZE_MAX || is_turned(judge, tracks, channel));
  scaled_dispose(&scaled);
  const bool wholly = status == PLB_OK && explains(judge, undone, seen);
  if (status == PLB_OK && (factor > 0.0 ? wholly || explains_most(undone, seen, channel, sure) : wholly && sure)) {
    out->found = true;
    out->sure = sure && wholly;
    out->factor = factor;
    out->channel = channel;
    out->correlation = plb_outcome_frame(undone)->correlation;
    out->undone = undone;
    undone = NULL;
    plb_text_copy(out->code, sizeof out->code, code);
  }
  plb_outcome_free(undone);
  return status;
}

/* Two channels of one recording in each other's place: laid out the other way they are like the good captures. */
static plb_status try_exchange(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen, size_t a,
                               size_t b, plb_error *err) {
  plb_tracks other = *tracks;
  plb_outcome *undone = NULL;
  other.x = plb_calloc(tracks->channels, sizeof *other.x);
  if (other.x == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  memcpy(other.x, tracks->x, tracks->channels * sizeof *other.x);
  other.x[a] = tracks->x[b];
  other.x[b] = tracks->x[a];
  const plb_status status = plb_outcome_new(&undone, judge, &other, err);
  if (status == PLB_OK && explains(judge, undone, seen)) {
    *out = (plb_mistake){.found = true, .sure = true, .channel = a, .other = b, .factor = 1.0};
    out->correlation = plb_outcome_frame(undone)->correlation;
    out->undone = undone;
    undone = NULL;
    plb_text_copy(out->code, sizeof out->code, "wrong-channel");
  }
  plb_outcome_free(undone);
  free(other.x);
  return status;
}

/*
 * How much a cycle looks like itself when it is turned over and begun elsewhere: two plugs of one coil, an alternating voltage. -1: not to be told.
 */
static double like_turned_over(const plb_cycle_choice *c) {
  double best = -1.0;
  float *r = plb_calloc(c->grid, sizeof *r);
  if (r != NULL && plb_ncc_circular(c->template_, c->template_, c->grid, r, NULL) == PLB_OK) {
    for (size_t k = 0; k < c->grid; k++) {
      best = fmax(best, -(double)r[k]);
    }
  }
  free(r);
  return best;
}

/* Turning over explains nothing of a signal that looks alike either way up: sorted levels to both sides of nought, cycles of two like halves. */
static bool has_polarity(const plb_judge *judge, size_t channel) {
  static const double alike = 0.8;
  double middle = 0.0;
  const plb_fit_channel *ch = &judge->fit->channel[channel];
  const plb_cycle_choice *choice = &judge->reference->choice;
  if (choice->spec.kind == PLB_CYCLE_REPEAT && channel == choice->channel && choice->template_ != NULL &&
      !is_one_sided(judge, channel, &middle)) {
    return like_turned_over(choice) < alike;
  }
  return choice->spec.kind != PLB_CYCLE_STEADY || fabs(ch->pivot) > ch->peak_to_peak;
}

/*
 * How many times too large the channel may be: by the laid-over curve, by its extremes against the swing of the typical cycle, and against all
 * that the good captures reach. A steady level that hardly moves: by its mean, about which it only scatters. NaN: not to be told.
 */
typedef struct seen_gains {
  double laid, swing, reach;
} seen_gains;

static seen_gains seen_gain(const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen, size_t channel) {
  const plb_reference_channel *ch = &judge->reference->channel[channel];
  const double pivot = judge->fit->channel[channel].pivot;
  double low, high;
  plb_extremes(tracks->x[channel], tracks->samples, &low, &high);
  if (judge->reference->choice.spec.kind == PLB_CYCLE_STEADY && has_polarity(judge, channel)) {
    return (seen_gains){0.5 * (low + high) / pivot, NAN, NAN};
  }
  const bool laid = seen->profile != NULL && !seen->structural && seen->gain[channel].gain > 0.0;
  return (seen_gains){laid ? seen->gain[channel].gain : (double)NAN, (high - low) / ch->peak_to_peak,
                      (high - low) / (ch->range_high - ch->range_low)};
}

static bool is_near(double gain, double factor, double within) { return gain > 0.0 && fabs(log(gain / factor)) < log(within); }

plb_status plb_mistake_find(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen, plb_error *err) {
  static const double factor[] = {10.0, 20.0, 100.0, 1000.0}; /* attenuators and clamps in common use */
  *out = (plb_mistake){.factor = 1.0};
  plb_status status = PLB_OK;
  for (size_t a = 0; a < judge->plan.channels; a++) {
    for (size_t b = a + 1; status == PLB_OK && !out->found && b < judge->plan.channels; b++) {
      status = try_exchange(out, judge, tracks, seen, a, b, err);
    }
  }
  for (size_t c = 0; status == PLB_OK && !out->found && c < judge->plan.channels; c++) {
    const seen_gains gain = seen_gain(judge, tracks, seen, c);
    for (size_t k = 0; k < sizeof factor / sizeof *factor && status == PLB_OK && !out->found; k++) {
      for (int side = 0; side < 2 && status == PLB_OK && !out->found; side++) {
        const double f = side == 0 ? factor[k] : 1.0 / factor[k];
        if (is_near(gain.laid, f, 1.3) || is_near(gain.swing, f, 1.6) || is_near(gain.reach, f, 1.6)) { /* extremes differ more than curves do */
          status = try_factor(out, judge, tracks, seen, c, f, "factor", err);
        }
      }
    }
    if (status == PLB_OK && !out->found && has_polarity(judge, c)) {
      const bool clamp = strcmp(judge->reference->channel[c].unit, "A") == 0;
      status = try_factor(out, judge, tracks, seen, c, -1.0, clamp ? "clamp" : "lead-inverted", err);
      out->alone = out->found && judge->plan.channels > 1;
    }
  }
  if (status == PLB_OK && !out->found && judge->plan.channels > 1 && has_polarity(judge, judge->reference->choice.channel)) {
    status = try_factor(out, judge, tracks, seen, SIZE_MAX, -1.0, "lead-inverted", err);
  }
  return status == PLB_OK && !out->found ? plb_mistake_undo(out, judge, tracks, seen, err) : status;
}
