#ifndef PLB_CAPTURE_CLIPPING_H
#define PLB_CAPTURE_CLIPPING_H
/** @file  Is a flat top or bottom the recorder's doing? */
#include <plumbline/types.h>

typedef struct plb_clip_side {
  bool clipped;
  double level; /**< the extreme value */
  size_t runs;  /**< flat runs of at least three samples exactly there, entered with a sharp corner (at a rail: any) */
  size_t samples; /**< in them */
} plb_clip_side;

/**
 * Judge the highest values of x; for the lowest hand in -x.
 * @param step  the recorder's step, > 0; @param rail  samples at or above it are at the recorder's limit; INFINITY
 * where that is unknown
 */
plb_clip_side plb_clip_judge(const double *x, size_t n, double step, double rail);

#endif
