#ifndef FILLED_H
#define FILLED_H
/** @file  A reference with every field filled, and a comparison of every field. */
#include "core/cmocka_all.h"
#include "reference/model.h"

enum { FILLED_CHANNELS = 2, FILLED_GRID = 24, FILLED_EXEMPLARS = 4, FILLED_BANDS = 3, FILLED_READINGS = 3 };

/** Kind of cycle; provenance `standard` has neither exemplars nor calibration. */
plb_reference *filled_reference(plb_cycle_kind kind, plb_provenance provenance);
void assert_same_reference(const plb_reference *a, const plb_reference *b);

#endif
