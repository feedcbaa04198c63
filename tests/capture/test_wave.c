#include "capture_test.h"
#include <math.h>

/* WAVE files are put together here byte by byte from the published layout (CHECK-VALUES: RIFF/WAVE sample types, extensible, RF64). */
typedef struct file {
  unsigned char byte[512];
  size_t size;
} file;

static void put(file *f, const void *data, size_t size) {
  memcpy(f->byte + f->size, data, size);
  f->size += size;
}

static void put_id(file *f, const char *id) { put(f, id, 4); }

static void put_number(file *f, uint64_t value, size_t bytes) {
  for (size_t i = 0; i < bytes; i++, value >>= 8)
    f->byte[f->size++] = (unsigned char)(value & 0xFF);
}

static void set_number(file *f, size_t at, uint64_t value, size_t bytes) {
  for (size_t i = 0; i < bytes; i++, value >>= 8)
    f->byte[at + i] = (unsigned char)(value & 0xFF);
}

static void put_fmt(file *f, unsigned tag, unsigned channels, unsigned rate, unsigned bits) {
  put_id(f, "fmt ");
  put_number(f, 16, 4);
  put_number(f, tag, 2);
  put_number(f, channels, 2);
  put_number(f, rate, 4);
  put_number(f, (uint64_t)rate * channels * bits / 8, 4);
  put_number(f, channels * bits / 8, 2);
  put_number(f, bits, 2);
}

static void put_data(file *f, const void *samples, size_t size) {
  put_id(f, "data");
  put_number(f, size, 4);
  put(f, samples, size);
}

static file plain(unsigned tag, unsigned channels, unsigned bits, const void *samples, size_t size) {
  file f = {.size = 0};
  put_id(&f, "RIFF");
  put_number(&f, 36 + size, 4);
  put_id(&f, "WAVE");
  put_fmt(&f, tag, channels, 48000, bits);
  put_data(&f, samples, size);
  return f;
}

static plb_capture *read_file_at(const file *f) { return read_bytes_at(f->byte, f->size, 0); }

static void check_codes(const file *f, size_t channel, const int32_t *expected, size_t n, unsigned bits) {
  plb_capture *c = read_file_at(f);
  assert_string_equal(c->format, "RIFF WAVE");
  assert_int_equal(c->samples, n);
  assert_same_bits(c->rate_hz, 48000.0);
  for (size_t i = 0; i < n; i++) {
    double value;
    assert_int_equal(c->channel[channel].samples.code[i], expected[i]);
    plb_capture_values(c, channel, i, 1, &value);
    assert_same_bits(value, ldexp(expected[i], 1 - (int)bits));
  }
  plb_capture_free(c);
}

/* 8-bit samples are unsigned with the middle at 128 (VERIFIED: table of scipy.io.wavfile.read). */
static void test_wave__8_bits(void **state) {
  (void)state;
  const unsigned char samples[] = {128, 255, 0, 129};
  const int32_t expected[] = {0, 127, -128, 1};
  const file f = plain(1, 1, 8, samples, sizeof samples);
  check_codes(&f, 0, expected, 4, 8);
}

static void test_wave__16_bits_two_channels(void **state) {
  (void)state;
  const unsigned char samples[] = {0, 0, 1, 0, 0xFF, 0x7F, 0, 0x80, 0xFF, 0xFF, 0x34, 0x12};
  const int32_t left[] = {0, 32767, -1}, right[] = {1, -32768, 0x1234};
  const file f = plain(1, 2, 16, samples, sizeof samples);
  check_codes(&f, 0, left, 3, 16);
  check_codes(&f, 1, right, 3, 16);
}

/* FF FF 7F is 8388607 (VERIFIED: the same table). */
static void test_wave__24_bits(void **state) {
  (void)state;
  const unsigned char samples[] = {0xFF, 0xFF, 0x7F, 0, 0, 0x80, 0xFF, 0xFF, 0xFF, 1, 0, 0};
  const int32_t expected[] = {8388607, -8388608, -1, 1};
  const file f = plain(1, 1, 24, samples, sizeof samples);
  check_codes(&f, 0, expected, 4, 24);
}

static void test_wave__32_bits(void **state) {
  (void)state;
  const unsigned char samples[] = {0xFF, 0xFF, 0xFF, 0x7F, 0, 0, 0, 0x80, 0x78, 0x56, 0x34, 0x12};
  const int32_t expected[] = {INT32_MAX, INT32_MIN, 0x12345678};
  const file f = plain(1, 1, 32, samples, sizeof samples);
  check_codes(&f, 0, expected, 3, 32);
}

