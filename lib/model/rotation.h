#ifndef PLB_MODEL_ROTATION_H
#define PLB_MODEL_ROTATION_H
/** @file  How a shaft turns: mean speed, drift, the push of each cylinder, compressions while cranking. */
#include "model/draw.h"

typedef struct plb_rotation {
  double per_s;               /**< mean speed, revolutions a second */
  double drift;               /**< share by which the speed changes over the capture */
  double ripple;              /**< peak-to-peak share by which it dips at each compression */
  int dips_per_turn;          /**< 0: none; four cylinders 2 */
  int cylinders;              /**< different dips before they repeat, at most 8 */
  double dip[8];              /**< relative depth of each cylinder's dip, about 1 */
  double uneven;              /**< relative spread of one dip from cycle to cycle */
  double hunting, hunting_hz; /**< slow swing of speed */
  double start_turns;         /**< where the shaft stands at the first sample */
  uint64_t seed;              /**< of the spread from cycle to cycle */
} plb_rotation;

/** A crank at draw->speed_per_min with the population's spread: at idle or above, or being cranked. */
plb_rotation plb_rotation_crank(plb_draw *draw, int cylinders, bool cranking);
/** A shaft that turns evenly: wheel, pump, fan; within `share` over the capture. */
plb_rotation plb_rotation_even(plb_draw *draw, double per_s, double share);

/** turns[i] at sample i, [size: n]; the derivative is continuous. */
void plb_rotate(const plb_rotation *rotation, double rate_hz, size_t n, double *turns);
#endif
