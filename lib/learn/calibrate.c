#include "learn/calibrate.h"
#include <math.h>
#include <string.h>

void plb_units_dispose(plb_units *units) {
  free(units->unit);
  free(units->independent);
  *units = (plb_units){0};
}

plb_status plb_units_init(plb_units *out, const char *const *group, size_t n, bool *stated_out, bool *one_group_out, plb_error *err) {
  *out = (plb_units){.n = n, .unit = plb_calloc(n, sizeof *out->unit), .independent = plb_calloc(n, sizeof *out->independent)};
  if (out->unit == NULL || out->independent == NULL) {
    plb_units_dispose(out);
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu captures", n);
  }
  *stated_out = true;
  for (size_t i = 0; i < n; i++) {
    *stated_out = *stated_out && group[i] != NULL;
    size_t same = i;
    for (size_t j = 0; j < i && group[i] != NULL; j++) {
      if (group[j] != NULL && strcmp(group[i], group[j]) == 0) {
        same = j;
        break;
      }
    }
    out->independent[i] = same < i ? out->independent[same] : out->independents++;
  }
  *one_group_out = *stated_out && out->independents == 1;
  if (*one_group_out) {
    out->independents = n;
    for (size_t i = 0; i < n; i++) {
      out->independent[i] = i;
    }
  }
  /* Two leave-outs of groups, one inside the other, need three of them: with two, the inner one leaves captures out. */
  const bool singly = out->independents < 3;
  out->two = out->independents == 2 && n > 2;
  const size_t apart = singly ? n : out->independents;
  out->units = apart > PLB_SINGLY_MOST ? PLB_FOLDS : apart;
  for (size_t i = 0; i < n; i++) {
    out->unit[i] = (singly ? i : out->independent[i]) % out->units;
  }
  return PLB_OK;
}

void plb_limits_from_scores(plb_calibration *out, double *score, size_t n, double alpha) {
  const double count = (double)n;
  out->alpha = alpha;
  out->independent = (unsigned)n;
  qsort(score, n, sizeof *score, plb_compare_double);
  const double reachable = fmax(alpha, 1.0 / (count + 1.0));
  size_t k = (size_t)ceil((count + 1.0) * (1.0 - reachable) - 1e-9);
  k = k < 1 ? 1 : k > n ? n : k;
  out->limit = score[k - 1];
  out->promise = (count + 1.0 - (double)k) / (count + 1.0);
  out->promise_upper90 = plb_beta_quantile(0.9, count + 1.0 - (double)k, (double)k);
  double sum = 0.0, square = 0.0;
  for (size_t i = 0; i < n; i++) {
    sum += log(score[i]);
  }
  const double mean = sum / count;
  for (size_t i = 0; i < n; i++) {
    square += (log(score[i]) - mean) * (log(score[i]) - mean);
  }
  /* The guard holds alpha under a normal law of the log scores, where few captures cannot promise it; the robust one only casts doubt. */
  const double wider = sqrt(1.0 + 1.0 / count), prior = 4.0 * 0.2 * 0.2;
  const double t = plb_t_quantile(1.0 - alpha, count + 3.0), t_doubt = plb_t_quantile(0.99, count + 3.0);
  out->guard = exp(mean + t * sqrt((square + prior) / (count + 3.0)) * wider);
  const double middle = n % 2 == 1 ? score[n / 2] : sqrt(score[n / 2 - 1] * score[n / 2]);
  double *deviation = plb_calloc(n, sizeof *deviation);
  double spread = 0.0;
  if (deviation != NULL) {
    for (size_t i = 0; i < n; i++) {
      deviation[i] = fabs(log(score[i]) - log(middle));
    }
    spread = 1.4826 * plb_median(deviation, n);
    free(deviation);
  }
  out->guard_robust = exp(log(middle) + t_doubt * sqrt(((count - 1.0) * spread * spread + prior) / (count + 3.0)) * wider);
}

typedef struct trial {
  const plb_plan *plan;
  const plb_terms *terms;
  const plb_profile *const *profile;
  const plb_units *units;
  size_t wholes;    /* what is left out for a score: units, or two groups */
  double *inner;    /* [wholes][n][terms]: distance of j against a fit without the whole and without j's own unit */
  double *outer;    /* [n][terms]: distance of i against a fit without its unit */
  double *away;     /* [n][terms]: distance of i against a fit without its whole; `outer` unless there are two groups */
  float *pair;      /* [elastic terms][n][n]; NULL unless elastic */
} trial;

static const size_t NONE = SIZE_MAX;

/* What a fit has not seen. */
typedef struct absence {
  size_t group, first, second; /* a group, two units; NONE */
} absence;

