/* One channel made ready: samples, states, transitions, and which of them begins a cycle. */
#include "reading/reading.h"

#include <math.h>
#include <string.h>

enum { REST = 8 /* samples between two transitions of a logic channel, on average */ };

/* Levels between which all samples lie but for a share at either end. */
static plb_status bound(const plb_trace *t, double share, double *low, double *high, plb_error *err) {
  double *copy = plb_calloc(t->n, sizeof *copy);
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; measure a part with --from and --to", t->n);
  size_t n = 0;
  for (size_t i = 0; i < t->n; i++)
    if (isfinite(t->x[i]))
      copy[n++] = t->x[i];
  *low = plb_quantile(copy, n, share);
  *high = plb_quantile(copy, n, 1 - share);
  free(copy);
  return PLB_OK;
}

/* Bins no finer than two codes: with finer ones a level that dithers between two codes would be two states. */
static size_t bins_for(const plb_trace *t, double range) {
  const double bins = t->step > 0 ? range / (2 * t->step) : 100;
  return bins < 4 ? 4 : bins > 100 ? 100 : (size_t)bins;
}

/* A state of so few samples may be a row of spikes. */
static bool is_rare(const plb_states *s) { return fmin(s->low_share, s->high_share) < 0.01; }

/* Spikes far beyond the swing leave both states in one bin or in neighbouring ones. Look again without what lies more
 * than half the usual range beyond it; what is found then counts when it is no rarity. */
static plb_status states_without_spikes(const plb_trace *t, plb_states *states, plb_error *err) {
  double low = 0, high = 0;
  plb_status status = bound(t, 0.02, &low, &high, err);
  const double margin = 0.5 * (high - low);
  if (status != PLB_OK || !(margin > 0))
    return status;
  double *copy = plb_calloc(t->n, sizeof *copy);
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; measure a part with --from and --to", t->n);
  for (size_t i = 0; i < t->n; i++)
    copy[i] = t->x[i] >= low - margin && t->x[i] <= high + margin ? t->x[i] : (double)NAN;
  plb_states nearer;
  status = plb_state_levels(copy, t->n, bins_for(t, 2 * (high - low)), &nearer, err);
  free(copy);
  if (status == PLB_OK && nearer.two && !is_rare(&nearer))
    *states = nearer;
  return status;
}

/* Share of the time above the middle decides where the signal rests. */
static int start_of(const plb_trace *t) {
  const double mid = 0.5 * (t->low + t->high);
  size_t above = 0, finite = 0;
  for (size_t i = 0; i < t->n; i++) {
    above += t->x[i] > mid;
    finite += isfinite(t->x[i]) != 0;
  }
  return 2 * above > finite ? -1 : 1;
}

size_t plb_trace_next_cycle(const plb_trace *t, size_t from) {
  while (from < t->edges && t->edge[from].direction != t->start)
    from++;
  return from + 2 < t->edges ? from : t->edges;
}

double plb_trace_period_s(const plb_trace *t) {
  const size_t first = plb_trace_next_cycle(t, 0);
  if (first >= t->edges)
    return (double)NAN;
  const size_t cycles = (t->edges - 1 - first) / 2;
  return (t->edge[first + 2 * cycles].at - t->edge[first].at) / (double)cycles / t->rate_hz;
}

/* Noise also crosses the middle now and then, and a decaying oscillation in bursts; a signal without states has a period
 * only when most cycles are alike and the others do not make up most of the time. */
static plb_status is_regular(const plb_trace *t, bool *out, bool *bursts, plb_error *err) {
  *out = false;
  if (t->edges < 7)
    return PLB_OK;
  double *period = plb_calloc(t->edges / 2, sizeof *period);
  if (!period)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles", t->edges / 2);
  size_t n = 0;
  for (size_t e = plb_trace_next_cycle(t, 0); e < t->edges; e = plb_trace_next_cycle(t, e + 1))
    period[n++] = plb_read_period(t, e);
  const double median = plb_median(period, n);
  *bursts = plb_trace_period_s(t) > 2 * median;
  *out = n >= 3 && !*bursts && plb_mad(period, n, median) < 0.15 * median;
  free(period);
  return PLB_OK;
}

static void drop_edges(plb_trace *t) {
  free(t->edge);
  t->edge = NULL;
  t->edges = 0;
}

/* Where a transition lies wholly between two samples, nothing tells when it was; its middle is at most half an interval
 * off. A straight line to the top of a flyback would place it near its foot. */
static void centre_jumps(plb_trace *t) {
  const double low = plb_reference_level(t->low, t->high, 10), high = plb_reference_level(t->low, t->high, 90);
  for (size_t e = 0; e < t->edges; e++) {
    const size_t k = (size_t)t->edge[e].at;
    if (k + 1 < t->n && fmin(t->x[k], t->x[k + 1]) < low && fmax(t->x[k], t->x[k + 1]) > high)
      t->edge[e].at = (double)k + 0.5;
  }
}

