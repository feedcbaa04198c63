#ifndef PLB_MODEL_THREE_WIRE_H
#define PLB_MODEL_THREE_WIRE_H
/**
 * @file  The circuit round a sensor with three wires: 5 V and sensor ground from the control unit, and a signal wire whose
 * output stands at a share of what lies between them (ratiometric). The voltage is the one at the control unit's input, by
 * Millman's theorem over the output's resistance, the input's pull-down and what leaks.
 */
#include "model/draw.h"

typedef struct plb_three_wire {
  double supply_v, ground_v; /**< at the sensor */
  double output_ohm;         /**< output stage and what stands in the wire */
  double pull_down_ohm;      /**< of the input */
  double leak_s;             /**< from 5 V into the signal wire, siemens */
} plb_three_wire;

/** Draws the circuit; faults "weak-supply", "poor-ground", "joint" and "leak-to-supply" change its parts. */
plb_three_wire plb_three_wire_draw(plb_draw *draw);

/** @param share  what the sensor puts out, 0..1 of its supply; @param contact_ohm  in series with the output (a wiper) */
static inline double plb_three_wire_v(const plb_three_wire *w, double share, double contact_ohm) {
  const double from = 1.0 / (w->output_ohm + contact_ohm), out_v = w->ground_v + (w->supply_v - w->ground_v) * share;
  return (out_v * from + 5.0 * w->leak_s) / (from + 1.0 / w->pull_down_ohm + w->leak_s);
}

/** A contact in the signal wire that opens ("intermittent-contact": the input is pulled down), and "ignition-interference". */
void plb_three_wire_disturb(plb_draw *draw);

/** What the sensing element does to its quantity; faults "biased-sensor", "weak-span" and "lazy-sensor". */
typedef struct plb_element {
  double span, bias; /**< share of the true output, and added to it */
  double keep;       /**< of the last sample's output in the next: first-order lag of element, amplifier or hose */
  double lowest, highest, share;
  bool begun;
} plb_element;

/**
 * A bridge of four gauges with its amplifier. One gauge that has changed by a share d moves the output of a bridge fed with V by
 * V d/4 (Wheatstone's bridge, d small), which the amplifier makes larger: the bias; gauges that stretch less: the span.
 * @param lag_s  first-order: the hose as a resistance before a volume
 */
plb_element plb_element_draw(plb_draw *draw, double lag_s, double lowest, double highest);
double plb_element_step(plb_element *e, double share);
#endif
