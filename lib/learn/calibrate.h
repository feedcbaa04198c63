/**
 * learn: a reference from good captures. It owns the leaving-out of captures and groups, the limit, the guards and the promise. It must not
 * know files or the command line.
 */
#ifndef PLB_LEARN_CALIBRATE_H
#define PLB_LEARN_CALIBRATE_H
#include "compare/elastic.h"
#include "compare/judge.h"
#include <plumbline/learn.h>

enum { PLB_FOLDS = 20, PLB_SINGLY_MOST = 60 }; /**< above 60 units they are left out in 20 fixed folds */

/** Which profiles are left out together, and which count as one. */
typedef struct plb_units {
  size_t n;            /**< profiles */
  size_t *unit;        /**< [n] left out together */
  size_t units;
  size_t *independent; /**< [n] group, or the capture itself */
  size_t independents;
  bool two;            /**< two groups: one of them is left out for the scores, captures of the other one singly for the scales */
} plb_units;

/** Groups from names; NULL entries: not stated. One group: captures are left out singly. */
PLB_CHECKED plb_status plb_units_init(plb_units *out, const char *const *group, size_t n, bool *stated_out, bool *one_group_out,
                                      plb_error *err);
void plb_units_dispose(plb_units *units);

/**
 * Score every capture against a reference learned without it, scales included (an inner leaving-out), and set limit, guards and promise.
 * @param held_out  [n]; @param scale  [terms] T_j for captures to come
 */
PLB_CHECKED plb_status plb_calibrate(plb_calibration *out, double *held_out, double *scale, const plb_plan *plan, const plb_terms *terms,
                                     const plb_profile *const *profile, const plb_units *units, double alpha, plb_error *err);

/** Limit, guards and promise from the held-out scores of n independent good captures (sorted here). */
void plb_limits_from_scores(plb_calibration *out, double *score, size_t n, double alpha);

#endif
