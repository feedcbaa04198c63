/* One known-good, several threads: each judges its own captures, and each must come to the answer of a single thread. */
#include <plumbline/plumbline.h>

#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

enum { THREADS = 4 };

typedef struct work {
  const plb_reference *reference;
  char path[PLB_PATH_SIZE];
  char *json;
} work;

static void demo_path(char *out, const char *name) {
  const char *folder = getenv("PLB_DEMO");
  assert_non_null(folder);
  assert_true(snprintf(out, PLB_PATH_SIZE, "%s/%s", folder, name) < PLB_PATH_SIZE);
}

/* No asserts in here: cmocka must not be left from another thread. NULL is the failure. */
static char *judge(const plb_reference *reference, const char *path) {
  plb_capture *capture = NULL;
  plb_verdict *verdict = NULL;
  char *json = NULL;
  const plb_channel_map map = {"crank", 2, "", "V", 1};
  if (plb_capture_read(&capture, path, NULL, NULL) == PLB_OK && plb_capture_assign(capture, &map, 1, NULL) == PLB_OK &&
      plb_compare(&verdict, capture, reference, NULL, NULL) == PLB_OK &&
      plb_report_json(&json, verdict, NULL, NULL) != PLB_OK)
    json = NULL;
  plb_verdict_free(verdict);
  plb_capture_free(capture);
  return json;
}

static void *judge_in_thread(void *payload) {
  work *w = payload;
  w->json = judge(w->reference, w->path);
  return NULL;
}

static void test_threads__a_reference_is_shared(void **state) {
  (void)state;
  static const char *const names[THREADS] = {"van-7.csv", "van-8.csv", "van-1.csv", "van-8.csv"};
  char path[PLB_PATH_SIZE];
  plb_reference *reference = NULL;
  demo_path(path, "known-good.xml");
  assert_int_equal(plb_reference_read(&reference, path, NULL), PLB_OK);
  work works[THREADS];
  pthread_t threads[THREADS];
  for (int i = 0; i < THREADS; i++) {
    works[i] = (work){reference, "", NULL};
    demo_path(works[i].path, names[i]);
    assert_int_equal(pthread_create(&threads[i], NULL, judge_in_thread, &works[i]), 0);
  }
  for (int i = 0; i < THREADS; i++)
    assert_int_equal(pthread_join(threads[i], NULL), 0);
  for (int i = 0; i < THREADS; i++) {
    char *alone = judge(reference, works[i].path);
    assert_non_null(alone);
    assert_non_null(works[i].json);
    assert_string_equal(works[i].json, alone);
    free(alone);
    free(works[i].json);
  }
  plb_reference_free(reference);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_threads__a_reference_is_shared)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
