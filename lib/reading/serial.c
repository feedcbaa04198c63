/* Units of time in serial signals: the bit of asynchronous frames, the tick of pulse-width coded nibbles. */
#include "reading/reading.h"

#include <math.h>

enum { EDGES_LEAST = 10, BITS_MOST = 8, SYNC_TICKS = 56, NIBBLES = 8, NIBBLES_LEAST = 4 };

/* Seconds from one mid-reference instant to the `step`-th behind it. */
static double spacing_s(const plb_trace *t, size_t edge, size_t step) { return (t->edge[edge + step].at - t->edge[edge].at) / t->rate_hz; }

/* The shortest level that is not a rare spike: the tenth smallest share of all. */
static double shortest_s(const plb_trace *t) {
  double *all = plb_calloc(t->edges, sizeof *all);
  if (!all)
    return NAN;
  for (size_t e = 0; e + 1 < t->edges; e++)
    all[e] = spacing_s(t, e, 1);
  const double shortest = plb_quantile(all, t->edges - 1, 0.05);
  free(all);
  return shortest;
}

/* Least squares over the spacings between edges of one direction, which a slow edge on one side does not change. */
static double refined_s(const plb_trace *t, double bit_s) {
  double whole = 0, length = 0;
  for (size_t e = 0; e + 2 < t->edges; e++) {
    const double s = spacing_s(t, e, 2), bits = round(s / bit_s);
    if (bits >= 2 && bits <= 2 * BITS_MOST && fabs(s / bit_s - bits) < 0.3) {
      whole += bits * bits;
      length += bits * s;
    }
  }
  return whole > 0 ? length / whole : (double)NAN;
}

/*
 * The unit of which every level lasts a whole number. It is told only where levels of one, two and a third length are there: a pulse train of
 * two lengths has no bits.
 */
double plb_read_bit_time(const plb_trace *t) {
  bool seen[BITS_MOST + 1] = {false};
  if (t->edges < EDGES_LEAST)
    return NAN;
  double bit_s = shortest_s(t);
  for (int pass = 0; pass < 3; pass++)
    bit_s = refined_s(t, bit_s);
  if (!(bit_s * t->rate_hz >= 3))
    return NAN; /* too few samples in a bit */
  size_t fits = 0, tried = 0, lengths = 0;
  for (size_t e = 0; e + 1 < t->edges; e++) {
    const double s = spacing_s(t, e, 1) / bit_s, bits = round(s);
    if (s > BITS_MOST + 0.5)
      continue; /* rest between frames */
    tried++;
    const bool whole = bits >= 1 && fabs(s - bits) < 0.3;
    fits += whole;
    if (whole && !seen[(int)bits]) {
      seen[(int)bits] = true;
      lengths++;
    }
  }
  return lengths >= 3 && seen[1] && seen[2] && (double)fits >= 0.95 * (double)tried ? bit_s : (double)NAN;
}

/* The tick if a calibration pulse of 56 begins at this falling edge and nibbles of 12 to 27 follow; NaN: none. SAE J2716 (2nd-hand). */
static double tick_at_s(const plb_trace *t, size_t edge) {
  const double tick_s = spacing_s(t, edge, 2) / SYNC_TICKS;
  size_t nibbles = 0;
  for (size_t e = edge + 2; e + 2 < t->edges && nibbles < NIBBLES; e += 2, nibbles++) {
    const double ticks = spacing_s(t, e, 2) / tick_s;
    if (!(ticks > 11.5 && ticks < 27.5 && fabs(ticks - round(ticks)) < 0.25))
      break;
  }
  return nibbles >= NIBBLES_LEAST ? tick_s : (double)NAN;
}

double plb_read_sent_tick(const plb_trace *t) {
  double *tick_s = plb_calloc(t->edges + 1, sizeof *tick_s);
  size_t count = 0;
  for (size_t e = 0; tick_s && e + 2 < t->edges; e++) {
    if (t->edge[e].direction > 0)
      continue;
    tick_s[count] = tick_at_s(t, e);
    count += isfinite(tick_s[count]) != 0;
  }
  const double tick = count > 0 ? plb_median(tick_s, count) : (double)NAN;
  free(tick_s);
  return tick;
}
