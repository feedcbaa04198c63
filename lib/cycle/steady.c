/*
 * No cycle: supplies, ripple, noise. The capture is cut into windows of one length (kept as 1 / rate_low_hz); a "cycle" is a window. Phase is the
 * share of the time: each window is laid out as its sorted levels (the quantile curve), so that a good range along it is a level histogram. A
 * cell holds the mean of its share; the outermost two hold the window's lowest and highest sample, so that a dropout or spike of one sample is
 * not averaged away. Samples of one code of a coarse recorder are spread evenly over its step, as they were before they were rounded. For these cells, edge_at is the sample in the middle of the cell's share, so a place can still be told in seconds.
 */
#include "cycle/steady.h"
#include "cycle/chain.h"
#include "cycle/draft.h"
#include "cycle/kind.h"

#include <math.h>

enum { WINDOWS = 40, FEWEST_SAMPLES = 64, FEWEST_WINDOWS = 4, POINTS = 128 };

typedef struct placed {
  double value;
  size_t at;
} placed;

static int by_value(const void *a, const void *b) {
  const placed *x = a, *y = b;
  if (x->value != y->value)
    return x->value < y->value ? -1 : 1;
  return x->at < y->at ? -1 : x->at > y->at;
}

/** Known samples of [first, last), sorted by level. @return how many */
static size_t sort_window(const double *x, size_t first, size_t last, placed *out) {
  size_t count = 0;
  for (size_t i = first; i < last; i++)
    if (isfinite(x[i]))
      out[count++] = (placed){x[i], i};
  qsort(out, count, sizeof *out, by_value);
  return count;
}

/** Spread each run of equal samples evenly over `step`, centred where it is. */
static void spread_codes(placed *s, size_t count, double step) {
  for (size_t a = 0, b; step > 0 && a < count; a = b) {
    const double code = s[a].value;
    for (b = a; b < count && s[b].value == code;)
      b++;
    for (size_t i = a; i < b; i++)
      s[i].value = code + step * (((double)(i - a) + 0.5) / (double)(b - a) - 0.5);
  }
}

/** The smallest distance of two values that occur; 0 when it is no recorder's step but two states of the circuit. */
static plb_status code_step(const double *x, size_t n, double *out, plb_error *err) {
  double smallest = INFINITY, most = 0;
  size_t count = 0;
  double *list = plb_calloc(n, sizeof *list);
  if (!list)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", n);
  for (size_t i = 0; i < n; i++)
    if (isfinite(x[i])) {
      list[count++] = x[i];
      most = fmax(most, fabs(x[i]));
    }
  qsort(list, count, sizeof *list, plb_compare_double);
  for (size_t i = 1; i < count; i++)
    if (list[i] > list[i - 1])
      smallest = fmin(smallest, list[i] - list[i - 1]);
  *out = smallest < 0.02 * most ? smallest : 0.0;
  free(list);
  return PLB_OK;
}

/** Mean of the sorted samples over the shares [from, to), in samples. */
static double mean_over(const placed *s, size_t count, double from, double to) {
  double sum = 0;
  for (size_t i = (size_t)from; i < count && (double)i < to; i++)
    sum += s[i].value * (fmin(to, (double)i + 1.0) - fmax(from, (double)i));
  return sum / (to - from);
}

static void lay_levels(const placed *s, size_t count, size_t grid, float *out) {
  const double width = (double)count / (double)grid;
  for (size_t k = 1; k + 1 < grid; k++)
    out[k] = (float)mean_over(s, count, (double)k * width, (double)(k + 1) * width);
  out[0] = (float)s[0].value;
  out[grid - 1] = (float)s[count - 1].value;
}

static void lay_places(const placed *s, size_t count, size_t grid, double end, double *edge_at) {
  for (size_t k = 1; k + 1 < grid; k++)
    edge_at[k] = (double)s[(size_t)(((double)k + 0.5) * (double)count / (double)grid)].at;
  edge_at[0] = (double)s[0].at;
  edge_at[grid - 1] = (double)s[count - 1].at;
  edge_at[grid] = end;
}

/** Lay out one window; false when a channel has fewer than half of its samples. */
static bool lay_window(plb_frame *f, const plb_tracks *tracks, const plb_cycle_choice *choice, size_t first, size_t last,
                       const double *step, placed *sorted, plb_cycle_found *cycle) {
  float *row = f->value + f->mapped * f->channels * f->grid;
  for (size_t c = 0; c < f->channels; c++) {
    const size_t count = sort_window(tracks->x[c], first, last, sorted);
    if (count == 0 || 2 * count < last - first)
      return false;
    spread_codes(sorted, count, step[c]);
    lay_levels(sorted, count, f->grid, row + c * f->grid);
    if (c == choice->channel)
      lay_places(sorted, count, f->grid, (double)last, f->edge_at + f->mapped * (f->grid + 1));
  }
  if (choice->template_)
    cycle->correlation = plb_curve_correlation(row + choice->channel * f->grid, choice->template_, f->grid);
  cycle->row = f->mapped++;
  return true;
}

