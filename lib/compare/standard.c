#include "compare/standard.h"
#include "capture/capture.h"
#include <math.h>
#include <plumbline/reading.h>
#include <string.h>

bool plb_is_standard(const plb_reference *r) { return r->provenance == PLB_STANDARD && r->exemplars == 0; }

plb_status plb_standard_check(const plb_reference *r, plb_error *err) {
  for (size_t i = 0; i < r->readings; i++) {
    if (isfinite(r->reading[i].low) || isfinite(r->reading[i].high)) {
      return PLB_OK;
    }
  }
  return plb_fail(err, PLB_EDATA, "the reference is set by a standard but has no limits on readings; add them, or learn one with `plumb learn`");
}

static size_t channel_of(const plb_reference *r, const char *role) {
  for (size_t c = 0; c < r->channels; c++) {
    if (strcmp(r->channel[c].role, role) == 0) {
      return c;
    }
  }
  return 0; /* no channel named: the first */
}

/* What people call the source of a limit: "can-high", "can-high minus can-low". */
static void name_source(char out[PLB_NAME_SIZE], const plb_reference *r, const plb_reading_limit *l) {
  const char *role = r->channel[channel_of(r, l->channel)].role;
  if (l->combine == PLB_COMBINE_NONE) {
    plb_text_say(out, PLB_NAME_SIZE, "%s", role);
  } else {
    plb_text_say(out, PLB_NAME_SIZE, "%.27s %s %.27s", role, l->combine == PLB_COMBINE_SUM ? "plus" : "minus", l->against);
  }
}

static plb_status combine(plb_capture *into, const plb_tracks *t, size_t channel, size_t against, double sign, const char *name, plb_error *err) {
  double *x = plb_calloc(t->samples, sizeof *x);
  if (x == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu samples", t->samples);
  }
  for (size_t i = 0; i < t->samples; i++) {
    x[i] = t->x[channel][i] + sign * t->x[against][i];
  }
  const plb_status status = plb_capture_add_real(into, name, t->unit != NULL && t->unit[channel][0] != '\0' ? t->unit[channel] : "1", x, t->samples, err);
  free(x);
  return status;
}

/* A capture of everything that is read: each channel, and each difference or sum, once. */
static plb_status gather(plb_capture **out, const plb_reference *r, const plb_tracks *t, plb_error *err) {
  plb_capture *c = plb_capture_new();
  plb_status status = c != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK) {
    c->rate_hz = t->rate_hz;
    c->samples = t->samples;
  }
  for (size_t i = 0; i < r->readings && status == PLB_OK; i++) {
    const plb_reading_limit *l = &r->reading[i];
    const size_t channel = channel_of(r, l->channel);
    char name[PLB_NAME_SIZE];
    name_source(name, r, l);
    if (plb_capture_find(c, name) >= 0) {
      continue;
    }
    if (l->combine == PLB_COMBINE_NONE) {
      status = plb_capture_add_real(c, name, r->channel[channel].unit, t->x[channel], t->samples, err);
    } else {
      status = combine(c, t, channel, channel_of(r, l->against), l->combine == PLB_COMBINE_SUM ? 1.0 : -1.0, name, err);
    }
  }
  if (status != PLB_OK) {
    plb_capture_free(c);
    c = NULL;
  }
  *out = c;
  return status;
}

/* The reading over the whole capture; with `values`, the one that knows lowest and highest of many. NULL: not there. */
static const plb_reading *find_reading(const plb_readings *list, const char *channel, const char *name, bool values) {
  const plb_reading *best = NULL;
  for (size_t i = 0; i < list->count; i++) {
    const plb_reading *r = &list->reading[i];
    if (strcmp(r->channel, channel) == 0 && strcmp(r->name, name) == 0 && r->against[0] == '\0' &&
        (best == NULL || (values && r->lowest < r->highest && !(best->lowest < best->highest)))) {
      best = r;
    }
  }
  return best;
}

