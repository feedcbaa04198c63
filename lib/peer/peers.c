/*
 * The odd one among several like parts. Each part is scored against what the others show, with a limit and a guard that come from the others
 * alone (each of them left out in turn), by the arithmetic of `compare`. So an odd one never widens the range it is judged by; it does widen
 * the range of the others, which only makes them less suspect. Two parts show no range and three a poor one: there, and where the scores do
 * not say, the parts are compared in pairs.
 */
#include "compare/elastic.h"
#include "compare/explain.h"
#include "learn/calibrate.h"
#include "peer/likes.h"
#include "peer/pairing.h"
#include <math.h>
#include <string.h>

enum { FEWEST = 3, MOST_UNITS = 16 };
/*
 * Each of n parts is tried, so one of them is the largest always: being beyond the limit is not enough to be called odd. The odd one's score
 * over its limit must be this many times the next one's. Measured on modelled sets of 4 to 12 parts: healthy sets reach 4 (one in 25 more),
 * sets with one faulty part 20 and more.
 */
static const double alpha = 0.05, clear = 8.0, clear_of_pairs = 2.5;

void plb_peers_free(plb_peers *peers) {
  if (peers != NULL) {
    free(peers->member);
    free(peers->band);
    free(peers->reason);
    free(peers);
  }
}

/* One part against the others. */
typedef struct against {
  plb_fit *fit;
  double *d, *scale; /* [terms] */
  double score, limit;
  size_t worst;
} against;

static void against_dispose(against *a) {
  plb_fit_free(a->fit);
  free(a->d);
  free(a->scale);
  *a = (against){0};
}

static double structural(const plb_profile *x, const plb_profile *const *other, size_t n) {
  double worst = 0.0;
  for (size_t k = 0; k < n; k++) {
    worst = fmax(worst, plb_structural_share(other[k]));
  }
  return plb_structural_share(x) > fmax(0.04, 3.0 * worst) ? PLB_STRUCTURAL_STEP : 0.0;
}

static plb_status calibrate_others(const plb_likes *l, const plb_profile *const *other, size_t n, against *a, plb_error *err) {
  plb_calibration c = {0};
  plb_units units = {0};
  bool stated, one;
  const char **group = plb_calloc(n, sizeof *group);
  double *held_out = plb_calloc(n, sizeof *held_out);
  plb_status status = group != NULL && held_out != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  status = status == PLB_OK ? plb_units_init(&units, group, n, &stated, &one, err) : status;
  status = status == PLB_OK ? plb_calibrate(&c, held_out, a->scale, &l->plan, &l->terms, other, &units, alpha, err) : status;
  a->limit = fmax(c.limit, c.guard);
  plb_units_dispose(&units);
  free(group);
  free(held_out);
  return status;
}

static plb_status score_against(const plb_likes *l, const plb_profile *x, const plb_profile *const *other, size_t n, against *a, plb_error *err) {
  const bool elastic = l->plan.choice->spec.kind == PLB_CYCLE_ONCE;
  plb_elastic *e = NULL;
  *a = (against){.d = plb_calloc(l->terms.count, sizeof *a->d), .scale = plb_calloc(l->terms.count, sizeof *a->scale), .worst = SIZE_MAX};
  plb_status status = a->d != NULL && a->scale != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  status = status == PLB_OK ? calibrate_others(l, other, n, a, err) : status;
  status = status == PLB_OK ? plb_fit_new(&a->fit, &l->plan, other, n, err) : status;
  status = status == PLB_OK ? plb_distances(a->fit, &l->plan, &l->terms, x, a->d, err) : status;
  if (status == PLB_OK && elastic) {
    status = plb_elastic_new(&e, &l->plan, other, n, err);
    status = status == PLB_OK ? plb_elastic_distances(e, &l->terms, x, a->d, err) : status;
    plb_elastic_free(e);
  }
  if (status == PLB_OK) {
    a->score = plb_score_of(&l->terms, a->d, a->scale, elastic, &a->worst) + structural(x, other, n);
  }
  return status;
}

