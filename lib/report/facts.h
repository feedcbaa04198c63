#ifndef PLB_REPORT_FACTS_H
#define PLB_REPORT_FACTS_H
/** @file  What can be said of one channel at a glance, for inspecting and guessing. */
#include "report/report.h"

typedef struct plb_facts {
  double lowest, highest, mean; /**< NaN when no sample is a number */
  double noise;   /**< typical scatter from sample to sample, RMS [channel unit]; NaN: fewer than 3 numbers in a row */
  double step;    /**< smallest step between values; 0: none seen */
  size_t missing; /**< samples that are no numbers */
} plb_facts;

/**
 * Noise: 1.4826 times the median of absolute second differences over sqrt(6), which is the standard deviation of white Gaussian noise and
 * does not see slopes; steep stretches are outliers that the median leaves aside.
 */
PLB_CHECKED plb_status plb_facts_of(plb_facts *out, const double *x, size_t n, double step, plb_error *err);

/** Name pairs of wires among guesses that are still in the order of the channels, [channels]. */
PLB_CHECKED plb_status plb_guess_pairs(plb_guess *guess, const plb_capture *capture, plb_error *err);

/** The whole capture, its facts and its guesses, gathered once for text and JSON. Zero-initialise; plb_insight_dispose(). */
typedef struct plb_insight {
  const plb_capture *capture;
  size_t channels;
  plb_facts *facts; /**< [channels] */
  plb_reason *fitness;
  size_t fitnesses;
  plb_guess *guess;
  size_t guesses;
} plb_insight;
PLB_CHECKED plb_status plb_insight_gather(plb_insight *out, const plb_capture *capture, plb_error *err);
void plb_insight_dispose(plb_insight *insight);

#endif
