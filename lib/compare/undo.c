/*
 * Mistakes that are undone by taking something off: a level (AC coupling, a clamp that was not zeroed) or the hum of the mains. What is left
 * must then be like the good captures.
 */
#include "compare/outcome.h"
#include <math.h>
#include <string.h>

static const double two_pi = 6.283185307179586;

/* The tracks with one channel of its own. */
typedef struct changed {
  plb_tracks tracks;
  double **x;
  double *own;
} changed;

static bool changed_init(changed *out, const plb_tracks *in, size_t channel) {
  *out = (changed){
      .tracks = *in, .x = plb_calloc(in->channels, sizeof *out->x), .own = plb_calloc(in->samples, sizeof *out->own)};
  if (out->x == NULL || out->own == NULL) {
    return false;
  }
  memcpy(out->x, in->x, in->channels * sizeof *out->x);
  memcpy(out->own, in->x[channel], in->samples * sizeof *out->own);
  out->x[channel] = out->own;
  out->tracks.x = out->x;
  return true;
}

static void changed_dispose(changed *c) {
  free(c->x);
  free(c->own);
}

static double mean_of_samples(const double *x, size_t n) {
  double sum = 0.0;
  size_t count = 0;
  for (size_t i = 0; i < n; i++) {
    if (isfinite(x[i])) {
      sum += x[i];
      count++;
    }
  }
  return count > 0 ? sum / (double)count : 0.0;
}

/*
 * The level that AC coupling takes off: known-good's mean over time. Where a cycle's stretches are laid out otherwise than they last, each cell
 * counts with its seconds, and those of no known length share what is left of a typical cycle.
 */
static double mean_over_time(const plb_judge *judge, size_t c) {
  const plb_cycle_choice *choice = &judge->reference->choice;
  const float *x = judge->fit->channel[c].centre;
  const size_t n = judge->fit->grid;
  double known_s = 0.0, known = 0.0, other = 0.0;
  size_t others = 0;
  for (size_t g = 0; g < n; g++) {
    const double slope = choice->spec.kind == PLB_CYCLE_EDGE ? plb_span_slope(choice, ((double)g + 0.5) / (double)n) : (double)NAN;
    if (slope > 0.0) {
      known_s += slope / (double)n;
      known += (double)x[g] * slope / (double)n;
    } else {
      other += (double)x[g];
      others++;
    }
  }
  if (others == n) {
    return other / (double)n;
  }
  const double cycle_s = 1.0 / sqrt(choice->rate_low_hz * choice->rate_high_hz), left_s = others > 0 ? fmax(cycle_s - known_s, 0.0) : 0.0;
  return (known + (others > 0 ? left_s * other / (double)others : 0.0)) / (known_s + left_s);
}

static plb_status judge_shifted(plb_outcome **out, const plb_judge *judge, const plb_tracks *tracks, size_t c,
                                double by, plb_error *err) {
  changed x = {0};
  plb_status status = PLB_OK;
  if (!changed_init(&x, tracks, c)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  } else {
    for (size_t i = 0; i < tracks->samples; i++) {
      x.own[i] += by;
    }
    status = plb_outcome_new(out, judge, &x.tracks, err);
  }
  changed_dispose(&x);
  return status;
}

static bool is_like(const plb_judge *judge, const plb_outcome *o, double times) {
  const plb_calibration *k = &judge->reference->calibration;
  return o->profile != NULL && !o->structural && o->score < times * fmax(k->limit, k->guard);
}

static void name(plb_mistake *out, const char *code, size_t channel, double size, plb_outcome **undone) {
  out->found = out->sure = true;
  out->channel = channel;
  out->size = size;
  out->correlation = plb_outcome_frame(*undone)->correlation;
  out->undone = *undone;
  *undone = NULL;
  plb_text_copy(out->code, sizeof out->code, code);
}

