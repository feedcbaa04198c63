/*
 * Period, template, landmarks and seam from good captures. A template begins as one real cycle, since a blurred average splits edges; it becomes
 * the median of the cycles found with it, is turned so that no landmark lies on the seam, and is found again.
 */
#include "cycle/chain.h"
#include "cycle/kind.h"
#include "cycle/repeat.h"
#include "cycle/steep.h"

#include <math.h>
#include <string.h>

/** Period of each capture, and the capture whose period is the middle one. */
static plb_status find_periods(const plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count,
                               double *period_s, size_t *medoid_out, plb_error *err) {
  const double hint = out->spec.period_s;
  plb_status status = PLB_OK;
  double *sorted = plb_calloc(count, sizeof(double));
  if (!sorted)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu captures; free some memory", count);
  for (size_t t = 0; t < count && status == PLB_OK; t++) {
    const double rate = tracks[t]->rate_hz, n = (double)tracks[t]->samples;
    double period = NAN;
    float *x = plb_track_copy(tracks[t], out->channel);
    if (!x)
      status = plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", tracks[t]->samples);
    else
      status = plb_period_find(x, tracks[t]->samples, hint > 0 ? 0.5 * hint * rate : 3.0,
                               hint > 0 ? 1.7 * hint * rate : n, hint * rate, &period, err);
    free(x);
    if (status == PLB_OK && isnan(period))
      status = plb_fail(err, PLB_EDATA,
                        "good capture %zu of %zu repeats nowhere%s; state the period (--cycle repeat:period=40ms) or "
                        "leave it out",
                        t + 1, count, hint > 0 ? " near the stated period" : "");
    period_s[t] = sorted[t] = period / rate;
  }
  if (status == PLB_OK) {
    qsort(sorted, count, sizeof *sorted, plb_compare_double);
    for (size_t t = 0; t < count; t++)
      *medoid_out = period_s[t] == sorted[(count - 1) / 2] ? t : *medoid_out;
  }
  free(sorted);
  return status;
}

/** Mean correlation of the chain that a stretch of the signal, taken as template, finds; 0 when it finds fewer than two places. */
static plb_status try_template(const float *x, size_t n, const float *part, size_t m, double period, double *merit,
                               plb_error *err) {
  plb_chain chain;
  const plb_status status = plb_chain_find(&chain, x, n, part, m, period, err);
  *merit = 0;
  if (status != PLB_OK)
    return status;
  for (size_t k = 0; k < chain.links; k++)
    *merit += chain.link[k].correlation / (double)chain.links;
  if (chain.links < 2)
    *merit = 0;
  plb_chain_dispose(&chain);
  return PLB_OK;
}

/**
 * A period far from the medoid's: another speed, or two parts taken for one, or a half. The template tells: it lies over the capture in the
 * true period. Without that, the medoid's.
 */
static plb_status settle_period(const plb_cycle_choice *out, const plb_tracks *tracks, double medoid_s, double *period_s, plb_error *err) {
  static const double part[] = {1.0, 0.5, 2.0, 1.0 / 3.0, 3.0};
  static const double sure = 0.75, more = 0.1; /* cycles that differ among themselves (a heart's) tell nothing of their length */
  double best_s = medoid_s, best = 0;
  plb_status status = PLB_OK;
  float *x = plb_track_copy(tracks, out->channel);
  if (!x)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", tracks->samples);
  for (size_t k = 0; k <= sizeof part / sizeof *part && status == PLB_OK; k++) {
    const double try_s = k == 0 ? medoid_s : *period_s * part[k - 1];
    plb_chain chain;
    status = plb_chain_find(&chain, x, tracks->samples, out->template_, out->grid, try_s * tracks->rate_hz, err);
    if (status != PLB_OK)
      break;
    const double cover = chain.links > 1 ? plb_chain_cover(&chain, tracks->samples) : 0.0;
    plb_chain_dispose(&chain);
    if (k == 0 || (cover > best + (best_s == medoid_s ? more : 0.02) && cover > sure)) {
      best = cover;
      best_s = try_s;
    }
  }
  *period_s = best_s;
  free(x);
  return status;
}

