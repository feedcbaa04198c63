#ifndef PLB_SIGNAL_WARP_H
#define PLB_SIGNAL_WARP_H
/** @file  Dynamic time warping of short curves (SCORING: absolute cost, a penalty for each off-diagonal step). */
#include <plumbline/types.h>

enum { PLB_WARP_MOST = 256 }; /**< longest curve [points] */

/**
 * Distance of two curves of n points: sum of |a_i - b_j| along the cheapest path plus `penalty` for each off-diagonal
 * step, divided by n.
 * @param window  largest |i - j|; @param stop  give up and return INFINITY once the distance must exceed it (INFINITY:
 * never)
 * @param n  1 <= n <= PLB_WARP_MOST
 */
double plb_warp_distance(const float *a, const float *b, size_t n, size_t window, double penalty, double stop);

#endif