/*
 * Is there a time in known-good when surely no current flows, and is the level taken off no more than a clamp drifts? A drag, a leak or a
 * weak field raises a current that never rests all over, and a leak beyond that drift is no zero: *common practice*, two fifths of the swing.
 * A record that comes once and rests at a small current, not at nought, is looked at for that very rest (a draw with everything off): there both
 * are possible. That it is not nought is seen where the good captures' rests lie on one side (t test, one in a hundred).
 */
static bool rest_is_current(const plb_judge *judge, size_t c, const bool *rests, size_t resting) {
  const size_t n = judge->reference->exemplars, grid = judge->fit->grid;
  double sum = 0.0, square = 0.0;
  for (size_t i = 0; i < n; i++) {
    const float *curve = plb_profile_curve(judge->member[i], c);
    double level = 0.0;
    for (size_t g = 0; g < grid; g++) {
      level += rests[g] && isfinite(curve[g]) ? (double)curve[g] : 0.0;
    }
    sum += level / (double)resting;
    square += level / (double)resting * (level / (double)resting);
  }
  const double mean = sum / (double)n, error = sqrt(fmax(square - (double)n * mean * mean, 0.0) / (double)(n * (n - 1)));
  return fabs(mean) > plb_t_quantile(0.995, (double)n - 1.0) * error;
}

static bool rests_at_nought(const plb_judge *judge, size_t c, double by) {
  const plb_fit_channel *ch = &judge->fit->channel[c];
  const size_t grid = judge->fit->grid;
  bool *rests = plb_calloc(grid, sizeof *rests);
  size_t resting = 0;
  for (size_t g = 0; g < grid && rests != NULL; g++) {
    rests[g] = fabs((double)ch->centre[g]) < 0.03 * ch->peak_to_peak;
    resting += rests[g];
  }
  const bool once = judge->reference->choice.spec.kind == PLB_CYCLE_ONCE;
  const bool at_nought = rests != NULL && 10 * resting >= grid && fabs(by) < 0.4 * ch->peak_to_peak &&
                         !(once && rest_is_current(judge, c, rests, resting));
  free(rests);
  return at_nought;
}

/* A trace that averages to nought where known-good does not, and matches once the mean is put back. It sags, so it need not match wholly. */
static plb_status try_level(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks,
                            const plb_outcome *seen_as, size_t c, plb_error *err) {
  const plb_reference_channel *ch = &judge->reference->channel[c];
  const double swing = judge->fit->channel[c].peak_to_peak,
               good = mean_over_time(judge, c);
  const double seen = mean_of_samples(tracks->x[c], tracks->samples);
  const bool clamp = strcmp(ch->unit, "A") == 0, coupled = fabs(seen) < 0.03 * swing && fabs(good) > 0.15 * swing;
  plb_outcome *undone = NULL;
  if (!clamp && !coupled) {
    return PLB_OK;
  }
  double by = good - seen;
  plb_status status = judge_shifted(&undone, judge, tracks, c, by, err);
  if (status == PLB_OK && undone->profile != NULL &&
      !is_like(judge, undone, 1.0)) { /* the mean is not the level of the cycle: once more */
    by -= plb_offset_told(&judge->fit->channel[c], undone->gain[c]);
    plb_outcome_free(undone);
    undone = NULL;
    status = judge_shifted(&undone, judge, tracks, c, by, err);
  }
  if (status == PLB_OK && coupled && undone->profile != NULL && plb_structural_share(undone->profile) < 0.2 &&
      undone->gain[c].gain > 0.5 && undone->gain[c].gain < 1.6 && plb_outcome_frame(undone)->correlation > 0.8) {
    name(out, "ac-coupled", c, by, &undone);
  } else if (status == PLB_OK && clamp && fabs(by) > 0.03 * swing && is_like(judge, undone, 1.5) &&
             !(undone->score > 0.6 * seen_as->score)) {
    name(out, "clamp", c, -by, &undone);
    out->sure = rests_at_nought(judge, c, by);
  }
  plb_outcome_free(undone);
  return status;
}