/* The supply: from the capture's channel of that role, else as stated; NaN: not known. */
static double supply_of(const plb_capture *capture, const plb_compare_options *options) {
  const int at = plb_capture_find(capture, "supply");
  double supply = NAN;
  if (at >= 0) {
    double *x = plb_capture_copy_values(capture, (size_t)at);
    double zero = 0.0, one = 1.0;
    if (x != NULL && plb_unit_convert(0.0, plb_capture_unit(capture, (size_t)at), "V", &zero) &&
        plb_unit_convert(1.0, plb_capture_unit(capture, (size_t)at), "V", &one)) {
      supply = zero + (one - zero) * plb_median(x, plb_capture_samples(capture));
    }
    free(x);
  }
  for (size_t i = 0; i < options->stated_count && isnan(supply); i++) {
    const plb_stated *s = &options->stated[i];
    double low, high;
    if (strcmp(s->name, "supply") == 0 && s->word[0] == '\0' && plb_unit_convert(s->low, s->unit[0] != '\0' ? s->unit : "V", "V", &low) &&
        plb_unit_convert(s->high, s->unit[0] != '\0' ? s->unit : "V", "V", &high)) {
      supply = 0.5 * (low + high);
    }
  }
  return supply;
}

/* One reading against one limit, in the limit's unit. */
typedef struct judged {
  double value, doubt; /* the value that lies furthest out; NaN: cannot be read */
  double beyond;       /* d: > 0 beyond a limit */
  double score;
  plb_word word;
} judged;

static const double on_the_limit = 1e-3; /* of the uncertainty: what rounding makes of a value that stands on its limit */

static double beyond_limits(const plb_reading_limit *l, double value) {
  double d = -INFINITY;
  d = isfinite(l->low) ? fmax(d, l->low - value) : d;
  return isfinite(l->high) ? fmax(d, value - l->high) : d;
}

/* Half the permitted width; with one side open, the size of the limit itself. */
static double half_width(const plb_reading_limit *l, double doubt) {
  const bool both = isfinite(l->low) && isfinite(l->high);
  const double half = both ? 0.5 * (l->high - l->low) : fabs(isfinite(l->low) ? l->low : l->high);
  return fmax(half, fmax(doubt, 1e-12));
}

static judged judge_value(const plb_reading_limit *l, double value, double doubt) {
  judged j = {.value = value, .doubt = doubt, .beyond = beyond_limits(l, value)};
  const double score = 1.0 + j.beyond / half_width(l, doubt);
  j.score = fmax(score, 0.0);
  j.word = j.beyond > doubt ? PLB_DEPARTS : j.beyond > on_the_limit * doubt ? PLB_BORDERLINE : PLB_AGREES;
  return j;
}

/* @param scale  from the reading's unit to the limit's: value = zero + scale * reading */
static judged judge_reading(const plb_reading_limit *l, const plb_reading *r, double zero, double scale) {
  const double own = isfinite(r->uncertainty) ? fabs(scale) * r->uncertainty : 0.0, doubt = fmax(own, l->uncertainty);
  const double lowest = zero + scale * r->lowest, highest = zero + scale * r->highest;
  judged j;
  switch (l->statistic) {
  case PLB_LIMIT_LOWEST:
    return judge_value(l, lowest, doubt);
  case PLB_LIMIT_HIGHEST:
    return judge_value(l, highest, doubt);
  case PLB_LIMIT_EACH:
    j = judge_value(l, lowest, doubt);
    return j.beyond >= beyond_limits(l, highest) ? j : judge_value(l, highest, doubt);
  case PLB_LIMIT_VALUE:
    break;
  }
  return judge_value(l, zero + scale * r->value, doubt);
}

static judged unreadable(void) { return (judged){.value = NAN, .doubt = NAN, .beyond = NAN, .score = NAN, .word = PLB_UNJUDGED}; }

typedef struct trial {
  plb_verdict *v;
  const plb_reference *r;
  const plb_readings *readings;
  double supply_v;
  plb_error *err;
} trial;

