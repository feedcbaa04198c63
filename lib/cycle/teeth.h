/**
 * @file  From crossings to tooth positions. Positions are counted through gaps: on a 60-2 wheel the teeth of one turn have the positions
 * 60 r .. 60 r + 57 and the gap holds 60 r + 58 and 60 r + 59.
 */
#ifndef PLB_CYCLE_TEETH_H
#define PLB_CYCLE_TEETH_H
#include "cycle/cycle.h"

enum { PLB_TEETH_MOST = 512 };
#define PLB_NO_POSITION (INT64_MIN / 2)

typedef struct plb_teeth {
  int positions, missing; /**< of the wheel: 60 and 2 */
  double *at;             /**< [count] crossings at the chosen edge [samples] */
  double *pitch;          /**< [count] one tooth pitch around each crossing [samples] */
  int64_t *position;      /**< [count] rising; PLB_NO_POSITION: the crossing is no tooth */
  size_t count;
  double median_pitch; /**< [samples]; NaN with fewer than two crossings */
  double regular;      /**< share of intervals that are a whole number of pitches, as a wheel gives them, 0..1 */
  double cost;         /**< what the labelling leaves unexplained, per turn (see teeth.c) */
  double turns;        /**< from the first tooth to the last */
} plb_teeth;

/** Find the crossings of one edge and label them. Crossings without any order give regular near 0; that is no failure. */
PLB_CHECKED plb_status plb_teeth_find(plb_teeth *out, const double *x, size_t n, double low, double high, int edge,
                                      int positions, int missing, plb_error *err);
/** The two steps of it: crossings with their pitches, then labels for what is regular. */
PLB_CHECKED plb_status plb_teeth_cross(plb_teeth *out, const double *x, size_t n, double low, double high, int edge,
                                       int positions, int missing, plb_error *err);
PLB_CHECKED plb_status plb_teeth_label(plb_teeth *teeth, plb_error *err);
void plb_teeth_dispose(plb_teeth *teeth);

/** True when the crossings come from something that turns evenly. */
bool plb_teeth_are_regular(const plb_teeth *teeth);

/**
 * Cost per turn if every position were `shift` higher, the timing left out: what the gap then leaves unexplained.
 * @param cost  [size: positions]
 */
void plb_teeth_shift_costs(const plb_teeth *teeth, double *cost);
void plb_teeth_shift(plb_teeth *teeth, int shift);
/** Share of the gap's positions that hold a crossing, 0..1; 1 where no gap was seen. */
double plb_teeth_gap_filled(const plb_teeth *teeth);

/** Is there a tooth at this position of a turn (any integer)? */
bool plb_teeth_is_tooth(const plb_teeth *teeth, int64_t position);

/**
 * Time of a fractional position by straight lines between the nearest teeth seen on both sides.
 * @param hint  an index to start the search from, kept between calls; 0 at first
 * @return false when it lies outside the teeth seen
 */
bool plb_teeth_time(const plb_teeth *teeth, double position, size_t *hint, double *at_out);

/**
 * Levels between which a wheel's signal swings: medians of the tops and bottoms of its pulses, so that a lone spike or a weak tooth does not move
 * them. @return false when there are no pulses
 */
typedef struct plb_swing {
  double bottom, top;          /**< typical */
  double bottom_high, top_low; /**< the weakest pulses (2 % quantile) */
} plb_swing;
PLB_CHECKED plb_status plb_swing_of(const double *x, size_t n, plb_swing *out, bool *found_out, plb_error *err);
/** Hysteresis: the middle of the swing, less and plus 15 % of it, or half-way to the weakest pulses where those are weaker. */
void plb_swing_levels(const plb_swing *swing, double *low_out, double *high_out);

#endif
