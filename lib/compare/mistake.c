#include "compare/outcome.h"
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
static bool explains(const plb_judge *judge, const plb_outcome *undone) {
  const plb_calibration *c = &judge->reference->calibration;
  return undone->profile != NULL && !undone->structural && undone->score < 1.5 * fmax(c->limit, c->guard);
}

/*
 * A factor makes the noise small too. Six times what good captures typically have is more than an instrument with coarser steps shows, and
 * less than the usual noise ten times enlarged.
 */
static bool is_too_noisy(const plb_judge *judge, const plb_outcome *undone, const plb_tracks *scaled, size_t channel) {
  const double usual = judge->reference->channel[channel].noise;
  return usual > 0.0 && undone->profile != NULL && undone->profile->frame != NULL &&
         plb_profile_noise(undone->profile, scaled->x[channel], scaled->samples, channel) > 6.0 * usual;
}

static plb_status try_factor(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, size_t channel, double factor,
                             const char *code, plb_error *err) {
  scaled_tracks scaled = {0};
  plb_outcome *undone = NULL;
  plb_status status = PLB_OK;
  if (!scale_channels(&scaled, tracks, channel, 1.0 / factor)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  } else {
    status = plb_outcome_new(&undone, judge, &scaled.tracks, err);
  }
  const bool noisy = status == PLB_OK && factor > 0.0 && factor < 1.0 && is_too_noisy(judge, undone, &scaled.tracks, channel);
  scaled_dispose(&scaled);
  if (status == PLB_OK && !noisy && explains(judge, undone)) {
    out->found = true;
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

/* How many times too large the channel is: from the laid-over curve, else from the extremes. */
static double seen_gain(const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen, size_t channel) {
  if (seen->profile != NULL && seen->gain[channel].gain > 0.0) {
    return seen->gain[channel].gain;
  }
  double low, high;
  plb_extremes(tracks->x[channel], tracks->samples, &low, &high);
  return (high - low) / judge->reference->channel[channel].peak_to_peak;
}

/* The sorted levels of a signal that swings to both sides of nought look alike either way up: turning it over explains nothing. */
static bool has_polarity(const plb_judge *judge, size_t channel) {
  const plb_fit_channel *ch = &judge->fit->channel[channel];
  return judge->reference->choice.spec.kind != PLB_CYCLE_STEADY || fabs(ch->pivot) > ch->peak_to_peak;
}

plb_status plb_mistake_find(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen, plb_error *err) {
  static const double factor[] = {10.0, 20.0, 100.0, 1000.0}; /* attenuators and clamps in common use */
  *out = (plb_mistake){.factor = 1.0};
  plb_status status = PLB_OK;
  for (size_t c = 0; status == PLB_OK && !out->found && c < judge->plan.channels; c++) {
    const double gain = seen_gain(judge, tracks, seen, c);
    for (size_t k = 0; k < sizeof factor / sizeof *factor && status == PLB_OK && !out->found; k++) {
      for (int side = 0; side < 2 && status == PLB_OK && !out->found; side++) {
        const double f = side == 0 ? factor[k] : 1.0 / factor[k];
        if (gain > 0.0 && fabs(log(gain / f)) < log(1.3)) {
          status = try_factor(out, judge, tracks, c, f, "factor", err);
        }
      }
    }
    if (status == PLB_OK && !out->found && has_polarity(judge, c)) {
      const bool clamp = strcmp(judge->reference->channel[c].unit, "A") == 0;
      status = try_factor(out, judge, tracks, c, -1.0, clamp ? "clamp" : "lead-inverted", err);
      out->alone = out->found && judge->plan.channels > 1;
    }
  }
  if (status == PLB_OK && !out->found && judge->plan.channels > 1 && has_polarity(judge, judge->reference->choice.channel)) {
    status = try_factor(out, judge, tracks, SIZE_MAX, -1.0, "lead-inverted", err);
  }
  return status == PLB_OK && !out->found ? plb_mistake_undo(out, judge, tracks, seen, err) : status;
}
