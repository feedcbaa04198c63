/** @file  Signals whose truth is known, for the tests of cycles. Everything is seeded: a test always sees the same numbers. */
#ifndef PLB_TESTS_CYCLE_TEST_H
#define PLB_TESTS_CYCLE_TEST_H
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "cycle/cycle.h"

/** Tracks of zeros; roles are "a", "b" ... until named. */
plb_tracks *new_tracks(size_t channels, size_t samples, double rate_hz);
void name_track(plb_tracks *tracks, size_t channel, const char *role);
plb_tracks *copy_tracks(const plb_tracks *tracks);
void add_noise(plb_tracks *tracks, size_t channel, double sd, uint64_t seed);
void scale_track(plb_tracks *tracks, size_t channel, double gain, double offset);

/** One fault of a modelled wheel. */
typedef struct wheel_fault {
  int turn, tooth; /* tooth from 1; positions in the gap go on from there */
  double height;   /* 0: no tooth there; 1 on a gap position: one too many */
} wheel_fault;

/**
 * A modelled clamped inductive wheel: every tooth a flat-topped pulse of half a pitch that begins at its position, -0.8 V to 4.5 V; the pulse before
 * the gap is longer, as the real sensor's is, so that only the rising edge shows the gap whole.
 */
typedef struct wheel_model {
  int teeth, missing;
  double rate_hz;
  size_t samples;
  double turns_per_s, acceleration; /* turns per s and per s^2 */
  double ripple;                    /* share of the speed, twice a turn */
  double stroke_ripple;             /* share of the speed, once in two turns */
  double start;                     /* turns at the first sample */
  const wheel_fault *fault;
  size_t faults;
  bool pressure; /* a second channel: a hump once in two turns, another a quarter as high in the turn between */
} wheel_model;
extern const wheel_model WHEEL_60_2;

plb_tracks *model_wheel(const wheel_model *model);
/** Turns at a time, and the sample at which so many turns are reached. */
double wheel_turns_at(const wheel_model *model, double sample);
double wheel_sample_at(const wheel_model *model, double turns);

/** Parse, choose from these captures and fail the test with the library's message when it cannot. */
void choose_from(plb_cycle_choice *out, plb_tracks *const *tracks, size_t count, const char *spec, size_t grid);
plb_frame *build(const plb_tracks *tracks, const plb_cycle_choice *choice);

/** Where the real captures lie, NULL (and a printed reason) when they are not there. */
const char *real_data(void);
#endif
