#include "cmocka_all.h"
#include "core/alloc.h"

static void test_alloc__overflowing_product_is_refused(void **state) {
  (void)state;
  int *old = plb_calloc(3, sizeof *old);
  assert_non_null(old);
  assert_null(plb_calloc(SIZE_MAX / 2 + 1, 2));
  assert_null(plb_resize(old, SIZE_MAX / 4 + 1, 4));
  old[2] = 5; /* still valid */
  free(old);
}

static void test_alloc__nothing_is_still_a_pointer(void **state) {
  (void)state;
  void *none = plb_calloc(0, 8);
  assert_non_null(none);
  none = plb_resize(none, 0, 8);
  assert_non_null(none);
  free(none);
}

static void test_alloc__calloc_clears(void **state) {
  (void)state;
  unsigned char *x = plb_calloc(100, 3);
  assert_non_null(x);
  for (size_t i = 0; i < 300; i++)
    assert_int_equal(x[i], 0);
  free(x);
}

static void test_alloc__grow_keeps_elements_and_doubles(void **state) {
  (void)state;
  int *x = NULL;
  size_t capacity = 0, moves = 0;
  for (size_t used = 0; used < 1000; used++) {
    const size_t before = capacity;
    x = plb_grow(x, used, &capacity, sizeof *x);
    assert_non_null(x);
    assert_true(capacity > used);
    moves += capacity != before;
    x[used] = (int)used;
  }
  assert_int_equal(moves, 8); /* 8 16 32 ... 1024 */
  for (size_t i = 0; i < 1000; i++)
    assert_int_equal(x[i], i);
  free(x);
}

static void test_alloc__grow_refuses_what_cannot_be_counted(void **state) {
  (void)state;
  size_t capacity = SIZE_MAX / 8 + 1;
  char small[8];
  assert_null(plb_grow(small, capacity, &capacity, 8));
  assert_int_equal(capacity, SIZE_MAX / 8 + 1);
}

static void test_alloc__strdup_copies(void **state) {
  (void)state;
  char text[] = "crank";
  char *copy = plb_strdup(text);
  text[0] = 'b';
  assert_string_equal(copy, "crank");
  free(copy);
  assert_null(plb_strdup(NULL));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_alloc__overflowing_product_is_refused),
      cmocka_unit_test(test_alloc__nothing_is_still_a_pointer),
      cmocka_unit_test(test_alloc__calloc_clears),
      cmocka_unit_test(test_alloc__grow_keeps_elements_and_doubles),
      cmocka_unit_test(test_alloc__grow_refuses_what_cannot_be_counted),
      cmocka_unit_test(test_alloc__strdup_copies),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
