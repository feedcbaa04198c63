/* Paths and selectors: what is ours, what is not, and what could hide something. */
#include "core/cmocka_all.h"

#include "collection/read/layout.h"

#include <string.h>

static void test_layout__paths_of_ours(void **state) {
  (void)state;
  plb_path p;
  assert_int_equal(plb_path_parse("references/crank-inductive/idle/0003.xml", &p), PLB_PATH_REFERENCE);
  assert_string_equal(p.name, "crank-inductive/idle");
  assert_string_equal(p.type, "crank-inductive");
  assert_int_equal(p.version, 3);
  assert_int_equal(plb_path_parse("references/a/b/c/d/9999.xml", &p), PLB_PATH_REFERENCE);
  assert_string_equal(p.name, "a/b/c/d");
  assert_int_equal(plb_path_parse("references/a/b/status.xml", &p), PLB_PATH_STATUS);
  assert_int_equal(plb_path_parse("captures/01/0123456789abcdef0123456789abcdef.xml", &p), PLB_PATH_CAPTURE);
  assert_int_equal(plb_path_parse("captures/01/0123456789abcdef0123456789abcdef.status.xml", &p), PLB_PATH_CAPTURE_STATUS);
  assert_int_equal(plb_path_parse("cases/0123456789abcdef0123456789abcdef.xml", &p), PLB_PATH_CASE);
  assert_int_equal(plb_path_parse("types/can-pair.xml", &p), PLB_PATH_TYPE);
  assert_int_equal(plb_path_parse("settings.xml", &p), PLB_PATH_SETTINGS);
}

static void test_layout__everything_else_is_refused(void **state) {
  (void)state;
  static const char *const paths[] = {"", "references", "references/", "references/a/0001.xml", "references/a/b/0000.xml", "references/a/b/1.xml",
      "references/a/b/00001.xml", "references/a/../0001.xml", "references//b/0001.xml", "references/A/b/0001.xml", "references/a/b.xml/0001.xml",
      "references/a/b/c/d/e/0001.xml", "references/a/.git/0001.xml", "references/a/b/0001.xml/", "/references/a/b/0001.xml", "references/a/b/0001.XML",
      "captures/02/0123456789abcdef0123456789abcdef.xml", "captures/01/0123456789ABCDEF0123456789abcdef.xml", "captures/01/01.xml",
      "captures/01/0123456789abcdef0123456789abcdef.xml.xml", "cases/x.xml", "types/.xml", "types/a/b.xml", "types/a", "settings.xml.lock", "hooks/update",
      "references/a/b\\c/0001.xml", "references/a/b:c/0001.xml"};
  plb_path p;
  for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++)
    if (plb_path_parse(paths[i], &p) != PLB_PATH_NONE)
      fail_msg("%s passed", paths[i]);
}

static void test_layout__paths_round_trip(void **state) {
  (void)state;
  char path[PLB_PATH_SIZE];
  plb_path p;
  plb_path_reference("a/b/c", 42, path);
  assert_string_equal(path, "references/a/b/c/0042.xml");
  assert_int_equal(plb_path_parse(path, &p), PLB_PATH_REFERENCE);
  assert_int_equal(p.version, 42);
  plb_path_capture("0123456789abcdef0123456789abcdef", path);
  assert_int_equal(plb_path_parse(path, &p), PLB_PATH_CAPTURE);
  plb_path_status("a/b", path);
  assert_int_equal(plb_path_parse(path, &p), PLB_PATH_STATUS);
}

static void test_layout__selectors(void **state) {
  (void)state;
  char name[PLB_TEXT_SIZE];
  unsigned version = 77;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_selector_parse("crank/idle", name, &version, &err), PLB_OK);
  assert_int_equal(version, 0);
  assert_int_equal(plb_selector_parse("crank/idle/v1.2@12", name, &version, &err), PLB_OK);
  assert_string_equal(name, "crank/idle/v1.2");
  assert_int_equal(version, 12);
  static const char *const bad[] = {"", "crank", "crank/", "/idle", "crank/idle@", "crank/idle@0", "crank/idle@x", "crank/idle@12345", "crank/idle@1x", "Crank/idle",
      "crank/../idle", "crank/idle.xml", "crank/idle@-1", "a/b/c/d/e"};
  for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
    if (plb_selector_parse(bad[i], name, &version, &err) != PLB_EUSAGE)
      fail_msg("%s passed", bad[i]);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_layout__paths_of_ours),
      cmocka_unit_test(test_layout__everything_else_is_refused),
      cmocka_unit_test(test_layout__paths_round_trip),
      cmocka_unit_test(test_layout__selectors),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
