/*
 * Where the trace cannot decide. Facts of the trade here are *common practice*: an open-collector output shows nothing when unplugged, a cold
 * oxygen sensor stays at its bias, a control unit may switch the pull-up of a temperature sensor, even compressions may all be low, ripple
 * needs load, variable timing moves the camshaft away from idle.
 */
#include "compare/doubt.h"
#include "compare/explain.h"
#include "capture/capture.h"
#include <math.h>
#include <string.h>

static bool is_type(const plb_judge *j, const char *word) { return strstr(j->reference->type, word) != NULL; }

static plb_status say(plb_verdict *v, plb_reason_class kind, const char *code, const char *channel, bool blocks,
                      const char *text, const char *action, plb_error *err) {
  return plb_reason_add(&v->reason, &v->reasons, kind, code, channel, blocks, text, action) == PLB_OK
             ? PLB_OK
             : plb_fail(err, PLB_ENOMEM, "out of memory");
}

static bool is_stated(const plb_compare_options *options, const char *name) {
  for (size_t i = 0; i < options->stated_count; i++) {
    if (strcmp(options->stated[i].name, name) == 0) {
      return true;
    }
  }
  return false;
}

/* Quantiles of the finite samples of a channel. */
static plb_status read_levels(const plb_tracks *t, size_t c, double *low, double *middle, double *high,
                              plb_error *err) {
  double *copy = plb_calloc(t->samples, sizeof *copy);
  size_t n = 0;
  if (copy == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t i = 0; i < t->samples; i++) {
    if (isfinite(t->x[c][i])) {
      copy[n++] = t->x[c][i];
    }
  }
  *low = n > 0 ? plb_quantile(copy, n, 0.005) : NAN;
  *middle = n > 0 ? plb_quantile(copy, n, 0.5) : NAN;
  *high = n > 0 ? plb_quantile(copy, n, 0.995) : NAN;
  free(copy);
  return PLB_OK;
}

plb_status plb_doubt_silence(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, size_t channel,
                             bool connected, bool *said_out, plb_error *err) {
  const plb_reference_channel *ch = &judge->reference->channel[channel];
  double low, middle, high;
  char text[PLB_TEXT_SIZE];
  *said_out = false;
  const plb_status status = read_levels(tracks, channel, &low, &middle, &high, err);
  if (status != PLB_OK) {
    return status;
  }
  if ((is_type(judge, "oxygen-front") || is_type(judge, "oxygen-rear")) && middle > 0.35 && middle < 0.55) {
    plb_text_say(text, sizeof text, "flat at %.2f V: the sensor is not warm, so nothing can be said of it", middle);
    *said_out = true;
    return say(v, PLB_REASON_CONDITIONS, "state-outside", ch->role, true, text,
               "warm the engine up; check the heater's fuse, supply and ground; then repeat", err);
  }
  if (is_type(judge, "hall") && strcmp(ch->unit, "V") == 0 && !connected && fabs(middle) < 0.1 * judge->fit->channel[channel].peak_to_peak) {
    plb_text_say(text, sizeof text,
                 "%s is flat at 0 V: unplugged, an open-collector output has no pull-up and shows nothing", ch->role);
    *said_out = true;
    return say(v, PLB_REASON_CONDITIONS, "unplugged", ch->role, true, text,
               "plug it in and probe from behind; if it is plugged in, say so with --connected", err);
  }
  return PLB_OK;
}

/* One lasting step upwards in a curve that else falls smoothly: [cell]; SIZE_MAX: none. */
static size_t find_jump_up(const float *x, size_t n) {
  float low = x[0], high = x[0];
  for (size_t i = 1; i < n; i++) {
    low = fminf(low, x[i]);
    high = fmaxf(high, x[i]);
  }
  size_t at = SIZE_MAX;
  float most = 0.15F * (high - low);
  for (size_t i = 3; i + 3 < n; i++) {
    const float step = x[i + 2] - x[i - 2];
    if (step > most) {
      most = step;
      at = i;
    }
  }
  if (at == SIZE_MAX || at + 8 >= n) {
    return SIZE_MAX;
  }
  /* it stays up, and falls on from there */
  return x[at + 8] > x[at - 3] + 0.7F * most && x[n - 1] < x[at + 3] ? at : SIZE_MAX;
}

static plb_status doubt_pull_up(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o,
                                plb_error *err) {
  if (!is_type(j, "coolant") || j->reference->choice.spec.kind != PLB_CYCLE_ONCE || o->profile == NULL) {
    return PLB_OK;
  }
  const size_t grid = j->fit->grid, at = find_jump_up(plb_profile_curve(o->profile, 0), grid);
  if (at == SIZE_MAX || find_jump_up(j->fit->channel[0].centre, grid) != SIZE_MAX) {
    return PLB_OK;
  }
  char text[PLB_TEXT_SIZE];
  const double at_s = o->profile->frame->edge_at[at] / t->rate_hz;
  plb_text_say(text, sizeof text,
               "one lasting jump up at %.0f s, then it falls again: the control unit may switch its pull-up, "
               "known-good does not",
               at_s);
  return say(
      v, PLB_REASON_CONDITIONS, "state-outside", j->reference->channel[0].role, true, text,
      "compare the temperature on both sides of the jump with a thermometer; learn good captures that have the jump",
      err);
}

