#include "compare/profile.h"
#include "compare/bits.h"
#include "cycle/draft.h"
#include <math.h>
#include <string.h>

/* One pulse in a cycle, and pauses between cycles in good captures: a serial level. */
bool plb_profile_serial(const plb_cycle_choice *choice) {
  return choice->spec.kind == PLB_CYCLE_EDGE && choice->spans == 2 && choice->longest_ratio > 1.6;
}

size_t plb_profile_first_mark(const plb_cycle_choice *choice) { return PLB_READ_COMMON + choice->spans; }

double plb_profile_floor(const plb_cycle_choice *choice, size_t reading) {
  const bool along = choice->spec.kind == PLB_CYCLE_AGAINST;
  switch (reading) {
  case PLB_READ_IRREGULARITY:
    return along ? NAN : 0.05; /* a hand is not regular */
  case PLB_READ_MISSING: /* a stray pulse or two in a good capture must not set the limit; marks missing often are counted as structure */
    return 0.25;
  case PLB_READ_AFFECTED:
    return 0.05;
  case PLB_READ_UNLIKE:
    return 0.01;
  case PLB_READ_RATE:
    return NAN; /* a condition, not a sign of health */
  default:
    break;
  }
  if (reading < plb_profile_first_mark(choice)) {
    return plb_profile_serial(choice) ? 0.005 : 0.01; /* log of a duration; quartz or not, a bit is told more closely than a pulse */
  }
  if (along) {
    return 0.01; /* where the travel ends */
  }
  if (choice->spec.kind == PLB_CYCLE_EDGE && choice->spans > 0) {
    return NAN; /* told by how long the spans last */
  }
  return choice->spec.kind == PLB_CYCLE_WHEEL ? 0.02 / choice->spec.teeth / choice->spec.revs : 0.001;
}

plb_status plb_profile_readings(plb_reading_limit **out, size_t *count_out, const plb_cycle_choice *choice, plb_error *err) {
  static const struct {
    const char *name, *unit;
  } common[PLB_READ_COMMON] = {
      {"irregularity", "1"}, {"missing marks", "1"}, {"affected cycles", "1"}, {"unlike", "1"}, {"cycle rate", "Hz"}};
  const size_t count = plb_profile_first_mark(choice) + choice->landmarks;
  *out = NULL;
  *count_out = 0;
  plb_reading_limit *list = plb_calloc(count, sizeof *list);
  if (list == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu readings", count);
  }
  for (size_t i = 0; i < count; i++) {
    list[i].low = list[i].high = NAN;
    plb_text_copy(list[i].channel, sizeof list[i].channel, choice->spec.channel);
    if (i < PLB_READ_COMMON) {
      plb_text_copy(list[i].name, sizeof list[i].name, common[i].name);
      plb_text_copy(list[i].unit, sizeof list[i].unit, common[i].unit);
    } else if (i < plb_profile_first_mark(choice)) {
      plb_text_copy(list[i].name, sizeof list[i].name, choice->span[i - PLB_READ_COMMON].name);
      plb_text_copy(list[i].unit, sizeof list[i].unit, "s");
    } else {
      plb_text_copy(list[i].name, sizeof list[i].name, choice->landmark[i - plb_profile_first_mark(choice)].name);
      plb_text_copy(list[i].unit, sizeof list[i].unit, "1");
    }
  }
  *out = list;
  *count_out = count;
  return PLB_OK;
}

/* The same where cycles do not reach every cell; what none of them reaches is NaN until it is filled. */
static void sum_up_partial(plb_profile *p, size_t channel, int decimals, float *column, float *deviation) {
  const plb_frame *f = p->frame;
  float *median = p->median + channel * p->grid, *spread = p->spread + channel * p->grid;
  for (size_t g = 0; g < p->grid; g++) {
    size_t n = 0;
    double square = 0.0;
    for (size_t r = 0; r < f->mapped; r++) {
      const float x = plb_frame_curve(f, r, channel)[g];
      if (isfinite(x)) {
        deviation[n] = column[n] = x;
        n++;
      }
    }
    median[g] = n > 0 ? plb_median_f(deviation, n) : (float)NAN;
    for (size_t r = 0; r < n; r++) {
      deviation[r] = fabsf(column[r] - median[g]);
      square += (double)deviation[r] * (double)deviation[r];
    }
    spread[g] = n > 0 ? 1.4826F * plb_median_f(deviation, n) : 0.0F;
    p->scatter[channel * p->grid + g] = n > 0 ? (float)(square / (double)n) : 0.0F;
  }
  plb_round_decimals(median, p->grid, decimals);
  plb_round_decimals(spread, p->grid, decimals);
}

