/* The picture of a reading over time: thinned to the picture's columns, yet every peak is there. */
#include "core/core.h"
#include "report/report.h"
#include "report/sketch.h"
#include "tests/core/cmocka_all.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MANY = 10000000 };

/* The highest point of the blue curve [px from the top]: "M x y" begins, "l dx dy" goes on from the last point. */
static double top_of_curve(const char *svg) {
  const char *p = strstr(svg, "<path d=\"M");
  while (p && strcspn(p, ">") < (size_t)(strstr(p, "#0072B2") - p))
    p = strstr(p + 1, "<path d=\"M");
  double top = INFINITY, y = 0;
  assert_non_null(p);
  p += strlen("<path d=\"");
  while (*p && *p != '"') {
    const bool absolute = *p == 'M';
    char *end = NULL;
    assert_true(*p == 'M' || *p == 'l');
    strtod(p + 1, &end);
    const double next = strtod(end, &end);
    y = absolute ? next : y + next;
    top = fmin(top, y);
    p = end;
  }
  return top;
}

static char *draw(double *time, double *value, size_t count, size_t lowest, size_t highest) {
  plb_series s = {.reading = "highest", .channel = "a", .unit = "V", .time_s = time, .value = value, .count = count,
                  .lowest = lowest, .highest = highest};
  plb_error err = PLB_ERROR_INIT;
  plb_capture *c = plb_capture_new();
  char *svg = NULL;
  assert_non_null(c);
  if (plb_report_series_svg(&svg, &s, c, &err) != PLB_OK)
    fail_msg("%s", err.message);
  plb_capture_free(c);
  return svg;
}

/* One value of ten million: the curve reaches just under the mark of the highest value, wherever it lies. */
static void test_series_svg__one_value_of_ten_million_is_seen(void **state) {
  (void)state;
  static const size_t places[] = {0, 3141593, MANY - 1};
  double *time = calloc(MANY, sizeof *time), *value = calloc(MANY, sizeof *value);
  assert_true(time && value);
  for (size_t i = 0; i < MANY; i++) {
    time[i] = 1e-6 * (double)i;
    value[i] = 0.001 * (double)(i % 97);
  }
  for (size_t k = 0; k < 3; k++) {
    const double before = value[places[k]];
    value[places[k]] = 10;
    char *svg = draw(time, value, MANY, 97, places[k]);
    const double top = top_of_curve(svg);
    assert_true(top > 48 && top < 48 + 0.1 * 260); /* the plot is 260 px high and begins 48 px from the top; it is padded by 6 % */
    assert_true(strlen(svg) < 100000);
    free(svg);
    value[places[k]] = before;
  }
  free(time);
  free(value);
}

/* The same of samples, in the picture in text that plumb inspect prints. */
static void test_series_svg__one_sample_of_ten_million_is_seen_in_text(void **state) {
  (void)state;
  double *x = calloc(MANY, sizeof *x);
  assert_non_null(x);
  x[7654321] = 1;
  plb_page page;
  plb_page_init(&page, PLB_TEXT_PLAIN, 80);
  plb_sketch(&page, x, 0, MANY, 1e6, 0, "V");
  const char *top = strchr(page.out.data, '|');
  assert_non_null(top);
  const size_t columns = strcspn(top + 1, "\n");
  assert_int_equal(columns, (size_t)7654321 * 70 / MANY + 1);
  assert_int_equal(top[columns], '|');
  plb_buffer_dispose(&page.out);
  free(x);
}

/* A window without a value breaks the curve. */
static void test_series_svg__a_gap_is_a_gap(void **state) {
  (void)state;
  double time[] = {0, 1, 2, 3, 4}, value[] = {1, 2, NAN, 4, 3};
  char *svg = draw(time, value, 5, 0, 3);
  assert_null(strstr(svg, "nan"));
  assert_non_null(strstr(svg, "<path d=\"M"));
  free(svg);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_series_svg__one_value_of_ten_million_is_seen),
      cmocka_unit_test(test_series_svg__one_sample_of_ten_million_is_seen_in_text),
      cmocka_unit_test(test_series_svg__a_gap_is_a_gap),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