static double mean_above(const plb_judge *j, const plb_outcome *o, size_t c) {
  const float *x = plb_profile_curve(o->profile, c), *centre = j->fit->channel[c].centre;
  double sum = 0.0;
  for (size_t g = 0; g < j->fit->grid; g++) {
    sum += (double)(x[g] - centre[g]);
  }
  return sum / (double)j->fit->grid;
}

/* Relative spread of the swings of the cycles. */
static double unevenness(const plb_profile *p, size_t c) {
  double sum = 0.0, square = 0.0;
  const size_t rows = p->frame->mapped;
  for (size_t r = 0; r < rows; r++) {
    const float *x = plb_frame_curve(p->frame, r, c);
    float low = x[0], high = x[0];
    for (size_t g = 1; g < p->grid; g++) {
      low = fminf(low, x[g]);
      high = fmaxf(high, x[g]);
    }
    sum += (double)(high - low);
    square += (double)(high - low) * (double)(high - low);
  }
  const double mean = sum / (double)rows;
  return mean > 0.0 ? sqrt(fmax(square / (double)rows - mean * mean, 0.0)) / mean : NAN;
}

/* Even and low, and turning no slower: less to compress everywhere, or another engine, oil or battery. Balance is all that is seen. */
static plb_status doubt_compression(plb_verdict *v, const plb_judge *j, const plb_outcome *o, plb_error *err) {
  const plb_cycle_choice *c = &j->reference->choice;
  if (!is_type(j, "starter-current") || c->spec.kind != PLB_CYCLE_REPEAT || o->profile == NULL || o->structural ||
      o->profile->cycles < 5) {
    return PLB_OK;
  }
  const double gain = o->gain[0].gain, rate = o->profile->frame->rate_hz;
  if (mean_above(j, o, 0) > 0.0) { /* a starter that draws more turns a load or has a fault of its own */
    return PLB_OK;
  }
  if (gain > 0.8 || gain < 0.05 || rate < sqrt(c->rate_low_hz * c->rate_high_hz) || unevenness(o->profile, 0) > 0.15) {
    return PLB_OK;
  }
  char text[PLB_TEXT_SIZE];
  plb_text_say(
      text, sizeof text,
      "the humps are even, %.2f of known-good: the balance is good, the level cannot be judged; even is not good",
      gain);
  return say(v, PLB_REASON_CONDITIONS, "load-outside", j->reference->channel[0].role, true, text,
             "measure the compression of one cylinder; note battery voltage, cranking speed and temperature", err);
}

static plb_status doubt_load(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_compare_options *opt,
                             plb_error *err) {
  double low, middle, high;
  if (!is_type(j, "alternator") || is_stated(opt, "load")) {
    return PLB_OK;
  }
  const plb_status status = read_levels(t, 0, &low, &middle, &high, err);
  const double good = j->fit->channel[0].peak_to_peak;
  if (status != PLB_OK || !(high - low < 0.5 * good)) {
    return status;
  }
  const bool idle = high - low < 0.3 * good; /* a weak field leaves more: both are possible there */
  char text[PLB_TEXT_SIZE];
  plb_text_say(text, sizeof text, "ripple of %.0f mV, known-good %.0f mV: without load an open diode hardly shows",
               1e3 * (high - low), 1e3 * good);
  return say(v, PLB_REASON_CONDITIONS, "load-outside", j->reference->channel[0].role, idle, text,
             "put load on (lamps, blower, raised idle) and repeat; if load is on, state it with --condition load=... "
             "and look at the field",
             err);
}

/* Beyond the speeds of the good captures a camshaft that stands early or late by itself may be commanded there. */
static plb_status doubt_timing(plb_verdict *v, const plb_judge *j, const plb_outcome *o, plb_error *err) {
  const plb_cycle_choice *c = &j->reference->choice;
  if (!is_type(j, "cam") || c->spec.kind != PLB_CYCLE_WHEEL || o->profile == NULL || o->structural ||
      j->plan.channels < 2 || o->profile->frame->rate_hz < 1.25 * c->rate_high_hz) {
    return PLB_OK;
  }
  for (size_t k = 0; k < j->plan.channels; k++) {
    const plb_moved m = plb_channel_moved(j, o, k);
    if (m.found) {
      char text[PLB_TEXT_SIZE];
      plb_text_say(text, sizeof text,
                   "%s stands %s by %.3g deg at %.0f/min: with variable timing that is right away from idle",
                   j->reference->channel[k].role, m.share > 0.0 ? "late" : "early", fabs(m.degrees),
                   60.0 * c->spec.revs * o->profile->frame->rate_hz);
      return say(v, PLB_REASON_CONDITIONS, "state-outside", j->reference->channel[k].role, true, text,
                 "compare at hot idle or while cranking, where the timing is parked", err);
    }
  }
  return PLB_OK;
}

