#ifndef PLB_REFERENCE_MINIMAX_H
#define PLB_REFERENCE_MINIMAX_H
/** @file  The polynomial that keeps inside given slacks, if there is one. */
#include <plumbline/types.h>

enum { PLB_MINIMAX_DEGREE_MOST = 3 };

/**
 * Find the polynomial c[0] + c[1] t + ... with t = k / unit whose largest |x - polynomial| / slack is smallest.
 * @param k  [size: n] rising
 * @param c  [size: degree + 1]
 * @return that largest share: below 1 every point is within its slack; infinite when 1.01 or more, or there are too
 * few points
 */
double plb_minimax_fit(const double *k, const double *x, const double *slack, size_t n, int degree, double unit,
                       double *c);

#endif
