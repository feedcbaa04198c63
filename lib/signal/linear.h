#ifndef PLB_SIGNAL_LINEAR_H
#define PLB_SIGNAL_LINEAR_H
/** @file  Sums, inner products and small dense symmetric systems, row-major. */
#include <plumbline/types.h>

/** Inner product with lane accumulators (vectorises without fast-math), in double. */
double plb_dot(const double *a, const double *b, size_t n);
double plb_dot_f(const float *a, const float *b, size_t n);
/** Plain sum with the same lanes, in double. Where digits count use plb_mean(). */
double plb_sum(const double *x, size_t n);
double plb_sum_f(const float *x, size_t n);
/** Cholesky factor L of a symmetric positive definite matrix, in place (only the lower triangle is read and written);
 * false when it is not positive definite to working precision, or not finite. @param a  [size: n * n] */
bool plb_cholesky(double *a, size_t n);
/** Solve L L' x = b in place, L from plb_cholesky(). */
void plb_cholesky_solve(const double *factor, size_t n, double *b);

#endif
