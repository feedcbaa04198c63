#ifndef PLB_SIGNAL_DISTRIBUTION_H
#define PLB_SIGNAL_DISTRIBUTION_H
/** @file  Quantiles and tails of the few distributions a verdict quotes. Checked against scipy.stats. */
#include <plumbline/types.h>

/** Regularised incomplete beta I_x(a, b), a, b > 0 (continued fraction, Lentz). */
double plb_beta_cdf(double x, double a, double b);
double plb_beta_quantile(double p, double a, double b);
/** Student's t, `freedom` > 0. */
double plb_t_cdf(double t, double freedom);
double plb_t_quantile(double p, double freedom);
double plb_normal_cdf(double z);
double plb_normal_quantile(double p);
/** P(X >= k) for X ~ Binomial(n, p). */
double plb_binomial_tail(uint64_t k, uint64_t n, double p);
/** Clopper-Pearson interval at confidence 1 - alpha (two-sided). */
void plb_clopper_pearson(uint64_t k, uint64_t n, double alpha, double *low_out, double *high_out);

#endif
