#include "capture_test.h"
#include <math.h>
#include "capture/comtrade.h"

/*
 * COMTRADE. The standard itself was not read: rows and scaling are VERIFIED (2nd-hand) where a public program or reader
 * shows them, else FROM MEMORY or COMPUTED, as said beside each.
 */

enum { BYTES = 4096 };

/* A combined file: the lines of a configuration, then rows. @return its size */
static size_t combine(char out[BYTES], const char *config, const char *heading, const void *rows, size_t size) {
  const int head = snprintf(out, BYTES, "--- file type: CFG ---\r\n%s--- file type: INF ---\r\n\r\n--- file type: HDR ---\r\n\r\n"
                                        "--- file type: DAT %s ---\r\n", config, heading);
  assert_true(head > 0 && (size_t)head + size <= BYTES);
  memcpy(out + head, rows, size);
  return (size_t)head + size;
}

static plb_capture *read_rows(const char *config, const char *heading, const void *rows, size_t size) {
  char file[BYTES];
  return read_bytes_at(file, combine(file, config, heading, rows, size), 0.0);
}

#define ANALOG(n) #n ",,,,V,1,0,0,-32768,32767,1,1,P\r\n"
#define STATE(n) #n ",,,,0\r\n"
#define SIX_AND_SIX                                                                                                              \
  ANALOG(1) ANALOG(2) ANALOG(3) ANALOG(4) ANALOG(5) ANALOG(6) STATE(1) STATE(2) STATE(3) STATE(4) STATE(5) STATE(6)
#define TIMES "11/07/1995,17:38:26.663700\r\n11/07/1995,17:38:26.687500\r\n"

static void assert_row(const plb_capture *c, size_t row, const double expected[12]) {
  assert_int_equal(plb_capture_channels(c), 12);
  for (size_t i = 0; i < 12; i++) {
    double value;
    plb_capture_values(c, i, row, 1, &value);
    assert_same_bits(value, expected[i]);
  }
}

/* The worked row of the 1999 standard's annex: VERIFIED bytes in a public test program. */
static void test_comtrade__binary_row_of_the_1999_annex(void **state) {
  (void)state;
  static const unsigned char row[] = {0x01, 0, 0, 0, 0, 0, 0, 0, 0x1E, 0xFC, 0xB5, 0x04, 0x64, 0x00, 0x1D, 0x00, 0x79, 0xFF, 0x3B, 0xFF, 0x00, 0x00};
  plb_capture *c = read_rows("Condie,518,1999\r\n12,6A,6D\r\n" SIX_AND_SIX "60\r\n1\r\n6000,1\r\n" TIMES "BINARY\r\n1\r\n", "BINARY: 22", row, sizeof row);
  assert_row(c, 0, (const double[]){-994, 1205, 100, 29, -135, -197, 0, 0, 0, 0, 0, 0});
  assert_same_bits(plb_capture_rate_hz(c), 6000.0);
  assert_same_bits(plb_capture_start_s(c), 0.0);
  assert_string_equal(plb_capture_format(c), "COMTRADE");
  assert_int_equal(plb_capture_column(c, 0), 3); /* behind number and time */
  plb_capture_free(c);
}

/* The same file's second row in text: VERIFIED; 1/6000 s is printed as 167 us. */
static void test_comtrade__text_row_of_the_1999_annex(void **state) {
  (void)state;
  static const char rows[] = "1, 0, -994, 1205, 100, 29, -135, -197, 0,0,0,0,0,0\r\n2, 167, -943, 1231, 94, 37, -137, -275, 0,0,0,0,0,0\r\n";
  plb_capture *c = read_rows("Condie,518,1999\r\n12,6A,6D\r\n" SIX_AND_SIX "60\r\n1\r\n6000,2\r\n" TIMES "ASCII\r\n1\r\n", "ASCII", rows, sizeof rows - 1);
  assert_row(c, 1, (const double[]){-943, 1231, 94, 37, -137, -275, 0, 0, 0, 0, 0, 0});
  assert_true(has_note(c, "the trigger came 0.0238 s after the first sample")); /* COMPUTED */
  plb_capture_free(c);
}

