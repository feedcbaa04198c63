#ifndef PLB_SIGNAL_LINEAR_H
#define PLB_SIGNAL_LINEAR_H
/** @file  Small dense symmetric systems, row-major. */
#include <plumbline/types.h>

/** Dot product with lane accumulators (vectorises without fast-math), in double. */
double plb_dot(const double *a, const double *b, size_t n);
double plb_dot_f(const float *a, const float *b, size_t n);
/** Cholesky factor L of a symmetric positive definite matrix, in place (lower triangle); false when it is not positive definite. */
bool plb_cholesky(double *a, size_t n);
/** Solve L L' x = b in place, L from plb_cholesky(). */
void plb_cholesky_solve(const double *factor, size_t n, double *b);

#endif
