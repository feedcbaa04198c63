#ifndef PLB_LEARN_RULES_H
#define PLB_LEARN_RULES_H
/** @file  Which amplitude and offset rules a reference gets: as stated, else proposed from the captures. */
#include "compare/judge.h"
#include <plumbline/learn.h>

/** Set the rules of the reference's channels and its speed curves, and say in the notes what was chosen and why. */
PLB_CHECKED plb_status plb_learn_rules(plb_reference *reference, const plb_learn_options *options, const plb_profile *const *profile,
                                       size_t count, plb_buffer *notes, plb_error *err);
#endif
