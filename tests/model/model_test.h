#ifndef PLB_TESTS_MODEL_TEST_H
#define PLB_TESTS_MODEL_TEST_H
/** @file  What the tests of this folder share. */
#include "model/model.h"
#include "tests/core/cmocka_all.h"
#include <math.h>
#include <string.h>

/** Fails unless |got - expected| <= tolerance; NaN never passes. */
static inline void assert_near(double got, double expected, double tolerance, const char *what) {
  if (!(fabs(got - expected) <= tolerance))
    fail_msg("%s: %.12g, expected %.12g within %.3g", what, got, expected, tolerance);
}

/** A drawn capture; the test fails where it cannot be drawn. */
static inline plb_capture *must_draw(const char *family, uint64_t seed, const char *fault, double severity) {
  const plb_model_family *f = plb_model_find(family);
  if (!f)
    fail_msg("no family %s", family);
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = seed;
  request.fault = fault;
  request.severity = severity;
  plb_error err = PLB_ERROR_INIT;
  plb_capture *capture = NULL;
  if (plb_model_draw(&capture, f, &request, NULL, &err))
    fail_msg("%s, %s: %s", family, fault ? fault : "good", err.message);
  return capture;
}

static inline double *must_copy(const plb_capture *capture, size_t channel) {
  double *x = plb_capture_copy_values(capture, channel);
  assert_non_null(x);
  return x;
}
#endif