static bool is_absent(const trial *t, size_t i, absence gone) {
  const size_t unit = t->units->unit[i];
  return unit == gone.first || unit == gone.second || t->units->independent[i] == gone.group;
}

/* What is left out whole for the score of capture i. */
static size_t whole_of(const trial *t, size_t i) { return t->units->two ? t->units->independent[i] : t->units->unit[i]; }

static size_t members_without(const trial *t, absence gone, const plb_profile **member) {
  size_t n = 0;
  for (size_t i = 0; i < t->units->n; i++) {
    if (!is_absent(t, i, gone)) {
      member[n++] = t->profile[i];
    }
  }
  return n;
}

static bool is_elastic(const plb_term *term) { return term->kind == PLB_D_LEVEL || term->kind == PLB_D_SLOPE; }

/* Nearest good capture to i among those that are there, from the pair distances made once. */
static void fill_elastic(const trial *t, size_t i, absence gone, double *d) {
  const size_t n = t->units->n;
  size_t row = 0;
  for (size_t j = 0; t->pair != NULL && j < t->terms->count; j++) {
    if (!is_elastic(&t->terms->term[j])) {
      continue;
    }
    const float *pair = t->pair + (row++ * n + i) * n;
    double best = INFINITY;
    for (size_t k = 0; k < n; k++) {
      if (!is_absent(t, k, gone)) {
        best = fmin(best, (double)pair[k]);
      }
    }
    d[j] = best;
  }
}

/* Where the distances of an absent capture are kept; NULL: they are not asked for. */
static double *place_of(const trial *t, size_t i, absence gone) {
  const size_t n = t->units->n, terms = t->terms->count, own = t->units->unit[i];
  if (gone.group != NONE) {
    const bool in = t->units->independent[i] == gone.group;
    return gone.first == NONE ? t->away + i * terms : in ? NULL : t->inner + (gone.group * n + i) * terms;
  }
  if (gone.first == gone.second) {
    return t->outer + i * terms;
  }
  return t->inner + ((own == gone.first ? gone.second : gone.first) * n + i) * terms;
}

/* One fit, and the distances of what was left out of it. A fold may hold all of the other group: then inner_of() looks elsewhere. */
static plb_status try_without(const trial *t, absence gone, plb_error *err) {
  const size_t n = t->units->n;
  const plb_profile **member = plb_calloc(n, sizeof *member);
  if (member == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  plb_fit *fit = NULL;
  const size_t count = members_without(t, gone, member);
  const bool leaves = count > 0 || !t->units->two;
  plb_status status = leaves ? plb_fit_new(&fit, t->plan, member, count, err) : PLB_OK;
  for (size_t i = 0; status == PLB_OK && fit != NULL && i < n; i++) {
    double *d = is_absent(t, i, gone) ? place_of(t, i, gone) : NULL;
    if (d != NULL) {
      status = plb_distances(fit, t->plan, t->terms, t->profile[i], d, err);
    }
    if (status == PLB_OK && d != NULL) {
      fill_elastic(t, i, gone, d);
    }
  }
  plb_fit_free(fit);
  free(member);
  return status;
}

static plb_status pair_distances(trial *t, plb_error *err) {
  size_t rows = 0;
  for (size_t j = 0; j < t->terms->count; j++) {
    rows += is_elastic(&t->terms->term[j]);
  }
  if (rows == 0) {
    return PLB_OK;
  }
  const size_t n = t->units->n;
  plb_elastic *e = NULL;
  plb_status status = plb_elastic_new(&e, t->plan, t->profile, n, err);
  if (status != PLB_OK) {
    return status;
  }
  t->pair = plb_calloc(rows * n * n, sizeof *t->pair);
  if (t->pair == NULL) {
    plb_elastic_free(e);
    return plb_fail(err, PLB_ENOMEM, "out of memory for the distances of %zu captures", n);
  }
  size_t row = 0;
  for (size_t j = 0; j < t->terms->count; j++) {
    const plb_term *term = &t->terms->term[j];
    if (!is_elastic(term)) {
      continue;
    }
    float *pair = t->pair + row++ * n * n;
    const int slope = term->kind == PLB_D_SLOPE;
    const size_t channel = term->channel;
#pragma omp parallel for schedule(dynamic)
    for (size_t a = 0; a < n; a++) {
      for (size_t b = 0; b < a; b++) {
        pair[a * n + b] = pair[b * n + a] = (float)plb_elastic_between(e, slope, channel, a, b, INFINITY);
      }
    }
  }
  plb_elastic_free(e);
  return PLB_OK;
}

/* Distances of j that make the scale of a fit without a whole; without that whole alone where nothing is left without j as well. */
static const double *inner_of(const trial *t, size_t whole, size_t j) {
  const plb_units *u = t->units;
  bool left = !u->two;
  for (size_t k = 0; k < u->n && !left; k++) {
    left = !is_absent(t, k, (absence){whole, u->unit[j], NONE});
  }
  return left ? t->inner + (whole * u->n + j) * t->terms->count : t->outer + j * t->terms->count;
}

/*
 * Damaged cycles of a good capture are in its score as the reading "affected cycles", not as the step that puts damage before all else: the
 * share from which damage counts is three times that of the worst exemplar (outcome.c), so no exemplar reaches it, and a limit above the
 * step would leave the reference blind for everything that is no damage.
 */
static plb_status score_held_out(const trial *t, double *held_out, plb_error *err) {
  const size_t n = t->units->n, terms = t->terms->count;
  const bool elastic = t->pair != NULL;
  double *rows = plb_calloc(n * terms, sizeof *rows), *scale = plb_calloc(terms, sizeof *scale);
  plb_status status = rows != NULL && scale != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t u = 0; status == PLB_OK && u < t->wholes; u++) {
    size_t count = 0;
    for (size_t j = 0; j < n; j++) {
      if (whole_of(t, j) != u) {
        memcpy(rows + count++ * terms, inner_of(t, u, j), terms * sizeof *rows);
      }
    }
    if (!plb_scales_from(t->terms, rows, count, scale)) {
      status = plb_fail(err, PLB_ENOMEM, "out of memory");
    }
    for (size_t i = 0; status == PLB_OK && i < n; i++) {
      if (whole_of(t, i) == u) {
        held_out[i] = plb_score_of(t->terms, t->away + i * terms, scale, elastic, NULL);
      }
    }
  }
  free(rows);
  free(scale);
  return status;
}