/* Cells that no cycle reached say nothing: the cycle channel takes the typical curve there, the others the nearest cell. */
static void fill_unreached(plb_profile *p, const plb_cycle_choice *choice) {
  for (size_t c = 0; c < p->channels && p->frame->partial; c++) {
    float *median = p->median + c * p->grid;
    for (size_t g = 0; g < p->grid && c == choice->channel && choice->template_ != NULL; g++) {
      median[g] = isfinite(median[g]) ? median[g] : choice->template_[g];
    }
    plb_fill_missing_cells(median, p->grid);
  }
}

/* Pointwise over the cycles of one channel: median, robust spread, mean square around the rounded median. */
static void sum_up_channel(plb_profile *p, size_t channel, int decimals, float *column, float *deviation) {
  const plb_frame *f = p->frame;
  const size_t rows = f->mapped;
  float *median = p->median + channel * p->grid, *spread = p->spread + channel * p->grid;
  float *scatter = p->scatter + channel * p->grid;
  if (f->partial) {
    sum_up_partial(p, channel, decimals, column, deviation);
    return;
  }
  enum { STRIP = 16 }; /* grid cells taken together, so that a row's cache line is used whole */
  for (size_t g0 = 0; g0 < p->grid; g0 += STRIP) {
    const size_t width = p->grid - g0 < STRIP ? p->grid - g0 : STRIP;
    for (size_t r = 0; r < rows; r++) {
      const float *curve = plb_frame_curve(f, r, channel) + g0;
      for (size_t k = 0; k < width; k++) {
        column[k * rows + r] = curve[k];
      }
    }
    for (size_t k = 0; k < width; k++) {
      float *values = column + k * rows;
      memcpy(deviation, values, rows * sizeof *values);
      const float middle = plb_median_f(deviation, rows);
      for (size_t r = 0; r < rows; r++) {
        deviation[r] = fabsf(values[r] - middle);
      }
      median[g0 + k] = middle;
      spread[g0 + k] = 1.4826F * plb_median_f(deviation, rows);
    }
    plb_round_decimals(median + g0, width, decimals);
    for (size_t k = 0; k < width; k++) {
      double square = 0.0;
      for (size_t r = 0; r < rows; r++) {
        const double d = (double)column[k * rows + r] - (double)median[g0 + k];
        square += d * d;
      }
      scatter[g0 + k] = (float)(square / (double)rows);
    }
  }
  plb_round_decimals(spread, p->grid, decimals);
}

/*
 * How far one length is off the median of those around it: where good captures cover a wide range of speeds, the speed may move inside a
 * capture. As many before as behind, so that a steady change is none. @param length [size: n] in order of time
 */
static double irregularity_around(const double *length, size_t n) {
  enum { AROUND = 3 };
  double near[2 * AROUND + 1], worst = 0.0;
  for (size_t i = 1; i + 1 < n; i++) {
    size_t around = i < n - 1 - i ? i : n - 1 - i;
    around = around < AROUND ? around : AROUND;
    for (size_t k = 0; k <= 2 * around; k++) {
      near[k] = length[i - around + k];
    }
    worst = fmax(worst, fabs(length[i] / plb_median(near, 2 * around + 1) - 1.0));
  }
  return worst;
}

