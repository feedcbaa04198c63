/* Readings of level and amount, from the samples of a stretch. RMS of a sum: total^2 = mean^2 + AC^2. */
#include "reading/reading.h"

#include <math.h>

double plb_read_mean(const plb_stretch *s) { return plb_mean(s->x, s->n); }

double plb_read_true_rms(const plb_stretch *s) { return plb_rms(s->x, s->n); }

/* The divisor is n: the AC part of these samples, no estimate for others. */
double plb_read_ac_rms(const plb_stretch *s) { return plb_sd(s->x, s->n) * sqrt((double)(s->n - 1) / (double)s->n); }

double plb_read_lowest(const plb_stretch *s) {
  double low, high;
  plb_extremes(s->x, s->n, &low, &high);
  return low;
}

double plb_read_highest(const plb_stretch *s) {
  double low, high;
  plb_extremes(s->x, s->n, &low, &high);
  return high;
}

double plb_read_peak_to_peak(const plb_stretch *s) {
  double low, high;
  plb_extremes(s->x, s->n, &low, &high);
  return high - low;
}

double plb_read_crest_factor(const plb_stretch *s) {
  double low, high;
  plb_extremes(s->x, s->n, &low, &high);
  const double rms = plb_rms(s->x, s->n);
  return rms > 0 ? fmax(fabs(low), fabs(high)) / rms : (double)NAN;
}

/* AC RMS as a share of the mean. Around zero it would be a number without meaning. */
double plb_read_ripple(const plb_stretch *s) {
  const double mean = fabs(plb_mean(s->x, s->n));
  return mean > 0.01 * plb_read_peak_to_peak(s) ? 100 * plb_read_ac_rms(s) / mean : (double)NAN;
}

/* Mean times length: the ends of a cycle lie between samples, and a missing sample counts as the mean. */
double plb_read_integral(const plb_stretch *s) { return plb_mean(s->x, s->n) * s->length_s; }

double plb_read_charge(const plb_stretch *s) {
  return s->trace->ampere > 0 ? plb_read_integral(s) * s->trace->ampere : (double)NAN;
}

double plb_read_low_level(const plb_trace *t) { return t->low; }

double plb_read_high_level(const plb_trace *t) { return t->high; }
