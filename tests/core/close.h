#ifndef PLB_TESTS_CORE_CLOSE_H
#define PLB_TESTS_CORE_CLOSE_H
/** @file  Compare doubles as doubles: cmocka's own check takes floats. */
#include "tests/core/cmocka_all.h"
#include <math.h>

static inline void assert_close(double seen, double expected, double tolerance) {
  if (!(fabs(seen - expected) <= tolerance)) {
    fail_msg("%.17g is not %.17g within %g", seen, expected, tolerance);
  }
}
#endif
