/**
 * @file  Cycles as a kind finds them, before any sample is moved: where each begins and ends, which places are tied to which phases, where
 * the landmarks were seen. One way of laying them out serves every kind.
 */
#ifndef PLB_CYCLE_DRAFT_H
#define PLB_CYCLE_DRAFT_H
#include "cycle/cycle.h"

typedef struct plb_draft {
  size_t landmarks, spans;
  plb_cycle_found *cycle; /**< [found] */
  size_t found, cycle_capacity;
  size_t *anchor; /**< [found] index of each cycle's first anchor; the next cycle's first (or `anchors`) ends it */
  size_t anchor_capacity;
  double *phase,
      *place; /**< [anchors] tied pairs, both rising within a cycle; the first has phase 0, the last phase 1 */
  size_t anchors, phase_capacity, place_capacity;
  double *mark_at; /**< [found][landmarks] samples; NaN: not found */
  size_t mark_capacity;
  double *span_s; /**< [found][spans] */
  size_t span_capacity;
} plb_draft;

/** A new last cycle with all landmarks and spans NaN. @return the cycle, valid until the next one is added; NULL when memory is short */
plb_cycle_found *plb_draft_cycle(plb_draft *draft, double first, double last, plb_unmapped state);
/** Tie a phase of the last cycle to a place. @return false when memory is short */
bool plb_draft_anchor(plb_draft *draft, double phase, double place);
/** Landmark places and span durations of the last cycle. */
double *plb_draft_marks(plb_draft *draft);
double *plb_draft_spans(plb_draft *draft);
/** Phase of a place in cycle `index`, along its anchors. */
double plb_draft_phase_at(const plb_draft *draft, size_t index, double place);
void plb_draft_dispose(plb_draft *draft);

/**
 * Lay every mapped cycle of the draft over the grid: fills cycle, value, landmark_phase, span_s, edge_at, correlation of `frame`
 * (structure, rate_hz and the like are the kind's own). Takes the draft's cycles over.
 */
PLB_CHECKED plb_status plb_draft_lay(plb_draft *draft, const plb_tracks *tracks, const plb_cycle_choice *choice,
                                     plb_frame *frame, plb_error *err);

/** Take mapped cycles that correlate less than `least` out of the frame's rows: they stay in the list as PLB_UNMAPPED_SHAPE. */
void plb_frame_drop_unlike(plb_frame *frame, double least);

/** Lay one cycle of one channel over `grid` cells. @param edge_at  [grid + 1]; @param scratch  grown as needed, free() at the end */
typedef struct plb_scratch {
  double *x, *cumulative, *edge;
  size_t x_capacity, cumulative_capacity, edge_capacity;
} plb_scratch;
void plb_scratch_dispose(plb_scratch *scratch);
PLB_CHECKED plb_status plb_lay_cells(const double *x, size_t n, const double *edge_at, size_t grid,
                                     plb_scratch *scratch, float *out, plb_error *err);
/** Places of the grid's cell edges along anchors. @param edge_at  [grid + 1] */
void plb_lay_edges(const double *phase, const double *place, size_t anchors, size_t grid, double *edge_at);

/** Missing cells take the nearest known one's value; all 0 when there is none. */
void plb_fill_missing_cells(float *curve, size_t n);

/** Room for `mapped` rows of frame->channels curves of frame->grid cells; false when memory is short. */
bool plb_frame_allocate(plb_frame *frame, size_t mapped);

/** Pearson correlation of two curves over the cells that `a` has; 0 when either is flat. */
double plb_curve_correlation(const float *a, const float *b, size_t n);

#endif
