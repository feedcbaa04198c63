/*
 * Along another channel. Phase is that channel's value x, from level_low (phase 0) to level_high (phase 1): the range that every good capture
 * passes through. A "cycle" is a stroke: x rising or falling, turned where it comes back by more than a seventh of the range, so that noise
 * and pauses turn nothing. How fast the hand moves does not matter: samples are sorted into cells by x, cells between two samples are
 * crossed in a straight line, cells that a stroke does not reach are NaN.
 * A cell holds the mean of its samples, each moved along the template's slope to the cell's middle. Where one of them lies further from their median than noise gets (eight times the scatter from sample
 * to sample, and a twelfth of the swing, which leaves room for coarse recorders), the cell holds that sample instead: a dropout of one sample in a pause of thousands shows.
 * Landmarks are the two ends of the travel: phases below 0 and above 1 as a share of the range, so a pedal that stops short is a reading.
 */
#include "cycle/against.h"
#include "cycle/chain.h"
#include "cycle/draft.h"
#include "cycle/kind.h"

#include <math.h>
#include <string.h>

enum { POINTS = 128, FEWEST_POINTS = 24, LOOK_AT = 8192 };
static const double TURN = 0.15, LEAST_STROKE = 0.1, FAR = 8.0, SWING_SHARE = 0.08;

static plb_status along_of(const plb_tracks *tracks, const char *role, size_t *out, plb_error *err) {
  for (size_t c = 0; c < tracks->channels; c++)
    if (strcmp(tracks->role[c], role) == 0) {
      *out = c;
      return PLB_OK;
    }
  return plb_fail(err, PLB_EUSAGE, "--cycle against: no channel has the role \"%s\"; name it with --channel %s=COLUMN", role, role);
}

/* ---- one stroke */

typedef struct sheet {
  const plb_tracks *tracks;
  const plb_cycle_choice *choice;
  const float *x; /* the channel along which, gaps filled */
  size_t along, grid;
  size_t *start;      /* [grid + 1] where each cell's samples begin in `sorted` */
  size_t *sorted;     /* [samples] */
  double *scratch;    /* [samples] */
  double *far_enough; /* [channels] how far from the median a sample is kept by itself */
} sheet;

static double cell_of(const sheet *s, double x) {
  return (x - s->choice->level_low) / (s->choice->level_high - s->choice->level_low) * (double)s->grid;
}

static bool in_grid(const sheet *s, double cell) { return cell >= 0 && cell < (double)s->grid; }

/** Samples of [first, last) by cell (counting sort). */
static void sort_by_cell(sheet *s, size_t first, size_t last) {
  memset(s->start, 0, (s->grid + 1) * sizeof *s->start);
  for (size_t i = first; i < last; i++) {
    const double cell = cell_of(s, (double)s->x[i]);
    if (in_grid(s, cell))
      s->start[(size_t)cell + 1]++;
  }
  for (size_t k = 0; k < s->grid; k++)
    s->start[k + 1] += s->start[k];
  const size_t total = s->start[s->grid];
  for (size_t i = last; i-- > first;) {
    const double cell = cell_of(s, (double)s->x[i]);
    if (in_grid(s, cell))
      s->sorted[--s->start[(size_t)cell + 1]] = i;
  }
  /* every end has moved to its cell's first sample: shift down */
  memmove(s->start, s->start + 1, s->grid * sizeof *s->start);
  s->start[s->grid] = total;
}

/** How the template runs within cell k [unit per cell]: where in the cell its few samples lie must not matter. */
static double slope_in(const sheet *s, size_t channel, size_t k) {
  const float *t = s->choice->template_;
  if (!t || channel != s->choice->channel)
    return 0.0;
  const size_t before = k > 0 ? k - 1 : k, after = k + 1 < s->grid ? k + 1 : k;
  return ((double)t[after] - (double)t[before]) / (double)(after - before);
}

/** A sample of cell k as it would be in the cell's middle. */
static double in_middle(const sheet *s, const double *y, size_t sample, size_t k, double slope) {
  return y[sample] - slope * (cell_of(s, (double)s->x[sample]) - (double)k - 0.5);
}

