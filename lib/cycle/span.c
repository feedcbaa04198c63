/*
 * How the seconds of a span lie over its phases. Marks and lengths say it all: where a long span follows one that is laid out much more finely, what
 * happens right behind its mark (a flyback, a needle that closes) is as short as the driven stretch was. Half of its phases then keep the fineness
 * of the span before, and the other half takes the long rest.
 */
#include "cycle/cycle.h"

#include <math.h>

static const double MUCH_COARSER = 4.0;

static double width_of(const plb_cycle_choice *c, size_t k) {
  const double next = k + 1 < c->landmarks ? c->landmark[k + 1].phase : 1.0;
  return (next - c->landmark[k].phase) * (c->span[k].absolute ? PLB_KEPT_SHARE : 1.0);
}

plb_knee plb_span_knee(const plb_cycle_choice *c, size_t k) {
  const plb_knee none = {0.0, 0.0};
  if (c->spec.kind != PLB_CYCLE_EDGE || k == 0 || k >= c->spans || k >= c->landmarks)
    return none;
  const double width = width_of(c, k), before = width_of(c, k - 1);
  if (!(c->span[k].duration_s > 0) || !(c->span[k - 1].duration_s > 0) || !(width > 0) || !(before > 0))
    return none;
  const double fine = c->span[k - 1].duration_s / before;
  return c->span[k].duration_s / width > MUCH_COARSER * fine ? (plb_knee){0.5 * width, 0.5 * width * fine} : none;
}

double plb_span_phase(const plb_cycle_choice *c, size_t k, double after_s) {
  const plb_knee knee = plb_span_knee(c, k);
  const double width = width_of(c, k);
  if (after_s < knee.seconds)
    return knee.width * after_s / knee.seconds;
  return knee.width + (width - knee.width) * (after_s - knee.seconds) / (c->span[k].duration_s - knee.seconds);
}

double plb_span_slope(const plb_cycle_choice *c, double phase) {
  size_t k = c->spans < c->landmarks ? c->spans : c->landmarks;
  while (k > 0 && c->landmark[k - 1].phase > phase)
    k--;
  if (c->spec.kind != PLB_CYCLE_EDGE || k == 0 || !(c->span[k - 1].duration_s > 0))
    return NAN;
  const double after = phase - c->landmark[k - 1].phase, little = 1e-6;
  return (plb_span_seconds(c, k - 1, after + little) - plb_span_seconds(c, k - 1, after)) / little;
}

double plb_span_seconds(const plb_cycle_choice *c, size_t k, double after) {
  const plb_knee knee = plb_span_knee(c, k);
  const double width = width_of(c, k);
  if (after < knee.width)
    return knee.seconds * after / knee.width;
  return knee.seconds + (c->span[k].duration_s - knee.seconds) * (after - knee.width) / (width - knee.width);
}
