#include "tests/report/fixture.h"
#include "tests/report/outside.h"
#include "report/canvas.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static char *svg_of(const plb_verdict *v) {
  char *text = NULL;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_report_svg(&text, v, &err), PLB_OK);
  return text;
}

static size_t count(const char *text, const char *part) {
  size_t n = 0;
  for (; (text = strstr(text, part)) != NULL; text += strlen(part))
    n++;
  return n;
}

static void test_verdict_svg__is_well_formed(void **state) {
  (void)state;
  for (int kind = 0; kind < FIXTURE_KINDS; kind++) {
    plb_verdict *v = fixture_verdict((fixture_kind)kind);
    char *text = svg_of(v);
    assert_well_formed("verdict.svg", text);
    free(text);
    fixture_free(v);
  }
}

static void test_verdict_svg__runs_and_fetches_nothing(void **state) {
  (void)state;
  for (int kind = 0; kind < FIXTURE_KINDS; kind++) {
    plb_verdict *v = fixture_verdict((fixture_kind)kind);
    char *text = svg_of(v);
    static const char *const forbidden[] = {"<script", "<image", "<foreignObject", "href",
                                            "onload",  "<style", "@import",        "<!"};
    for (size_t i = 0; i < sizeof forbidden / sizeof forbidden[0]; i++)
      assert_says_not(text, forbidden[i]);
    assert_int_equal(count(text, "http"), 1); /* the namespace */
    free(text);
    fixture_free(v);
  }
}

static void test_verdict_svg__draws_only_numbers(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_DEPARTS);
  plb_drawing *d = &v->drawing[0];
  for (size_t k = 100; k < 200; k++)
    d->median[k] = d->lowest[k] = NAN;
  d->upper[0] = INFINITY;
  v->band[3].from = NAN;
  v->finding[0].phase = 7;
  v->landmark_phase_first = INFINITY;
  char *text = svg_of(v);
  assert_well_formed("holes.svg", text);
  for (const char *path = text; (path = strstr(path, "<path d=\"")) != NULL; path++) {
    const size_t n = strcspn(path + 9, "\"");
    assert_int_equal(strspn(path + 9, "Mlz 0123456789.-"), n);
  }
  free(text);
  fixture_free(v);
}

static void test_verdict_svg__titles_itself_with_the_sentence(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_DEPARTS);
  strcpy(v->sentence, "a < b & \"c\"");
  char *text = svg_of(v);
  assert_says(text, "<title id=\"title-");
  assert_says(text, ">Does not match: a &lt; b &amp; &quot;c&quot;</title>");
  assert_says(text, "role=\"img\"");
  assert_says(text, "</desc>");
  free(text);
  fixture_free(v);
}

static void test_verdict_svg__shows_departures_by_word_and_mark(void **state) {
  (void)state;
  plb_verdict *good = fixture_verdict(FIXTURE_WHEEL_AGREES), *bad = fixture_verdict(FIXTURE_WHEEL_DEPARTS);
  char *calm = svg_of(good), *text = svg_of(bad);
  assert_says(text, ">low</text>"); /* the way, as a word in the strip */
  assert_says(text, ">tooth 1</text>");
  assert_says(text, ">1</text>"); /* the numbered triangle of the first finding */
  assert_says(text, "worst place");
  assert_says_not(calm, "worst place");
  assert_says_not(calm, ">low</text>");
  assert_true(count(text, "<path") > count(calm, "<path"));
  assert_says(text, "degrees of rotation");
  assert_says(text, "a closer look: 0 deg to 45 deg");
  free(calm);
  free(text);
  fixture_free(good);
  fixture_free(bad);
}

/* The sentence speaks of the first finding, so the closer look must show it, whichever section has the largest score. */
static void test_verdict_svg__looks_closer_at_the_first_finding(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_DEPARTS);
  v->band[6].status = PLB_DEPARTS;
  v->band[6].score = 99;
  char *text = svg_of(v);
  assert_says(text, "a closer look: 0 deg to 45 deg");
  free(text);
  v->findings = 0;
  text = svg_of(v);
  assert_says(text, "a closer look: 165 deg to 225 deg");
  free(text);
  fixture_free(v);
}

static void test_verdict_svg__carries_provenance(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_EDGE_DOUBTFUL);
  char *text = svg_of(v);
  assert_says(text, "This known-good is modelled");
  assert_says(text, "good range (modelled)");
  assert_says(text, "sha256 0123456789ab");
  assert_says(text, "% of the cycle as drawn, short stretches widened");
  free(text);
  v->reference.provenance = PLB_MEASURED;
  text = svg_of(v);
  assert_says_not(text, "odelled");
  assert_says(text, "measured, 6 good captures");
  free(text);
  fixture_free(v);
}

static void test_verdict_svg__tells_when_nothing_was_laid_over(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_SILENT);
  char *text = svg_of(v);
  assert_says(text, "nothing of this capture could be laid over the good range");
  assert_says(text, "peak to peak is 4.6 mV");
  free(text);
  fixture_free(v);
}

static void test_verdict_svg__has_ids_of_its_own(void **state) {
  (void)state;
  plb_verdict *a = fixture_verdict(FIXTURE_WHEEL_AGREES), *b = fixture_verdict(FIXTURE_WHEEL_DEPARTS);
  char *first = svg_of(a), *again = svg_of(a), *other = svg_of(b);
  char id[64];
  assert_string_equal(first, again); /* the same verdict, the same bytes */
  snprintf(id, sizeof id, "%.36s", strstr(first, "<title id=\"title-"));
  assert_null(strstr(other, id));
  free(first);
  free(again);
  free(other);
  fixture_free(a);
  fixture_free(b);
}

