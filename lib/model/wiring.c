/* Faults that any wire can have: a contact that opens, sparks coupled in. */
#include "model/draw.h"
#include <math.h>

void plb_contact_plan(plb_draw *draw, const char *fault, double per_s, double least_s, double longest_s,
                      plb_contact *out) {
  *out = (plb_contact){.count = 0};
  const double severity = plb_fault(draw, fault);
  if (severity <= 0.0)
    return;
  const double end_s = (double)draw->n / draw->rate_hz;
  double at_s = 0.0;
  for (size_t i = 0; i < 64 && at_s < end_s; i++) {
    /* exponential waits: openings know nothing of each other; every one is drawn, but only the likelier ones open */
    at_s += -log(1.0 - plb_random_uniform(&draw->event)) / per_s;
    const double needed = i == 0 ? 0.0 : plb_random_uniform(&draw->event);
    const double share = 0.2 + 0.8 * plb_random_uniform(&draw->event);
    if (i == 0)
      at_s = fmax(0.0, fmin(at_s, fmin(0.7 * end_s, end_s - least_s))); /* the capture holds at least one */
    if (needed >= severity || at_s >= end_s)
      continue;
    out->open[out->count].from_s = at_s;
    out->open[out->count].to_s = at_s + least_s + fmax(0.0, longest_s - least_s) * share * (0.1 + 0.9 * severity);
    out->count++;
  }
}

bool plb_contact_is_open(plb_contact *contact, double at_s) {
  while (contact->next < contact->count && contact->open[contact->next].to_s <= at_s)
    contact->next++;
  return contact->next < contact->count && contact->open[contact->next].from_s <= at_s;
}

void plb_break_signal(plb_draw *draw, size_t c, const char *fault, double per_s, double least_s, double longest_s,
                      double level, double tau_s) {
  plb_contact contact;
  plb_contact_plan(draw, fault, per_s, least_s, longest_s, &contact);
  if (contact.count == 0)
    return;
  const double keep = tau_s > 0.0 ? exp(-1.0 / (tau_s * draw->rate_hz)) : 0.0;
  double held = 0.0;
  for (size_t i = 0; i < draw->n; i++) {
    const bool open = plb_contact_is_open(&contact, (double)i / draw->rate_hz);
    held = open ? level + (held - level) * keep : draw->x[c][i];
    draw->x[c][i] = held;
  }
}

/* One burst rings at a few hundred kilohertz, or at a fifth of the rate where that is lower, and dies out
 * within some periods. */
static void add_burst(double *x, size_t n, double rate_hz, double at_s, double peak) {
  const double ring_hz = fmin(250e3, rate_hz / 5.0);
  const double tau_s = 1.5 / ring_hz;
  const size_t first = (size_t)(at_s * rate_hz) + 1;
  const size_t last = first + (size_t)(6.0 * tau_s * rate_hz);
  for (size_t i = first; i < last && i < n; i++) {
    const double t = (double)i / rate_hz - at_s;
    x[i] += peak * exp(-t / tau_s) * cos(6.283185307179586 * ring_hz * t);
  }
}

void plb_add_interference(plb_draw *draw, size_t c, const char *fault, double peak) {
  const double severity = plb_fault(draw, fault);
  if (severity <= 0.0)
    return;
  const double speed = draw->speed_per_min > 0.0 ? draw->speed_per_min : 2000.0;
  const double every_s = 30.0 / speed; /* four cylinders: two sparks a turn */
  const double end_s = (double)draw->n / draw->rate_hz;
  /* short captures would miss the sparks altogether: then they come often enough to be seen a few times */
  const double step_s = fmin(every_s, end_s / 6.0);
  for (double at_s = step_s * plb_random_uniform(&draw->event); at_s < end_s; at_s += step_s) {
    const double strength = 0.7 + 0.6 * plb_random_uniform(&draw->event);
    add_burst(draw->x[c], draw->n, draw->rate_hz, at_s, severity * peak * strength);
  }
}
