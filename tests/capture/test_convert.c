#include "capture_test.h"
#include "core/random.h"
#include <math.h>
#include <string.h>
#include <unistd.h>

/* What each writer of binary files and COMTRADE writes, its reader gives back bit for bit; where not, by how much. */

enum { N = 1500 };

typedef plb_status (*writer)(const plb_capture *, const char *, plb_error *);

static plb_status write_binary(const plb_capture *c, const char *path, plb_error *err) {
  return plb_capture_write_comtrade(c, path, false, err);
}
static plb_status write_ascii(const plb_capture *c, const char *path, plb_error *err) {
  return plb_capture_write_comtrade(c, path, true, err);
}

static plb_capture *through(const plb_capture *c, writer write, const char *ending) {
  char folder[] = "/tmp/plumbline-convert-XXXXXX", path[64], beside[64];
  assert_non_null(mkdtemp(folder));
  snprintf(path, sizeof path, "%s/a%s", folder, ending);
  snprintf(beside, sizeof beside, "%s/a.dat", folder);
  plb_error error = PLB_ERROR_INIT;
  plb_capture *back = NULL;
  if (write(c, path, &error) != PLB_OK || plb_capture_read(&back, path, NULL, &error) != PLB_OK)
    fail_msg("%s: line %lld byte %lld: %s", path, (long long)error.line, (long long)error.byte, error.message);
  remove(path);
  remove(beside);
  rmdir(folder);
  assert_int_equal(back->channels, c->channels);
  assert_int_equal(back->samples, c->samples);
  return back;
}

static void check_same(const plb_capture *c, writer write, const char *ending) {
  plb_capture *back = through(c, write, ending);
  for (size_t i = 0; i < c->channels; i++) {
    double *expected = plb_capture_copy_values(c, i);
    assert_values(back, i, expected, c->samples);
    free(expected);
  }
  plb_capture_free(back);
}

static plb_capture *make_codes(int decimals, int32_t most) {
  plb_capture *c = plb_capture_new();
  plb_random random;
  plb_random_seed(&random, 11);
  for (int k = 0; k < 2; k++) {
    plb_channel *channel = plb_capture_add_channel(c);
    snprintf(channel->role, sizeof channel->role, "ch%d", k);
    snprintf(channel->unit, sizeof channel->unit, "V");
    channel->samples.code = calloc(N, sizeof(int32_t));
    channel->samples.decimals = decimals;
    for (size_t i = 0; i < N; i++)
      channel->samples.code[i] = (int32_t)plb_random_below(&random, (uint64_t)most) - most / 2;
  }
  c->samples = N;
  c->rate_hz = 50000;
  return c;
}

static plb_capture *make_reals(bool floats) {
  double x[N];
  plb_random random;
  plb_random_seed(&random, 12);
  for (size_t i = 0; i < N; i++) {
    x[i] = plb_random_normal(&random) * 1e3;
    x[i] = i % 89 == 7 ? NAN : floats ? (double)(float)x[i] : x[i];
  }
  plb_capture *c = plb_capture_new();
  assert_int_equal(plb_capture_add_real(c, "pressure, rail", "kPa", x, N, NULL), PLB_OK);
  c->samples = N;
  c->rate_hz = 44100;
  return c;
}

static void check_kind(const plb_capture *c, const char *kind) {
  plb_capture *back = through(c, write_binary, ".cff");
  char note[64];
  bool found = false;
  snprintf(note, sizeof note, "COMTRADE of 2013, %s", kind);
  for (size_t i = 0; i < plb_capture_notes(back); i++)
    found = found || strcmp(plb_capture_note(back, i), note) == 0;
  assert_true(found);
  assert_same_bits(back->rate_hz, c->rate_hz);
  plb_capture_free(back);
}

static void test_convert__decimal_text_comes_back_from_comtrade(void **state) {
  (void)state;
  for (int decimals = 0; decimals <= 6; decimals++) {
    plb_capture *narrow = make_codes(decimals, 65534), *wide = make_codes(decimals, 2000000000);
    check_same(narrow, write_binary, ".cff");
    check_same(narrow, write_binary, ".cfg");
    check_same(narrow, write_ascii, ".cfg");
    check_same(wide, write_binary, ".cfg");
    check_same(wide, write_ascii, ".cff");
    check_kind(narrow, "BINARY");
    check_kind(wide, "BINARY32");
    plb_capture_free(narrow);
    plb_capture_free(wide);
  }
}

static void test_convert__floats_come_back_from_float32(void **state) {
  (void)state;
  plb_capture *c = make_reals(true);
  check_kind(c, "FLOAT32");
  check_same(c, write_binary, ".cff");
  check_same(c, write_ascii, ".cfg");
  check_same(c, plb_capture_write_wave, ".wav");
  plb_capture_free(c);
}

/* Half a step of 2^32 over the span, and a little for the arithmetic. */
static void test_convert__doubles_lose_half_a_step_in_32_bits(void **state) {
  (void)state;
  plb_capture *c = make_reals(false), *back = through(c, write_binary, ".cff");
  double *was = plb_capture_copy_values(c, 0), *is = plb_capture_copy_values(back, 0), most = 0, low = 0, high = 0;
  for (size_t i = 0; i < N; i++) {
    assert_int_equal(isnan(was[i]), isnan(is[i]));
    most = fmax(most, fabs(was[i] - is[i]));
    low = fmin(low, was[i]);
    high = fmax(high, was[i]);
  }
  assert_true(most > 0.0);
  assert_true(most <= 0.51 * (high - low) / 4294967292.0);
  free(was);
  free(is);
  plb_capture_free(back);
  check_same(c, write_ascii, ".cff");
  check_same(c, plb_capture_write_wave, ".wav");
  check_same(c, plb_capture_write_npy, ".npy");
  plb_capture_free(c);
}

/* A WAVE file has whole rates only. */
static void test_convert__wave_refuses_a_broken_rate(void **state) {
  (void)state;
  plb_capture *c = make_reals(true);
  plb_error error = PLB_ERROR_INIT;
  c->rate_hz = 44100.5;
  assert_int_equal(plb_capture_write_wave(c, "/tmp/plumbline-never.wav", &error), PLB_EDATA);
  assert_non_null(strstr(error.message, "44100.5"));
  plb_capture_free(c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_convert__decimal_text_comes_back_from_comtrade),
      cmocka_unit_test(test_convert__floats_come_back_from_float32),
      cmocka_unit_test(test_convert__doubles_lose_half_a_step_in_32_bits),
      cmocka_unit_test(test_convert__wave_refuses_a_broken_rate),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
