#include "capture_test.h"
#include "core/random.h"
#include <math.h>
#include <unistd.h>

static void check_round_trip(const plb_capture *c) {
  char path[] = "/tmp/plumbline-writer-XXXXXX";
  const int fd = mkstemp(path);
  assert_true(fd >= 0);
  close(fd);
  plb_error error = PLB_ERROR_INIT;
  if (plb_capture_write_text(c, path, &error) != PLB_OK)
    fail_msg("%s", error.message);
  plb_capture *back = NULL;
  if (plb_capture_read(&back, path, NULL, &error) != PLB_OK)
    fail_msg("line %lld: %s", (long long)error.line, error.message);
  remove(path);
  assert_int_equal(back->channels, c->channels);
  assert_same_bits(back->rate_hz, c->rate_hz);
  assert_same_bits(back->start_s, c->start_s);
  assert_true(back->uneven < 0.01);
  for (size_t i = 0; i < c->channels; i++) {
    double *expected = plb_capture_copy_values(c, i);
    assert_values(back, i, expected, c->samples);
    free(expected);
    assert_string_equal(plb_capture_role(back, i), plb_capture_role(c, i));
    assert_string_equal(plb_capture_unit(back, i), plb_capture_unit(c, i));
  }
  plb_capture_free(back);
}

/* Doubles of all sizes, missing samples, odd rates and starts, names that need quotes. */
static void test_writer__doubles_come_back(void **state) {
  (void)state;
  static const double rates[] = {1, 10, 44100, 100000, 1e7, 0.5, 99999.83, 333.33333333333331};
  static const double starts[] = {0, -0.0025, 12.3456789012345};
  enum { N = 1000 };
  double x[N], y[N];
  plb_random random;
  plb_random_seed(&random, 4);
  for (size_t i = 0; i < N; i++) {
    x[i] = i % 97 == 5 ? NAN : plb_random_normal(&random) * pow(10.0, (double)plb_random_below(&random, 30) - 15.0);
    y[i] = floor(100.0 * plb_random_normal(&random));
  }
  for (size_t r = 0; r < sizeof rates / sizeof rates[0]; r++) {
    for (size_t s = 0; s < sizeof starts / sizeof starts[0]; s++) {
      plb_capture *c = plb_capture_new();
      assert_int_equal(plb_capture_add_real(c, "crank, \"raw\" (old)", "mV", x, N, NULL), PLB_OK);
      assert_int_equal(plb_capture_add_real(c, "t", "1", y, N, NULL), PLB_OK);
      assert_int_equal(plb_capture_add_real(c, "speed", "/min", x, N, NULL), PLB_OK);
      c->rate_hz = rates[r];
      c->start_s = starts[s];
      check_round_trip(c);
      plb_capture_free(c);
    }
  }
}

static void test_writer__codes_come_back_as_codes(void **state) {
  (void)state;
  plb_capture *c = read_at("t,a (V),b\n0,-0.05,2147483647\n0.1,1.5,-2147483647\n0.2,0.07,0\n", 0);
  check_round_trip(c);
  c->channel[0].factor = 10;
  check_round_trip(c);
  plb_capture_free(c);
}

static void test_writer__cannot_create(void **state) {
  (void)state;
  plb_capture *c = read_at("0,1\n1,5\n2,2\n", 0);
  plb_error error = PLB_ERROR_INIT;
  assert_int_equal(plb_capture_write_text(c, "/no/such/folder/x.csv", &error), PLB_ECREATE);
  assert_string_equal(error.path, "/no/such/folder/x.csv");
  plb_capture_free(c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_writer__doubles_come_back),
      cmocka_unit_test(test_writer__codes_come_back_as_codes),
      cmocka_unit_test(test_writer__cannot_create),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
