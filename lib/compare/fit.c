#include "compare/judge.h"
#include "compare/steps.h"
#include <math.h>
#include <string.h>

/* Linear regression curve ~ gain * centre + offset with weights; false when the centre is flat under them. */
static bool regress(const float *curve, const float *centre, const float *weight, size_t n, plb_gain *out) {
  double w = 0.0, x = 0.0, y = 0.0, xx = 0.0, xy = 0.0;
  for (size_t i = 0; i < n; i++) {
    const double wi = (double)weight[i], ci = (double)centre[i], mi = (double)curve[i];
    w += wi;
    x += wi * ci;
    y += wi * mi;
    xx += wi * ci * ci;
    xy += wi * ci * mi;
  }
  const double spread = xx - x * x / w;
  if (!(w > 0.0) || !(spread > 1e-12 * xx)) {
    return false;
  }
  out->gain = (xy - x * y / w) / spread;
  out->offset = (y - out->gain * x) / w;
  return true;
}

plb_gain plb_gain_against(const float *curve, const float *centre, size_t n) {
  plb_gain g = {1.0, 0.0, false};
  float *weight = plb_calloc(3 * n, sizeof *weight);
  if (weight == NULL) {
    return g;
  }
  float *residual = weight + n, *scratch = weight + 2 * n;
  for (size_t i = 0; i < n; i++) {
    weight[i] = 1.0F;
  }
  bool ok = regress(curve, centre, weight, n, &g);
  for (int step = 0; ok && step < 3; step++) {
    for (size_t i = 0; i < n; i++) {
      residual[i] = fabsf(curve[i] - (float)(g.gain * (double)centre[i] + g.offset));
      scratch[i] = residual[i];
    }
    const float reach = 1.5F * 1.4826F * plb_median_f(scratch, n);
    for (size_t i = 0; i < n; i++) {
      weight[i] = residual[i] <= reach ? 1.0F : reach / residual[i];
    }
    ok = regress(curve, centre, weight, n, &g);
  }
  free(weight);
  if (!ok) {
    return (plb_gain){1.0, 0.0, false};
  }
  g.usable = g.gain >= 0.2 && g.gain <= 5.0;
  return g;
}

/* A gain is to be believed near what the rule expects. */
static plb_gain beside_rule(const plb_fit_channel *channel, plb_gain g, const plb_profile *x) {
  const double expected = channel->rule.amplitude == PLB_RULE_SPEED_CURVE ? plb_rule_log_gain(&channel->rule, x) : NAN;
  if (isfinite(expected) && g.gain > 0.0) {
    const double against = g.gain / exp(expected);
    g.usable = against >= 0.2 && against <= 5.0;
  }
  return g;
}

plb_gain plb_gain_of(const plb_fit_channel *channel, const float *curve, size_t grid, const plb_profile *x) {
  return beside_rule(channel, plb_gain_against(curve, channel->centre, grid), x);
}

/* The curve with its gain and offset removed; as it is when the gain is not to be believed. */
static void to_shape(const float *curve, plb_gain g, size_t n, float *out) {
  if (!g.usable) {
    memcpy(out, curve, n * sizeof *out);
    return;
  }
  const float scale = (float)(1.0 / g.gain), offset = (float)g.offset;
  for (size_t i = 0; i < n; i++) {
    out[i] = (curve[i] - offset) * scale;
  }
}

static void mean_of(const float *const *curve, size_t n, size_t grid, float *out) {
  for (size_t g = 0; g < grid; g++) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
      sum += (double)curve[i][g];
    }
    out[g] = (float)(sum / (double)n);
  }
}

/*
 * h of the recipe: standard deviation over exemplars, the largest of three neighbours, drawn towards the median over the grid, widened by
 * 1 + 1/n for a new capture, with the floor added. With one exemplar the spread is what its own cycles show.
 */
