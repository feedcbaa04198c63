#include "capture/capture.h"
#include "compare/connect.h"
#include "compare/doubt.h"
#include "compare/explain.h"
#include "compare/standard.h"
#include <math.h>
#include <string.h>

static const double range_slack = 1.5;   /* an unstated speed range reaches this much beyond the good captures */
static const double far_too_thin = 0.15; /* below this share of the good captures' samples nothing is judged */
static const double silent_share = 0.1;  /* below this share of the known-good's peak-to-peak there is no signal */

static plb_status block(plb_verdict *v, plb_reason_class kind, const char *code, const char *channel, const char *text, const char *action,
                        plb_error *err) {
  v->word = PLB_UNJUDGED;
  return plb_reason_add(&v->reason, &v->reasons, kind, code, channel, true, text, action) == PLB_OK
             ? PLB_OK
             : plb_fail(err, PLB_ENOMEM, "out of memory");
}

static bool is_blocked(const plb_verdict *v) {
  bool blocked = false;
  for (size_t i = 0; i < v->reasons; i++) {
    blocked = blocked || v->reason[i].blocks;
  }
  for (size_t i = 0; i < v->fitnesses; i++) {
    blocked = blocked || v->fitness[i].blocks;
  }
  return blocked;
}

static void describe(plb_verdict *v, const plb_reference *r, const plb_capture *capture, const plb_compare_options *opt) {
  const plb_calibration *c = &r->calibration;
  plb_text_say(v->reference.selector, sizeof v->reference.selector, "%s", r->name);
  plb_text_say(v->reference.title, sizeof v->reference.title, "%s", r->title != NULL ? r->title : r->name);
  plb_text_copy(v->reference.id, sizeof v->reference.id, r->id);
  plb_text_copy(v->reference.sha256, sizeof v->reference.sha256, r->sha256);
  plb_text_say(v->reference.status, sizeof v->reference.status, "%s", opt->reference_status != NULL ? opt->reference_status : "file");
  plb_text_say(v->reference.path, sizeof v->reference.path, "%s", opt->reference_path != NULL ? opt->reference_path : "");
  plb_text_copy(v->reference.odd, sizeof v->reference.odd, c->odd);
  plb_cycle_spec_format(&r->choice.spec, v->reference.cycle, sizeof v->reference.cycle);
  v->reference.version = r->version;
  v->reference.provenance = r->provenance;
  v->reference.exemplars = (unsigned)r->exemplars;
  v->reference.groups_stated = c->groups_stated;
  v->reference.one_group = c->one_group;
  v->reference.groups = c->one_group ? 1 : c->groups_stated ? c->independent : 0;
  plb_text_copy(v->capture.path, sizeof v->capture.path, plb_capture_path(capture));
  plb_text_copy(v->capture.sha256, sizeof v->capture.sha256, plb_capture_sha256(capture));
  v->capture.rate_hz = plb_capture_rate_hz(capture);
  v->capture.samples = plb_capture_samples(capture);
  plb_text_copy(v->cycles.unit_name, sizeof v->cycles.unit_name, plb_unit_of_cycle(r, 1));
  v->landmark_phase_first = r->choice.landmarks > 0 ? r->choice.landmark[0].phase : NAN;
  plb_explain_along(v, r);
}