plb_status plb_doubt_state(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o,
                           const plb_compare_options *options, plb_error *err) {
  plb_status status = doubt_pull_up(v, judge, tracks, o, err);
  if (status == PLB_OK) {
    status = doubt_compression(v, judge, o, err);
  }
  if (status == PLB_OK) {
    status = doubt_load(v, judge, tracks, options, err);
  }
  return status == PLB_OK ? doubt_timing(v, judge, o, err) : status;
}

/* Cut off inside what the good captures reach: what lies beyond is not seen. */
static bool hides_by_clipping(const plb_judge *j, const plb_tracks *t, size_t c, const plb_reason *r) {
  const plb_reference_channel *ch = &j->reference->channel[c];
  double low, high;
  if (strstr(r->text, "rated range") != NULL) { /* the user said where the instrument ends */
    return true;
  }
  plb_extremes(t->x[c], t->samples, &low, &high);
  const double slack = 0.02 * ch->peak_to_peak;
  return strncmp(r->text, "the top", 7) == 0 ? high < ch->range_high - slack : low > ch->range_low + slack;
}

/*
 * So few steps that the swing of known-good itself would fall into a handful. A signal that is small for its range is coarse too, but its
 * smallness is what is to be told; and an instrument of eight bits with room above the signal is no mistake.
 */
static bool hides_by_steps(const plb_judge *j, const plb_tracks *t, size_t c, const plb_reason *r) {
  static const char only[] = "only ";
  const plb_reference_channel *ch = &j->reference->channel[c];
  double low, high;
  plb_extremes(t->x[c], t->samples, &low, &high);
  const double steps =
      strncmp(r->text, only, sizeof only - 1) == 0 ? strtod(r->text + sizeof only - 1, NULL) : NAN; /* a whole number */
  const double step = (high - low) / steps;
  return step > ch->peak_to_peak / 16.0 && step > 2.0 * ch->step;
}

static bool hides(const plb_judge *j, const plb_tracks *t, size_t c, const plb_reason *r, bool matches) {
  if (strcmp(r->code, "clipped") == 0) {
    return hides_by_clipping(j, t, c, r);
  }
  if (strcmp(r->code, "coarse") == 0) {
    return hides_by_steps(j, t, c, r);
  }
  if (strcmp(r->code, "sparse") == 0) {
    return t->rate_hz < 0.7 * j->reference->connection.rate_needed_hz;
  }
  return strcmp(r->code, "thinned") == 0 || (strcmp(r->code, "uneven") == 0 && !matches);
}

/* How long a cell lasts, against one of a cycle whose cells are all alike: the phases of a short stretch are finer than those of a long one. */
static double cell_length(const plb_cycle_choice *c, size_t g, size_t grid, double rate_hz) {
  const double lasts = plb_span_slope(c, ((double)g + 0.5) / (double)grid) * rate_hz;
  return lasts > 0.0 ? lasts : 1.0;
}

/* The narrowest peak of known-good on either side of the middle of its range [cells of equal length]; grid: none. */
static double narrowest(const float *x, size_t grid, const plb_cycle_choice *choice, double rate_hz) {
  float low = x[0], high = x[0];
  for (size_t g = 1; g < grid; g++) {
    low = fminf(low, x[g]);
    high = fmaxf(high, x[g]);
  }
  const float middle = 0.5F * (low + high), quarter = 0.25F * (high - low);
  double least = (double)grid, length = 0.0;
  size_t begin = 0;
  float furthest = 0.0F;
  for (size_t g = 0; g <= grid; g++) {
    if (g == grid || (g > 0 && (x[g] > middle) != (x[g - 1] > middle))) {
      if (begin > 0 && g < grid && furthest > quarter && length < least) {
        least = length;
      }
      begin = g;
      furthest = 0.0F;
      length = 0.0;
    }
    length += g < grid ? cell_length(choice, g, grid, rate_hz) : 0.0;
    furthest = g < grid ? fmaxf(furthest, fabsf(x[g] - middle)) : 0.0F;
  }
  return least;
}

/* Samples of the good captures that go far beyond the averages over the cells: a peak narrower than a cell. */
static bool reaches_beyond(const plb_judge *j, size_t c) {
  const plb_reference_channel *ch = &j->reference->channel[c];
  const float *x = j->fit->channel[c].centre;
  float low = x[0], high = x[0];
  for (size_t g = 1; g < j->fit->grid; g++) {
    low = fminf(low, x[g]);
    high = fmaxf(high, x[g]);
  }
  const double far = fmax(0.3 * (double)(high - low), 8.0 * ch->noise);
  return ch->range_high - (double)high > far || (double)low - ch->range_low > far;
}

