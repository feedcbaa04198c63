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
  /* Two leave-outs, one inside the other, need three units: with fewer groups the captures are left out singly. */
  const bool singly = out->independents < 3;
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
  const double t = plb_t_quantile(0.99, count + 3.0), wider = sqrt(1.0 + 1.0 / count), prior = 4.0 * 0.2 * 0.2;
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
  out->guard_robust = exp(log(middle) + t * sqrt(((count - 1.0) * spread * spread + prior) / (count + 3.0)) * wider);
}

typedef struct trial {
  const plb_plan *plan;
  const plb_terms *terms;
  const plb_profile *const *profile;
  const plb_units *units;
  double *inner; /* [units][n][terms]: distance of j against a fit without the unit and without j's own unit */
  double *outer; /* [n][terms]: distance of i against a fit without its unit */
  float *pair;   /* [elastic terms][n][n]; NULL unless elastic */
} trial;

/* The captures outside two units (which may be the same). */
static size_t members_without(const trial *t, size_t u, size_t v, const plb_profile **member) {
  size_t n = 0;
  for (size_t i = 0; i < t->units->n; i++) {
    if (t->units->unit[i] != u && t->units->unit[i] != v) {
      member[n++] = t->profile[i];
    }
  }
  return n;
}

static bool is_elastic(const plb_term *term) { return term->kind == PLB_D_LEVEL || term->kind == PLB_D_SLOPE; }

/* Nearest good capture to i outside two units, from the pair distances made once. */
static void fill_elastic(const trial *t, size_t i, size_t u, size_t v, double *d) {
  const size_t n = t->units->n;
  size_t row = 0;
  for (size_t j = 0; t->pair != NULL && j < t->terms->count; j++) {
    if (!is_elastic(&t->terms->term[j])) {
      continue;
    }
    const float *pair = t->pair + (row++ * n + i) * n;
    double best = INFINITY;
    for (size_t k = 0; k < n; k++) {
      if (t->units->unit[k] != u && t->units->unit[k] != v) {
        best = fmin(best, (double)pair[k]);
      }
    }
    d[j] = best;
  }
}

/* One fit without units u and v (u == v: without one), and the distances of what was left out. */
static plb_status try_without(const trial *t, size_t u, size_t v, plb_error *err) {
  const size_t n = t->units->n, terms = t->terms->count;
  const plb_profile **member = plb_calloc(n, sizeof *member);
  if (member == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  plb_fit *fit = NULL;
  const size_t count = members_without(t, u, v, member);
  plb_status status = plb_fit_new(&fit, t->plan, member, count, err);
  for (size_t i = 0; status == PLB_OK && i < n; i++) {
    const size_t own = t->units->unit[i];
    if (own != u && own != v) {
      continue;
    }
    double *d = u == v ? t->outer + i * terms : t->inner + ((own == u ? v : u) * n + i) * terms;
    status = plb_distances(fit, t->plan, t->terms, t->profile[i], d, err);
    if (status == PLB_OK) {
      fill_elastic(t, i, u, v, d);
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
  for (size_t u = 0; status == PLB_OK && u < t->units->units; u++) {
    size_t count = 0;
    for (size_t j = 0; j < n; j++) {
      if (t->units->unit[j] != u) {
        memcpy(rows + count++ * terms, t->inner + (u * n + j) * terms, terms * sizeof *rows);
      }
    }
    if (!plb_scales_from(t->terms, rows, count, scale)) {
      status = plb_fail(err, PLB_ENOMEM, "out of memory");
    }
    for (size_t i = 0; status == PLB_OK && i < n; i++) {
      if (t->units->unit[i] == u) {
        held_out[i] = plb_score_of(t->terms, t->outer + i * terms, scale, elastic, NULL);
      }
    }
  }
  free(rows);
  free(scale);
  return status;
}

/* All fits, one per unit and one per pair of units, in parallel. */
static plb_status run_trials(const trial *t, plb_error *err) {
  const size_t units = t->units->units, count = units * (units + 1) / 2;
  plb_status status = PLB_OK;
#pragma omp parallel for schedule(dynamic)
  for (size_t job = 0; job < count; job++) {
    size_t u = 0, rest = job;
    while (rest >= units - u) {
      rest -= units - u;
      u++;
    }
    plb_error own = PLB_ERROR_INIT;
    const plb_status one = try_without(t, u, u + rest, &own);
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
  trial t = {.plan = plan, .terms = terms, .profile = profile, .units = units};
  double *independent = plb_calloc(units->independents, sizeof *independent);
  t.inner = plb_calloc(units->units * n * terms->count, sizeof *t.inner);
  t.outer = plb_calloc(n * terms->count, sizeof *t.outer);
  plb_status status = PLB_OK;
  if (t.inner == NULL || t.outer == NULL || independent == NULL) {
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
  free(t.outer);
  free(t.pair);
  free(independent);
  return status;
}