static bool half_width(const float *const *curve, size_t n, size_t grid, const float *centre, const float *within, double floor,
                       const float *jump, float *out) {
  float *s = plb_calloc(2 * grid, sizeof *s);
  if (s == NULL) {
    return false;
  }
  float *scratch = s + grid;
  for (size_t g = 0; g < grid; g++) {
    double square = 0.0;
    for (size_t i = 0; i < n; i++) {
      const double d = (double)curve[i][g] - (double)centre[g];
      square += d * d;
    }
    s[g] = n > 1 ? (float)sqrt(square / (double)(n - 1)) : within[g];
  }
  for (size_t g = 0; g < grid; g++) {
    const float before = s[g > 0 ? g - 1 : 0], after = s[g + 1 < grid ? g + 1 : g];
    scratch[g] = fmaxf(s[g], fmaxf(before, after));
  }
  memcpy(s, scratch, grid * sizeof *s);
  const double typical = (double)plb_median_f(scratch, grid);
  for (size_t g = 0; g < grid; g++) {
    const double own = (double)s[g] * (double)s[g];
    const double drawn = ((double)(n - 1) * own + 4.0 * typical * typical) / ((double)n + 3.0);
    const double timing = (double)jump[g];
    out[g] = (float)sqrt(drawn * (1.0 + 1.0 / (double)n) + floor * floor + timing * timing);
  }
  free(s);
  return true;
}

/* Cells that one sample covers there: more where a short stretch has its fair share of the grid. */
static double cells_of_sample(const plb_plan *plan, double phase) {
  const plb_cycle_choice *c = plan->choice;
  const double lasts = plan->sample_cells > 0.0 ? plb_span_slope(c, phase) : (double)NAN;
  return lasts > 0.0 ? plan->sample_cells / (c->rate_high_hz * lasts) : plan->sample_cells;
}

/*
 * Where an edge lies between two samples is known to a sample at best, and good captures whose edges all fall alike on the samples do not show
 * it. Half a sample to either side, as far as the centre runs there.
 */
static void jump_of(const float *centre, size_t grid, const plb_plan *plan, float *out) {
  for (size_t g = 0; g < grid; g++) {
    const double sample_cells = cells_of_sample(plan, ((double)g + 0.5) / (double)grid);
    const float before = centre[g > 0 ? g - 1 : 0], after = centre[g + 1 < grid ? g + 1 : g];
    const double rise = fmax(fabs((double)after - (double)centre[g]), fabs((double)centre[g] - (double)before));
    out[g] = (float)(0.5 * fmin(sample_cells, 2.0) * rise);
  }
}

/* Where a curve passes `level` most steeply within `reach` cells of `at`, in the direction `sign`; NaN: nowhere. */
static double passes_near(const float *curve, size_t grid, double level, double sign, size_t at, size_t reach) {
  const size_t from = at > reach ? at - reach : 0, to = at + reach + 1 < grid ? at + reach + 1 : grid - 1;
  double best = NAN;
  for (size_t g = from; g < to; g++) {
    const double a = sign * ((double)curve[g] - level), b = sign * ((double)curve[g + 1] - level);
    const double place = (double)g + a / (a - b);
    if (a < 0.0 && b >= 0.0 && !(fabs(place - (double)at) >= fabs(best - (double)at))) {
      best = place;
    }
  }
  return best;
}

/*
 * Another channel's steep edges lie where its own part puts them, a little elsewhere in each healthy machine (cam against crank). A cell that such
 * an edge can reach is wide open, and closes as a bell of 1.2 of the edge's deviations among the good captures: an edge three
 * deviations away is hardly told, one at five is gross.
 */
