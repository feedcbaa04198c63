#ifndef PLB_LEARN_LIKE_H
#define PLB_LEARN_LIKE_H
/** @file  Keep what people wrote in an older reference when its good range is learned anew. */
#include "reference/model.h"

/**
 * Copy title, why, subject, conditions, connection, and the bands with their pointers from `like`; method, corridor and calibration are the
 * new captures' own.
 * @return PLB_OK or PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_annotate_like(plb_reference *reference, const plb_reference *like, plb_error *err);
#endif