/* A peak of known-good that is wide enough for its good captures and narrower than three samples here reads by luck. */
static plb_status doubt_peaks(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o,
                              plb_error *err) {
  const plb_reference *ref = j->reference;
  if (o->profile == NULL || o->structural || o->profile->frame->unordered || !(o->profile->frame->rate_hz > 0.0) ||
      t->rate_hz > 0.7 * ref->connection.rate_needed_hz) {
    return PLB_OK;
  }
  for (size_t c = 0; c < j->plan.channels; c++) {
    const double cells = reaches_beyond(j, c) ? 1.0
                                              : narrowest(j->fit->channel[c].centre, j->fit->grid, &ref->choice, ref->choice.rate_high_hz);
    const double wide_s = cells / (double)j->fit->grid / o->profile->frame->rate_hz;
    if (wide_s * t->rate_hz < 3.0 && wide_s * ref->connection.rate_needed_hz >= 3.0) {
      char text[PLB_TEXT_SIZE], action[PLB_TEXT_SIZE], wide[64], apart[64];
      plb_say_size(wide, sizeof wide, wide_s, "s");
      plb_say_size(apart, sizeof apart, 1.0 / t->rate_hz, "s");
      plb_text_say(text, sizeof text,
                   "recorded too thinly for peaks: at most %s wide in known-good, one sample every %s", wide, apart);
      plb_text_say(action, sizeof action, "sample at %.3g kHz or more and repeat",
                   ref->connection.rate_needed_hz / 1000.0);
      return say(v, PLB_REASON_RECORDING, "sparse", ref->channel[c].role, true, text, action, err);
    }
  }
  return PLB_OK;
}

/* Coarse steps add to every distance: a trace that still lies well inside is like the good ones; what is smaller than a step is not seen. */
static bool has_margin(const plb_judge *judge, const plb_outcome *o) {
  const plb_calibration *c = &judge->reference->calibration;
  return o->score < 0.9 * fmin(c->limit, c->guard_robust);
}

/* The part of the score that the typical cycle has, in its sections, size and offset; hash and scatter are what steps make of noise. */
static double lasting_score(const plb_judge *j, const plb_outcome *o, size_t c) {
  double most = 0.0;
  for (size_t k = 0; k < j->terms.count; k++) {
    const plb_term *t = &j->terms.term[k];
    if (t->channel == c && (t->kind <= PLB_D_SHAPE || t->kind == PLB_D_GAIN || t->kind == PLB_D_OFFSET)) {
      most = fmax(most, plb_term_weight(t, j->elastic != NULL) * o->d[k] / j->scale[k]);
    }
  }
  return most;
}

/*
 * No finer step would bring the typical cycle back: the distances, which allow for the recorder's own step (distance.c), are far beyond what good
 * captures reach, or the cycle lies outside the good range over a whole section by more than the step besides.
 */
static bool stands_beyond_steps(const plb_judge *j, const plb_outcome *o, size_t c) {
  const plb_fit_channel *ch = &j->fit->channel[c];
  if (o->profile == NULL || o->word != PLB_DEPARTS || !ch->judge_raw) {
    return false;
  }
  if (!o->structural && lasting_score(j, o, c) > 1.5 * fmax(j->reference->calibration.limit, j->reference->calibration.guard)) {
    return true;
  }
  const plb_frame *f = o->profile->frame;
  const double step = f != NULL && f->step != NULL ? f->step[c] : 0.0;
  const float *x = plb_profile_curve(o->profile, c);
  bool beyond = false;
  for (size_t b = 0; b < j->plan.slices.bands && !beyond && step > 0.0; b++) {
    beyond = j->plan.slices.channel[b] == c;
    for (size_t g = j->plan.slices.from[b]; beyond && g < j->plan.slices.to[b]; g++) {
      beyond = fabs((double)x[g] - (double)ch->centre[g]) > 3.0 * (double)ch->half[g] + step;
    }
  }
  return beyond;
}

plb_status plb_doubt_recording(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o,
                               plb_error *err) {
  const bool matches = o->profile != NULL && o->word == PLB_AGREES;
  for (size_t i = 0; i < v->fitnesses; i++) {
    const plb_reason *r = &v->fitness[i];
    size_t c = 0;
    while (c + 1 < tracks->channels && strcmp(r->channel, tracks->role[c]) != 0) {
      c++;
    }
    if (!r->blocks && hides(judge, tracks, c, r, matches)) {
      char text[PLB_TEXT_SIZE];
      const bool gap = strcmp(r->code, "uneven") == 0; /* a recorder that paused breaks the cycles by itself */
      const bool caution =
          strcmp(r->code, "coarse") == 0 && ((matches && has_margin(judge, o)) || stands_beyond_steps(judge, o, c));
      plb_text_say(text, sizeof text, "%s%s%s", r->channel, r->channel[0] != '\0' ? ": " : "", r->text);
      const plb_status status =
          say(v, PLB_REASON_RECORDING, r->code, r->channel, (!o->structural || gap) && !caution, text, r->action, err);
      if (status != PLB_OK) {
        return status;
      }
    }
  }
  return doubt_peaks(v, judge, tracks, o, err);
}

