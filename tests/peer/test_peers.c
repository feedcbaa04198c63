#include "model/model.h"
#include "tests/core/cmocka_all.h"
#include <math.h>
#include <plumbline/peer.h>
#include <stdio.h>
#include <string.h>

enum { MOST = 8 };

static plb_capture *draw(const char *family, uint64_t seed, const char *fault) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  plb_capture *capture = NULL;
  plb_error err = PLB_ERROR_INIT;
  request.seed = seed;
  request.fault = fault;
  request.severity = fault != NULL ? 1.0 : 0.0;
  assert_int_equal(plb_model_draw(&capture, plb_model_find(family), &request, NULL, &err), PLB_OK);
  return capture;
}

/* The odd one among n drawings, the last of which is faulty where a fault is named. */
static plb_peers *odd_of(const char *family, const char *cycle, size_t n, uint64_t seed, const char *fault) {
  static const char *const name[MOST] = {"one", "two", "three", "four", "five", "six", "seven", "eight"};
  plb_capture *capture[MOST];
  plb_part part[MOST];
  plb_cycle_spec spec;
  plb_peers *peers = NULL;
  plb_error err = PLB_ERROR_INIT;
  plb_peer_options how = PLB_PEER_OPTIONS_INIT;
  assert_int_equal(plb_cycle_spec_parse(cycle, &spec, &err), PLB_OK);
  how.cycle = &spec;
  for (size_t i = 0; i < n; i++) {
    capture[i] = draw(family, seed + i, i + 1 == n ? fault : NULL);
    part[i] = (plb_part){capture[i], NULL, name[i]};
  }
  assert_int_equal(plb_find_odd(&peers, part, n, &how, &err), PLB_OK);
  for (size_t i = 0; i < n; i++) {
    plb_capture_free(capture[i]);
  }
  return peers;
}

static const struct {
  const char *family, *cycle, *fault;
} sets[] = {{"injector-current", "edge:level=0.2A,slope=rising", "joint-in-supply"},
            {"coil-primary-current", "edge:level=1A,slope=rising", "shorted-turns"},
            {"wheel-speed-inductive", "repeat", "air-gap"}};
enum { SETS = sizeof sets / sizeof sets[0], DRAWS = 4 };

static void test_peers__faulty_part_is_named(void **state) {
  (void)state;
  int found = 0;
  for (size_t k = 0; k < SETS; k++) {
    for (uint64_t d = 0; d < DRAWS; d++) {
      plb_peers *p = odd_of(sets[k].family, sets[k].cycle, 6, 9000 + 100 * d, sets[k].fault);
      assert_true(p->odd == 5 || p->odd == -1); /* never a healthy one */
      found += p->odd == 5;
      assert_true(p->odd < 0 || strstr(p->sentence, "six") != NULL);
      plb_peers_free(p);
    }
  }
  printf("faulty parts named: %d of %d\n", found, SETS * DRAWS);
  assert_true(found >= SETS * DRAWS - 1);
}

static void test_peers__healthy_parts_are_alike(void **state) {
  (void)state;
  int odd = 0;
  for (size_t k = 0; k < SETS; k++) {
    for (uint64_t d = 0; d < DRAWS; d++) {
      plb_peers *p = odd_of(sets[k].family, sets[k].cycle, 6, 20000 + 100 * d, NULL);
      odd += p->odd >= 0;
      assert_true(p->judged);
      assert_true(fabs(p->promise - 1.0 / 6.0) < 1e-12);
      plb_peers_free(p);
    }
  }
  printf("healthy sets with an odd one: %d of %d\n", odd, SETS * DRAWS);
  assert_true(odd <= 2); /* promised: at most one in six of twelve */
}

/* A made signal: `humps` like humps a cycle, one of them of another height. */
static plb_capture *humps(unsigned units, unsigned low_one, double height, double rate_hz, double cycle_hz) {
  enum { N = 20000 };
  double *x = plb_calloc(N, sizeof *x);
  plb_capture *c = plb_capture_new();
  plb_random random;
  plb_error err = PLB_ERROR_INIT;
  plb_random_seed(&random, 5);
  assert_non_null(x);
  assert_non_null(c);
  c->rate_hz = rate_hz;
  for (size_t i = 0; i < N; i++) {
    const double turn = (double)i / rate_hz * cycle_hz, at = (turn - floor(turn)) * units;
    const unsigned unit = (unsigned)at;
    x[i] = 100.0 + (unit == low_one ? height : 40.0) * sin(3.14159265358979 * (at - unit)) + plb_random_normal(&random);
  }
  assert_int_equal(plb_capture_add_real(c, "current", "A", x, N, &err), PLB_OK);
  free(x);
  return c;
}

static plb_peers *split_of(const plb_capture *c, unsigned units) {
  const plb_part part = {c, "current", "current"};
  plb_cycle_spec spec;
  plb_peers *p = NULL;
  plb_error err = PLB_ERROR_INIT;
  plb_peer_options how = PLB_PEER_OPTIONS_INIT;
  assert_int_equal(plb_cycle_spec_parse("repeat", &spec, &err), PLB_OK);
  how.cycle = &spec;
  how.split = units;
  assert_int_equal(plb_find_odd(&p, &part, 1, &how, &err), PLB_OK);
  return p;
}

static void test_peers__one_low_hump_of_four(void **state) {
  (void)state;
  plb_capture *c = humps(4, 2, 25.0, 2000.0, 1.5);
  plb_peers *p = split_of(c, 4);
  assert_int_equal(p->members, 4);
  assert_true(p->odd >= 0);
  assert_non_null(strstr(p->finding, "cycle/"));
  plb_peers_free(p);
  plb_capture_free(c);
}

