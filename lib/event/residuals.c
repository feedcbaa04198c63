/*
 * From boxes that stand out to events. The strongest comes first: its beginning and end are moved until it stands out
 * most, then it is taken out of the residuals and what is left is looked at again, so that one event is told once. A box
 * whose sides differ is the edge of a step. A long event must have a sharp edge: the bend of a smooth movement has none.
 */
#include "event/event.h"

#include <math.h>

enum { STEPS_MOST = 64, SHARP_FROM = 8, STEP_SIDE = 16, SHORT = 256 };

typedef struct probe {
  const plb_boxes *boxes;
  const float *r;
  size_t n;
  double *sum; /* of r from `from` on; sum[0] = 0 */
  size_t from, to;
} probe;

typedef struct fit {
  size_t first, last;
  double rise;  /* of the box over its sides */
  double slant; /* right side less left side */
  double z;
} fit;

static double mean_between(const probe *p, size_t first, size_t last) {
  return last > first ? (p->sum[last - p->from] - p->sum[first - p->from]) / (double)(last - first) : 0;
}

static plb_status open_probe(probe *p, size_t from, size_t to, plb_error *err) {
  p->from = from;
  p->to = to;
  p->sum = plb_calloc(to - from + 1, sizeof *p->sum);
  if (!p->sum)
    return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  for (size_t i = from; i < to; i++)
    p->sum[i - from + 1] = p->sum[i - from] + (double)p->r[i];
  return PLB_OK;
}

/* Both sides are equally long, so that a straight ramp cancels; longer for short boxes, in which drift does not bend. */
static fit fit_box(const probe *p, size_t first, size_t last) {
  const size_t length = last - first;
  size_t side = length <= SHORT ? 8 * length : 4 * length > 8 * SHORT ? 4 * length : 8 * SHORT;
  side = side > 32 ? side : 32;
  side = first - p->from < side ? first - p->from : side;
  side = p->to - last < side ? p->to - last : side;
  fit f = {.first = first, .last = last};
  if (2 * side < length || side < 2)
    return f;
  const double left = mean_between(p, first - side, first), right = mean_between(p, last, last + side);
  f.rise = mean_between(p, first, last) - 0.5 * (left + right);
  f.slant = right - left;
  const double scatter = plb_boxes_scatter(p->boxes, first, (double)length);
  f.z = f.rise / (scatter * sqrt(1 / (double)length + 0.5 / (double)side));
  return f;
}

static size_t moved(size_t at, int by, size_t step, size_t low, size_t high) {
  const int64_t to = (int64_t)at + (int64_t)by * (int64_t)step;
  return to < (int64_t)low ? low : to > (int64_t)high ? high : (size_t)to;
}

/* Move both ends on ever finer steps. */
static fit best_box(const probe *p, const plb_box *box) {
  fit best = fit_box(p, box->first, box->last);
  const double sign = box->z > 0 ? 1 : -1;
  size_t step = (box->last - box->first + 7) / 8;
  for (int round = 0; step > 0; round++) {
    const fit centre = best;
    for (int a = -4; a <= 4; a++)
      for (int b = -4; b <= 4; b++) {
        const size_t first = moved(centre.first, a, step, p->from, p->to), last = moved(centre.last, b, step, p->from, p->to);
        if (last <= first)
          continue;
        const fit f = fit_box(p, first, last);
        if (f.z * sign > best.z * sign)
          best = f;
      }
    if (best.first == centre.first && best.last == centre.last)
      step /= step > 3 ? 3 : step > 1 ? step : 2;
    if (round > 40)
      break;
  }
  return best;
}

/* How much of the change happens within a few samples of a place. */
static double jump_at(const probe *p, size_t at, size_t within) {
  if (at < p->from + within || at + within > p->to)
    return 0;
  return mean_between(p, at, at + within) - mean_between(p, at - within, at);
}

