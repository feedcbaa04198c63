/** @file  Signals whose cycle begins with a level crossing: injectors, coils, pulse width, Hall sensors. */
#ifndef PLB_CYCLE_EDGE_H
#define PLB_CYCLE_EDGE_H
#include "cycle/draft.h"

/** The crossings of one capture, and which of them begin a cycle. */
typedef struct plb_pulses {
  plb_crossing *crossing;
  size_t count;
  size_t *start; /**< [starts] indices of the crossings that begin a cycle */
  size_t starts;
} plb_pulses;
void plb_pulses_dispose(plb_pulses *pulses);

/**
 * Cross the two levels; with several pulses in a cycle a cycle begins behind the long pause.
 * @param edge  direction that begins a cycle; @param pulses_each  1..PLB_PULSES_MOST
 * @param shortest  [samples] pulses that last less are left out, both of their crossings; 0: none
 */
enum { PLB_PULSES_MOST = 8 };
PLB_CHECKED plb_status plb_pulses_find(plb_pulses *out, const double *x, size_t n, double low, double high, int edge,
                                       unsigned pulses_each, double shortest, plb_error *err);

/** Length of cycle i over the typical length of up to four neighbours. @param neighbours_out  [samples] */
double plb_pulses_ratio(const plb_pulses *pulses, size_t i, double *neighbours_out);

/** The levels for this capture: as learned; those of `%supply` follow the supply channel. */
PLB_CHECKED plb_status plb_edge_levels(const plb_cycle_choice *choice, const plb_tracks *tracks, double *low,
                                       double *high, plb_error *err);
/** How far above and below a level the hysteresis reaches. @param low, high  the two states */
double plb_edge_half(double level, double low, double high);
/** Median of the channel with the role "supply"; PLB_EDATA when there is none. */
PLB_CHECKED plb_status plb_edge_supply(const plb_tracks *tracks, double *out, plb_error *err);

PLB_CHECKED plb_status plb_edge_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count,
                                       size_t grid, plb_buffer *notes, plb_error *err);
PLB_CHECKED plb_status plb_edge_build(plb_frame *frame, const plb_tracks *tracks, const plb_cycle_choice *choice,
                                      plb_error *err);

#endif
