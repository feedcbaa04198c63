#include "report/axis.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static void test_axis_step__is_one_two_or_five(void **state) {
  (void)state;
  static const struct {
    double range;
    int most;
    double step;
  } rows[] = {{10, 10, 1},   {10, 9, 2},  {11, 5, 5}, {0.037, 8, 0.005},
              {4e6, 4, 1e6}, {1, 3, 0.5}, {0, 5, 1},  {NAN, 5, 1}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
    assert_true(fabs(plb_axis_step(rows[i].range, rows[i].most) / rows[i].step - 1) < 1e-9);
}

static void test_axis_step__never_gives_more_steps_than_asked(void **state) {
  (void)state;
  for (double range = 1e-9; range < 1e9; range *= 1.37)
    for (int most = 1; most < 20; most++) {
      const double step = plb_axis_step(range, most);
      assert_true(range / step <= most * (1 + 1e-6));
      assert_true(most == 1 ||
                  range / step > most / 2.6); /* and not far fewer: the next smaller step would be too many */
    }
}

static void test_axis_degree_step__divides_the_turn(void **state) {
  (void)state;
  assert_true(plb_axis_degree_step(360, 13) == 30);
  assert_true(plb_axis_degree_step(720, 13) == 60);
  assert_true(plb_axis_degree_step(45, 13) == 5);
  assert_true(plb_axis_degree_step(90, 13) == 10);
  assert_true(fabs(plb_axis_degree_step(0.7, 13) - 0.1) < 1e-12);
}

static void test_axis__maps_and_labels(void **state) {
  (void)state;
  const plb_axis axis = {-0.78, 4.74, 250, 0, 0.5};
  char label[64];
  assert_true(fabs(plb_axis_pixel(&axis, -0.78) - 250) < 1e-9);
  assert_true(fabs(plb_axis_pixel(&axis, 4.74)) < 1e-9);
  assert_true(fabs(plb_axis_first(&axis) + 0.5) < 1e-12);
  assert_int_equal(plb_axis_ticks(&axis), 11); /* -0.5 .. 4.5 */
  plb_axis_label(&axis, 4.5, label);
  assert_string_equal(label, "4.5");
  plb_axis_label(&axis, -1e-17, label); /* nothing has no sign */
  assert_string_equal(label, "0.0");
}

static void test_axis_pad__gives_a_flat_line_room(void **state) {
  (void)state;
  static const struct {
    double low, high;
  } rows[] = {{0, 0}, {5, 5}, {-3, -3}, {NAN, NAN}, {INFINITY, -INFINITY}, {1, 2}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    double low = rows[i].low, high = rows[i].high;
    plb_axis_pad(&low, &high, 0.1);
    assert_true(isfinite(low) && isfinite(high) && low < high);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_axis_step__is_one_two_or_five),
      cmocka_unit_test(test_axis_step__never_gives_more_steps_than_asked),
      cmocka_unit_test(test_axis_degree_step__divides_the_turn),
      cmocka_unit_test(test_axis__maps_and_labels),
      cmocka_unit_test(test_axis_pad__gives_a_flat_line_room),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
