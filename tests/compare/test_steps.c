/* The good range of a single event is open where its steps scatter, and nowhere else. */
#include "compare/steps.h"
#include "tests/core/cmocka_all.h"
#include <math.h>

enum { GRID = 128, MANY = 6 };

typedef struct curves {
  float x[MANY][GRID], jump[GRID];
  const float *row[MANY];
} curves;

/* A step of 10 up at cell `at`, which takes `takes` cells. */
static void draw(float *x, double at, double takes) {
  for (int g = 0; g < GRID; g++) {
    const double share = fmin(1.0, fmax(0.0, ((double)g - at) / takes + 0.5));
    x[g] = (float)(2.0 + 10.0 * share);
  }
}

static void open_at(curves *c, const double *at, double takes) {
  for (int i = 0; i < MANY; i++) {
    draw(c->x[i], at[i], takes);
    c->row[i] = c->x[i];
  }
  for (int g = 0; g < GRID; g++) {
    c->jump[g] = 0.0F;
  }
  assert_true(plb_open_at_steps(c->row, MANY, GRID, 10.0, c->jump));
}

static void test_steps__opens_where_no_capture_stepped_but_the_next_may(void **state) {
  (void)state;
  curves c;
  open_at(&c, (const double[MANY]){60, 60.4, 66, 66.3, 59.8, 65.7}, 1.0);
  assert_true(c.jump[63] > 3.0F); /* between the moments seen */
  assert_true(c.jump[57] > 3.0F); /* a little before the earliest */
  assert_true(c.jump[20] == 0.0F);
  assert_true(c.jump[110] == 0.0F);
}

static void test_steps__a_step_that_always_comes_at_once_keeps_its_moment(void **state) {
  (void)state;
  curves c;
  open_at(&c, (const double[MANY]){60, 60.1, 60.2, 59.9, 60, 60.1}, 1.0);
  assert_true(c.jump[60] > 3.0F);
  assert_true(c.jump[68] < 0.1F);
  assert_true(c.jump[52] < 0.1F);
}

static void test_steps__the_foot_of_a_quick_flank_is_open_too(void **state) {
  (void)state;
  curves c;
  open_at(&c, (const double[MANY]){60, 61, 63, 64, 58, 62}, 5.0);
  assert_true(c.jump[57] > 1.0F);
  assert_true(c.jump[66] > 1.0F);
}

static void test_steps__a_ramp_is_no_step(void **state) {
  (void)state;
  curves c;
  open_at(&c, (const double[MANY]){60, 61, 63, 64, 58, 62}, 60.0);
  for (int g = 0; g < GRID; g++) {
    assert_true(c.jump[g] == 0.0F);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_steps__opens_where_no_capture_stepped_but_the_next_may),
      cmocka_unit_test(test_steps__a_step_that_always_comes_at_once_keeps_its_moment),
      cmocka_unit_test(test_steps__the_foot_of_a_quick_flank_is_open_too),
      cmocka_unit_test(test_steps__a_ramp_is_no_step),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
