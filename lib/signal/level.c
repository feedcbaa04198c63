#include "signal/level.h"

#include "core/alloc.h"
#include "core/fail.h"
#include "signal/statistic.h"

#include <math.h>

enum { BINS = 100, MOST_BINS = 65536 };

typedef struct histogram {
  double from, width; /* bin k spans from + k * width .. from + (k + 1) * width */
  size_t bins;
  size_t *count;
  double *above; /* per bin: sum of the samples less `from` */
} histogram;

static void fill(histogram *h, const double *x, size_t n, double low, double high) {
  h->from = low;
  h->width = (high - low) / (double)h->bins;
  const double per_unit = 1 / h->width;
  for (size_t k = 0; k < h->bins; k++) {
    h->count[k] = 0;
    h->above[k] = 0;
  }
  for (size_t i = 0; i < n; i++) {
    if (!(x[i] >= low && x[i] <= high))
      continue;
    const size_t place = (size_t)((x[i] - low) * per_unit);
    const size_t k = place < h->bins ? place : h->bins - 1;
    h->count[k]++;
    h->above[k] += x[i] - low;
  }
}

static size_t fullest(const histogram *h, size_t from, size_t to) {
  size_t best = from;
  for (size_t k = from + 1; k < to; k++)
    if (h->count[k] > h->count[best])
      best = k;
  return best;
}

/* Samples in a bin and its neighbours. */
static size_t mass(const histogram *h, size_t k) {
  return h->count[k] + (k > 0 ? h->count[k - 1] : 0) + (k + 1 < h->bins ? h->count[k + 1] : 0);
}

typedef struct choice {
  size_t bin;
  double worth;
} choice;

/* A hump behind a valley, not the chance of a few samples: more than twice as high, and by four standard deviations of
 * counting. */
static bool stands_apart(size_t count, size_t valley) {
  const double rise = (double)count - (double)valley;
  return count > 2 * valley && rise * rise > 16 * (double)(count + valley);
}

/* The best second level on one side of `first`: a hump of many samples and far away. Samples times distance: a flyback
 * is far but short, ripple on a level is near. */
static choice best_aside(const histogram *h, size_t first, bool upwards) {
  choice best = {.bin = first};
  const size_t reach = upwards ? h->bins - 1 - first : first;
  size_t valley = h->count[first];
  for (size_t distance = 1; distance <= reach; distance++) {
    const size_t k = upwards ? first + distance : first - distance;
    const double worth = (double)mass(h, k) * (double)distance;
    if (worth > best.worth && stands_apart(h->count[k], valley))
      best = (choice){.bin = k, .worth = worth};
    if (h->count[k] < valley)
      valley = h->count[k];
  }
  return best;
}

/* @return first when no second level stands apart */
static size_t second_level(const histogram *h, size_t first) {
  const choice below = best_aside(h, first, false);
  const choice above = best_aside(h, first, true);
  return above.worth > below.worth ? above.bin : below.bin;
}

/* Spikes stretch the range between the extremes until both levels share a half. Where two levels stand apart, shrink
 * the range to half a swing beyond them; a trace without such spikes keeps its extremes. The histogram is filled over
 * the range that is left.
 * @return two levels stand apart */
static bool cut_spikes(histogram *h, const double *x, size_t n, double low, double high) {
  fill(h, x, n, low, high);
  const size_t first = fullest(h, 0, h->bins);
  const size_t second = second_level(h, first);
  if (second == first)
    return false;
  const double a = h->from + ((double)first + 0.5) * h->width;
  const double b = h->from + ((double)second + 0.5) * h->width;
  const double margin = 0.5 * fabs(b - a);
  fill(h, x, n, fmax(low, fmin(a, b) - margin), fmin(high, fmax(a, b) + margin));
  return true;
}

/* Mean of the samples in a bin and its neighbours: noise spreads a level over more than one bin. */
static double level_at(const histogram *h, size_t k) {
  const size_t first = k > 0 ? k - 1 : k;
  const size_t last = k + 1 < h->bins ? k + 1 : k;
  double above = 0;
  for (size_t i = first; i <= last; i++)
    above += h->above[i];
  const size_t count = mass(h, k);
  return count > 0 ? h->from + above / (double)count : h->from + ((double)k + 0.5) * h->width;
}

typedef struct presence {
  double share;
  size_t runs;
} presence;

static presence present_near(const double *x, size_t n, double level, double within) {
  size_t count = 0;
  size_t finite = 0;
  size_t runs = 0;
  bool inside = false;
  for (size_t i = 0; i < n; i++) {
    finite += isfinite(x[i]) != 0;
    const bool now = fabs(x[i] - level) <= within;
    runs += now && !inside;
    count += now;
    inside = now;
  }
  return (presence){.share = finite ? (double)count / (double)finite : 0, .runs = runs};
}

static bool is_there(presence p) { return p.share >= 0.01 || p.runs >= 3; }

/* With too few samples for a histogram to show two humps: less than half as many samples lie between the levels as at
 * either. */
static bool is_gap(const presence *low, const presence *high, const presence *middle) {
  return middle->share < 0.5 * low->share && middle->share < 0.5 * high->share;
}

plb_status plb_state_levels(const double *x, size_t n, size_t bins, plb_states *out, plb_error *err) {
  *out = (plb_states){0};
  if (bins > MOST_BINS)
    return plb_fail(err, PLB_EINVAL, "a histogram of %zu bins; take at most %d", bins, MOST_BINS);
  double low, high;
  plb_extremes(x, n, &low, &high);
  if (isnan(low))
    return plb_fail(err, PLB_EDATA, "no finite sample to read levels from; check the channel");
  histogram h = {.bins = bins < 2 ? BINS : bins};
  /* too little for a bin, or too much for a double */
  if (!((high - low) / (double)h.bins > 1e-300) || !isfinite(high - low)) {
    *out = (plb_states){.low = low, .high = low, .low_share = 1, .high_share = 1};
    return PLB_OK;
  }
  h.count = plb_calloc(h.bins, sizeof *h.count);
  h.above = plb_calloc(h.bins, sizeof *h.above);
  if (!h.count || !h.above) {
    free(h.count);
    free(h.above);
    return plb_fail(err, PLB_ENOMEM, "no memory for a histogram of %zu bins", h.bins);
  }
  const bool separate = cut_spikes(&h, x, n, low, high);
  /* IEEE Std 181-2011, state levels by histogram mode: split between the extremes, the fullest bin of each half */
  const size_t half = h.bins / 2;
  const size_t lower = fullest(&h, 0, half);
  const size_t upper = fullest(&h, half, h.bins);
  out->low = level_at(&h, lower);
  out->high = level_at(&h, upper);
  free(h.count);
  free(h.above);
  const double quarter = 0.25 * (out->high - out->low);
  const presence at_low = present_near(x, n, out->low, quarter);
  const presence at_high = present_near(x, n, out->high, quarter);
  out->low_share = at_low.share;
  out->high_share = at_high.share;
  const presence between = present_near(x, n, 0.5 * (out->low + out->high), quarter);
  out->two = (separate || is_gap(&at_low, &at_high, &between)) && is_there(at_low) && is_there(at_high);
  return PLB_OK;
}

double plb_reference_level(double low, double high, double percent) { return low + (high - low) * percent / 100; }