/* Short bursts to both sides in some of the cycles, in a few places of each. */
static bool has_bursts(const plb_judge *j, const plb_outcome *o, size_t c, size_t *cycles_out) {
  const plb_frame *f = o->profile->frame;
  const plb_fit_channel *ch = &j->fit->channel[c];
  const float *median = plb_profile_curve(o->profile, c);
  size_t above = 0, below = 0, cells = 0;
  *cycles_out = 0;
  for (size_t r = 0; r < f->mapped; r++) {
    const float *x = plb_frame_curve(f, r, c);
    bool here = false;
    for (size_t g = 0; g < f->grid; g++) {
      const double d = (double)x[g] - (double)median[g],
                   slope = fabs((double)median[g + 1 < f->grid ? g + 1 : g] - (double)median[g > 0 ? g - 1 : 0]);
      const double reach =
          8.0 * ((double)ch->within[g] + ch->floor) + 0.03 * ch->peak_to_peak + 2.0 * slope; /* edges jitter */
      above += d > reach;
      below += d < -reach;
      here = here || fabs(d) > reach;
      cells++;
    }
    *cycles_out += here;
  }
  return above > 0 && below > 0 && (above + below) < cells / 5;
}

/* Pulses that belong to no mark, in some of the cycles. */
static bool has_extra(const plb_outcome *o, size_t *cycles_out) {
  const plb_frame *f = o->profile->frame;
  *cycles_out = 0;
  for (size_t i = 0; i < f->found; i++) {
    *cycles_out += f->cycle[i].state == PLB_MAPPED && f->cycle[i].surplus > 0;
  }
  return *cycles_out > 0 && (double)*cycles_out < 0.9 * (double)f->found;
}

/* Above known-good nearly everywhere, by more than the good captures vary. */
static bool sits_above(const plb_judge *j, const plb_outcome *o, size_t c) {
  const float *x = plb_profile_curve(o->profile, c), *centre = j->fit->channel[c].centre,
              *half = j->fit->channel[c].half;
  size_t above = 0;
  for (size_t g = 0; g < j->fit->grid; g++) {
    above += x[g] > centre[g] + half[g];
  }
  return (double)above > 0.7 * (double)j->fit->grid;
}

static plb_status say_wrong_channel(plb_verdict *v, const char *role, const char *text, plb_error *err) {
  return say(v, PLB_REASON_MEASURING, "wrong-channel", role, false, text,
             "check that the lead is on the right wire and that the right column was chosen with --channel", err);
}

/*
 * Far less alike than the least alike cycle of the good captures. Sorted levels always rise and are alike by that alone: there half of it tells.
 * So does less where the size is another one as well and both together are far beyond anything good: a part that fails mostly keeps one of them.
 */
static bool is_unlike(const plb_judge *j, const plb_outcome *o) {
  static const double far = 0.3, size = 0.75, beyond = 20.0;
  const plb_cycle_choice *choice = &j->reference->choice;
  const plb_calibration *k = &j->reference->calibration;
  const double r = plb_outcome_frame(o)->correlation, less = choice->correlation_low - r;
  const double limit = choice->spec.kind == PLB_CYCLE_STEADY ? 0.5 * far : far;
  if (r < fmax(0.5, choice->correlation_low - limit)) {
    return true;
  }
  const double gain = o->profile != NULL ? fabs(o->gain[choice->channel].gain) : (double)NAN;
  return less > 0.4 * far && choice->spec.kind != PLB_CYCLE_WHEEL && (gain < size || gain > 1.0 / size) && o->score > beyond * fmax(k->limit, k->guard);
}

/*
 * Unlike known-good, or not to be laid over it at all; or hardly any of known-good's swing, or many times as much (teeth follow the speed and
 * may).
 */
static bool is_another_shape(const plb_judge *j, const plb_outcome *o) {
  const plb_frame *frame = plb_outcome_frame(o);
  const plb_cycle_choice *choice = &j->reference->choice;
  if (frame->mapped == 0 ? !frame->unordered : is_unlike(j, o)) {
    return true;
  }
  bool other = false;
  for (size_t c = 0; c < j->plan.channels && o->profile != NULL && choice->spec.kind != PLB_CYCLE_WHEEL; c++) {
    const double gain = fabs(o->gain[c].gain);
    other = other || !(gain > 0.1 && gain < 10.0);
  }
  return other;
}

/*
 * All of the trace lies where known-good never is. Sorted levels of a steady signal hardly swing, so that any fault moves them by more than that:
 * there it takes a good part of the level itself.
 */
static bool lies_elsewhere(const plb_judge *j, size_t c, double low, double high) {
  const plb_reference_channel *ch = &j->reference->channel[c];
  const bool steady = j->reference->choice.spec.kind == PLB_CYCLE_STEADY;
  const double swing = ch->range_high - ch->range_low, level = 0.5 * fabs(ch->range_high + ch->range_low);
  const double apart = fmax(0.5 * swing, steady ? 0.4 * level : 0.0);
  return high < ch->range_low - apart || low > ch->range_high + apart;
}