/* Two groups: every unit, then each group, alone and with every unit of the other one. Else every unit and every pair of units. */
static size_t jobs_of(const plb_units *u) { return u->two ? u->units + 2 * (u->units + 1) : u->units * (u->units + 1) / 2; }

static absence absence_of(const plb_units *units, size_t job) {
  if (units->two && job >= units->units) {
    const size_t rest = job - units->units, unit = rest % (units->units + 1);
    return (absence){rest / (units->units + 1), unit < units->units ? unit : NONE, NONE};
  }
  if (units->two) {
    return (absence){NONE, job, job};
  }
  size_t u = 0;
  while (job >= units->units - u) {
    job -= units->units - u;
    u++;
  }
  return (absence){NONE, u, u + job};
}

/* All fits, in parallel. */
static plb_status run_trials(const trial *t, plb_error *err) {
  const size_t count = jobs_of(t->units);
  plb_status status = PLB_OK;
#pragma omp parallel for schedule(dynamic)
  for (size_t job = 0; job < count; job++) {
    plb_error own = PLB_ERROR_INIT;
    const plb_status one = try_without(t, absence_of(t->units, job), &own);
    if (one != PLB_OK) {
#pragma omp critical(plb_run_trials)
      {
        status = one;
        if (err != NULL) {
          *err = own;
        }
      }
    }
  }
  return status;
}

plb_status plb_calibrate(plb_calibration *out, double *held_out, double *scale, const plb_plan *plan, const plb_terms *terms,
                         const plb_profile *const *profile, const plb_units *units, double alpha, plb_error *err) {
  const size_t n = units->n;
  trial t = {.plan = plan, .terms = terms, .profile = profile, .units = units, .wholes = units->two ? 2 : units->units};
  double *independent = plb_calloc(units->independents, sizeof *independent);
  t.inner = plb_calloc(t.wholes * n * terms->count, sizeof *t.inner);
  t.outer = plb_calloc(n * terms->count, sizeof *t.outer);
  t.away = units->two ? plb_calloc(n * terms->count, sizeof *t.away) : t.outer;
  plb_status status = PLB_OK;
  if (t.inner == NULL || t.outer == NULL || t.away == NULL || independent == NULL) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory for the calibration of %zu captures", n);
    goto done;
  }
  status = pair_distances(&t, err);
  if (status == PLB_OK) {
    status = run_trials(&t, err);
  }
  if (status == PLB_OK) {
    status = score_held_out(&t, held_out, err);
  }
  if (status == PLB_OK && !plb_scales_from(terms, t.outer, n, scale)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  if (status == PLB_OK) {
    for (size_t i = 0; i < n; i++) { /* a group speaks with its least usual capture: never too small a limit */
      independent[units->independent[i]] = fmax(independent[units->independent[i]], held_out[i]);
    }
    plb_limits_from_scores(out, independent, units->independents, alpha);
  }
done:
  free(t.inner);
  if (t.away != t.outer) {
    free(t.away);
  }
  free(t.outer);
  free(t.pair);
  free(independent);
  return status;
}
