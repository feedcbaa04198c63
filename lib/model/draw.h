#ifndef PLB_MODEL_DRAW_H
#define PLB_MODEL_DRAW_H
/**
 * @file  What a family's simulate function works with: one draw in progress. Three independent random streams, so
 * that a fault changes the circuit and nothing else: parts and conditions, chance events of faults, instrument.
 */
#include "model/model.h"

typedef struct plb_draw {
  const plb_model_family *family;
  const plb_model_fault *fault; /**< NULL: good */
  double severity;
  const char *state; /**< NULL: the usual one */
  plb_random part;   /**< parts, speed, supply, temperature, start angle: the same whatever the fault */
  plb_random event;  /**< when contacts open, sparks fire */
  plb_random meter;  /**< instrument */
  double rate_hz;
  size_t n;
  double *x[PLB_MODEL_CHANNELS]; /**< [size: n] zeroed; at the test points */
  double speed_per_min;          /**< drawn from the family's range, or asked for */
  double supply_v;               /**< set by the family; NaN until then */
  double temperature_cel;
} plb_draw;

/** Severity of the fault `name` in this draw: 0 unless it is the one asked for. */
double plb_fault(const plb_draw *draw, const char *name);
bool plb_in_state(const plb_draw *draw, const char *state);

/** Uniform between two numbers, from the stream of parts. */
double plb_between(plb_draw *draw, double low, double high);
/** A part's value: normal about `nominal`, `share` is the relative standard deviation, cut at 2.5 of it. */
double plb_part(plb_draw *draw, double nominal, double share);
/** Standard normal, cut at 2.5, from the stream of parts. */
double plb_normal(plb_draw *draw);

/** Resistance of a bad joint: 0 at severity 0, `worst_ohm` at 1, growing by equal factors between. */
double plb_joint_ohm(double severity, double worst_ohm);
/** 1 at severity 0, `worst` at 1, growing or falling by equal factors between. */
double plb_scaled(double severity, double worst);

/** A contact that opens now and then. Openings at small severity are among those at large severity, and last
 * shorter; all last at least least_s. */
typedef struct plb_contact {
  struct {
    double from_s, to_s;
  } open[64];
  size_t count, next;
} plb_contact;
void plb_contact_plan(plb_draw *draw, const char *fault, double per_s, double least_s, double longest_s,
                      plb_contact *out);
/** Is it open at this time? Times must not fall from call to call. */
bool plb_contact_is_open(plb_contact *contact, double at_s);

/** Where the contact of `fault` is open, channel c stands at `level`, reached with the time constant tau_s. */
void plb_break_signal(plb_draw *draw, size_t c, const char *fault, double per_s, double least_s, double longest_s,
                      double level, double tau_s);
/** Damped bursts of up to `peak` at the rate of the sparks (four cylinders at the draw's speed, or 2000/min) on
 * channel c. */
void plb_add_interference(plb_draw *draw, size_t c, const char *fault, double peak);

#endif
