#ifndef PLB_SIGNAL_CROSSING_H
#define PLB_SIGNAL_CROSSING_H
/** @file  Level crossings with hysteresis. */
#include <plumbline/error.h>

typedef struct plb_crossing {
  double at;     /**< [samples], linearly interpolated at the middle of the two levels */
  int direction; /**< +1 rising, -1 falling */
} plb_crossing;

/**
 * Crossings of a signal that counts as high once it is above `high` and as low once it is below `low` (low <= high).
 * Each transition gives one crossing, at the last passage of the mid level before the state changed. NaN samples change
 * nothing. The state before the first definite sample is unknown: entering it is no crossing.
 * @param out  malloc'ed, free(); NULL when there are none
 */
PLB_CHECKED plb_status plb_crossings(const double *x, size_t n, double low, double high, plb_crossing **out,
                                     size_t *count_out, plb_error *err);
#endif
