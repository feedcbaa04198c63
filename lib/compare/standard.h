#ifndef PLB_COMPARE_STANDARD_H
#define PLB_COMPARE_STANDARD_H
/** @file  References set by a standard's limits: no good captures, no calibration, no promise. */
#include "compare/explain.h"

/** True for a reference whose limits are judged instead of a likeness to good captures. */
bool plb_is_standard(const plb_reference *reference);

/** Check that there is something to judge: readings with limits. */
PLB_CHECKED plb_status plb_standard_check(const plb_reference *reference, plb_error *err);

/**
 * Fill word, score, readings, findings and the sentence: d is how far a reading lies beyond its limit; beyond by more than its uncertainty
 * `departs`, by less `borderline`; score = 1 + d / (half the permitted width), below 1 inside.
 */
PLB_CHECKED plb_status plb_standard_judge(plb_verdict *v, const plb_reference *reference, const plb_tracks *tracks, const plb_capture *capture,
                                          const plb_compare_options *options, plb_error *err);

#endif
