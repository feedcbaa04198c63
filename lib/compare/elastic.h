#ifndef PLB_COMPARE_ELASTIC_H
#define PLB_COMPARE_ELASTIC_H
/**
 * @file  Single events (`once`): the nearest good capture under elastic warping, on level and on slope. The nearest one already is a mixture
 * of the good shapes, so no clusters are needed.
 */
#include "compare/judge.h"

typedef struct plb_elastic {
  size_t n, channels, points, window;
  float *curve;   /**< [2][channels][n][points]: level, then slope, each divided by its scale */
  double *scale;  /**< [2][channels] RMS of the exemplars about their own means */
} plb_elastic;

PLB_CHECKED plb_status plb_elastic_new(plb_elastic **out, const plb_plan *plan, const plb_profile *const *member, size_t count,
                                       plb_error *err);
void plb_elastic_free(plb_elastic *elastic);

/** Distance between two exemplars. @param slope  0: level, 1: slope; @param stop  INFINITY, or give up beyond it */
double plb_elastic_between(const plb_elastic *e, int slope, size_t channel, size_t i, size_t j, double stop);

/** Fill the PLB_D_LEVEL and PLB_D_SLOPE terms of `d`: distance to the nearest exemplar. */
PLB_CHECKED plb_status plb_elastic_distances(const plb_elastic *e, const plb_terms *terms, const plb_profile *x, double *d, plb_error *err);

#endif
