/*
 * Fresh draws (seeds that no reference was learned from) against the shipped references: pooled, no more false alarms than promised, by the
 * lower bound of Clopper and Pearson; and every verdict of a modelled reference says so.
 */
#include "tests/core/cmocka_all.h"
#include "model/model.h"
#include "reference/model.h"
#include "shelf.h"
#include <plumbline/report.h>

static const uint64_t fresh_seed = 7700001;
enum { DRAWS = 3 };
static const double promise = 0.05;

typedef struct pool {
  unsigned judged, alarms, unjudged, silent;
} pool;

static const plb_model_family *family_of(const plb_reference *r) {
  for (size_t i = 0; i < plb_model_count(); i++) {
    char word[160];
    snprintf(word, sizeof word, "of the model %s,", plb_model_at(i)->name);
    if (strstr(r->method, word) != NULL)
      return plb_model_at(i);
  }
  return NULL;
}

static void judge_fresh(const plb_judge *judge, const plb_model_family *f, uint64_t seed, const char *name, pool *p) {
  plb_error err = PLB_ERROR_INIT;
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  plb_capture *c = NULL;
  plb_verdict *v = NULL;
  char *text = NULL;
  request.seed = seed;
  assert_int_equal(plb_model_draw(&c, f, &request, NULL, &err), PLB_OK);
  if (plb_judge_capture(&v, judge, c, NULL, &err) != PLB_OK)
    fail_msg("%s: %s", name, err.message);
  assert_int_equal(plb_report_text(&text, v, PLB_TEXT_PLAIN, 80, &err), PLB_OK);
  p->silent += strstr(text, "modelled") == NULL;
  p->judged += v->word != PLB_UNJUDGED;
  p->unjudged += v->word == PLB_UNJUDGED;
  p->alarms += v->word == PLB_DEPARTS;
  if (v->word == PLB_DEPARTS || v->word == PLB_UNJUDGED)
    printf("%s, seed %llu: %s: %s\n", name, (unsigned long long)seed, plb_word_plain(v->word), v->sentence);
  free(text);
  plb_verdict_free(v);
  plb_capture_free(c);
}

static void check_one(const char *name, const char *path, void *payload) {
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = NULL;
  plb_judge *judge = NULL;
  if (plb_reference_read(&r, path, &err) != PLB_OK)
    fail_msg("%s: %s", name, err.message);
  if (r->provenance == PLB_MODELLED) {
    const plb_model_family *f = family_of(r);
    if (f == NULL)
      fail_msg("%s does not name its model: %s", name, r->method);
    if (plb_judge_new(&judge, r, &err) != PLB_OK)
      fail_msg("%s: %s", name, err.message);
    for (unsigned i = 0; i < DRAWS; i++)
      judge_fresh(judge, f, fresh_seed + i, name, payload);
  }
  plb_judge_free(judge);
  plb_reference_free(r);
}

/* P(X >= k) for k of n at the promised rate: below 0.05 the lower bound of Clopper and Pearson (95 %, one side) lies above the promise. */
static double at_least(unsigned k, unsigned n, double p) {
  double term = 1, sum = 0;
  for (unsigned i = 0; i < n; i++)
    term *= 1 - p;
  for (unsigned i = 0; i < k; i++) {
    sum += term;
    term *= (double)(n - i) / (double)(i + 1) * p / (1 - p);
  }
  return 1 - sum;
}

static void test_refs_fresh__no_more_false_alarms_than_promised(void **state) {
  (void)state;
  pool p = {0};
  shelf_each(check_one, &p);
  printf("%u judged, %u false alarms, %u not judged\n", p.judged, p.alarms, p.unjudged);
  assert_true(p.judged > 100);
  assert_true(p.unjudged * 20 < p.judged);
  assert_true(at_least(p.alarms, p.judged, promise) > 0.05);
  assert_int_equal(p.silent, 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_refs_fresh__no_more_false_alarms_than_promised)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
