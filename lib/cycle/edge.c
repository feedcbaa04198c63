/*
 * Cycles that begin with a level crossing.
 *
 * Seam: phase 0 lies before the crossing that begins the cycle, by `seam` times the period before it, but never more than half of the quiet
 * stretch there; so no landmark can fall on it.
 * Levels between the states are taken between the capture's own two states: a smaller signal is still cut at its half, and its size is the finding.
 * Lost pulses: a cycle more than 1.6 times as long as its neighbours holds places of lost pulses, each counted as a cycle that cannot be laid out;
 * not where good captures pause by themselves (serial levels).
 * Ringing that crosses the level makes short pulses; where good captures show them, pulses below `shortest_pulse_s` are left out.
 * Spans: from one crossing to the next. A scaled span is stretched to the template's. An absolute one keeps its seconds, one to one, over
 * the first seven eighths of its phases, for the shortest length seen among the good captures; the last eighth takes what is left
 * until the next landmark. A next landmark that comes earlier cuts it short: the phases that are left hold the value before that landmark.
 */
#include "cycle/edge.h"

#include <math.h>
#include <string.h>

static const double LOST_AT = 1.6;

void plb_pulses_dispose(plb_pulses *p) {
  free(p->crossing);
  free(p->start);
  *p = (plb_pulses){0};
}

/* ---- which crossings begin a cycle */

/** The pause that ends at pulse i is long against those around it; before the first pulse lies at least the capture's quiet beginning. */
static bool ends_long_pause(const double *at, size_t count, size_t i, unsigned pulses_each) {
  double longest = 0;
  const size_t first = i > pulses_each ? i - pulses_each : 1;
  for (size_t k = first; k < count && k <= i + pulses_each; k++)
    longest = fmax(longest, at[k] - at[k - 1]);
  return (i > 0 ? at[i] - at[i - 1] : at[0]) > 0.62 * longest;
}

static plb_status mark_starts(plb_pulses *p, int edge, unsigned pulses_each, plb_error *err) {
  double *at = plb_calloc(p->count, sizeof(double));
  size_t *index = plb_calloc(p->count, sizeof(size_t)), count = 0;
  p->start = plb_calloc(p->count, sizeof(size_t));
  const bool memory = at && index && p->start;
  for (size_t c = 0; c < p->count && memory; c++)
    if (p->crossing[c].direction == edge) {
      at[count] = p->crossing[c].at;
      index[count++] = c;
    }
  for (size_t i = 0; i < count && memory; i++)
    if (pulses_each == 1 || ends_long_pause(at, count, i, pulses_each))
      p->start[p->starts++] = index[i];
  free(at);
  free(index);
  return memory ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory for %zu pulses; free some memory", p->count);
}

static void leave_out_short(plb_pulses *p, int edge, double shortest) {
  size_t kept = 0;
  for (size_t c = 0; c < p->count; c++) {
    const bool begins = p->crossing[c].direction == edge && c + 1 < p->count;
    if (begins && p->crossing[c + 1].at - p->crossing[c].at < shortest)
      c++;
    else
      p->crossing[kept++] = p->crossing[c];
  }
  p->count = kept;
}

plb_status plb_pulses_find(plb_pulses *out, const double *x, size_t n, double low, double high, int edge,
                           unsigned pulses_each, double shortest, plb_error *err) {
  *out = (plb_pulses){0};
  plb_status status = plb_crossings(x, n, low, high, &out->crossing, &out->count, err);
  if (status == PLB_OK)
    leave_out_short(out, edge, shortest);
  if (status == PLB_OK)
    status = mark_starts(out, edge, pulses_each, err);
  if (status != PLB_OK)
    plb_pulses_dispose(out);
  return status;
}

/* ---- levels */

plb_status plb_edge_supply(const plb_tracks *tracks, double *out, plb_error *err) {
  for (size_t c = 0; c < tracks->channels; c++)
    if (strcmp(tracks->role[c], "supply") == 0) {
      double *copy = plb_calloc(tracks->samples, sizeof(double));
      size_t count = 0;
      for (size_t i = 0; i < tracks->samples && copy; i++)
        if (isfinite(tracks->x[c][i]))
          copy[count++] = tracks->x[c][i];
      *out = copy ? plb_median(copy, count) : NAN;
      free(copy);
      return isfinite(*out) ? PLB_OK
                            : plb_fail(err, PLB_EDATA, "the supply channel holds no numbers; check its column");
    }
  return plb_fail(err, PLB_EDATA,
                  "a level in %%supply needs a channel with the role \"supply\"; add --channel supply=COLUMN:V");
}

