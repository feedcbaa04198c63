/*
 * Steep edges. In the template: a change of at least 0.3 of its height within a twentieth of the cycle. In a capture the level is moved with the
 * cycle's own size and offset, and the nearest crossing of the same direction within a twentieth of the cycle is taken (SCORING section 1).
 */
#include "cycle/steep.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double LEG = 0.3, STEEP = 0.05, REACH = 0.05, HYSTERESIS = 0.12;
/* In a thinly sampled cycle an edge lies anywhere between two samples. */
static const double FEWEST_SAMPLES = 1.5;

typedef struct ring {
  const float *x;
  size_t n;
} ring;

static double at(ring r, size_t k) { return (double)r.x[k % r.n]; }

static double height_of(ring r) {
  double low = INFINITY, high = -INFINITY;
  for (size_t k = 0; k < r.n; k++) {
    low = fmin(low, (double)r.x[k]);
    high = fmax(high, (double)r.x[k]);
  }
  return high - low;
}

static size_t edge_width(ring r) {
  const size_t width = (size_t)(STEEP * (double)r.n);
  return width > 2 ? width : 2;
}

/** Change over one edge width from cell k on. */
static double change(ring r, size_t k) { return at(r, k + edge_width(r)) - at(r, k); }

/** Where the signal between cells a and b passes `level`, in cells. */
static double passes(ring r, size_t a, size_t b, double level, double sign) {
  for (size_t k = a; k < b; k++)
    if (sign * (at(r, k) - level) < 0 && sign * (at(r, k + 1) - level) >= 0)
      return (double)k + (level - at(r, k)) / (at(r, k + 1) - at(r, k));
  return 0.5 * (double)(a + b);
}

/** The edge in a run of cells a .. b from each of which the change is large: at the middle of the largest change. */
static plb_landmark edge_in_run(ring r, size_t a, size_t b, double sign) {
  double most = 0;
  size_t first = a, last = a;
  for (size_t k = a; k <= b; k++)
    most = fmax(most, sign * change(r, k));
  while (sign * change(r, first) < most - 1e-3 * fabs(most))
    first++;
  for (size_t k = first; k <= b; k++)
    last = sign * change(r, k) >= most - 1e-3 * fabs(most) ? k : last;
  const size_t k = (first + last) / 2;
  const double level = 0.5 * (at(r, k) + at(r, k + edge_width(r)));
  const double where = passes(r, k, k + edge_width(r), level, sign);
  return (plb_landmark){
      .phase = fmod((where + 0.5) / (double)r.n, 1.0), .direction = sign > 0 ? 1 : -1, .level = level};
}

static int by_phase(const void *a, const void *b) {
  const double x = ((const plb_landmark *)a)->phase, y = ((const plb_landmark *)b)->phase;
  return (x > y) - (x < y);
}

static void name_landmarks(plb_landmark *list, size_t count) {
  unsigned rises = 0, falls = 0;
  qsort(list, count, sizeof *list, by_phase);
  for (size_t k = 0; k < count; k++)
    if (list[k].direction > 0)
      snprintf(list[k].name, sizeof list[k].name, "rise %u", ++rises);
    else
      snprintf(list[k].name, sizeof list[k].name, "fall %u", ++falls);
}

/** A cell from which nothing steep begins, so that no run is cut in two; r.n when everything is steep. */
static size_t quiet_cell(ring r, double least) {
  for (size_t k = 0; k < r.n; k++)
    if (fabs(change(r, k)) < least)
      return k;
  return r.n;
}

plb_status plb_steep_find(const float *template_, size_t grid, plb_landmark **out, size_t *count_out, plb_error *err) {
  const ring r = {template_, grid};
  const double least = LEG * height_of(r);
  const size_t start = least > 0 ? quiet_cell(r, least) : grid;
  *count_out = 0;
  *out = plb_calloc(PLB_LANDMARK_MOST, sizeof **out);
  if (!*out)
    return plb_fail(err, PLB_ENOMEM, "no memory for landmarks; free some memory");
  for (size_t k = start; start < grid && k < start + grid && *count_out < PLB_LANDMARK_MOST; k++) {
    const double sign = change(r, k) > 0 ? 1.0 : -1.0;
    if (sign * change(r, k) < least)
      continue;
    const size_t first = k;
    while (sign * change(r, k + 1) >= least)
      k++;
    (*out)[(*count_out)++] = edge_in_run(r, first, k, sign);
  }
  name_landmarks(*out, *count_out);
  return PLB_OK;
}

