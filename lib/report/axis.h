#ifndef PLB_REPORT_AXIS_H
#define PLB_REPORT_AXIS_H
/** @file  Axes: from values to pixels, with ticks at round values. */
#include "report/canvas.h"

typedef struct plb_axis {
  double from, to;   /**< values at the two ends, from < to */
  double near_, far; /**< their pixels; far may be smaller (upwards) */
  double step;       /**< between ticks */
} plb_axis;

/** The smallest of 1, 2, 5 times a power of ten that gives at most `most` steps over `range`. */
double plb_axis_step(double range, int most);
/** For degrees of rotation: 1, 2, 5, 10, 15, 30, 45, 60, 90, 180, 360; below one degree as plb_axis_step(). */
double plb_axis_degree_step(double range, int most);
double plb_axis_pixel(const plb_axis *axis, double value);
/** Widen `low`..`high` by a share at both ends; a range of nothing gets one around it. Non-finite limits become 0..1. */
void plb_axis_pad(double *low, double *high, double share);
/** The first tick at or above from; count them with plb_axis_ticks(). */
double plb_axis_first(const plb_axis *axis);
int plb_axis_ticks(const plb_axis *axis);
/** A tick's value as text: as many decimals as the step needs. */
void plb_axis_label(const plb_axis *axis, double value, char out[64]);

#endif
