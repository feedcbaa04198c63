/*
 * Real cylinder pressure, learned with no load: half and full load are told from it in every capture. The transducer's
 * offset drifts from file to file, and the crank sensors of the two set-ups differ, so each set-up is judged by itself.
 */
#include "tests/core/cmocka_all.h"
#include "tests/learn/engine.h"
#include <stdio.h>
#include <string.h>

enum { NONE_MOST = 5 };

static plb_reference *learn_at_no_load(const char *folder, size_t count) {
  plb_capture *capture[NONE_MOST];
  plb_good good[NONE_MOST] = {{0}};
  plb_stated stated;
  plb_error err = PLB_ERROR_INIT;
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  plb_reference *reference = NULL;
  assert_int_equal(plb_stated_parse("load=none", &stated, &err), PLB_OK);
  assert_int_equal(plb_cycle_spec_parse("repeat", &o.cycle, &err), PLB_OK);
  o.type = "cylinder-pressure";
  o.name = "bench/none";
  o.stated = &stated;
  o.stated_count = 1;
  for (size_t i = 0; i < count; i++) {
    char name[64];
    snprintf(name, sizeof name, "%s/none-%zu.txt", folder, i + 1);
    good[i].capture = capture[i] = engine_read(name, "pressure=3:V");
  }
  if (plb_learn(&reference, NULL, good, count, &o, &err) != PLB_OK)
    fail_msg("%s", err.message);
  for (size_t i = 0; i < count; i++)
    plb_capture_free(capture[i]);
  return reference;
}

static plb_verdict *judge(const plb_reference *reference, const plb_capture *capture, const char *condition) {
  plb_verdict *v = NULL;
  plb_stated stated;
  plb_error err = PLB_ERROR_INIT;
  plb_compare_options o = PLB_COMPARE_OPTIONS_INIT;
  if (condition) {
    assert_int_equal(plb_stated_parse(condition, &stated, &err), PLB_OK);
    o.stated = &stated;
    o.stated_count = 1;
  }
  assert_int_equal(plb_compare(&v, capture, reference, &o, &err), PLB_OK);
  return v;
}

static bool has_reason(const plb_verdict *v, const char *code) {
  for (size_t i = 0; i < v->reasons; i++)
    if (strcmp(v->reason[i].code, code) == 0)
      return true;
  return false;
}

/* Higher, and where: a section of the cycle that lies high, or the whole of it, which is then larger in proportion. */
static bool says_where(const plb_verdict *v) {
  for (size_t i = 0; i < v->findings; i++)
    if (v->finding[i].kind == PLB_FINDING_BAND && strcmp(v->finding[i].direction, "high") == 0)
      return true;
  return v->findings > 0 && strstr(v->finding[0].text, "amplitude high") != NULL;
}

static void tell_loads_apart(const char *folder, size_t none, const char *const *loaded, size_t count) {
  plb_reference *reference = learn_at_no_load(folder, none);
  for (size_t i = 0; i < count; i++) {
    char name[64], condition[32];
    snprintf(name, sizeof name, "%s/%s.txt", folder, loaded[i]);
    snprintf(condition, sizeof condition, "load=%.4s", loaded[i]);
    plb_capture *capture = engine_read(name, "pressure=3:V");
    plb_verdict *v = judge(reference, capture, NULL);
    printf("# %s: %s: %s\n", name, plb_word_name(v->word), v->sentence);
    assert_int_equal(v->word, PLB_DEPARTS);
    assert_string_equal(v->finding[0].direction, "high");
    assert_true(says_where(v));
    assert_non_null(strstr(v->sentence, "first check load"));
    plb_verdict_free(v);
    v = judge(reference, capture, condition);
    assert_int_equal(v->word, PLB_UNJUDGED);
    assert_true(has_reason(v, "load-outside"));
    assert_true(strncmp(v->sentence, "load outside", 12) == 0);
    plb_verdict_free(v);
    plb_capture_free(capture);
  }
  plb_reference_free(reference);
}

/* full-5 coasts at a quarter of the speed: outside the conditions for another reason. */
static void test_pressure__setup_one_tells_the_loads_apart(void **state) {
  (void)state;
  static const char *const loaded[] = {"half-1", "half-2", "half-3", "half-4", "half-5", "full-1", "full-2", "full-3", "full-4"};
  tell_loads_apart("setup-one", 5, loaded, sizeof loaded / sizeof *loaded);
}

static void test_pressure__setup_two_tells_the_loads_apart(void **state) {
  (void)state;
  static const char *const loaded[] = {"half-1", "half-2", "half-3", "full-1", "full-2", "full-3"};
  tell_loads_apart("setup-two", 3, loaded, sizeof loaded / sizeof *loaded);
}

int main(void) {
  if (engine_folder()[0] == '\0') {
    printf("skipped: the real engine captures are not here (set PLUMBLINE_TEST_DATA)\n");
    return 77;
  }
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_pressure__setup_one_tells_the_loads_apart),
                                     cmocka_unit_test(test_pressure__setup_two_tells_the_loads_apart)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