static void test_wave__floating_point(void **state) {
  (void)state;
  /* IEEE 754: 0x3FC00000 is 1.5, 0xC0490FDB the float next to -pi; infinity counts as missing */
  file f = {.size = 0};
  unsigned char samples[12] = {0, 0, 0xC0, 0x3F, 0xDB, 0x0F, 0x49, 0xC0, 0, 0, 0x80, 0x7F};
  f = plain(3, 1, 32, samples, sizeof samples);
  plb_capture *c = read_file_at(&f);
  const double expected[] = {1.5, (double)-3.14159265358979323846f, NAN};
  assert_values(c, 0, expected, 3);
  plb_capture_free(c);
  const unsigned char wide[8] = {0x18, 0x2D, 0x44, 0x54, 0xFB, 0x21, 0x09, 0x40}; /* 0x400921FB54442D18, pi */
  f = plain(3, 1, 64, wide, sizeof wide);
  c = read_file_at(&f);
  const double pi[] = {3.14159265358979323846};
  assert_values(c, 0, pi, 1);
  plb_capture_free(c);
}

static void put_extensible(file *f, unsigned tag, unsigned bits, unsigned valid) {
  put_fmt(f, 0xFFFE, 1, 48000, bits);
  set_number(f, f->size - 20, 40, 4);
  put_number(f, 22, 2);
  put_number(f, valid, 2);
  put_number(f, 4, 4);
  put_number(f, tag, 2);
  put(f, "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xAA\x00\x38\x9B\x71", 14);
}

/* 20 valid bits stand at the top of 24; the highest code is then 7F FF F0. */
static void test_wave__extensible(void **state) {
  (void)state;
  file f = {.size = 0};
  put_id(&f, "RIFF");
  put_number(&f, 0, 4);
  put_id(&f, "WAVE");
  put_extensible(&f, 1, 24, 20);
  const unsigned char samples[] = {0xF0, 0xFF, 0x7F, 0x10, 0, 0};
  put_data(&f, samples, sizeof samples);
  const int32_t expected[] = {0x7FFFF0, 0x10};
  check_codes(&f, 0, expected, 2, 24);
  plb_capture *c = read_file_at(&f);
  assert_int_equal(c->channel[0].samples.code_high, 0x7FFFF0);
  assert_int_equal(c->channel[0].samples.code_low, -0x800000);
  plb_capture_free(c);
  f.byte[12 + 8 + 24] = 0x55; /* the tag in the GUID: MP3 */
  assert_non_null(strstr(error_of_bytes(f.byte, f.size, 0).message, "compressed"));
  f.byte[12 + 8 + 30] = 0x11; /* a GUID of another family */
  assert_int_equal(error_of_bytes(f.byte, f.size, 0).byte, 44);
}

/* Unknown chunks of odd size are padded to even; some writers of `data` forget the padding at the end of the file. */
static void test_wave__other_chunks_are_passed_over(void **state) {
  (void)state;
  file f = {.size = 0};
  put_id(&f, "RIFF");
  put_number(&f, 0, 4);
  put_id(&f, "WAVE");
  put_id(&f, "LIST");
  put_number(&f, 3, 4);
  put(&f, "abc", 4);
  put_fmt(&f, 1, 1, 48000, 8);
  put_id(&f, "fact");
  put_number(&f, 4, 4);
  put_number(&f, 3, 4);
  const unsigned char samples[] = {127, 128, 129};
  put_data(&f, samples, 3);
  const int32_t expected[] = {-1, 0, 1};
  check_codes(&f, 0, expected, 3, 8);
  put(&f, "\0LIST\2\0\0\0xx", 11);
  check_codes(&f, 0, expected, 3, 8);
}

static file wide_file(const char *id, uint64_t data_size) {
  file f = {.size = 0};
  put_id(&f, id);
  put_number(&f, 0xFFFFFFFF, 4);
  put_id(&f, "WAVE");
  put_id(&f, "ds64");
  put_number(&f, 28, 4);
  put_number(&f, data_size + 72, 8);
  put_number(&f, data_size, 8);
  put_number(&f, data_size / 2, 8);
  put_number(&f, 0, 4);
  put_fmt(&f, 1, 1, 48000, 16);
  put_id(&f, "data");
  put_number(&f, 0xFFFFFFFF, 4);
  return f;
}

