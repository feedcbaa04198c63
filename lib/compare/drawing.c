#include "compare/explain.h"
#include <math.h>

/* The cycle that departs most in any band of a channel; SIZE_MAX when none stands out from the median. */
static size_t standing_out(const plb_judge *judge, const plb_outcome *o, size_t channel) {
  const plb_slices *s = &judge->plan.slices;
  size_t worst = SIZE_MAX;
  double most = 0.0;
  for (size_t b = 0; b < s->bands; b++) {
    const size_t term = s->channel[b] == channel ? plb_term_find(&judge->terms, PLB_D_CYCLE, b) : SIZE_MAX;
    if (term == SIZE_MAX || !(plb_term_score(judge, o, term) > judge->reference->calibration.limit)) {
      continue;
    }
    for (size_t r = 0; r < o->profile->frame->mapped; r++) {
      const double d = plb_cycle_distance(judge->fit, &judge->plan, o->profile, b, r, o->gain[channel]) / judge->scale[term];
      if (d > most) {
        most = d;
        worst = r;
      }
    }
  }
  return worst;
}

static plb_status draw_channel(plb_drawing *d, const plb_judge *judge, const plb_outcome *o, size_t c, plb_error *err) {
  const plb_reference *ref = judge->reference;
  const plb_frame *f = o->profile->frame;
  const size_t grid = f->grid, columns = grid > 2000 ? grid / 2 : grid, cells = grid / columns;
  float *all = plb_calloc(7 * columns, sizeof *all);
  if (all == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  d->columns = columns;
  d->centre = all;
  d->lower = all + columns;
  d->upper = all + 2 * columns;
  d->lowest = all + 3 * columns;
  d->median = all + 4 * columns;
  d->highest = all + 5 * columns;
  const size_t row = standing_out(judge, o, c);
  d->worst = row != SIZE_MAX ? all + 6 * columns : NULL;
  plb_text_copy(d->channel, sizeof d->channel, ref->channel[c].role);
  plb_text_copy(d->unit, sizeof d->unit, ref->channel[c].unit);
  for (size_t k = 0; k < columns; k++) {
    const size_t at = c * grid + k * cells;
    float low = INFINITY, high = -INFINITY;
    for (size_t r = 0; r < f->mapped; r++) {
      for (size_t g = 0; g < cells; g++) {
        const float x = plb_frame_curve(f, r, c)[k * cells + g];
        low = fminf(low, x);
        high = fmaxf(high, x);
      }
    }
    d->lowest[k] = low <= high ? low : o->profile->median[at];
    d->highest[k] = low <= high ? high : o->profile->median[at];
    d->median[k] = o->profile->median[at];
    d->centre[k] = ref->corridor.centre[at];
    d->lower[k] = ref->corridor.lower[at];
    d->upper[k] = ref->corridor.upper[at];
    if (d->worst != NULL) {
      const float x = plb_frame_curve(f, row, c)[k * cells];
      d->worst[k] = isnan(x) ? d->median[k] : x;
    }
  }
  return PLB_OK;
}

plb_status plb_explain_drawing(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, plb_error *err) {
  const size_t channels = judge->plan.channels;
  v->drawing = plb_calloc(channels, sizeof *v->drawing);
  if (v->drawing == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  plb_status status = PLB_OK;
  for (size_t c = 0; c < channels && status == PLB_OK; c++) {
    status = draw_channel(&v->drawing[c], judge, o, c, err);
    v->drawings += status == PLB_OK;
  }
  return status;
}
