/*
 * Two channels guessed together. A bus of two wires shows itself only so: at rest both stand at one level, driven they part by as
 * much, one up and one down. Neither wire alone says more than "pulses".
 */
#include "report/facts.h"
#include "signal/level.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Mirrored: correlation beyond this; ringing and noise of good captures leave it above 0.9 in size. */
static const double mirrored = -0.85;
/* Of the larger swing: by how much swings may differ, and the levels at rest lie apart. Common practice. */
static const double alike = 0.35;
static const double least_v = 0.3, most_v = 3.0, rest_low_v = 1.5, rest_high_v = 3.5; /* of high-speed CAN, with room */

static double correlation(const double *x, const double *y, size_t n) {
  double mx = 0, my = 0, xx = 0, yy = 0, xy = 0;
  for (size_t i = 0; i < n; i++) {
    mx += x[i] / (double)n;
    my += y[i] / (double)n;
  }
  for (size_t i = 0; i < n; i++) {
    xx += (x[i] - mx) * (x[i] - mx);
    yy += (y[i] - my) * (y[i] - my);
    xy += (x[i] - mx) * (y[i] - my);
  }
  return xx > 0 && yy > 0 ? xy / sqrt(xx * yy) : 0;
}

/* The upper wire rests where the lower one does, and both part by about as much. */
static bool parts_like_a_pair(const plb_states *upper, const plb_states *lower) {
  const double up = upper->high - upper->low, down = lower->high - lower->low, more = fmax(up, down);
  return upper->two && lower->two && fabs(up - down) < alike * more && fabs(upper->low - lower->high) < alike * more && more > least_v &&
         more < most_v && upper->low > rest_low_v && upper->low < rest_high_v;
}

static void name_pair(plb_guess *upper, plb_guess *lower, const plb_states *u, const plb_states *l) {
  char rest[PLB_SAY_SIZE], apart[PLB_SAY_SIZE];
  plb_say_quantity(0.5 * (u->low + l->high), "V", 2, rest);
  plb_say_quantity(u->high - l->low, "V", 2, apart);
  plb_text_print(upper->what, sizeof upper->what, "mirrors %.40s: both rest at about %.20s and part by %.20s, as CAN high of a pair does",
                 lower->channel, rest, apart);
  plb_text_print(lower->what, sizeof lower->what, "mirrors %.40s: both rest at about %.20s and part by %.20s, as CAN low of a pair does",
                 upper->channel, rest, apart);
  for (int k = 0; k < 2; k++) {
    plb_guess *g = k == 0 ? upper : lower;
    plb_text_copy(g->type, sizeof g->type, "can-pair");
    plb_text_print(g->cycle, sizeof g->cycle, "edge:level=50%%states,slope=rising,channel=%.60s", upper->channel);
    g->confidence = 0.8; /* in the author's judgement, like the other guesses */
  }
}

static bool may_be_a_wire(const plb_guess *g, const plb_capture *capture, size_t channel) {
  const char *unit = plb_capture_unit(capture, channel);
  return g->type[0] == '\0' && strncmp(g->cycle, "edge:", 5) == 0 && (strcmp(unit, "V") == 0 || strcmp(unit, "1") == 0);
}

static plb_status try_pair(plb_guess *guess, const plb_capture *capture, size_t a, size_t b, plb_error *err) {
  const size_t n = plb_capture_samples(capture);
  double *x = plb_capture_copy_values(capture, a), *y = plb_capture_copy_values(capture, b);
  plb_states in_x = {0}, in_y = {0};
  plb_status status = x && y ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory to guess; give a shorter capture");
  if (status == PLB_OK && correlation(x, y, n) < mirrored) {
    status = plb_state_levels(x, n, 0, &in_x, err);
    status = status == PLB_OK ? plb_state_levels(y, n, 0, &in_y, err) : status;
  }
  if (status == PLB_OK && parts_like_a_pair(&in_x, &in_y))
    name_pair(&guess[a], &guess[b], &in_x, &in_y);
  else if (status == PLB_OK && parts_like_a_pair(&in_y, &in_x))
    name_pair(&guess[b], &guess[a], &in_y, &in_x);
  free(x);
  free(y);
  return status;
}

plb_status plb_guess_pairs(plb_guess *guess, const plb_capture *capture, plb_error *err) {
  const size_t channels = plb_capture_channels(capture);
  plb_status status = PLB_OK;
  for (size_t a = 0; a < channels; a++)
    for (size_t b = a + 1; b < channels && status == PLB_OK; b++)
      if (may_be_a_wire(&guess[a], capture, a) && may_be_a_wire(&guess[b], capture, b))
        status = try_pair(guess, capture, a, b, err);
  return status;
}
