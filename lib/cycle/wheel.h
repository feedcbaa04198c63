/** @file  Toothed wheels: teeth to turns, turns to cycles of one or two, and which of two turns is the first. */
#ifndef PLB_CYCLE_WHEEL_H
#define PLB_CYCLE_WHEEL_H
#include "cycle/draft.h"
#include "cycle/teeth.h"

/** Landmarks of a cycle: the teeth of all its turns. */
size_t plb_wheel_landmarks(const plb_cycle_spec *spec);
/** Phase of landmark k in the frame: (tooth - 1 + (missing + 1) / 2) / teeth, over the cycle's turns. */
double plb_wheel_phase(const plb_cycle_spec *spec, size_t landmark);

/**
 * Teeth of a capture by the choices: by the learned levels, or by levels scaled to the capture's own swing where the learned ones give no clean
 * wheel. With a template, a gap that could lie at more than one tooth is settled by correlation.
 * @param decided_out  false: turning, but where the gap is cannot be said
 */
PLB_CHECKED plb_status plb_wheel_read(plb_teeth *out, const plb_tracks *tracks, const plb_cycle_choice *choice,
                                      bool *decided_out, plb_error *err);

/** Every whole cycle. @param parity  0 or 1: begin with the first whole turn or with the second (of use when revs = 2) */
PLB_CHECKED plb_status plb_wheel_cycles(plb_draft *draft, const plb_teeth *teeth, const plb_cycle_spec *spec,
                                        size_t samples, int parity, bool decided, plb_error *err);

/** In which of the two turns the stroke's template begins. @param known_out  false: the turns look alike */
PLB_CHECKED plb_status plb_wheel_stroke(const plb_teeth *teeth, const plb_tracks *tracks,
                                        const plb_cycle_choice *choice, int *parity_out, bool *known_out,
                                        plb_error *err);
/** Choose the stroke's channel and template from good captures; leaves stroke NULL when the turns look alike. */
PLB_CHECKED plb_status plb_wheel_choose_stroke(plb_cycle_choice *choice, const plb_tracks *const *tracks, size_t count,
                                               plb_buffer *notes, plb_error *err);

PLB_CHECKED plb_status plb_wheel_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count,
                                        size_t grid, plb_buffer *notes, plb_error *err);
PLB_CHECKED plb_status plb_wheel_build(plb_frame *frame, const plb_tracks *tracks, const plb_cycle_choice *choice,
                                       plb_error *err);

#endif
