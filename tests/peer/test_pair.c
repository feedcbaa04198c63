#include "model/model.h"
#include "tests/core/cmocka_all.h"
#include <math.h>
#include <plumbline/peer.h>
#include <string.h>

static plb_capture *draw(const char *family, uint64_t seed, const char *fault, double severity) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  plb_capture *capture = NULL;
  plb_error err = PLB_ERROR_INIT;
  request.seed = seed;
  request.fault = fault;
  request.severity = severity;
  assert_int_equal(plb_model_draw(&capture, plb_model_find(family), &request, NULL, &err), PLB_OK);
  return capture;
}

static plb_pair *pair_of(const plb_capture *a, const plb_capture *b, const char *cycle) {
  plb_pair *pair = NULL;
  plb_cycle_spec spec;
  plb_error err = PLB_ERROR_INIT;
  plb_peer_options how = PLB_PEER_OPTIONS_INIT;
  const plb_part pa = {a, NULL, "before"}, pb = {b, NULL, "after"};
  assert_int_equal(plb_cycle_spec_parse(cycle, &spec, &err), PLB_OK);
  how.cycle = &spec;
  assert_int_equal(plb_compare_pair(&pair, &pa, &pb, &how, &err), PLB_OK);
  return pair;
}

static const plb_pair_reading *reading(const plb_pair *p, const char *name) {
  for (size_t i = 0; i < p->readings; i++) {
    if (strcmp(p->reading[i].name, name) == 0) {
      return &p->reading[i];
    }
  }
  return NULL;
}

/* The same circuit, recorded twice: only the noise differs. The fault at severity 0 is the good circuit, bit for bit. */
static void test_pair__same_circuit_is_the_same(void **state) {
  (void)state;
  plb_capture *a = draw("crank-hall-idle", 3, NULL, 0.0), *b = draw("crank-hall-idle", 3, "slow-output", 0.0);
  plb_pair *p = pair_of(a, b, "wheel:teeth=60,missing=2");
  assert_int_equal(p->word, PLB_SAME);
  assert_true(fabs(p->alignment.gain - 1.0) < 0.01);
  plb_pair_free(p);
  plb_capture_free(a);
  plb_capture_free(b);
}

/* Before and after: the same sensor with a joint in its wire. */
static void test_pair__joint_before_repair_differs(void **state) {
  (void)state;
  plb_capture *a = draw("crank-hall-idle", 3, "joint", 1.0), *b = draw("crank-hall-idle", 3, NULL, 0.0);
  plb_pair *p = pair_of(a, b, "wheel:teeth=60,missing=2");
  assert_int_equal(p->word, PLB_DIFFERS);
  assert_non_null(strstr(p->sentence, "low"));
  const plb_pair_reading *low = reading(p, "lowest");
  assert_non_null(low);
  assert_true(low->a > low->b + 1.0);
  assert_true(low->apart);
  plb_pair_free(p);
  plb_capture_free(a);
  plb_capture_free(b);
}

static void test_pair__dead_one_differs(void **state) {
  (void)state;
  plb_capture *a = draw("crank-hall-idle", 3, NULL, 0.0), *b = draw("crank-hall-idle", 3, "no-pull-up", 1.0);
  plb_pair *p = pair_of(a, b, "wheel:teeth=60,missing=2");
  assert_int_equal(p->word, PLB_DIFFERS);
  assert_int_equal(p->reasons, 1);
  assert_string_equal(p->reason[0].code, "no-signal");
  plb_pair_free(p);
  plb_capture_free(a);
  plb_capture_free(b);
}

/* Two channels of one file are parts too. */
static void test_pair__two_channels_of_one_capture(void **state) {
  (void)state;
  plb_capture *a = draw("can-pair", 3, NULL, 0.0);
  plb_pair *pair = NULL;
  plb_error err = PLB_ERROR_INIT;
  const plb_peer_options how = PLB_PEER_OPTIONS_INIT;
  const plb_part high = {a, plb_capture_role(a, 0), "high"}, low = {a, plb_capture_role(a, 1), "low"};
  assert_int_equal(plb_compare_pair(&pair, &high, &low, &how, &err), PLB_OK);
  assert_int_not_equal(pair->word, PLB_SAME); /* one rises where the other falls */
  plb_pair_free(pair);
  plb_capture_free(a);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_pair__same_circuit_is_the_same), cmocka_unit_test(test_pair__joint_before_repair_differs),
                                     cmocka_unit_test(test_pair__dead_one_differs), cmocka_unit_test(test_pair__two_channels_of_one_capture)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