static judged judge_limit(const trial *t, const plb_reading_limit *l) {
  char source[PLB_NAME_SIZE];
  double zero, one;
  name_source(source, t->r, l);
  const plb_reading *r = find_reading(t->readings, source, l->name, l->statistic != PLB_LIMIT_VALUE);
  if (r == NULL) {
    return unreadable();
  }
  if (l->of_supply) {
    const bool volts = plb_unit_convert(0.0, r->unit, "V", &zero) && plb_unit_convert(1.0, r->unit, "V", &one);
    return volts && t->supply_v > 0.0 ? judge_reading(l, r, 100.0 * zero / t->supply_v, 100.0 * (one - zero) / t->supply_v) : unreadable();
  }
  const char *unit = l->unit[0] != '\0' ? l->unit : r->unit;
  return plb_unit_convert(0.0, r->unit, unit, &zero) && plb_unit_convert(1.0, r->unit, unit, &one) ? judge_reading(l, r, zero, one - zero)
                                                                                                    : unreadable();
}

static const char *unit_of(const plb_reading_limit *l) { return l->of_supply ? "%" : l->unit; }

/* "1.5 to 3 V", "at most 12 mV" */
static void say_permitted(char *out, size_t size, const plb_reading_limit *l) {
  char low[64], high[64];
  plb_say_size(low, sizeof low, l->low, unit_of(l));
  plb_say_size(high, sizeof high, l->high, unit_of(l));
  if (isfinite(l->low) && isfinite(l->high)) {
    plb_text_say(out, size, "%s to %s", low, high);
  } else {
    plb_text_say(out, size, isfinite(l->low) ? "at least %s" : "at most %s", isfinite(l->low) ? low : high);
  }
}

static const char *standard_of(const plb_reference *r, const plb_reading_limit *l) {
  return l != NULL && l->source != NULL && l->source[0] != '\0' ? l->source
         : r->sources != NULL && r->sources[0] != '\0'         ? r->sources
                                                                : "the standard";
}

/* Only the part of a source before its details: "ISO 11898-2, dominant at the driver" is "ISO 11898-2" in a sentence. */
static void name_standard(char *out, size_t size, const plb_reference *r, const plb_reading_limit *l) {
  const char *source = standard_of(r, l);
  plb_text_say(out, size, "%.*s", (int)strcspn(source, ",;\n"), source);
}

static plb_status add_result(trial *t, const plb_reading_limit *l, const judged *j) {
  plb_reading_result *r = &t->v->reading[t->v->readings++];
  *r = (plb_reading_result){.value = j->value, .low = l->low, .high = l->high, .status = j->word, .score = j->score};
  name_source(r->channel, t->r, l);
  plb_text_copy(r->name, sizeof r->name, l->name);
  plb_text_copy(r->unit, sizeof r->unit, unit_of(l)[0] != '\0' ? unit_of(l) : "1");
  if (j->beyond > 0.0) {
    plb_text_copy(r->direction, sizeof r->direction, j->value < l->low ? "low" : "high");
  }
  if (j->word != PLB_UNJUDGED) {
    return PLB_OK;
  }
  char text[PLB_TEXT_SIZE];
  plb_text_say(text, sizeof text,
               l->of_supply && !(t->supply_v > 0.0) ? "%s of %s is not judged: the supply is not known; give --condition supply=13.8V or a channel supply"
                                                    : "%s of %s is not judged: it cannot be read from this capture",
               l->name, r->channel);
  return plb_condition_note(t->v, text) ? PLB_OK : plb_fail(t->err, PLB_ENOMEM, "out of memory");
}

static plb_status add_finding(trial *t, const plb_reading_limit *l, const judged *j) {
  plb_finding *f = plb_finding_add(t->v);
  if (f == NULL) {
    return plb_fail(t->err, PLB_ENOMEM, "out of memory");
  }
  char here[64], permitted[160], standard[96], source[PLB_NAME_SIZE];
  f->kind = PLB_FINDING_READING;
  f->size = j->value;
  f->score = j->score;
  f->pattern = PLB_LASTING;
  name_source(source, t->r, l);
  plb_text_copy(f->channel, sizeof f->channel, source);
  plb_text_copy(f->band, sizeof f->band, l->name);
  plb_text_copy(f->direction, sizeof f->direction, j->value < l->low ? "low" : "high");
  plb_text_copy(f->unit, sizeof f->unit, unit_of(l)[0] != '\0' ? unit_of(l) : "1");
  plb_say_size(here, sizeof here, j->value, unit_of(l));
  say_permitted(permitted, sizeof permitted, l);
  name_standard(standard, sizeof standard, t->r, l);
  plb_text_say(f->text, sizeof f->text, "%s of %s is %s, permitted %s by the limits of %s%s", l->name, source, here, permitted, standard,
               j->word == PLB_BORDERLINE ? ", no further out than it can be read" : "");
  plb_advise(f, t->r, NULL);
  return PLB_OK;
}

