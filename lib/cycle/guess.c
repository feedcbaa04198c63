/*
 * What wheel may this be? Gaps are intervals of at least one and a half pitches; the teeth between them, and their length, give the wheel. Each
 * edge is tried; the one whose gaps agree best is believed.
 */
#include "cycle/teeth.h"

#include <math.h>
#include <string.h>

/* Wheels in wide use (common practice). A gap one tooth too long on a wheel of this size is more likely a damaged tooth. */
static const struct common_wheel {
  int teeth, missing;
} COMMON[] = {{60, 2}, {36, 1}, {36, 2}, {30, 1}, {30, 2}, {24, 1}, {24, 2}, {12, 1}, {12, 2}};
enum { COMMON_WHEELS = sizeof COMMON / sizeof COMMON[0], GAP_MOST = 8 };

typedef struct gaps {
  size_t count;
  size_t spacing[PLB_TEETH_MOST + 1]; /* how often so many crossings lie from gap to gap */
  size_t length[GAP_MOST + 2];        /* how often a gap measures so many pitches */
  double off;                         /* sum of deviations from whole pitches */
  size_t plain;                       /* intervals of one pitch */
  double first_at, last_at;           /* ends of the first and last gap [samples] */
} gaps;

static void count_gaps(const plb_teeth *t, gaps *g) {
  size_t last = t->count;
  *g = (gaps){0};
  for (size_t i = 1; i < t->count; i++) {
    const double ratio = (t->at[i] - t->at[i - 1]) / t->pitch[i - 1];
    if (ratio < 1.5) {
      g->plain += fabs(ratio - 1.0) < 0.25;
      continue;
    }
    const double whole = floor(ratio + 0.5);
    if (whole <= GAP_MOST + 1)
      g->length[(size_t)whole]++;
    g->off += fabs(ratio - whole);
    if (last < t->count && i - last <= PLB_TEETH_MOST)
      g->spacing[i - last]++;
    g->first_at = g->count ? g->first_at : t->at[i];
    g->last_at = t->at[i];
    g->count++;
    last = i;
  }
}

static size_t most_frequent(const size_t *list, size_t count, size_t *sum) {
  size_t best = 0;
  *sum = 0;
  for (size_t k = 0; k < count; k++) {
    *sum += list[k];
    best = list[k] > list[best] ? k : best;
  }
  return best;
}

static double as_common(int *teeth, int *missing) {
  for (size_t k = 0; k < COMMON_WHEELS; k++)
    if (COMMON[k].teeth == *teeth && COMMON[k].missing == *missing)
      return 1.0;
  for (size_t k = 0; k < COMMON_WHEELS; k++)
    if (COMMON[k].teeth == *teeth && COMMON[k].missing == *missing - 1) {
      *missing = COMMON[k].missing;
      return 0.7;
    }
  return 0.8;
}

static void judge(const plb_teeth *t, double rate_hz, plb_wheel_guess *best) {
  gaps g;
  size_t spacings = 0, lengths = 0;
  count_gaps(t, &g);
  const size_t between = most_frequent(g.spacing, PLB_TEETH_MOST + 1, &spacings);
  const size_t length = most_frequent(g.length, GAP_MOST + 2, &lengths);
  if (spacings == 0 || length < 2)
    return;
  int missing = (int)length - 1, teeth = (int)between + missing;
  if (teeth < 3 || teeth > PLB_TEETH_MOST)
    return;
  const double agree = (double)g.spacing[between] / (double)spacings * (double)g.length[length] / (double)g.count;
  const double even = (double)g.plain / (double)(t->count - 1 - g.count + 1);
  const double whole = fmax(0.0, 1.0 - g.off / (double)g.count), seen = (double)spacings / ((double)spacings + 1.0);
  const bool all = g.spacing[between] == spacings;
  const double turn = all ? (g.last_at - g.first_at) / (double)spacings : t->median_pitch * teeth;
  const double confidence = as_common(&teeth, &missing) * agree * fmin(1.0, even) * whole * seen;
  if (confidence > best->confidence)
    *best = (plb_wheel_guess){
        .teeth = teeth, .missing = missing, .per_min = 60.0 * rate_hz / turn, .confidence = confidence};
}

plb_status plb_wheel_guess_from(const double *x, size_t n, double rate_hz, plb_wheel_guess *out, plb_error *err) {
  plb_swing swing;
  bool found = false;
  double low, high;
  *out = (plb_wheel_guess){0};
  plb_status status = plb_swing_of(x, n, &swing, &found, err);
  if (status != PLB_OK || !found)
    return status;
  plb_swing_levels(&swing, &low, &high);
  for (int edge = -1; edge <= 1 && status == PLB_OK; edge += 2) {
    plb_teeth teeth;
    status = plb_teeth_cross(&teeth, x, n, low, high, edge, PLB_TEETH_MOST, 1, err);
    if (status == PLB_OK && teeth.count >= 8)
      judge(&teeth, rate_hz, out);
    if (status == PLB_OK)
      plb_teeth_dispose(&teeth);
  }
  return status;
}
