/*
 * Any periodic signal, cycle by cycle. Phase 0 is the middle of the template's longest stretch without a landmark: a landmark on the seam
 * would be counted twice or never.
 */
#include "cycle/chain.h"
#include "cycle/repeat.h"
#include "cycle/steep.h"

#include <math.h>

/* A cycle so near the end of the capture that its own search window is not whole is half seen (SCORING section 1). */
static const double HALF_SEEN = 0.08;
/* Good captures whose speeds differ by more: the template is sought in every length between. */
static const double WIDE = 1.6, ROOM = 0.8;
/* Periods searched, over the range of the good captures; what is least alike to be laid over the template. */
static const double SHORTEST = 0.5, LONGEST = 1.7, LEAST_ALIKE = 0.3;

bool plb_repeat_is_wide(const plb_cycle_choice *choice) {
  return choice->spec.kind == PLB_CYCLE_REPEAT && choice->rate_high_hz > WIDE * choice->rate_low_hz;
}

/** Cycles between two links: the first is the one found, the rest were stepped over. */
static plb_status add_cycles(plb_draft *draft, const plb_steep *steep, const double *x, size_t n, const plb_link *link,
                             double end, unsigned steps, const double range[2], plb_error *err) {
  const double length = (end - link->at) / steps;
  for (unsigned k = 0; k < steps; k++) {
    const double first = link->at + k * length, last = k + 1 < steps ? first + length : end;
    plb_unmapped state = PLB_MAPPED;
    if (k > 0 || link->correlation < LEAST_ALIKE)
      state = PLB_UNMAPPED_SHAPE;
    else if (length < range[0] || length > range[1])
      state = PLB_UNMAPPED_PERIOD;
    plb_cycle_found *cycle = plb_draft_cycle(draft, first, last, state);
    if (!cycle)
      return plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", draft->found);
    cycle->correlation = k == 0 ? link->correlation : 0.0;
    const plb_status status = state == PLB_MAPPED ? plb_steep_match(steep, x, n, draft, err) : PLB_OK;
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}

/** Is a landmark of the cycle from `first` to `last`, which is partly outside, seen inside the capture? */
static plb_status is_cut(bool *out, const plb_steep *steep, const double *x, size_t n, double first, double last,
                         plb_error *err) {
  plb_draft draft = {.landmarks = steep->choice->landmarks};
  plb_status status = plb_draft_cycle(&draft, first, last, PLB_MAPPED)
                          ? plb_steep_match(steep, x, n, &draft, err)
                          : plb_fail(err, PLB_ENOMEM, "no memory for a cycle; free some memory");
  *out = status == PLB_OK && draft.cycle[0].missing < draft.landmarks;
  plb_draft_dispose(&draft);
  return status;
}

/** Cycles at the two ends that are seen in part; `first` and `last`: how long a cycle is there [samples]. */
static plb_status count_cut(plb_frame *f, const plb_draft *draft, const plb_tracks *tracks,
                            const plb_cycle_choice *choice, double first, double last, plb_error *err) {
  const double *x = tracks->x[choice->channel], n = (double)tracks->samples;
  plb_steep steep;
  if (draft->found == 0 || choice->landmarks == 0)
    return PLB_OK;
  plb_status status = plb_steep_init(&steep, choice, err);
  if (status != PLB_OK)
    return status;
  const double begin = draft->cycle[0].first, end = draft->cycle[draft->found - 1].last;
  bool before = false, behind = false;
  if (begin > 0)
    status = is_cut(&before, &steep, x, tracks->samples, begin - first, begin, err);
  if (end < n - 1 && status == PLB_OK)
    status = is_cut(&behind, &steep, x, tracks->samples, end, end + last, err);
  f->cut = (unsigned)before + (unsigned)behind;
  plb_steep_dispose(&steep);
  return status;
}

/** Periods that lie whole, with their search window, in a stretch at an end of the capture. */
static double whole_periods(double length, double period) { return fmax(0.0, floor(length / period - HALF_SEEN)); }

/** Whole periods before the first link or behind the last one, where nothing was found: counted, never dropped in silence. */
static plb_status add_lost(plb_draft *draft, double first, double count, double period, plb_error *err) {
  for (double k = 0; k < count; k++)
    if (!plb_draft_cycle(draft, first + k * period, first + (k + 1) * period, PLB_UNMAPPED_SHAPE))
      return plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", draft->found);
  return PLB_OK;
}

/** The last cycle ends where the next would begin, if that is still inside. */
static plb_status add_last(plb_draft *draft, const plb_steep *steep, const plb_chain *chain, const plb_tracks *tracks,
                           const double range[2], bool is_wide, plb_error *err) {
  const plb_link *link = &chain->link[chain->links - 1];
  const double typical = is_wide ? link->period : chain->period;
  const double before = chain->links > 1 ? (link->at - link[-1].at) / link->steps : link->period;
  const double end = link->at + 0.5 * (before + typical), last = (double)tracks->samples - 1.0;
  if (end > last)
    return PLB_OK;
  const plb_status status =
      add_cycles(draft, steep, tracks->x[steep->choice->channel], tracks->samples, link, end, 1, range, err);
  return status == PLB_OK ? add_lost(draft, end, whole_periods(last - end, typical), typical, err) : status;
}

/** Between levels less than two steps of the recorder apart, a curve that passes once may seem to pass twice. */
static void watch_no_steps(plb_steep *steep, const plb_tracks *tracks) {
  const double step = tracks->step ? tracks->step[steep->choice->channel] : 0.0;
  steep->is_watching = steep->is_watching && steep->watch_high - steep->watch_low > 2.0 * step;
}

static plb_status cycles_of_chain(plb_draft *draft, const plb_chain *chain, const plb_tracks *tracks,
                                  const plb_cycle_choice *choice, const double range[2], bool is_wide, plb_error *err) {
  const double *x = tracks->x[choice->channel];
  plb_steep steep;
  if (chain->links == 0)
    return PLB_OK;
  plb_status status = plb_steep_init(&steep, choice, err);
  if (status != PLB_OK)
    return status;
  watch_no_steps(&steep, tracks);
  const double typical = is_wide ? chain->link[0].period : chain->period, lost = whole_periods(chain->link[0].at, typical);
  status = add_lost(draft, chain->link[0].at - lost * typical, lost, typical, err);
  for (size_t k = 0; k + 1 < chain->links && status == PLB_OK; k++)
    status = add_cycles(draft, &steep, x, tracks->samples, &chain->link[k], chain->link[k + 1].at,
                        chain->link[k + 1].steps, range, err);
  if (status == PLB_OK)
    status = add_last(draft, &steep, chain, tracks, range, is_wide, err);
  plb_steep_dispose(&steep);
  return status;
}

static double median_length(const plb_frame *f) {
  double *list = plb_calloc(f->found, sizeof(double));
  for (size_t i = 0; i < f->found && list; i++)
    list[i] = f->cycle[i].last - f->cycle[i].first;
  const double median = list ? plb_median(list, f->found) : NAN;
  free(list);
  return median;
}

/**
 * The best likeness of a typical cycle to the template away from its own place. Shifts by a whole unit (a bar of eight, one
 * compression of four) are no ambiguity: where the curve is more than 0.8 like itself, its multiples are left out.
 */
static plb_status elsewhere(plb_frame *f, const plb_cycle_choice *choice, plb_error *err) {
  const size_t grid = f->grid;
  if (f->mapped == 0)
    return PLB_OK;
  float *r = plb_calloc(grid, sizeof(float));
  if (!r)
    return plb_fail(err, PLB_ENOMEM, "no memory for a curve; free some memory");
  const float *curve = f->value + (f->mapped / 2 * f->channels + choice->channel) * grid;
  const plb_status status = plb_ncc_circular(curve, choice->template_, grid, r, err);
  size_t unit = grid;
  double best = -1.0;
  for (size_t k = 1; k + 1 < grid && status == PLB_OK; k++) {
    if (!(r[k] >= r[k - 1] && r[k] > r[k + 1]))
      continue;
    unit = unit == grid && r[k] > 0.8f ? k : unit;
    const size_t off = k % unit, near = unit / 8 + 1;
    if (off > near && unit - off > near)
      best = fmax(best, (double)r[k]);
  }
  f->runner_up = best;
  free(r);
  return status;
}

/** How long the cycles are before any range is applied. */
static plb_status read_period(plb_frame *f, const float *x, size_t n, double rate_hz, const double range[2],
                              double *period_out, bool *part_out, plb_error *err) {
  double any = NAN;
  *part_out = false;
  plb_status status =
      plb_period_find(x, n, range[0], range[1], sqrt(range[0] * range[1] / (SHORTEST * LONGEST)), period_out, err);
  if (status == PLB_OK && isnan(*period_out))
    status = plb_period_find(x, n, 2.0, (double)n, 0.0, &any, err);
  else
    any = *period_out;
  if (isnan(*period_out) && isfinite(any)) { /* one odd unit of k makes the whole turn stand out: its k-th part may be the cycle */
    const double expected = sqrt(range[0] * range[1] / (SHORTEST * LONGEST)), k = round(any / expected);
    *part_out = k >= 2.0 && k <= 24.0 && any / k > range[0] && any / k < range[1];
    *period_out = *part_out ? any / k : NAN;
  }
  f->structure = isfinite(any);
  f->rate_hz = rate_hz / any;
  return status;
}

/** The k-th part of a longer period is a cycle only if the template is found in most of its places. */
static bool is_of_parts(const plb_chain *chain, size_t n, double period) {
  size_t like = 0;
  for (size_t k = 0; k < chain->links; k++)
    like += chain->link[k].correlation > 0.7;
  return (double)like > 0.5 * ((double)n / period - 1.0);
}

plb_status plb_repeat_build(plb_frame *f, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err) {
  const double range[2] = {SHORTEST * tracks->rate_hz / choice->rate_high_hz,
                           LONGEST * tracks->rate_hz / choice->rate_low_hz};
  const bool is_wide = plb_repeat_is_wide(choice);
  plb_chain chain = {0};
  plb_draft draft = {.landmarks = choice->landmarks};
  double period = NAN;
  bool part = false;
  float *x = plb_track_copy(tracks, choice->channel);
  plb_status status =
      x ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", tracks->samples);
  if (status == PLB_OK)
    status = read_period(f, x, tracks->samples, tracks->rate_hz, range, &period, &part, err);
  if (status == PLB_OK && is_wide && f->structure)
    status = plb_chain_find_wide(&chain, x, tracks->samples, choice->template_, choice->grid, period, ROOM * tracks->rate_hz / choice->rate_high_hz,
                                 tracks->rate_hz / (ROOM * choice->rate_low_hz), err);
  else if (status == PLB_OK && isfinite(period))
    status = plb_chain_find(&chain, x, tracks->samples, choice->template_, choice->grid, period, err);
  f->inverted = chain.upside_down > 0.2;
  if (part && !is_wide && !is_of_parts(&chain, tracks->samples, period))
    chain.links = 0;
  if (status == PLB_OK)
    status = cycles_of_chain(&draft, &chain, tracks, choice, range, is_wide, err);
  if (status == PLB_OK)
    status = count_cut(f, &draft, tracks, choice, is_wide && chain.links ? chain.link[0].period : chain.period,
                       is_wide && chain.links ? chain.link[chain.links - 1].period : chain.period, err);
  if (status == PLB_OK)
    status = plb_draft_lay(&draft, tracks, choice, f, err);
  if (status == PLB_OK)
    plb_frame_drop_unlike(f, LEAST_ALIKE);
  if (status == PLB_OK && f->found > 0)
    f->rate_hz = tracks->rate_hz / median_length(f);
  if (status == PLB_OK)
    status = elsewhere(f, choice, err);
  plb_draft_dispose(&draft);
  plb_chain_dispose(&chain);
  free(x);
  return status;
}