/*
 * Known-good swings to both sides of nought, as a coil that feels teeth does, and all of this stays on one side of it, as switched levels do
 * (*common practice*), at another shape as well: what lifts a right signal leaves its shape.
 */
static bool is_one_sided(const plb_judge *j, const plb_outcome *o, size_t c, double low, double high) {
  const plb_reference_channel *ch = &j->reference->channel[c];
  const plb_cycle_choice *choice = &j->reference->choice;
  const double good = ch->range_high - ch->range_low, least = 0.25 * good, rest = 0.05 * (high - low);
  return c == choice->channel && choice->spec.kind != PLB_CYCLE_STEADY && ch->range_low < -least && ch->range_high > least &&
         (low > -rest || high < rest) && plb_outcome_frame(o)->correlation < choice->correlation_low - 0.03;
}

/* As like known-good as its good captures and about as large: a curve that has only moved is the right circuit's. */
static bool is_like(const plb_judge *j, const plb_outcome *o, size_t c) {
  const plb_cycle_choice *choice = &j->reference->choice;
  const double gain = o->profile != NULL ? o->gain[c].gain : (double)NAN;
  return choice->spec.kind != PLB_CYCLE_STEADY && choice->spec.kind != PLB_CYCLE_ONCE && o->profile != NULL &&
         plb_outcome_frame(o)->correlation > choice->correlation_low - 0.1 && gain > 0.4 && gain < 2.5;
}

/* Another shape, or a level where known-good never is: *common practice*, prove the column and the wire before the part. */
static plb_status doubt_channel(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o, bool *foreign,
                                plb_error *err) {
  *foreign = o->profile == NULL || is_another_shape(j, o);
  if (*foreign) {
    return say_wrong_channel(v, j->reference->channel[j->reference->choice.channel].role,
                             "hardly anything of known-good is in this trace: it may be another circuit or another column", err);
  }
  for (size_t c = 0; c < j->plan.channels; c++) {
    const plb_reference_channel *ch = &j->reference->channel[c];
    double low, middle, high;
    const plb_status status = read_levels(t, c, &low, &middle, &high, err);
    if (status != PLB_OK) {
      return status;
    }
    char text[PLB_TEXT_SIZE];
    if (is_one_sided(j, o, c, low, high)) {
      plb_text_say(text, sizeof text, "%s stays on one side of nought, known-good swings to both: it may be another circuit or another column",
                   ch->role);
      return say_wrong_channel(v, ch->role, text, err);
    }
    if (lies_elsewhere(j, c, low, high) && !is_like(j, o, c)) {
      plb_text_say(text, sizeof text,
                   "%s lies between %.4g and %.4g %s, known-good between %.4g and %.4g: it may be another circuit or another column",
                   ch->role, low, high, ch->unit, ch->range_low, ch->range_high);
      return say_wrong_channel(v, ch->role, text, err);
    }
  }
  return PLB_OK;
}

static const char *cycle_role(const plb_judge *j) { return j->reference->channel[j->reference->choice.channel].role; }

/* All of the trace lies where known-good never is or on one side of nought, or it swings many times as far. */
static plb_status has_other_levels(bool *out, const plb_judge *j, const plb_outcome *o, const plb_tracks *t, size_t c, plb_error *err) {
  const plb_reference_channel *ch = &j->reference->channel[c];
  double low, middle, high;
  const plb_status status = read_levels(t, c, &low, &middle, &high, err);
  *out = lies_elsewhere(j, c, low, high) || is_one_sided(j, o, c, low, high) || high - low > 10.0 * ch->peak_to_peak;
  return status;
}

enum { LEVELS = 3, STARTS = 48, LOOK_AT = 1024 };

/* Seconds that each cell lasts at a rate: those of stretches that keep their seconds, and a fair share of the rest for the others. */
static void cell_seconds(double *out, const plb_cycle_choice *c, size_t grid, double rate_hz) {
  double known = 0.0;
  size_t others = 0;
  for (size_t g = 0; g < grid; g++) {
    const double slope = c->spec.kind == PLB_CYCLE_EDGE ? plb_span_slope(c, ((double)g + 0.5) / (double)grid) : (double)NAN;
    out[g] = slope > 0.0 ? slope / (double)grid : 0.0;
    known += out[g];
    others += !(slope > 0.0);
  }
  for (size_t g = 0; g < grid && others > 0; g++) {
    out[g] = out[g] > 0.0 ? out[g] : fmax(1.0 / rate_hz - known, 0.0) / (double)others;
  }
}

/* For how much of the time the trace lies above a quarter, a half and three quarters of its own swing. */
static void time_above(double share[LEVELS], const float *x, size_t n) {
  float low = INFINITY, high = -INFINITY;
  for (size_t i = 0; i < n; i++) {
    low = fminf(low, x[i]);
    high = fmaxf(high, x[i]);
  }
  for (size_t k = 0; k < LEVELS; k++) {
    const float level = low + 0.25F * (float)(k + 1) * (high - low);
    size_t above = 0;
    for (size_t i = 0; i < n; i++) {
      above += x[i] > level;
    }
    share[k] = (double)above / (double)n;
  }
}