double plb_edge_half(double level, double low, double high) {
  /* A tenth of the swing to each side, less where the level lies close to a state. */
  const double swing = high - low, room = fmin(level - low, high - level);
  return room > 0 ? fmin(0.1 * swing, 0.5 * room) : 0.05 * swing;
}

/** A level between the states is one between this capture's own, where it has two: a smaller signal is still cut at its half. */
static plb_status own_levels(const plb_cycle_choice *choice, const plb_tracks *tracks, double *low, double *high, plb_error *err) {
  plb_states s;
  const double learned = *high - *low;
  const plb_status status = plb_state_levels(tracks->x[choice->channel], tracks->samples, 0, &s, err);
  if (status != PLB_OK || !s.two || s.low_share + s.high_share < 0.75 || !(s.high - s.low > 0.5 * learned))
    return status;
  const double percent = isfinite(choice->spec.level.value) ? choice->spec.level.value : 50.0;
  const double level = plb_reference_level(s.low, s.high, percent), half = plb_edge_half(level, s.low, s.high);
  *low = level - half;
  *high = level + half;
  return PLB_OK;
}

plb_status plb_edge_levels(const plb_cycle_choice *choice, const plb_tracks *tracks, double *low, double *high,
                           plb_error *err) {
  *low = choice->level_low;
  *high = choice->level_high;
  if (choice->spec.level.of == PLB_LEVEL_STATES)
    return own_levels(choice, tracks, low, high, err);
  if (choice->spec.level.of != PLB_LEVEL_SUPPLY)
    return PLB_OK;
  double supply = 0;
  const plb_status status = plb_edge_supply(tracks, &supply, err);
  const double middle = 0.5 * (*low + *high), scale = 0.01 * choice->spec.level.value * supply / middle;
  if (status != PLB_OK || !(scale > 0))
    return status;
  *low *= scale;
  *high *= scale;
  return PLB_OK;
}

/** Neighbouring samples of noise differ by a seventh of its height on average; those of a signal worth a look by far less. */
static bool is_noise(const double *x, size_t n, double height) {
  double sum = 0;
  size_t count = 0;
  for (size_t i = 1; i < n; i++)
    if (isfinite(x[i]) && isfinite(x[i - 1])) {
      sum += fabs(x[i] - x[i - 1]);
      count++;
    }
  return !(count > 0 && sum < 0.1 * height * (double)count);
}

/** The learned level's place between the ends of the known-good cycle, taken between the ends of this capture. */
static bool levels_by_ends(const plb_tracks *tracks, const plb_cycle_choice *choice, double *low, double *high) {
  const double *x = tracks->x[choice->channel];
  double bottom = INFINITY, top = -INFINITY, least = INFINITY, most = -INFINITY;
  for (size_t k = 0; k < choice->grid && choice->template_; k++) {
    bottom = fmin(bottom, (double)choice->template_[k]);
    top = fmax(top, (double)choice->template_[k]);
  }
  for (size_t i = 0; i < tracks->samples; i++) {
    least = fmin(least, isfinite(x[i]) ? x[i] : INFINITY);
    most = fmax(most, isfinite(x[i]) ? x[i] : -INFINITY);
  }
  const double scale = (most - least) / (top - bottom);
  if (!(scale > 0) || !isfinite(scale) || is_noise(x, tracks->samples, most - least))
    return false;
  *low = least + scale * (choice->level_low - bottom);
  *high = least + scale * (choice->level_high - bottom);
  return *low > least && *high < most;
}

/** For a signal that never reaches the learned levels: at the same share of its height. */
static plb_status find_by_own_height(plb_pulses *out, const plb_tracks *tracks, const plb_cycle_choice *choice,
                                     unsigned pulses_each, plb_error *err) {
  double low = 0, high = 0;
  if (choice->spec.level.of == PLB_LEVEL_STATES || !levels_by_ends(tracks, choice, &low, &high))
    return PLB_OK; /* its own states were used already */
  plb_pulses_dispose(out);
  return plb_pulses_find(out, tracks->x[choice->channel], tracks->samples, low, high, choice->edge, pulses_each,
                         choice->shortest_pulse_s * tracks->rate_hz, err);
}

/* ---- one cycle */