/* The cylinder of four that leaks, in the modelled starter current; with all four leaking alike none is odd. */
static void test_peers__leaking_cylinder_in_starter_current(void **state) {
  (void)state;
  int found = 0, wrong = 0;
  for (uint64_t seed = 41; seed < 51; seed++) {
    plb_capture *one = draw("starter-current", seed, "low-compression"), *all = draw("starter-current", seed, "low-compression-all");
    const plb_capture *both[2] = {one, all};
    for (int k = 0; k < 2; k++) {
      const plb_part part = {both[k], NULL, "current"};
      plb_peers *p = NULL;
      plb_error err = PLB_ERROR_INIT;
      plb_peer_options how = PLB_PEER_OPTIONS_INIT;
      const plb_cycle_spec repeat = {.kind = PLB_CYCLE_REPEAT};
      how.cycle = &repeat;
      how.split = 4;
      assert_int_equal(plb_find_odd(&p, &part, 1, &how, &err), PLB_OK);
      found += k == 0 && p->odd >= 0;
      wrong += k == 1 && p->odd >= 0;
      plb_peers_free(p);
    }
    plb_capture_free(one);
    plb_capture_free(all);
  }
  printf("leaking cylinders found: %d of 10; called odd where all leak: %d of 10\n", found, wrong);
  assert_true(found >= 9);
  assert_true(wrong <= 2);
}

/* All alike: the period found is one hump; the humps are then taken in turn. */
static void test_peers__four_like_humps(void **state) {
  (void)state;
  plb_capture *c = humps(4, 9, 0.0, 2000.0, 1.5);
  plb_peers *p = split_of(c, 4);
  assert_int_equal(p->members, 4);
  assert_int_equal(p->odd, -1);
  plb_peers_free(p);
  plb_capture_free(c);
}

/* Three: the one that differs from two that agree. */
static void test_peers__odd_of_three(void **state) {
  (void)state;
  plb_capture *a = humps(4, 9, 0.0, 2000.0, 1.5), *b = humps(4, 9, 0.0, 2000.0, 1.4), *c = humps(1, 9, 0.0, 2000.0, 6.0);
  plb_peers *p = NULL;
  plb_error err = PLB_ERROR_INIT;
  const plb_peer_options how = PLB_PEER_OPTIONS_INIT;
  double *x = plb_capture_copy_values(c, 0);
  for (size_t i = 0; i < plb_capture_samples(c); i++) {
    x[i] = 100.0 + 0.7 * (x[i] - 100.0);
  }
  plb_capture *low = plb_capture_new();
  low->rate_hz = 2000.0;
  assert_int_equal(plb_capture_add_real(low, "current", "A", x, plb_capture_samples(c), &err), PLB_OK);
  const plb_part part[3] = {{a, NULL, "a"}, {low, NULL, "low"}, {b, NULL, "b"}};
  assert_int_equal(plb_find_odd(&p, part, 3, &how, &err), PLB_OK);
  assert_int_equal(p->odd, 1);
  plb_peers_free(p);
  free(x);
  plb_capture_free(a);
  plb_capture_free(b);
  plb_capture_free(c);
  plb_capture_free(low);
}

/* A dead part is odd whatever the others do. */
static void test_peers__dead_part_is_odd(void **state) {
  (void)state;
  plb_capture *live = humps(4, 9, 0.0, 2000.0, 1.5), *dead = plb_capture_new();
  enum { N = 20000 };
  double *flat = plb_calloc(N, sizeof *flat);
  plb_peers *p = NULL;
  plb_error err = PLB_ERROR_INIT;
  const plb_peer_options how = PLB_PEER_OPTIONS_INIT;
  dead->rate_hz = 2000.0;
  assert_int_equal(plb_capture_add_real(dead, "current", "A", flat, N, &err), PLB_OK);
  const plb_part part[5] = {{live, NULL, "a"}, {live, NULL, "b"}, {dead, NULL, "dead"}, {live, NULL, "c"}, {live, NULL, "d"}};
  assert_int_equal(plb_find_odd(&p, part, 5, &how, &err), PLB_OK);
  assert_int_equal(p->odd, 2);
  assert_int_equal(p->reasons, 1);
  assert_string_equal(p->reason[0].code, "no-signal");
  plb_peers_free(p);
  free(flat);
  plb_capture_free(live);
  plb_capture_free(dead);
}

static void test_peers__refuses_two_parts_and_mixed_units(void **state) {
  (void)state;
  plb_capture *a = humps(4, 9, 0.0, 2000.0, 1.5), *b = draw("wheel-speed-inductive", 1, NULL);
  plb_peers *p = NULL;
  plb_error err = PLB_ERROR_INIT;
  const plb_peer_options how = PLB_PEER_OPTIONS_INIT;
  const plb_part two[2] = {{a, NULL, "a"}, {a, NULL, "b"}};
  const plb_part mixed[3] = {{a, "current", "a"}, {a, "current", "b"}, {b, plb_capture_role(b, 0), "c"}};
  assert_int_equal(plb_find_odd(&p, two, 2, &how, &err), PLB_EUSAGE);
  assert_int_equal(plb_find_odd(&p, mixed, 3, &how, &err), PLB_EDATA);
  assert_non_null(strstr(err.message, "in V"));
  plb_capture_free(a);
  plb_capture_free(b);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_peers__faulty_part_is_named), cmocka_unit_test(test_peers__healthy_parts_are_alike),
      cmocka_unit_test(test_peers__one_low_hump_of_four),
      cmocka_unit_test(test_peers__leaking_cylinder_in_starter_current), cmocka_unit_test(test_peers__four_like_humps),
      cmocka_unit_test(test_peers__odd_of_three),         cmocka_unit_test(test_peers__dead_part_is_odd),
      cmocka_unit_test(test_peers__refuses_two_parts_and_mixed_units)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
