/*
 * Long captures. A worst-cycle statistic grows with the number of cycles, and an average hides what only a part of the time is there. So a
 * capture of more than twice the good captures' cycles is judged in blocks of their length; the worst block counts, and its p-value is
 * multiplied by the number of blocks (Bonferroni). What departs is then told over the whole capture.
 */
#include "compare/outcome.h"
#include <math.h>
#include <string.h>

static size_t typical_cycles(const plb_judge *judge) {
  double *n = plb_calloc(judge->reference->exemplars, sizeof *n);
  if (n == NULL) {
    return 0;
  }
  for (size_t i = 0; i < judge->reference->exemplars; i++) {
    n[i] = (double)(judge->reference->exemplar[i].cycles + judge->reference->exemplar[i].unmapped);
  }
  const double typical = plb_median(n, judge->reference->exemplars);
  free(n);
  return typical >= 1.0 ? (size_t)typical : 0;
}

static void *copy_of(const void *from, size_t size) {
  void *copy = from != NULL && size > 0 ? plb_calloc(size, 1) : NULL;
  if (copy != NULL) {
    memcpy(copy, from, size);
  }
  return copy;
}

/* The cycles [from, to) of a frame as one of their own; NULL: out of memory, or nothing mapped in it. */
static plb_frame *frame_part(const plb_frame *whole, size_t from, size_t to) {
  size_t first = SIZE_MAX, rows = 0;
  for (size_t i = from; i < to; i++) {
    if (whole->cycle[i].state == PLB_MAPPED) {
      first = first == SIZE_MAX ? whole->cycle[i].row : first;
      rows++;
    }
  }
  plb_frame *part = rows > 0 ? plb_calloc(1, sizeof *part) : NULL;
  if (part == NULL) {
    return NULL;
  }
  *part = *whole;
  part->found = to - from;
  part->mapped = rows;
  const size_t cells = whole->channels * whole->grid;
  part->cycle = copy_of(whole->cycle + from, part->found * sizeof *part->cycle);
  part->value = copy_of(whole->value + first * cells, rows * cells * sizeof *part->value);
  part->landmark_phase =
      copy_of(whole->landmark_phase + first * whole->landmarks, rows * whole->landmarks * sizeof *part->landmark_phase);
  part->span_s = whole->span_s != NULL
                     ? copy_of(whole->span_s + first * whole->spans, rows * whole->spans * sizeof *part->span_s)
                     : NULL;
  part->step = NULL;
  if (whole->step != NULL) {
    part->step = copy_of(whole->step, whole->channels * sizeof *part->step);
  }
  part->edge_at = copy_of(whole->edge_at + first * (whole->grid + 1), rows * (whole->grid + 1) * sizeof *part->edge_at);
  if (part->cycle == NULL || part->value == NULL || part->edge_at == NULL ||
      (whole->landmarks > 0 && part->landmark_phase == NULL)) {
    plb_frame_free(part);
    return NULL;
  }
  for (size_t i = 0; i < part->found; i++) {
    part->cycle[i].row -= part->cycle[i].state == PLB_MAPPED ? first : 0;
  }
  return part;
}

/* A block's own curves and readings; what belongs to the capture as a whole (levels, conditions) is borrowed from it. */
static plb_status profile_part(plb_profile **out, const plb_judge *judge, const plb_profile *whole, size_t from,
                               size_t to, plb_error *err) {
  plb_frame *frame = frame_part(whole->frame, from, to);
  plb_profile *p = NULL;
  *out = NULL;
  if (frame == NULL) {
    return PLB_OK; /* told by the share of unmapped cycles */
  }
  const plb_status status = plb_profile_new(&p, frame, &judge->reference->choice, judge->decimals, err);
  if (status != PLB_OK) {
    return status;
  }
  const plb_profile own = *p;
  *p = *whole;
  p->median = own.median;
  p->spread = own.spread;
  p->scatter = own.scatter;
  p->reading = own.reading;
  p->frame = own.frame;
  p->cycles = own.cycles;
  p->unmapped = own.unmapped;
  p->damaged = own.damaged;
  p->borrowed = false;
  *out = p;
  return PLB_OK;
}

static void part_free(plb_profile *p) {
  if (p != NULL) {
    p->level = p->level_doubt = NULL; /* borrowed */
    plb_profile_free(p);
  }
}

plb_status plb_block_distances(unsigned *blocks_out, double *share_out, const plb_judge *judge,
                               const plb_profile *whole, double *d, plb_error *err) {
  const size_t found = whole->frame->found, length = typical_cycles(judge);
  const plb_cycle_kind kind = judge->reference->choice.spec.kind;
  *blocks_out = 1;
  *share_out = plb_structural_share(whole);
  if (kind == PLB_CYCLE_ONCE || whole->frame->unordered || length < 2 || found <= 2 * length) {
    return PLB_OK;
  }
  const size_t blocks = found / length;
  double *one = plb_calloc(2 * judge->terms.count, sizeof *one), *most = one != NULL ? one + judge->terms.count : NULL;
  plb_status status = one != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t j = 0; status == PLB_OK && j < judge->terms.count; j++) {
    most[j] = NAN;
  }
  for (size_t b = 0; b < blocks && status == PLB_OK; b++) {
    plb_profile *part = NULL;
    status = profile_part(&part, judge, whole, b * length, b + 1 < blocks ? (b + 1) * length : found, err);
    if (status == PLB_OK && part != NULL) {
      status = plb_distances(judge->fit, &judge->plan, &judge->terms, part, one, err);
      *share_out = fmax(*share_out, plb_structural_share(part));
      for (size_t j = 0; j < judge->terms.count && status == PLB_OK; j++) {
        most[j] = fmax(most[j], one[j]); /* fmax leaves out what is not a number */
      }
    }
    part_free(part);
  }
  for (size_t j = 0; status == PLB_OK && j < judge->terms.count; j++) {
    d[j] = isfinite(most[j]) ? most[j] : d[j];
  }
  *blocks_out = (unsigned)blocks;
  free(one);
  return status;
}
