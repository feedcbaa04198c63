/** @file  The table of kinds, and what the choices of every kind share. Adding a kind is one file and one row in choice.c. */
#ifndef PLB_CYCLE_KIND_H
#define PLB_CYCLE_KIND_H
#include "cycle/cycle.h"

typedef struct plb_kind {
  /** `out` holds spec and channel; fill the rest. */
  plb_status (*choose)(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid,
                       plb_buffer *notes, plb_error *err);
  plb_status (*build)(plb_frame *frame, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err);
} plb_kind;

/** NULL for a kind this version does not learn. */
const plb_kind *plb_kind_of(plb_cycle_kind kind);

/**
 * Lay every capture out by the choices made so far; the template becomes the pointwise median over captures of each capture's
 * pointwise median cycle. Then rate_low_hz, rate_high_hz and correlation_low are read with it.
 * @return PLB_OK; PLB_EDATA when a capture has no mapped cycle (the message says which)
 */
PLB_CHECKED plb_status plb_choose_template(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count,
                                           plb_error *err);

/** Pointwise median over the mapped cycles of one channel. @param out  [grid] */
PLB_CHECKED plb_status plb_median_cycle(const plb_frame *frame, size_t channel, float *out, plb_error *err);

#endif
