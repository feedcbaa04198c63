#include "model/three_wire.h"
#include <math.h>

plb_three_wire plb_three_wire_draw(plb_draw *draw) {
  plb_three_wire w;
  w.supply_v =
      plb_part(draw, 5.0, 0.004) - 1.7 * plb_fault(draw, "weak-supply"); /* regulated within 1 %: common practice */
  w.ground_v = 0.8 * plb_fault(draw, "poor-ground");
  const double stage_ohm = 500.0; /* output stage: from memory */
  w.output_ohm = stage_ohm + plb_joint_ohm(plb_fault(draw, "joint"), 150e3);
  w.pull_down_ohm = 100e3; /* so that an open wire reads low: common practice */
  w.leak_s = 4.0 / stage_ohm * plb_fault(draw, "leak-to-supply");
  return w;
}

void plb_three_wire_disturb(plb_draw *draw) {
  plb_break_signal(draw, 0, "intermittent-contact", 5.0, 0.0, 0.06, 0.0, 1e-4);
  plb_add_interference(draw, 0, "ignition-interference", 2.5);
}

plb_element plb_element_draw(plb_draw *draw, double lag_s, double lowest, double highest) {
  plb_element e = {.lowest = lowest, .highest = highest};
  e.span = plb_part(draw, 1.0, 0.008) * (1.0 - 0.30 * plb_fault(draw, "weak-span")); /* spread: common practice, 1 % */
  const double gain = 40.0; /* a gauge bridge gives some hundredths of its supply over its range: from memory */
  const double gauge = 0.016 * plb_fault(draw, "biased-sensor");
  e.bias = 0.004 * plb_normal(draw) + gain * gauge / 4.0;
  const double lag = plb_part(draw, lag_s, 0.1) * plb_scaled(plb_fault(draw, "lazy-sensor"), 40.0);
  e.keep = exp(-1.0 / (lag * draw->rate_hz));
  return e;
}

double plb_element_step(plb_element *e, double share) {
  e->share = e->begun ? share + (e->share - share) * e->keep : share;
  e->begun = true;
  return fmax(e->lowest, fmin(e->highest, e->span * e->share + e->bias));
}