/* Least squares of level, fundamental and third harmonic; the amplitude of the fundamental; takes them off but for the level. */
static double take_hum(double *x, size_t n, double rate_hz, double mains_hz) {
  double a[4] = {0}, level = mean_of_samples(x, n);
  const size_t whole = (size_t)(floor((double)n / rate_hz * mains_hz) * rate_hz / mains_hz);
  for (size_t i = 0; i < whole; i++) {
    const double at = two_pi * mains_hz * (double)i / rate_hz, v = isfinite(x[i]) ? x[i] - level : 0.0;
    a[0] += v * sin(at);
    a[1] += v * cos(at);
    a[2] += v * sin(3.0 * at);
    a[3] += v * cos(3.0 * at);
  }
  for (int k = 0; k < 4; k++) {
    a[k] *= 2.0 / (double)whole;
  }
  for (size_t i = 0; i < n; i++) {
    const double at = two_pi * mains_hz * (double)i / rate_hz;
    x[i] -= a[0] * sin(at) + a[1] * cos(at) + a[2] * sin(3.0 * at) + a[3] * cos(3.0 * at);
  }
  return hypot(a[0], a[1]);
}

static double swing_of(const double *x, size_t n) {
  double low, high;
  plb_extremes(x, n, &low, &high);
  return high - low;
}

/* Known-good itself swings at the mains' frequency, or a multiple of its cycles does. */
static bool is_own(const plb_judge *judge, double mains_hz, double length_s) {
  const plb_cycle_choice *c = &judge->reference->choice;
  const bool wheel = c->spec.kind == PLB_CYCLE_WHEEL; /* a wheel swings with its teeth, not with its turns */
  for (int k = 1; k <= 4 && !wheel && c->spec.kind != PLB_CYCLE_ONCE; k++) {
    if (mains_hz > 0.9 * k * c->rate_low_hz - 1.0 / length_s && mains_hz < 1.1 * k * c->rate_high_hz + 1.0 / length_s) {
      return true;
    }
  }
  return false;
}

static plb_status try_hum(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen,
                          size_t c, double mains_hz, plb_error *err) {
  const double swing = judge->fit->channel[c].peak_to_peak, length_s = (double)tracks->samples / tracks->rate_hz;
  changed x = {0};
  plb_outcome *undone = NULL;
  plb_status status = PLB_OK;
  if (length_s * mains_hz < 3.0 || tracks->rate_hz < 8.0 * mains_hz || is_own(judge, mains_hz, length_s)) {
    return PLB_OK;
  }
  if (!changed_init(&x, tracks, c)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
    goto done;
  }
  const double before = swing_of(x.own, tracks->samples),
               hum = take_hum(x.own, tracks->samples, tracks->rate_hz, mains_hz);
  const double left = swing_of(x.own, tracks->samples);
  if (hum < 0.04 * swing || hum < 0.05 * before) {
    goto done;
  }
  status = plb_outcome_new(&undone, judge, &x.tracks, err);
  if (status != PLB_OK) {
    goto done;
  }
  const bool small = left < 0.6 * swing && hum > 0.2 * before;
  /* a fault may be left, but not most of what there was to explain, nor anything that makes "like known-good" untrue */
  const bool better = is_like(judge, undone, 8.0) && (!(seen->score > 0.0) || undone->score < 0.5 * seen->score);
  if (small || is_like(judge, undone, 1.5) || better) {
    out->mains_hz = mains_hz;
    name(out, small ? "floating" : "hum", c, hum, &undone);
  }
done:
  changed_dispose(&x);
  plb_outcome_free(undone);
  return status;
}

plb_status plb_mistake_undo(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen,
                            plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t c = 0; c < judge->plan.channels && status == PLB_OK && !out->found; c++) {
    status = try_level(out, judge, tracks, seen, c, err);
    for (int k = 0; k < 2 && status == PLB_OK && !out->found; k++) {
      status = try_hum(out, judge, tracks, seen, c, k == 0 ? 50.0 : 60.0, err);
    }
  }
  return status;
}