static void open_at_edges(const float *const *curve, size_t n, size_t grid, double low, double high, float *jump) {
  const size_t reach = grid / 72 > 3 ? grid / 72 : 3; /* five degrees of a turn */
  const double level = 0.5 * (low + high), swing = high - low;
  for (size_t g = 2; n > 1 && g + 3 < grid; g++) {
    const double step = (double)curve[0][g + 2] - (double)curve[0][g - 2], sign = step > 0.0 ? 1.0 : -1.0;
    const bool here = sign * ((double)curve[0][g] - level) < 0.0 && sign * ((double)curve[0][g + 1] - level) >= 0.0;
    if (!here || fabs(step) < 0.6 * swing) {
      continue;
    }
    double sum = 0.0, square = 0.0, seen = 0.0;
    for (size_t i = 0; i < n; i++) {
      const double place = passes_near(curve[i], grid, level, sign, g, reach);
      if (isfinite(place)) {
        sum += place - (double)g;
        square += (place - (double)g) * (place - (double)g);
        seen += 1.0;
      }
    }
    const double mean = sum / seen, own = seen > 1.0 ? fmax(0.0, square / seen - mean * mean) * seen / (seen - 1.0) : 0.0;
    const double sd = sqrt(((seen - 1.0) * own + 4.0) / (seen + 3.0) * (1.0 + 1.0 / seen)); /* drawn towards one cell */
    const double middle = (double)g + 0.5 + mean, wide = 1.2 * sd, far = 6.0 * wide;
    for (double k = fmax(floor(middle - far), 0.0); k < fmin(middle + far, (double)grid); k++) {
      const double off = fmax(0.0, fabs(k - middle) - 1.0) / wide;
      jump[(size_t)k] = fmaxf(jump[(size_t)k], (float)(swing * exp(-0.5 * off * off)));
    }
  }
}

static void ridge_dispose(plb_ridge *r) {
  free(r->mean);
  free(r->a);
  free(r->factor);
  *r = (plb_ridge){0};
}

static bool ridge_factor_dual(plb_ridge *r, double *trace) {
  const size_t n = r->n;
  r->factor = plb_calloc(n * n, sizeof *r->factor);
  if (r->factor == NULL) {
    return false;
  }
  for (size_t i = 0; i < n; i++) {
    for (size_t j = 0; j <= i; j++) {
      r->factor[i * n + j] = r->factor[j * n + i] = plb_dot_f(r->a + i * r->width, r->a + j * r->width, r->width);
    }
    *trace += r->factor[i * n + i];
  }
  return true;
}

static bool ridge_factor_primal(plb_ridge *r, double *trace) {
  const size_t w = r->width;
  r->factor = plb_calloc(w * w, sizeof *r->factor);
  if (r->factor == NULL) {
    return false;
  }
  for (size_t i = 0; i < r->n; i++) {
    const float *row = r->a + i * w;
    for (size_t p = 0; p < w; p++) {
      const double rp = (double)row[p];
      for (size_t q = 0; q <= p; q++) {
        r->factor[p * w + q] += rp * (double)row[q];
      }
    }
  }
  for (size_t p = 0; p < w; p++) {
    *trace += r->factor[p * w + p];
  }
  return true;
}

/*
 * M = sqrt(y' (S + lambda I)^-1 y / width) with S the covariance of the exemplars in the band and
 * lambda = 0.1 trace(K) / ((n-1) width) + f^2. Dual: y'y - k' (K + (n-1) lambda I)^-1 k over lambda; the same number by the matrix
 * inversion lemma, with a system of n instead of width unknowns.
 */
static bool ridge_build(plb_ridge *r, const float *const *curve, size_t n, size_t from, size_t to, double floor, const float *jump) {
  r->n = n;
  r->width = to - from;
  r->jump = jump + from;
  r->floor = (float)floor;
  r->dual = n <= r->width;
  r->mean = plb_calloc(r->width, sizeof *r->mean);
  r->a = plb_calloc(n * r->width, sizeof *r->a);
  if (r->mean == NULL || r->a == NULL) {
    return false;
  }
  for (size_t k = 0; k < r->width; k++) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
      sum += (double)curve[i][from + k];
    }
    r->mean[k] = (float)(sum / (double)n);
    for (size_t i = 0; i < n; i++) {
      r->a[i * r->width + k] = plb_ridge_weight(r, k) * (curve[i][from + k] - r->mean[k]);
    }
  }
  if (n < 2) {
    r->lambda = floor * floor;
    return true;
  }
  double trace = 0.0;
  if (!(r->dual ? ridge_factor_dual(r, &trace) : ridge_factor_primal(r, &trace))) {
    return false;
  }
  const double freedom = (double)(n - 1);
  r->lambda = 0.1 * trace / (freedom * (double)r->width) + floor * floor;
  const size_t order = r->dual ? n : r->width;
  if (!r->dual) {
    free(r->a);
    r->a = NULL;
  }
  for (size_t i = 0; i < order; i++) {
    for (size_t j = 0; j < order; j++) {
      double *cell = &r->factor[i * order + j];
      *cell = (r->dual ? *cell : *cell / freedom) + (i == j ? (r->dual ? freedom : 1.0) * r->lambda : 0.0);
    }
  }
  return plb_cholesky(r->factor, order);
}

