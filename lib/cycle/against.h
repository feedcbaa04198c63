/** @file  One channel along another: two tracks of a throttle, pressure over angle. */
#ifndef PLB_CYCLE_AGAINST_H
#define PLB_CYCLE_AGAINST_H
#include "cycle/cycle.h"

PLB_CHECKED plb_status plb_against_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid,
                                          plb_buffer *notes, plb_error *err);
PLB_CHECKED plb_status plb_against_build(plb_frame *frame, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err);

#endif