/** The real cycle that is most like the others, out of a few all over the capture. */
static plb_status first_template(plb_cycle_choice *out, const plb_tracks *tracks, double period, plb_error *err) {
  enum { TRIES = 12, LOOK_AT = 1 << 17 };
  const size_t m = (size_t)(period + 0.5), n = tracks->samples < LOOK_AT ? tracks->samples : LOOK_AT;
  plb_status status = PLB_OK;
  double best = -1.0;
  size_t from = 0;
  if (m < 3 || m + 2 > n)
    return plb_fail(err, PLB_EDATA,
                    "a period of %zu samples in a capture of %zu; bring captures with at least 2 whole cycles", m, n);
  float *x = plb_track_copy(tracks, out->channel);
  double *edge = plb_calloc(out->grid + 1, sizeof(double));
  plb_scratch scratch = {0};
  if (!x || !edge)
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", n);
  for (size_t i = 0; i < TRIES && status == PLB_OK; i++) {
    const size_t start = i * (n - m) / (TRIES - 1);
    double merit = 0;
    status = try_template(x, n, x + start, m, period, &merit, err);
    if (merit > best) {
      best = merit;
      from = start;
    }
  }
  if (status == PLB_OK) {
    for (size_t k = 0; k <= out->grid; k++)
      edge[k] = (double)from + (double)k * period / (double)out->grid;
    status = plb_lay_cells(tracks->x[out->channel], tracks->samples, edge, out->grid, &scratch, out->template_, err);
  }
  plb_scratch_dispose(&scratch);
  free(edge);
  free(x);
  return status;
}

static plb_status read_rates(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, double *period_s, double medoid_s,
                             plb_error *err) {
  plb_status status = PLB_OK;
  out->rate_low_hz = INFINITY;
  for (size_t t = 0; t < count && status == PLB_OK; t++) {
    if (!(period_s[t] > 0.6 * medoid_s && period_s[t] < 1.6 * medoid_s))
      status = settle_period(out, tracks[t], medoid_s, &period_s[t], err);
    out->rate_low_hz = fmin(out->rate_low_hz, 1.0 / period_s[t]);
    out->rate_high_hz = fmax(out->rate_high_hz, 1.0 / period_s[t]);
  }
  return status;
}

static plb_status find_landmarks(plb_cycle_choice *out, plb_error *err) {
  free(out->landmark);
  out->landmark = NULL;
  out->landmarks = 0;
  return plb_steep_find(out->template_, out->grid, &out->landmark, &out->landmarks, err);
}

static plb_status turn_to_seam(plb_cycle_choice *out, plb_error *err) {
  plb_status status = find_landmarks(out, err);
  if (status != PLB_OK)
    return status;
  const size_t shift = (size_t)(plb_steep_seam(out->landmark, out->landmarks) * (double)out->grid) % out->grid;
  float *turned = plb_calloc(out->grid, sizeof(float));
  if (!turned)
    return plb_fail(err, PLB_ENOMEM, "no memory for a template; free some memory");
  for (size_t k = 0; k < out->grid; k++)
    turned[k] = out->template_[(k + shift) % out->grid];
  free(out->template_);
  out->template_ = turned;
  return PLB_OK;
}

/** Cycles of one good capture in which each landmark was not found. */
static void count_missing(const plb_frame *f, size_t *missing) {
  for (size_t k = 0; k < f->landmarks; k++) {
    missing[k] = 0;
    for (size_t row = 0; row < f->mapped; row++)
      missing[k] += isnan(f->landmark_phase[row * f->landmarks + k]) ? 1 : 0;
  }
}

/** Cycles of one good capture with more edges than the template has. */
static size_t count_surplus(const plb_frame *f) {
  size_t count = 0;
  for (size_t i = 0; i < f->found; i++)
    count += f->cycle[i].state == PLB_MAPPED && f->cycle[i].surplus > 0;
  return count;
}

/**
 * A mark that healthy captures do not show in every cycle would call healthy cycles damaged, and with them the limit would be lost: marks
 * missing in more than one cycle of three of some good capture are given up. Fewer may be odd cycles among good ones, where the marks still
 * lay the others well. Where a healthy curve crosses the level of the marks more often than the template does (a ripple hardly higher than its
 * noise or the recorder's steps), as often as that, edges cannot be counted at all, and none serves as a mark.
 */
