#include "compare/explain.h"
#include <math.h>
#include <string.h>

enum { NAMED_MARKS = 6 }; /* more missing marks than this are said as one finding */

/* What the finding functions share. */
typedef struct search {
  plb_verdict *v;
  const plb_judge *judge;
  const plb_outcome *o;
  const plb_tracks *tracks;
  bool *shown;  /* [found] scratch: which cycles show the finding at hand */
  bool *any;    /* [found] which cycles show any finding */
  plb_pattern_found pattern;   /* of the finding that was counted last */
  plb_pattern_found recurring; /* of the first one that comes round every k-th cycle */
  bool no_memory;
} search;

plb_finding *plb_finding_add(plb_verdict *v) {
  plb_finding *list = plb_resize(v->finding, v->findings + 1, sizeof *list);
  if (list == NULL) {
    return NULL;
  }
  v->finding = list;
  plb_finding *f = &list[v->findings++];
  *f = (plb_finding){.size = NAN, .phase = NAN, .time_s = NAN};
  plb_text_copy(f->unit, sizeof f->unit, "1");
  return f;
}

static plb_finding *add(search *s, plb_finding_kind kind, const char *channel, const char *band, const char *direction) {
  plb_finding *f = plb_finding_add(s->v);
  if (f == NULL) {
    s->no_memory = true;
    return NULL;
  }
  f->kind = kind;
  plb_text_copy(f->channel, sizeof f->channel, channel);
  plb_text_copy(f->band, sizeof f->band, band);
  plb_text_copy(f->direction, sizeof f->direction, direction);
  return f;
}

static plb_word word_of(const search *s, double score) { return plb_word_for_score(&s->judge->reference->calibration, score); }

static double reading_score(const search *s, plb_distance_kind kind, size_t index) {
  const size_t term = plb_term_find(&s->judge->terms, kind, index);
  return term != SIZE_MAX ? plb_term_score(s->judge, s->o, term) : NAN;
}

/* Groups of neighbouring cycles that show it, by the time at which each begins. */
static void look_at_time(search *s, plb_pattern_found *p) {
  const plb_frame *f = plb_outcome_frame(s->o);
  double *at = plb_calloc(2 * f->found, sizeof *at);
  size_t groups = 0;
  if (at == NULL) {
    s->no_memory = true;
    return;
  }
  for (size_t i = 0; i < f->found; i++) {
    if (s->shown[i] && (i == 0 || !s->shown[i - 1])) {
      at[groups++] = f->cycle[i].first;
    }
  }
  plb_pattern_by_time(p, at, groups, s->tracks->rate_hz / f->rate_hz, at + f->found);
  free(at);
}

/* Count, pattern and the cycle's place in the capture from s->shown. */
static void take_pattern(search *s, plb_finding *f) {
  const plb_frame *frame = plb_outcome_frame(s->o);
  plb_pattern_found p = plb_pattern_of(s->shown, frame->found);
  if (p.pattern == PLB_INTERMITTENT && !frame->unordered) {
    look_at_time(s, &p);
  }
  if (f->kind == PLB_FINDING_STRUCTURAL && s->judge->reference->choice.spec.kind == PLB_CYCLE_REPEAT) {
    const double *x = s->tracks->x[s->judge->reference->choice.channel];
    s->no_memory = plb_pattern_by_turn(&p, x, s->tracks->samples, s->tracks->rate_hz / frame->rate_hz, NULL) != PLB_OK || s->no_memory;
  }
  f->count = p.count;
  f->of = p.of;
  f->pattern = p.pattern;
  s->pattern = p;
  if (p.pattern == PLB_RECURRING && s->recurring.every == 0) {
    s->recurring = p;
  }
  for (size_t i = 0; i < frame->found; i++) {
    if (s->shown[i] && isnan(f->time_s)) {
      const plb_cycle_found *cycle = &frame->cycle[i];
      double within = isfinite(f->phase) ? f->phase * (cycle->last - cycle->first) : 0.0;
      if (frame->unordered && isfinite(f->phase) && cycle->state == PLB_MAPPED) { /* the sample that stands for the cell */
        within = frame->edge_at[cycle->row * (frame->grid + 1) + (size_t)(f->phase * (double)frame->grid)] - cycle->first;
      }
      f->time_s = s->tracks->start_s + (frame->cycle[i].first + within) / s->tracks->rate_hz;
    }
    s->any[i] = s->any[i] || s->shown[i];
  }
}

/* Over how many cycles something was read that is one number for all of them. */
static void say_over(search *s, plb_finding *f) {
  const unsigned cycles = s->o->profile->frame != NULL ? (unsigned)s->o->profile->frame->mapped : 0;
  const size_t used = strlen(f->text);
  f->count = f->of = cycles;
  if (cycles > 1) {
    plb_text_say(f->text + used, sizeof f->text - used, " over %u %s", cycles, plb_unit_of_cycle(s->judge->reference, cycles));
  }
}

static void say_how_often(char *out, size_t size, const search *s, const plb_finding *f) {
  const char *unit = plb_unit_of_cycle(s->judge->reference, f->of);
  if (f->of <= 1 || f->count == 0) {
    out[0] = '\0';
  } else if (f->pattern == PLB_RECURRING && s->pattern.every > 0) {
    plb_text_say(out, size, " in one of every %u %s (%u of %u)", s->pattern.every, unit, f->count, f->of);
  } else {
    plb_text_say(out, size, " in %u of %u %s", f->count, f->of, unit);
  }
  const size_t used = strlen(out);
  if (plb_outcome_frame(s->o)->unordered && f->pattern != PLB_LASTING && isfinite(f->time_s)) {
    plb_text_say(out + used, size - used, f->count > 1 ? ", first at %.3f s" : ", at %.3f s", f->time_s);
  }
}