static void read_common(plb_profile *p, const plb_cycle_choice *choice, double *scratch) {
  const plb_frame *f = p->frame;
  double worst = 0.0, second = 0.0;
  size_t mapped = 0;
  for (size_t i = 0; i < f->found; i++) {
    const plb_cycle_found *c = &f->cycle[i];
    const bool ok = c->state == PLB_MAPPED;
    const double odd = ok ? (double)(c->missing + c->surplus) : (double)(f->landmarks > 0 ? f->landmarks : 1);
    if (odd > worst) {
      second = worst;
      worst = odd;
    } else if (odd > second) {
      second = odd;
    }
    p->unmapped += !ok;
    p->damaged += ok && odd > 0.0;
    if (ok) {
      scratch[mapped++] = c->last - c->first;
    }
  }
  const bool is_moving = plb_repeat_is_wide(choice);
  double irregular = is_moving ? irregularity_around(scratch, mapped) : 0.0;
  const double typical = is_moving ? NAN : plb_median(scratch, mapped);
  mapped = 0;
  for (size_t i = 0; i < f->found; i++) {
    if (f->cycle[i].state == PLB_MAPPED) {
      irregular = is_moving ? irregular : fmax(irregular, fabs((f->cycle[i].last - f->cycle[i].first) / typical - 1.0));
      scratch[mapped++] = f->cycle[i].correlation;
    }
  }
  p->reading[PLB_READ_IRREGULARITY] = f->partial ? NAN : irregular;
  p->reading[PLB_READ_MISSING] = f->found > 1 ? (worst + second) / 2.0 : worst;
  p->reading[PLB_READ_AFFECTED] = f->found > 0 ? (double)(p->unmapped + p->damaged) / (double)f->found : 0.0;
  p->reading[PLB_READ_UNLIKE] = mapped > 0 ? 1.0 - plb_median(scratch, mapped) : NAN;
  p->reading[PLB_READ_RATE] = f->rate_hz;
}

/*
 * The middle half's mean: where cycles last one, two or three bits by what is sent, a median jumps from one length to another as the mixture
 * shifts a little; where all last alike, it is the median, and odd cycles up to a quarter leave it alone.
 */
static double middle_half_mean(double *x, size_t n) {
  double sum = 0.0;
  size_t count = 0;
  qsort(x, n, sizeof *x, plb_compare_double);
  for (size_t i = n / 4; i < n - n / 4; i++, count++) {
    sum += x[i];
  }
  return count > 0 ? sum / (double)count : NAN;
}

/* Serial levels, whose spans last as the data wants: the pulse of one bit, and nothing of the pauses. */
static bool read_bits(plb_profile *p, const plb_cycle_choice *choice, double *scratch) {
  const plb_frame *f = p->frame;
  size_t n = 0;
  if (!plb_profile_serial(choice) || f->span_s == NULL) {
    return false;
  }
  for (size_t r = 0; r < f->mapped; r++) {
    const double d = f->span_s[r * f->spans];
    if (d > 0.0) {
      scratch[n++] = d;
    }
  }
  const double pulse = plb_bits_pulse(scratch, n);
  p->reading[PLB_READ_COMMON] = log(pulse);
  p->reading[PLB_READ_COMMON + 1] = NAN;
  return isfinite(pulse);
}

/* Over the cycles: mean of the middle half of each span's log durations, median of each mark's phase. */
static void read_marks(plb_profile *p, const plb_cycle_choice *choice, double *scratch) {
  const plb_frame *f = p->frame;
  const size_t first_mark = plb_profile_first_mark(choice);
  const bool bits = read_bits(p, choice, scratch);
  for (size_t s = 0; s < choice->spans && !bits; s++) {
    size_t n = 0;
    for (size_t r = 0; r < f->mapped && f->span_s != NULL; r++) {
      const double d = f->span_s[r * f->spans + s];
      if (d > 0.0) {
        scratch[n++] = log(d);
      }
    }
    p->reading[PLB_READ_COMMON + s] = middle_half_mean(scratch, n);
  }
  for (size_t m = 0; m < choice->landmarks; m++) {
    size_t n = 0;
    for (size_t r = 0; r < f->mapped; r++) {
      const double at = f->landmark_phase[r * f->landmarks + m];
      if (isfinite(at)) {
        scratch[n++] = at;
      }
    }
    p->reading[first_mark + m] = n * 2 >= f->mapped ? plb_median(scratch, n) : NAN;
  }
}

