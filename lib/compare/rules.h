#ifndef PLB_COMPARE_RULES_H
#define PLB_COMPARE_RULES_H
/** @file  Amplitude and offset rules: what the size and height of a channel may follow (speed, supply, load) before they are judged. */
#include "compare/profile.h"

enum { PLB_KNOTS_MOST = 4 };

/** A smooth curve through scattered points: straight lines between knots, bends kept small. */
typedef struct plb_rule_curve {
  size_t knots; /**< 0: nothing to learn from */
  double at[PLB_KNOTS_MOST], height[PLB_KNOTS_MOST];
} plb_rule_curve;

void plb_rule_curve_fit(plb_rule_curve *out, const double *at, const double *value, size_t n);
/** NaN beyond the range of the points (a twentieth of it granted), and without any. */
double plb_rule_curve_at(const plb_rule_curve *curve, double at);

/** What the rules of one channel expect, learned from the members of a fit. */
typedef struct plb_rule_fit {
  plb_rule amplitude, offset;
  plb_rule_curve gain, height; /**< log gain over log rate; offset over supply */
  size_t peg;                  /**< grid cell whose value stays; SIZE_MAX: none */
} plb_rule_fit;

/**
 * @param log_gain  [n], @param offset  [n] [unit]
 * @return false when memory is short
 */
bool plb_rule_fit_init(plb_rule_fit *out, const plb_reference_channel *channel, const plb_cycle_choice *choice,
                       const plb_profile *const *member, const double *log_gain, const double *offset, size_t n);
/** The log gain that the rule expects of a capture: 0 for `absolute`; NaN: outside what was learned, or the supply or load is not known. */
double plb_rule_log_gain(const plb_rule_fit *rule, const plb_profile *x);
/** The offset that the rule expects [unit], with the centre's value at the peg and the capture's own gain; NaN as above. */
double plb_rule_offset(const plb_rule_fit *rule, const plb_profile *x, const float *centre, double gain);

#endif
