/*
 * From one capture to the turns of its wheel.
 *
 * Levels: the learned ones first. They are kept when they give a clean wheel (regular, at most CLEAN per turn unexplained, over nine tenths
 * of the capture, its gap seen, its speed within half to twice the learned one). Otherwise levels scaled to the capture's own swing are tried, narrow and then wide, and used only where
 * they leave at least 1 per turn less unexplained: so a signal of 0.1 or 10 times the size, or one that is lifted by volts, is still laid out
 * and its gain and offset can be judged, while a damaged tooth is still judged by the learned levels. The edge is never chosen again.
 */
#include "cycle/wheel.h"

#include <math.h>

static const double CLEAN = 4.0, GAP_UNSEEN = 0.75;

size_t plb_wheel_landmarks(const plb_cycle_spec *spec) { return (size_t)((spec->teeth - spec->missing) * spec->revs); }

double plb_wheel_phase(const plb_cycle_spec *spec, size_t landmark) {
  const size_t teeth = (size_t)(spec->teeth - spec->missing);
  const double turn = (double)(landmark / teeth), tooth = (double)(landmark % teeth);
  return (turn + (tooth + 0.5 * (spec->missing + 1)) / spec->teeth) / spec->revs;
}

/* ---- levels */

static double covered(const plb_teeth *t, size_t samples) {
  return t->count < 2 ? 0.0 : (t->at[t->count - 1] - t->at[0] + t->median_pitch) / (double)samples;
}

/** No gap seen where there must be one, or a speed that no good capture came near: such crossings may be something other than teeth. */
static bool is_doubtful(const plb_teeth *t, const plb_cycle_choice *choice, double rate_hz) {
  const double rate = rate_hz / (t->median_pitch * t->positions * choice->spec.revs);
  const bool learned = choice->rate_high_hz > 0;
  return (t->missing > 0 && plb_teeth_gap_filled(t) >= GAP_UNSEEN) ||
         (learned && (rate < 0.5 * choice->rate_low_hz || rate > 2.0 * choice->rate_high_hz));
}

static bool is_clean(const plb_teeth *t, const plb_tracks *tracks, const plb_cycle_choice *choice) {
  return plb_teeth_are_regular(t) && t->cost <= CLEAN && covered(t, tracks->samples) >= 0.9 &&
         !is_doubtful(t, choice, tracks->rate_hz);
}

/** Unexplained per turn, with the uncovered part of the capture, or all of a doubtful one, counted as if its teeth were missing. */
static double unexplained(const plb_teeth *t, const plb_tracks *tracks, const plb_cycle_choice *choice) {
  if (!plb_teeth_are_regular(t))
    return INFINITY;
  const double share = fmin(1.0, covered(t, tracks->samples)), none = 4.0 * (t->positions - t->missing);
  return share * t->cost + (1.0 - share) * none + (is_doubtful(t, choice, tracks->rate_hz) ? none : 0.0);
}

/** The same teeth at other levels: nothing new to label. */
static bool same_crossings(const plb_teeth *a, const plb_teeth *b) {
  bool same = a->count == b->count;
  for (size_t i = 0; i < a->count && same; i++)
    same = fabs(a->at[i] - b->at[i]) < 0.3 * a->pitch[i];
  return same;
}

static plb_status try_levels(plb_teeth *best, const plb_tracks *tracks, const plb_cycle_choice *choice, double low,
                             double high, double must_save, plb_error *err) {
  plb_teeth other = {0};
  plb_status status = plb_teeth_cross(&other, tracks->x[choice->channel], tracks->samples, low, high, choice->edge,
                                      choice->spec.teeth, choice->spec.missing, err);
  if (status != PLB_OK)
    return status;
  if (!same_crossings(&other, best)) {
    status = plb_teeth_label(&other, err);
    if (status == PLB_OK && unexplained(&other, tracks, choice) < unexplained(best, tracks, choice) - must_save) {
      const plb_teeth kept = *best;
      *best = other;
      other = kept;
    }
  }
  plb_teeth_dispose(&other);
  return status;
}

