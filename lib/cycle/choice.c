#include "cycle/kind.h"
#include "cycle/against.h"
#include "cycle/edge.h"
#include "cycle/once.h"
#include "cycle/repeat.h"
#include "cycle/steady.h"
#include "cycle/wheel.h"

#include <math.h>
#include <string.h>

static const plb_kind KIND[] = {
    [PLB_CYCLE_WHEEL] = {plb_wheel_choose, plb_wheel_build},
    [PLB_CYCLE_EDGE] = {plb_edge_choose, plb_edge_build},
    [PLB_CYCLE_REPEAT] = {plb_repeat_choose, plb_repeat_build},
    [PLB_CYCLE_ONCE] = {plb_once_choose, plb_once_build},
    [PLB_CYCLE_AGAINST] = {plb_against_choose, plb_against_build},
    [PLB_CYCLE_STEADY] = {plb_steady_choose, plb_steady_build},
};

const plb_kind *plb_kind_of(plb_cycle_kind kind) {
  return (unsigned)kind < sizeof KIND / sizeof KIND[0] && KIND[kind].choose ? &KIND[kind] : NULL;
}

void plb_cycle_choice_dispose(plb_cycle_choice *choice) {
  free(choice->template_);
  free(choice->landmark);
  free(choice->span);
  free(choice->stroke);
  *choice = (plb_cycle_choice){0};
}

static plb_status find_channel(const plb_tracks *tracks, const char *role, size_t *out, plb_error *err) {
  *out = 0;
  if (!*role)
    return PLB_OK;
  for (size_t c = 0; c < tracks->channels; c++)
    if (strcmp(tracks->role[c], role) == 0) {
      *out = c;
      return PLB_OK;
    }
  return plb_fail(err, PLB_EUSAGE, "--cycle: no channel has the role \"%s\"; name it with --channel %s=COLUMN", role,
                  role);
}

static plb_status check_tracks(const plb_tracks *const *tracks, size_t count, size_t grid, plb_error *err) {
  if (count == 0 || grid == 1 || grid > PLB_GRID_MOST)
    return plb_fail(err, PLB_EINVAL, "no captures to choose from, or a grid of %zu points; give 2 to %d", grid,
                    PLB_GRID_MOST);
  for (size_t t = 0; t < count; t++)
    if (tracks[t]->channels == 0 || tracks[t]->channels != tracks[0]->channels || tracks[t]->samples < 2)
      return plb_fail(err, PLB_EDATA,
                      "capture %zu of %zu has %zu channels and %zu samples; every capture needs the same channels and "
                      "at least 2 samples",
                      t + 1, count, tracks[t]->channels, tracks[t]->samples);
  return PLB_OK;
}

plb_status plb_cycle_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count,
                            const plb_cycle_spec *spec, size_t grid, plb_buffer *notes, plb_error *err) {
  const plb_kind *kind = plb_kind_of(spec->kind);
  *out = (plb_cycle_choice){.spec = *spec, .stroke_channel = -1};
  if (!kind)
    return plb_fail(err, PLB_EUSAGE,
                    "--cycle %s cannot be learned by this version; it learns wheel, edge, repeat, once, against and steady",
                    plb_cycle_kind_name(spec->kind));
  plb_status status = check_tracks(tracks, count, grid, err);
  if (status == PLB_OK)
    status = find_channel(tracks[0], spec->channel, &out->channel, err);
  if (status == PLB_OK)
    status = kind->choose(out, tracks, count, grid, notes, err);
  if (status != PLB_OK)
    plb_cycle_choice_dispose(out);
  return status;
}

plb_status plb_frame_build(plb_frame **out, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err) {
  const plb_kind *kind = plb_kind_of(choice->spec.kind);
  *out = NULL;
  if (!kind || choice->grid < 2 || choice->channel >= tracks->channels)
    return plb_fail(err, PLB_EINVAL, "these choices do not fit the capture's %zu channels; learn them again",
                    tracks->channels);
  plb_frame *frame = plb_calloc(1, sizeof *frame);
  if (!frame)
    return plb_fail(err, PLB_ENOMEM, "no memory for a phase frame; free some memory");
  frame->covered = 1.0;
  frame->rate_hz = frame->revolutions = frame->correlation = frame->runner_up = NAN;
  plb_status status = kind->build(frame, tracks, choice, err);
  if (status == PLB_OK && tracks->step) {
    frame->step = plb_calloc(tracks->channels, sizeof *frame->step);
    if (frame->step)
      memcpy(frame->step, tracks->step, tracks->channels * sizeof *frame->step);
    else
      status = plb_fail(err, PLB_ENOMEM, "no memory for a phase frame; free some memory");
  }
  if (status == PLB_OK)
    *out = frame;
  else
    plb_frame_free(frame);
  return status;
}

void plb_frame_free(plb_frame *frame) {
  if (!frame)
    return;
  free(frame->cycle);
  free(frame->value);
  free(frame->landmark_phase);
  free(frame->span_s);
  free(frame->edge_at);
  free(frame->step);
  free(frame);
}