/* One finding per mark that is missing in some cycle; one for all when there are many. */
static void find_missing_marks(search *s, double score) {
  const plb_frame *frame = plb_outcome_frame(s->o);
  const plb_cycle_choice *choice = &s->judge->reference->choice;
  const bool wheel = choice->spec.kind == PLB_CYCLE_WHEEL;
  size_t marks = 0;
  for (size_t m = 0; m < frame->landmarks; m++) {
    bool missing = false;
    for (size_t r = 0; r < frame->mapped; r++) {
      missing = missing || isnan(frame->landmark_phase[r * frame->landmarks + m]);
    }
    marks += missing;
  }
  const bool together = marks > NAMED_MARKS;
  for (size_t m = 0; marks > 0 && m < frame->landmarks; m++) {
    size_t count = 0;
    for (size_t i = 0; i < frame->found; i++) {
      const plb_cycle_found *c = &frame->cycle[i];
      s->shown[i] = c->state == PLB_MAPPED && (together ? c->missing > 0
                                                        : isnan(frame->landmark_phase[c->row * frame->landmarks + m]));
      count += s->shown[i];
    }
    if (count == 0) {
      continue;
    }
    plb_finding *f = add(s, PLB_FINDING_STRUCTURAL, choice->spec.channel, together ? "marks" : choice->landmark[m].name, "missing");
    if (f == NULL) {
      return;
    }
    char often[64];
    f->phase = together ? NAN : choice->landmark[m].phase;
    take_pattern(s, f);
    f->size = f->count;
    f->score = score + (double)f->count / (double)f->of;
    say_how_often(often, sizeof often, s, f);
    if (together) {
      plb_text_say(f->text, sizeof f->text, "%zu different %s missing or too weak%s", marks, wheel ? "teeth" : "marks", often);
    } else {
      plb_text_say(f->text, sizeof f->text, "%s missing or too weak%s", choice->landmark[m].name, often);
    }
    plb_advise(f, s->judge->reference, NULL);
    if (together) {
      return;
    }
  }
}

static void find_surplus_marks(search *s, double score) {
  const plb_frame *frame = plb_outcome_frame(s->o);
  const plb_reference *ref = s->judge->reference;
  double phase = NAN;
  size_t count = 0;
  for (size_t i = 0; i < frame->found; i++) {
    const plb_cycle_found *c = &frame->cycle[i];
    s->shown[i] = c->state == PLB_MAPPED && c->surplus > 0;
    phase = s->shown[i] && isnan(phase) ? c->surplus_phase : phase;
    count += s->shown[i];
  }
  if (count == 0) {
    return;
  }
  char where[64] = "", often[64];
  if (isfinite(phase) && plb_tooth_at(ref, phase) > 0) {
    plb_text_say(where, sizeof where, " near tooth %d", plb_tooth_at(ref, phase));
  }
  plb_finding *f = add(s, PLB_FINDING_STRUCTURAL, ref->choice.spec.channel, "marks", "surplus");
  if (f != NULL) {
    f->phase = phase;
    take_pattern(s, f);
    f->size = f->count;
    f->score = score + (double)f->count / (double)f->of;
    say_how_often(often, sizeof often, s, f);
    plb_text_say(f->text, sizeof f->text, "%s%s%s", count > 1 ? "extra pulses" : "an extra pulse", where, often);
    plb_advise(f, ref, NULL);
  }
}

/* How the cycles that are odd differ from the others in the mean of their samples. */
static void tell_odd_part(const search *s, plb_finding *f, const char *often) {
  const plb_frame *frame = plb_outcome_frame(s->o);
  const plb_reference_channel *ch = &s->judge->reference->channel[s->judge->reference->choice.channel];
  const double *x = s->tracks->x[s->judge->reference->choice.channel];
  double sum[2] = {0}, count[2] = {0};
  for (size_t i = 0; i < frame->found; i++) {
    for (size_t k = (size_t)fmax(frame->cycle[i].first, 0.0); k < s->tracks->samples && (double)k < frame->cycle[i].last; k++) {
      if (isfinite(x[k])) {
        sum[s->shown[i]] += x[k];
        count[s->shown[i]] += 1.0;
      }
    }
  }
  char far[64];
  f->size = sum[1] / fmax(count[1], 1.0) - sum[0] / fmax(count[0], 1.0);
  plb_text_copy(f->unit, sizeof f->unit, ch->unit);
  plb_text_copy(f->direction, sizeof f->direction, f->size < 0.0 ? "low" : "high");
  plb_say_size(far, sizeof far, fabs(f->size), f->unit);
  plb_text_say(f->text, sizeof f->text, "one of the like parts is %s by %s on average,%s", f->direction, far, often);
}

const char *plb_why_unmapped(size_t state) {
  static const char *const why[] = {"", "the gap is not where it must be", "too many pulses missing or extra", "length outside the range",
                                    "too unlike known-good", "pulses are missing"};
  return state < sizeof why / sizeof *why ? why[state] : "";
}

