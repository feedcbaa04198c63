#include "compare/judge.h"
#include <math.h>
#include <string.h>

/*
 * What a recorder with coarser steps than the good captures' hides: nothing smaller than its own step can be told from it, so that a recording
 * of few bits is not odd for that: half a step to either side. Its square, beyond the floor; 0 for a recording that is fine enough, and for stored
 * exemplars.
 */
static double coarse_square(const plb_fit *fit, const plb_profile *x, size_t c) {
  const double step = x->frame != NULL && x->frame->step != NULL ? x->frame->step[c] : 0.0, floor = fit->channel[c].floor;
  return step > floor ? 0.25 * (step * step - floor * floor) : 0.0;
}

static double rms_over_half(const float *curve, const float *centre, const float *half, double coarse, size_t from, size_t to) {
  double sum = 0.0;
  for (size_t g = from; g < to; g++) {
    const double d = (double)curve[g] - (double)centre[g];
    sum += d * d / ((double)half[g] * (double)half[g] + coarse);
  }
  return sqrt(sum / (double)(to - from));
}

static double ridge_distance(const plb_ridge *r, const float *curve, double coarse, float *difference, double *work) {
  double square = 0.0;
  for (size_t k = 0; k < r->width; k++) {
    difference[k] = plb_ridge_weight(r, k) * (curve[k] - r->mean[k]);
  }
  if (r->n < 2) {
    square = plb_dot_f(difference, difference, r->width) / r->lambda;
  } else if (r->dual) {
    double projected = 0.0;
    for (size_t i = 0; i < r->n; i++) {
      work[i] = work[r->n + i] = plb_dot_f(r->a + i * r->width, difference, r->width);
    }
    plb_cholesky_solve(r->factor, r->n, work);
    for (size_t i = 0; i < r->n; i++) {
      projected += work[i] * work[r->n + i];
    }
    square = (plb_dot_f(difference, difference, r->width) - projected) / r->lambda;
  } else {
    for (size_t k = 0; k < r->width; k++) {
      work[k] = (double)difference[k];
    }
    plb_cholesky_solve(r->factor, r->width, work);
    for (size_t k = 0; k < r->width; k++) {
      square += work[k] * (double)difference[k];
    }
  }
  return sqrt(fmax(square, 0.0) / (double)r->width * r->lambda / (r->lambda + coarse));
}

double plb_cycle_distance(const plb_fit *fit, const plb_plan *plan, const plb_profile *x, size_t band, size_t row, plb_gain gain) {
  const size_t c = plan->slices.channel[band];
  const plb_fit_channel *ch = &fit->channel[c];
  const float *cycle = plb_frame_curve(x->frame, row, c);
  const double scale = gain.usable ? 1.0 / gain.gain : 1.0, offset = gain.usable ? gain.offset : 0.0;
  const size_t width = plan->slices.to[band] - plan->slices.from[band];
  const bool partial = x->frame->partial;
  const double coarse = coarse_square(fit, x, c);
  double sum = 0.0;
  size_t reached = width;
  for (size_t g = plan->slices.from[band]; g < plan->slices.to[band]; g++) {
    if (partial && isnan(cycle[g])) {
      reached--;
      continue;
    }
    const double z = ((double)cycle[g] - offset) * scale - (double)ch->shape_centre[g];
    const double half = (double)ch->shape_half[g], within = (double)ch->within[g];
    sum += z * z / (half * half + within * within + coarse);
  }
  return 4 * reached >= width ? sqrt(sum / (double)reached) : 0.0; /* a cycle says nothing of a band that it hardly reaches */
}

/*
 * Over cycles the largest, or with more than nine the second largest: one odd cycle in a long capture is counted elsewhere. Windows and strokes
 * have no marks to be counted by: there the largest speaks.
 */
static double worst_cycles(const plb_fit *fit, const plb_plan *plan, const plb_profile *x, size_t band, plb_gain gain) {
  double largest = 0.0, second = 0.0;
  for (size_t r = 0; r < x->frame->mapped; r++) {
    const double d = plb_cycle_distance(fit, plan, x, band, r, gain);
    if (d > largest) {
      second = largest;
      largest = d;
    } else if (d > second) {
      second = d;
    }
  }
  return x->frame->mapped > 9 && !x->frame->unordered ? second : largest;
}