static double reading_spread(double *value, size_t n, double *middle_out) {
  double *copy = value + n;
  memcpy(copy, value, n * sizeof *copy);
  *middle_out = plb_median(copy, n);
  const double sd = plb_sd(value, n);
  return sd * sd;
}

static bool fit_readings(plb_fit *f, const plb_profile *const *member, const plb_plan *plan) {
  double *value = plb_calloc(2 * f->n, sizeof *value);
  if (value == NULL) {
    return false;
  }
  for (size_t r = 0; r < f->readings; r++) {
    size_t n = 0;
    for (size_t i = 0; i < f->n; i++) {
      if (isfinite(member[i]->reading[r])) {
        value[n++] = member[i]->reading[r];
      }
    }
    f->reading_var[r] = n > 0 ? reading_spread(value, n, &f->reading_mid[r]) : 0.0;
    if (n == 0) {
      f->reading_mid[r] = NAN;
    }
  }
  const size_t first = plb_profile_first_mark(plan->choice);
  for (size_t m = 0; m < f->landmarks; m++) {
    f->mark_mid[m] = (float)f->reading_mid[first + m];
    const double floor = plb_profile_floor(plan->choice, first + m);
    f->mark_half[m] = (float)sqrt(f->reading_var[first + m] * (1.0 + 1.0 / (double)f->n) + floor * floor);
  }
  free(value);
  return true;
}

/*
 * Levels in frequency bands: mean and variance over the captures that can tell them. With few captures a spread is itself uncertain, so it is
 * drawn towards the typical one of the reference's levels, as the half-widths are.
 */
static bool fit_levels(plb_fit *f, const plb_profile *const *member, const plb_plan *plan) {
  const size_t levels = plan->levels.count;
  double *value = plb_calloc(2 * f->n + levels, sizeof *value);
  f->level_mid = plb_calloc(levels, sizeof *f->level_mid);
  f->level_var = plb_calloc(levels, sizeof *f->level_var);
  if (value == NULL || f->level_mid == NULL || f->level_var == NULL) {
    free(value);
    return false;
  }
  double *known = value + 2 * f->n;
  size_t spreads = 0;
  for (size_t k = 0; k < levels; k++) {
    size_t n = 0;
    for (size_t i = 0; i < f->n; i++) {
      if (member[i]->level != NULL && isfinite(member[i]->level[k])) {
        value[n++] = member[i]->level[k];
      }
    }
    f->level_mid[k] = n > 0 ? plb_mean(value, n) : NAN;
    f->level_var[k] = n > 1 ? pow(plb_sd(value, n), 2.0) : NAN;
    if (n > 1) {
      known[spreads++] = f->level_var[k];
    }
  }
  const double typical = spreads > 0 ? plb_median(known, spreads) : 0.0, n = (double)f->n;
  for (size_t k = 0; k < levels; k++) {
    f->level_var[k] = isfinite(f->level_var[k]) ? ((n - 1.0) * f->level_var[k] + 4.0 * typical) / (n + 3.0) : typical;
  }
  free(value);
  return true;
}

static double mean_level(const float *curve, size_t n) {
  double sum = 0.0;
  for (size_t g = 0; g < n; g++) {
    sum += (double)curve[g];
  }
  return sum / (double)n;
}

