/*
 * Readings of time and duty between mid-reference (50 %) instants, IEEE Std 181: a pulse lasts from one to the next, a
 * period from one to the next of the same direction.
 */
#include "reading/reading.h"

#include <math.h>

static bool begins_cycle(const plb_trace *t, size_t edge) {
  return edge + 2 < t->edges && t->edge[edge].direction == t->start;
}

static double between(const plb_trace *t, size_t from, size_t to) {
  return (t->edge[to].at - t->edge[from].at) / t->rate_hz;
}

double plb_read_period(const plb_trace *t, size_t edge) {
  return begins_cycle(t, edge) ? between(t, edge, edge + 2) : (double)NAN;
}

double plb_read_frequency(const plb_trace *t, size_t edge) { return 1 / plb_read_period(t, edge); }

static double pulse(const plb_trace *t, size_t edge, int direction) {
  return edge + 1 < t->edges && t->edge[edge].direction == direction ? between(t, edge, edge + 1) : (double)NAN;
}

double plb_read_pulse_high(const plb_trace *t, size_t edge) { return pulse(t, edge, 1); }

double plb_read_pulse_low(const plb_trace *t, size_t edge) { return pulse(t, edge, -1); }

/* Percent of a cycle spent on the side to which `direction` leads. */
static double duty(const plb_trace *t, size_t edge, int direction) {
  if (!begins_cycle(t, edge))
    return (double)NAN;
  const size_t from = direction == t->start ? edge : edge + 1;
  return 100 * between(t, from, from + 1) / between(t, edge, edge + 2);
}

double plb_read_duty_high(const plb_trace *t, size_t edge) { return duty(t, edge, 1); }

double plb_read_duty_low(const plb_trace *t, size_t edge) { return duty(t, edge, -1); }

/* A distributor turns once while each of N cylinders gets one spark: a cycle is 360/N degrees of it. The oscillation of
 * a coil must not count as sparks: a wrong angle is worse than none. */
static double dwell(const plb_trace *t, double percent) {
  return t->cylinders > 0 && !t->bursts ? percent / 100 * 360 / t->cylinders : (double)NAN;
}

double plb_read_dwell_high(const plb_trace *t, size_t edge) { return dwell(t, plb_read_duty_high(t, edge)); }

double plb_read_dwell_low(const plb_trace *t, size_t edge) { return dwell(t, plb_read_duty_low(t, edge)); }

/* Whole pulses away from the state in which the signal rests. */
double plb_read_pulse_count(const plb_trace *t) {
  size_t count = 0;
  for (size_t e = 0; e + 1 < t->edges; e++)
    count += t->edge[e].direction == t->start;
  return t->edges > 0 ? (double)count : (double)NAN;
}

/* Standard deviation of the period, from running means (Welford 1962): there may be millions of cycles. */
double plb_read_jitter(const plb_trace *t) {
  double mean = 0, square = 0;
  size_t count = 0;
  for (size_t e = plb_trace_next_cycle(t, 0); e < t->edges; e = plb_trace_next_cycle(t, e + 1)) {
    const double period_s = plb_read_period(t, e), off = period_s - mean;
    count++;
    mean += off / (double)count;
    square += off * (period_s - mean);
  }
  return count > 1 ? sqrt(square / (double)(count - 1)) : (double)NAN;
}