/* The worked pair of clause 6, FROM MEMORY, self-consistent (COMPUTED): the same row as text and as bytes. */
static void test_comtrade__text_and_binary_rows_of_clause_6_agree(void **state) {
  (void)state;
  static const char text[] = "5,667,-760,1274,72,61,-140,-502,0,0,0,0,1,1";
  static const unsigned char bytes[] = {0x05, 0, 0, 0, 0x9B, 0x02, 0, 0, 0x08, 0xFD, 0xFA, 0x04, 0x48, 0x00, 0x3D, 0x00, 0x74, 0xFF, 0x0A, 0xFE, 0x30, 0x00};
  static const double expected[] = {-760, 1274, 72, 61, -140, -502, 0, 0, 0, 0, 1, 1};
  plb_capture *a = read_rows("Condie,518,1999\r\n12,6A,6D\r\n" SIX_AND_SIX "60\r\n1\r\n6000,1\r\n" TIMES "ASCII\r\n1\r\n", "ASCII", text, sizeof text - 1);
  plb_capture *b = read_rows("Condie,518,1999\r\n12,6A,6D\r\n" SIX_AND_SIX "60\r\n1\r\n6000,1\r\n" TIMES "BINARY\r\n1\r\n", "BINARY:22", bytes, sizeof bytes);
  assert_row(a, 0, expected);
  assert_row(b, 0, expected);
  assert_same_bits(plb_capture_start_s(a), 667e-6);
  assert_same_bits(plb_capture_start_s(b), 667e-6);
  plb_capture_free(a);
  plb_capture_free(b);
}

/*
 * A sample file of 2013 in a public reader's tests: VERIFIED header lines and the analog values of its first two rows (the file has
 * 40; its status values in row 2 are not quoted, nought here). The first row's time is 72,500 us, not 0; the zone "-5h30" is no
 * number; the file ends without a line end.
 */
static const char config_2013[] =
    "SMARTSTATION,IED123,2013\r\n8,4A,4D\r\n"
    "1,IA,,,A,0.1138916015625,0.05694580078125,0,-32768,32767,933,1,P\r\n"
    "2,IB,,,A,0.1138916015625,0.05694580078125,0,-32768,32767,933,1,P\r\n"
    "3,IC,,,A,0.1138916015625,0.05694580078125,0,-32768,32767,933,1,P\r\n"
    "4,3I0,,,A,0.1138916015625,0.05694580078125,0,-32768,32767,933,1,P\r\n"
    "1,51A,,,0\r\n2,51B,,,0\r\n3,51C,,,0\r\n4,51N,,,0\r\n"
    "60\r\n1\r\n1200,%s\r\n12/01/2011,05:55:30.075011\r\n12/01/2011,05:55:30.078261\r\nASCII\r\n1\r\n-5h30,-5h30\r\nB,3\r\n";

static void test_comtrade__sample_of_2013(void **state) {
  (void)state;
  static const char rows[] = "1,72500,-83,68,7,-8,0,0,0,0\r\n2,73333,-15,5,4,-6,0,0,0,0";
  char config[BYTES];
  snprintf(config, sizeof config, config_2013, "2");
  plb_capture *c = read_rows(config, "ASCII", rows, sizeof rows - 1);
  double value;
  plb_capture_values(c, 0, 0, 1, &value);
  assert_true(value > -9.3960575 && value < -9.3960565); /* COMPUTED: -83 * a + b = -9.396057 A */
  assert_same_bits(value, -83 * 0.1138916015625 + 0.05694580078125);
  assert_same_bits(plb_capture_start_s(c), 0.0725);
  assert_same_bits(plb_capture_rate_hz(c), 1200.0);
  assert_string_equal(plb_capture_role(c, 3), "3I0");
  assert_string_equal(plb_capture_unit(c, 0), "A");
  assert_true(has_note(c, "the trigger came 0.00325 s after the first sample"));
  plb_capture_free(c);
}

/* COMPUTED: the extreme codes lie symmetrically, -3731.943054 A and +3731.943054 A. */
static void test_comtrade__offset_makes_the_extreme_codes_symmetric(void **state) {
  (void)state;
  static const char rows[] = "1,0,-32768,0,0,0,0,0,0,0\r\n2,833,32767,0,0,0,0,0,0,0\r\n";
  char config[BYTES];
  snprintf(config, sizeof config, config_2013, "2");
  plb_capture *c = read_rows(config, "ASCII", rows, sizeof rows - 1);
  double v[2];
  plb_capture_values(c, 0, 0, 2, v);
  assert_same_bits(v[0], -v[1]);
  assert_true(v[1] > 3731.9430535 && v[1] < 3731.9430545);
  plb_capture_free(c);
}

/* A minimal file of 1999 in a public reader's tests: VERIFIED, values 0 and -2.762, times 0 and 347 us, trigger after 0.494 s. */
static void test_comtrade__minimal_file_of_1999(void **state) {
  (void)state;
  static const char rows[] = "1, 0, 0,0\r\n2,347,-1,1\r\n";
  plb_capture *c = read_rows("S,R,1999\r\n2,1A,1D\r\n1,VA,,,kV,2.762,0,0,-32768,32767,1,1,P\r\n1,TRIP,,,0\r\n60\r\n1\r\n2880,2\r\n"
                             "01/01/2000,10:30:00.228000\r\n01/01/2000,10:30:00.722000\r\nASCII\r\n1\r\n",
                             "ASCII", rows, sizeof rows - 1);
  assert_values(c, 0, (const double[]){0.0, -2.762}, 2);
  assert_values(c, 1, (const double[]){0, 1}, 2);
  assert_true(has_note(c, "the trigger came 0.494 s after"));
  plb_capture_free(c);
}