static bool is_sharp(const probe *p, const fit *f) {
  const size_t length = f->last - f->first, within = length / 8 > 1 ? length / 8 : 1;
  if (length < SHARP_FROM)
    return true;
  const double sign = f->rise > 0 ? 1 : -1;
  const double jump = fmax(sign * jump_at(p, f->first, within), -sign * jump_at(p, f->last, within));
  const double doubt = 3 * plb_boxes_scatter(p->boxes, f->first, (double)within) * sqrt(2 / (double)within);
  return jump > 0.5 * fabs(f->rise) - doubt;
}

typedef struct hunt {
  plb_boxes *boxes;
  float *r, *deviation;
  const double *x;
  size_t n;
  double middle, floor, sigma;
  size_t steps;
  size_t reach_first, reach_last; /* what was changed in r so far */
  plb_found_list *out;
} hunt;

static void widen(hunt *h, size_t first, size_t last) {
  h->reach_first = first < h->reach_first ? first : h->reach_first;
  h->reach_last = last > h->reach_last ? last : h->reach_last;
}

static double mean_f(const float *x, size_t first, size_t last) {
  double sum = 0;
  for (size_t i = first; i < last; i++)
    sum += (double)x[i];
  return last > first ? sum / (double)(last - first) : 0;
}

/* In the channel's unit, from the deviations. */
static double size_of(const hunt *h, size_t first, size_t last) {
  const size_t length = last - first, side = 2 * length > 8 ? 2 * length : 8;
  const size_t before = first > side ? first - side : 0, behind = last + side < h->n ? last + side : h->n;
  return mean_f(h->deviation, first, last) -
         0.5 * (mean_f(h->deviation, before, first) + mean_f(h->deviation, last, behind));
}

static plb_event_kind kind_of(const hunt *h, size_t first, size_t last, double size) {
  double here = 0;
  for (size_t i = first; i < last; i++)
    here += h->x[i];
  here /= (double)(last - first);
  const double usual = here - size - (isnan(h->middle) ? 0 : h->middle);
  return usual * size < 0 && fabs(usual) > 2 * h->floor ? PLB_EVENT_DROPOUT : PLB_EVENT_SPIKE;
}

/* What is left behind an event is the straight line between its sides. */
static void take_out(hunt *h, size_t first, size_t last) {
  const size_t length = last - first, side = length > 4 ? length : 4;
  const size_t before = first > side ? first - side : 0, behind = last + side < h->n ? last + side : h->n;
  const double left = mean_f(h->r, before, first), right = mean_f(h->r, last, behind);
  const double left_d = mean_f(h->deviation, before, first), right_d = mean_f(h->deviation, last, behind);
  for (size_t i = first; i < last; i++) {
    const double share = ((double)(i - first) + 0.5) / (double)length;
    h->r[i] = (float)(left + share * (right - left));
    h->deviation[i] = (float)(left_d + share * (right_d - left_d));
  }
}

/* The tail of an event (it recovers slowly) is no event of its own. */
static bool is_tail(const hunt *h, const fit *f, double size) {
  for (size_t i = h->out->count; i-- > 0 && i + 32 > h->out->count;) {
    const plb_found *e = &h->out->item[i];
    const double length = fmax(e->last - e->first, 4);
    if ((double)f->first < e->last + length && (double)f->last > e->first - length && fabs(size) < 0.5 * fabs(e->size) && e->kind != PLB_EVENT_STUCK)
      return true;
  }
  return false;
}

static plb_status accept_box(hunt *h, const fit *f, plb_error *err) {
  const double size = size_of(h, f->first, f->last);
  const plb_found event = {.kind = kind_of(h, f->first, f->last, size),
                           .first = (double)f->first,
                           .last = (double)f->last,
                           .size = size,
                           .sigma = fabs(f->z)};
  const bool tail = is_tail(h, f, size);
  take_out(h, f->first, f->last);
  widen(h, f->first, f->last);
  return tail ? PLB_OK : plb_found_add(h->out, &event, err);
}

