/* What is chosen once for a wheel: levels from the pulses, the edge by evidence, grid and template. */
#include "cycle/kind.h"
#include "cycle/wheel.h"

#include <math.h>
#include <stdio.h>

/** How one edge shows the wheel, over all captures. */
typedef struct edge_evidence {
  double cost; /* mean over captures of what is left unexplained per turn; infinite when one shows no wheel */
  size_t worst; /* capture with the highest cost */
  double gap_low, gap_high; /* gap in pitches, over every turn */
  double samples_per_pitch; /* mean over captures */
} edge_evidence;

static void widest_gap(const plb_teeth *t, edge_evidence *e) {
  for (size_t i = 1; i < t->count; i++) {
    const int64_t a = t->position[i - 1], b = t->position[i];
    if (a == PLB_NO_POSITION || b == PLB_NO_POSITION ||
        (b - a == 1 && plb_teeth_is_tooth(t, a) && plb_teeth_is_tooth(t, b)))
      continue;
    const double pitches = (t->at[i] - t->at[i - 1]) / t->pitch[i - 1];
    e->gap_low = fmin(e->gap_low, pitches);
    e->gap_high = fmax(e->gap_high, pitches);
  }
}

static plb_status weigh_edge(const plb_cycle_choice *choice, const plb_tracks *const *tracks, size_t count, int edge,
                             edge_evidence *e, plb_error *err) {
  double worst = -1.0;
  *e = (edge_evidence){.gap_low = INFINITY, .gap_high = 0};
  for (size_t t = 0; t < count; t++) {
    plb_teeth teeth;
    const plb_status status =
        plb_teeth_find(&teeth, tracks[t]->x[choice->channel], tracks[t]->samples, choice->level_low, choice->level_high,
                       edge, choice->spec.teeth, choice->spec.missing, err);
    if (status != PLB_OK)
      return status;
    if (teeth.cost > worst) {
      worst = teeth.cost;
      e->worst = t;
    }
    e->cost += teeth.cost / (double)count;
    e->samples_per_pitch += teeth.median_pitch / (double)count;
    widest_gap(&teeth, e);
    plb_teeth_dispose(&teeth);
  }
  return PLB_OK;
}

/** Levels that hold for every capture: the middle of the typical swing, and the weakest pulses of any. */
static plb_status choose_levels(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, plb_error *err) {
  plb_status status = PLB_OK;
  plb_swing common = {.top_low = INFINITY, .bottom_high = -INFINITY};
  double *top = plb_calloc(count, sizeof(double)), *bottom = plb_calloc(count, sizeof(double));
  if (!top || !bottom)
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu captures; free some memory", count);
  for (size_t t = 0; t < count && status == PLB_OK; t++) {
    plb_swing one;
    bool found = false;
    status = plb_swing_of(tracks[t]->x[out->channel], tracks[t]->samples, &one, &found, err);
    if (status == PLB_OK && !found)
      status = plb_fail(err, PLB_EDATA,
                        "good capture %zu of %zu has no pulses on channel %s; leave it out or prove the connection",
                        t + 1, count, tracks[t]->role[out->channel]);
    if (status != PLB_OK)
      break;
    top[t] = one.top;
    bottom[t] = one.bottom;
    common.top_low = fmin(common.top_low, one.top_low);
    common.bottom_high = fmax(common.bottom_high, one.bottom_high);
  }
  if (status == PLB_OK) {
    common.top = plb_median(top, count);
    common.bottom = plb_median(bottom, count);
    plb_swing_levels(&common, &out->level_low, &out->level_high);
  }
  free(top);
  free(bottom);
  return status;
}

static plb_status choose_edge(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count,
                              edge_evidence *chosen, plb_buffer *notes, plb_error *err) {
  edge_evidence rising, falling;
  plb_status status = weigh_edge(out, tracks, count, 1, &rising, err);
  if (status == PLB_OK)
    status = weigh_edge(out, tracks, count, -1, &falling, err);
  if (status != PLB_OK)
    return status;
  out->edge = falling.cost < rising.cost ? -1 : 1;
  *chosen = out->edge > 0 ? rising : falling;
  if (!isfinite(chosen->cost) || chosen->cost > 4.0 + 0.5 * (out->spec.teeth - out->spec.missing))
    return plb_fail(err, PLB_EDATA,
                    "good capture %zu of %zu shows no wheel of %d positions with %d missing; state the wheel that is "
                    "there, or leave the capture out",
                    chosen->worst + 1, count, out->spec.teeth, out->spec.missing);
  if (notes && out->spec.missing > 0)
    plb_buffer_printf(
        notes,
        "Edge: %s. Its gap measures %.2f to %.2f pitches (%d expected) and leaves %.2f per turn unexplained; the %s "
        "edge leaves %.2f.\n",
        out->edge > 0 ? "rising" : "falling", chosen->gap_low, chosen->gap_high, out->spec.missing + 1, chosen->cost,
        out->edge > 0 ? "falling" : "rising", out->edge > 0 ? falling.cost : rising.cost);
  else if (notes)
    plb_buffer_printf(notes, "Edge: %s, the more even one.\n", out->edge > 0 ? "rising" : "falling");
  return PLB_OK;
}

/** About a thousand points a turn, the same number for every pitch, not finer than the samples but at least four to a pitch. */
static size_t cells_per_pitch(const plb_cycle_spec *spec, double samples_per_pitch) {
  const size_t positions = (size_t)spec->teeth, all = positions * (size_t)spec->revs;
  size_t cells = 1024 / positions;
  if ((double)cells > samples_per_pitch)
    cells = (size_t)samples_per_pitch;
  if (cells < 4)
    cells = 4;
  return cells * all <= PLB_GRID_MOST ? cells : PLB_GRID_MOST / all;
}

static plb_status name_teeth(plb_cycle_choice *out, plb_error *err) {
  const size_t teeth = (size_t)(out->spec.teeth - out->spec.missing);
  out->landmarks = plb_wheel_landmarks(&out->spec);
  out->landmark = plb_calloc(out->landmarks, sizeof *out->landmark);
  if (!out->landmark)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu teeth; free some memory", out->landmarks);
  for (size_t k = 0; k < out->landmarks; k++) {
    plb_landmark *mark = &out->landmark[k];
    *mark = (plb_landmark){.phase = plb_wheel_phase(&out->spec, k),
                           .direction = out->edge,
                           .level = 0.5 * (out->level_low + out->level_high)};
    if (k < teeth)
      snprintf(mark->name, sizeof mark->name, "tooth %zu", k + 1);
    else
      snprintf(mark->name, sizeof mark->name, "tooth %zu, turn 2", k - teeth + 1);
  }
  return PLB_OK;
}

plb_status plb_wheel_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid,
                            plb_buffer *notes, plb_error *err) {
  edge_evidence evidence;
  out->stroke_channel = -1;
  plb_status status = choose_levels(out, tracks, count, err);
  if (status == PLB_OK)
    status = choose_edge(out, tracks, count, &evidence, notes, err);
  if (status != PLB_OK)
    return status;
  out->grid =
      grid ? grid
           : cells_per_pitch(&out->spec, evidence.samples_per_pitch) * (size_t)(out->spec.teeth * out->spec.revs);
  out->seam = plb_wheel_phase(&out->spec, 0);
  status = name_teeth(out, err);
  if (status == PLB_OK && out->spec.revs == 2) {
    out->grid += out->grid % 2;
    status = plb_wheel_choose_stroke(out, tracks, count, notes, err);
  }
  if (status == PLB_OK)
    status = plb_choose_template(out, tracks, count, err);
  return status;
}
