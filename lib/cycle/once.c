/*
 * One event. The whole capture is the cycle, averaged to at most 128 points (SCORING section 5); nothing is warped, so that late stays late. A
 * capture much longer than the good ones is searched for the template, over shift and a few time scales.
 */
#include "cycle/once.h"
#include "cycle/chain.h"
#include "cycle/draft.h"
#include "cycle/kind.h"

#include <math.h>

enum { POINTS = 128 };
static const double MUCH_LONGER = 1.5;

typedef struct match {
  double first, last; /* [samples] */
  double correlation, runner_up;
} match;

static void stretch(const float *template_, size_t grid, size_t m, float *out) {
  for (size_t i = 0; i < m; i++) {
    const double cell = fmax(0.0, ((double)i + 0.5) * (double)grid / (double)m - 0.5);
    const size_t a = (size_t)cell, b = a + 1 < grid ? a + 1 : grid - 1;
    out[i] = (float)((double)template_[a] + (cell - (double)a) * ((double)template_[b] - (double)template_[a]));
  }
}

/** Best place of the template at a length of m samples; the runner-up lies at least half a length away. */
static plb_status search_at(const float *x, size_t n, const plb_cycle_choice *choice, size_t m, match *best,
                            plb_error *err) {
  const size_t places = n - m + 1;
  float *shape = plb_calloc(m, sizeof(float)), *r = plb_calloc(places, sizeof(float));
  plb_status status =
      shape && r ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory to search %zu samples; free some memory", n);
  if (status == PLB_OK) {
    stretch(choice->template_, choice->grid, m, shape);
    status = plb_ncc(x, n, shape, m, 0.0, r, err);
  }
  size_t top = 0;
  for (size_t k = 1; k < places && status == PLB_OK; k++)
    top = r[k] > r[top] ? k : top;
  if (status == PLB_OK && (double)r[top] > best->correlation) {
    double offset = 0, second = -1.0;
    if (top > 0 && top + 1 < places)
      offset = plb_parabola_peak((double)r[top - 1], (double)r[top], (double)r[top + 1], NULL);
    for (size_t k = 0; k < places; k++)
      if (k + m / 2 < top || k > top + m / 2)
        second = fmax(second, (double)r[k]);
    *best = (match){(double)top + offset, (double)top + offset + (double)m, (double)r[top], second};
  }
  free(shape);
  free(r);
  return status;
}

static plb_status search(const plb_tracks *tracks, const plb_cycle_choice *choice, double length, match *best,
                         plb_error *err) {
  static const double scale[] = {1.0, 0.9, 1.1, 0.8, 1.25};
  float *x = plb_track_copy(tracks, choice->channel);
  plb_status status =
      x ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", tracks->samples);
  for (size_t s = 0; s < sizeof scale / sizeof *scale && status == PLB_OK; s++) {
    const size_t m = (size_t)(scale[s] * length + 0.5);
    if (m >= 2 && m < tracks->samples)
      status = search_at(x, tracks->samples, choice, m, best, err);
  }
  free(x);
  return status;
}

plb_status plb_once_build(plb_frame *f, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err) {
  const double n = (double)tracks->samples, length = tracks->rate_hz / choice->rate_low_hz;
  match place = {-0.5, n - 0.5, -2.0, NAN};
  plb_draft draft = {0};
  plb_status status = PLB_OK;
  if (choice->template_ && n > MUCH_LONGER * length)
    status = search(tracks, choice, tracks->rate_hz / sqrt(choice->rate_low_hz * choice->rate_high_hz), &place, err);
  if (status == PLB_OK && (!plb_draft_cycle(&draft, place.first, place.last, PLB_MAPPED) ||
                           !plb_draft_anchor(&draft, 0.0, place.first) || !plb_draft_anchor(&draft, 1.0, place.last)))
    status = plb_fail(err, PLB_ENOMEM, "no memory for a cycle; free some memory");
  if (status == PLB_OK)
    status = plb_draft_lay(&draft, tracks, choice, f, err);
  if (status == PLB_OK) {
    double low = 0, high = 0;
    plb_extremes(tracks->x[choice->channel], tracks->samples, &low, &high);
    f->structure = high > low;
    f->rate_hz = tracks->rate_hz / (place.last - place.first);
    f->runner_up = place.runner_up;
  }
  plb_draft_dispose(&draft);
  return status;
}

plb_status plb_once_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid,
                           plb_buffer *notes, plb_error *err) {
  size_t fewest = tracks[0]->samples;
  double shortest = INFINITY, longest = 0;
  for (size_t t = 0; t < count; t++) {
    const double length = (double)tracks[t]->samples / tracks[t]->rate_hz;
    fewest = tracks[t]->samples < fewest ? tracks[t]->samples : fewest;
    shortest = fmin(shortest, length);
    longest = fmax(longest, length);
  }
  out->grid = grid ? grid : fewest < POINTS ? fewest : POINTS;
  out->level_low = out->level_high = NAN;
  out->rate_low_hz = 1.0 / longest;
  out->rate_high_hz = 1.0 / shortest;
  if (notes)
    plb_buffer_printf(notes, "Each capture is one event of %.4g to %.4g s, laid out over %zu points.\n", shortest,
                      longest, out->grid);
  return plb_choose_template(out, tracks, count, err);
}
