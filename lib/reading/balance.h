#ifndef PLB_READING_BALANCE_H
#define PLB_READING_BALANCE_H
/**
 * @file  Cylinder balance: how strong each of N alternating humps is against the N around it. Of the starter's current each compression makes a
 * hump; of the crankshaft's speed each compression and firing makes a swing. Relative compression is a comparison of the cylinders of one engine
 * (*common practice*): even is not yet good.
 */
#include "core/core.h"

typedef struct plb_hump {
  double at;    /**< of its highest point, in points of the curve */
  double share; /**< its height over the mean height of the N humps around it [%] */
} plb_hump;

/**
 * @param x  [n] evenly spaced points; changed
 * @param period  points from hump to hump where that is known, else 0: found
 * @param cylinders  N, 2..16
 * @param out  [count_out] malloc'ed
 * @return PLB_OK; PLB_EDATA (fewer than 2 N humps), PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_balance(plb_hump **out, size_t *count_out, double *x, size_t n, double period, int cylinders, plb_error *err);
/** "of 4 in turn: 104, 101, 71, 104 %": the median of each place. */
void plb_balance_say(const plb_hump *hump, size_t count, int cylinders, char *out, size_t size);

#endif
