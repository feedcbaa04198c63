/*
 * Two captures of like circuits: the same within what their own cycles scatter, or not. The first one gives the frame's scale. What spans
 * of the cycle last is not in the frame (they are laid over one another), so it is compared as readings.
 */
#include "compare/explain.h"
#include "cycle/draft.h"
#include "peer/likes.h"
#include "peer/pairing.h"
#include <math.h>
#include <plumbline/reading.h>
#include <string.h>

static const double floor_share = 0.005;    /* f: least scatter granted, of the swing */
static const double span_floor = 0.03;      /* a stretch may last this much longer or shorter */
static const double missing_floor = 0.04;   /* share of damaged cycles that one may have more than the other */

const char *plb_pair_word_name(plb_pair_word word) {
  static const char *const name[] = {"same", "differs", "unjudged"};
  return name[word];
}

void plb_pair_free(plb_pair *pair) {
  if (pair != NULL) {
    free(pair->band);
    free(pair->reading);
    free(pair->reason);
    free(pair);
  }
}

double plb_pairing_section(const plb_likes *l, size_t slice, size_t a, size_t b) {
  const plb_slices *s = &l->plan.slices;
  const size_t c = s->channel[slice];
  const plb_profile *pa = l->profile[a], *pb = l->profile[b];
  const float *ma = plb_profile_curve(pa, c), *mb = plb_profile_curve(pb, c);
  const float *wa = pa->spread + c * pa->grid, *wb = pb->spread + c * pb->grid;
  const double f = floor_share * l->shell->channel[c].peak_to_peak;
  double sum = 0.0;
  size_t n = 0;
  for (size_t g = s->from[slice]; g < s->to[slice]; g++) {
    /* the neighbours' scatter counts too: an edge that trembles is in one cell in one part and in the next in the other */
    double w = 2.0 * f * f, widest_a = 0.0, widest_b = 0.0;
    for (size_t k = g > 0 ? g - 1 : 0; k <= g + 1 && k < s->grid; k++) {
      widest_a = fmax(widest_a, (double)wa[k]);
      widest_b = fmax(widest_b, (double)wb[k]);
    }
    w += widest_a * widest_a + widest_b * widest_b;
    const double d = (double)mb[g] - (double)ma[g];
    if (isfinite(d)) {
      sum += d * d / w;
      n++;
    }
  }
  return n > 0 ? sqrt(sum / (double)n) : 0.0;
}

plb_status plb_pairing_distance(double *out, const plb_likes *l, size_t a, size_t b, plb_error *err) {
  *out = 0.0;
  if (l->profile[a] == NULL || l->profile[b] == NULL) {
    return plb_fail(err, PLB_EINVAL, "a part without cycles cannot be compared");
  }
  for (size_t k = 0; k < l->plan.slices.bands; k++) {
    *out = fmax(*out, plb_pairing_section(l, k, a, b));
  }
  return PLB_OK;
}

