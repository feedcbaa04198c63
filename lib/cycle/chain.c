/*
 * One chain of places through the whole capture.
 *
 * Places are the peaks of the normalised cross-correlation with the template. Periods vary (a heart, an idling engine), so the chain is the
 * one with the largest sum of
 *   correlation of each place - (ln of the distance over the local period)^2 / 2 s^2 - BRIDGE for each cycle that was stepped over,
 * found by dynamic programming over all places at once. One bad cycle therefore cannot pull the following ones off. The local period is
 * the median distance in a first chain, the whole is then done again with it.
 *
 * A speed that may be anything in a wide range, or that moves inside the capture (a snap of the throttle), needs the template in more than
 * one length. Then every place carries the length it was found with, and each place counts with that length: else two half-alike halves
 * would beat one whole.
 */
#include "cycle/chain.h"

#include <math.h>
#include <string.h>

static const double SPREAD = 0.25, BRIDGE = 0.4, ANEW = 3.0;
/* Lengths of a template rise by this share; a place of fewer alike is none then; so much cover leaves nothing to look for. */
static const double FINER = 0.05, ALIKE = 0.4, COVERED = 0.85, LONGEST_STEP = 3.0;
enum { REACH = 6, AROUND = 5 };

float *plb_track_copy(const plb_tracks *tracks, size_t channel) {
  const double *from = tracks->x[channel];
  float *x = plb_calloc(tracks->samples, sizeof(float));
  size_t known = tracks->samples;
  for (size_t i = 0; i < tracks->samples && x; i++) {
    x[i] = (float)from[i];
    if (!isfinite(from[i]))
      continue;
    for (size_t k = known == tracks->samples ? 0 : known + 1; k < i; k++)
      x[k] = known == tracks->samples
                 ? x[i]
                 : (float)(from[known] + (from[i] - from[known]) * (double)(k - known) / (double)(i - known));
    known = i;
  }
  for (size_t k = known == tracks->samples ? 0 : known + 1; k < tracks->samples && x; k++)
    x[k] = known == tracks->samples ? 0.0f : x[known];
  return x;
}

void plb_chain_dispose(plb_chain *c) {
  free(c->link);
  *c = (plb_chain){0};
}

typedef struct place {
  double at, correlation;
  double period; /* local [samples] */
  double weight; /* its period over the shortest one where lengths differ; else 1 */
  double sum; /* of the best chain that ends here */
  int64_t before; /* -1: it begins here */
  unsigned steps;
} place;

/** The template stretched to a period of m samples. */
static void stretch(const float *template_, size_t grid, size_t m, float *out) {
  for (size_t i = 0; i < m; i++) {
    const double cell = ((double)i + 0.5) * (double)grid / (double)m - 0.5;
    const double floor_ = floor(cell), share = cell - floor_;
    const size_t a = floor_ < 0 ? 0 : (size_t)floor_, b = a + 1 < grid ? a + 1 : grid - 1;
    out[i] = (float)((1.0 - (floor_ < 0 ? 0.0 : share)) * (double)template_[a] +
                     (floor_ < 0 ? 0.0 : share) * (double)template_[b]);
  }
}

static bool add_place(place **list, size_t *count, size_t *capacity, const float *r, size_t k) {
  place *grown = plb_grow(*list, *count, capacity, sizeof *grown);
  if (!grown)
    return false;
  double height = 0;
  const double offset = plb_parabola_peak((double)r[k - 1], (double)r[k], (double)r[k + 1], &height);
  grown[(*count)++] = (place){.at = (double)k + offset, .correlation = height, .weight = 1.0};
  *list = grown;
  return true;
}

static plb_status find_places(const float *x, size_t n, const float *template_, size_t grid, size_t m, place **list,
                              size_t *count, double *upside_down, plb_error *err) {
  plb_status status = PLB_OK;
  size_t capacity = 0;
  float *shape = plb_calloc(m, sizeof(float)), *r = plb_calloc(n - m + 1, sizeof(float));
  if (!shape || !r) {
    status = plb_fail(err, PLB_ENOMEM, "no memory to search %zu samples; free some memory", n);
    goto done;
  }
  stretch(template_, grid, m, shape);
  status = plb_ncc(x, n, shape, m, 0.0, r, err);
  double highest = 0, lowest = 0;
  for (size_t k = 1; k + 1 < n - m + 1 && status == PLB_OK; k++) {
    highest = fmax(highest, (double)r[k]);
    lowest = fmin(lowest, (double)r[k]);
    if (r[k] > 0.1f && r[k] >= r[k - 1] && r[k] > r[k + 1] && !add_place(list, count, &capacity, r, k))
      status = plb_fail(err, PLB_ENOMEM, "no memory for %zu places; free some memory", *count);
  }
  *upside_down = -lowest - highest;
done:
  free(shape);
  free(r);
  return status;
}