static void find_unmapped(search *s, double score) {
  const plb_frame *frame = plb_outcome_frame(s->o);
  size_t count = 0, state = 0;
  for (size_t i = 0; i < frame->found; i++) {
    s->shown[i] = frame->cycle[i].state != PLB_MAPPED && frame->cycle[i].state != PLB_UNMAPPED_LOST;
    state = s->shown[i] && state == 0 ? (size_t)frame->cycle[i].state : state;
    count += s->shown[i];
  }
  if (count == 0) {
    return;
  }
  plb_finding *f = add(s, PLB_FINDING_STRUCTURAL, s->judge->reference->choice.spec.channel, "cycle", "shape");
  if (f != NULL) {
    take_pattern(s, f);
    f->size = f->count;
    f->score = score + (double)f->count / (double)f->of;
    char often[64];
    say_how_often(often, sizeof often, s, f);
    if (f->pattern == PLB_RECURRING) {
      tell_odd_part(s, f, often);
      f->score += 1.0; /* says more than the marks that are missing there */
    } else {
      plb_text_say(f->text, sizeof f->text, "%u of %u %s cannot be laid over known-good: %s", f->count, f->of,
                   plb_unit_of_cycle(s->judge->reference, f->of), plb_why_unmapped(state));
    }
    plb_advise(f, s->judge->reference, NULL);
  }
}

/* Pulses that are missing where the rhythm says they must be: how many, and where first. */
static void find_lost_pulses(search *s, double score) {
  const plb_frame *frame = plb_outcome_frame(s->o);
  const plb_reference *ref = s->judge->reference;
  unsigned count = 0, places = 0;
  for (size_t i = 0; i < frame->found; i++) {
    s->shown[i] = frame->cycle[i].state == PLB_UNMAPPED_LOST;
    count += s->shown[i];
    places += s->shown[i] && (i == 0 || !s->shown[i - 1]);
  }
  plb_finding *f = count > 0 ? add(s, PLB_FINDING_STRUCTURAL, ref->choice.spec.channel, "pulse", "missing") : NULL;
  if (f != NULL) {
    take_pattern(s, f);
    f->size = f->count;
    f->score = score + (double)f->count / (double)f->of;
    char at[64];
    if (places > 1) {
      plb_text_say(at, sizeof at, " in %u places, first at %.3f s", places, f->time_s);
    } else {
      plb_text_say(at, sizeof at, " at %.3f s", f->time_s);
    }
    plb_text_say(f->text, sizeof f->text, "%u pulse%s missing%s (%u of %u)", count, count > 1 ? "s" : "", at, f->count, f->of);
    plb_advise(f, ref, NULL);
  }
}

static void find_structural(search *s) {
  const double missing = reading_score(s, PLB_D_READING, PLB_READ_MISSING), affected = reading_score(s, PLB_D_READING, PLB_READ_AFFECTED);
  const double score = s->o->structural ? PLB_STRUCTURAL_STEP : fmax(missing, affected);
  if (!s->o->structural && word_of(s, score) == PLB_AGREES) {
    return;
  }
  find_missing_marks(s, score);
  find_surplus_marks(s, score);
  find_unmapped(s, score);
  find_lost_pulses(s, score);
}

/* A single event that is elsewhere or of another shape has no gain to speak of: size is told only of a curve that is like the centre. */
static bool is_unlike(const search *s, size_t c) {
  if (s->judge->elastic == NULL) {
    return false;
  }
  const float *curve = plb_profile_curve(s->o->profile, c), *centre = s->judge->fit->channel[c].centre;
  double x = 0.0, y = 0.0, xx = 0.0, yy = 0.0, xy = 0.0;
  const double n = (double)s->judge->fit->grid;
  for (size_t g = 0; g < s->judge->fit->grid; g++) {
    x += (double)curve[g];
    y += (double)centre[g];
    xx += (double)curve[g] * (double)curve[g];
    yy += (double)centre[g] * (double)centre[g];
    xy += (double)curve[g] * (double)centre[g];
  }
  return !(xy - x * y / n >= 0.95 * sqrt((xx - x * x / n) * (yy - y * y / n)));
}

/* What gain and offset do to the raw curve of the bands counts with them. */
static double with_raw_bands(const search *s, size_t c, double score) {
  for (size_t b = 0; b < s->judge->plan.slices.bands; b++) {
    if (s->judge->plan.slices.channel[b] == c && s->judge->fit->channel[c].judge_raw) {
      const double raw = fmax(reading_score(s, PLB_D_LASTING, b), reading_score(s, PLB_D_RAW, b));
      const double shape = reading_score(s, PLB_D_SHAPE, b);
      score = fmax(score, raw - (isnan(shape) ? 0.0 : shape));
    }
  }
  return score;
}

/* Within what healthy parts differ by from one of the factors of attenuators and clamps in common use (*common practice*). */
static bool is_factor(double gain) {
  static const double factor[] = {10.0, 20.0, 100.0, 1000.0};
  bool any = false;
  for (size_t k = 0; k < sizeof factor / sizeof *factor; k++) {
    any = any || fabs(fabs(log(fmax(gain, 1e-9))) - log(factor[k])) < log(1.25);
  }
  return any;
}

