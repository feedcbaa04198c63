#ifndef TESTS_PEER_FOUR_POINTS_H
#define TESTS_PEER_FOUR_POINTS_H
/**
 * A modelled Hall sensor seen at four points: its supply pin, its ground pin, its signal pin, and the signal pin of the control unit, all
 * against the battery's negative post. Parameter values are common practice or from memory.
 */
#include "capture/capture.h"
#include "core/core.h"

typedef enum four_fault {
  FOUR_GOOD,
  FOUR_WIRE_OPENS,         /* the signal wire opens now and then */
  FOUR_WIRE_RESISTS,       /* a joint of some hundred ohms in the signal wire */
  FOUR_SUPPLY_DROPS,       /* the supply's contact opens now and then */
  FOUR_SUPPLY_RESISTS,     /* a bad joint in the supply: low whenever current flows */
  FOUR_GROUND_RESISTS,     /* a bad ground joint that other users share */
  FOUR_GROUND_OPENS,       /* the ground lifts now and then */
  FOUR_SENSOR_SKIPS,       /* the sensor itself misses pulses */
  FOUR_SCOPE_GROUND,       /* the scope's own ground clip jumps */
  FOUR_FAULTS
} four_fault;

/** Channels component, control-unit, supply, ground; half a second at 50 kS/s. */
plb_capture *four_points_draw(four_fault fault, uint64_t seed);

#endif
