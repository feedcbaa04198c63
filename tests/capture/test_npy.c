#include "capture_test.h"
#include <math.h>

/* .npy files are put together here from the published layout (CHECK-VALUES: .npy). */
typedef struct file {
  char byte[1024];
  size_t size;
} file;

static file with_header(unsigned major, const char *header) {
  file f = {.size = 0};
  const size_t start = major == 1 ? 10 : 12;
  const size_t length = (start + strlen(header) + 1 + 63) / 64 * 64 - start; /* the array begins at a multiple of 64 */
  memcpy(f.byte, "\x93NUMPY", 6);
  f.byte[6] = (char)major;
  f.byte[8] = (char)(length & 0xFF);
  f.byte[9] = (char)(length >> 8);
  memset(f.byte + start, ' ', length);
  memcpy(f.byte + start, header, strlen(header));
  f.byte[start + length - 1] = '\n';
  f.size = start + length;
  return f;
}

static void put(file *f, const void *data, size_t size) {
  memcpy(f->byte + f->size, data, size);
  f->size += size;
}

static plb_capture *read_array(const file *f, double rate_hz) { return read_bytes_at(f->byte, f->size, rate_hz); }

/* COMPUTED with numpy 1.24: np.save of float64 (1.5, -2, 0.1): header length 0x0076, the array at byte 128. */
static void test_npy__bytes_as_numpy_writes_them(void **state) {
  (void)state;
  file f = with_header(1, "{'descr': '<f8', 'fortran_order': False, 'shape': (3,), }");
  assert_int_equal(f.byte[8], 0x76);
  assert_int_equal(f.size, 128);
  put(&f, "\0\0\0\0\0\0\xF8\x3F\0\0\0\0\0\0\0\xC0\x9A\x99\x99\x99\x99\x99\xB9\x3F", 24);
  plb_capture *c = read_array(&f, 100);
  const double expected[] = {1.5, -2, 0.1};
  assert_values(c, 0, expected, 3);
  assert_string_equal(plb_capture_role(c, 0), "c1");
  assert_string_equal(c->format, "NumPy array");
  plb_capture_free(c);
}

typedef struct type_row {
  const char *descr;
  const char *bytes;
  size_t size;
  double expected[2];
} type_row;

static void test_npy__types_and_byte_orders(void **state) {
  (void)state;
  static const type_row rows[] = {
      {"|i1", "\x80\x7F", 2, {-128, 127}},
      {"|u1", "\x80\xFF", 2, {128, 255}},
      {"|b1", "\0\1", 2, {0, 1}},
      {"<i2", "\0\x80\x34\x12", 4, {-32768, 0x1234}},
      {">i2", "\x80\0\x12\x34", 4, {-32768, 0x1234}},
      {"<u2", "\0\x80\xFF\xFF", 4, {32768, 65535}},
      {"<i4", "\0\0\0\x80\xFF\xFF\xFF\x7F", 8, {-2147483648.0, 2147483647}},
      {">u4", "\xFF\xFF\xFF\xFF\0\0\0\1", 8, {4294967295.0, 1}},
      {"<i8", "\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\0\0\0\0\1\0\0\0", 16, {-1, 4294967296.0}},
      {">u8", "\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\0\0\0\0\0\0\0\2", 16, {18446744073709551616.0, 2}},
      {"<f2", "\0\x3E\xFF\xFB", 4, {1.5, -65504}}, /* IEEE 754 binary16: 0x3E00, and the largest, 0xFBFF */
      {"<f4", "\0\0\xC0\x3F\0\0\x80\x7F", 8, {1.5, NAN}},
      {">f4", "\x3F\xC0\0\0\x7F\x80\0\0", 8, {1.5, NAN}},
      {">f8", "\x3F\xF8\0\0\0\0\0\0\xC0\0\0\0\0\0\0\0", 16, {1.5, -2}},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char header[128];
    snprintf(header, sizeof header, "{'descr': '%s', 'fortran_order': False, 'shape': (2,), }", rows[i].descr);
    file f = with_header(1, header);
    put(&f, rows[i].bytes, rows[i].size);
    plb_capture *c = read_array(&f, 1);
    print_message("  %s\n", rows[i].descr);
    assert_values(c, 0, rows[i].expected, 2);
    plb_capture_free(c);
  }
}

static void test_npy__small_halves(void **state) {
  (void)state;
  file f = with_header(1, "{'descr': '<f2', 'fortran_order': False, 'shape': (3,), }");
  put(&f, "\1\0\0\4\xFF\3",
      6); /* IEEE 754: the smallest, 2^-24; the smallest normal one, 2^-14; the largest below it */
  plb_capture *c = read_array(&f, 1);
  const double expected[] = {0x1p-24, 0x1p-14, 1023 * 0x1p-24};
  assert_values(c, 0, expected, 3);
  plb_capture_free(c);
}

/* Rows of (1, 10), (2, 20), (3, 30) in every order and version. */
static void test_npy__orders_shapes_versions(void **state) {
  (void)state;
  const double first[] = {1, 2, 3}, second[] = {10, 20, 30};
  for (unsigned major = 1; major <= 3; major++) {
    for (int fortran = 0; fortran < 2; fortran++) {
      for (int by_row = 0; by_row < 2; by_row++) {
        char header[160];
        snprintf(header, sizeof header, "{'descr': '|i1', 'fortran_order': %s, 'shape': (%s), }",
                 fortran ? "True" : "False", by_row ? "2, 3" : "3, 2");
        file f = with_header(major, header);
        put(&f, fortran != by_row ? "\1\2\3\x0A\x14\x1E" : "\1\x0A\2\x14\3\x1E", 6);
        plb_capture *c = read_array(&f, 1);
        assert_int_equal(c->channels, 2);
        assert_values(c, 0, first, 3);
        assert_values(c, 1, second, 3);
        assert_int_equal(has_note(c, "each row of the array is a channel"), by_row);
        plb_capture_free(c);
      }
    }
  }
}

