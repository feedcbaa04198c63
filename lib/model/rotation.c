#include "model/rotation.h"
#include "model/physics.h"

plb_rotation plb_rotation_crank(plb_draw *draw, int cylinders, bool cranking) {
  plb_rotation r = {.per_s = draw->speed_per_min / 60.0, .dips_per_turn = cylinders / 2, .cylinders = cylinders};
  r.drift = 0.012 * plb_normal(draw);
  /* the energy of a stroke stays, the kinetic energy grows with the square of the speed; common practice: some
   * 3 % at idle, 30 % when cranked */
  const double idle = 0.035 * (800.0 / draw->speed_per_min) * (800.0 / draw->speed_per_min) * 4.0 / cylinders;
  r.ripple = plb_part(draw, cranking ? 0.30 : fmin(0.06, idle), 0.12);
  for (int k = 0; k < cylinders && k < 8; k++)
    /* cylinders differ by some per cent: common practice */
    r.dip[k] = plb_part(draw, 1.0, cranking ? 0.025 : 0.06);
  r.uneven = cranking ? 0.02 : 0.10;
  r.hunting = cranking ? 0.0 : 0.006;
  r.hunting_hz = plb_between(draw, 0.6, 1.4);
  r.start_turns = 2.0 * plb_random_uniform(&draw->part);
  r.seed = plb_random_next(&draw->part);
  return r;
}

plb_rotation plb_rotation_even(plb_draw *draw, double per_s, double share) {
  plb_rotation r = {.per_s = per_s, .drift = share * plb_normal(draw)};
  r.start_turns = plb_random_uniform(&draw->part);
  return r;
}

void plb_rotate(const plb_rotation *rotation, double rate_hz, size_t n, double *turns) {
  plb_random chance;
  plb_random_seed(&chance, rotation->seed);
  double at = rotation->start_turns;
  const double per_sample = rotation->per_s / rate_hz;
  const double swing = rotation->hunting_hz / rate_hz * plb_two_pi;
  const double dips = rotation->dips_per_turn;
  long stroke = -1;
  double depth = 0.0;
  for (size_t i = 0; i < n; i++) {
    turns[i] = at;
    double share = 1.0 + rotation->drift * ((double)i / (double)n - 0.5);
    if (rotation->hunting > 0.0)
      share += rotation->hunting * sin(swing * (double)i);
    if (rotation->dips_per_turn > 0) {
      const long now = (long)(at * dips);
      if (now != stroke) {
        stroke = now;
        const double spread = fmax(-2.5, fmin(2.5, plb_random_normal(&chance)));
        depth = rotation->ripple * rotation->dip[now % rotation->cylinders] * (1.0 + rotation->uneven * spread);
      }
      share += depth * (0.5 - 0.5 * cos(plb_two_pi * (at * dips - (double)now))) - 0.5 * rotation->ripple;
    }
    at += per_sample * share;
  }
}