static double spacing_cost(double distance, double period, unsigned *steps_out) {
  const double steps = fmax(1.0, floor(distance / period + 0.5));
  const double away = log(distance / (steps * period)) / SPREAD;
  *steps_out = (unsigned)steps;
  return 0.5 * away * away * steps + BRIDGE * (steps - 1.0);
}

/** Best chain that ends at place i. `lead` is the best place that lies too far back to be reached. */
static void link_place(place *list, size_t i, size_t first, int64_t lead) {
  place *p = &list[i];
  const double own = p->weight * p->correlation;
  p->sum = own;
  p->before = -1;
  p->steps = 1;
  for (size_t j = first; j < i; j++) {
    unsigned steps = 1;
    const double distance = p->at - list[j].at;
    if (distance < 0.4 * p->period)
      break;
    const double sum =
        list[j].sum + own - p->weight * spacing_cost(distance, 0.5 * (p->period + list[j].period), &steps);
    if (sum > p->sum) {
      p->sum = sum;
      p->before = (int64_t)j;
      p->steps = steps;
    }
  }
  if (lead >= 0 && list[lead].sum + own - ANEW * p->weight > p->sum) {
    p->sum = list[lead].sum + own - ANEW * p->weight;
    p->before = lead;
    p->steps = (unsigned)fmax(1.0, (p->at - list[lead].at) / p->period + 0.5);
  }
}

/** @param reach  how far back a chain may step over places [samples]; 0: REACH of the place's own periods */
static size_t run(place *list, size_t count, double reach) {
  size_t first = 0, best = 0;
  int64_t lead = -1;
  for (size_t i = 0; i < count; i++) {
    while (list[i].at - list[first].at > (reach > 0 ? reach : REACH * list[i].period)) {
      if (lead < 0 || list[first].sum > list[lead].sum)
        lead = (int64_t)first;
      first++;
    }
    link_place(list, i, first, lead);
    best = list[i].sum > list[best].sum ? i : best;
  }
  return best;
}

static size_t chain_length(const place *list, size_t last) {
  size_t length = 0;
  for (int64_t i = (int64_t)last; i >= 0; i = list[i].before)
    length++;
  return length;
}

static plb_status trace_back(const place *list, size_t last, plb_chain *out, plb_error *err) {
  free(out->link);
  out->links = chain_length(list, last);
  out->link = plb_calloc(out->links, sizeof *out->link);
  if (!out->link)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", out->links);
  size_t k = out->links;
  for (int64_t i = (int64_t)last; i >= 0; i = list[i].before)
    out->link[--k] = (plb_link){list[i].at, list[i].correlation, list[i].period, list[i].steps};
  return PLB_OK;
}

/** Median distance, in steps, of the links around the one given. */
static double local_period(const plb_chain *c, size_t link, size_t around) {
  double list[2 * AROUND + 1];
  size_t count = 0;
  const size_t first = link > around ? link - around : 0;
  for (size_t k = first + 1; k < c->links && k <= link + around && count < sizeof list / sizeof *list; k++)
    list[count++] = (c->link[k].at - c->link[k - 1].at) / c->link[k].steps;
  return plb_median(list, count);
}

static void set_local_periods(const plb_chain *c, place *list, size_t count, double period) {
  size_t link = 0;
  for (size_t i = 0; i < count; i++) {
    while (link + 1 < c->links && c->link[link + 1].at <= list[i].at)
      link++;
    const double local = c->links > 2 ? local_period(c, link, AROUND) : period;
    list[i].period = fmax(0.5 * period, fmin(2.0 * period, local));
  }
}

static plb_status set_median_period(plb_chain *c, double period, plb_error *err) {
  c->period = period;
  if (c->links < 2)
    return PLB_OK;
  double *list = plb_calloc(c->links, sizeof(double));
  if (!list)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", c->links);
  for (size_t k = 1; k < c->links; k++)
    list[k - 1] = (c->link[k].at - c->link[k - 1].at) / c->link[k].steps;
  c->period = plb_median(list, c->links - 1);
  free(list);
  return PLB_OK;
}