double plb_steep_seam(const plb_landmark *landmark, size_t count) {
  double widest = -1, seam = 0;
  for (size_t k = 0; k < count; k++) {
    const double next = k + 1 < count ? landmark[k + 1].phase : landmark[0].phase + 1.0;
    if (next - landmark[k].phase > widest) {
      widest = next - landmark[k].phase;
      seam = 0.5 * (next + landmark[k].phase);
    }
  }
  return fmod(seam, 1.0);
}

/* ---- in a capture */

/** The largest change in the landmark's direction over an edge width that holds the landmark. */
static double leg_height(ring r, const plb_landmark *mark) {
  const size_t width = edge_width(r), middle = (size_t)(mark->phase * (double)r.n) % r.n + r.n;
  double most = 0;
  for (size_t k = middle - width; k <= middle; k++)
    most = fmax(most, mark->direction * change(r, k));
  return most;
}

/** How often the template, once round, crosses a pair of levels in one direction. @param phase  [r.n] or NULL */
static size_t count_crossings(ring r, int direction, double low, double high, double *phase) {
  const double sign = direction, enter = sign > 0 ? high : -low, leave = sign > 0 ? low : -high;
  bool beyond = false;
  size_t count = 0;
  for (size_t k = 0; k < 2 * r.n; k++) {
    const double value = sign * at(r, k);
    if (!beyond && value > enter) {
      beyond = true;
      if (k >= r.n && phase)
        phase[count] = (double)(k - r.n) / (double)r.n;
      count += k >= r.n;
    } else if (beyond && value < leave) {
      beyond = false;
    }
  }
  return count;
}

/**
 * Watch for surplus edges at the middle of the highest leg, over more than half of it. Only where the template is clear: a curve that
 * merely touches the levels would gain and lose crossings with noise, so levels a tenth of the leg away must give the same count.
 */
static void watch(plb_steep *s, ring r) {
  size_t highest = 0;
  for (size_t k = 0; k < s->choice->landmarks; k++)
    highest = s->height[k] > s->height[highest] ? k : highest;
  const plb_landmark *mark = &s->choice->landmark[highest];
  const double height = s->height[highest];
  s->watch_direction = mark->direction;
  s->watch_low = mark->level - 0.3 * height;
  s->watch_high = mark->level + 0.3 * height;
  s->watch_count = count_crossings(r, mark->direction, s->watch_low, s->watch_high, s->watched);
  s->is_watching = true;
  for (int low = -1; low <= 1; low++)
    for (int high = -1; high <= 1; high++)
      s->is_watching = s->is_watching && count_crossings(r, mark->direction, s->watch_low + 0.1 * low * height,
                                                         s->watch_high + 0.1 * high * height, NULL) == s->watch_count;
}

plb_status plb_steep_init(plb_steep *out, const plb_cycle_choice *choice, plb_error *err) {
  const ring r = {choice->template_, choice->grid};
  *out = (plb_steep){.choice = choice,
                     .height = plb_calloc(choice->landmarks, sizeof(double)),
                     .watched = plb_calloc(choice->grid, sizeof(double))};
  if (!out->height || !out->watched) {
    plb_steep_dispose(out);
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu landmarks; free some memory", choice->landmarks);
  }
  for (size_t k = 0; k < choice->landmarks; k++)
    out->height[k] = leg_height(r, &choice->landmark[k]);
  if (choice->landmarks > 0)
    watch(out, r);
  return PLB_OK;
}

void plb_steep_dispose(plb_steep *s) {
  free(s->height);
  free(s->watched);
  *s = (plb_steep){0};
}

/** Size and offset of one cycle against the template (least squares along the straight map). */
static void fit_size(const plb_steep *s, const double *x, size_t n, double first, double last, double *gain,
                     double *offset) {
  const size_t grid = s->choice->grid;
  double st = 0, sx = 0, stt = 0, stx = 0;
  for (size_t k = 0; k < grid; k++) {
    const double t = (double)s->choice->template_[k];
    const double v = plb_interpolate(x, n, first + ((double)k + 0.5) * (last - first) / (double)grid);
    if (!isfinite(v))
      continue;
    st += t;
    sx += v;
    stt += t * t;
    stx += t * v;
  }
  const double g = (double)grid, spread = stt - st * st / g;
  *gain = spread > 0 ? (stx - st * sx / g) / spread : 1.0;
  *gain = *gain > 0 ? *gain : 1.0;
  *offset = (sx - *gain * st) / g;
}