static double median_correlation(const plb_frame *f, double *list) {
  size_t count = 0;
  for (size_t i = 0; i < f->found; i++)
    if (f->cycle[i].state == PLB_MAPPED)
      list[count++] = f->cycle[i].correlation;
  return count ? plb_median(list, count) : NAN;
}

plb_status plb_steady_build(plb_frame *f, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err) {
  const double window = fmax(2.0, tracks->rate_hz / choice->rate_low_hz);
  const size_t windows = (size_t)((double)tracks->samples / window + 1e-9);
  plb_status status = PLB_OK;
  f->grid = choice->grid;
  f->channels = tracks->channels;
  f->unordered = f->structure = true;
  f->cycle = plb_calloc(windows + 1, sizeof *f->cycle);
  placed *sorted = plb_calloc((size_t)window + 2, sizeof *sorted);
  double *list = plb_calloc(windows + 1, sizeof *list), *step = plb_calloc(f->channels, sizeof *step);
  if (!f->cycle || !sorted || !list || !step || !plb_frame_allocate(f, windows)) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu windows; free some memory", windows);
    goto done;
  }
  f->mapped = 0;
  for (size_t c = 0; c < f->channels && status == PLB_OK; c++)
    status = code_step(tracks->x[c], tracks->samples, &step[c], err);
  for (size_t w = 0; w < windows && status == PLB_OK; w++) {
    plb_cycle_found *cycle = &f->cycle[f->found++];
    *cycle = (plb_cycle_found){
        .first = (double)w * window, .last = (double)(w + 1) * window, .surplus_phase = NAN, .correlation = NAN};
    const size_t first = (size_t)(cycle->first + 0.5), last = (size_t)(cycle->last + 0.5);
    if (!lay_window(f, tracks, choice, first, last < tracks->samples ? last : tracks->samples, step, sorted, cycle))
      cycle->state = PLB_UNMAPPED_SHAPE;
  }
  f->correlation = median_correlation(f, list);
done:
  free(sorted);
  free(list);
  free(step);
  return status;
}

/**
 * A fortieth of the shortest good capture, at least 64 samples; where the signal repeats, whole periods, so that no window holds more of a ripple
 * than its neighbour.
 */
static plb_status choose_window(const plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, double *window_out,
                                plb_error *err) {
  double shortest = INFINITY, slowest = INFINITY, period = NAN;
  for (size_t t = 0; t < count; t++) {
    shortest = fmin(shortest, (double)tracks[t]->samples / tracks[t]->rate_hz);
    slowest = fmin(slowest, tracks[t]->rate_hz);
  }
  double window = fmin(fmax(shortest / WINDOWS, FEWEST_SAMPLES / slowest), shortest / FEWEST_WINDOWS);
  float *x = plb_track_copy(tracks[0], out->channel);
  plb_status status = x ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", tracks[0]->samples);
  if (status == PLB_OK)
    status = plb_period_find(x, tracks[0]->samples, 3.0, (double)tracks[0]->samples / 8.0, 0.0, &period, err);
  free(x);
  period /= tracks[0]->rate_hz;
  if (period > 0 && period < shortest / 8.0)
    window = fmin(ceil(window / period) * period, shortest / FEWEST_WINDOWS);
  *window_out = window;
  return status;
}

plb_status plb_steady_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid, plb_buffer *notes,
                             plb_error *err) {
  double window = 0;
  plb_status status = choose_window(out, tracks, count, &window, err);
  if (status != PLB_OK)
    return status;
  const double samples = window * tracks[0]->rate_hz;
  out->grid = grid ? grid : (size_t)fmax(8.0, fmin(POINTS, floor(samples)));
  out->level_low = out->level_high = NAN;
  out->rate_low_hz = out->rate_high_hz = 1.0 / window;
  status = plb_choose_template(out, tracks, count, err);
  out->rate_low_hz = out->rate_high_hz = 1.0 / window;
  if (status == PLB_OK && notes)
    plb_buffer_printf(notes, "No cycle: windows of %.4g ms, each laid out as its sorted levels over %zu points, lowest first.\n",
                      1e3 * window, out->grid);
  return status;
}