static plb_status compare_bands(plb_pair *p, const plb_likes *l, plb_error *err) {
  const plb_slices *s = &l->plan.slices;
  p->band = plb_calloc(s->bands, sizeof *p->band);
  if (p->band == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  p->bands = s->bands;
  const double cycle_s = l->profile[0]->rate_hz > 0.0 ? 1.0 / l->profile[0]->rate_hz : NAN;
  for (size_t k = 0; k < s->bands; k++) {
    const size_t c = s->channel[k];
    const double f = floor_share * l->shell->channel[c].peak_to_peak;
    plb_peer_look(&p->band[k], l, k, plb_profile_curve(l->profile[1], c), plb_profile_curve(l->profile[0], c), cycle_s, f);
    p->band[k].score = plb_pairing_section(l, k, 0, 1);
  }
  return PLB_OK;
}

static const plb_reading *find_reading(const plb_readings *list, const plb_reading *like) {
  for (size_t i = 0; i < list->count; i++) {
    const plb_reading *r = &list->reading[i];
    if (r->scope == like->scope && strcmp(r->name, like->name) == 0 && strcmp(r->channel, like->channel) == 0 &&
        strcmp(r->against, like->against) == 0) {
      return r;
    }
  }
  return NULL;
}

/* Further apart than both uncertainties, than each varies by itself, and than one part in fifty. */
static bool far_apart(const plb_reading *a, const plb_reading *b) {
  const double ua = isfinite(a->uncertainty) ? a->uncertainty : 0.0, ub = isfinite(b->uncertainty) ? b->uncertainty : 0.0;
  const double d = fabs(a->value - b->value);
  const bool within = a->count > 1 && b->count > 1 && a->lowest <= b->highest && b->lowest <= a->highest;
  return d > 3.0 * hypot(ua, ub) && !within && d > 0.02 * fmax(fabs(a->value), fabs(b->value));
}

/* A part of one channel as a capture of its own, so that the same reading has the same name in both. */
static plb_status capture_of(plb_capture **out, const plb_tracks *t, plb_error *err) {
  plb_capture *c = plb_capture_new();
  plb_status status = c != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (c != NULL) {
    c->rate_hz = t->rate_hz;
    c->start_s = t->start_s;
  }
  for (size_t k = 0; status == PLB_OK && k < t->channels; k++) {
    status = plb_capture_add_real(c, t->role[k], t->unit[k], t->x[k], t->samples, err);
  }
  if (status != PLB_OK) {
    plb_capture_free(c);
    return status;
  }
  *out = c;
  return PLB_OK;
}

static plb_status measure(plb_readings **out, const plb_tracks *t, plb_error *err) {
  plb_capture *capture = NULL;
  const plb_measure_options how = PLB_MEASURE_OPTIONS_INIT;
  plb_status status = capture_of(&capture, t, err);
  status = status == PLB_OK ? plb_measure(out, capture, &how, err) : status;
  plb_capture_free(capture);
  return status;
}

static plb_status compare_readings(plb_pair *p, const plb_likes *l, plb_error *err) {
  plb_readings *a = NULL, *b = NULL;
  plb_status status = measure(&a, l->tracks[0], err);
  status = status == PLB_OK ? measure(&b, l->tracks[1], err) : status;
  if (status == PLB_OK) {
    p->reading = plb_calloc(a->count + 1, sizeof *p->reading);
    status = p->reading != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t i = 0; status == PLB_OK && i < a->count; i++) {
    const plb_reading *ra = &a->reading[i], *rb = find_reading(b, ra);
    if (rb == NULL || ra->scope != PLB_SCOPE_CAPTURE) {
      continue;
    }
    plb_pair_reading *r = &p->reading[p->readings++];
    plb_text_copy(r->channel, sizeof r->channel, ra->channel);
    plb_text_copy(r->name, sizeof r->name, ra->name);
    plb_text_copy(r->unit, sizeof r->unit, ra->unit);
    r->a = ra->value;
    r->b = rb->value;
    r->apart = far_apart(ra, rb);
  }
  plb_readings_free(a);
  plb_readings_free(b);
  return status;
}

static void align(plb_pair *p, const plb_likes *l) {
  const plb_profile *a = l->profile[0], *b = l->profile[1];
  const size_t c = l->shell->choice.channel;
  const plb_gain g = plb_gain_against(plb_profile_curve(b, c), plb_profile_curve(a, c), a->grid);
  p->alignment.gain = g.gain;
  p->alignment.offset = g.offset;
  p->alignment.scale = a->rate_hz > 0.0 && b->rate_hz > 0.0 ? a->rate_hz / b->rate_hz : NAN;
  p->alignment.correlation = plb_curve_correlation(plb_profile_curve(a, c), plb_profile_curve(b, c), a->grid);
  p->cycles_a = a->cycles;
  p->cycles_b = b->cycles;
}

/* The stretch whose length differs most; NULL: none differs. `ratio_out`: b over a. */
static const char *stretch_apart(const plb_likes *l, double *ratio_out) {
  const plb_cycle_choice *choice = &l->shell->choice;
  const char *name = NULL;
  double most = span_floor;
  for (size_t s = 0; s < choice->spans; s++) {
    const double d = l->profile[1]->reading[PLB_READ_COMMON + s] - l->profile[0]->reading[PLB_READ_COMMON + s];
    if (fabs(d) > most) {
      most = fabs(d);
      *ratio_out = exp(d);
      name = choice->span[s].name;
    }
  }
  return name;
}

static void say_band(plb_pair *p, const plb_likes *l, const plb_peer_band *worst) {
  char size[PLB_NAME_SIZE], where[PLB_NAME_SIZE];
  const char *unit = l->shell->channel[0].unit;
  for (size_t c = 0; c < l->shell->channels; c++) {
    if (strcmp(l->shell->channel[c].role, worst->channel) == 0) {
      unit = l->shell->channel[c].unit;
    }
  }
  plb_peer_say_section(where, sizeof where, worst->from, worst->to);
  if (isfinite(worst->lag_s)) {
    plb_say_size(size, sizeof size, fabs(worst->lag_s), "s");
    plb_text_print(p->sentence, sizeof p->sentence, "differs: the second is %s by %s, %s", worst->direction, size, where);
  } else if (strcmp(worst->direction, "shape") != 0) {
    plb_say_size(size, sizeof size, fabs(worst->deviation), unit);
    plb_text_print(p->sentence, sizeof p->sentence, "differs: the second is %s by %s on average, %s; %.1f times the scatter", worst->direction,
                   size, where, worst->score);
  } else {
    plb_text_print(p->sentence, sizeof p->sentence, "differs in shape, most %s; %.1f times the scatter", where, worst->score);
  }
}

static void decide(plb_pair *p, const plb_likes *l) {
  const plb_peer_band *worst = NULL;
  for (size_t b = 0; b < p->bands; b++) {
    worst = worst == NULL || p->band[b].score > worst->score ? &p->band[b] : worst;
  }
  const double damaged = plb_structural_share(l->profile[1]) - plb_structural_share(l->profile[0]);
  double ratio = 1.0;
  const char *stretch = stretch_apart(l, &ratio);
  p->word = PLB_DIFFERS;
  if (fabs(damaged) > missing_floor) {
    plb_text_print(p->sentence, sizeof p->sentence, "differs: the %s has cycles with marks missing or too many, %.0f %% of them more than the other",
                   damaged > 0.0 ? "second" : "first", 100.0 * fabs(damaged));
  } else if (worst != NULL && worst->score > PLB_PAIR_LIMIT) {
    say_band(p, l, worst);
  } else if (stretch != NULL) {
    plb_text_print(p->sentence, sizeof p->sentence, "differs in time: %s lasts %.3g times as long in the second; the shape is the same", stretch, ratio);
  } else {
    p->word = PLB_SAME;
    plb_text_print(p->sentence, sizeof p->sentence, "the same within what their cycles scatter; alike does not mean good");
  }
}

/* One is dead: that is a difference. Both without a cycle: nothing can be said. */
static plb_status tell_unlaid(plb_pair *p, const plb_likes *l, plb_error *err) {
  char text[PLB_TEXT_SIZE];
  p->word = (l->laid[0] == PLB_SILENT) != (l->laid[1] == PLB_SILENT) ? PLB_DIFFERS : PLB_PAIR_UNJUDGED;
  p->alignment.gain = p->alignment.offset = p->alignment.scale = p->alignment.correlation = NAN;
  const plb_status status = plb_likes_tell_unlaid(l, l->laid[0] != PLB_LAID ? 0 : 1, p->word != PLB_DIFFERS, &p->reason, &p->reasons, text, err);
  plb_text_print(p->sentence, sizeof p->sentence, "%s%.120s", p->word == PLB_DIFFERS ? "differs: " : "cannot tell: ", text);
  return status;
}

plb_status plb_compare_pair(plb_pair **out, const plb_part *a, const plb_part *b, const plb_peer_options *options, plb_error *err) {
  *out = NULL;
  plb_likes *l = NULL;
  const plb_part both[2] = {*a, *b};
  plb_pair *p = plb_calloc(1, sizeof *p);
  plb_status status = p != NULL ? plb_likes_new(&l, both, 2, options, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK) {
    plb_text_copy(p->a, sizeof p->a, l->name[0]);
    plb_text_copy(p->b, sizeof p->b, l->name[1]);
    plb_cycle_spec_format(&l->shell->choice.spec, p->cycle, sizeof p->cycle);
    status = compare_readings(p, l, err);
  }
  if (status == PLB_OK && (l->profile[0] == NULL || l->profile[1] == NULL)) {
    status = tell_unlaid(p, l, err);
  } else if (status == PLB_OK) {
    align(p, l);
    status = compare_bands(p, l, err);
    decide(p, l);
  }
  plb_likes_free(l);
  if (status != PLB_OK) {
    plb_pair_free(p);
    return status;
  }
  *out = p;
  return PLB_OK;
}