static void test_npy__time_column(void **state) {
  (void)state;
  file f = with_header(1, "{'descr': '<f8', 'fortran_order': True, 'shape': (4, 2), }");
  const double values[] = {0.5, 0.5001, 0.5002, 0.5003, 4, 3, 2, 7};
  put(&f, values, sizeof values); /* this machine's order is little-endian wherever the tests run */
  plb_capture *c = read_array(&f, 0);
  assert_int_equal(c->channels, 1);
  assert_same_bits(c->rate_hz, 10000.0);
  assert_same_bits(c->start_s, 0.5);
  assert_int_equal(plb_capture_column(c, 0), 2);
  assert_values(c, 0, values + 4, 4);
  plb_capture_free(c);
  c = read_array(&f, 5);
  assert_int_equal(c->channels, 2);
  plb_capture_free(c);
}

static void test_npy__other_ways_to_write_the_header(void **state) {
  (void)state;
  const double expected[] = {1, 2};
  static const char *const headers[] = {"{\"shape\":(2,),\"descr\":\"|i1\",\"fortran_order\":False}",
                                        "{'descr': '|i1', 'fortran_order': False, 'shape': (2L,), }"};
  for (int i = 0; i < 2; i++) {
    file f = with_header(1, headers[i]);
    put(&f, "\1\2", 2);
    plb_capture *c = read_array(&f, 1);
    assert_values(c, 0, expected, 2);
    plb_capture_free(c);
  }
}

typedef struct refusal {
  const char *header;
  int64_t byte; /* -1: not checked */
  const char *message;
} refusal;

static void test_npy__refused(void **state) {
  (void)state;
  static const refusal rows[] = {
      {"{'descr': '|O', 'fortran_order': False, 'shape': (3,), }", 20, "Python objects"},
      {"{'descr': [('a', '<f8')], 'fortran_order': False, 'shape': (3,), }", 20, "named fields"},
      {"{'descr': '<c16', 'fortran_order': False, 'shape': (3,), }", 20, "type '<c16'"},
      {"{'descr': '<U5', 'fortran_order': False, 'shape': (3,), }", 20, "type '<U5'"},
      {"{'descr': '<f8', 'fortran_order': False, 'shape': (2, 3, 4), }", -1, "more than two dimensions"},
      {"{'descr': '<f8', 'fortran_order': False, 'shape': (0,), }", 128, "the array is empty"},
      {"{'descr': '<f8', 'fortran_order': False, 'shape': (4,), }", 152,
       "32 bytes of numbers are promised, 24 are there"},
      {"{'descr': '<f8', 'fortran_order': False, 'shape': (2,), }", 144, "8 more bytes behind the array"},
      {"{'descr': '<f8', 'fortran_order': False, 'shape': (99999999999999999999,), }", -1, "damaged here"},
      {"{'descr': '<f8', 'fortran_order': False, 'shape': (9999999999, 9999999999), }", 128, "too large"},
      {"{'descr': '<f8', 'shape': (3,), }", -1, "damaged here"},
      {"{'descr': '<f8', 'fortran_order': Maybe, 'shape': (3,), }", 44, "damaged here"},
      {"{'descr': '<f8', 'fortran_order': False, 'shape': (3,", -1, "damaged here"},
      {"{'descr': '<f8, 'fortran_order': False, 'shape': (3,), }", -1, "damaged here"},
      {"{'other': '<f8', 'fortran_order': False, 'shape': (3,), }", -1, "damaged here"},
      {"import os", 10, "damaged here"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    file f = with_header(1, rows[i].header);
    put(&f, "012345670123456701234567", 24);
    const plb_error error = error_of_bytes(f.byte, f.size, 1);
    assert_int_equal(error.status, PLB_EDATA);
    if (!strstr(error.message, rows[i].message) || (rows[i].byte >= 0 && error.byte != rows[i].byte))
      fail_msg("row %zu: byte %lld, %s", i, (long long)error.byte, error.message);
  }
}

static void test_npy__cut_version_and_rate(void **state) {
  (void)state;
  file f = with_header(1, "{'descr': '|i1', 'fortran_order': False, 'shape': (3,), }");
  put(&f, "\1\2\3", 3);
  for (size_t n = 6; n < f.size; n++)
    assert_non_null(strstr(error_of_bytes(f.byte, n, 1).message, "cut off"));
  assert_non_null(strstr(error_of_bytes(f.byte, f.size, 0).message, "no time column; give --rate"));
  f.byte[6] = 9;
  assert_non_null(strstr(error_of_bytes(f.byte, f.size, 1).message, "version 9"));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_npy__bytes_as_numpy_writes_them),
      cmocka_unit_test(test_npy__types_and_byte_orders),
      cmocka_unit_test(test_npy__small_halves),
      cmocka_unit_test(test_npy__orders_shapes_versions),
      cmocka_unit_test(test_npy__time_column),
      cmocka_unit_test(test_npy__other_ways_to_write_the_header),
      cmocka_unit_test(test_npy__refused),
      cmocka_unit_test(test_npy__cut_version_and_rate),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