/* Known-good as it would be recorded from `start` cycles on, in samples `step_s` apart. */
static void record_known_good(float *out, const float *centre, const double *lasts_s, size_t grid, double start, double step_s) {
  size_t g = (size_t)(start * (double)grid) % grid;
  double left = lasts_s[g];
  for (size_t i = 0; i < LOOK_AT; i++) {
    out[i] = centre[g];
    double go = step_s;
    for (size_t turned = 0; go >= left && turned < 64 * grid; turned++) {
      go -= left;
      g = g + 1 < grid ? g + 1 : 0;
      left = lasts_s[g];
    }
    left -= go;
  }
}

/*
 * A piece of known-good, wherever it begins and at whatever of the permitted rates, spends its time at the levels that some piece of the good
 * captures' own length spends it at. Three tenths of the time elsewhere is more than a part that is worn or a pulse that is lost makes of it;
 * two thirds of that are enough where it repeats too fast as well. @param out  share of the time spent at other levels, for the likest piece
 */
static plb_status time_elsewhere(double *out, const plb_judge *j, const plb_tracks *t, plb_error *err) {
  const plb_cycle_choice *c = &j->reference->choice;
  const size_t grid = j->fit->grid;
  *out = 0.0;
  if (c->spec.kind == PLB_CYCLE_STEADY || c->spec.kind == PLB_CYCLE_AGAINST || c->spec.kind == PLB_CYCLE_ONCE || !(c->rate_low_hz > 0.0)) {
    return PLB_OK;
  }
  double *lasts_s = plb_calloc(grid, sizeof *lasts_s);
  float *seen = plb_calloc(t->samples + LOOK_AT, sizeof *seen);
  if (lasts_s == NULL || seen == NULL) {
    free(lasts_s);
    free(seen);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  float *good = seen + t->samples;
  size_t n = 0;
  for (size_t i = 0; i < t->samples; i++) {
    if (isfinite(t->x[c->channel][i])) {
      seen[n++] = (float)t->x[c->channel][i];
    }
  }
  double here[LEVELS], there[LEVELS], nearest = INFINITY;
  time_above(here, seen, n > 0 ? n : 1);
  for (size_t k = 0; k < 3; k++) {
    const double rate = c->rate_low_hz * pow(c->rate_high_hz / c->rate_low_hz, 0.5 * (double)k);
    cell_seconds(lasts_s, c, grid, rate);
    for (size_t s = 0; s < STARTS; s++) {
      record_known_good(good, j->fit->channel[c->channel].centre, lasts_s, grid, (double)s / STARTS,
                        (double)t->samples / t->rate_hz / LOOK_AT);
      time_above(there, good, LOOK_AT);
      double apart = 0.0;
      for (size_t l = 0; l < LEVELS; l++) {
        apart = fmax(apart, fabs(here[l] - there[l]));
      }
      nearest = fmin(nearest, apart);
    }
  }
  *out = n > 0 ? nearest : 0.0;
  free(lasts_s);
  free(seen);
  return PLB_OK;
}

static plb_status say_unlike(plb_verdict *v, const plb_judge *judge, plb_error *err) {
  return say_wrong_channel(v, cycle_role(judge), "what is here does not look like known-good: it may be another circuit or another column", err);
}

/*
 * Neither the rate nor, laid over it, the trace is known-good's: another speed explains the first and not the second. A wheel's size says
 * nothing of it, teeth that are not known-good's do; a trace of too few samples says nothing either.
 */
static bool is_neither_rate_nor_trace(const plb_judge *j, const plb_outcome *o, const plb_tracks *t) {
  const plb_cycle_choice *c = &j->reference->choice;
  const plb_calibration *k = &j->reference->calibration;
  const double rate = plb_outcome_frame(o)->rate_hz;
  return (c->spec.kind != PLB_CYCLE_WHEEL || o->structural) && o->profile != NULL && t->rate_hz > 0.5 * j->reference->connection.rate_needed_hz &&
         (rate > 1.5 * c->rate_high_hz || rate < c->rate_low_hz / 1.5) && o->score > 2.0 * fmax(k->limit, k->guard);
}

plb_status plb_doubt_frame(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, const plb_tracks *tracks, plb_error *err) {
  const plb_cycle_choice *c = &judge->reference->choice;
  const double rate = plb_outcome_frame(o)->rate_hz, far = 4.0;
  bool other = false;
  const plb_status status = has_other_levels(&other, judge, o, tracks, c->channel, err);
  other = other || is_another_shape(judge, o) || is_neither_rate_nor_trace(judge, o, tracks) ||
          (isfinite(rate) && c->rate_low_hz > 0.0 && (rate > far * c->rate_high_hz || rate < c->rate_low_hz / far));
  return status != PLB_OK || !other ? status : say_unlike(v, judge, err);
}

plb_status plb_doubt_short(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, const plb_tracks *tracks, bool no_room, plb_error *err) {
  const plb_cycle_choice *c = &judge->reference->choice;
  const plb_frame *frame = plb_outcome_frame(o);
  if (!no_room) {
    return plb_doubt_frame(v, judge, o, tracks, err);
  }
  /* without room for known-good's cycles their absence says nothing, but levels do, and so does a signal that repeats much faster */
  bool other = false;
  double elsewhere = 0.0;
  plb_status status = has_other_levels(&other, judge, o, tracks, c->channel, err);
  if (status == PLB_OK && !other) {
    status = time_elsewhere(&elsewhere, judge, tracks, err);
  }
  /* so short a piece turns no faster than known-good, so that even what grows with speed reaches no further */
  const plb_reference_channel *ch = &judge->reference->channel[c->channel];
  double low, high;
  plb_extremes(tracks->x[c->channel], tracks->samples, &low, &high);
  other = other || high - low > 2.0 * (ch->range_high - ch->range_low);
  const bool fast = frame->structure && isfinite(frame->rate_hz) && frame->rate_hz > 2.0 * c->rate_high_hz;
  other = other || elsewhere > (fast ? 0.2 : 0.3);
  return status != PLB_OK || !other ? status : say_unlike(v, judge, err);
}

/* A cheaper check than another circuit has been named already. */
static bool is_explained(const plb_verdict *v) {
  static const char *const code[] = {"wrong-channel", "factor", "no-signal", "unplugged", "lead-inverted", "ac-coupled", "clamp"};
  bool explained = false;
  for (size_t i = 0; i < v->reasons; i++) {
    for (size_t k = 0; k < sizeof code / sizeof *code; k++) {
      explained = explained || strcmp(v->reason[i].code, code[k]) == 0;
    }
  }
  return explained;
}

plb_status plb_doubt_levels(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o, plb_error *err) {
  bool other = false;
  plb_status status = PLB_OK;
  for (size_t c = 0; c < judge->plan.channels && status == PLB_OK && !other && v->reasons > 0 && !is_explained(v); c++) {
    status = has_other_levels(&other, judge, o, tracks, c, err);
    other = other && !is_like(judge, o, c);
    if (status == PLB_OK && other) {
      status = say_wrong_channel(v, judge->reference->channel[c].role,
                                 "the levels are not those of known-good: it may be another circuit or another column", err);
    }
  }
  return status;
}

plb_status plb_doubt_small(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, size_t channel, double swing,
                           plb_error *err) {
  char text[PLB_TEXT_SIZE], size[64];
  if (!(swing > 20.0 * plb_sample_noise(tracks->x[channel], tracks->samples))) {
    return PLB_OK;
  }
  plb_say_size(size, sizeof size, swing, judge->reference->channel[channel].unit);
  plb_text_say(text, sizeof text, "%s swings by %s, which is more than noise and not known-good: it may be another circuit or another column",
               judge->reference->channel[channel].role, size);
  return say_wrong_channel(v, judge->reference->channel[channel].role, text, err);
}

plb_status plb_doubt_circuit(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o, plb_error *err) {
  bool foreign = false;
  return doubt_channel(v, judge, tracks, o, &foreign, err);
}

plb_status plb_doubt_beside(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o,
                            plb_error *err) {
  char text[PLB_TEXT_SIZE];
  plb_status status = PLB_OK;
  bool foreign = false;
  status = doubt_channel(v, judge, tracks, o, &foreign, err);
  if (status != PLB_OK || foreign) {
    return status;
  }
  if (o->profile->frame->unordered) {
    return PLB_OK;
  }
  for (size_t c = 0; c < judge->plan.channels && status == PLB_OK; c++) {
    const plb_reference_channel *ch = &judge->reference->channel[c];
    const size_t offset = plb_term_find(&judge->terms, PLB_D_OFFSET, c);
    const double score = offset != SIZE_MAX ? plb_term_score(judge, o, offset) : NAN;
    const double seen = mean_above(judge, o, c);
    size_t cycles = 0;
    const bool raised =
        plb_word_for_score(&judge->reference->calibration, score) != PLB_AGREES || sits_above(judge, o, c);
    if (strcmp(ch->unit, "V") == 0 && seen > 0.0 && raised) {
      plb_text_say(text, sizeof text, "%s sits %.3g V high: the ground clip may be far from the sensor", ch->role,
                   seen);
      status = say(v, PLB_REASON_MEASURING, "far-ground", ch->role, false, text,
                   "clip the ground at the sensor's own ground and repeat; what stays is the circuit's ground", err);
    }
    if (status == PLB_OK &&
        (has_bursts(judge, o, c, &cycles) || (c == judge->reference->choice.channel && has_extra(o, &cycles)))) {
      plb_text_say(text, sizeof text,
                   "%s has short bursts or extra pulses in %zu of %zu cycles: the test lead may pick them up", ch->role,
                   cycles, o->profile->frame->mapped);
      status =
          say(v, PLB_REASON_MEASURING, "pick-up", ch->role, false, text,
              "move the test lead away from ignition leads and motors and repeat; what stays is in the harness", err);
    }
  }
  return status;
}
