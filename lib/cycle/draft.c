#include "cycle/draft.h"

#include <math.h>
#include <string.h>

/** Room for `width` more values behind used ones. */
static double *grow_by(double *array, size_t used, size_t width, size_t *capacity) {
  if (used + width <= *capacity && array)
    return array;
  const size_t wanted = 2 * (used + width) + 16;
  double *larger = plb_resize(array, wanted, sizeof(double));
  if (larger)
    *capacity = wanted;
  return larger;
}

static bool make_room(plb_draft *d) {
  plb_cycle_found *cycle = plb_grow(d->cycle, d->found, &d->cycle_capacity, sizeof *cycle);
  if (cycle)
    d->cycle = cycle;
  size_t *anchor = plb_grow(d->anchor, d->found, &d->anchor_capacity, sizeof *anchor);
  if (anchor)
    d->anchor = anchor;
  double *mark = grow_by(d->mark_at, d->found * d->landmarks, d->landmarks, &d->mark_capacity);
  if (mark)
    d->mark_at = mark;
  double *span = grow_by(d->span_s, d->found * d->spans, d->spans, &d->span_capacity);
  if (span)
    d->span_s = span;
  return cycle && anchor && mark && span;
}

plb_cycle_found *plb_draft_cycle(plb_draft *d, double first, double last, plb_unmapped state) {
  if (!make_room(d))
    return NULL;
  for (size_t k = 0; k < d->landmarks; k++)
    d->mark_at[d->found * d->landmarks + k] = NAN;
  for (size_t k = 0; k < d->spans; k++)
    d->span_s[d->found * d->spans + k] = NAN;
  d->anchor[d->found] = d->anchors;
  d->cycle[d->found] = (plb_cycle_found){.first = first, .last = last, .state = state, .surplus_phase = NAN};
  return &d->cycle[d->found++];
}

bool plb_draft_anchor(plb_draft *d, double phase, double place) {
  double *p = grow_by(d->phase, d->anchors, 1, &d->phase_capacity);
  if (p)
    d->phase = p;
  double *q = grow_by(d->place, d->anchors, 1, &d->place_capacity);
  if (q)
    d->place = q;
  if (!p || !q)
    return false;
  d->phase[d->anchors] = phase;
  d->place[d->anchors++] = place;
  return true;
}

double *plb_draft_marks(plb_draft *d) { return d->mark_at + (d->found - 1) * d->landmarks; }

double *plb_draft_spans(plb_draft *d) { return d->span_s + (d->found - 1) * d->spans; }

static size_t anchors_of(const plb_draft *d, size_t index) {
  return (index + 1 < d->found ? d->anchor[index + 1] : d->anchors) - d->anchor[index];
}

double plb_draft_phase_at(const plb_draft *d, size_t index, double place) {
  const size_t count = anchors_of(d, index);
  const double *phase = d->phase + d->anchor[index], *at = d->place + d->anchor[index];
  if (count < 2)
    return (place - d->cycle[index].first) / (d->cycle[index].last - d->cycle[index].first);
  size_t a = 0;
  while (a + 2 < count && at[a + 1] <= place)
    a++;
  return phase[a] + (place - at[a]) * (phase[a + 1] - phase[a]) / (at[a + 1] - at[a]);
}

void plb_draft_dispose(plb_draft *d) {
  free(d->cycle);
  free(d->anchor);
  free(d->phase);
  free(d->place);
  free(d->mark_at);
  free(d->span_s);
  *d = (plb_draft){0};
}

bool plb_frame_allocate(plb_frame *f, size_t mapped) {
  const size_t rows = mapped ? mapped : 1;
  f->mapped = mapped;
  f->value = plb_calloc(rows, f->channels * f->grid * sizeof(float));
  f->landmark_phase = plb_calloc(rows, f->landmarks * sizeof(double) + 1);
  f->span_s = f->spans ? plb_calloc(rows, f->spans * sizeof(double)) : NULL;
  f->edge_at = plb_calloc(rows, (f->grid + 1) * sizeof(double));
  return f->value && f->landmark_phase && f->edge_at && (f->span_s || !f->spans);
}