static plb_status try_own_levels(plb_teeth *best, const plb_tracks *tracks, const plb_cycle_choice *choice,
                                 plb_error *err) {
  plb_swing swing;
  bool found = false;
  double low, high;
  plb_status status = plb_swing_of(tracks->x[choice->channel], tracks->samples, &swing, &found, err);
  if (status != PLB_OK || !found)
    return status;
  plb_swing_levels(&swing, &low, &high);
  status = try_levels(best, tracks, choice, low, high, 1.0, err);
  if (status == PLB_OK && !is_clean(best, tracks, choice)) {
    const double wide = 0.3 * (swing.top - swing.bottom), middle = 0.5 * (swing.top + swing.bottom);
    status = try_levels(best, tracks, choice, middle - wide, middle + wide, 1.0, err);
  }
  return status;
}

/* ---- where the gap is */

/** Mean correlation of a few turns with the template. */
static plb_status likeness(const plb_teeth *t, const plb_tracks *tracks, const plb_cycle_choice *choice, double *out,
                           plb_error *err) {
  enum { LOOK_AT = 8 };
  plb_draft draft = {.landmarks = plb_wheel_landmarks(&choice->spec)};
  plb_frame frame = {0};
  plb_tracks one = {
      .channels = 1, .samples = tracks->samples, .rate_hz = tracks->rate_hz, .x = tracks->x + choice->channel};
  plb_cycle_choice alone = *choice;
  alone.channel = 0;
  double sum = 0;
  size_t count = 0;
  plb_status status = plb_wheel_cycles(&draft, t, &choice->spec, tracks->samples, 0, true, err);
  for (size_t i = 0, seen = 0; i < draft.found && status == PLB_OK; i++)
    if (draft.cycle[i].state == PLB_MAPPED && ++seen > LOOK_AT)
      draft.cycle[i].state = PLB_UNMAPPED_SHAPE;
  if (status == PLB_OK)
    status = plb_draft_lay(&draft, &one, &alone, &frame, err);
  for (size_t i = 0; i < frame.found && status == PLB_OK; i++)
    if (frame.cycle[i].state == PLB_MAPPED) {
      sum += frame.cycle[i].correlation;
      count++;
    }
  *out = count ? sum / (double)count : 0.0;
  plb_draft_dispose(&draft);
  free(frame.cycle);
  free(frame.value);
  free(frame.landmark_phase);
  free(frame.span_s);
  free(frame.edge_at);
  return status;
}

/**
 * Which tooth is missing when the gap looks too long: every place of the gap that explains the teeth about as well is laid over the template.
 */
static plb_status settle_gap(plb_teeth *t, const plb_tracks *tracks, const plb_cycle_choice *choice, bool *decided_out,
                             plb_error *err) {
  const double clear = 0.002;
  double cost[PLB_TEETH_MOST], best = -1.0, second = -1.0;
  int best_shift = 0, candidates = 0;
  plb_status status = PLB_OK;
  *decided_out = plb_teeth_gap_filled(t) < GAP_UNSEEN;
  plb_teeth_shift_costs(t, cost);
  const double as_well = cost[0] + 1.5;
  for (int shift = 0; shift < t->positions; shift++)
    candidates += cost[shift] <= as_well;
  if (candidates < 2 || !choice->template_ || !*decided_out)
    return PLB_OK;
  for (int shift = 0; shift < t->positions && status == PLB_OK; shift++) {
    double like = 0;
    if (cost[shift] > as_well)
      continue;
    plb_teeth_shift(t, shift);
    status = likeness(t, tracks, choice, &like, err);
    like = fabs(like); /* an inverted signal is most unlike in the right place */
    plb_teeth_shift(t, -shift);
    if (like > best) {
      second = best;
      best = like;
      best_shift = shift;
    } else if (like > second) {
      second = like;
    }
  }
  plb_teeth_shift(t, best_shift);
  *decided_out = best - second > clear;
  return status;
}

static void count_from_first(plb_teeth *t) {
  for (size_t i = 0; i < t->count; i++)
    if (t->position[i] != PLB_NO_POSITION) {
      plb_teeth_shift(t, (int)(-(t->position[i] % t->positions)));
      return;
    }
}

