/** @file  Where a template occurs again and again in a signal: its period, and one chain of places through the whole capture. */
#ifndef PLB_CYCLE_CHAIN_H
#define PLB_CYCLE_CHAIN_H
#include "cycle/cycle.h"

/**
 * The period of a signal by its autocorrelation, or by that of its slope where the cycles differ (period.c).
 * @param expected  [samples] prefer peaks near it; 0: of the peaks within 0.8 of the highest, the first
 * @param period_out  [samples]; NaN when nothing comes back
 */
PLB_CHECKED plb_status plb_period_find(const float *x, size_t n, double lag_low, double lag_high, double expected,
                                       double *period_out, plb_error *err);

typedef struct plb_link {
  double at; /**< where the template begins [samples] */
  double correlation; /**< there */
  double period; /**< about how long the cycle that begins here lasts [samples] */
  unsigned steps; /**< periods from the link before, at least 1; more: cycles in between were not found */
} plb_link;

typedef struct plb_chain {
  plb_link *link;
  size_t links;
  double period; /**< median distance of neighbours [samples] */
  double
      upside_down; /**< how much stronger the template's negative is in the signal than the template, in correlation; > 0: inverted */
} plb_chain;

/** Chain the places of a template (`grid` cells over one period) through the signal. @param period  about [samples] */
PLB_CHECKED plb_status plb_chain_find(plb_chain *out, const float *x, size_t n, const float *template_, size_t grid,
                                      double period, plb_error *err);
/**
 * The chain where the speed is known only to lie between two periods [samples], and may move inside the capture: `about` and its simple
 * fractions first; where none of them lays the template over most of the capture, every length between the two.
 * @param about  NaN: none
 */
PLB_CHECKED plb_status plb_chain_find_wide(plb_chain *out, const float *x, size_t n, const float *template_, size_t grid, double about,
                                           double period_low, double period_high, plb_error *err);
/** Share of the signal's n samples over which the chain lays the template, each cycle weighed with its correlation. */
double plb_chain_cover(const plb_chain *chain, size_t n);
void plb_chain_dispose(plb_chain *chain);

/** A channel as float, missing samples filled by straight lines. free() */
float *plb_track_copy(const plb_tracks *tracks, size_t channel);

#endif