static void test_verdict_svg__stays_small(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_WHEEL_DEPARTS);
  char *text = svg_of(v);
  assert_true(strlen(text) < 150000); /* two panels, 1,740 columns */
  free(text);
  fixture_free(v);
}

static void test_canvas_curve__adds_up_without_drift(void **state) {
  (void)state;
  enum { N = 1001 };
  double x[N], y[N];
  for (int i = 0; i < N; i++) {
    x[i] = 72 + i * 0.804;
    y[i] = 100 + 90 * sin(i * 0.37);
  }
  plb_buffer b;
  plb_buffer_init(&b, 1 << 20);
  plb_canvas c = {.out = &b};
  plb_canvas_curve(&c, x, y, N, &(plb_paint){.stroke = PLB_BLACK});
  const char *at = strstr(b.data, "M") + 1;
  char *end;
  double px = strtod(at, &end), py = strtod(end, &end);
  int points = 1;
  while (*end == 'l') {
    px += strtod(end + 1, &end);
    py += strtod(end, &end);
    points++;
  }
  assert_int_equal(points, N);
  assert_true(fabs(px - x[N - 1]) < 0.051 && fabs(py - y[N - 1]) < 0.051);
  plb_buffer_dispose(&b);
}

static void test_canvas__breaks_curves_and_areas_at_holes(void **state) {
  (void)state;
  const double x[7] = {0, 10, 20, 30, 40, 50, 60}, y[7] = {1, 2, NAN, 4, 5, INFINITY, 7}, z[7] = {0};
  plb_buffer b;
  plb_buffer_init(&b, 1 << 20);
  plb_canvas c = {.out = &b};
  plb_canvas_curve(&c, x, y, 7, &(plb_paint){.stroke = PLB_BLACK});
  assert_int_equal(count(b.data, "M"), 3);
  plb_canvas_area(&c, x, z, y, 7, &(plb_paint){.fill = PLB_SKY});
  assert_int_equal(count(b.data, "M"), 6);
  assert_int_equal(count(b.data, "z\""), 1); /* the last of three closed pieces ends the path */
  plb_buffer_dispose(&b);
}

static void test_canvas_paragraph__wraps_and_cuts(void **state) {
  (void)state;
  const plb_font font = {10, false, PLB_INK, PLB_START};
  assert_int_equal(plb_canvas_paragraph_lines(1000, 3, &font, "short"), 1);
  assert_int_equal(plb_canvas_paragraph_lines(60, 99, &font, "one two three four five six"), 3);
  assert_int_equal(plb_canvas_paragraph_lines(60, 2, &font, "one two three four five six"), 2);
  assert_int_equal(plb_canvas_paragraph_lines(60, 2, &font, ""), 0);
  plb_buffer b;
  plb_buffer_init(&b, 1 << 20);
  plb_canvas c = {.out = &b};
  plb_canvas_paragraph(&c, 0, 0, 60, 12, 2, &font, "one two three four five six");
  assert_says(b.data, "\xE2\x80\xA6</text>");
  assert_int_equal(count(b.data, "<text"), 2);
  plb_buffer_dispose(&b);
}

/* A first finding that lies in frequency gets bars: three bands of cam, each with its good range, its bar and its mark. */
static void test_verdict_svg__draws_levels_where_the_finding_is(void **state) {
  (void)state;
  plb_verdict *v = fixture_verdict(FIXTURE_MANY);
  char *without = svg_of(v);
  assert_says_not(without, "level in each frequency band");
  v->finding[0].kind = PLB_FINDING_FREQUENCY;
  strcpy(v->finding[0].channel, v->band[30].channel);
  for (size_t i = 30; i < 33; i++)
    v->band[i].exceedance = 2.0;
  char *with = svg_of(v);
  assert_says(with, "crank: level in each frequency band");
  assert_well_formed("spectrum.svg", with);
  /* a range and a bar each; the mark is no rectangle */
  assert_int_equal(count(with, "<rect") - count(without, "<rect"), 6);
  v->band[31].deviation = NAN; /* the capture cannot show this one */
  char *fewer = svg_of(v);
  assert_int_equal(count(fewer, "<rect") - count(without, "<rect"), 4);
  free(without);
  free(with);
  free(fewer);
  fixture_free(v);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_verdict_svg__is_well_formed),
      cmocka_unit_test(test_verdict_svg__runs_and_fetches_nothing),
      cmocka_unit_test(test_verdict_svg__draws_only_numbers),
      cmocka_unit_test(test_verdict_svg__titles_itself_with_the_sentence),
      cmocka_unit_test(test_verdict_svg__shows_departures_by_word_and_mark),
      cmocka_unit_test(test_verdict_svg__looks_closer_at_the_first_finding),
      cmocka_unit_test(test_verdict_svg__draws_levels_where_the_finding_is),
      cmocka_unit_test(test_verdict_svg__carries_provenance),
      cmocka_unit_test(test_verdict_svg__tells_when_nothing_was_laid_over),
      cmocka_unit_test(test_verdict_svg__has_ids_of_its_own),
      cmocka_unit_test(test_verdict_svg__stays_small),
      cmocka_unit_test(test_canvas_curve__adds_up_without_drift),
      cmocka_unit_test(test_canvas__breaks_curves_and_areas_at_holes),
      cmocka_unit_test(test_canvas_paragraph__wraps_and_cuts),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
