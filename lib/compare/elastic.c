#include "compare/elastic.h"
#include <math.h>
#include <string.h>

static const double step_penalty = 0.5; /* for each off-diagonal step; without it warping explains faults away */

static void smooth(const float *x, size_t n, double sigma, float *out) {
  const ptrdiff_t reach = (ptrdiff_t)ceil(4.0 * sigma), last = (ptrdiff_t)n - 1;
  for (ptrdiff_t i = 0; i <= last; i++) {
    double sum = 0.0, weight = 0.0;
    for (ptrdiff_t k = -reach; k <= reach; k++) {
      const ptrdiff_t at = i + k < 0 ? 0 : i + k > last ? last : i + k;
      const double w = exp(-0.5 * (double)(k * k) / (sigma * sigma));
      sum += w * (double)x[at];
      weight += w;
    }
    out[i] = (float)(sum / weight);
  }
}

static void gradient(const float *x, size_t n, float *out) {
  for (size_t i = 0; i < n; i++) {
    const size_t before = i > 0 ? i - 1 : 0, after = i + 1 < n ? i + 1 : n - 1;
    out[i] = after > before ? (x[after] - x[before]) / (float)(after - before) : 0.0F;
  }
}

/* `work` has n points. */
static void level_or_slope(const float *curve, size_t n, int slope, float *work, float *out) {
  if (slope == 0) {
    smooth(curve, n, fmax(0.01 * (double)n, 0.05), out);
    return;
  }
  smooth(curve, n, fmax(0.7, 0.02 * (double)n), work);
  gradient(work, n, out);
}

static float *curve_of(const plb_elastic *e, int slope, size_t channel, size_t i) {
  return e->curve + (((size_t)slope * e->channels + channel) * e->n + i) * e->points;
}

static double rms_about_means(const plb_elastic *e, int slope, size_t channel) {
  double square = 0.0;
  for (size_t i = 0; i < e->n; i++) {
    const float *x = curve_of(e, slope, channel, i);
    double sum = 0.0, sum2 = 0.0;
    for (size_t k = 0; k < e->points; k++) {
      sum += (double)x[k];
      sum2 += (double)x[k] * (double)x[k];
    }
    square += sum2 - sum * sum / (double)e->points;
  }
  const double rms = sqrt(fmax(square, 0.0) / (double)(e->n * e->points));
  return rms > 0.0 ? rms : 1.0;
}

plb_status plb_elastic_new(plb_elastic **out, const plb_plan *plan, const plb_profile *const *member, size_t count, plb_error *err) {
  *out = NULL;
  const size_t points = plan->slices.grid;
  if (points > PLB_WARP_MOST) {
    return plb_fail(err, PLB_EINTERNAL, "a single event has %zu points, more than can be warped", points);
  }
  plb_elastic *e = plb_calloc(1, sizeof *e);
  float *work = plb_calloc(points, sizeof *work);
  if (e != NULL) {
    *e = (plb_elastic){.n = count, .channels = plan->channels, .points = points, .window = (points + 9) / 10 + 1};
    e->curve = plb_calloc(2 * e->channels * count * points, sizeof *e->curve);
    e->scale = plb_calloc(2 * e->channels, sizeof *e->scale);
  }
  if (e == NULL || work == NULL || e->curve == NULL || e->scale == NULL) {
    plb_elastic_free(e);
    free(work);
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu good captures", count);
  }
  for (int slope = 0; slope < 2; slope++) {
    for (size_t c = 0; c < e->channels; c++) {
      for (size_t i = 0; i < count; i++) {
        level_or_slope(plb_profile_curve(member[i], c), points, slope, work, curve_of(e, slope, c, i));
      }
      const double scale = e->scale[(size_t)slope * e->channels + c] = rms_about_means(e, slope, c);
      float *all = curve_of(e, slope, c, 0);
      for (size_t k = 0; k < count * points; k++) {
        all[k] = (float)((double)all[k] / scale);
      }
    }
  }
  free(work);
  *out = e;
  return PLB_OK;
}

void plb_elastic_free(plb_elastic *elastic) {
  if (elastic != NULL) {
    free(elastic->curve);
    free(elastic->scale);
    free(elastic);
  }
}

double plb_elastic_between(const plb_elastic *e, int slope, size_t channel, size_t i, size_t j, double stop) {
  return plb_warp_distance(curve_of(e, slope, channel, i), curve_of(e, slope, channel, j), e->points, e->window, step_penalty, stop);
}

static double nearest(const plb_elastic *e, int slope, size_t channel, const float *x) {
  double best = INFINITY;
  for (size_t i = 0; i < e->n; i++) {
    best = fmin(best, plb_warp_distance(curve_of(e, slope, channel, i), x, e->points, e->window, step_penalty, best));
  }
  return best;
}

plb_status plb_elastic_distances(const plb_elastic *e, const plb_terms *terms, const plb_profile *x, double *d, plb_error *err) {
  float *work = plb_calloc(2 * e->points, sizeof *work);
  if (work == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  float *curve = work + e->points;
  for (size_t j = 0; j < terms->count; j++) {
    const plb_term *t = &terms->term[j];
    if (t->kind != PLB_D_LEVEL && t->kind != PLB_D_SLOPE) {
      continue;
    }
    const int slope = t->kind == PLB_D_SLOPE;
    level_or_slope(plb_profile_curve(x, t->channel), e->points, slope, work, curve);
    for (size_t k = 0; k < e->points; k++) {
      curve[k] = (float)((double)curve[k] / e->scale[(size_t)slope * e->channels + t->channel]);
    }
    d[j] = nearest(e, slope, t->channel, curve);
  }
  free(work);
  return PLB_OK;
}
