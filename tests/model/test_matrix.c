/* The family-by-fault matrix: printed, and every empty cell must have its reason. */
#include "model_test.h"

#include "model/matrix.h"
#include <plumbline/cycle.h>
#include <stdio.h>
#include <string.h>

static void print_row(const plb_model_family *f) {
  printf("\n%s (%s)\n", f->name, f->text);
  for (int k = 0; k < PLB_FAULT_KINDS; k++) {
    const plb_fault_kind kind = (plb_fault_kind)k;
    printf("  %-16s ", plb_matrix_kind_name(kind));
    const plb_model_fault *fault = NULL;
    for (size_t i = 0; (fault = plb_matrix_fault(f, kind, i)) != NULL; i++)
      printf("%s%s [%s]", i ? ", " : "", fault->name, plb_matrix_place_name(fault->place));
    if (!plb_matrix_fault(f, kind, 0))
      printf("- %s", plb_matrix_reason(f, kind) ? plb_matrix_reason(f, kind) : "NO REASON");
    printf("\n");
  }
  for (size_t i = 0; i < f->unseens; i++)
    printf("  not to be seen here: %s [%s]: %s\n", f->unseen[i].fault.name, plb_matrix_place_name(f->unseen[i].fault.place),
           f->unseen[i].why);
}

static void test_matrix__every_empty_cell_has_a_reason(void **state) {
  (void)state;
  int open = 0;
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    print_row(f);
    for (int k = 0; k < PLB_FAULT_KINDS; k++)
      if (!plb_matrix_fault(f, (plb_fault_kind)k, 0) && !plb_matrix_reason(f, (plb_fault_kind)k)) {
        print_error("%s has no fault of the kind \"%s\" and no reason\n", f->name,
                    plb_matrix_kind_name((plb_fault_kind)k));
        open++;
      }
  }
  assert_int_equal(open, 0);
}

/* A reason beside a fault of the same kind would be a lie. */
static void test_matrix__no_reason_beside_a_fault(void **state) {
  (void)state;
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    for (int k = 0; k < PLB_FAULT_KINDS; k++)
      if (plb_matrix_fault(f, (plb_fault_kind)k, 0) && plb_matrix_reason(f, (plb_fault_kind)k))
        fail_msg("%s, %s: a fault and a reason why there is none", f->name, plb_matrix_kind_name((plb_fault_kind)k));
  }
}

/* What cannot be seen is drawn by its name all the same, stands outside the matrix, and says who sees it. */
static void test_matrix__what_cannot_be_seen_is_no_cell(void **state) {
  (void)state;
  size_t unseens = 0;
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    unseens += f->unseens;
    for (size_t u = 0; u < f->unseens; u++) {
      const plb_model_fault *fault = &f->unseen[u].fault;
      assert_ptr_equal(plb_model_fault_find(f, fault->name), fault);
      assert_true(strlen(f->unseen[u].why) > 20);
      for (size_t k = 0; k < plb_model_fault_count(f); k++)
        assert_string_not_equal(plb_model_fault_at(f, k)->name, fault->name);
      if (!plb_matrix_fault(f, fault->kind, 0))
        assert_string_equal(plb_matrix_reason(f, fault->kind), f->unseen[u].why);
    }
  }
  assert_true(unseens > 0);
}

static void test_matrix__at_least_four_faults_and_two_mistakes(void **state) {
  (void)state;
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    const size_t mistakes = plb_model_fault_count(f) - f->faults;
    if (f->faults < 4 || mistakes < 2)
      fail_msg("%s: %zu faults, %zu mistakes", f->name, f->faults, mistakes);
  }
}

static void test_matrix__names_are_unique_and_cycles_parse(void **state) {
  (void)state;
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    assert_ptr_equal(plb_model_find(f->name), f);
    for (size_t k = 0; k < plb_model_fault_count(f); k++)
      if (plb_model_fault_find(f, plb_model_fault_at(f, k)->name) != plb_model_fault_at(f, k))
        fail_msg("%s: the name %s is there twice", f->name, plb_model_fault_at(f, k)->name);
    plb_cycle_spec spec;
    plb_error err = PLB_ERROR_INIT;
    if (plb_cycle_spec_parse(f->cycle, &spec, &err))
      fail_msg("%s: %s", f->name, err.message);
  }
}

static void test_matrix__cases_can_be_drawn(void **state) {
  (void)state;
  assert_true(plb_model_case_count() >= 12);
  for (size_t i = 0; i < plb_model_case_count(); i++) {
    const plb_model_case *which = plb_model_case_at(i);
    plb_capture *capture = NULL;
    plb_error err = PLB_ERROR_INIT;
    if (plb_model_draw_case(&capture, which, 3, &err))
      fail_msg("%s: %s", which->name, err.message);
    assert_ptr_equal(plb_model_case_find(which->name), which);
    plb_capture_free(capture);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_matrix__every_empty_cell_has_a_reason),
                                     cmocka_unit_test(test_matrix__no_reason_beside_a_fault),
                                     cmocka_unit_test(test_matrix__what_cannot_be_seen_is_no_cell),
                                     cmocka_unit_test(test_matrix__at_least_four_faults_and_two_mistakes),
                                     cmocka_unit_test(test_matrix__names_are_unique_and_cycles_parse),
                                     cmocka_unit_test(test_matrix__cases_can_be_drawn)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
