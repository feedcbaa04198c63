/*
 * Boxes of 1, 2, 3, 4, 6, 8, 12, ... samples against twice their length on either side: the matched filter for a
 * rectangular event of unknown length, in which slow drift and straight ramps cancel. Above four samples the sums are
 * taken over pairs of the level below, so that all scales together cost little more than the first. The scatter at each
 * scale is learned from the window itself (median of absolute differences), because hum and drift make it other than
 * that of white noise. The threshold here is low: plb_residuals_search() looks closer at what passes.
 */
#include "event/event.h"

#include "signal/statistic.h"

#include <math.h>
#include <string.h>

enum { PICK = 1024, CHUNK = 64, FOUND_MOST = 20000 };
static const float coarse = 4.3F;
static const double box_and_sides = 1.1180339887498949; /* sqrt(1 + 1/4): the sides are four boxes long */

plb_status plb_boxes_init(plb_boxes *b, size_t room, plb_error *err) {
  *b = (plb_boxes){.room = room};
  float **const arrays[] = {&b->level, &b->sum2, &b->sum4, &b->side, &b->box, &b->difference};
  for (size_t i = 0; i < sizeof arrays / sizeof arrays[0]; i++) {
    *arrays[i] = plb_calloc(room + 16, sizeof(float));
    if (!*arrays[i])
      return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  }
  b->pick = plb_calloc(PICK, sizeof(float));
  return b->pick ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
}

void plb_boxes_dispose(plb_boxes *b) {
  free(b->level);
  free(b->sum2);
  free(b->sum4);
  free(b->side);
  free(b->box);
  free(b->difference);
  free(b->pick);
  free(b->found);
  *b = (plb_boxes){0};
}

/* out[i] = a[i] + b[i + shift] */
static void add_shifted(const float *a, const float *b, size_t shift, size_t n, float *restrict out) {
  for (size_t i = 0; i < n; i++)
    out[i] = a[i] + b[i + shift];
}

static void halve(float *x, size_t n) {
  for (size_t i = 0; i < n / 2; i++)
    x[i] = 0.5F * (x[2 * i] + x[2 * i + 1]);
}

/* Mean of the box at i less the mean of both sides, for every i with room around it; the rest is 0. */
static void differ(const float *restrict box, const float *restrict side, size_t n, size_t w, float *restrict out) {
  const float per_box = 1.0F / (float)w, per_side = 0.25F / (float)w;
  const size_t first = 2 * w, last = n - 3 * w + 1;
  for (size_t i = first; i < last; i++)
    out[i] = per_box * box[i] - per_side * (side[i - 2 * w] + side[i + w]);
}

static double scatter_of(plb_boxes *b, const float *d, size_t first, size_t last) {
  const size_t n = last - first, step = n > PICK ? n / PICK : 1;
  size_t count = 0;
  for (size_t i = first; i < last && count < PICK; i += step)
    b->pick[count++] = fabsf(d[i]);
  return count > 0 ? 1.4826 * (double)plb_median_f(b->pick, count) : 0;
}

/* A section's own scatter counts where it is clearly larger than the window's: noise that comes and goes. */
static void learn_scatter(plb_boxes *b, size_t scale, const float *d, size_t first, size_t last, double per_sample,
                          double floor) {
  /* few places are picked: what the scale below shows keeps chance from making it too small */
  const double least = scale > 0 ? fmax(floor, 0.97 * b->whole[scale - 1]) : floor;
  const double whole = fmax(scatter_of(b, d, first, last) * per_sample, least);
  b->whole[scale] = whole;
  const size_t sections = last - first >= PLB_BOX_SECTIONS * 256 ? PLB_BOX_SECTIONS : 1;
  for (size_t s = 0; s < PLB_BOX_SECTIONS; s++)
    b->scatter[scale][s] = whole;
  for (size_t s = 0; s < sections && sections > 1; s++) {
    const size_t length = (last - first) / sections, from = first + s * length;
    b->scatter[scale][s] = fmax(whole, 0.8 * per_sample * scatter_of(b, d, from, from + length));
  }
}

static plb_status add_box(plb_boxes *b, size_t first, size_t last, float z, plb_error *err) {
  if (b->count >= FOUND_MOST)
    return PLB_OK;
  plb_box *grown = plb_grow(b->found, b->count, &b->found_room, sizeof *grown);
  if (!grown)
    return plb_fail(err, PLB_ENOMEM, "no memory for what was found; ask for larger events with --sigma");
  b->found = grown;
  grown[b->count++] = (plb_box){.first = first, .last = last, .z = z};
  return PLB_OK;
}

static bool any_above(const float *d, size_t n, float limit) {
  int above = 0;
  for (size_t i = 0; i < n; i++)
    above |= fabsf(d[i]) > limit;
  return above;
}

/* The strongest box of each run of boxes that stand out the same way. */
static plb_status collect(plb_boxes *b, size_t scale, size_t element, size_t w, size_t first, size_t last,
                          double per_sample, plb_error *err) {
  plb_status status = PLB_OK;
  const float *d = b->difference;
  plb_box best = {0};
  size_t silent = 0;
  for (size_t from = first; from < last; from += CHUNK) {
    const size_t to = from + CHUNK < last ? from + CHUNK : last;
    const size_t section = from * element * PLB_BOX_SECTIONS / b->samples;
    const float sigma = (float)(b->scatter[scale][section < PLB_BOX_SECTIONS ? section : PLB_BOX_SECTIONS - 1] / per_sample);
    if (!any_above(d + from, to - from, coarse * sigma)) {
      silent += to - from;
      continue;
    }
    for (size_t i = from; i < to && status == PLB_OK; i++) {
      const float z = d[i] / sigma;
      silent++;
      if (!(fabsf(z) > coarse))
        continue;
      if (best.last > 0 && (silent > w || (z > 0) != (best.z > 0))) {
        status = add_box(b, best.first, best.last, best.z, err);
        best = (plb_box){0};
      }
      if (fabsf(z) > fabsf(best.z))
        best = (plb_box){.first = i * element, .last = (i + w) * element, .z = z};
      silent = 0;
    }
  }
  return status == PLB_OK && best.last > 0 ? add_box(b, best.first, best.last, best.z, err) : status;
}