plb_status plb_profile_new(plb_profile **out, plb_frame *frame, const plb_cycle_choice *choice, const int *decimals,
                           plb_error *err) {
  plb_status status = PLB_OK;
  float *column = NULL;
  double *scratch = NULL;
  *out = NULL;
  plb_profile *p = plb_calloc(1, sizeof *p);
  if (p == NULL) {
    plb_frame_free(frame);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  p->frame = frame;
  p->channels = frame->channels;
  p->grid = frame->grid;
  p->landmarks = choice->landmarks;
  p->readings = plb_profile_first_mark(choice) + choice->landmarks;
  p->cycles = (unsigned)frame->mapped;
  p->rate_hz = frame->rate_hz;
  const size_t points = p->channels * p->grid, most = frame->found > 0 ? frame->found : 1;
  p->median = plb_calloc(points, sizeof *p->median);
  p->spread = plb_calloc(points, sizeof *p->spread);
  p->scatter = plb_calloc(points, sizeof *p->scatter);
  p->reading = plb_calloc(p->readings, sizeof *p->reading);
  column = plb_calloc(most * 17, sizeof *column);
  scratch = plb_calloc(most, sizeof *scratch);
  if (p->median == NULL || p->spread == NULL || p->scatter == NULL || p->reading == NULL || column == NULL || scratch == NULL) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory for a profile of %zu points", points);
    goto done;
  }
  for (size_t c = 0; c < p->channels && frame->mapped > 0; c++) {
    sum_up_channel(p, c, decimals[c], column, column + 16 * most);
  }
  fill_unreached(p, choice);
  read_common(p, choice, scratch);
  read_marks(p, choice, scratch);
  *out = p;
  p = NULL;
done:
  free(column);
  free(scratch);
  plb_profile_free(p);
  return status;
}

/* Cells that do not follow each other in time: the scatter from sample to sample. */
static double noise_of_steps(const double *x, size_t samples) {
  double *step = plb_calloc(samples, sizeof *step);
  size_t n = 0;
  for (size_t i = 0; i + 1 < samples && step != NULL; i++) {
    if (isfinite(x[i + 1] - x[i])) {
      step[n++] = fabs(x[i + 1] - x[i]);
    }
  }
  const double noise = n > 0 ? 1.4826 / sqrt(2.0) * plb_median(step, n) : NAN;
  free(step);
  return noise;
}

double plb_profile_noise(const plb_profile *profile, const double *x, size_t samples, size_t channel) {
  const plb_frame *f = profile->frame;
  if (f->unordered) {
    return noise_of_steps(x, samples);
  }
  const float *median = plb_profile_curve(profile, channel);
  double *apart = plb_calloc(samples, sizeof *apart);
  size_t n = 0;
  for (size_t r = 0; r < f->mapped && apart != NULL; r++) {
    const double *edge = f->edge_at + r * (f->grid + 1);
    size_t cell = 0;
    for (size_t i = (size_t)fmax(ceil(edge[0]), 0.0); i < samples && (double)i < edge[f->grid] && n < samples; i++) {
      while (cell + 1 < f->grid && (double)i >= edge[cell + 1]) {
        cell++;
      }
      /* straight line between the middles of cells */
      const double in_cell = ((double)i - edge[cell]) / (edge[cell + 1] - edge[cell]) - 0.5;
      const size_t other = in_cell < 0.0 ? (cell > 0 ? cell - 1 : cell) : (cell + 1 < f->grid ? cell + 1 : cell);
      const double d = x[i] - ((1.0 - fabs(in_cell)) * (double)median[cell] + fabs(in_cell) * (double)median[other]);
      if (isfinite(d)) {
        apart[n++] = fabs(d);
      }
    }
  }
  const double noise = n > 0 ? 1.4826 * plb_median(apart, n) : NAN;
  free(apart);
  return noise;
}

plb_status plb_profile_from_exemplar(plb_profile **out, const plb_reference *reference, size_t exemplar, plb_error *err) {
  const plb_exemplar *e = &reference->exemplar[exemplar];
  *out = NULL;
  plb_profile *p = plb_calloc(1, sizeof *p);
  if (p == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  p->channels = reference->channels;
  p->grid = reference->choice.grid;
  p->landmarks = reference->choice.landmarks;
  p->readings = reference->readings;
  p->median = e->median;
  p->spread = e->spread;
  p->reading = e->reading;
  p->level = e->level;
  p->levels = e->level != NULL ? plb_reference_levels(reference) : 0;
  p->cycles = e->cycles;
  p->unmapped = e->unmapped;
  p->rate_hz = e->rate_hz;
  p->supply_v = e->supply_v;
  p->load = e->load;
  p->borrowed = true;
  *out = p;
  return PLB_OK;
}

void plb_profile_free(plb_profile *profile) {
  if (profile == NULL) {
    return;
  }
  plb_frame_free(profile->frame);
  if (!profile->borrowed) {
    free(profile->median);
    free(profile->spread);
    free(profile->reading);
    free(profile->level);
  }
  free(profile->scatter);
  free(profile);
}
