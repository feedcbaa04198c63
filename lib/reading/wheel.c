/*
 * The teeth of a wheel from its transitions of one direction. The gap is where a stretch is longer than its neighbours by
 * more than half the missing teeth: a ratio of neighbours holds at any speed, and acceleration changes it little.
 */
#include "reading/reading.h"

#include <math.h>

static double length_of(const plb_tooth *t) { return t->to - t->from; }

/* Against the geometric mean of both neighbours, so that a steady acceleration cancels. */
static double ratio_at(const plb_tooth *t, size_t count, size_t i) {
  const double before = i > 0 ? length_of(&t[i - 1]) : length_of(&t[i + 1]);
  const double behind = i + 1 < count ? length_of(&t[i + 1]) : before;
  return length_of(&t[i]) / sqrt(before * behind);
}

static size_t take_stretches(plb_tooth *out, const plb_trace *t, int direction) {
  size_t count = 0;
  for (size_t e = 0; e + 2 < t->edges; e++)
    if (t->edge[e].direction == direction)
      out[count++] = (plb_tooth){.from = t->edge[e].at, .to = t->edge[e + 2].at};
  return count;
}

static size_t mark_gaps(plb_tooth *t, size_t count, int teeth, int missing) {
  size_t gaps = 0;
  for (size_t i = 0; i < count; i++) {
    t[i].gap = missing > 0 && count > 2 && ratio_at(t, count, i) > 1 + 0.5 * missing;
    t[i].turns = (t[i].gap ? missing + 1 : 1) / (double)teeth;
    gaps += t[i].gap;
  }
  return gaps;
}

/* How far the gaps are from as long as the missing teeth make them. Of an inductive sensor one of the two crossings of a
 * tooth lies in its middle; the other lies between two teeth, and beside the gap it is displaced. */
static double gap_error(const plb_tooth *t, size_t count, int missing) {
  double sum = 0;
  size_t gaps = 0;
  for (size_t i = 1; i + 1 < count; i++)
    if (t[i].gap) {
      sum += fabs(log(ratio_at(t, count, i) / (missing + 1)));
      gaps++;
    }
  return gaps > 0 ? sum / (double)gaps : INFINITY;
}

/* Falling or rising: the one whose gaps fit. */
static int better_direction(plb_tooth *room, const plb_trace *t, int teeth, int missing) {
  double error[2];
  for (int k = 0; k < 2; k++) {
    const size_t count = take_stretches(room, t, k ? -t->start : t->start);
    mark_gaps(room, count, teeth, missing);
    error[k] = gap_error(room, count, missing);
  }
  return error[1] < error[0] ? -t->start : t->start;
}

/* Turns in which more or fewer teeth passed than the wheel has. */
static size_t count_odd(const plb_tooth *t, size_t count, size_t per_turn) {
  size_t odd = 0, last = count;
  for (size_t i = 0; i < count; i++)
    if (t[i].gap) {
      odd += last < count && i - last != per_turn;
      last = i;
    }
  return odd;
}

plb_status plb_wheel_teeth(plb_tooth **out, size_t *count_out, size_t *odd_out, const plb_trace *trace, int teeth,
                           int missing, plb_error *err) {
  *out = NULL;
  *count_out = *odd_out = 0;
  plb_tooth *t = plb_calloc(trace->edges / 2 + 1, sizeof *t);
  if (!t)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu teeth; read a part with --from and --to", trace->edges / 2);
  const int direction = better_direction(t, trace, teeth, missing);
  const size_t count = take_stretches(t, trace, direction), gaps = mark_gaps(t, count, teeth, missing);
  if (count < 3 || (missing > 0 && gaps == 0)) {
    free(t);
    return plb_fail(err, PLB_EDATA, count < 3 ? "fewer than four teeth; take a longer capture, or name another channel"
                                              : "no gap of missing teeth is seen; check --cycle, or take a longer capture");
  }
  *odd_out = missing > 0 ? count_odd(t, count, (size_t)(teeth - missing)) : 0;
  *count_out = count;
  *out = t;
  return PLB_OK;
}
