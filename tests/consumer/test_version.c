#include <plumbline/version.h>

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

/* The version lives in the header, for those who compile, and in project(), for the package: they must be one. */
static void test_version__header_project_and_library_agree(void **state) {
  (void)state;
  assert_string_equal(PLB_VERSION, PROJECT_VERSION_TEXT);
  assert_string_equal(plb_version(), PLB_VERSION);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_version__header_project_and_library_agree)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
