/** @file  Signals without a cycle: windows of equal length, each laid out as its sorted levels. */
#ifndef PLB_CYCLE_STEADY_H
#define PLB_CYCLE_STEADY_H
#include "cycle/cycle.h"

PLB_CHECKED plb_status plb_steady_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid,
                                         plb_buffer *notes, plb_error *err);
PLB_CHECKED plb_status plb_steady_build(plb_frame *frame, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err);

#endif
