#ifndef PLB_TESTS_LEARN_ENGINE_H
#define PLB_TESTS_LEARN_ENGINE_H
/** @file  The real engine captures: found by PLUMBLINE_TEST_DATA, else ../shared/data beside the source root. */
#include "capture/capture.h"
#include <plumbline/compare.h>
#include <plumbline/learn.h>

/** "" when they are not there. */
const char *engine_folder(void);
/** Read "setup-one/none-1.txt" with --channel `map` ("crank=2:V"); fails the test otherwise. */
plb_capture *engine_read(const char *name, const char *map);
/** A copy of a capture's first channel with its samples changed. */
plb_capture *engine_changed(const plb_capture *capture, void (*change)(double *x, size_t n, double rate_hz, void *payload), void *payload);
/** Learn crank-inductive from captures; fails the test otherwise. */
plb_reference *engine_learn(plb_capture *const *good, size_t count, plb_learned **learned_out);
plb_verdict *engine_compare(const plb_capture *capture, const plb_reference *reference);
#endif