#define ONE(year, kind) "S,R," year "\r\n1,1A,0D\r\n1,U,,,V,0.001,0,0,-32767,32767,1,1,P\r\n50\r\n1\r\n1000,", "\r\n,\r\n,\r\n" kind "\r\n1\r\n"

static plb_capture *read_one(const char *before, const char *after, int rows, const char *heading, const void *data, size_t size) {
  char config[BYTES];
  snprintf(config, sizeof config, "%s%d%s", before, rows, after);
  return read_rows(config, heading, data, size);
}

/* Missing: 0x8000, 0x80000000, nothing in text, 99999 in 1991 only (VERIFIED constants of a public reader). */
static void test_comtrade__missing_values(void **state) {
  (void)state;
  static const double expected[] = {0.001, NAN, -0.002};
  static const unsigned char b16[] = {1, 0, 0, 0, 0, 0, 0, 0, 1, 0, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0x80, 3, 0, 0, 0, 0, 0, 0, 0, 0xFE, 0xFF};
  static const unsigned char b32[] = {1, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x80, 3, 0, 0, 0, 0, 0, 0, 0, 0xFE, 0xFF, 0xFF, 0xFF};
  plb_capture *c = read_one(ONE("2013", "BINARY"), 3, "BINARY: 30", b16, sizeof b16);
  assert_values(c, 0, expected, 3);
  assert_true(has_note(c, "missing samples: 1"));
  plb_capture_free(c);
  c = read_one(ONE("2013", "BINARY32"), 3, "BINARY32: 36", b32, sizeof b32);
  assert_values(c, 0, expected, 3);
  plb_capture_free(c);
  c = read_one(ONE("2013", "ASCII"), 3, "ASCII", "1,0,1\n2,,\n3,2000,-2\n", 19);
  assert_values(c, 0, expected, 3);
  plb_capture_free(c);
  c = read_one(ONE("1991", "ASCII"), 3, "ASCII", "1,0,1\n2,1,99999\n3,2,-2\n", 23);
  assert_values(c, 0, expected, 3);
  plb_capture_free(c);
  c = read_one(ONE("1999", "ASCII"), 3, "ASCII", "1,0,1\n2,1,99999\n3,2,-2\n", 23);
  assert_values(c, 0, (const double[]){0.001, 99.999, -0.002}, 3);
  plb_capture_free(c);
}

/* 0.001 times 4095 is 4.095 as text has it, although the double product is not. */
static void test_comtrade__multiplier_of_a_thousandth_is_exact(void **state) {
  (void)state;
  plb_capture *c = read_one(ONE("2013", "ASCII"), 1, "ASCII", "1,0,4095", 8);
  assert_values(c, 0, (const double[]){4.095}, 1);
  plb_capture_free(c);
}

static void test_comtrade__float32_values(void **state) {
  (void)state;
  unsigned char rows[24] = {1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 2, 0, 0, 0, 0, 0, 0, 0};
  const float x[2] = {-0.1f, 12345.678f};
  memcpy(rows + 8, &x[0], 4); /* little-endian machine, as the tests' others */
  memcpy(rows + 20, &x[1], 4);
  char config[BYTES];
  snprintf(config, sizeof config, "S,R,2013\r\n1,1A,0D\r\n1,U,,,V,1,0,0,0,0,1,1,P\r\n50\r\n1\r\n1000,2\r\n,\r\n,\r\nFLOAT32\r\n1\r\n");
  plb_capture *c = read_rows(config, "FLOAT32: 24", rows, sizeof rows);
  assert_values(c, 0, (const double[]){(double)x[0], (double)x[1]}, 2);
  plb_capture_free(c);
}

