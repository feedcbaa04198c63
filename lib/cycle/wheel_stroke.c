/*
 * Which of two turns is which. A four-stroke engine repeats every second turn, the wheel every turn. What tells them apart is what differs
 * between the first turn and the second: the pressure of another channel, or the teeth's own timing, because the engine speeds up after firing.
 * So only the difference of the two halves of a cycle is compared; beginning one turn later changes its sign and nothing else.
 */
#include "cycle/wheel.h"

#include <math.h>

static const double TOLD_APART = 0.5;

/** Speed along the cycle, as a share of its mean: the inverse of the cells' lengths, from the teeth alone. */
static void speed_curve(const double *edge_at, size_t grid, float *out) {
  const double mean = (edge_at[grid] - edge_at[0]) / (double)grid;
  for (size_t k = 0; k < grid; k++)
    out[k] = (float)(mean / (edge_at[k + 1] - edge_at[k]));
}

/** First half less second half. @param channel  -1: the teeth's timing */
static plb_status half_difference(const plb_draft *draft, size_t index, const plb_tracks *tracks, int channel,
                                  size_t grid, double *edge_at, plb_scratch *scratch, float *curve, float *out,
                                  plb_error *err) {
  const size_t first = draft->anchor[index];
  const size_t count = (index + 1 < draft->found ? draft->anchor[index + 1] : draft->anchors) - first;
  plb_status status = PLB_OK;
  plb_lay_edges(draft->phase + first, draft->place + first, count, grid, edge_at);
  if (channel < 0)
    speed_curve(edge_at, grid, curve);
  else
    status = plb_lay_cells(tracks->x[channel], tracks->samples, edge_at, grid, scratch, curve, err);
  for (size_t k = 0; k < grid / 2; k++)
    out[k] = curve[k] - curve[k + grid / 2];
  return status;
}

/** The half differences of every mapped cycle (begun at the first whole turn). @param out  [*count_out][grid / 2], free() */
static plb_status half_differences(const plb_teeth *teeth, const plb_tracks *tracks, const plb_cycle_spec *spec,
                                   int channel, size_t grid, float **out, size_t *count_out, plb_error *err) {
  plb_draft draft = {.landmarks = plb_wheel_landmarks(spec)};
  plb_scratch scratch = {0};
  float *curve = plb_calloc(grid, sizeof(float)), *list = NULL;
  double *edge_at = plb_calloc(grid + 1, sizeof(double));
  size_t count = 0;
  plb_status status = plb_wheel_cycles(&draft, teeth, spec, tracks->samples, 0, true, err);
  if (status == PLB_OK) {
    list = plb_calloc(draft.found + 1, grid / 2 * sizeof(float));
    if (!curve || !edge_at || !list)
      status = plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", draft.found);
  }
  for (size_t i = 0; i < draft.found && status == PLB_OK; i++)
    if (draft.cycle[i].state == PLB_MAPPED)
      status =
          half_difference(&draft, i, tracks, channel, grid, edge_at, &scratch, curve, list + count++ * (grid / 2), err);
  if (status != PLB_OK) {
    free(list);
    list = NULL;
  }
  *out = list;
  *count_out = count;
  plb_draft_dispose(&draft);
  plb_scratch_dispose(&scratch);
  free(curve);
  free(edge_at);
  return status;
}

/** Mean of the cycles' curves, and how alike they are: mean correlation of each with the mean of the others. */
static double consistency(const float *list, size_t count, size_t half, float *mean) {
  double sum = 0;
  float *others = plb_calloc(half, sizeof(float));
  for (size_t k = 0; k < half; k++)
    mean[k] = 0;
  for (size_t i = 0; i < count; i++)
    for (size_t k = 0; k < half; k++)
      mean[k] += list[i * half + k] / (float)count;
  for (size_t i = 0; i < count && others; i++) {
    for (size_t k = 0; k < half; k++)
      others[k] = mean[k] * (float)count - list[i * half + k];
    sum += plb_curve_correlation(list + i * half, others, half);
  }
  free(others);
  return count > 1 ? sum / (double)count : 0.0;
}

/**
 * Correlation of two half differences, the larger in size over shifts of a sixth of a turn either way: a late spark or a slipped wheel moves the
 * pressure, it does not make a firing turn an idle one. Past the end a half difference goes on with its sign changed.
 */
static double shifted_likeness(const float *difference, const float *wanted, size_t half, float *turned) {
  const size_t reach = half / 6, stride = half / 256 + 1;
  double best = 0;
  for (size_t shift = 0; shift <= 2 * reach; shift += stride) {
    const size_t from = shift + 2 * half - reach;
    for (size_t k = 0; k < half; k++) {
      const size_t at = (k + from) % (2 * half);
      turned[k] = at < half ? difference[at] : -difference[at - half];
    }
    const double like = plb_curve_correlation(turned, wanted, half);
    best = fabs(like) > fabs(best) ? like : best;
  }
  return best;
}