static int by_score(const void *a, const void *b) {
  const double x = ((const plb_finding *)a)->score, y = ((const plb_finding *)b)->score;
  return (x < y) - (x > y);
}

static plb_status say_nothing_to_judge(trial *t) {
  return plb_reason_add(&t->v->reason, &t->v->reasons, PLB_REASON_MEASURING, "no-signal", t->r->channel[0].role, true,
                        "nothing that has a limit can be read: no signal, or not this one; prove the connection",
                        "check lead, probe and connector with a known signal; record several pulses, at least ten samples in the shortest") == PLB_OK
             ? PLB_OK
             : plb_fail(t->err, PLB_ENOMEM, "out of memory");
}

static plb_status judge_all(trial *t) {
  plb_verdict *v = t->v;
  size_t read = 0;
  double worst = -1.0;
  plb_status status = PLB_OK;
  v->reading = plb_calloc(t->r->readings, sizeof *v->reading);
  if (v->reading == NULL) {
    return plb_fail(t->err, PLB_ENOMEM, "out of memory");
  }
  v->word = PLB_AGREES;
  for (size_t i = 0; i < t->r->readings && status == PLB_OK; i++) {
    const plb_reading_limit *l = &t->r->reading[i];
    if (!isfinite(l->low) && !isfinite(l->high)) {
      continue;
    }
    const judged j = judge_limit(t, l);
    status = add_result(t, l, &j);
    if (j.word == PLB_UNJUDGED) {
      continue;
    }
    read++;
    worst = fmax(worst, j.score);
    v->word = j.word > v->word ? j.word : v->word;
    if (status == PLB_OK && j.word != PLB_AGREES) {
      status = add_finding(t, l, &j);
    }
  }
  if (status == PLB_OK && read == 0) {
    v->word = PLB_UNJUDGED;
    return say_nothing_to_judge(t);
  }
  v->score = worst;
  if (v->findings > 1) {
    qsort(v->finding, v->findings, sizeof *v->finding, by_score);
  }
  return status;
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

static void stay_neutral(plb_verdict *v) {
  v->word = PLB_UNJUDGED;
  v->findings = 0;
  for (size_t k = 0; k < v->readings; k++) {
    v->reading[k].status = PLB_UNJUDGED;
    v->reading[k].direction[0] = '\0';
  }
}

plb_status plb_standard_judge(plb_verdict *v, const plb_reference *r, const plb_tracks *tracks, const plb_capture *capture,
                              const plb_compare_options *options, plb_error *err) {
  plb_capture *derived = NULL;
  plb_readings *readings = NULL;
  plb_status status = gather(&derived, r, tracks, err);
  if (status == PLB_OK) {
    status = plb_measure(&readings, derived, NULL, err);
  }
  if (status == PLB_OK) {
    trial t = {.v = v, .r = r, .readings = readings, .supply_v = supply_of(capture, options), .err = err};
    status = judge_all(&t);
  }
  if (status == PLB_OK && is_blocked(v)) {
    stay_neutral(v);
  }
  if (status == PLB_OK && v->word == PLB_AGREES) {
    char standard[96];
    size_t judged_count = 0;
    for (size_t k = 0; k < v->readings; k++) {
      judged_count += v->reading[k].status == PLB_AGREES;
    }
    name_standard(standard, sizeof standard, r, &r->reading[0]);
    plb_text_say(v->sentence, sizeof v->sentence, "%zu reading%s of %zu judged, inside the limits of %s", judged_count,
                 judged_count == 1 ? "" : "s", v->readings, standard);
  }
  plb_readings_free(readings);
  plb_capture_free(derived);
  return status;
}
