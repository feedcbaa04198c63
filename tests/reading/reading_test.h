#ifndef PLB_TESTS_READING_TEST_H
#define PLB_TESTS_READING_TEST_H
/** @file  What the tests of this folder share: captures from a function of time, and one reading out of many. */
#include "reading/reading.h"
#include "tests/core/cmocka_all.h"

#include <math.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

/** Fails unless |got - expected| <= tolerance; NaN never passes. */
static inline void assert_near(double got, double expected, double tolerance, const char *what) {
  if (!(fabs(got - expected) <= tolerance))
    fail_msg("%s: %.12g, expected %.12g within %.3g", what, got, expected, tolerance);
}

/** A capture of one channel from samples. */
static inline plb_capture *capture_of(const double *x, size_t n, double rate_hz, const char *unit) {
  plb_error err = PLB_ERROR_INIT;
  plb_capture *capture = plb_capture_new();
  assert_non_null(capture);
  if (plb_capture_add_real(capture, "a", unit, x, n, &err) != PLB_OK)
    fail_msg("%s", err.message);
  capture->samples = n;
  capture->rate_hz = rate_hz;
  return capture;
}

static inline void add_channel(plb_capture *capture, const char *role, const char *unit, const double *x) {
  plb_error err = PLB_ERROR_INIT;
  if (plb_capture_add_real(capture, role, unit, x, capture->samples, &err) != PLB_OK)
    fail_msg("%s", err.message);
}

/** All readings of a capture, which is freed. */
static inline plb_readings *must_measure(plb_capture *capture, const plb_measure_options *options) {
  plb_error err = PLB_ERROR_INIT;
  plb_readings *readings = NULL;
  if (plb_measure(&readings, capture, options, &err) != PLB_OK)
    fail_msg("%s", err.message);
  plb_capture_free(capture);
  return readings;
}

/** The row of this channel, name and scope, NULL when it is not there. */
static inline const plb_reading *row_of(const plb_readings *r, const char *channel, const char *name, plb_scope scope) {
  for (size_t i = 0; i < r->count; i++)
    if (strcmp(r->reading[i].channel, channel) == 0 && strcmp(r->reading[i].name, name) == 0 &&
        r->reading[i].scope == scope)
      return &r->reading[i];
  return NULL;
}

/** Its value, NaN when it is not there. */
static inline double value_of(const plb_readings *r, const char *name) {
  const plb_reading *row = row_of(r, "a", name, PLB_SCOPE_CAPTURE);
  return row ? row->value : (double)NAN;
}

static inline double *room_for(size_t n) {
  double *x = calloc(n, sizeof *x);
  assert_non_null(x);
  return x;
}
#endif