/** Row `row` of the frame from cycle `index` of the draft. */
static plb_status lay_row(const plb_draft *d, size_t index, size_t row, const plb_tracks *tracks,
                          const plb_cycle_choice *choice, plb_frame *f, plb_scratch *scratch, plb_error *err) {
  plb_cycle_found *cycle = &f->cycle[index];
  double *edge_at = f->edge_at + row * (f->grid + 1);
  plb_lay_edges(d->phase + d->anchor[index], d->place + d->anchor[index], anchors_of(d, index), f->grid, edge_at);
  for (size_t c = 0; c < f->channels; c++) {
    float *out = f->value + (row * f->channels + c) * f->grid;
    const plb_status status = plb_lay_cells(tracks->x[c], tracks->samples, edge_at, f->grid, scratch, out, err);
    if (status != PLB_OK)
      return status;
  }
  for (size_t k = 0; k < f->landmarks; k++)
    f->landmark_phase[row * f->landmarks + k] =
        (d->mark_at[index * f->landmarks + k] - cycle->first) / (cycle->last - cycle->first);
  for (size_t k = 0; k < f->spans; k++)
    f->span_s[row * f->spans + k] = d->span_s[index * f->spans + k];
  if (choice->template_)
    cycle->correlation =
        plb_curve_correlation(f->value + (row * f->channels + choice->channel) * f->grid, choice->template_, f->grid);
  cycle->row = row;
  return PLB_OK;
}

static double median_correlation(const plb_frame *f) {
  double *list = plb_calloc(f->mapped, sizeof(double));
  size_t count = 0;
  for (size_t i = 0; i < f->found && list; i++)
    if (f->cycle[i].state == PLB_MAPPED)
      list[count++] = f->cycle[i].correlation;
  const double median = count ? plb_median(list, count) : NAN;
  free(list);
  return median;
}

plb_status plb_draft_lay(plb_draft *d, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_frame *f,
                         plb_error *err) {
  plb_scratch scratch = {0};
  plb_status status = PLB_OK;
  size_t mapped = 0;
  f->grid = choice->grid;
  f->channels = tracks->channels;
  f->landmarks = d->landmarks;
  f->spans = d->spans;
  f->found = d->found;
  f->cycle = d->cycle;
  d->cycle = NULL;
  for (size_t i = 0; i < f->found; i++)
    mapped += f->cycle[i].state == PLB_MAPPED;
  if (!plb_frame_allocate(f, mapped)) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", mapped);
    goto done;
  }
  for (size_t i = 0, row = 0; i < f->found && status == PLB_OK; i++)
    if (f->cycle[i].state == PLB_MAPPED)
      status = lay_row(d, i, row++, tracks, choice, f, &scratch, err);
  f->correlation = median_correlation(f);
done:
  plb_scratch_dispose(&scratch);
  return status;
}

static void move_row(plb_frame *f, size_t from, size_t to) {
  const size_t curve = f->channels * f->grid;
  memmove(f->value + to * curve, f->value + from * curve, curve * sizeof *f->value);
  memmove(f->edge_at + to * (f->grid + 1), f->edge_at + from * (f->grid + 1), (f->grid + 1) * sizeof *f->edge_at);
  memmove(f->landmark_phase + to * f->landmarks, f->landmark_phase + from * f->landmarks,
          f->landmarks * sizeof *f->landmark_phase);
  if (f->spans)
    memmove(f->span_s + to * f->spans, f->span_s + from * f->spans, f->spans * sizeof *f->span_s);
}

void plb_frame_drop_unlike(plb_frame *f, double least) {
  size_t kept = 0;
  for (size_t i = 0; i < f->found; i++) {
    plb_cycle_found *cycle = &f->cycle[i];
    if (cycle->state != PLB_MAPPED)
      continue;
    if (cycle->correlation < least) {
      cycle->state = PLB_UNMAPPED_SHAPE;
      continue;
    }
    if (cycle->row != kept)
      move_row(f, cycle->row, kept);
    cycle->row = kept++;
  }
  f->mapped = kept;
  f->correlation = median_correlation(f);
}