/* Everything of one channel but the ridges; `curve` are the members' medians, `shape` [n][grid] receives their shapes, `against` [n] is room. */
static bool fit_channel(plb_fit *f, size_t c, const plb_profile *const *member, const plb_plan *plan, const float **curve, float *shape,
                        const float **shapes, double *value, plb_gain *against) {
  plb_fit_channel *ch = &f->channel[c];
  const size_t n = f->n, grid = f->grid;
  ch->centre = plb_calloc(6 * grid, sizeof *ch->centre);
  if (ch->centre == NULL) {
    return false;
  }
  ch->half = ch->centre + grid;
  ch->shape_centre = ch->centre + 2 * grid;
  ch->shape_half = ch->centre + 3 * grid;
  ch->within = ch->centre + 4 * grid;
  ch->jump = ch->centre + 5 * grid;
  mean_of(curve, n, grid, ch->centre);
  float low = ch->centre[0], high = low;
  for (size_t g = 0; g < grid; g++) {
    low = fminf(low, ch->centre[g]);
    high = fmaxf(high, ch->centre[g]);
    for (size_t i = 0; i < n; i++) {
      shape[i] = member[i]->spread[c * grid + g];
    }
    ch->within[g] = plb_median_f(shape, n);
  }
  ch->peak_to_peak = (double)high - (double)low;
  ch->pivot = plan->choice->spec.kind == PLB_CYCLE_STEADY ? mean_level(ch->centre, grid) : 0.0;
  ch->floor = fmax(0.005 * ch->peak_to_peak, plan->channel[c].step);
  ch->floor = fmax(ch->floor, 1e-9);
  jump_of(ch->centre, grid, plan, ch->jump);
  if (plan->choice->spec.kind == PLB_CYCLE_WHEEL && c != plan->choice->channel) {
    open_at_edges(curve, n, grid, (double)low, (double)high, ch->jump);
  }
  if (plan->choice->spec.kind == PLB_CYCLE_ONCE && !plb_open_at_steps(curve, n, grid, ch->peak_to_peak, ch->jump)) {
    return false;
  }
  ch->judge_gain = plan->channel[c].amplitude != PLB_RULE_FREE;
  ch->judge_offset = plan->channel[c].offset != PLB_RULE_FREE;
  ch->judge_raw = plan->channel[c].amplitude == PLB_RULE_ABSOLUTE && ch->judge_offset &&
                  plan->channel[c].offset != PLB_RULE_SUPPLY_PROPORTIONAL && plan->channel[c].offset != PLB_RULE_PEGGED;
  for (size_t i = 0; i < n; i++) {
    const plb_gain gain = against[i] = plb_gain_against(curve[i], ch->centre, grid);
    value[i] = gain.gain > 0.0 ? log(gain.gain) : 0.0;
    value[2 * n + i] = plb_offset_told(ch, gain);
  }
  if (!plb_rule_fit_init(&ch->rule, &plan->channel[c], plan->choice, member, value, value + 2 * n, n)) {
    return false;
  }
  size_t gains = 0, offsets = 0;
  for (size_t i = 0; i < n; i++) {
    const plb_gain gain = beside_rule(ch, against[i], member[i]);
    const double size = value[i] - plb_rule_log_gain(&ch->rule, member[i]);
    const double height = value[2 * n + i] - plb_rule_offset(&ch->rule, member[i], ch->centre, gain.gain);
    to_shape(curve[i], gain, grid, shape + i * grid);
    shapes[i] = shape + i * grid;
    if (isfinite(size)) {
      value[gains++] = size;
    }
    if (isfinite(height)) {
      value[2 * n + offsets++] = ch->peak_to_peak > 0.0 ? height / ch->peak_to_peak : 0.0;
    }
  }
  ch->judge_gain = ch->judge_gain && gains > 0; /* a rule whose supply or load no good capture tells cannot be judged */
  ch->judge_offset = ch->judge_offset && offsets > 0;
  ch->gain_var = gains > 0 ? reading_spread(value, gains, &ch->gain_mid) : 0.0;
  ch->offset_var = offsets > 0 ? reading_spread(value + 2 * n, offsets, &ch->offset_mid) : 0.0;
  mean_of(shapes, n, grid, ch->shape_centre);
  return half_width(curve, n, grid, ch->centre, ch->within, ch->floor, ch->jump, ch->half) &&
         half_width(shapes, n, grid, ch->shape_centre, ch->within, ch->floor, ch->jump, ch->shape_half);
}

