#ifndef PLB_TESTS_SIGNAL_TEST_H
#define PLB_TESTS_SIGNAL_TEST_H
/** @file  What the tests of this folder share: cmocka with what it needs before it, and comparisons that print both
 * numbers. */
#include "core/random.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/** Fails unless |got - expected| <= tolerance; NaN never passes. `what` names the number. */
static inline void assert_near(double got, double expected, double tolerance, const char *what) {
  if (!(fabs(got - expected) <= tolerance))
    fail_msg("%s: %.17g, expected %.17g within %.3g", what, got, expected, tolerance);
}

/** The same with a tolerance relative to `expected`. */
static inline void assert_close(double got, double expected, double relative, const char *what) {
  assert_near(got, expected, relative * fabs(expected), what);
}

/** malloc that a test may rely on. */
static inline void *must_alloc(size_t count, size_t size) {
  void *p = calloc(count ? count : 1, size);
  if (!p)
    abort();
  return p;
}

static inline void fill_normal(double *x, size_t n, double mean, double sd, uint64_t seed) {
  plb_random r;
  plb_random_seed(&r, seed);
  for (size_t i = 0; i < n; i++)
    x[i] = mean + sd * plb_random_normal(&r);
}

static inline void fill_normal_f(float *x, size_t n, double mean, double sd, uint64_t seed) {
  plb_random r;
  plb_random_seed(&r, seed);
  for (size_t i = 0; i < n; i++)
    x[i] = (float)(mean + sd * plb_random_normal(&r));
}

#endif