plb_status plb_wheel_read(plb_teeth *out, const plb_tracks *tracks, const plb_cycle_choice *choice, bool *decided_out,
                          plb_error *err) {
  *decided_out = false;
  plb_status status = plb_teeth_find(out, tracks->x[choice->channel], tracks->samples, choice->level_low,
                                     choice->level_high, choice->edge, choice->spec.teeth, choice->spec.missing, err);
  if (status == PLB_OK && !is_clean(out, tracks, choice))
    status = try_own_levels(out, tracks, choice, err);
  if (status == PLB_OK && plb_teeth_are_regular(out)) {
    *decided_out = true;
    if (choice->spec.missing == 0)
      count_from_first(out);
    else
      status = settle_gap(out, tracks, choice, decided_out, err);
  }
  if (status != PLB_OK)
    plb_teeth_dispose(out);
  return status;
}

/**
 * Upside down: as it stands no clean wheel and its gap partly filled, turned over a clean one. The other edge at the same levels is this edge of
 * the turned signal.
 */
static plb_status find_inverted(const plb_teeth *t, const plb_tracks *tracks, const plb_cycle_choice *choice, bool *out,
                                plb_error *err) {
  plb_cycle_choice turned = *choice;
  plb_teeth other = {.count = 0};
  turned.edge = -choice->edge;
  *out = false;
  if (choice->spec.missing == 0 || !plb_teeth_are_regular(t) || t->cost <= CLEAN || plb_teeth_gap_filled(t) < 0.25)
    return PLB_OK;
  const plb_status status = try_own_levels(&other, tracks, &turned, err);
  *out = status == PLB_OK && is_clean(&other, tracks, choice);
  plb_teeth_dispose(&other);
  return status;
}

/* ---- the frame */

static double median_rate(const plb_draft *draft, double rate_hz) {
  double *list = plb_calloc(draft->found, sizeof(double));
  for (size_t i = 0; i < draft->found && list; i++)
    list[i] = rate_hz / (draft->cycle[i].last - draft->cycle[i].first);
  const double median = list ? plb_median(list, draft->found) : NAN;
  free(list);
  return median;
}

/** The best correlation of the typical cycle with the template when its gap is laid on another tooth. */
static double gap_elsewhere(const plb_frame *f, const plb_cycle_choice *choice) {
  const size_t grid = f->grid, places = (size_t)(choice->spec.teeth * choice->spec.revs);
  const size_t row = f->mapped / 2;
  if (f->mapped == 0 || !choice->template_ || grid % places || choice->spec.missing == 0)
    return NAN;
  float *turned = plb_calloc(grid, sizeof(float));
  const float *curve = f->value + (row * f->channels + choice->channel) * grid;
  double best = -1.0;
  for (size_t place = 1; place < places && turned; place++) {
    if (place == places / 2 && choice->spec.revs == 2)
      continue;
    const size_t shift = place * (grid / places);
    for (size_t k = 0; k < grid; k++)
      turned[k] = curve[(k + shift) % grid];
    best = fmax(best, plb_curve_correlation(turned, choice->template_, grid));
  }
  free(turned);
  return best;
}

plb_status plb_wheel_build(plb_frame *frame, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err) {
  plb_teeth teeth = {0};
  plb_draft draft = {.landmarks = plb_wheel_landmarks(&choice->spec)};
  bool decided = false;
  int parity = 0;
  plb_status status = plb_wheel_read(&teeth, tracks, choice, &decided, err);
  if (status == PLB_OK && choice->spec.revs == 2 && decided)
    status = plb_wheel_stroke(&teeth, tracks, choice, &parity, &frame->stroke_known, err);
  if (status == PLB_OK && choice->template_)
    status = find_inverted(&teeth, tracks, choice, &frame->inverted, err);
  if (status != PLB_OK)
    goto done;
  frame->structure = plb_teeth_are_regular(&teeth);
  if (frame->structure) {
    frame->revolutions = teeth.turns;
    status = plb_wheel_cycles(&draft, &teeth, &choice->spec, tracks->samples, parity, decided, err);
    if (status != PLB_OK)
      goto done;
    const double turn = teeth.median_pitch * teeth.positions * choice->spec.revs;
    frame->rate_hz = draft.found ? median_rate(&draft, tracks->rate_hz) : tracks->rate_hz / turn;
  }
  status = plb_draft_lay(&draft, tracks, choice, frame, err);
  if (status == PLB_OK)
    frame->runner_up = gap_elsewhere(frame, choice);
done:
  plb_draft_dispose(&draft);
  plb_teeth_dispose(&teeth);
  return status;
}
