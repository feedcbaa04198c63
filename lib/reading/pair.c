/* Readings between two channels: delay and phase, power and energy. */
#include "reading/reading.h"

#include <math.h>
#include <string.h>

static void name_pair(plb_reading *r, const plb_trace *base, const plb_trace *trace, const char *name,
                      const char *unit) {
  *r = (plb_reading){.uncertainty = (double)NAN};
  plb_text_say(r->channel, sizeof r->channel, "%s", trace->role);
  plb_text_say(r->against, sizeof r->against, "%s", base->role);
  plb_text_say(r->name, sizeof r->name, "%s", name);
  plb_text_say(r->unit, sizeof r->unit, "%s", unit);
}

static plb_status add_both(plb_reading_list *list, plb_reading *r, double *value, size_t count, plb_error *err) {
  if (count == 0)
    return PLB_OK;
  r->scope = PLB_SCOPE_CAPTURE;
  r->value = plb_mean(value, count);
  r->count = count;
  plb_extremes(value, count, &r->lowest, &r->highest);
  plb_status status = plb_reading_add(list, r, err);
  if (status == PLB_OK && count > 1)
    status = plb_reading_add_cycles(list, r, value, count, err);
  return status;
}

/* The rising edge of `t` nearest to `at`, searched from *k on; the edges are in time order. NaN: none. */
static double nearest_rise(const plb_trace *t, double at, size_t *k) {
  double best = (double)NAN;
  for (size_t i = *k; i < t->edges; i++) {
    if (t->edge[i].direction < 0)
      continue;
    if (isnan(best) || fabs(t->edge[i].at - at) < fabs(best - at)) {
      best = t->edge[i].at;
      *k = i;
    } else {
      break;
    }
  }
  return best;
}

/* Two channels have a phase when they share a period; single events have a delay only. */
static bool same_period(const plb_trace *a, const plb_trace *b) {
  return fabs(a->period_s - b->period_s) < 0.05 * a->period_s;
}

/*
 * From each rising mid-reference instant of `base` to the nearest one of `trace`: positive when `trace` is later.
 * Delays near half a period may come out on either side: they are laid around the first one.
 */
plb_status plb_reading_delay(plb_reading_list *list, const plb_trace *base, const plb_trace *trace, plb_error *err) {
  const bool periodic = same_period(base, trace);
  const bool regular = periodic && plb_read_jitter(base) < 0.25 * base->period_s;
  const bool once = isnan(base->period_s) && isnan(trace->period_s);
  if (!(periodic || once) || base->edges == 0)
    return PLB_OK;
  double *value = plb_calloc(base->edges, sizeof *value);
  if (!value)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu transitions; measure a part with --from and --to", base->edges);
  const double period_s = base->period_s;
  size_t count = 0, k = 0;
  for (size_t e = 0; e < base->edges; e++) {
    if (base->edge[e].direction < 0)
      continue;
    const double delay_s = (nearest_rise(trace, base->edge[e].at, &k) - base->edge[e].at) / base->rate_hz;
    if (isnan(delay_s) || (periodic && fabs(delay_s) > 0.75 * period_s))
      continue; /* the partner lies outside the capture */
    value[count] = delay_s;
    if (regular && count > 0)
      value[count] -= period_s * round((delay_s - value[0]) / period_s);
    count++;
  }
  plb_reading r;
  name_pair(&r, base, trace, "delay", "s");
  r.uncertainty = 1 / base->rate_hz;
  plb_status status = add_both(list, &r, value, count, err);
  if (status == PLB_OK && regular) {
    for (size_t i = 0; i < count; i++)
      value[i] *= 360 / period_s;
    name_pair(&r, base, trace, "phase", "deg");
    r.uncertainty = 360 / (period_s * base->rate_hz);
    status = add_both(list, &r, value, count, err);
  }
  free(value);
  return status;
}

/* The product has the cycles of the voltage, or of the current where the voltage has none. */
plb_status plb_reading_energy(plb_reading_list *list, const plb_trace *volts, const plb_trace *amperes,
                              plb_error *err) {
  const plb_trace *with_cycles = volts->edges > 0 ? volts : amperes;
  plb_trace product = *with_cycles; /* borrows the edges */
  product.x = plb_calloc(volts->n, sizeof *product.x);
  if (!product.x)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; measure a part with --from and --to", volts->n);
  product.missing = volts->missing || amperes->missing;
  for (size_t i = 0; i < volts->n; i++)
    product.x[i] = volts->x[i] * volts->volt * amperes->x[i] * amperes->ampere;
  plb_text_say(product.role, sizeof product.role, "%s", amperes->role);
  plb_status status = PLB_OK;
  const size_t before = list->into->count;
  for (size_t k = 0; k < plb_power_kind_count && status == PLB_OK; k++)
    status = plb_reading_row(list, &product, &plb_power_kinds[k], err);
  for (size_t i = before; i < list->into->count; i++)
    plb_text_say(list->into->reading[i].against, PLB_NAME_SIZE, "%s", volts->role);
  free(product.x);
  return status;
}
