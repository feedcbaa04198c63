#ifndef PLB_TESTS_CAPTURE_TEST_H
#define PLB_TESTS_CAPTURE_TEST_H
/** @file  What the tests of captures share: reading from a string, comparing values bit for bit. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "capture/capture.h"
#include <stdio.h>
#include <string.h>

static inline plb_capture *read_bytes_at(const void *data, size_t size, double rate_hz) {
  plb_read_options options = PLB_READ_OPTIONS_INIT;
  options.rate_hz = rate_hz;
  plb_capture *capture = NULL;
  plb_error error = PLB_ERROR_INIT;
  if (plb_capture_read_memory(&capture, data, size, "test", &options, &error) != PLB_OK) {
    char text[1024];
    plb_error_format(&error, text, sizeof text);
    fail_msg("%s", text);
  }
  return capture;
}

/** @param rate_hz  0: the text has a time column */
static inline plb_capture *read_at(const char *text, double rate_hz) {
  return read_bytes_at(text, strlen(text), rate_hz);
}

/** The failure that reading gives; fails the test where there is none. */
static inline plb_error error_of_bytes(const void *data, size_t size, double rate_hz) {
  plb_read_options options = PLB_READ_OPTIONS_INIT;
  options.rate_hz = rate_hz;
  plb_capture *capture = NULL;
  plb_error error = PLB_ERROR_INIT;
  if (plb_capture_read_memory(&capture, data, size, "test", &options, &error) == PLB_OK)
    fail_msg("read without a failure: %.60s", (const char *)data);
  assert_null(capture);
  return error;
}

static inline plb_error error_of(const char *text, double rate_hz) {
  return error_of_bytes(text, strlen(text), rate_hz);
}

static inline void assert_same_bits(double got, double expected) {
  if (memcmp(&got, &expected, sizeof got) != 0)
    fail_msg("%a (%.17g), expected %a (%.17g)", got, got, expected, expected);
}

static inline void assert_values(const plb_capture *capture, size_t channel, const double *expected, size_t n) {
  assert_int_equal(capture->samples, n);
  double *got = plb_capture_copy_values(capture, channel);
  for (size_t i = 0; i < n; i++) {
    if (expected[i] != expected[i])
      assert_true(got[i] != got[i]);
    else
      assert_same_bits(got[i], expected[i]);
  }
  free(got);
}

static inline bool has_note(const plb_capture *capture, const char *text) {
  for (size_t i = 0; i < plb_capture_notes(capture); i++)
    if (strstr(plb_capture_note(capture, i), text))
      return true;
  return false;
}

#endif