/* Profiles of all laid parts but one. */
static size_t others_of(const plb_likes *l, size_t i, const plb_profile **other) {
  size_t n = 0;
  for (size_t k = 0; k < l->n; k++) {
    if (k != i && l->profile[k] != NULL) {
      other[n++] = l->profile[k];
    }
  }
  return n;
}

static plb_status judge_part(plb_peers *p, const plb_likes *l, size_t i, against *a, plb_error *err) {
  const plb_profile **other = plb_calloc(l->n, sizeof *other);
  if (other == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  const size_t n = others_of(l, i, other);
  const plb_status status = score_against(l, l->profile[i], other, n, a, err);
  free(other);
  if (status == PLB_OK) {
    p->member[i].score = a->score;
    p->member[i].limit = a->limit;
    p->member[i].apart = a->score > a->limit;
  }
  return status;
}

static const plb_peer_band *worst_band(const plb_peers *p) {
  const plb_peer_band *worst = NULL;
  for (size_t b = 0; b < p->bands; b++) { /* of three parts there are no scores: the largest deviation */
    const plb_peer_band *band = &p->band[b];
    const bool worse = worst != NULL && (band->score > worst->score ||
                                         (!(worst->score > 0.0) && fabs(band->deviation) > fabs(worst->deviation)));
    worst = worst == NULL || worse ? band : worst;
  }
  return worst;
}

static const char *unit_of(const plb_likes *l, const char *role) {
  for (size_t c = 0; c < l->shell->channels; c++) {
    if (strcmp(l->shell->channel[c].role, role) == 0) {
      return l->shell->channel[c].unit;
    }
  }
  return "";
}

/* A departure of the typical cycle in one section. */
static void say_section(plb_peers *p, const plb_likes *l, const char *name) {
  const plb_peer_band *worst = worst_band(p);
  char size[PLB_NAME_SIZE], where[PLB_NAME_SIZE];
  if (worst == NULL) {
    return;
  }
  plb_peer_say_section(where, sizeof where, worst->from, worst->to);
  if (isfinite(worst->lag_s)) {
    plb_say_size(size, sizeof size, fabs(worst->lag_s), "s");
    plb_text_print(p->finding, sizeof p->finding, "%s comes %s %s than the others, %s", name, size, worst->lag_s > 0.0 ? "later" : "earlier", where);
  } else if (strcmp(worst->direction, "shape") != 0) {
    plb_say_size(size, sizeof size, fabs(worst->deviation), unit_of(l, worst->channel));
    plb_text_print(p->finding, sizeof p->finding, "%s is %s %s than the others, %s", name, size, worst->deviation > 0.0 ? "higher" : "lower", where);
  } else {
    plb_text_print(p->finding, sizeof p->finding, "%s has another shape than the others, most %s", name, where);
  }
}

/* What the worst term says, in words. */
static void say_term(plb_peers *p, const plb_likes *l, const against *a, size_t i) {
  const plb_term *t = &l->terms.term[a->worst];
  const plb_reference *r = l->shell;
  const char *name = p->member[i].name;
  char size[PLB_NAME_SIZE];
  plb_gain g = {1.0, 0.0, false};
  if (t->kind == PLB_D_GAIN || t->kind == PLB_D_OFFSET) {
    g = plb_gain_against(plb_profile_curve(l->profile[i], t->channel), a->fit->channel[t->channel].centre, l->plan.slices.grid);
  }
  if (a->score >= PLB_STRUCTURAL_STEP) {
    plb_text_print(p->finding, sizeof p->finding, "%s has cycles that the others do not have: marks are missing or too many", name);
  } else if (t->kind == PLB_D_GAIN) {
    plb_text_print(p->finding, sizeof p->finding, "%s is %s as a whole, %.2f times the others", name, g.gain > 1.0 ? "larger" : "smaller", g.gain);
  } else if (t->kind == PLB_D_OFFSET) {
    plb_say_size(size, sizeof size, fabs(g.offset), r->channel[t->channel].unit);
    plb_text_print(p->finding, sizeof p->finding, "%s lies %s %s than the others as a whole", name, size, g.offset > 0.0 ? "higher" : "lower");
  } else if (t->kind == PLB_D_READING) {
    const bool more = l->profile[i]->reading[t->index] > a->fit->reading_mid[t->index];
    plb_text_print(p->finding, sizeof p->finding, "%s differs in its %s: %s than the others", name, r->reading[t->index].name, more ? "more" : "less");
  } else if (t->kind == PLB_D_NOISE || t->kind == PLB_D_CYCLE) {
    const plb_band *band = &r->band[l->plan.slices.band[t->index]];
    plb_peer_say_section(size, sizeof size, band->from, band->to);
    plb_text_print(p->finding, sizeof p->finding, "%s is unsteady: its cycles differ among themselves, most %s", name, size);
  } else {
    say_section(p, l, name);
  }
}

static plb_status show_bands(plb_peers *p, const plb_likes *l, const against *a, size_t i, plb_error *err) {
  const plb_slices *s = &l->plan.slices;
  p->band = plb_calloc(s->bands, sizeof *p->band);
  if (p->band == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  p->bands = s->bands;
  const double cycle_s = l->profile[i]->rate_hz > 0.0 ? 1.0 / l->profile[i]->rate_hz : NAN;
  for (size_t b = 0; b < s->bands; b++) {
    const size_t c = s->channel[b];
    plb_peer_look(&p->band[b], l, b, plb_profile_curve(l->profile[i], c), a->fit->channel[c].centre, cycle_s, a->fit->channel[c].floor);
    for (size_t j = 0; a->d != NULL && j < l->terms.count; j++) {
      const plb_term *t = &l->terms.term[j];
      if (t->kind <= PLB_D_NOISE && t->index == b && isfinite(a->d[j])) {
        p->band[b].score = fmax(p->band[b].score, a->d[j] / a->scale[j]);
      }
    }
  }
  return PLB_OK;
}

/* Which one stands apart by more than the others do; -1: none, or more than one. */
static int pick(plb_peers *p) {
  int best = -1, next = -1;
  for (size_t i = 0; i < p->members; i++) {
    const plb_peer_member *m = &p->member[i];
    if (!(m->limit > 0.0)) {
      continue;
    }
    const double excess = m->score / m->limit;
    if (best < 0 || excess > p->member[best].score / p->member[best].limit) {
      next = best;
      best = (int)i;
    } else if (next < 0 || excess > p->member[next].score / p->member[next].limit) {
      next = (int)i;
    }
  }
  if (best < 0) {
    return -1;
  }
  const double own = p->member[best].score / p->member[best].limit;
  p->margin = next >= 0 ? own / (p->member[next].score / p->member[next].limit) : NAN;
  p->score = p->member[best].score;
  return best;
}

/*
 * The other rule, for few parts: the odd one is farther from each of the others than any two of these are from each other, by the yardstick of
 * plb_pairing_section(). `ratio_out`: how many times; -1: none.
 */
static plb_status odd_by_pairs(int *odd_out, double *ratio_out, plb_peers *p, const plb_likes *l, plb_error *err) {
  const size_t n = l->n;
  double *z = plb_calloc(n * n, sizeof *z);
  plb_status status = z != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  *odd_out = -1;
  for (size_t i = 0; i < n; i++) {
    for (size_t k = 0; status == PLB_OK && k < i; k++) {
      if (l->profile[i] != NULL && l->profile[k] != NULL) {
        status = plb_pairing_distance(&z[i * n + k], l, i, k, err);
        z[k * n + i] = z[i * n + k];
      }
    }
  }
  for (size_t i = 0; status == PLB_OK && i < n; i++) {
    double nearest = INFINITY, rest = PLB_PAIR_LIMIT;
    for (size_t k = 0; k < n; k++) {
      if (k == i || l->profile[k] == NULL) {
        continue;
      }
      nearest = fmin(nearest, z[i * n + k]);
      for (size_t j = 0; j < k; j++) {
        rest = j == i ? rest : fmax(rest, z[k * n + j]);
      }
    }
    if (n == FEWEST) {
      p->member[i].score = nearest / PLB_PAIR_LIMIT;
      p->member[i].limit = clear_of_pairs * rest / PLB_PAIR_LIMIT;
      p->member[i].apart = nearest > clear_of_pairs * rest;
    }
    if (l->profile[i] != NULL && nearest > clear_of_pairs * rest) {
      *odd_out = (int)i;
      *ratio_out = nearest / rest;
    }
  }
  free(z);
  return status;
}

/*
 * Like parts differ by a few per cent (common practice for coils, injectors and pumps), and a steady signal makes that significant: nothing
 * below three per cent of the swing in its typical cycle is called odd. Unsteadiness and missing marks are judged by their own yardsticks.
 */
static bool matters(const plb_likes *l, const against *a, size_t i, bool by_pairs) {
  const plb_distance_kind kind = by_pairs ? PLB_D_LASTING : l->terms.term[a->worst].kind;
  if (kind == PLB_D_NOISE || kind == PLB_D_CYCLE || kind == PLB_D_READING || kind == PLB_D_MARKS || a->score >= PLB_STRUCTURAL_STEP) {
    return true;
  }
  for (size_t c = 0; c < l->plan.channels; c++) {
    const float *curve = plb_profile_curve(l->profile[i], c), *centre = a->fit->channel[c].centre;
    const double least = 0.03 * a->fit->channel[c].peak_to_peak;
    for (size_t b = 0; b < l->plan.slices.bands; b++) {
      double square = 0.0;
      const size_t from = l->plan.slices.from[b], to = l->plan.slices.to[b];
      for (size_t g = from; g < to; g++) {
        square += pow((double)curve[g] - (double)centre[g], 2.0);
      }
      if (l->plan.slices.channel[b] == c && square > least * least * (double)(to - from)) {
        return true;
      }
    }
  }
  return false;
}

/* How the part stands against the others, section by section and in words. */
static plb_status show(plb_peers *p, const plb_likes *l, int which, bool by_pairs, bool *matters_out, plb_error *err) {
  against a = {0};
  plb_status status = PLB_OK;
  const size_t i = (size_t)which;
  if (l->n == FEWEST) {
    const plb_profile *other[FEWEST];
    const size_t n = others_of(l, i, other);
    status = plb_fit_new(&a.fit, &l->plan, other, n, err);
  } else {
    status = judge_part(p, l, i, &a, err);
  }
  status = status == PLB_OK ? show_bands(p, l, &a, i, err) : status;
  *matters_out = status == PLB_OK && matters(l, &a, i, by_pairs);
  if (status == PLB_OK && by_pairs) {
    say_section(p, l, p->member[i].name);
  } else if (status == PLB_OK) {
    say_term(p, l, &a, i);
  }
  against_dispose(&a);
  return status;
}

static plb_status judge_all(plb_peers *p, const plb_likes *l, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t i = 0; status == PLB_OK && i < l->n; i++) {
    against a = {0};
    if (l->profile[i] != NULL && l->n > FEWEST) {
      status = judge_part(p, l, i, &a, err);
    }
    against_dispose(&a);
  }
  int paired = -1;
  double ratio = NAN;
  status = status == PLB_OK ? odd_by_pairs(&paired, &ratio, p, l, err) : status;
  int most = status == PLB_OK ? pick(p) : -1;
  if (most < 0) {
    return status;
  }
  const bool scored = l->n > FEWEST && p->member[most].apart && p->margin >= clear;
  if (!scored && paired >= 0) {
    most = paired;
    p->score = p->member[paired].score;
    p->margin = ratio;
    p->member[paired].apart = true;
  }
  bool large = false;
  status = show(p, l, most, !scored, &large, err);
  p->odd = large && (scored || paired >= 0) ? most : -1;
  p->member[most].apart = p->member[most].apart && large;
  return status;
}

static plb_status tell_unlaid(plb_peers *p, const plb_likes *l, int *only, plb_error *err) {
  size_t unlaid = 0;
  for (size_t i = 0; i < l->n; i++) {
    if (l->laid[i] == PLB_LAID) {
      continue;
    }
    char text[PLB_TEXT_SIZE];
    const plb_status status = plb_likes_tell_unlaid(l, i, false, &p->reason, &p->reasons, text, err);
    if (status != PLB_OK) {
      return status;
    }
    p->member[i].apart = true;
    *only = (int)i;
    unlaid++;
  }
  *only = unlaid == 1 ? *only : -1;
  return PLB_OK;
}

static void say_sentence(plb_peers *p, const plb_likes *l) {
  size_t apart = 0, last = 0;
  for (size_t i = 0; i < p->members; i++) {
    apart += p->member[i].apart;
    last = p->member[i].apart ? i : last;
  }
  if (p->odd >= 0 && p->finding[0] != '\0') {
    plb_text_print(p->sentence, sizeof p->sentence, "the odd one out: %s", p->finding);
  } else if (apart > 1) {
    plb_text_print(p->sentence, sizeof p->sentence, "%zu of %zu stand apart, none of them clearly: compare with a known-good instead", apart,
                   l->n);
  } else if (apart == 1) {
    plb_text_print(p->sentence, sizeof p->sentence, "none is clearly odd; the least like the others is %.64s", p->member[last].name);
  } else if (!p->judged) {
    plb_text_print(p->sentence, sizeof p->sentence, "cannot tell: too few parts carry a signal that can be compared");
  } else {
    plb_text_print(p->sentence, sizeof p->sentence, "none of the %zu is odd: alike does not mean good, only alike", l->n);
  }
}

static plb_status check_request(size_t count, const plb_peer_options *o, plb_error *err) {
  if (o->split > 0 && (count != 1 || o->split < FEWEST || o->split > MOST_UNITS)) {
    return plb_fail(err, PLB_EUSAGE, "a split takes one capture and 3 to 16 units; for example --split cycle/4");
  }
  if (o->split == 0 && count < FEWEST) {
    return plb_fail(err, PLB_EUSAGE, "%zu part%s cannot have an odd one; give at least 3, or compare two with `plumb pair`", count, count == 1 ? "" : "s");
  }
  return PLB_OK;
}

static plb_status judge_likes(plb_peers *p, const plb_likes *l, plb_error *err) {
  int dead = -1;
  size_t laid = 0;
  plb_status status = tell_unlaid(p, l, &dead, err);
  for (size_t i = 0; i < l->n; i++) {
    laid += l->profile[i] != NULL;
  }
  if (status == PLB_OK && (laid > FEWEST || l->n == FEWEST) && laid >= FEWEST) {
    status = judge_all(p, l, err);
    p->promise = 1.0 / (double)laid;
    p->judged = true;
  }
  if (status == PLB_OK && dead >= 0) { /* a dead part is the odd one, whatever else is seen */
    p->odd = dead;
    plb_text_copy(p->finding, sizeof p->finding, p->reason[0].text);
  }
  say_sentence(p, l);
  return status;
}

plb_status plb_find_odd(plb_peers **out, const plb_part *part, size_t count, const plb_peer_options *options, plb_error *err) {
  *out = NULL;
  plb_likes *l = NULL;
  plb_status status = check_request(count, options, err);
  status = status == PLB_OK ? plb_likes_new(&l, part, count, options, err) : status;
  if (status == PLB_OK && options->split > 0) {
    status = plb_likes_split(l, options->split, err);
  }
  plb_peers *p = status == PLB_OK ? plb_calloc(1, sizeof *p) : NULL;
  if (status == PLB_OK && p != NULL) {
    p->members = l->n;
    p->member = plb_calloc(l->n, sizeof *p->member);
  }
  if (status == PLB_OK && (p == NULL || p->member == NULL)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  if (status == PLB_OK) {
    p->odd = -1;
    p->score = p->margin = p->promise = NAN;
    plb_cycle_spec_format(&l->shell->choice.spec, p->cycle, sizeof p->cycle);
    for (size_t i = 0; i < l->n; i++) {
      plb_text_copy(p->member[i].name, sizeof p->member[i].name, l->name[i]);
      p->member[i].score = p->member[i].limit = NAN;
    }
    status = judge_likes(p, l, err);
  }
  plb_likes_free(l);
  if (status != PLB_OK) {
    plb_peers_free(p);
    return status;
  }
  *out = p;
  return PLB_OK;
}