static void find_gain(search *s, size_t c) {
  const plb_reference *ref = s->judge->reference;
  const plb_fit_channel *ch = &s->judge->fit->channel[c];
  const double score = reading_score(s, PLB_D_GAIN, c), expected = plb_rule_log_gain(&ch->rule, s->o->profile);
  const double gain = plb_gain_told(ch, s->o->gain[c].gain, expected);
  if (isnan(score) || word_of(s, score) == PLB_AGREES || is_unlike(s, c)) {
    return;
  }
  const bool low = log(fmax(gain, 1e-9)) < log(plb_gain_told(ch, exp(ch->gain_mid), 0.0));
  plb_finding *f = add(s, PLB_FINDING_READING, ref->channel[c].role, "amplitude", low ? "low" : "high");
  if (f != NULL) {
    const bool wheel = ref->choice.spec.kind == PLB_CYCLE_WHEEL && c == ref->choice.channel;
    f->size = gain;
    f->score = with_raw_bands(s, c, score);
    f->pattern = PLB_LASTING;
    plb_text_say(f->text, sizeof f->text, "%s %s: typically %.2f of known-good", wheel                                            ? "the teeth are"
                 : ref->choice.spec.kind == PLB_CYCLE_STEADY ? "the swing about the mean is"
                                                             : "amplitude",
                 low ? "low" : "high", gain);
    say_over(s, f);
    plb_advise(f, ref, NULL);
    if (is_factor(gain) && ref->choice.spec.kind != PLB_CYCLE_STEADY) { /* a factor would take the mean along */
      plb_check_before(f, "the probe factor");
    }
  }
}

/*
 * How far the trace sits off as it is seen on the screen: at the known-good's mean. A size that is off too puts the curve's nought elsewhere, where
 * no reader looks for it; only where the two point to different sides the offset is told as it is once the sizes are equal.
 */
static void say_offset(const search *s, plb_finding *f, size_t c, double offset) {
  const float *curve = plb_profile_curve(s->o->profile, c), *centre = s->judge->fit->channel[c].centre;
  const size_t grid = s->judge->fit->grid;
  double seen = 0.0;
  for (size_t g = 0; g < grid; g++) {
    seen += ((double)curve[g] - (double)centre[g]) / (double)grid;
  }
  const bool follows = s->judge->fit->channel[c].rule.amplitude != PLB_RULE_ABSOLUTE && s->judge->fit->channel[c].rule.amplitude != PLB_RULE_FREE;
  const bool plain = follows || seen * offset > 0.0;
  f->size = follows ? offset : plain ? seen : offset / s->o->gain[c].gain;
  char far[64];
  plb_say_size(far, sizeof far, fabs(f->size), f->unit);
  plb_text_say(f->text, sizeof f->text, "the whole trace sits %s %s%s", far, offset < 0.0 ? "low" : "high", plain ? "" : " once its size is made equal,");
}

static void find_offset(search *s, size_t c) {
  const plb_reference *ref = s->judge->reference;
  const plb_fit_channel *ch = &s->judge->fit->channel[c];
  const double score = reading_score(s, PLB_D_OFFSET, c), offset = plb_offset_told(ch, s->o->gain[c]) - ch->offset_mid * ch->peak_to_peak;
  if (isnan(score) || word_of(s, score) == PLB_AGREES || is_unlike(s, c)) {
    return;
  }
  plb_finding *f = add(s, PLB_FINDING_READING, ref->channel[c].role, "offset", offset < 0.0 ? "low" : "high");
  if (f != NULL) {
    f->score = with_raw_bands(s, c, score);
    f->pattern = PLB_LASTING;
    plb_text_copy(f->unit, sizeof f->unit, ref->channel[c].unit);
    say_offset(s, f, c, offset);
    say_over(s, f);
    plb_advise(f, ref, NULL);
  }
}

/* A cycle's length where the events of one capture have no rate of their own; with a row, that cycle's. [s]; NaN: unknown */
static double cycle_length_s(const search *s) {
  const plb_frame *f = s->o->profile != NULL ? s->o->profile->frame : NULL;
  if (f == NULL || f->mapped == 0) {
    return NAN;
  }
  if (s->judge->reference->choice.spec.kind != PLB_CYCLE_ONCE && f->rate_hz > 0.0) {
    return 1.0 / f->rate_hz;
  }
  return f->edge_at != NULL ? (f->edge_at[f->grid] - f->edge_at[0]) / s->tracks->rate_hz : NAN;
}

/* How far something is moved along the cycle: degrees where a wheel turns, else time; fills size and unit. */
static void say_shift(const search *s, plb_finding *f, double share, char *out, size_t size) {
  const double length_s = cycle_length_s(s);
  if (s->judge->reference->choice.spec.kind == PLB_CYCLE_WHEEL) {
    f->size = plb_degrees_at(s->judge->reference, share);
    plb_text_copy(f->unit, sizeof f->unit, "deg");
    plb_text_say(out, size, fabs(f->size) < 1.0 ? "%.2g deg" : "%.3g deg", fabs(f->size));
  } else if (isfinite(length_s)) {
    f->size = share * length_s;
    plb_text_copy(f->unit, sizeof f->unit, "s");
    plb_say_size(out, size, fabs(f->size), "s");
  } else {
    f->size = share;
    plb_text_copy(f->unit, sizeof f->unit, "1");
    plb_text_say(out, size, "%.2g %% of the cycle", 100.0 * fabs(share));
  }
}