plb_status plb_fit_new(plb_fit **out, const plb_plan *plan, const plb_profile *const *member, size_t count, plb_error *err) {
  const plb_slices *slices = &plan->slices;
  *out = NULL;
  plb_fit *f = plb_calloc(1, sizeof *f);
  const float **curve = plb_calloc(2 * count, sizeof *curve);
  float *shape = plb_calloc(count * slices->grid, sizeof *shape);
  double *value = plb_calloc(4 * count, sizeof *value);
  plb_gain *against = plb_calloc(count, sizeof *against);
  bool ok = f != NULL && curve != NULL && shape != NULL && value != NULL && against != NULL;
  if (ok) {
    *f = (plb_fit){.n = count, .channels = plan->channels, .grid = slices->grid, .landmarks = plan->choice->landmarks,
                   .readings = plan->readings, .bands = slices->bands};
    f->channel = plb_calloc(f->channels, sizeof *f->channel);
    f->raw = plb_calloc(f->bands, sizeof *f->raw);
    f->shape = plb_calloc(f->bands, sizeof *f->shape);
    f->reading_mid = plb_calloc(f->readings, sizeof *f->reading_mid);
    f->reading_var = plb_calloc(f->readings, sizeof *f->reading_var);
    f->mark_mid = plb_calloc(f->landmarks, sizeof *f->mark_mid);
    f->mark_half = plb_calloc(f->landmarks, sizeof *f->mark_half);
    ok = f->channel && f->raw && f->shape && f->reading_mid && f->reading_var && f->mark_mid && f->mark_half &&
         fit_readings(f, member, plan) && fit_levels(f, member, plan);
  }
  for (size_t c = 0; ok && c < f->channels; c++) {
    for (size_t i = 0; i < count; i++) {
      curve[i] = plb_profile_curve(member[i], c);
    }
    ok = fit_channel(f, c, member, plan, curve, shape, curve + count, value, against);
    for (size_t b = 0; ok && b < f->bands; b++) {
      if (slices->channel[b] == c) {
        const double floor = f->channel[c].floor;
        ok = ridge_build(&f->raw[b], curve, count, slices->from[b], slices->to[b], floor, f->channel[c].jump) &&
             ridge_build(&f->shape[b], curve + count, count, slices->from[b], slices->to[b], floor, f->channel[c].jump);
      }
    }
  }
  free(curve);
  free(shape);
  free(value);
  free(against);
  if (!ok) {
    plb_fit_free(f);
    return plb_fail(err, PLB_ENOMEM, "out of memory for a fit of %zu captures", count);
  }
  *out = f;
  return PLB_OK;
}

void plb_fit_free(plb_fit *fit) {
  if (fit == NULL) {
    return;
  }
  for (size_t c = 0; fit->channel != NULL && c < fit->channels; c++) {
    free(fit->channel[c].centre);
  }
  for (size_t b = 0; b < fit->bands; b++) {
    if (fit->raw != NULL) {
      ridge_dispose(&fit->raw[b]);
    }
    if (fit->shape != NULL) {
      ridge_dispose(&fit->shape[b]);
    }
  }
  free(fit->channel);
  free(fit->raw);
  free(fit->shape);
  free(fit->reading_mid);
  free(fit->reading_var);
  free(fit->mark_mid);
  free(fit->mark_half);
  free(fit->level_mid);
  free(fit->level_var);
  free(fit);
}
