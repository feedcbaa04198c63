#ifndef PLB_LEARN_FREQUENCY_H
#define PLB_LEARN_FREQUENCY_H
/** @file  Which frequency bands a reference judges, and their levels in the good captures. */
#include "compare/judge.h"
#include <plumbline/learn.h>

/** Append the bands that the options ask for to the reference's, as far as every capture can show them. */
PLB_CHECKED plb_status plb_learn_bands(plb_reference *reference, const plb_learn_options *options, const plb_profile *const *profile,
                                       const plb_tracks *const *tracks, size_t count, plb_buffer *notes, plb_error *err);

/** Measure the levels of all profiles. */
PLB_CHECKED plb_status plb_learn_levels(plb_profile **profile, const plb_plan *plan, const plb_tracks *const *tracks, size_t count,
                                        plb_error *err);

/** Mean level and spread of each band over the good captures, for people and other programs. */
void plb_keep_levels(plb_reference *reference, const plb_profile *const *profile, size_t count);

#endif