plb_status plb_wheel_stroke(const plb_teeth *teeth, const plb_tracks *tracks, const plb_cycle_choice *choice,
                            int *parity_out, bool *known_out, plb_error *err) {
  const size_t half = choice->grid / 2;
  float *difference = NULL, *curve = NULL;
  size_t count = 0;
  *parity_out = 0;
  *known_out = false;
  if (!choice->stroke || choice->stroke_channel >= (int)tracks->channels)
    return PLB_OK;
  plb_status status =
      half_differences(teeth, tracks, &choice->spec, choice->stroke_channel, choice->grid, &difference, &count, err);
  if (status != PLB_OK)
    return status;
  curve = plb_calloc(3 * half, sizeof(float));
  if (!curve) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for a stroke's curve; free some memory");
    goto done;
  }
  float *mean = curve, *wanted = curve + half, *turned = wanted + half;
  for (size_t k = 0; k < half; k++)
    wanted[k] = choice->stroke[k] - choice->stroke[k + half];
  const double alike = consistency(difference, count, half, mean);
  const double like = count ? shifted_likeness(mean, wanted, half, turned) : 0.0;
  *parity_out = like < 0;
  *known_out = fabs(like) > TOLD_APART && (count < 2 || alike > TOLD_APART);
done:
  free(difference);
  free(curve);
  return status;
}

/* ---- learning */

/**
 * What one channel says over all captures: the mean half difference, each capture's sign turned to the first's.
 * @return its evidence, 0..1
 */
static plb_status weigh_channel(const plb_teeth *teeth, const plb_tracks *const *tracks, size_t count,
                                const plb_cycle_choice *choice, int channel, float *total, double *evidence_out,
                                plb_error *err) {
  const size_t half = choice->grid / 2;
  float *mean = plb_calloc(half, sizeof(float));
  *evidence_out = 0;
  if (!mean)
    return plb_fail(err, PLB_ENOMEM, "no memory for a stroke's curve; free some memory");
  for (size_t k = 0; k < half; k++)
    total[k] = 0;
  for (size_t t = 0; t < count; t++) {
    float *list = NULL;
    size_t cycles = 0;
    const plb_status status =
        half_differences(&teeth[t], tracks[t], &choice->spec, channel, choice->grid, &list, &cycles, err);
    if (status != PLB_OK) {
      free(mean);
      return status;
    }
    *evidence_out += consistency(list, cycles, half, mean) / (double)count;
    const float sign = t > 0 && plb_curve_correlation(mean, total, half) < 0 ? -1.0f : 1.0f;
    for (size_t k = 0; k < half; k++)
      total[k] += sign * mean[k] / (float)count;
    free(list);
  }
  free(mean);
  return PLB_OK;
}

/** The turn with the larger excursion comes first: on a pressure channel the one that fires. */
static void put_larger_first(float *total, size_t half) {
  float low = 0, high = 0;
  for (size_t k = 0; k < half; k++) {
    low = fminf(low, total[k]);
    high = fmaxf(high, total[k]);
  }
  for (size_t k = 0; k < half && -low > high; k++)
    total[k] = -total[k];
}

static plb_status choose_channel(const plb_teeth *teeth, const plb_tracks *const *tracks, size_t count,
                                 plb_cycle_choice *choice, double *evidence_out, plb_error *err) {
  const size_t half = choice->grid / 2;
  plb_status status = PLB_OK;
  float *total = plb_calloc(half, sizeof(float));
  choice->stroke = plb_calloc(choice->grid, sizeof(float));
  if (!total || !choice->stroke)
    status = plb_fail(err, PLB_ENOMEM, "no memory for a stroke's curve; free some memory");
  for (int channel = -1; channel < (int)tracks[0]->channels && status == PLB_OK; channel++) {
    double evidence = 0;
    status = weigh_channel(teeth, tracks, count, choice, channel, total, &evidence, err);
    if (status != PLB_OK || evidence <= *evidence_out)
      continue;
    *evidence_out = evidence;
    choice->stroke_channel = channel;
    put_larger_first(total, half);
    for (size_t k = 0; k < half; k++) {
      choice->stroke[k] = 0.5f * total[k];
      choice->stroke[k + half] = -0.5f * total[k];
    }
  }
  free(total);
  return status;
}

plb_status plb_wheel_choose_stroke(plb_cycle_choice *choice, const plb_tracks *const *tracks, size_t count,
                                   plb_buffer *notes, plb_error *err) {
  plb_status status = PLB_OK;
  plb_teeth *teeth = plb_calloc(count, sizeof *teeth);
  double evidence = 0;
  if (!teeth)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu captures; free some memory", count);
  choice->stroke_channel = -1;
  for (size_t t = 0; t < count && status == PLB_OK; t++) {
    bool decided = false;
    status = plb_wheel_read(&teeth[t], tracks[t], choice, &decided, err);
  }
  if (status == PLB_OK)
    status = choose_channel(teeth, tracks, count, choice, &evidence, err);
  if (status == PLB_OK && evidence < TOLD_APART) {
    free(choice->stroke);
    choice->stroke = NULL;
    choice->stroke_channel = -1;
  }
  if (status == PLB_OK && notes && choice->stroke)
    plb_buffer_printf(notes, "The two turns of a cycle are told apart by %s (alike from cycle to cycle: %.2f).\n",
                      choice->stroke_channel < 0 ? "the timing of the teeth" : tracks[0]->role[choice->stroke_channel],
                      evidence);
  else if (status == PLB_OK && notes)
    plb_buffer_printf(notes, "The two turns of a cycle look alike (%.2f): which is which stays unknown.\n", evidence);
  for (size_t t = 0; t < count; t++)
    plb_teeth_dispose(&teeth[t]);
  free(teeth);
  return status;
}