static double noise_distance(const plb_fit *fit, const plb_plan *plan, const plb_profile *x, size_t band, plb_gain gain) {
  const size_t c = plan->slices.channel[band], from = plan->slices.from[band], to = plan->slices.to[band];
  const plb_fit_channel *ch = &fit->channel[c];
  const double coarse = coarse_square(fit, x, c);
  double sum = 0.0;
  for (size_t g = from; g < to; g++) {
    const double within = (double)ch->within[g];
    const double jump = (double)ch->jump[g];
    sum += (double)x->scatter[c * x->grid + g] / (within * within + ch->floor * ch->floor + jump * jump + coarse);
  }
  return sqrt(sum / (double)(to - from)) / (gain.usable ? gain.gain : 1.0);
}

static double marks_distance(const plb_fit *fit, const plb_plan *plan, const plb_profile *x) {
  const size_t first = plb_profile_first_mark(plan->choice);
  double sum = 0.0, mean = 0.0;
  size_t n = 0;
  for (int pass = 0; pass < 2; pass++) { /* a common shift of all marks is no fault of any of them */
    sum = 0.0;
    n = 0;
    for (size_t m = 0; m < fit->landmarks; m++) {
      const double d = x->reading[first + m] - (double)fit->mark_mid[m];
      if (isfinite(d)) {
        sum += pass == 0 ? d : pow((d - mean) / (double)fit->mark_half[m], 2.0);
        n++;
      }
    }
    if (n == 0) {
      return NAN;
    }
    mean = pass == 0 ? sum / (double)n : mean;
  }
  return sqrt(sum / (double)n);
}

static double reading_distance(double value, double middle, double variance, size_t n, double floor) {
  return fabs(value - middle) / sqrt(variance * (1.0 + 1.0 / (double)n) + floor * floor);
}

/*
 * A time that good captures show to vary by more than a few per cent is commanded (on-time, dwell, duty, period): load and speed set it, and a few
 * captures show only part of its range. A time that is always the same is judged as closely as they show it.
 */
static double duration_floor(double variance, double floor) {
  static const double commanded = 0.15;
  const double sd = sqrt(variance), share = fmin(fmax((sd - 0.01) / 0.02, 0.0), 1.0);
  return floor + share * (commanded - floor);
}

static double floor_of(const plb_fit *fit, const plb_plan *plan, size_t reading) {
  const double floor = plb_profile_floor(plan->choice, reading);
  const bool duration = reading >= PLB_READ_COMMON && reading < plb_profile_first_mark(plan->choice);
  const bool bit = duration && plb_profile_serial(plan->choice) && isnan(fit->reading_mid[PLB_READ_COMMON + 1]); /* no load sets it */
  return duration && !bit ? duration_floor(fit->reading_var[reading], floor) : floor;
}

/*
 * A level as a reading. Residuals speak only when they are high: less hash than in the good captures is no sign of a fault, and a signal that is
 * larger as a whole is not noisy for that.
 */
static double level_distance(const plb_fit *fit, const plb_plan *plan, const plb_profile *x, size_t k, plb_gain gain) {
  if (x->level == NULL || !isfinite(x->level[k]) || !isfinite(fit->level_mid[k])) {
    return NAN;
  }
  const bool residual = plan->levels.band[plan->levels.place[k].band].residual;
  const double least = residual ? 1.0 : 0.5; /* dB: no level is known better */
  const double larger = residual && gain.usable ? fmax(20.0 * log10(gain.gain), 0.0) : 0.0;
  const double value = x->level[k] - larger, floor = fmax(least, x->level_doubt != NULL ? x->level_doubt[k] : 0.0);
  if (residual && value <= fit->level_mid[k]) {
    return 0.0;
  }
  return reading_distance(value, fit->level_mid[k], fit->level_var[k], fit->n, floor);
}

typedef struct work {
  plb_gain *gain;    /* [channels] */
  float *shape;      /* [channels][grid] */
  float *difference; /* [grid] */
  double *solve;     /* [2 * max(n, width)] */
} work;

