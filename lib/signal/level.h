#ifndef PLB_SIGNAL_LEVEL_H
#define PLB_SIGNAL_LEVEL_H
/** @file  State levels by histogram (IEEE Std 181 / IEC 60469): a short spike is outside the states. */
#include <plumbline/error.h>

typedef struct plb_states {
  double low, high; /**< the levels, in the signal's unit; mean of the samples in the fullest bin's neighbourhood */
  double low_share, high_share; /**< share of samples within a quarter of the swing of each level, 0..1 */
  bool two; /**< both states are really there (separated, each at least 1 % of samples or three runs) */
} plb_states;

/** Histogram mode of the lower and upper half between the extremes. @param bins  0: 100. Non-finite samples are left
 * out. */
PLB_CHECKED plb_status plb_state_levels(const double *x, size_t n, size_t bins, plb_states *out, plb_error *err);

/** Reference level between two states: percent 0 gives low, 100 high. */
double plb_reference_level(double low, double high, double percent);

#endif