typedef struct cycle_at {
  const plb_cycle_choice *choice;
  const plb_pulses *pulses;
  double rate_hz;
  size_t samples;
} cycle_at;

static double start_at(const plb_pulses *p, size_t i) { return p->crossing[p->start[i]].at; }

/** Phase 0 of the cycle that begins with start i. */
static double begin_of(const cycle_at *c, size_t i) {
  const plb_pulses *p = c->pulses;
  const double at = start_at(p, i);
  double period = i > 0 ? at - start_at(p, i - 1) : start_at(p, i + 1) - at;
  if (i > 0 && i + 1 < p->starts) /* behind a pause in which pulses are lost, the period after it */
    period = fmin(period, LOST_AT * (start_at(p, i + 1) - at));
  const size_t crossing = p->start[i];
  const double quiet = crossing > 0 ? at - p->crossing[crossing - 1].at : INFINITY;
  return at - fmin(c->choice->seam * period, 0.5 * quiet);
}

/** Landmark k of the template for the j-th crossing of a cycle: in order while the numbers agree, else the nearest in time of its direction. */
static size_t landmark_of(const plb_cycle_choice *choice, size_t j, size_t crossings, int direction, double share) {
  if (crossings == choice->landmarks)
    return j;
  double total = 0, at = choice->seam, nearest = 0.25;
  size_t best = choice->landmarks;
  for (size_t k = 0; k < choice->spans; k++)
    total += choice->span[k].duration_s;
  for (size_t k = 0; k < choice->landmarks; k++) {
    if (choice->landmark[k].direction == direction && fabs(at - share) < nearest) {
      nearest = fabs(at - share);
      best = k;
    }
    at += k < choice->spans && total > 0 ? (1.0 - choice->seam) * choice->span[k].duration_s / total : 0.0;
  }
  return best;
}

static void place_marks(const cycle_at *c, size_t i, plb_cycle_found *cycle, double *mark) {
  const plb_pulses *p = c->pulses;
  const size_t first = p->start[i], count = p->start[i + 1] - first;
  unsigned seen = 0;
  for (size_t j = 0; j < count; j++) {
    const plb_crossing *crossing = &p->crossing[first + j];
    const double phase = (crossing->at - cycle->first) / (cycle->last - cycle->first);
    const size_t k = landmark_of(c->choice, j, count, crossing->direction, phase);
    if (k < c->choice->landmarks && isnan(mark[k])) {
      mark[k] = crossing->at;
      seen++;
    } else if (cycle->surplus++ == 0) {
      cycle->surplus_phase = phase;
    }
  }
  cycle->missing = (unsigned)c->choice->landmarks - seen;
}

/** Anchors inside span k, which starts at `from` and ends before `to` [samples]. */
static bool lay_span(const cycle_at *c, plb_draft *draft, size_t k, double from, double to) {
  const plb_span *span = &c->choice->span[k];
  const plb_knee knee = plb_span_knee(c->choice, k);
  const double phase = c->choice->landmark[k].phase, kept = span->duration_s * c->rate_hz, length = to - from;
  const double fine = knee.seconds * c->rate_hz;
  if (!(kept > 0) || !(length > 0))
    return true;
  if (fine > 0 && fine < 0.5 * length && !plb_draft_anchor(draft, phase + knee.width, from + fine))
    return false;
  if (!span->absolute)
    return true;
  if (kept < length)
    return plb_draft_anchor(draft, phase + plb_span_phase(c->choice, k, span->duration_s), from + kept);
  const double before = fmax(0.5 * length, length - 3.0);
  return plb_draft_anchor(draft, phase + plb_span_phase(c->choice, k, before / c->rate_hz), from + before);
}

static bool tie_marks(const cycle_at *c, plb_draft *draft, const plb_cycle_found *cycle, const double *mark,
                      double *span_s) {
  const plb_cycle_choice *choice = c->choice;
  bool memory = plb_draft_anchor(draft, 0.0, cycle->first);
  double before = cycle->first;
  for (size_t k = 0; k < choice->landmarks && memory; k++) {
    if (!(mark[k] > before))
      continue;
    memory = plb_draft_anchor(draft, choice->landmark[k].phase, mark[k]);
    before = mark[k];
    const bool is_last = k + 1 == choice->landmarks;
    const double next = is_last ? cycle->last : mark[k + 1];
    if (k >= choice->spans || !(next > mark[k]))
      continue;
    span_s[k] = (next - mark[k]) / c->rate_hz;
    memory = memory && lay_span(c, draft, k, mark[k], next);
  }
  return memory && plb_draft_anchor(draft, 1.0, cycle->last);
}