static void test_wave__64_bit_sizes(void **state) {
  (void)state;
  const int32_t expected[] = {1, -2};
  const char *const ids[] = {"RF64", "BW64"};
  for (int i = 0; i < 2; i++) {
    file f = wide_file(ids[i], 4);
    put(&f,
        "\x01\x00\xFE\xFF"
        "JUNK",
        8);
    check_codes(&f, 0, expected, 2, 16);
  }
  /* a header alone that promises 5 GiB, and one that promises more than can be counted */
  file f = wide_file("RF64", (uint64_t)5 << 30);
  assert_non_null(
      strstr(error_of_bytes(f.byte, f.size, 0).message, "5368709120 bytes of samples are promised, 0 are there"));
  f = wide_file("RF64", UINT64_MAX);
  assert_int_equal(error_of_bytes(f.byte, f.size, 0).status, PLB_EDATA);
}

/* Written to a pipe: the size could not be filled in. */
static void test_wave__unknown_size_reads_to_the_end(void **state) {
  (void)state;
  const unsigned char samples[] = {1, 0, 2, 0, 9};
  file f = plain(1, 1, 16, samples, sizeof samples);
  set_number(&f, 40, 0xFFFFFFFF, 4);
  const int32_t expected[] = {1, 2};
  check_codes(&f, 0, expected, 2, 16);
  plb_capture *c = read_file_at(&f);
  assert_true(has_note(c, "does not say how long"));
  plb_capture_free(c);
}

static void test_wave__given_rate_holds(void **state) {
  (void)state;
  const unsigned char samples[] = {1, 0};
  const file f = plain(1, 1, 16, samples, sizeof samples);
  plb_capture *c = read_bytes_at(f.byte, f.size, 500);
  assert_same_bits(c->rate_hz, 500.0);
  assert_true(has_note(c, "48000"));
  plb_capture_free(c);
}

static void test_wave__every_prefix_is_refused(void **state) {
  (void)state;
  const unsigned char samples[] = {1, 0, 2, 0, 3, 0};
  const file f = plain(1, 1, 16, samples, sizeof samples);
  for (size_t n = 4; n < f.size; n++) {
    const plb_error error = error_of_bytes(f.byte, n, 0);
    assert_int_equal(error.status, PLB_EDATA);
    assert_int_equal(error.byte, (int64_t)n);
    assert_non_null(strstr(error.message, "cut off"));
  }
}

typedef struct damage {
  size_t at, bytes;
  uint64_t value;
  int64_t byte; /* that the message names */
  const char *message;
} damage;

static void test_wave__damage_is_named(void **state) {
  (void)state;
  static const damage rows[] = {
      {8, 4, 0x20495641, 8, "not of WAVE samples"},
      {16, 4, 14, 20, "at least 16"},
      {20, 2, 2, 20, "compressed (format 0x0002)"},
      {22, 2, 0, 22, "0 channels"},
      {24, 4, 0, 24, "rate of nought"},
      {32, 2, 3, 32, "3 bytes for a sample"},
      {34, 2, 12, 34, "12 bits"},
      {40, 4, 0, 44, "no samples"},
      {40, 4, 5, 49, "last sample is not whole"},
      {40, 4, 7, 50, "7 bytes of samples are promised, 6 are there"},
      {12, 4, 0x20202020, 36, "before their format"},
  };
  const unsigned char samples[] = {1, 0, 2, 0, 3, 0};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    file f = plain(1, 1, 16, samples, sizeof samples);
    set_number(&f, rows[i].at, rows[i].value, rows[i].bytes);
    const plb_error error = error_of_bytes(f.byte, f.size, 0);
    if (error.byte != rows[i].byte || !strstr(error.message, rows[i].message))
      fail_msg("row %zu: byte %lld, %s", i, (long long)error.byte, error.message);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_wave__8_bits),
      cmocka_unit_test(test_wave__16_bits_two_channels),
      cmocka_unit_test(test_wave__24_bits),
      cmocka_unit_test(test_wave__32_bits),
      cmocka_unit_test(test_wave__floating_point),
      cmocka_unit_test(test_wave__extensible),
      cmocka_unit_test(test_wave__other_chunks_are_passed_over),
      cmocka_unit_test(test_wave__64_bit_sizes),
      cmocka_unit_test(test_wave__unknown_size_reads_to_the_end),
      cmocka_unit_test(test_wave__given_rate_holds),
      cmocka_unit_test(test_wave__every_prefix_is_refused),
      cmocka_unit_test(test_wave__damage_is_named),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