/* Status channels 1 to 16 fill one word, the 17th begins the next (VERIFIED: a public reader's format strings). */
static void test_comtrade__status_words(void **state) {
  (void)state;
  char config[BYTES];
  size_t used = (size_t)snprintf(config, sizeof config, "S,R,1999\n17,0A,17D\n");
  for (int i = 1; i <= 17; i++)
    used += (size_t)snprintf(config + used, sizeof config - used, "%d,,,,0\n", i);
  snprintf(config + used, sizeof config - used, "50\n1\n1000,1\n,\n,\nBINARY\n1\n");
  static const unsigned char row[] = {1, 0, 0, 0, 0, 0, 0, 0, 0x01, 0x80, 0x01, 0x00};
  plb_capture *c = read_rows(config, "BINARY: 12", row, sizeof row);
  for (size_t i = 0; i < 17; i++) {
    double value;
    plb_capture_values(c, i, 0, 1, &value);
    assert_same_bits(value, i == 0 || i == 15 || i == 16 ? 1.0 : 0.0);
  }
  assert_string_equal(plb_capture_role(c, 16), "D17");
  plb_capture_free(c);
}

/* No rate: the times tell it, in us, in ns where the times of day have nine decimals, times the multiplier. */
static void test_comtrade__rate_from_the_times(void **state) {
  (void)state;
  static const char rows[] = "1,0,1\n2,250,2\n3,500,3\n4,750,4\n";
  static const char form[] = "S,R,2013\n1,1A,0D\n1,U,,,V,1,0,0,0,0,1,1,P\n50\n0\n0,4\n%s\n%s\nASCII\n%s\n";
  char config[BYTES];
  snprintf(config, sizeof config, form, "01/02/2024,00:00:00.000000", "01/02/2024,00:00:00.000000", "1");
  plb_capture *c = read_rows(config, "ASCII", rows, sizeof rows - 1);
  assert_same_bits(plb_capture_rate_hz(c), 4000.0);
  plb_capture_free(c);
  snprintf(config, sizeof config, form, "01/02/2024,00:00:00.000000000", "01/02/2024,00:00:00.000000000", "2");
  c = read_rows(config, "ASCII", rows, sizeof rows - 1);
  assert_same_bits(plb_capture_rate_hz(c), 2e6);
  plb_capture_free(c);
}

/* 1991 writes the month first, later revisions the day (VERIFIED: a public reader); midnight and leap day between. */
static void test_comtrade__order_of_dates(void **state) {
  (void)state;
  static const char form[] = "S,R%s\n1,1A,0D\n1,U,,,V,1,0,0,0,0,1,1,P\n50\n1\n1000,1\n%s,23:59:59.500000\n%s,00:00:00.500000\nASCII\n1\n";
  char config[BYTES];
  snprintf(config, sizeof config, form, "", "02/03/96", "02/04/96");
  plb_capture *c = read_rows(config, "ASCII", "1,0,1", 5);
  assert_true(has_note(c, "the trigger came 1 s after"));
  plb_capture_free(c);
  snprintf(config, sizeof config, form, ",1999", "28/02/2000", "01/03/2000");
  c = read_rows(config, "ASCII", "1,0,1", 5);
  assert_true(has_note(c, "the trigger came 86401 s after"));
  plb_capture_free(c);
  assert_int_equal(plb_comtrade_day(1970, 1, 1), 0);
  assert_int_equal(plb_comtrade_day(2000, 3, 1), 11017); /* COMPUTED with Python's datetime */
}

/* Two files, found by either name. */
static void test_comtrade__two_files(void **state) {
  (void)state;
  plb_error err = PLB_ERROR_INIT;
  plb_capture *a = NULL, *b = NULL;
  assert_int_equal(plb_capture_read(&a, PLB_SOURCE_DIR "/tests/data/good/captures/comtrade-two-files.cfg", NULL, &err), PLB_OK);
  assert_int_equal(plb_capture_read(&b, PLB_SOURCE_DIR "/tests/data/good/captures/comtrade-two-files.dat", NULL, &err), PLB_OK);
  assert_int_equal(a->samples, b->samples);
  assert_string_equal(a->sha256, b->sha256);
  assert_string_equal(a->path, b->path);
  plb_capture_free(a);
  plb_capture_free(b);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_comtrade__binary_row_of_the_1999_annex),
      cmocka_unit_test(test_comtrade__text_row_of_the_1999_annex),
      cmocka_unit_test(test_comtrade__text_and_binary_rows_of_clause_6_agree),
      cmocka_unit_test(test_comtrade__sample_of_2013),
      cmocka_unit_test(test_comtrade__offset_makes_the_extreme_codes_symmetric),
      cmocka_unit_test(test_comtrade__minimal_file_of_1999),
      cmocka_unit_test(test_comtrade__missing_values),
      cmocka_unit_test(test_comtrade__multiplier_of_a_thousandth_is_exact),
      cmocka_unit_test(test_comtrade__float32_values),
      cmocka_unit_test(test_comtrade__status_words),
      cmocka_unit_test(test_comtrade__rate_from_the_times),
      cmocka_unit_test(test_comtrade__order_of_dates),
      cmocka_unit_test(test_comtrade__two_files),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
