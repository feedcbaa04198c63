#ifndef PLB_COMPARE_STEPS_H
#define PLB_COMPARE_STEPS_H
/** @file  How far the moments of a single event's steps scatter among good captures. */
#include "signal/signal.h"
#include <stdbool.h>

/**
 * Open the good range where good captures step, by what a step does there. A step is found in the pointwise median of the captures, which stays
 * steep however they scatter.
 * @param curve  [n][grid]; @param swing  of the centre [unit]; @param jump  [grid] only ever raised [unit]
 * @return false: out of memory
 */
bool plb_open_at_steps(const float *const *curve, size_t n, size_t grid, double swing, float *jump);

#endif
