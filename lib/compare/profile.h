#ifndef PLB_COMPARE_PROFILE_H
#define PLB_COMPARE_PROFILE_H
/** @file  One capture summed up: its median cycle, the scatter around it, its readings. */
#include "cycle/cycle.h"
#include "reference/model.h"

typedef struct plb_profile {
  size_t channels, grid, readings, landmarks;
  float *median, *spread; /**< [channels][grid]: pointwise median over cycles, and 1.4826 MAD */
  float *scatter;         /**< [channels][grid]: mean square of cycle - median [unit^2]; NULL for exemplars kept in a document */
  double *reading;        /**< [readings], names as in the reference; NaN: none */
  double *level;          /**< [levels] dB in the reference's frequency bands; NaN: cannot be told; filled by plb_levels_measure() */
  double *level_doubt;    /**< [levels] random error of each [dB]; NULL for exemplars kept in a document */
  size_t levels;
  plb_frame *frame;       /**< owned; NULL for exemplars kept in a document */
  unsigned cycles, unmapped, damaged; /**< mapped; found but not mapped; mapped but with missing or surplus marks */
  double rate_hz;
  double supply_v, load;  /**< at which the capture was taken; 0: not known */
  bool borrowed;          /**< median, spread and reading belong to a reference */
} plb_profile;

/** The readings a choice gives, in order: names, channel and unit filled; limits open. free() the list (its strings are NULL). */
PLB_CHECKED plb_status plb_profile_readings(plb_reading_limit **out, size_t *count_out, const plb_cycle_choice *choice, plb_error *err);

/** The readings that every cycle kind has, in this order; then one per span, then one per landmark. */
enum { PLB_READ_IRREGULARITY, PLB_READ_MISSING, PLB_READ_AFFECTED, PLB_READ_UNLIKE, PLB_READ_RATE, PLB_READ_COMMON };

/** Least spread granted to a reading of good captures [its unit]; NaN: the reading is shown, not judged. */
double plb_profile_floor(const plb_cycle_choice *choice, size_t reading);

/** One pulse in a cycle, and pauses between cycles in good captures: a serial level, whose pulses last as the data wants. */
bool plb_profile_serial(const plb_cycle_choice *choice);

/** Index of the first landmark-phase reading; equal to the count when there are none. */
size_t plb_profile_first_mark(const plb_cycle_choice *choice);

/** Sum up a frame; takes the frame over (also on failure). Curves are rounded as the document keeps them. */
PLB_CHECKED plb_status plb_profile_new(plb_profile **out, plb_frame *frame, const plb_cycle_choice *choice, const int *decimals,
                                       plb_error *err);
/** A view of an exemplar kept in a document; curves are borrowed from it. */
PLB_CHECKED plb_status plb_profile_from_exemplar(plb_profile **out, const plb_reference *reference, size_t exemplar, plb_error *err);
void plb_profile_free(plb_profile *profile);

/**
 * Scatter of the samples themselves around the median cycle [unit], as 1.4826 times the median distance: the RMS of the noise, without what
 * jitter does on steep edges. The grid averages over its cells and would show less.
 * @param x  [samples] the channel the profile was made from
 */
double plb_profile_noise(const plb_profile *profile, const double *x, size_t samples, size_t channel);

/**
 * RMS of what changes at random from sample to sample [unit], from fifth differences: a signal sampled more than some twenty times a swing is
 * gone from them, so that what is left is the instrument's own noise and steps. NaN: too few samples.
 */
double plb_sample_noise(const double *x, size_t samples);

static inline const float *plb_profile_curve(const plb_profile *p, size_t channel) { return p->median + channel * p->grid; }
static inline const float *plb_frame_curve(const plb_frame *f, size_t row, size_t channel) {
  return f->value + (row * f->channels + channel) * f->grid;
}

#endif