static double nearest(const plb_crossing *list, size_t count, int direction, double wanted, double reach,
                      double after) {
  double best = NAN;
  for (size_t c = 0; c < count; c++)
    if (list[c].direction == direction && list[c].at > after && fabs(list[c].at - wanted) <= reach &&
        !(fabs(list[c].at - wanted) >= fabs(best - wanted)))
      best = list[c].at;
  return best;
}

/** The crossing that is landmark k, NaN when none is near. */
static plb_status seek(const plb_steep *s, size_t k, const double *x, size_t n, double wanted, double length,
                       double gain, double offset, double after, double *out, plb_error *err) {
  const plb_landmark *mark = &s->choice->landmark[k];
  const double level = gain * mark->level + offset, half = HYSTERESIS * gain * s->height[k];
  const double reach = fmax(REACH * length, FEWEST_SAMPLES);
  const double from = fmax(0.0, floor(wanted - 2.0 * reach)), to = fmin((double)n, ceil(wanted + 2.0 * reach) + 1.0);
  plb_crossing *list = NULL;
  size_t count = 0;
  *out = NAN;
  if (!(to - from >= 2.0))
    return PLB_OK;
  const plb_status status =
      plb_crossings(x + (size_t)from, (size_t)(to - from), level - half, level + half, &list, &count, err);
  if (status == PLB_OK)
    *out = from + nearest(list, count, mark->direction, wanted - from, reach, after - from);
  free(list);
  return status;
}

/** Edges in the watched direction that the template does not have. */
static plb_status count_surplus(const plb_steep *s, const double *x, size_t n, double gain, double offset,
                                plb_draft *draft, plb_error *err) {
  plb_cycle_found *cycle = &draft->cycle[draft->found - 1];
  const double begin = fmax(0.0, floor(cycle->first)), end = fmin((double)n, ceil(cycle->last));
  double first_phase = NAN;
  plb_crossing *list = NULL;
  size_t count = 0, seen = 0;
  const plb_status status = plb_crossings(x + (size_t)begin, (size_t)(end - begin), gain * s->watch_low + offset,
                                          gain * s->watch_high + offset, &list, &count, err);
  for (size_t c = 0; c < count; c++) {
    if (list[c].direction != s->watch_direction)
      continue;
    const double phase = plb_draft_phase_at(draft, draft->found - 1, begin + list[c].at);
    bool known = false;
    for (size_t w = 0; w < s->watch_count; w++)
      known = known || fabs(phase - s->watched[w]) < REACH || fabs(phase - s->watched[w]) > 1.0 - REACH;
    seen++;
    first_phase = isnan(first_phase) ? phase : first_phase;
    if (!known && isnan(cycle->surplus_phase))
      cycle->surplus_phase = phase;
  }
  cycle->surplus = seen > s->watch_count ? (unsigned)(seen - s->watch_count) : 0;
  if (cycle->surplus == 0)
    cycle->surplus_phase = NAN;
  else if (isnan(cycle->surplus_phase))
    cycle->surplus_phase = first_phase;
  free(list);
  return status;
}

plb_status plb_steep_match(const plb_steep *s, const double *x, size_t n, plb_draft *draft, plb_error *err) {
  plb_cycle_found *cycle = &draft->cycle[draft->found - 1];
  const double first = cycle->first, last = cycle->last, length = last - first;
  double gain = 1.0, offset = 0.0, before = first, *mark = plb_draft_marks(draft);
  plb_status status = PLB_OK;
  bool memory = plb_draft_anchor(draft, 0.0, first);
  if (s->choice->landmarks > 0)
    fit_size(s, x, n, first, last, &gain, &offset);
  for (size_t k = 0; k < s->choice->landmarks && status == PLB_OK && memory; k++) {
    const double phase = s->choice->landmark[k].phase;
    double place = NAN;
    status = seek(s, k, x, n, first + phase * length, length, gain, offset, before, &place, err);
    if (!(place > before && place < last)) {
      cycle->missing++;
      continue;
    }
    mark[k] = before = place;
    memory = plb_draft_anchor(draft, phase, place);
  }
  if (memory)
    memory = plb_draft_anchor(draft, 1.0, last);
  if (status == PLB_OK && !memory)
    status = plb_fail(err, PLB_ENOMEM, "no memory for the landmarks of a cycle; free some memory");
  if (status == PLB_OK && s->is_watching)
    status = count_surplus(s, x, n, gain, offset, draft, err);
  return status;
}