static bool work_init(work *w, const plb_fit *fit, const plb_plan *plan, const plb_profile *x) {
  size_t widest = fit->n;
  for (size_t b = 0; b < fit->bands; b++) {
    widest = fit->raw[b].width > widest ? fit->raw[b].width : widest;
  }
  w->gain = plb_calloc(plan->channels, sizeof *w->gain);
  w->shape = plb_calloc(plan->channels * fit->grid, sizeof *w->shape);
  w->difference = plb_calloc(fit->grid, sizeof *w->difference);
  w->solve = plb_calloc(2 * widest, sizeof *w->solve);
  if (w->gain == NULL || w->shape == NULL || w->difference == NULL || w->solve == NULL) {
    return false;
  }
  for (size_t c = 0; c < plan->channels; c++) {
    const float *curve = plb_profile_curve(x, c);
    const plb_gain g = w->gain[c] = plb_gain_of(&fit->channel[c], curve, fit->grid, x);
    for (size_t k = 0; k < fit->grid; k++) {
      w->shape[c * fit->grid + k] = g.usable ? (curve[k] - (float)g.offset) / (float)g.gain : curve[k];
    }
  }
  return true;
}

static void work_dispose(work *w) {
  free(w->gain);
  free(w->shape);
  free(w->difference);
  free(w->solve);
}

static double band_distance(const plb_fit *fit, const plb_plan *plan, const plb_profile *x, const plb_term *t, work *w) {
  const size_t c = t->channel, from = plan->slices.from[t->index], to = plan->slices.to[t->index];
  const plb_fit_channel *ch = &fit->channel[c];
  const float *raw = plb_profile_curve(x, c), *shape = w->shape + c * fit->grid;
  const double coarse = coarse_square(fit, x, c);
  switch (t->kind) {
  case PLB_D_LASTING:
    return ch->judge_raw ? rms_over_half(raw, ch->centre, ch->half, coarse, from, to)
                         : rms_over_half(shape, ch->shape_centre, ch->shape_half, coarse, from, to);
  case PLB_D_RAW:
    return ch->judge_raw ? ridge_distance(&fit->raw[t->index], raw + from, coarse, w->difference, w->solve) : NAN;
  case PLB_D_SHAPE:
    return ridge_distance(&fit->shape[t->index], shape + from, coarse, w->difference, w->solve);
  case PLB_D_CYCLE:
    return x->frame != NULL ? worst_cycles(fit, plan, x, t->index, w->gain[c]) : NAN;
  case PLB_D_NOISE:
    return x->scatter != NULL && x->cycles > 1 ? noise_distance(fit, plan, x, t->index, w->gain[c]) : NAN;
  default:
    return NAN;
  }
}

/*
 * Is the likeness to one typical curve a reading? Not of single events, which may come earlier or later: the nearest good captures say it better.
 * Nor of sorted levels: those of a quiet signal are as unlike as the recorder's steps make them.
 */
static bool has_one_shape(plb_cycle_kind kind) { return kind != PLB_CYCLE_ONCE && kind != PLB_CYCLE_STEADY; }