plb_status plb_chain_find(plb_chain *out, const float *x, size_t n, const float *template_, size_t grid, double period,
                          plb_error *err) {
  const size_t m = (size_t)(period + 0.5);
  place *list = NULL;
  size_t count = 0;
  *out = (plb_chain){.period = period};
  if (m < 3 || m + 2 > n)
    return PLB_OK;
  plb_status status = find_places(x, n, template_, grid, m, &list, &count, &out->upside_down, err);
  for (size_t i = 0; i < count; i++)
    list[i].period = period;
  for (int pass = 0; pass < 2 && status == PLB_OK && count > 0; pass++) {
    if (pass > 0)
      set_local_periods(out, list, count, period);
    status = trace_back(list, run(list, count, 0.0), out, err);
  }
  if (status == PLB_OK)
    status = set_median_period(out, period, err);
  free(list);
  if (status != PLB_OK)
    plb_chain_dispose(out);
  return status;
}

double plb_chain_cover(const plb_chain *c, size_t n) {
  double sum = 0;
  for (size_t k = 0; k < c->links; k++) {
    const double next = k + 1 < c->links ? c->link[k + 1].at : fmin((double)n, c->link[k].at + c->link[k].period);
    sum += c->link[k].correlation * fmin(next - c->link[k].at, c->link[k].period);
  }
  return sum / (double)n;
}

static int compare_places(const void *a, const void *b) {
  return plb_compare_double(&((const place *)a)->at, &((const place *)b)->at);
}

/** Places of the template in one length, those that are alike, behind the others. */
static plb_status add_places(const float *x, size_t n, const float *template_, size_t grid, double period, place **list, size_t *count,
                             size_t *capacity, double *upside_down, plb_error *err) {
  place *more = NULL;
  size_t found = 0;
  double down = 0;
  plb_status status = find_places(x, n, template_, grid, (size_t)(period + 0.5), &more, &found, &down, err);
  for (size_t i = 0; i < found && status == PLB_OK; i++) {
    if (more[i].correlation < ALIKE)
      continue;
    place *grown = plb_grow(*list, *count, capacity, sizeof *grown);
    if (!grown) {
      status = plb_fail(err, PLB_ENOMEM, "no memory for %zu places; free some memory", *count);
      break;
    }
    grown[*count] = more[i];
    grown[(*count)++].period = period;
    *list = grown;
  }
  *upside_down = fmax(*upside_down, down);
  free(more);
  return status;
}

/** The chain over places of every length between two. */
static plb_status chain_of_lengths(plb_chain *out, const float *x, size_t n, const float *template_, size_t grid, double low, double high,
                                   plb_error *err) {
  place *list = NULL;
  size_t count = 0, capacity = 0;
  plb_status status = PLB_OK;
  *out = (plb_chain){.period = sqrt(low * high), .upside_down = -INFINITY};
  low = fmax(low, 4.0);
  high = fmin(high, 0.5 * (double)n);
  for (double period = low; period < high * (1.0 + FINER) && period < (double)n - 3.0 && status == PLB_OK; period *= 1.0 + FINER)
    status = add_places(x, n, template_, grid, period, &list, &count, &capacity, &out->upside_down, err);
  if (status == PLB_OK && count > 0) {
    qsort(list, count, sizeof *list, compare_places);
    for (size_t i = 0; i < count; i++)
      list[i].weight = list[i].period / low;
    status = trace_back(list, run(list, count, LONGEST_STEP * high), out, err);
  }
  if (status == PLB_OK)
    status = set_median_period(out, out->period, err);
  free(list);
  return status;
}

/** Takes `other` in place of `best` if it covers more. */
static void keep_better(plb_chain *best, plb_chain *other, size_t n) {
  const bool better = plb_chain_cover(other, n) > plb_chain_cover(best, n) + 0.01;
  plb_chain_dispose(better ? best : other);
  if (better)
    *best = *other;
}

plb_status plb_chain_find_wide(plb_chain *out, const float *x, size_t n, const float *template_, size_t grid, double about,
                               double period_low, double period_high, plb_error *err) {
  static const double part[] = {1.0, 0.5, 2.0, 1.0 / 3.0, 3.0, 0.25, 4.0};
  plb_chain other;
  plb_status status = PLB_OK;
  *out = (plb_chain){.period = isfinite(about) ? about : sqrt(period_low * period_high)};
  for (size_t k = 0; k < sizeof part / sizeof *part && isfinite(about) && status == PLB_OK; k++) {
    if (about * part[k] < period_low || about * part[k] > period_high)
      continue;
    status = plb_chain_find(&other, x, n, template_, grid, about * part[k], err);
    if (status == PLB_OK)
      keep_better(out, &other, n);
  }
  if (status == PLB_OK && plb_chain_cover(out, n) < COVERED) {
    status = chain_of_lengths(&other, x, n, template_, grid, period_low, period_high, err);
    if (status == PLB_OK)
      keep_better(out, &other, n);
    else
      plb_chain_dispose(&other);
  }
  if (status != PLB_OK)
    plb_chain_dispose(out);
  return status;
}