/* A shift over phases as a share of the cycle's time: the phases of a short stretch are finer than those of a long one. */
static double share_of_time(const search *s, double phase, double shift) {
  const plb_cycle_choice *c = &s->judge->reference->choice;
  size_t k = c->spans < c->landmarks ? c->spans : c->landmarks;
  while (k > 0 && c->landmark[k - 1].phase > phase) {
    k--;
  }
  const double length_s = cycle_length_s(s);
  if (c->spec.kind != PLB_CYCLE_EDGE || k == 0 || !(c->span[k - 1].duration_s > 0.0) || !(length_s > 0.0)) {
    return shift;
  }
  const double after = phase - c->landmark[k - 1].phase, to = fmax(after + shift, 0.0);
  return (plb_span_seconds(c, k - 1, to) - plb_span_seconds(c, k - 1, after)) / length_s;
}

static bool is_phase_reading(const search *s, size_t k) { return k >= plb_profile_first_mark(&s->judge->reference->choice); }

/* Serial levels keep no length of their pauses, and that of one bit in place of their pulses' (profile.c). */
static bool told_as_bit(const search *s) {
  const plb_judge *j = s->judge;
  return plb_profile_serial(&j->reference->choice) && isnan(j->fit->reading_mid[PLB_READ_COMMON + 1]);
}

static void say_reading(search *s, plb_finding *f, size_t k, double value) {
  const plb_reference *ref = s->judge->reference;
  const plb_reading_limit *limit = &ref->reading[k];
  const double middle = s->judge->fit->reading_mid[k];
  if (k == PLB_READ_IRREGULARITY) {
    plb_text_say(f->text, sizeof f->text, "uneven: one %s is %.0f %% off the typical length, good captures at most %.0f %%",
             plb_unit_of_cycle(ref, 1), 100.0 * value, 100.0 * limit->high);
  } else if (k == PLB_READ_UNLIKE) {
    plb_text_say(f->text, sizeof f->text, "the shape as a whole is unlike known-good: correlation %.4g, good captures at least %.4g", 1.0 - value,
             1.0 - limit->high);
  } else if (ref->choice.spec.kind == PLB_CYCLE_AGAINST) {
    plb_say_end_of_travel(f, ref, limit, value);
  } else if (is_phase_reading(s, k)) {
    char far[64], where[64];
    f->phase = value;
    say_shift(s, f, value - middle, far, sizeof far);
    plb_say_phase(where, sizeof where, ref, middle, cycle_length_s(s));
    plb_text_say(f->text, sizeof f->text, "%s is %s by %s, at %s in known-good", limit->name, f->direction, far, where);
  } else {
    const char *code = "s";
    const double scale = plb_unit_scale_for_people(exp(middle), "s", &code);
    f->size = exp(value); /* kept as a logarithm */
    plb_text_say(f->text, sizeof f->text, "%s lasts %.3g %s, %s than in good captures (%.3g to %.3g %s)",
                 told_as_bit(s) ? "one bit" : limit->name, exp(value) * scale, code, strcmp(f->direction, "low") == 0 ? "shorter" : "longer",
                 exp(limit->low) * scale, exp(limit->high) * scale, code);
  }
}

/* What says more comes first: how long a pulse lasts, before where its end lies; where it is, before that something is unlike. */
static double telling_share(const search *s, size_t k) {
  const plb_cycle_choice *choice = &s->judge->reference->choice;
  const size_t span = k - PLB_READ_COMMON;
  if (k == PLB_READ_UNLIKE) {
    return 0.5;
  }
  const bool rest = k >= PLB_READ_COMMON && span < choice->spans && choice->span[span].to >= choice->landmarks;
  return rest || (is_phase_reading(s, k) && choice->spans > 0) ? 0.6 : 1.0;
}

/* A driven stretch of quite another length puts everything behind it elsewhere: it is told before the sections, which then lie over other places. */
static double with_sections(const search *s, size_t k, double score) {
  const plb_cycle_choice *choice = &s->judge->reference->choice;
  const bool driven = k >= PLB_READ_COMMON && k < plb_profile_first_mark(choice) && choice->span[k - PLB_READ_COMMON].to < choice->landmarks;
  if (!driven || choice->spec.kind != PLB_CYCLE_EDGE || word_of(s, score) != PLB_DEPARTS) {
    return score;
  }
  for (size_t b = 0; b < s->judge->plan.slices.bands; b++) {
    for (plb_distance_kind kind = PLB_D_LASTING; kind <= PLB_D_NOISE; kind++) {
      const double section = reading_score(s, kind, b);
      score = s->judge->plan.slices.channel[b] == choice->channel && isfinite(section) ? fmax(score, section) : score;
    }
  }
  return score;
}

static void find_readings(search *s) {
  const plb_reference *ref = s->judge->reference;
  for (size_t k = 0; k < ref->readings; k++) {
    const double score = reading_score(s, PLB_D_READING, k), value = s->o->profile->reading[k];
    if (isnan(score) || word_of(s, score) == PLB_AGREES || k == PLB_READ_MISSING || k == PLB_READ_AFFECTED) {
      continue;
    }
    const bool more = value > s->judge->fit->reading_mid[k];
    const bool timed = is_phase_reading(s, k) && ref->choice.spec.kind != PLB_CYCLE_AGAINST;
    const char *direction = timed ? (more ? "late" : "early") : k == PLB_READ_UNLIKE ? "shape" : more ? "high" : "low";
    plb_finding *f = add(s, PLB_FINDING_READING, ref->reading[k].channel, ref->reading[k].name, direction);
    if (f == NULL) {
      return;
    }
    f->size = is_phase_reading(s, k) ? value - s->judge->fit->reading_mid[k] : value;
    f->score = telling_share(s, k) * with_sections(s, k, score);
    f->pattern = PLB_LASTING;
    plb_text_copy(f->unit, sizeof f->unit, ref->reading[k].unit);
    say_reading(s, f, k, value);
    say_over(s, f);
    plb_advise(f, ref, NULL);
  }
}

