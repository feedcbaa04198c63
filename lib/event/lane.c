/* One channel's window: pulses or a level, what is left of it, and what stands out. */
#include "event/event.h"

#include "signal/statistic.h"

#include <math.h>
#include <string.h>

enum { STEP_SAMPLES = 4096 };

plb_status plb_found_add(plb_found_list *list, const plb_found *found, plb_error *err) {
  plb_found *grown = plb_grow(list->item, list->count, &list->room, sizeof *grown);
  if (!grown)
    return plb_fail(err, PLB_ENOMEM, "no memory for what was found; ask for larger events with --sigma");
  list->item = grown;
  grown[list->count++] = *found;
  return PLB_OK;
}

/* The least difference of neighbours that is none of rounding. */
static void learn_step(plb_lane *lane, size_t n, double range) {
  for (size_t i = 1; i < n && i < STEP_SAMPLES; i++) {
    const double d = fabs(lane->x[i] - lane->x[i - 1]);
    if (d > 1e-7 * range && !(d >= lane->step && lane->step > 0))
      lane->step = d;
  }
}

/* A code step spreads like a uniform error. */
static double floor_of(const plb_lane *lane, double range) { return fmax(lane->step / sqrt(12), 1e-6 * range); }

static void as_level(plb_lane *lane, size_t n) {
  const double about = lane->x[n / 2];
  for (size_t i = 0; i < n; i++)
    lane->r[i] = (float)(lane->x[i] - about);
  memcpy(lane->deviation, lane->r, n * sizeof *lane->r);
}

static plb_status search_pulses(plb_lane *lane, plb_boxes *boxes, size_t n, double floor, double sigma, bool whole,
                                const plb_trains *p, plb_found_list *out, plb_error *err) {
  bool *odd = plb_calloc(p->edges, sizeof *odd);
  if (!odd)
    return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  plb_status status = plb_trains_judge(p, n, odd, whole, out, err);
  if (status == PLB_OK)
    status = plb_shape_remove(p, lane->x, n, odd, floor, lane->deviation, lane->r, err);
  if (status == PLB_OK)
    status = plb_residuals_search(boxes, lane->r, lane->deviation, lane->x, n, p->middle, floor, sigma, out, err);
  free(odd);
  return status;
}

/* A value that is stuck lies a little off the usual mean all the time: that is one event, not two. */
static void drop_within_stuck(plb_found_list *list, size_t first, size_t stuck) {
  size_t kept = stuck;
  for (size_t i = stuck; i < list->count; i++) {
    bool within = false;
    for (size_t k = first; k < stuck && !within; k++)
      within = list->item[i].first < list->item[k].last + 1 && list->item[i].last > list->item[k].first - 1;
    if (!within)
      list->item[kept++] = list->item[i];
  }
  list->count = kept;
}

plb_status plb_lane_search(plb_lane *lane, plb_boxes *boxes, size_t n, double sigma, bool whole, plb_trains *pulses,
                           plb_found_list *out, plb_error *err) {
  double low, high;
  *pulses = (plb_trains){0};
  plb_extremes(lane->x, n, &low, &high);
  if (!(high > low))
    return PLB_OK; /* nothing happens */
  learn_step(lane, n, high - low);
  const double floor = floor_of(lane, high - low);
  plb_status status = plb_trains_find(pulses, lane->x, n, err);
  if (status != PLB_OK)
    return status;
  if (pulses->edges > 0)
    return search_pulses(lane, boxes, n, floor, sigma, whole, pulses, out, err);
  as_level(lane, n);
  const size_t before = out->count;
  status = plb_stuck_search(lane->x, n, out, err);
  const size_t stuck = out->count;
  if (status == PLB_OK)
    status = plb_residuals_search(boxes, lane->r, lane->deviation, lane->x, n, (double)NAN, floor, sigma, out, err);
  drop_within_stuck(out, before, stuck);
  plb_usual_drop(out, stuck < out->count ? stuck : out->count);
  return status;
}
