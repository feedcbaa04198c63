#include "compare/judge.h"
#include <math.h>
#include <string.h>

static const double drawn_widths = 3.0; /* half-widths h drawn on each side of the centre */

/* Spread of a mark's phase over the good captures; between marks by straight lines, beyond the outer ones as there. */
void plb_timing_jitter(const plb_fit *fit, const plb_plan *plan, float *out) {
  const size_t first = plb_profile_first_mark(plan->choice), grid = fit->grid;
  memset(out, 0, grid * sizeof *out);
  for (size_t g = 0, next = 0; fit->landmarks > 0 && g < grid; g++) {
    const double phase = ((double)g + 0.5) / (double)grid;
    while (next < fit->landmarks && plan->choice->landmark[next].phase < phase) {
      next++;
    }
    const size_t after = next < fit->landmarks ? next : fit->landmarks - 1, before = next > 0 ? next - 1 : 0;
    const double from = plan->choice->landmark[before].phase, to = plan->choice->landmark[after].phase;
    const double share = to > from ? fmin(fmax((phase - from) / (to - from), 0.0), 1.0) : 0.0;
    const double a = sqrt(fit->reading_var[first + before]), b = sqrt(fit->reading_var[first + after]);
    out[g] = (float)(a + share * (b - a));
  }
}

/* The frame lays the marks over each other, so their jitter is no part of the range's width: it is kept and drawn beside it. */
void plb_corridor_limits(const plb_fit *fit, size_t channel, float *centre, float *lower, float *upper) {
  const plb_fit_channel *ch = &fit->channel[channel];
  const float widths = (float)drawn_widths;
  for (size_t g = 0; g < fit->grid; g++) {
    centre[g] = ch->centre[g];
    lower[g] = ch->centre[g] - widths * ch->half[g];
    upper[g] = ch->centre[g] + widths * ch->half[g];
  }
}