/* A transition goes at least from 25 to 75 % of the way. A swing of one or two codes is that of a logic channel (0 and 1)
 * when it rests for a while in each, else the last code's flicker. */
static plb_status cross(plb_trace *t, plb_error *err) {
  if (!(t->high > t->low))
    return PLB_OK;
  const plb_status status = plb_crossings(t->x, t->n, plb_reference_level(t->low, t->high, 25),
                                          plb_reference_level(t->low, t->high, 75), &t->edge, &t->edges, err);
  if (!(t->high - t->low > t->flicker) && t->edges > t->n / REST)
    drop_edges(t);
  centre_jumps(t);
  t->start = start_of(t);
  return status;
}

/* Without two states the middle between the bounds of most samples parts the halves of a cycle: of a triangle, and with
 * the narrower shares of short pulses that reach no level. */
static plb_status cross_without_states(plb_trace *t, plb_error *err) {
  static const double shares[] = {0.05, 0.001};
  plb_status status = PLB_OK;
  bool regular = false;
  for (size_t k = 0; k < sizeof shares / sizeof shares[0] && !regular && status == PLB_OK; k++) {
    drop_edges(t);
    status = bound(t, shares[k], &t->low, &t->high, err);
    if (status == PLB_OK)
      status = cross(t, err);
    if (status == PLB_OK)
      status = is_regular(t, &regular, &t->bursts, err);
  }
  if (!regular)
    drop_edges(t);
  return status;
}

/* The histogram gives the mean over neighbouring bins, into which the ends of ramps reach. Where nearly all samples there
 * have one and the same value, that is the level (the mode of IEEE Std 181, without a bin). */
static plb_status sharpen(const plb_trace *t, double *level, plb_error *err) {
  double *near = plb_calloc(t->n, sizeof *near);
  if (!near)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; measure a part with --from and --to", t->n);
  const double within = 0.02 * (t->high - t->low);
  size_t n = 0, same = 0;
  for (size_t i = 0; i < t->n; i++)
    if (fabs(t->x[i] - *level) <= within)
      near[n++] = t->x[i];
  const double median = plb_median(near, n);
  for (size_t i = 0; i < n; i++)
    same += !(near[i] < median) && !(near[i] > median);
  if (n > 0 && (double)same >= 0.9 * (double)n)
    *level = median;
  free(near);
  return PLB_OK;
}

static plb_status find_edges(plb_trace *t, plb_error *err) {
  plb_states states;
  plb_status status = plb_state_levels(t->x, t->n, 0, &states, err);
  if (status == PLB_OK && (!states.two || is_rare(&states)))
    status = states_without_spikes(t, &states, err);
  if (status != PLB_OK)
    return status;
  t->low = states.low;
  t->high = states.high;
  t->states = states.two;
  if (t->states) {
    status = sharpen(t, &t->low, err);
    if (status == PLB_OK)
      status = sharpen(t, &t->high, err);
  }
  if (status == PLB_OK)
    status = t->states ? cross(t, err) : cross_without_states(t, err);
  t->states = t->states && t->edges > 0;
  t->period_s = plb_trace_period_s(t);
  bool regular = false;
  return status == PLB_OK ? is_regular(t, &regular, &t->bursts, err) : status;
}

static double worth(const char *unit, const char *in) {
  double factor = 0;
  return plb_unit_convert(1, unit, in, &factor) ? factor : 0;
}

plb_status plb_trace_load(plb_trace *out, const plb_capture *capture, size_t channel, size_t first, size_t n,
                          plb_error *err) {
  *out = (plb_trace){.n = n,
                     .rate_hz = plb_capture_rate_hz(capture),
                     .step = plb_capture_step(capture, channel),
                     .start = 1,
                     .period_s = (double)NAN};
  plb_text_say(out->role, sizeof out->role, "%s", plb_capture_role(capture, channel));
  plb_text_say(out->unit, sizeof out->unit, "%s", plb_capture_unit(capture, channel));
  out->ampere = worth(out->unit, "A");
  out->volt = worth(out->unit, "V");
  out->x = plb_calloc(n, sizeof *out->x);
  if (!out->x)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; measure a part with --from and --to", n);
  plb_capture_values(capture, channel, first, n, out->x);
  size_t finite = 0;
  for (size_t i = 0; i < n; i++)
    finite += isfinite(out->x[i]) != 0;
  out->missing = finite < n;
  out->flicker = 2 * out->step;
  double low, high;
  plb_extremes(out->x, n, &low, &high);
  if (!(high - low > out->step)) /* two values only: how fine the recorder's codes are does not show */
    out->step = 0;
  return finite > 0 && !capture->pairs ? find_edges(out, err) : PLB_OK;
}

void plb_trace_dispose(plb_trace *t) {
  free(t->x);
  free(t->edge);
  *t = (plb_trace){0};
}
