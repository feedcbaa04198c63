/* A channel that stands early or late as a whole against the one that gives the cycle: a shifted relation, one fault and not many. */
#include "compare/explain.h"
#include <math.h>

enum { REACH_SHARE = 6 }; /* looked for over a sixth of the cycle to either side */

static double apart(const float *curve, const float *centre, size_t grid, size_t shift) {
  double sum = 0.0;
  for (size_t g = 0, k = (grid - shift) % grid; g < grid; g++, k = k + 1 < grid ? k + 1 : 0) {
    const double d = (double)curve[g] - (double)centre[k];
    sum += d * d;
  }
  return sum;
}

plb_moved plb_channel_moved(const plb_judge *judge, const plb_outcome *o, size_t channel) {
  const plb_reference *ref = judge->reference;
  const size_t grid = judge->fit->grid, reach = grid / REACH_SHARE;
  plb_moved moved = {false, NAN, NAN};
  const plb_cycle_kind kind = ref->choice.spec.kind;
  if (channel == ref->choice.channel || o->profile == NULL || kind == PLB_CYCLE_ONCE || o->profile->frame->unordered ||
      reach < 3) {
    return moved;
  }
  const float *curve = plb_profile_curve(o->profile, channel), *centre = judge->fit->channel[channel].centre;
  const double before = apart(curve, centre, grid, 0);
  double best = before, left = NAN, right = NAN;
  ptrdiff_t at = 0;
  for (ptrdiff_t s = -(ptrdiff_t)reach; s <= (ptrdiff_t)reach; s++) {
    const double d = apart(curve, centre, grid, (size_t)(s + (ptrdiff_t)grid) % grid);
    if (d < best) {
      best = d;
      at = s;
    }
  }
  if (at == 0 || !(best < 0.3 * before) || at == (ptrdiff_t)reach || at == -(ptrdiff_t)reach) {
    return moved;
  }
  left = apart(curve, centre, grid, (size_t)(at - 1 + (ptrdiff_t)grid) % grid);
  right = apart(curve, centre, grid, (size_t)(at + 1 + (ptrdiff_t)grid) % grid);
  double height;
  moved.found = true;
  moved.share = ((double)at + plb_parabola_peak(-left, -best, -right, &height)) / (double)grid;
  moved.degrees = plb_degrees_at(ref, moved.share);
  return moved;
}