/** Value of cell k, and the sample that stands for it. */
static void cell_value(const sheet *s, size_t channel, size_t k, float *out, double *at_out) {
  const double *y = s->tracks->x[channel], slope = slope_in(s, channel, k);
  const size_t from = s->start[k], to = s->start[k + 1];
  size_t count = 0, farthest = s->sorted[from];
  double sum = 0, far = -1;
  for (size_t i = from; i < to; i++)
    if (isfinite(y[s->sorted[i]])) {
      s->scratch[count] = in_middle(s, y, s->sorted[i], k, slope);
      sum += s->scratch[count++];
    }
  if (count == 0)
    return;
  const double middle = plb_median(s->scratch, count);
  for (size_t i = from; i < to; i++) {
    const double apart = fabs(in_middle(s, y, s->sorted[i], k, slope) - middle);
    if (apart > far) {
      far = apart;
      farthest = s->sorted[i];
    }
  }
  const bool alone = far > s->far_enough[channel];
  *out = (float)(alone ? in_middle(s, y, farthest, k, slope) : sum / (double)count);
  *at_out = (double)(alone ? farthest : s->sorted[(from + to) / 2]);
}

/** Cells that lie between two samples next to each other in time, on the straight line between them. */
static void cross_cells(const sheet *s, size_t channel, size_t first, size_t last, float *row, double *at) {
  const double *y = s->tracks->x[channel];
  for (size_t i = first; i + 1 < last; i++) {
    const double a = cell_of(s, (double)s->x[i]), b = cell_of(s, (double)s->x[i + 1]);
    if (fabs(b - a) < 1.0 || !isfinite(y[i]) || !isfinite(y[i + 1]))
      continue;
    const double low = fmax(0.0, ceil(fmin(a, b) - 0.5)), high = fmin((double)s->grid - 1.0, floor(fmax(a, b) - 0.5));
    for (double k = low; k <= high; k++) {
      const double share = (k + 0.5 - a) / (b - a);
      if (isfinite(row[(size_t)k]))
        continue;
      row[(size_t)k] = (float)(y[i] + share * (y[i + 1] - y[i]));
      if (at)
        at[(size_t)k] = (double)i + share;
    }
  }
}

static void lay_channel(sheet *s, size_t channel, size_t first, size_t last, float *row, double *at) {
  for (size_t k = 0; k < s->grid; k++) {
    double place = (double)first;
    row[k] = NAN;
    if (s->start[k + 1] > s->start[k])
      cell_value(s, channel, k, &row[k], &place);
    if (at)
      at[k] = place;
  }
  cross_cells(s, channel, first, last, row, at);
}

/** The next row of the frame from one stroke; not counted when it reaches hardly any of the range. */
static void lay_stroke(plb_frame *f, sheet *s, size_t first, size_t last, bool *reached) {
  float *row = f->value + f->mapped * f->channels * f->grid;
  double *at = f->edge_at + f->mapped * (f->grid + 1);
  size_t cells = 0;
  sort_by_cell(s, first, last);
  for (size_t c = 0; c < f->channels; c++)
    lay_channel(s, c, first, last, row + c * f->grid, c == s->choice->channel ? at : NULL);
  at[f->grid] = (double)last;
  const float *curve = row + s->choice->channel * f->grid;
  for (size_t k = 0; k < f->grid; k++)
    cells += isfinite(curve[k]) != 0;
  if ((double)cells < LEAST_STROKE * (double)f->grid)
    return;
  for (size_t k = 0; k < f->grid; k++)
    reached[k] = reached[k] || isfinite(curve[k]);
  plb_cycle_found *cycle = &f->cycle[f->found++];
  *cycle = (plb_cycle_found){.first = (double)first, .last = (double)last, .row = f->mapped++, .surplus_phase = NAN, .correlation = NAN};
  if (s->choice->template_)
    cycle->correlation = plb_curve_correlation(curve, s->choice->template_, f->grid);
}

/* ---- strokes */

/** Samples at which x turns, with the first and one past the last sample. @param turn  [n + 1] */
static size_t find_turns(const float *x, size_t n, double hysteresis, size_t *turn) {
  size_t turns = 0, highest = 0, lowest = 0;
  int direction = 0;
  turn[turns++] = 0;
  for (size_t i = 1; i < n; i++) {
    highest = x[i] > x[highest] ? i : highest;
    lowest = x[i] < x[lowest] ? i : lowest;
    if (direction >= 0 && (double)x[highest] - (double)x[i] > hysteresis) {
      if (highest > turn[turns - 1])
        turn[turns++] = highest;
      direction = -1;
      lowest = highest = i;
    } else if (direction <= 0 && (double)x[i] - (double)x[lowest] > hysteresis) {
      if (lowest > turn[turns - 1])
        turn[turns++] = lowest;
      direction = 1;
      lowest = highest = i;
    }
  }
  turn[turns++] = n;
  return turns;
}

