/*
 * Voltage of an ignition coil's primary: low while the coil charges, then flyback, burn line and oscillations around the
 * supply, which cross every level. Charging begins with a fall below half of the supply that lasts; the swings of an
 * oscillation are shorter by far. It ends with the flyback, not before: a driver that limits the current lets the
 * voltage rise part of the way to the supply. Common practice.
 */
#include "reading/reading.h"

#include <math.h>

/* The supply: a level that is reached or passed for a quarter of the time, above the charging pulses and below the
 * burn line. */
static plb_status supply_level(const plb_trace *t, double *out, plb_error *err) {
  double *copy = plb_calloc(t->n, sizeof *copy);
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; measure a part with --from and --to", t->n);
  size_t n = 0;
  for (size_t i = 0; i < t->n; i++)
    if (isfinite(t->x[i]))
      copy[n++] = t->x[i];
  *out = plb_quantile(copy, n, 0.75);
  free(copy);
  return PLB_OK;
}

static double low_samples(const plb_crossing *edge, size_t edges, size_t e) {
  return e + 1 < edges && edge[e].direction < 0 ? edge[e + 1].at - edge[e].at : 0;
}

/* Between the last sample below the flyback's foot and the first one above it; the trace's length when there is none. */
static double flyback_after(const plb_trace *t, double at, double foot) {
  for (size_t i = (size_t)at + 1; i < t->n; i++)
    if (t->x[i] > foot)
      return (double)i - 0.5;
  return (double)t->n;
}

/* Keep the falls whose pulse lasts at least a fifth of the longest, each with its flyback. @return how many edges */
static size_t keep_charging(const plb_trace *t, plb_crossing *edge, size_t edges, double foot) {
  double longest = 0;
  for (size_t e = 0; e < edges; e++)
    longest = fmax(longest, low_samples(edge, edges, e));
  size_t kept = 0;
  double busy_until = 0;
  for (size_t e = 0; e + 1 < edges; e++) {
    if (edge[e].direction > 0 || edge[e].at < busy_until || low_samples(edge, edges, e) < 0.2 * longest)
      continue;
    busy_until = flyback_after(t, edge[e].at, foot);
    if (busy_until >= (double)t->n)
      break;
    edge[kept++] = edge[e];
    edge[kept++] = (plb_crossing){.at = busy_until, .direction = 1};
  }
  return kept;
}

plb_status plb_trace_as_coil(plb_trace *t, plb_error *err) {
  double supply = 0;
  plb_status status = supply_level(t, &supply, err);
  if (status != PLB_OK || !(supply > 0))
    return status;
  plb_crossing *edge = NULL;
  size_t edges = 0;
  status = plb_crossings(t->x, t->n, 0.35 * supply, 0.65 * supply, &edge, &edges, err);
  if (status != PLB_OK)
    return status;
  edges = keep_charging(t, edge, edges, 1.5 * supply);
  free(t->edge);
  t->edge = edge;
  t->edges = edges;
  t->states = false;
  t->bursts = false;
  t->start = -1;
  t->coil = true;
  t->period_s = plb_trace_period_s(t);
  return PLB_OK;
}