plb_status plb_distances(const plb_fit *fit, const plb_plan *plan, const plb_terms *terms, const plb_profile *x, double *d, plb_error *err) {
  work w = {0};
  plb_status status = PLB_OK;
  if (!work_init(&w, fit, plan, x)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
    goto done;
  }
  for (size_t j = 0; j < terms->count; j++) {
    const plb_term *t = &terms->term[j];
    const plb_fit_channel *ch = t->channel != SIZE_MAX ? &fit->channel[t->channel] : NULL;
    if (plan->choice->spec.kind == PLB_CYCLE_AGAINST && t->channel != SIZE_MAX && strcmp(plan->channel[t->channel].role, plan->choice->spec.against) == 0) {
      d[j] = NAN; /* the channel along which the others are judged is its own phase */
      continue;
    }
    switch (t->kind) {
    case PLB_D_READING:
      if (t->index == PLB_READ_UNLIKE && !has_one_shape(plan->choice->spec.kind)) {
        d[j] = NAN;
        break;
      }
      d[j] = reading_distance(x->reading[t->index], fit->reading_mid[t->index], fit->reading_var[t->index], fit->n,
                              floor_of(fit, plan, t->index));
      break;
    case PLB_D_GAIN: /* a gain that is negative or beyond belief stays a large distance, never a missing one */
      d[j] = ch->judge_gain ? reading_distance(log(fmax(w.gain[t->channel].gain, 1e-3)) - plb_rule_log_gain(&ch->rule, x), ch->gain_mid,
                                               ch->gain_var, fit->n, 0.02)
                            : NAN;
      break;
    case PLB_D_OFFSET:
      d[j] = ch->judge_offset && ch->peak_to_peak > 0.0
                 ? reading_distance((plb_offset_told(ch, w.gain[t->channel]) - plb_rule_offset(&ch->rule, x, ch->centre, w.gain[t->channel].gain)) /
                                        ch->peak_to_peak,
                                    ch->offset_mid, ch->offset_var, fit->n, 0.01)
                 : NAN;
      break;
    case PLB_D_FREQUENCY:
      d[j] = level_distance(fit, plan, x, t->index, w.gain[t->channel]);
      break;
    case PLB_D_MARKS:
      d[j] = marks_distance(fit, plan, x);
      break;
    case PLB_D_LEVEL:
    case PLB_D_SLOPE:
      d[j] = NAN; /* filled by plb_elastic_distances() */
      break;
    default:
      d[j] = band_distance(fit, plan, x, t, &w);
    }
  }
done:
  work_dispose(&w);
  return status;
}

/* T of a kind, from which a term with few exemplars borrows: the median over its terms; 1.2 for readings. */
static double typical_of_kind(const plb_terms *terms, plb_distance_kind kind, const double *t, double *scratch) {
  if (kind == PLB_D_READING || kind == PLB_D_GAIN || kind == PLB_D_OFFSET || kind == PLB_D_MARKS ||
      kind == PLB_D_FREQUENCY) {
    return 1.2;
  }
  size_t n = 0;
  for (size_t j = 0; j < terms->count; j++) {
    if (terms->term[j].kind == kind && isfinite(t[j])) {
      scratch[n++] = t[j];
    }
  }
  return n > 0 ? plb_median(scratch, n) : 1.0;
}

bool plb_scales_from(const plb_terms *terms, const double *left_out, size_t members, double *t) {
  double *column = plb_calloc(members + 2 * terms->count, sizeof *column);
  if (column == NULL) {
    return false;
  }
  double *own = column + members, *scratch = own + terms->count;
  for (size_t j = 0; j < terms->count; j++) {
    size_t n = 0;
    for (size_t i = 0; i < members; i++) {
      const double d = left_out[i * terms->count + j];
      if (isfinite(d)) {
        column[n++] = d;
      }
    }
    own[j] = n > 0 ? plb_fourth_mean(column, n) : NAN;
  }
  for (size_t j = 0; j < terms->count; j++) {
    const double kind = typical_of_kind(terms, terms->term[j].kind, own, scratch);
    const double n = isfinite(own[j]) ? (double)members : 0.0, mine = isfinite(own[j]) ? own[j] : 0.0;
    t[j] = fmax(0.3, sqrt((n * mine * mine + 4.0 * kind * kind) / (n + 4.0)));
  }
  free(column);
  return true;
}

double plb_term_weight(const plb_term *term, bool elastic) {
  if (term->kind == PLB_D_FREQUENCY) {
    return 0.5; /* levels scatter widely over few good captures; what is gross stands out all the same */
  }
  return elastic && (term->kind <= PLB_D_NOISE) ? 0.2 : 1.0;
}

double plb_score_of(const plb_terms *terms, const double *d, const double *t, bool elastic, size_t *worst_out) {
  double score = 0.0;
  size_t worst = SIZE_MAX;
  for (size_t j = 0; j < terms->count; j++) {
    const double s = plb_term_weight(&terms->term[j], elastic) * d[j] / t[j];
    if (s > score) {
      score = s;
      worst = j;
    }
  }
  if (worst_out != NULL) {
    *worst_out = worst;
  }
  return score;
}

double plb_structural_share(const plb_profile *x) {
  const unsigned found = x->cycles + x->unmapped;
  return found > 0 ? (double)(x->unmapped + x->damaged) / (double)found : 0.0;
}