/* Spacing of the teeth: names the tooth that is furthest from where good captures have it. */
static void find_spacing(search *s) {
  const plb_reference *ref = s->judge->reference;
  const double score = reading_score(s, PLB_D_MARKS, 0);
  if (isnan(score) || word_of(s, score) == PLB_AGREES) {
    return;
  }
  const size_t first = plb_profile_first_mark(&ref->choice);
  size_t worst = 0;
  double most = 0.0;
  for (size_t m = 0; m < s->judge->fit->landmarks; m++) {
    const double d = s->o->profile->reading[first + m] - (double)s->judge->fit->mark_mid[m];
    if (fabs(d) > fabs(most)) {
      most = d;
      worst = m;
    }
  }
  plb_finding *f = add(s, PLB_FINDING_READING, ref->choice.spec.channel, "spacing", most > 0.0 ? "late" : "early");
  if (f != NULL) {
    f->size = plb_degrees_at(ref, most);
    f->score = score;
    f->phase = ref->choice.landmark[worst].phase;
    f->pattern = PLB_LASTING;
    plb_text_copy(f->unit, sizeof f->unit, "deg");
    plb_text_say(f->text, sizeof f->text, "the spacing of the teeth is not as in good captures: most at %s, %s by %.2f deg",
             ref->choice.landmark[worst].name, f->direction, fabs(f->size));
    say_over(s, f);
    plb_advise(f, ref, NULL);
  }
}

/* Noise makes and hides pulses here and there; it does not hide the same tooth in every turn. */
static bool explains_pulses(const search *s) {
  bool lasting = false;
  for (size_t i = 0; i < s->v->findings; i++) {
    lasting = lasting || s->v->finding[i].pattern == PLB_RECURRING || (s->v->finding[i].kind == PLB_FINDING_STRUCTURAL && s->v->finding[i].pattern == PLB_LASTING &&
                          strcmp(s->v->finding[i].band, "marks") != 0 && strcmp(s->v->finding[i].band, "cycle") != 0);
  }
  return s->o->structural && !lasting;
}

/* Noise over most of the cycle is one finding. @return its score, 0 when there is none */
static double find_noise(search *s, size_t c) {
  const plb_reference *ref = s->judge->reference;
  const plb_slices *slices = &s->judge->plan.slices;
  size_t bands = 0, noisy = 0;
  double score = 0.0;
  for (size_t b = 0; b < slices->bands; b++) {
    if (slices->channel[b] == c) {
      const double one = reading_score(s, PLB_D_NOISE, b);
      bands++;
      noisy += !isnan(one) && word_of(s, one) != PLB_AGREES;
      score = fmax(score, isnan(one) ? 0.0 : one);
    }
  }
  if (2 * noisy < bands || noisy == 0) {
    return 0.0;
  }
  const double size = plb_profile_noise(s->o->profile, s->tracks->x[c], s->tracks->samples, c);
  if (size < 1.5 * ref->channel[c].noise) {
    return 0.0; /* it is in some places only, and told there */
  }
  plb_finding *f = add(s, PLB_FINDING_BAND, ref->channel[c].role, "whole cycle", "noisy");
  if (f != NULL) {
    f->size = size;
    f->pattern = PLB_LASTING;
    f->score = score + (explains_pulses(s) ? 2.0 * PLB_STRUCTURAL_STEP : 0.0);
    plb_text_copy(f->unit, sizeof f->unit, ref->channel[c].unit);
    char here[64], good[64];
    plb_say_size(here, sizeof here, f->size, f->unit);
    plb_say_size(good, sizeof good, ref->channel[c].noise, f->unit);
    plb_text_say(f->text, sizeof f->text, "noisy: %s RMS of scatter between %s, good captures %s,", here, plb_unit_of_cycle(ref, 2), good);
    say_over(s, f);
    plb_advise(f, ref, NULL);
  }
  return score;
}

/* The whole channel is larger, smaller, higher or lower: what is left to tell of its bands is their shape. */
static bool is_moved(const search *s, size_t c) {
  if (is_unlike(s, c) || !plb_gain_helps(s->judge, s->o, c)) {
    return false;
  }
  return word_of(s, reading_score(s, PLB_D_GAIN, c)) != PLB_AGREES || word_of(s, reading_score(s, PLB_D_OFFSET, c)) != PLB_AGREES;
}

/* Early or late as a whole: one finding, and its bands tell nothing of their own. */
static bool find_moved(search *s, size_t c) {
  const plb_reference *ref = s->judge->reference;
  double score = 0.0;
  for (size_t b = 0; b < s->judge->plan.slices.bands; b++) {
    if (s->judge->plan.slices.channel[b] == c) {
      score = fmax(score, fmax(reading_score(s, PLB_D_LASTING, b), reading_score(s, PLB_D_SHAPE, b)));
    }
  }
  if (word_of(s, score) == PLB_AGREES) {
    return false;
  }
  const plb_moved moved = plb_channel_moved(s->judge, s->o, c);
  if (!moved.found) {
    return false;
  }
  plb_finding *f = add(s, PLB_FINDING_READING, ref->channel[c].role, "timing", moved.share > 0.0 ? "late" : "early");
  if (f != NULL) {
    char far[64];
    f->score = score;
    f->pattern = PLB_LASTING;
    say_shift(s, f, moved.share, far, sizeof far);
    plb_text_say(f->text, sizeof f->text, "%s is %s by %s against %s", ref->channel[c].role, f->direction, far,
                 ref->channel[ref->choice.channel].role);
    say_over(s, f);
    plb_advise(f, ref, NULL);
  }
  return true;
}

