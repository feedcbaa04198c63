/* Memory that runs out at any allocation: reading and writing fail with that reason, and leave nothing behind. */
#include "filled.h"
#include "reference/capture_document.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The linker sends the library's own allocations here (--wrap); those inside other libraries are not touched. */
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);

static long left = -1; /* allocations that still succeed; below 0: all */

static bool fails(void) {
  if (left > 0)
    left--;
  return left == 0;
}

void *__wrap_malloc(size_t size) { return fails() ? NULL : __real_malloc(size); }
void *__wrap_calloc(size_t count, size_t size) { return fails() ? NULL : __real_calloc(count, size); }
void *__wrap_realloc(void *old, size_t size) { return fails() ? NULL : __real_realloc(old, size); }

typedef plb_status (*task)(const plb_buffer *reference, const plb_buffer *capture, plb_error *err);

static plb_status read_reference(const plb_buffer *reference, const plb_buffer *capture, plb_error *err) {
  (void)capture;
  plb_reference *r = NULL;
  const plb_status status = plb_reference_read_memory(&r, reference->data, reference->size, "x", err);
  assert_int_equal(r == NULL, status != PLB_OK);
  plb_reference_free(r);
  return status;
}

static plb_status read_capture(const plb_buffer *reference, const plb_buffer *capture, plb_error *err) {
  (void)reference;
  plb_capture *c = NULL;
  plb_capture_about about = {.conditions = 0};
  const plb_status status = plb_capture_read_about(&c, &about, capture->data, capture->size, "x", err);
  assert_int_equal(c == NULL, status != PLB_OK);
  plb_capture_about_dispose(&about);
  plb_capture_free(c);
  return status;
}

static plb_status copy_reference(const plb_buffer *reference, const plb_buffer *capture, plb_error *err) {
  (void)capture;
  plb_reference *r = NULL;
  plb_buffer out;
  plb_buffer_init(&out, SIZE_MAX);
  plb_status status = plb_reference_read_memory(&r, reference->data, reference->size, "x", err);
  if (status == PLB_OK)
    status = plb_reference_write_buffer(r, &out, err);
  plb_buffer_dispose(&out);
  plb_reference_free(r);
  return status;
}

static plb_status copy_capture(const plb_buffer *reference, const plb_buffer *capture, plb_error *err) {
  (void)reference;
  plb_capture *c = NULL;
  plb_buffer out;
  plb_buffer_init(&out, SIZE_MAX);
  plb_status status = plb_capture_read_document(&c, capture->data, capture->size, "x", err);
  if (status == PLB_OK)
    status = plb_capture_write_buffer(c, NULL, &out, NULL, err);
  plb_buffer_dispose(&out);
  plb_capture_free(c);
  return status;
}

/* A note of a capture that finds no memory may be done without: then there is success before the last allocation. */
static void run_dry(const char *name, task run, const plb_buffer *reference, const plb_buffer *capture) {
  long failures = 0;
  for (long n = 1; n < 100000; n++) {
    plb_error err = PLB_ERROR_INIT;
    left = n;
    const plb_status status = run(reference, capture, &err);
    const bool reached = left == 0;
    left = -1;
    if (status != PLB_OK && status != PLB_ENOMEM)
      fail_msg("%s, allocation %ld: status %d, %s", name, n, status, err.message);
    failures += status == PLB_ENOMEM;
    if (!reached) {
      print_message("%s: %ld allocations, %ld of them needed\n", name, n - 1, failures);
      assert_int_equal(status, PLB_OK);
      assert_true(failures > 10);
      return;
    }
  }
  fail_msg("%s: no end", name);
}

static void test_memory__runs_out_anywhere(void **state) {
  (void)state;
  plb_buffer reference, capture;
  plb_error err = PLB_ERROR_INIT;
  plb_buffer_init(&reference, SIZE_MAX);
  plb_buffer_init(&capture, SIZE_MAX);
  plb_reference *r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  assert_int_equal(plb_reference_write_buffer(r, &reference, &err), PLB_OK);
  plb_reference_free(r);
  plb_capture *c = plb_capture_new();
  c->samples = 300;
  c->rate_hz = 1000;
  for (int i = 0; i < 2; i++) {
    plb_channel *channel = plb_capture_add_channel(c);
    strcpy(channel->role, i ? "b" : "a");
    channel->samples = (plb_samples){.decimals = 2, .scale = 1};
    if (i == 0)
      channel->samples.code = plb_calloc(c->samples, sizeof(int32_t));
    else
      channel->samples.real = plb_calloc(c->samples, sizeof(double));
    for (size_t k = 0; k < c->samples; k++) {
      if (i == 0)
        channel->samples.code[k] = (int32_t)lround(100 * sin(0.1 * (double)k)) * 5;
      else
        channel->samples.real[k] = k % 70 ? round(1000 * cos(0.1 * (double)k)) / 8 : (double)NAN;
    }
  }
  assert_int_equal(plb_capture_write_buffer(c, NULL, &capture, NULL, &err), PLB_OK);
  plb_capture_free(c);
  run_dry("read a reference", read_reference, &reference, &capture);
  run_dry("read a capture", read_capture, &reference, &capture);
  run_dry("write a reference", copy_reference, &reference, &capture);
  run_dry("write a capture", copy_capture, &reference, &capture);
  plb_buffer_dispose(&reference);
  plb_buffer_dispose(&capture);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_memory__runs_out_anywhere)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