static plb_status drop_unsure_landmarks(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t *dropped,
                                        plb_error *err) {
  enum { FEW = 3 };
  size_t *missing = plb_calloc(out->landmarks, sizeof *missing), kept = 0;
  bool *unsure = plb_calloc(out->landmarks, sizeof *unsure);
  plb_status status = missing && unsure ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory for landmarks; free some memory");
  for (size_t t = 0; t < count && status == PLB_OK; t++) {
    plb_frame *f = NULL;
    status = plb_frame_build(&f, tracks[t], out, err);
    if (status == PLB_OK)
      count_missing(f, missing);
    const size_t surplus = status == PLB_OK ? count_surplus(f) : 0;
    for (size_t k = 0; k < out->landmarks && status == PLB_OK; k++)
      unsure[k] = unsure[k] || (missing[k] > 2 && missing[k] * (size_t)FEW > f->mapped) ||
                  (surplus > 2 && surplus * (size_t)FEW > f->mapped);
    plb_frame_free(f);
  }
  for (size_t k = 0; k < out->landmarks && status == PLB_OK; k++)
    if (!unsure[k])
      out->landmark[kept++] = out->landmark[k];
  *dropped = status == PLB_OK ? out->landmarks - kept : 0;
  out->landmarks -= *dropped;
  free(missing);
  free(unsure);
  return status;
}

/** Cells of one cycle: one to a sample, 16 .. 1024. */
static size_t default_grid(double period) { return (size_t)fmax(16.0, fmin(1024.0, floor(period))); }

static plb_status refine(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t medoid,
                         size_t *dropped, plb_error *err) {
  plb_status status = turn_to_seam(out, err);
  /* First without landmarks in the medoid alone, then with them in all. */
  free(out->landmark);
  out->landmark = NULL;
  out->landmarks = 0;
  const double low = out->rate_low_hz, high = out->rate_high_hz;
  if (status == PLB_OK)
    status = plb_choose_template(out, &tracks[medoid], 1, err);
  if (status == PLB_OK)
    status = turn_to_seam(out, err);
  out->rate_low_hz = low;
  out->rate_high_hz = high;
  if (status == PLB_OK)
    status = find_landmarks(out, err);
  if (status == PLB_OK)
    status = plb_choose_template(out, tracks, count, err);
  if (status == PLB_OK)
    status = find_landmarks(out, err);
  if (status == PLB_OK)
    status = drop_unsure_landmarks(out, tracks, count, dropped, err);
  if (status == PLB_OK)
    status = plb_choose_template(out, tracks, count, err);
  return status;
}

plb_status plb_repeat_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid,
                             plb_buffer *notes, plb_error *err) {
  double *period_s = plb_calloc(count, sizeof(double));
  size_t medoid = 0, dropped = 0;
  plb_status status =
      period_s ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory for %zu captures; free some memory", count);
  if (status == PLB_OK)
    status = find_periods(out, tracks, count, period_s, &medoid, err);
  if (status != PLB_OK)
    goto done;
  const double period = period_s[medoid] * tracks[medoid]->rate_hz;
  out->grid = grid ? grid : default_grid(period);
  out->template_ = plb_calloc(out->grid, sizeof(float));
  if (!out->template_) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for a template; free some memory");
    goto done;
  }
  status = first_template(out, tracks[medoid], period, err);
  if (status == PLB_OK)
    status = read_rates(out, tracks, count, period_s, period_s[medoid], err);
  if (status == PLB_OK)
    status = refine(out, tracks, count, medoid, &dropped, err);
  if (status != PLB_OK)
    goto done;
  out->seam = out->landmarks ? out->landmark[0].phase : 0.0;
  out->level_low = out->level_high = out->landmarks ? out->landmark[0].level : NAN;
  out->edge = out->landmarks ? out->landmark[0].direction : 0;
  if (notes)
    plb_buffer_printf(
        notes,
        "Period: %.6g ms in capture %zu, %.6g to %.6g ms over all; %zu steep edges serve as marks, the least alike "
        "cycle correlates %.3f.\n",
        1e3 * period_s[medoid], medoid + 1, 1e3 / out->rate_high_hz, 1e3 / out->rate_low_hz, out->landmarks,
        out->correlation_low);
  if (notes && dropped > 0)
    plb_buffer_printf(notes, "%zu more steep edge%s not found in every cycle of every good capture: left out.\n", dropped,
                      dropped == 1 ? " was" : "s were");
done:
  free(period_s);
  return status;
}