double plb_pulses_ratio(const plb_pulses *p, size_t i, double *neighbours_out) {
  double near[4];
  size_t count = 0;
  for (size_t k = i >= 2 ? i - 2 : 0; k <= i + 2 && k + 1 < p->starts; k++)
    if (k != i && count < 4)
      near[count++] = start_at(p, k + 1) - start_at(p, k);
  *neighbours_out = count ? plb_median(near, count) : NAN;
  return (start_at(p, i + 1) - start_at(p, i)) / *neighbours_out;
}

/** Pulses that are missing after the one that begins cycle i; where good captures pause by themselves, a pause is no loss. */
static unsigned count_lost(const cycle_at *c, size_t i, double *length_out) {
  const double ratio = plb_pulses_ratio(c->pulses, i, length_out), longest = c->choice->longest_ratio;
  if (!(longest > 0) || longest > LOST_AT || !(ratio > LOST_AT) || ratio > 1e6)
    return 0;
  return (unsigned)(floor(ratio + 0.5) - 1.0);
}

/** The places of the lost pulses: counted, each a cycle that cannot be laid out. */
static plb_status add_lost(plb_draft *draft, double first, double last, unsigned lost, plb_error *err) {
  for (unsigned k = 0; k < lost; k++) {
    const double length = (last - first) / lost;
    if (!plb_draft_cycle(draft, first + k * length, first + (k + 1) * length, PLB_UNMAPPED_LOST))
      return plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", draft->found);
  }
  return PLB_OK;
}

static plb_status add_cycles(const cycle_at *c, plb_draft *draft, plb_error *err) {
  for (size_t i = 0; i + 1 < c->pulses->starts; i++) {
    double length = NAN;
    const unsigned lost = count_lost(c, i, &length);
    const double first = begin_of(c, i), end = begin_of(c, i + 1), last = lost ? fmin(first + length, end) : end;
    if (first < 0)
      continue;
    plb_cycle_found *cycle = plb_draft_cycle(draft, first, last, PLB_MAPPED);
    if (!cycle)
      return plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", draft->found);
    double *mark = plb_draft_marks(draft);
    place_marks(c, i, cycle, mark);
    if (!tie_marks(c, draft, cycle, mark, plb_draft_spans(draft)))
      return plb_fail(err, PLB_ENOMEM, "no memory for the landmarks of a cycle; free some memory");
    if (cycle->missing + cycle->surplus > c->choice->landmarks)
      cycle->state = PLB_UNMAPPED_TEETH;
    const plb_status status = lost ? add_lost(draft, last, end, lost, err) : PLB_OK;
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}

static double median_period(const plb_pulses *p) {
  double *list = plb_calloc(p->starts, sizeof(double));
  for (size_t i = 1; i < p->starts && list; i++)
    list[i - 1] = start_at(p, i) - start_at(p, i - 1);
  const double median = list && p->starts > 1 ? plb_median(list, p->starts - 1) : NAN;
  free(list);
  return median;
}

plb_status plb_edge_build(plb_frame *f, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err) {
  const unsigned pulses_each = choice->landmarks >= 4 ? (unsigned)(choice->landmarks / 2) : 1;
  plb_pulses pulses = {0};
  plb_draft draft = {.landmarks = choice->landmarks, .spans = choice->spans};
  double low = 0, high = 0;
  plb_status status = plb_edge_levels(choice, tracks, &low, &high, err);
  if (status == PLB_OK)
    status = plb_pulses_find(&pulses, tracks->x[choice->channel], tracks->samples, low, high, choice->edge, pulses_each,
                             choice->shortest_pulse_s * tracks->rate_hz, err);
  if (status == PLB_OK && pulses.starts < 2)
    status = find_by_own_height(&pulses, tracks, choice, pulses_each, err);
  const cycle_at c = {choice, &pulses, tracks->rate_hz, tracks->samples};
  if (status == PLB_OK)
    status = add_cycles(&c, &draft, err);
  if (status == PLB_OK) {
    f->structure = pulses.starts >= 2;
    f->rate_hz = tracks->rate_hz / median_period(&pulses);
    status = plb_draft_lay(&draft, tracks, choice, f, err);
  }
  plb_draft_dispose(&draft);
  plb_pulses_dispose(&pulses);
  return status;
}