/** Typical scatter from sample to sample, and the swing, of at most LOOK_AT samples spread over the channel. */
static double far_enough(const double *y, size_t n, double *list) {
  const size_t stride = n / LOOK_AT + 1;
  size_t count = 0;
  for (size_t i = 0; i + 1 < n; i += stride)
    if (isfinite(y[i]) && isfinite(y[i + 1]))
      list[count++] = fabs(y[i + 1] - y[i]);
  if (count == 0)
    return INFINITY;
  const double noise = 1.4826 / sqrt(2.0) * plb_median(list, count);
  count = 0;
  for (size_t i = 0; i < n; i += stride)
    if (isfinite(y[i]))
      list[count++] = y[i];
  const double high = plb_quantile(list, count, 0.98), low = plb_quantile(list, count, 0.02);
  return fmax(FAR * noise, SWING_SHARE * (high - low));
}

/** Both ends of the travel, in ranges, into every row: a few samples beyond them are left to noise. */
static void mark_ends(plb_frame *f, const sheet *s) {
  const size_t n = s->tracks->samples, stride = n / LOOK_AT + 1;
  size_t count = 0;
  for (size_t i = 0; i < n; i += stride)
    s->scratch[count++] = cell_of(s, (double)s->x[i]) / (double)s->grid;
  const double low = plb_quantile(s->scratch, count, 0.005), high = plb_quantile(s->scratch, count, 0.995);
  for (size_t r = 0; r < f->mapped && f->landmarks == 2; r++) {
    f->landmark_phase[2 * r] = low;
    f->landmark_phase[2 * r + 1] = high;
  }
}

static void read_frame(plb_frame *f, const sheet *s, const bool *reached) {
  size_t cells = 0, count = 0;
  for (size_t k = 0; k < f->grid; k++)
    cells += reached[k];
  f->covered = (double)cells / (double)f->grid;
  for (size_t i = 0; i < f->found; i++)
    s->scratch[count++] = f->cycle[i].correlation;
  f->correlation = count ? plb_median(s->scratch, count) : NAN;
  mark_ends(f, s);
}

plb_status plb_against_build(plb_frame *f, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err) {
  const size_t n = tracks->samples;
  sheet s = {.tracks = tracks, .choice = choice, .grid = choice->grid};
  plb_status status = along_of(tracks, choice->spec.against, &s.along, err);
  if (status != PLB_OK)
    return status;
  f->grid = choice->grid;
  f->channels = tracks->channels;
  f->landmarks = choice->landmarks;
  f->unordered = f->partial = f->structure = true;
  float *x = plb_track_copy(tracks, s.along);
  size_t *turn = plb_calloc(n + 2, sizeof *turn);
  bool *reached = plb_calloc(s.grid, sizeof *reached);
  s.x = x;
  s.start = plb_calloc(s.grid + 2, sizeof *s.start);
  s.sorted = plb_calloc(n, sizeof *s.sorted);
  s.scratch = plb_calloc(n, sizeof *s.scratch);
  s.far_enough = plb_calloc(tracks->channels, sizeof *s.far_enough);
  const bool memory = x && turn && reached && s.start && s.sorted && s.scratch && s.far_enough;
  const size_t turns = memory ? find_turns(x, n, TURN * (choice->level_high - choice->level_low), turn) : 1;
  f->cycle = plb_calloc(turns, sizeof *f->cycle);
  if (!memory || !f->cycle || !plb_frame_allocate(f, turns)) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", n);
    goto done;
  }
  f->mapped = 0;
  for (size_t c = 0; c < tracks->channels; c++)
    s.far_enough[c] = far_enough(tracks->x[c], n, s.scratch);
  for (size_t k = 0; k + 1 < turns; k++)
    lay_stroke(f, &s, turn[k], turn[k + 1], reached);
  read_frame(f, &s, reached);
done:
  free(x);
  free(turn);
  free(reached);
  free(s.start);
  free(s.sorted);
  free(s.scratch);
  free(s.far_enough);
  return status;
}

