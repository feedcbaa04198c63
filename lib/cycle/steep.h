/** @file  Steep edges of a cycle as landmarks, and where they lie in one cycle of a capture. */
#ifndef PLB_CYCLE_STEEP_H
#define PLB_CYCLE_STEEP_H
#include "cycle/draft.h"

/** The landmarks of a circular template: changes of at least 0.3 of its height within a twentieth of the cycle. */
PLB_CHECKED plb_status plb_steep_find(const float *template_, size_t grid, plb_landmark **out, size_t *count_out,
                                      plb_error *err);
/** Phase in the middle of the longest stretch without a landmark; 0 when there is none. */
double plb_steep_seam(const plb_landmark *landmark, size_t count);

/** What tracking one cycle needs, read from the template once. */
typedef struct plb_steep {
  const plb_cycle_choice *choice;
  double *height;  /**< [landmarks] of the leg */
  double *watched; /**< phases where the template itself crosses the level that is watched for surplus edges */
  size_t watch_count;
  double watch_low, watch_high;
  int watch_direction;
  bool is_watching; /**< false: the template gives no clear level to watch, surplus edges are not counted */
} plb_steep;
PLB_CHECKED plb_status plb_steep_init(plb_steep *out, const plb_cycle_choice *choice, plb_error *err);
void plb_steep_dispose(plb_steep *steep);

/**
 * Match the landmarks in the draft's last cycle (first .. last): anchors, landmark places, missing and surplus.
 * @param x  the cycle channel [n]
 */
PLB_CHECKED plb_status plb_steep_match(const plb_steep *steep, const double *x, size_t n, plb_draft *draft,
                                       plb_error *err);

#endif