static plb_status search_width(plb_boxes *b, size_t scale, size_t element, size_t n, size_t w, const float *box,
                               const float *side, double floor, plb_error *err) {
  if (n < 8 * w)
    return PLB_OK;
  const size_t first = 2 * w, last = n - 3 * w + 1;
  differ(box, side, n, w, b->difference);
  const double per_sample = sqrt((double)(w * element)) / box_and_sides;
  learn_scatter(b, scale, b->difference, first, last, per_sample, floor);
  return collect(b, scale, element, w, first, last, per_sample, err);
}

static int by_strength(const void *a, const void *b) {
  const plb_box *p = a, *q = b;
  const float x = fabsf(p->z), y = fabsf(q->z);
  return x < y ? 1 : x > y ? -1 : p->first < q->first ? -1 : p->first > q->first;
}

/* Widths 4 and 6 of a level; sum2 and sum4 are those of its elements. */
static plb_status search_level(plb_boxes *b, size_t scale, size_t element, size_t n, double floor, plb_error *err) {
  add_shifted(b->level, b->level, 1, n, b->sum2);
  add_shifted(b->sum2, b->sum2, 2, n, b->sum4);
  add_shifted(b->sum4, b->sum4, 4, n, b->side);
  plb_status status = search_width(b, scale, element, n, 4, b->sum4, b->side, floor, err);
  add_shifted(b->side, b->sum4, 8, n, b->box); /* twelve */
  if (status != PLB_OK)
    return status;
  add_shifted(b->sum4, b->sum2, 4, n, b->side); /* six */
  return search_width(b, scale + 1, element, n, 6, b->side, b->box, floor, err);
}

static plb_status search_shortest(plb_boxes *b, size_t n, double floor, plb_error *err) {
  add_shifted(b->level, b->level, 1, n, b->sum2);
  add_shifted(b->sum2, b->sum2, 2, n, b->sum4);
  plb_status status = search_width(b, 0, 1, n, 1, b->level, b->sum2, floor, err);
  if (status == PLB_OK)
    status = search_width(b, 1, 1, n, 2, b->sum2, b->sum4, floor, err);
  add_shifted(b->sum2, b->level, 2, n, b->box);  /* three */
  add_shifted(b->sum4, b->sum2, 4, n, b->side);  /* six */
  return status == PLB_OK ? search_width(b, 2, 1, n, 3, b->box, b->side, floor, err) : status;
}

plb_status plb_boxes_find(plb_boxes *b, const float *r, size_t n, double floor, plb_error *err) {
  b->count = 0;
  b->samples = n;
  memcpy(b->level, r, n * sizeof *r);
  for (size_t s = 0; s < PLB_BOX_SCALES; s++)
    for (size_t k = 0; k < PLB_BOX_SECTIONS; k++)
      b->scatter[s][k] = s > 0 ? 0 : floor;
  plb_status status = search_shortest(b, n, floor, err);
  size_t left = n, scale = 3;
  for (size_t k = 0, element = 1; k < PLB_BOX_LEVELS && left >= 48 && status == PLB_OK; k++, element *= 2) {
    status = search_level(b, scale, element, left, floor, err);
    halve(b->level, left);
    left /= 2;
    memset(b->level + left, 0, 16 * sizeof *b->level);
    scale += 2;
  }
  if (b->count > 1)
    qsort(b->found, b->count, sizeof *b->found, by_strength);
  return status;
}

/* Widths in order of the scales: 1 2 3, then 4 and 6 times 1, 2, 4, ... */
static double width_of(size_t scale) {
  return scale < 3 ? (double)(scale + 1) : ((scale - 3) % 2 ? 6.0 : 4.0) * (double)((size_t)1 << (scale - 3) / 2);
}

/* Between two widths by the logarithm: a jump from one scale to the next would stop an event's end short of its place. */
double plb_boxes_scatter(const plb_boxes *b, size_t place, double length) {
  size_t section = place * PLB_BOX_SECTIONS / b->samples, below = 0, above = 0;
  section = section < PLB_BOX_SECTIONS ? section : PLB_BOX_SECTIONS - 1;
  for (size_t s = 0; s < PLB_BOX_SCALES && width_of(above) < length; s++)
    if (b->scatter[s][section] > 0) {
      below = width_of(s) <= length ? s : below;
      above = s;
    }
  const double low = b->scatter[below][section], high = b->scatter[above][section];
  if (above == below || width_of(above) <= length)
    return high;
  return low + (high - low) * log(length / width_of(below)) / log(width_of(above) / width_of(below));
}

static double mean_of(const float *r, size_t first, size_t last) {
  double sum = 0;
  for (size_t i = first; i < last; i++)
    sum += (double)r[i];
  return sum / (double)(last - first);
}

double plb_box_again(const plb_boxes *b, const float *r, size_t n, const plb_box *box) {
  const size_t length = box->last - box->first, side = 2 * length;
  if (box->first < side || box->last + side > n)
    return 0;
  const double base =
      0.5 * (mean_of(r, box->first - side, box->first) + mean_of(r, box->last, box->last + side));
  const double scatter = plb_boxes_scatter(b, box->first, (double)length) * box_and_sides / sqrt((double)length);
  return (mean_of(r, box->first, box->last) - base) / scatter;
}