/* ---- learning */

/** Typical distance from one value that occurs to the next: the recorder's step where it is coarse. @param sorted  [n] */
static double step_between(const double *sorted, size_t n, double *gap) {
  size_t gaps = 0;
  for (size_t i = 1; i < n; i++)
    if (sorted[i] > sorted[i - 1])
      gap[gaps++] = sorted[i] - sorted[i - 1];
  return gaps ? plb_median(gap, gaps) : 0.0;
}

/** The range of x that every good capture passes through, and the coarsest step among them. */
static plb_status common_range(const plb_tracks *const *tracks, size_t count, size_t along, double *low_out, double *high_out,
                               double *step_out, plb_error *err) {
  double low = -INFINITY, high = INFINITY, lowest = INFINITY, highest = -INFINITY;
  for (size_t t = 0; t < count; t++) {
    const size_t n = tracks[t]->samples;
    double *list = plb_calloc(2 * n, sizeof *list);
    size_t known = 0;
    if (!list)
      return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", n);
    for (size_t i = 0; i < n; i++)
      if (isfinite(tracks[t]->x[along][i]))
        list[known++] = tracks[t]->x[along][i];
    const double a = plb_quantile(list, known, 0.005), b = plb_quantile(list, known, 0.995);
    qsort(list, known, sizeof *list, plb_compare_double);
    *step_out = fmax(*step_out, step_between(list, known, list + n));
    free(list);
    low = fmax(low, a);
    high = fmin(high, b);
    lowest = fmin(lowest, a);
    highest = fmax(highest, b);
  }
  *low_out = low;
  *high_out = high;
  return high - low > 0.25 * (highest - lowest)
             ? PLB_OK
             : plb_fail(err, PLB_EDATA,
                        "the good captures hardly share a range of %s (%.4g to %.4g, of %.4g to %.4g in all); bring captures that "
                        "all go from end to end",
                        tracks[0]->role[along], low, high, lowest, highest);
}

static plb_status name_ends(plb_cycle_choice *out, plb_error *err) {
  static const char *const name[] = {"lower end", "upper end"};
  out->landmark = plb_calloc(2, sizeof *out->landmark);
  if (!out->landmark)
    return plb_fail(err, PLB_ENOMEM, "no memory for landmarks; free some memory");
  out->landmarks = 2;
  for (size_t k = 0; k < 2; k++) {
    out->landmark[k] = (plb_landmark){.phase = (double)k, .level = k ? out->level_high : out->level_low};
    plb_text_copy(out->landmark[k].name, sizeof out->landmark[k].name, name[k]);
  }
  return PLB_OK;
}

plb_status plb_against_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid, plb_buffer *notes,
                              plb_error *err) {
  size_t along = 0;
  plb_status status = along_of(tracks[0], out->spec.against, &along, err);
  if (status == PLB_OK && tracks[0]->channels < 2)
    status = plb_fail(err, PLB_EUSAGE, "--cycle against needs two channels: the one judged and the one it is judged along");
  if (status != PLB_OK)
    return status;
  if (out->channel == along)
    out->channel = along == 0 ? 1 : 0;
  double step = 0;
  status = common_range(tracks, count, along, &out->level_low, &out->level_high, &step, err);
  /* a cell narrower than two steps of the coarsest recording would hold one code here and none there */
  const double cells = step > 0 ? (out->level_high - out->level_low) / (2.0 * step) : POINTS;
  out->grid = grid ? grid : (size_t)fmax(FEWEST_POINTS, fmin(POINTS, cells));
  if (status == PLB_OK)
    status = name_ends(out, err);
  for (int pass = 0; pass < 2 && status == PLB_OK; pass++) /* the second knows how the curve runs within a cell */
    status = plb_choose_template(out, tracks, count, err);
  out->rate_low_hz = out->rate_high_hz = NAN;
  if (status == PLB_OK && notes)
    plb_buffer_printf(notes, "%s along %s, from %.4g to %.4g%s%s: what every good capture passes through, in %zu cells.\n",
                      tracks[0]->role[out->channel], tracks[0]->role[along], out->level_low, out->level_high,
                      tracks[0]->unit ? " " : "", tracks[0]->unit ? tracks[0]->unit[along] : "", out->grid);
  return status;
}