/* Where the level changes most, within a box whose sides differ. */
static size_t step_place(const probe *p, const fit *f, size_t side, double *size_out) {
  size_t best = 0;
  *size_out = 0;
  const size_t length = f->last - f->first;
  const size_t from = f->first > p->from + length + side ? f->first - length : p->from + side;
  const size_t to = f->last + length + side < p->to ? f->last + length : p->to - side;
  for (size_t i = from; i <= to && i >= side && i + side <= p->to; i++) {
    const double size = mean_between(p, i, i + side) - mean_between(p, i - side, i);
    if (fabs(size) > fabs(*size_out)) {
      *size_out = size;
      best = i;
    }
  }
  return best;
}

static plb_status accept_step(hunt *h, const probe *p, const fit *f, plb_error *err) {
  const size_t length = f->last - f->first, side = length > STEP_SIDE ? length : STEP_SIDE;
  if (h->steps >= STEPS_MOST || p->to - p->from < 2 * side + 2)
    return PLB_OK;
  double size = 0;
  const size_t at = step_place(p, f, side, &size), within = side / 16 > 1 ? side / 16 : 1;
  const double scatter = plb_boxes_scatter(h->boxes, at, (double)side);
  /* a slope makes both sides differ too; what they change within themselves tells it */
  const size_t half = side / 2;
  const double slope = mean_between(p, at + half, at + side) - mean_between(p, at, at + half) +
                       mean_between(p, at - half, at) - mean_between(p, at - side, at - half);
  const double z = fabs(size - slope) / (scatter * sqrt(10 / (double)side));
  const double jump = fabs(jump_at(p, at, within)), doubt = 3 * scatter * sqrt(2 / (double)within);
  if (z < h->sigma || jump < 0.5 * fabs(size) - doubt)
    return PLB_OK;
  const double change = mean_f(h->deviation, at, at + side) - mean_f(h->deviation, at - side, at);
  for (size_t i = at; i < h->n; i++) {
    h->r[i] -= (float)size;
    h->deviation[i] -= (float)change;
  }
  widen(h, at, h->n);
  h->steps++;
  const plb_found step = {.kind = PLB_EVENT_STEP, .first = (double)at, .last = (double)at, .size = change, .sigma = z};
  return plb_found_add(h->out, &step, err);
}

static plb_status look_closer(hunt *h, const plb_box *box, plb_error *err) {
  const size_t length = box->last - box->first, reach = 10 * length + 64;
  const bool touched = box->last + reach > h->reach_first && box->first < h->reach_last + reach;
  if (touched && fabs(plb_box_again(h->boxes, h->r, h->n, box)) < 4)
    return PLB_OK;
  probe p = {.boxes = h->boxes, .r = h->r, .n = h->n};
  plb_status status = open_probe(&p, box->first > reach ? box->first - reach : 0,
                                 box->last + reach < h->n ? box->last + reach : h->n, err);
  if (status != PLB_OK)
    return status;
  const fit f = best_box(&p, box);
  if (fabs(f.slant) > 0.8 * fabs(f.rise))
    status = fabs(f.z) > 0.5 * h->sigma ? accept_step(h, &p, &f, err) : PLB_OK;
  else if (fabs(f.z) >= h->sigma && f.z * (double)box->z > 0 && is_sharp(&p, &f))
    status = accept_box(h, &f, err);
  free(p.sum);
  return status;
}

plb_status plb_residuals_search(plb_boxes *boxes, float *r, float *deviation, const double *x, size_t n, double middle,
                                double floor, double sigma, plb_found_list *out, plb_error *err) {
  hunt h = {.boxes = boxes, .r = r, .deviation = deviation, .x = x, .n = n, .middle = middle, .floor = floor,
            .sigma = sigma, .reach_first = n, .out = out};
  /* beside the edges of pulses nothing is left, which must not make the scatter look smaller than its unit */
  plb_status status = plb_boxes_find(boxes, r, n, isnan(middle) ? floor : 1, err);
  for (size_t i = 0; i < boxes->count && status == PLB_OK; i++)
    status = look_closer(&h, &boxes->found[i], err);
  return status;
}