static plb_status take_applied(plb_verdict *v, const plb_capture *capture, plb_error *err) {
  const size_t n = plb_capture_applieds(capture);
  v->applied = plb_calloc(n, sizeof *v->applied);
  if (v->applied == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (; v->applieds < n; v->applieds++) {
    plb_text_copy(v->applied[v->applieds], PLB_TEXT_SIZE, plb_capture_applied(capture, v->applieds));
  }
  return PLB_OK;
}

static void promise(plb_verdict *v, const plb_calibration *c) {
  if (v->reference.provenance == PLB_STANDARD) {
    v->limit = v->guard = v->guard_robust = v->promise = v->promise_upper90 = NAN;
    plb_text_say(v->promise_text, sizeof v->promise_text, "none: judged by the limits of a standard, no good captures stand behind it");
    return;
  }
  v->limit = c->limit;
  v->guard = c->guard;
  v->guard_robust = c->guard_robust;
  v->promise = c->promise;
  v->promise_upper90 = c->promise_upper90;
  char who[PLB_TEXT_SIZE];
  if (c->one_group) {
    plb_text_say(who, sizeof who, "%u good captures of one vehicle only", c->independent);
  } else if (c->groups_stated) {
    plb_text_say(who, sizeof who, "good captures of %u vehicles or sessions%s", c->independent, c->independent == 2 ? " only" : "");
  } else {
    plb_text_say(who, sizeof who, "%u good captures, groups not stated", c->independent);
  }
  plb_text_say(v->promise_text, sizeof v->promise_text,
               "%s: about 1 healthy one in %.0f may still be called not normal (by leave-one-out, for captures like these)", who,
               1.0 / c->promise);
}

static double p_value(const plb_reference *r, double score) {
  /* Groups speak with their least usual capture, as in the limit. */
  size_t n = 0, above = 0;
  for (size_t i = 0; i < r->exemplars; i++) {
    double worst = r->exemplar[i].held_out;
    bool first = true;
    for (size_t k = 0; r->calibration.groups_stated && !r->calibration.one_group && k < r->exemplars; k++) {
      if (strcmp(r->exemplar[k].group, r->exemplar[i].group) == 0) {
        first = first && k >= i;
        worst = fmax(worst, r->exemplar[k].held_out);
      }
    }
    n += first;
    above += first && worst >= score;
  }
  return (1.0 + (double)above) / ((double)n + 1.0);
}

/* Half a per cent of the samples on either side are left out, so that one spike is no signal. */
static double robust_swing(const plb_tracks *t, size_t c) {
  double *copy = plb_calloc(t->samples, sizeof *copy);
  if (copy == NULL) {
    return NAN;
  }
  size_t n = 0;
  for (size_t i = 0; i < t->samples; i++) {
    if (isfinite(t->x[c][i])) {
      copy[n++] = t->x[c][i];
    }
  }
  const double high = plb_quantile(copy, n, 0.995), low = plb_quantile(copy, n, 0.005);
  free(copy);
  return n > 0 ? high - low : 0.0;
}

static plb_status name_mistake(plb_verdict *v, const plb_judge *j, const plb_mistake *m, plb_error *err);

/* Hardly any signal may be all of it, seen through a factor that was forgotten. */
static plb_status say_small_by_factor(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *seen, bool *said,
                                      plb_error *err) {
  plb_mistake m = {0};
  plb_status status = plb_mistake_find(&m, j, t, seen, err);
  const bool factor = status == PLB_OK && m.found && strcmp(m.code, "factor") == 0;
  *said = factor && m.sure;
  if (factor) { /* not sure: said beside */
    status = name_mistake(v, j, &m, err);
  }
  plb_outcome_free(m.undone);
  return status;
}

static plb_status say_no_signal(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *seen, size_t channel,
                                const plb_compare_options *o, plb_error *err) {
  bool said = false;
  plb_status status = say_small_by_factor(v, j, t, seen, &said, err);
  if (status != PLB_OK || said) {
    return status;
  }
  status = plb_doubt_silence(v, j, t, channel, o->connected, &said, err);
  if (status != PLB_OK || said) {
    v->word = PLB_UNJUDGED;
    return status;
  }
  const char *role = j->reference->channel[channel].role;
  const bool only = j->plan.channels == 1;
  char text[PLB_TEXT_SIZE];
  plb_text_say(text, sizeof text, only ? "no signal, prove the connection" : "no signal on %s, prove the connection", role);
  if (!o->connected) {
    const plb_status blocked =
        block(v, PLB_REASON_MEASURING, "no-signal", role, text,
              "check lead, probe, ground clip and connector with a known signal; if a signal must be there, say so with --connected", err);
    return blocked == PLB_OK ? plb_doubt_small(v, j, t, channel, robust_swing(t, channel), err) : blocked;
  }
  plb_finding *f = plb_finding_add(v);
  if (f == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  v->word = PLB_DEPARTS;
  f->kind = PLB_FINDING_STRUCTURAL;
  f->score = PLB_STRUCTURAL_STEP;
  f->pattern = PLB_LASTING;
  plb_text_copy(f->channel, sizeof f->channel, role);
  plb_text_copy(f->band, sizeof f->band, "signal");
  plb_text_copy(f->direction, sizeof f->direction, "missing");
  plb_text_say(f->text, sizeof f->text, "the signal is missing although the circuit is connected");
  plb_advise(f, j->reference, NULL);
  return plb_doubt_small(v, j, t, channel, robust_swing(t, channel), err);
}

/* Nothing could be laid over the phase axis although there is a signal: evidence, not a reason to keep silent. */
static plb_status say_no_cycles(plb_verdict *v, const plb_judge *j, const plb_frame *frame, plb_error *err) {
  plb_finding *f = plb_finding_add(v);
  if (f == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  const char *unit = plb_unit_of_cycle(j->reference, 1);
  v->word = PLB_DEPARTS;
  v->score = PLB_STRUCTURAL_STEP;
  f->kind = PLB_FINDING_STRUCTURAL;
  f->score = PLB_STRUCTURAL_STEP;
  f->pattern = PLB_LASTING;
  f->count = f->of = (unsigned)frame->found;
  plb_text_copy(f->channel, sizeof f->channel, j->reference->channel[j->reference->choice.channel].role);
  plb_text_copy(f->band, sizeof f->band, "cycle");
  plb_text_copy(f->direction, sizeof f->direction, "shape");
  if (frame->found > 0) {
    plb_text_say(f->text, sizeof f->text, "none of %zu %s can be laid over known-good: %s", frame->found,
                 plb_unit_of_cycle(j->reference, (unsigned)frame->found), plb_why_unmapped((size_t)frame->cycle[0].state));
  } else {
    plb_text_say(f->text, sizeof f->text, "there is a signal, but no whole %s of the known-good in it", unit);
  }
  plb_advise(f, j->reference, NULL);
  return PLB_OK;
}

/*
 * Is the stated speed one of these cycles? A wheel's turns are the speed; of other cycles only a frequency speaks: how many of them an engine
 * makes in a turn is not known.
 */
static bool is_rate(const plb_reference *r, const plb_condition *c) {
  const size_t length = strlen(c->unit);
  return c->stated && strcmp(c->name, "speed") == 0 &&
         (r->choice.spec.kind == PLB_CYCLE_WHEEL || (length >= 2 && strcmp(c->unit + length - 2, "Hz") == 0));
}

/* Cycles per second permitted: the range stated for the reference, else the good captures' with slack on both sides. @return it is stated */
static bool permitted_rate(const plb_reference *r, double *low, double *high) {
  bool stated = false;
  *low = r->choice.rate_low_hz / range_slack;
  *high = r->choice.rate_high_hz * range_slack;
  for (size_t i = 0; i < r->conditions; i++) {
    const plb_condition *c = &r->condition[i];
    double from, to;
    if (is_rate(r, c) && plb_unit_convert(c->low, c->unit[0] != '\0' ? c->unit : "/min", "Hz", &from) &&
        plb_unit_convert(c->high, c->unit[0] != '\0' ? c->unit : "/min", "Hz", &to)) {
      const double revs = r->choice.spec.kind == PLB_CYCLE_WHEEL ? r->choice.spec.revs : 1.0;
      *low = from / revs;
      *high = to / revs;
      stated = true;
    }
  }
  return stated;
}

/* A rate is believed only from cycles that could be laid over: a wrong channel has no speed. */
static plb_status check_speed(plb_verdict *v, const plb_judge *j, const plb_frame *frame, plb_error *err) {
  const plb_reference *r = j->reference;
  double low, high;
  const bool stated = permitted_rate(r, &low, &high);
  if (r->choice.spec.kind == PLB_CYCLE_ONCE || frame->mapped == 0 || !isfinite(frame->rate_hz) || (frame->rate_hz >= low && frame->rate_hz <= high)) {
    return PLB_OK;
  }
  char text[PLB_TEXT_SIZE], action[PLB_TEXT_SIZE];
  const double from = stated ? low : r->choice.rate_low_hz, to = stated ? high : r->choice.rate_high_hz;
  if (r->choice.spec.kind == PLB_CYCLE_WHEEL) {
    const double per_min = 60.0 * r->choice.spec.revs;
    plb_text_say(text, sizeof text, "speed outside: %.0f/min, the known-good speaks for %.0f to %.0f/min", frame->rate_hz * per_min,
                 from * per_min, to * per_min);
  } else {
    plb_text_say(text, sizeof text, "speed outside: %.4g cycles/s, the known-good speaks for %.4g to %.4g", frame->rate_hz, from, to);
  }
  plb_text_say(action, sizeof action, "capture again at the known-good's speed, or learn a known-good at this one");
  return block(v, PLB_REASON_CONDITIONS, "speed-outside", r->channel[r->choice.channel].role, text, action, err);
}

static plb_status say_short(plb_verdict *v, const plb_judge *j, const plb_frame *frame, plb_error *err) {
  char text[PLB_TEXT_SIZE];
  plb_text_say(text, sizeof text, "too short: %zu whole %s, at least 2 are needed", frame->found,
               plb_unit_of_cycle(j->reference, (unsigned)frame->found));
  return block(v, PLB_REASON_RECORDING, "short", j->reference->channel[j->reference->choice.channel].role, text, "record longer, at least ten cycles", err);
}

/* Samples a second that are there, as a share of what the good captures have at least. */
static double recorded_share(const plb_judge *j, const plb_tracks *t) {
  const double needed = j->reference->connection.rate_needed_hz;
  size_t finite = 0;
  for (size_t i = 0; i < t->samples; i++) {
    finite += isfinite(t->x[j->reference->choice.channel][i]) != 0;
  }
  return needed > 0.0 ? t->rate_hz * (double)finite / (double)t->samples / needed : 1.0;
}

static plb_status say_thin(plb_verdict *v, const plb_judge *j, const plb_tracks *t, plb_error *err) {
  const double needed = j->reference->connection.rate_needed_hz;
  char text[PLB_TEXT_SIZE], action[PLB_TEXT_SIZE];
  plb_text_say(text, sizeof text, "recorded too thinly for peaks and edges: %.4g kHz, the good captures have %.4g kHz",
               recorded_share(j, t) * needed / 1000.0, needed / 1000.0);
  plb_text_say(action, sizeof action, "sample at %.4g kHz or more and repeat", needed / 1000.0);
  return block(v, PLB_REASON_RECORDING, "sparse", j->reference->channel[j->reference->choice.channel].role, text, action, err);
}

/* Slower cycles need fewer samples a second. A rate below all that is permitted may be what is folded down, and excuses nothing. */
static double slower_than_good(const plb_judge *j, const plb_outcome *o) {
  const double most = j->reference->choice.rate_high_hz;
  double low, high;
  (void)permitted_rate(j->reference, &low, &high);
  const double rate = fmax(plb_outcome_frame(o)->rate_hz, low);
  return o->profile != NULL && isfinite(rate) && most > 0.0 ? fmin(rate / most, 1.0) : 1.0;
}

static bool has_reason(const plb_verdict *v, const char *code) {
  bool has = false;
  for (size_t i = 0; i < v->reasons; i++) {
    has = has || strcmp(v->reason[i].code, code) == 0;
  }
  return has;
}

/* So few samples that what lies between them folds down into shapes of its own: neither a match nor a difference says anything. */
static bool is_far_too_thin(const plb_judge *j, const plb_tracks *t, const plb_outcome *o) {
  return j->reference->choice.spec.kind != PLB_CYCLE_ONCE && recorded_share(j, t) < far_too_thin * slower_than_good(j, o);
}

/*
 * Steep edges and noise look otherwise when sampled more thinly than the good captures were, so what is seen then is no evidence; teeth
 * that are not there are. Thin: under 0.7 of the samples a cycle that the good captures have at least.
 */
static plb_status check_density(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o, plb_error *err) {
  return o->structural || recorded_share(j, t) >= 0.7 * slower_than_good(j, o) ? PLB_OK : say_thin(v, j, t, err);
}

/* Without a cycle there is no signal where all of it lies near nought; along another channel, where that one does not move. */
static plb_status check_unordered(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o,
                                  const plb_compare_options *opt, plb_error *err) {
  const plb_frame *frame = plb_outcome_frame(o);
  const plb_cycle_spec *spec = &j->reference->choice.spec;
  for (size_t k = 0; k < j->plan.channels && spec->kind == PLB_CYCLE_STEADY; k++) {
    double most = 0.0, good = 0.0;
    for (size_t g = 0; g < j->fit->grid; g++) {
      good = fmax(good, fabs((double)j->fit->channel[k].centre[g]));
    }
    const plb_status status = plb_typical_most(t->x[k], t->samples, &most, err);
    if (status != PLB_OK || most < silent_share * good) {
      return status != PLB_OK ? status : say_no_signal(v, j, t, o, k, opt, err);
    }
  }
  if (spec->kind == PLB_CYCLE_AGAINST && frame->found == 0) {
    char text[PLB_TEXT_SIZE], action[PLB_TEXT_SIZE];
    plb_text_say(text, sizeof text, "%s hardly moves, so there is nothing to judge along it", spec->against);
    plb_text_say(action, sizeof action, "record while it goes slowly from end to end and back; if it did, prove the connection of %s", spec->against);
    return block(v, PLB_REASON_RECORDING, "short", spec->against, text, action, err);
  }
  return spec->kind == PLB_CYCLE_STEADY && frame->found < 2 ? say_short(v, j, frame, err) : PLB_OK;
}

/* Pulses that are short against the cycle are left out of a robust swing, but not of the median cycle. */
static bool swings_in_frame(const plb_judge *j, const plb_outcome *o, size_t channel) {
  if (o->profile == NULL) {
    return false;
  }
  const float *x = plb_profile_curve(o->profile, channel);
  float low = x[0], high = x[0];
  for (size_t g = 1; g < j->fit->grid; g++) {
    low = fminf(low, x[g]);
    high = fmaxf(high, x[g]);
  }
  return (double)(high - low) >= silent_share * j->fit->channel[channel].peak_to_peak;
}

/* Reasons that come before any score. */
static plb_status check_hard(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o, const plb_compare_options *opt,
                             plb_error *err) {
  const plb_frame *frame = plb_outcome_frame(o);
  const size_t c = j->reference->choice.channel;
  const bool once = j->reference->choice.spec.kind == PLB_CYCLE_ONCE;
  if (frame->unordered) {
    return check_unordered(v, j, t, o, opt, err);
  }
  if (frame->mapped == 0 || once) {
    const double swing = robust_swing(t, c);
    if ((!frame->structure || once) && swing < silent_share * j->fit->channel[c].peak_to_peak) {
      return say_no_signal(v, j, t, o, c, opt, err);
    }
  }
  for (size_t k = 0; k < j->plan.channels; k++) { /* the other channels of the frame */
    if (k != c && robust_swing(t, k) < silent_share * j->fit->channel[k].peak_to_peak && !swings_in_frame(j, o, k)) {
      return say_no_signal(v, j, t, o, k, opt, err);
    }
  }
  if (once) {
    return PLB_OK;
  }
  plb_status status = check_speed(v, j, frame, err);
  const double share = j->reference->choice.spec.kind == PLB_CYCLE_EDGE ? 0.7 : far_too_thin;
  if (status == PLB_OK && is_blocked(v) && recorded_share(j, t) < share) {
    v->reasons--; /* crossings that fall between samples are no speed */
    status = say_thin(v, j, t, err);
    return status == PLB_OK ? plb_doubt_frame(v, j, o, t, err) : status;
  }
  if (status != PLB_OK || is_blocked(v)) {
    return status;
  }
  double low, high;
  (void)permitted_rate(j->reference, &low, &high);
  const double length_s = (double)t->samples / t->rate_hz;
  const bool ample = frame->found == 0 && length_s * low >= 3.0; /* long enough for the known-good, and nothing of it is there */
  const double longest_s = j->reference->choice.rate_low_hz > 0.0 ? 1.0 / j->reference->choice.rate_low_hz : 0.0;
  const bool no_room = length_s < 2.5 * longest_s; /* two whole cycles, wherever they begin */
  if (!ample && frame->found < 2 && (frame->structure || no_room)) {
    if (recorded_share(j, t) < far_too_thin) { /* cycles that fall between the samples are not found either */
      status = say_thin(v, j, t, err);
    }
    if (status == PLB_OK) {
      status = say_short(v, j, frame, err);
    }
    return status == PLB_OK ? plb_doubt_short(v, j, o, t, no_room, err) : status;
  }
  return PLB_OK;
}

/* One channel upside down while another of the same recording is right: more than a swapped lead, and said with it. */
static plb_status say_crossed(plb_verdict *v, const plb_judge *j, const plb_mistake *m, const char *action, plb_error *err) {
  const char *role = j->reference->channel[m->channel].role;
  char text[PLB_TEXT_SIZE];
  plb_finding *f = plb_finding_add(v);
  if (f == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  f->kind = PLB_FINDING_STRUCTURAL;
  f->score = PLB_STRUCTURAL_STEP;
  f->pattern = PLB_LASTING;
  f->count = f->of = (unsigned)plb_outcome_frame(m->undone)->mapped;
  plb_text_copy(f->channel, sizeof f->channel, role);
  plb_text_copy(f->band, sizeof f->band, "polarity");
  plb_text_copy(f->direction, sizeof f->direction, "shape");
  plb_text_say(f->text, sizeof f->text, "%s is upside down over %u %s, the other channel right: wires crossed, or its lead inverted", role,
               f->of, plb_unit_of_cycle(j->reference, f->of));
  plb_text_copy(f->check_first[0], sizeof f->check_first[0], "this channel's leads, swapped once");
  plb_text_copy(f->check_first[1], sizeof f->check_first[1], "the two wires in the sensor's connector");
  plb_text_say(text, sizeof text, "lead inverted, perhaps: turned over, %s matches known-good (correlation %.2f)", role, m->correlation);
  return plb_reason_add(&v->reason, &v->reasons, PLB_REASON_MEASURING, "lead-inverted", role, false, text, action) == PLB_OK
             ? PLB_OK
             : plb_fail(err, PLB_ENOMEM, "out of memory");
}

/* What a fault may show as well is said beside the finding: the cheaper check first. */
static plb_status say_perhaps(plb_verdict *v, const char *code, const char *role, const char *text, const char *action, plb_error *err) {
  char perhaps[PLB_TEXT_SIZE];
  plb_text_say(perhaps, sizeof perhaps, "%s; a fault can look the same", text);
  return plb_reason_add(&v->reason, &v->reasons, PLB_REASON_MEASURING, code, role, false, perhaps, action) == PLB_OK
             ? PLB_OK
             : plb_fail(err, PLB_ENOMEM, "out of memory");
}

static plb_status name_mistake(plb_verdict *v, const plb_judge *j, const plb_mistake *m, plb_error *err) {
  const bool all = m->channel == SIZE_MAX;
  const plb_reference_channel *ch = &j->reference->channel[all ? 0 : m->channel];
  char text[PLB_TEXT_SIZE], action[PLB_TEXT_SIZE];
  if (strcmp(m->code, "factor") == 0) {
    const bool large = m->factor > 1.0;
    const double times = large ? m->factor : 1.0 / m->factor;
    plb_text_say(text, sizeof text, "probe factor: %s is %.0f times too %s%s; the shape matches known-good",
                 j->plan.channels == 1 ? "everything" : ch->role, times, large ? "large" : "small", m->sure ? ", noise included" : "");
    plb_text_say(action, sizeof action, "check the attenuator and the probe setting, or give the factor: --channel %s=COLUMN:%s:%.6g",
                 ch->role, ch->unit, 1.0 / m->factor);
  } else if (strcmp(m->code, "clamp") == 0 && m->factor < 0.0) {
    plb_text_say(text, sizeof text, "clamp the wrong way round: turned over, %s matches known-good", j->plan.channels == 1 ? "the trace" : ch->role);
    plb_text_say(action, sizeof action, "turn the clamp round and repeat; if its arrow is right, the current flows the other way");
  } else if (strcmp(m->code, "clamp") == 0) {
    plb_text_say(text, sizeof text, "clamp zero: all of %s sits %.3g A %s, otherwise it matches known-good",
                 j->plan.channels == 1 ? "the trace" : ch->role, fabs(m->size), m->size > 0.0 ? "high" : "low");
    plb_text_say(action, sizeof action, "zero the clamp with nothing in its jaws and repeat; what stays flows in the wire");
  } else if (strcmp(m->code, "wrong-channel") == 0) {
    const char *other = j->reference->channel[m->other].role;
    plb_text_say(text, sizeof text, "%s and %s are exchanged: each one is like the other's known-good", ch->role, other);
    plb_text_say(action, sizeof action, "name them the other way round with --channel, or exchange the leads, and repeat; if they are right, the wires are crossed");
  } else if (strcmp(m->code, "ac-coupled") == 0) {
    plb_text_say(text, sizeof text, "AC coupled: %s averages to nought, known-good does not; with its level put back the shape matches",
                 j->plan.channels == 1 ? "the trace" : ch->role);
    plb_text_say(action, sizeof action, "set the input to DC and repeat");
  } else if (strcmp(m->code, "hum") == 0) {
    plb_text_say(text, sizeof text, "hum of %.0f Hz, %.3g %s, on %s: without it the trace is like known-good", m->mains_hz, m->size, ch->unit,
                 j->plan.channels == 1 ? "the trace" : ch->role);
    plb_text_say(action, sizeof action, "take the recorder off its mains supply, or open the ground loop, and repeat");
  } else if (strcmp(m->code, "floating") == 0) {
    plb_text_say(text, sizeof text, "floating: hum of %.0f Hz and hardly any signal on %s", m->mains_hz, j->plan.channels == 1 ? "the trace" : ch->role);
    plb_text_say(action, sizeof action, "prove the contact of tip and ground clip on a known voltage and repeat");
  } else {
    plb_text_say(text, sizeof text, "lead inverted: turned over, %s matches known-good (correlation %.2f)",
                 j->plan.channels == 1 ? "the trace" : all ? "each of the channels" : ch->role, m->correlation);
    plb_text_say(action, sizeof action, "swap the leads and repeat; if a proved ground shows it still, the wires are crossed");
  }
  if (m->alone && strcmp(m->code, "lead-inverted") == 0) {
    return say_crossed(v, j, m, action, err);
  }
  if (!m->sure) {
    return say_perhaps(v, m->code, ch->role, text, action, err);
  }
  return block(v, PLB_REASON_MEASURING, m->code, all ? "" : ch->role, text, action, err);
}

static void align(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o) {
  const plb_frame *f = plb_outcome_frame(o);
  const plb_cycle_choice *c = &j->reference->choice;
  v->alignment.polarity = 1;
  v->alignment.correlation = f->correlation;
  v->alignment.runner_up = f->runner_up;
  v->alignment.scale = f->rate_hz > 0.0 ? 0.5 * (c->rate_low_hz + c->rate_high_hz) / f->rate_hz : NAN;
  v->alignment.shift_s = f->found > 0 ? t->start_s + f->cycle[0].first / t->rate_hz : NAN;
  v->alignment.gain = o->profile != NULL ? o->gain[c->channel].gain : NAN;
  v->alignment.offset = o->profile != NULL ? o->gain[c->channel].offset : NAN;
  v->cycles.found = (unsigned)f->found;
  v->cycles.judged = (unsigned)f->mapped;
  v->cycles.unmapped = (unsigned)(f->found - f->mapped);
  v->cycles.rate_hz = f->rate_hz;
}

/* With a blocking reason the differences are still shown, but nothing is called high, low or a fault. */
static void stay_neutral(plb_verdict *v, double sample_s) {
  v->findings = 0;
  v->cycles.departing = 0;
  v->cycles.pattern = PLB_PATTERN_NONE;
  v->p_value = NAN;
  for (size_t b = 0; b < v->bands; b++) {
    v->band[b].status = PLB_UNJUDGED;
    v->band[b].direction[0] = '\0';
    v->band[b].departing_cycles = 0;
  }
  bool thin = v->reasons > 0; /* too few samples hide peaks and not how long a pulse of many samples lasts */
  for (size_t i = 0; i < v->reasons; i++) {
    thin = thin && (!v->reason[i].blocks || strcmp(v->reason[i].code, "sparse") == 0);
  }
  for (size_t k = 0; k < v->readings; k++) {
    if (thin && strcmp(v->reading[k].unit, "s") == 0 && v->reading[k].value > 10.0 * sample_s) {
      continue;
    }
    v->reading[k].status = PLB_UNJUDGED;
    v->reading[k].direction[0] = '\0';
  }
}

static plb_status explain(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o, const plb_compare_options *opt,
                          plb_error *err) {
  plb_status status = plb_explain_bands(v, j, o, t, err);
  if (status == PLB_OK) {
    status = plb_explain_readings(v, j, o, err);
  }
  if (status == PLB_OK) {
    status = plb_explain_rules(v, j, o, err);
  }
  if (status == PLB_OK && v->word != PLB_AGREES && !is_blocked(v) && v->findings == 0) {
    status = plb_explain_findings(v, j, o, t, err);
  }
  if (status == PLB_OK && opt->drawing) {
    status = plb_explain_drawing(v, j, o, err);
  }
  return status;
}

/* Beyond the good captures' own rate but within the slack: judged, and said. */
static plb_status note_rate(plb_verdict *v, const plb_judge *j, const plb_frame *frame, plb_error *err) {
  const plb_cycle_choice *c = &j->reference->choice;
  if (c->spec.kind == PLB_CYCLE_ONCE || !isfinite(frame->rate_hz) || is_blocked(v) ||
      (frame->rate_hz >= 0.98 * c->rate_low_hz && frame->rate_hz <= 1.02 * c->rate_high_hz)) {
    return PLB_OK;
  }
  char text[PLB_TEXT_SIZE];
  plb_text_say(text, sizeof text, "%.4g cycles/s here, %.4g to %.4g in the good captures: judged as if that made no difference",
               frame->rate_hz, c->rate_low_hz, c->rate_high_hz);
  return plb_condition_note(v, text) ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
}

/* The word from the score, unless a mistake, another state or the recording explains it: those come before any finding. */
static plb_status judge_laid(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_outcome *o, const plb_compare_options *opt,
                             plb_mistake *mistake, plb_error *err) {
  const bool unlaid = o->profile == NULL, once = j->reference->choice.spec.kind == PLB_CYCLE_ONCE;
  plb_status status = PLB_OK;
  v->word = unlaid ? PLB_DEPARTS : o->word;
  if (is_far_too_thin(j, t, o)) {
    status = plb_doubt_recording(v, j, t, o, err); /* which may say more exactly what is too narrow */
    if (status == PLB_OK && !has_reason(v, "sparse")) {
      status = say_thin(v, j, t, err);
    }
    return status == PLB_OK ? plb_doubt_frame(v, j, o, t, err) : status;
  }
  if (v->word == PLB_DEPARTS || v->word == PLB_BORDERLINE) { /* what costs least to check comes before a doubt */
    status = plb_mistake_find(mistake, j, t, o, err);
  }
  if (status == PLB_OK && mistake->found) {
    v->alignment.polarity = mistake->factor < 0.0 ? -1 : 1;
    status = name_mistake(v, j, mistake, err);
    if (mistake->sure || status != PLB_OK) {
      return status;
    }
  }
  if (status == PLB_OK) {
    status = plb_doubt_recording(v, j, t, o, err);
  }
  if (status == PLB_OK && !unlaid && v->word != PLB_AGREES && !once && !has_reason(v, "sparse")) { /* beside steps and clipping too */
    status = check_density(v, j, t, o, err);
  }
  if (status == PLB_OK && v->word != PLB_AGREES && !is_blocked(v)) {
    status = plb_doubt_state(v, j, t, o, opt, err);
  }
  if (status == PLB_OK && once && !unlaid && !is_blocked(v)) {
    status = plb_find_brief(v, j, t, err);
    if (v->findings > 0) {
      v->word = PLB_DEPARTS;
      v->score = o->score + PLB_STRUCTURAL_STEP;
      return status == PLB_OK ? plb_doubt_circuit(v, j, t, o, err) : status;
    }
  }
  if (status != PLB_OK || v->word == PLB_AGREES || is_blocked(v)) {
    return status;
  }
  status = plb_doubt_beside(v, j, t, o, err);
  return status == PLB_OK && unlaid ? say_no_cycles(v, j, plb_outcome_frame(o), err) : status;
}

/* Where there are several channels, a sentence says which one it is about: "can-high: low by ...". */
static void say_channel(plb_finding *f) {
  char text[sizeof f->text];
  if (strncmp(f->text, f->channel, strlen(f->channel)) != 0 && strncmp(f->text, "the travel of ", 14) != 0) {
    plb_text_copy(text, sizeof text, f->text);
    plb_text_say(f->text, sizeof f->text, "%s: %s", f->channel, text);
  }
}

/* What is said of the cycle is said of the channel that gives it, whether or not the known-good names it in its cycle. */
static void name_channels(plb_verdict *v, const plb_judge *j) {
  const char *role = j->reference->channel[j->reference->choice.channel].role;
  for (size_t i = 0; i < v->findings; i++) {
    if (v->finding[i].channel[0] == '\0') {
      plb_text_copy(v->finding[i].channel, sizeof v->finding[i].channel, role);
    }
    if (j->plan.channels > 1) {
      say_channel(&v->finding[i]);
    }
  }
  for (size_t i = 0; i < v->readings; i++) {
    if (v->reading[i].channel[0] == '\0') {
      plb_text_copy(v->reading[i].channel, sizeof v->reading[i].channel, role);
    }
  }
}

static plb_status judge_tracks(plb_verdict *v, const plb_judge *j, const plb_tracks *t, const plb_compare_options *opt, plb_error *err) {
  plb_outcome *o = NULL;
  plb_mistake mistake = {0};
  plb_status status = plb_outcome_new(&o, j, t, err);
  if (status != PLB_OK) {
    return status;
  }
  align(v, j, t, o);
  v->score = o->score;
  status = check_hard(v, j, t, o, opt, err);
  if (status == PLB_OK && v->reasons > 0 && strcmp(v->reason[v->reasons - 1].code, "speed-outside") == 0) {
    /* neither hum that crosses the levels nor a trace ten times too large is a speed */
    status = plb_pace_is_symptom(j, o) ? plb_mistake_find(&mistake, j, t, o, err) : plb_mistake_undo(&mistake, j, t, o, err);
    if (status == PLB_OK && mistake.found && mistake.sure) {
      v->reasons--;
      status = name_mistake(v, j, &mistake, err);
    } else if (status == PLB_OK && plb_pace_is_symptom(j, o)) {
      v->reasons--;
      status = plb_find_pace(v, j, o, err);
      if (status == PLB_OK) {
        status = plb_doubt_frame(v, j, o, t, err);
      }
    } else if (status == PLB_OK) {
      status = plb_doubt_frame(v, j, o, t, err);
    }
  }
  if (status == PLB_OK && !is_blocked(v) && v->findings == 0) {
    status = judge_laid(v, j, t, o, opt, &mistake, err);
  }
  if (status == PLB_OK && v->word != PLB_AGREES) {
    status = plb_doubt_levels(v, j, t, o, err);
  }
  if (status == PLB_OK && o->blocks > 1) {
    char text[PLB_TEXT_SIZE];
    plb_text_say(text, sizeof text, "long recording: judged in %u blocks as long as the good captures; the worst one counts", o->blocks);
    status = plb_condition_note(v, text) ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  if (status == PLB_OK) {
    status = note_rate(v, j, plb_outcome_frame(o), err);
  }
  if (status == PLB_OK && o->profile != NULL) {
    status = explain(v, j, t, o, opt, err);
    v->p_value = fmin(1.0, p_value(j->reference, o->score) * (o->blocks > 1 ? (double)o->blocks : 1.0));
  }
  if (status == PLB_OK && is_blocked(v)) {
    v->word = PLB_UNJUDGED;
    stay_neutral(v, 1.0 / t->rate_hz);
  }
  name_channels(v, j);
  plb_outcome_free(mistake.undone);
  plb_outcome_free(o);
  return status;
}

/* What the recording check says of the channels that are judged; the others are not this comparison's concern. */
static plb_status check_recording(plb_verdict *v, const plb_capture *capture, const plb_tracks *t, plb_error *err) {
  plb_reason *list = NULL;
  size_t count = 0;
  plb_status status = plb_capture_check(capture, &list, &count, err);
  for (size_t i = 0; i < count && status == PLB_OK; i++) {
    bool ours = list[i].channel[0] == '\0';
    for (size_t c = 0; c < t->channels; c++) {
      ours = ours || strcmp(list[i].channel, t->role[c]) == 0;
    }
    if (ours) {
      status = plb_reason_add(&v->fitness, &v->fitnesses, list[i].kind, list[i].code, list[i].channel, list[i].blocks, list[i].text,
                              list[i].action);
    }
  }
  free(list);
  return status;
}

static bool has_no_numbers(const plb_tracks *t) {
  for (size_t c = 0; c < t->channels; c++) {
    size_t i = 0;
    while (i < t->samples && !isfinite(t->x[c][i])) {
      i++;
    }
    if (i == t->samples) {
      return true;
    }
  }
  return false;
}

plb_status plb_judge_capture(plb_verdict **out, const plb_judge *judge, const plb_capture *capture, const plb_compare_options *options,
                             plb_error *err) {
  static const plb_compare_options plain = PLB_COMPARE_OPTIONS_INIT;
  const plb_compare_options *opt = options != NULL ? options : &plain;
  plb_tracks *tracks = NULL;
  *out = NULL;
  plb_verdict *v = plb_calloc(1, sizeof *v);
  if (v == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  v->word = PLB_UNJUDGED;
  v->score = v->p_value = v->cycles.p_chance = v->cycles.rate_hz = NAN;
  v->alignment.shift_s = v->alignment.scale = v->alignment.gain = v->alignment.offset = NAN;
  v->alignment.correlation = v->alignment.runner_up = NAN;
  describe(v, judge->reference, capture, opt);
  promise(v, &judge->reference->calibration);
  plb_status status = take_applied(v, capture, err);
  if (status == PLB_OK) {
    status = plb_connect(&tracks, v, capture, judge->reference, err);
  }
  if (status == PLB_OK) {
    plb_take_surroundings(tracks, opt);
    status = check_recording(v, capture, tracks, err);
  }
  if (status == PLB_OK) {
    status = plb_explain_conditions(v, judge->reference, opt, err);
  }
  if (status == PLB_OK && !has_no_numbers(tracks)) { /* else the recording check has said so */
    status = plb_is_standard(judge->reference) ? plb_standard_judge(v, judge->reference, tracks, capture, opt, err)
                                               : judge_tracks(v, judge, tracks, opt, err);
  }
  plb_tracks_free(tracks);
  if (status != PLB_OK) {
    plb_verdict_free(v);
    return status;
  }
  plb_explain_sentence(v, judge);
  *out = v;
  return PLB_OK;
}

plb_status plb_compare(plb_verdict **out, const plb_capture *capture, const plb_reference *reference, const plb_compare_options *options,
                       plb_error *err) {
  plb_judge *judge = NULL;
  *out = NULL;
  plb_status status = plb_judge_new(&judge, reference, err);
  if (status == PLB_OK) {
    status = plb_judge_capture(out, judge, capture, options, err);
  }
  plb_judge_free(judge);
  return status;
}

void plb_verdict_free(plb_verdict *verdict) {
  if (verdict == NULL) {
    return;
  }
  for (size_t i = 0; i < verdict->drawings; i++) {
    free(verdict->drawing[i].centre);
  }
  free(verdict->drawing);
  free(verdict->band);
  free(verdict->reading);
  free(verdict->finding);
  free(verdict->fitness);
  free(verdict->reason);
  free(verdict->applied);
  free(verdict->condition_note);
  free(verdict);
}