static void say_band(search *s, plb_finding *f, const plb_band_view *view, const plb_band_result *first, const plb_band_result *last) {
  const plb_reference *ref = s->judge->reference;
  char where[64], often[64], far[64], sections[2 * PLB_NAME_SIZE + 8], tooth[32] = "";
  plb_say_phase(where, sizeof where, ref, f->phase, cycle_length_s(s));
  plb_say_size(far, sizeof far, fabs(f->size), f->unit);
  say_how_often(often, sizeof often, s, f);
  if (plb_tooth_at(ref, f->phase) > 0) {
    plb_text_say(tooth, sizeof tooth, " (tooth %d)", plb_tooth_at(ref, f->phase));
  }
  if (first == last) {
    plb_text_say(sections, sizeof sections, "section %s", first->name);
  } else {
    plb_text_say(sections, sizeof sections, "sections %s to %s", first->name, last->name);
  }
  if (strcmp(f->direction, "noisy") == 0) {
    plb_text_say(f->text, sizeof f->text, "noisy near %s%s, %s: %s RMS%s", where, tooth, sections, far, often);
  } else if (isfinite(view->lag) && (strcmp(f->direction, "late") == 0 || strcmp(f->direction, "early") == 0)) {
    say_shift(s, f, share_of_time(s, f->phase, view->lag / (double)s->judge->fit->grid), far, sizeof far);
    plb_text_say(f->text, sizeof f->text, "%s by %s near %s%s, %s%s", f->direction, far, where, tooth, sections, often);
  } else if (isfinite(view->swing)) {
    f->size = view->swing;
    plb_text_copy(f->unit, sizeof f->unit, "1");
    plb_text_say(f->text, sizeof f->text, "the swing is %s, %.2f of known-good, near %s%s, %s%s", f->direction, fmax(view->swing, 0.0), where,
                 tooth, sections, often);
  } else {
    plb_text_say(f->text, sizeof f->text, "%s by %s near %s%s, %s%s", f->direction, far, where, tooth, sections, often);
  }
}

/* Whether a band has something of its own to tell. */
static bool is_telling(const search *s, size_t c, const plb_band_view *view, const double *noise) {
  const bool hopeless = is_moved(s, c) && !s->o->gain[c].usable; /* no shape can be made out */
  const bool in_noise = noise[c] > 0.0 && (view->kind == PLB_D_NOISE || view->score <= noise[c]);
  return word_of(s, view->score) != PLB_AGREES && !in_noise && !hopeless;
}

static void tell_bands(search *s, size_t first, size_t last, size_t worst, float *curve) {
  const plb_reference *ref = s->judge->reference;
  const plb_frame *frame = plb_outcome_frame(s->o);
  const size_t c = s->judge->plan.slices.channel[worst], band = s->judge->plan.slices.band[worst];
  plb_band_view view;
  plb_band_look(&view, s->judge, s->o, worst, is_moved(s, c), curve);
  plb_finding *f = add(s, PLB_FINDING_BAND, ref->channel[c].role, ref->band[band].name, view.direction);
  if (f == NULL) {
    return;
  }
  bool *shown = s->shown + frame->found; /* by mapped row; then by cycle */
  plb_band_shown(&view, s->judge, s->o, worst, shown);
  for (size_t i = 0; i < frame->found; i++) {
    s->shown[i] = frame->cycle[i].state == PLB_MAPPED && shown[frame->cycle[i].row];
  }
  f->score = view.score;
  f->size = view.deviation;
  f->phase = ((double)view.worst + 0.5) / (double)frame->grid;
  plb_text_copy(f->unit, sizeof f->unit, ref->channel[c].unit);
  take_pattern(s, f);
  say_band(s, f, &view, &s->v->band[first], &s->v->band[last]);
  plb_advise(f, ref, &ref->band[band]);
}

/* Neighbouring bands that depart alike are one finding, told at the worst of them. */
static void find_bands(search *s, double *noise, float *curve) {
  const plb_slices *slices = &s->judge->plan.slices;
  size_t first = SIZE_MAX, worst = 0;
  const char *direction = "";
  double most = 0.0;
  for (size_t b = 0; b <= slices->bands; b++) {
    plb_band_view view = {0};
    bool telling = false;
    if (b < slices->bands) {
      plb_band_look(&view, s->judge, s->o, b, is_moved(s, slices->channel[b]), curve);
      telling = is_telling(s, slices->channel[b], &view, noise);
    }
    const bool goes_on = telling && first != SIZE_MAX && slices->channel[b] == slices->channel[first] && strcmp(view.direction, direction) == 0;
    if (first != SIZE_MAX && !goes_on) {
      tell_bands(s, first, b - 1, worst, curve);
      first = SIZE_MAX;
    }
    if (telling && first == SIZE_MAX) {
      first = worst = b;
      most = view.score;
      direction = view.direction;
    } else if (goes_on && view.score > most) {
      worst = b;
      most = view.score;
    }
  }
}

