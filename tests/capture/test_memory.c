#include "capture_test.h"
#include <unistd.h>

/* Every allocation in turn fails: the call says so and leaves nothing behind (the sanitizers would see a leak). */

static long countdown = -1; /* allocations that still succeed; negative: all do */

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);

static bool fails(void) {
  if (countdown < 0)
    return false;
  if (countdown == 0)
    return true;
  countdown--;
  return false;
}

void *__wrap_malloc(size_t size) { return fails() ? NULL : __real_malloc(size); }
void *__wrap_calloc(size_t count, size_t size) { return fails() ? NULL : __real_calloc(count, size); }
void *__wrap_realloc(void *old, size_t size) { return fails() ? NULL : __real_realloc(old, size); }

/* Read, check, assign and write. @return the first failure */
static plb_status use(const char *path, plb_error *error) {
  plb_read_options options = PLB_READ_OPTIONS_INIT;
  plb_channel_map maps[2] = {{.role = "a", .column = 2, .factor = 1},
                             {.role = "b", .column = 2, .unit = "V", .factor = 2}};
  plb_capture *capture = NULL;
  plb_reason *reasons = NULL;
  size_t count = 0;
  plb_status status = plb_capture_read(&capture, path, &options, error);
  if (status == PLB_OK)
    status = plb_capture_check(capture, &reasons, &count, error);
  free(reasons);
  if (status == PLB_OK)
    status = plb_capture_assign(capture, maps, 2, error);
  if (status == PLB_OK) {
    char copy[] = "/tmp/plumbline-memory-XXXXXX";
    const int fd = mkstemp(copy);
    close(fd);
    status = plb_capture_write_text(capture, copy, error);
    remove(copy);
  }
  plb_capture_free(capture);
  return status;
}

static void check_file(const char *name) {
  char path[PLB_PATH_SIZE];
  snprintf(path, sizeof path, "%s/tests/data/good/captures/%s", PLB_SOURCE_DIR, name);
  long failures = 0;
  for (long n = 0; n < 2000; n++) {
    plb_error error = PLB_ERROR_INIT;
    countdown = n;
    const plb_status status = use(path, &error);
    const bool reached = countdown == 0;
    countdown = -1;
    if (status == PLB_OK && !reached)
      break;
    if (status != PLB_OK) {
      failures++;
      if (status != PLB_ENOMEM || !strstr(error.message, "memory"))
        fail_msg("%s, allocation %ld: status %d, %s", name, n, status, error.message);
    }
  }
  assert_true(failures > 5);
}

static void test_memory__every_allocation_may_fail(void **state) {
  (void)state;
  static const char *const names[] = {"comma.csv",
                                      "tab-preamble-cr.txt",
                                      "utf16.csv",
                                      "blanks-comments.txt",
                                      "interval-in-preamble.csv",
                                      "two-channels-16-bit.wav",
                                      "time-and-two-columns-big-endian.npy"};
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
    check_file(names[i]);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_memory__every_allocation_may_fail)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
