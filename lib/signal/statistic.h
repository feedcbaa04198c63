#ifndef PLB_SIGNAL_STATISTIC_H
#define PLB_SIGNAL_STATISTIC_H
/** @file  Means, spreads, medians. Two-pass with compensation where digits count. NaN in gives NaN out unless said. */
#include <plumbline/types.h>

double plb_mean(const double *x, size_t n);
/** Standard deviation with divisor n - 1; 0 for n < 2. */
double plb_sd(const double *x, size_t n);
double plb_rms(const double *x, size_t n);
/** Lag-1 autocorrelation coefficient (NIST StRD definition). */
double plb_lag1(const double *x, size_t n);
void plb_extremes(const double *x, size_t n, double *low_out,
                  double *high_out); /**< non-finite samples left out; both NaN if none is left */
/** Median; `x` is reordered. NaN for n = 0. */
double plb_median(double *x, size_t n);
float plb_median_f(float *x, size_t n);
/** 1.4826 times the median of absolute deviations from the median; `x` is overwritten. */
double plb_mad(double *x, size_t n, double median);
/** Quantile 0..1 by linear interpolation (numpy's default); `x` is reordered. */
double plb_quantile(double *x, size_t n, double share);
/** (mean of x^4)^(1/4) */
double plb_fourth_mean(const double *x, size_t n);
/** Pearson correlation coefficient; 0 when either is flat. */
double plb_correlation(const double *x, const double *y, size_t n);
int plb_compare_double(const void *a, const void *b); /**< for qsort */

#endif