/* A single event that no band explains: the nearest good capture is too far away as a whole. */
static void find_elastic(search *s, float *curve) {
  const plb_slices *slices = &s->judge->plan.slices;
  for (size_t c = 0; c < s->judge->plan.channels && s->judge->elastic != NULL; c++) {
    const double level = reading_score(s, PLB_D_LEVEL, c), slope = reading_score(s, PLB_D_SLOPE, c);
    if (word_of(s, fmax(level, slope)) == PLB_AGREES) {
      continue;
    }
    size_t worst = SIZE_MAX;
    for (size_t b = 0; b < slices->bands; b++) {
      if (slices->channel[b] == c && (worst == SIZE_MAX || s->v->band[b].score > s->v->band[worst].score)) {
        worst = b;
      }
    }
    plb_band_view view;
    plb_band_look(&view, s->judge, s->o, worst, false, curve);
    const plb_band_result *band = &s->v->band[worst];
    plb_finding *f = add(s, PLB_FINDING_BAND, band->channel, band->name, view.direction);
    if (f == NULL) {
      return;
    }
    char where[64], far[64];
    f->score = fmax(level, slope);
    f->size = view.deviation;
    f->phase = band->worst_phase;
    f->count = f->of = 1;
    f->pattern = PLB_LASTING;
    plb_text_copy(f->unit, sizeof f->unit, s->judge->reference->channel[c].unit);
    plb_say_phase(where, sizeof where, s->judge->reference, f->phase, cycle_length_s(s));
    plb_say_size(far, sizeof far, fabs(f->size), f->unit);
    plb_text_say(f->text, sizeof f->text, "the %s is unlike every good capture, most near %s of the event (section %s), %s by %s",
             level > slope ? "curve" : "slope", where, band->name, f->direction, far);
    plb_advise(f, s->judge->reference, NULL);
  }
}

/* Too far away, and nothing by itself says so: at least where it is furthest. */
static void find_anything(search *s, float *curve) {
  const plb_slices *slices = &s->judge->plan.slices;
  size_t worst = SIZE_MAX;
  for (size_t b = 0; b < slices->bands && s->v->findings == 0; b++) {
    const bool known = isfinite(s->v->band[b].score);
    worst = known && (worst == SIZE_MAX || s->v->band[b].score > s->v->band[worst].score) ? b : worst;
  }
  if (worst != SIZE_MAX) {
    tell_bands(s, worst, worst, worst, curve);
  }
}

static int by_score(const void *a, const void *b) {
  const double x = ((const plb_finding *)a)->score, y = ((const plb_finding *)b)->score;
  return (x < y) - (x > y);
}

static void sum_up_cycles(search *s) {
  plb_verdict *v = s->v;
  const plb_frame *frame = plb_outcome_frame(s->o);
  v->cycles.departing = 0;
  for (size_t i = 0; i < frame->found; i++) {
    v->cycles.departing += s->any[i];
  }
  v->cycles.p_chance = NAN;
  if (v->findings > 0) {
    const plb_pattern_found p = plb_pattern_of(s->any, frame->found);
    v->cycles.pattern = v->finding[0].pattern;
    v->cycles.p_chance = p.p_chance;
    if (v->cycles.pattern == PLB_RECURRING && s->recurring.every > 0) {
      v->cycles.every = s->recurring.every;
      v->cycles.phase = s->recurring.phase;
      v->cycles.p_chance = s->recurring.p_chance;
    } else if (p.pattern == PLB_RECURRING) {
      v->cycles.every = p.every;
      v->cycles.phase = p.phase;
    }
    if (v->cycles.departing == 0 && v->cycles.pattern == PLB_LASTING) {
      v->cycles.departing = v->cycles.judged;
    }
  }
}

plb_status plb_explain_findings(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, const plb_tracks *tracks, plb_error *err) {
  const plb_frame *frame = plb_outcome_frame(o);
  search s = {.v = v, .judge = judge, .o = o, .tracks = tracks};
  s.shown = plb_calloc(3 * frame->found, sizeof *s.shown);
  double *noise = plb_calloc(judge->plan.channels, sizeof *noise);
  float *curve = plb_calloc(judge->fit->grid, sizeof *curve);
  if (s.shown == NULL || noise == NULL || curve == NULL) {
    s.no_memory = true;
  } else {
    s.any = s.shown + 2 * frame->found;
    find_structural(&s);
    for (size_t c = 0; c < judge->plan.channels && !s.no_memory; c++) {
      noise[c] = find_noise(&s, c);
      if (find_moved(&s, c)) {
        noise[c] = INFINITY; /* said; its bands have nothing to add */
        continue;
      }
      find_gain(&s, c);
      find_offset(&s, c);
    }
    find_readings(&s);
    find_spacing(&s);
    find_bands(&s, noise, curve);
    find_elastic(&s, curve);
    s.no_memory = s.no_memory || plb_explain_frequencies(v, judge, err) != PLB_OK;
    find_anything(&s, curve);
    if (v->findings > 1) {
      qsort(v->finding, v->findings, sizeof *v->finding, by_score);
    }
    sum_up_cycles(&s);
  }
  free(s.shown);
  free(noise);
  free(curve);
  return s.no_memory ? plb_fail(err, PLB_ENOMEM, "out of memory") : PLB_OK;
}
