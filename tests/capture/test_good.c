#include "capture_test.h"

/* The files of tests/data/good/captures all hold the same four samples of two channels at 1 kHz, each in the form it is named for. */
typedef struct good_file {
  const char *name;
  const char *roles[2], *units[2];
  double factor; /* of the values in the file against those below */
} good_file;

static const good_file files[] = {
    {"comma.csv", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"semicolon-decimal-comma-crlf.csv", {"Spannung", "Strom"}, {"V", "A"}, 1},
    {"tab-preamble-cr.txt", {"U", "I"}, {"mV", "mA"}, 1000},
    {"blanks-comments.txt", {"CH1", "CH2"}, {"1", "1"}, 1},
    {"utf16.csv", {"CH1", "CH2"}, {"uV", "1"}, 1},
    {"interval-in-preamble.csv", {"CH1", "CH2"}, {"1", "1"}, 1},
    {"two-channels-16-bit.wav", {"c1", "c2"}, {"1", "1"}, 1000.0 / 32768.0},
    {"time-and-two-columns-big-endian.npy", {"c2", "c3"}, {"1", "1"}, 1},
    {"times-of-day.csv", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"dates-day-first.csv", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"dates-iso-8601.csv", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"archive-stored.npz", {"CH1", "CH2"}, {"1", "1"}, 1},
    {"archive-deflated.npz", {"CH1", "CH2"}, {"1", "1"}, 1},
    {"archive-units-in-names.npz", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"archive-rate-as-a-number.npz", {"CH1", "CH2"}, {"1", "1"}, 1},
    {"comtrade-two-files.cfg", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"comtrade-1991-binary.cfg", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"comtrade-ascii.cff", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"comtrade-binary.cff", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"comtrade-binary32.cff", {"CH1", "CH2"}, {"V", "A"}, 1},
    {"comtrade-float32.cff", {"CH1", "CH2"}, {"V", "A"}, 1},
};

static void test_good__every_file_reads_the_same(void **state) {
  (void)state;
  static const double values[2][4] = {{1.5, -2.25, 3, 0.5}, {10, 20, 30.5, 1}};
  for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
    char path[PLB_PATH_SIZE];
    snprintf(path, sizeof path, "%s/tests/data/good/captures/%s", PLB_SOURCE_DIR, files[i].name);
    plb_capture *c = NULL;
    plb_error error = PLB_ERROR_INIT;
    if (plb_capture_read(&c, path, NULL, &error) != PLB_OK)
      fail_msg("%s: %s", path, error.message);
    assert_int_equal(plb_capture_channels(c), 2);
    assert_same_bits(plb_capture_rate_hz(c), 1000.0);
    assert_same_bits(plb_capture_start_s(c), 0.0);
    for (size_t k = 0; k < 2; k++) {
      assert_string_equal(plb_capture_role(c, k), files[i].roles[k]);
      assert_string_equal(plb_capture_unit(c, k), files[i].units[k]);
      double expected[4];
      for (size_t j = 0; j < 4; j++)
        expected[j] = values[k][j] * files[i].factor;
      assert_values(c, k, expected, 4);
    }
    assert_string_equal(plb_capture_path(c), path);
    assert_int_equal(strlen(plb_capture_sha256(c)), 64);
    plb_capture_free(c);
  }
}

/* COMPUTED with sha256sum. */
static void test_good__hash_is_of_the_bytes(void **state) {
  (void)state;
  plb_capture *c = read_at("0;1\n1;2\n", 0);
  assert_string_equal(plb_capture_sha256(c), "d36cc3faeba0dbd7ffd9a87593642c63a0ef4f004123ee79b1d6b353ba3c4380");
  plb_capture_free(c);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_good__every_file_reads_the_same),
                                     cmocka_unit_test(test_good__hash_is_of_the_bytes)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
