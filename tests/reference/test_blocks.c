#include "core/cmocka_all.h"
#include "reference/base64.h"
#include "reference/blocks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static char *to_text(const unsigned char *data, size_t size, size_t *text_size) {
  *text_size = plb_base64_length(size);
  char *text = plb_calloc(*text_size + 1, 1);
  assert_non_null(text);
  plb_base64_encode(data, size, text);
  return text;
}

/* Pack and unpack. @return compressed bytes */
static size_t round_trip(plb_packer *packer, const int32_t *code, size_t n) {
  plb_block block = {.kind = PLB_BLOCK_CODES, .count = n, .scale = 1};
  plb_error err = PLB_ERROR_INIT;
  const unsigned char *data;
  size_t size, text_size;
  assert_int_equal(plb_block_pack_codes(packer, &block, code, &data, &size, &err), PLB_OK);
  char *text = to_text(data, size, &text_size);
  int32_t *back = plb_calloc(n, sizeof *back);
  assert_non_null(back);
  if (plb_block_unpack_codes(&block, text, text_size, back, &err) != PLB_OK)
    fail_msg("%s", err.message);
  assert_memory_equal(code, back, n * sizeof *code);
  free(back);
  free(text);
  return size;
}

static void test_blocks__any_integers_come_back(void **state) {
  (void)state;
  static const size_t sizes[] = {1, 2, 3, 4, 31, 32, 33, 255, 256, 257, 4096, 4097, 65536};
  plb_packer *packer = plb_packer_new();
  plb_random random;
  plb_random_seed(&random, 3);
  int32_t *code = plb_calloc(PLB_BLOCK_MOST, sizeof *code);
  assert_true(packer && code);
  for (size_t i = 0; i < sizeof sizes / sizeof sizes[0]; i++) {
    for (int bits = 1; bits <= 32; bits += 31) { /* from two values to all of them */
      for (size_t k = 0; k < sizes[i]; k++)
        code[k] = (int32_t)((int64_t)(plb_random_next(&random) >> (64 - bits)) - (INT64_C(1) << (bits - 1)));
      round_trip(packer, code, sizes[i]);
    }
    for (size_t k = 0; k < sizes[i]; k++)
      code[k] = k % 3 == 0 ? INT32_MIN : k % 3 == 1 ? INT32_MAX : 0;
    round_trip(packer, code, sizes[i]);
  }
  free(code);
  plb_packer_free(packer);
}

/* Known shapes must fall to almost nothing: a constant and straight lines and parabolas are predicted exactly. */
static void test_blocks__plain_shapes_take_next_to_nothing(void **state) {
  (void)state;
  plb_packer *packer = plb_packer_new();
  int32_t *code = plb_calloc(PLB_BLOCK_MOST, sizeof *code);
  assert_true(packer && code);
  for (int shape = 0; shape < 3; shape++) {
    for (int32_t k = 0; k < 40000; k++)
      code[k] = shape == 0 ? 123456 : shape == 1 ? 7 * k - 90000 : k * (k - 40000);
    assert_true(round_trip(packer, code, 40000) < 120);
  }
  free(code);
  plb_packer_free(packer);
}

/* White noise cannot be predicted; its entropy is 0.5 log2(2 pi e sigma^2) bits (Shannon 1948), and Huffman codes
   come near. */
static void test_blocks__noise_comes_near_its_entropy(void **state) {
  (void)state;
  enum { N = 60000 };
  plb_packer *packer = plb_packer_new();
  plb_random random;
  plb_random_seed(&random, 4);
  int32_t *code = plb_calloc(N, sizeof *code);
  assert_true(packer && code);
  static const double sigmas[] = {1.5, 6.0, 25.0};
  for (size_t i = 0; i < 3; i++) {
    for (size_t k = 0; k < N; k++)
      code[k] = (int32_t)lround(sigmas[i] * plb_random_normal(&random));
    const double entropy = 0.5 * log2(2.0 * 3.14159265358979 * 2.718281828459045 * sigmas[i] * sigmas[i]);
    const double bits = 8.0 * (double)round_trip(packer, code, N) / N;
    assert_true(bits > 0.97 * entropy && bits < 1.06 * entropy);
  }
  free(code);
  plb_packer_free(packer);
}

static void test_blocks__floats_come_back_bit_for_bit(void **state) {
  (void)state;
  static const double values[] = {
      0.0, -0.0, 1.0 / 3.0, -1e300, 5e-324, (double)NAN, (double)INFINITY, -(double)INFINITY, 3.4028234663852886e38,
      1.0};
  enum { N = sizeof values / sizeof values[0] };
  plb_packer *packer = plb_packer_new();
  plb_error err = PLB_ERROR_INIT;
  assert_non_null(packer);
  for (int bits = 32; bits <= 64; bits += 32) {
    plb_block block = {.kind = PLB_BLOCK_FLOATS, .count = N, .bits = bits};
    const unsigned char *data;
    double back[N];
    size_t size, text_size;
    assert_int_equal(plb_block_pack_floats(packer, &block, values, &data, &size, &err), PLB_OK);
    char *text = to_text(data, size, &text_size);
    assert_int_equal(plb_block_unpack_floats(&block, text, text_size, back, &err), PLB_OK);
    for (size_t i = 0; i < N; i++) {
      const double expected = bits == 64 ? values[i] : (double)(float)values[i];
      if (isnan(expected))
        assert_true(isnan(back[i]));
      else
        assert_memory_equal(&expected, &back[i], sizeof expected);
    }
    free(text);
  }
  plb_packer_free(packer);
}

/* A packer that has been used gives the same bytes as a new one. */
static void test_blocks__bytes_do_not_depend_on_what_went_before(void **state) {
  (void)state;
  enum { N = 9000 };
  plb_packer *used = plb_packer_new(), *fresh = plb_packer_new();
  plb_error err = PLB_ERROR_INIT;
  int32_t *code = plb_calloc(N, sizeof *code);
  assert_true(used && fresh && code);
  for (int32_t k = 0; k < N; k++)
    code[k] = (k * k) % 1013;
  round_trip(used, code, N);
  for (int32_t k = 0; k < N; k++)
    code[k] = (int32_t)lround(900 * sin(0.01 * k));
  plb_block a = {.kind = PLB_BLOCK_CODES, .count = N, .scale = 1}, b = a;
  const unsigned char *first, *second;
  size_t first_size, second_size;
  assert_int_equal(plb_block_pack_codes(used, &a, code, &first, &first_size, &err), PLB_OK);
  assert_int_equal(plb_block_pack_codes(fresh, &b, code, &second, &second_size, &err), PLB_OK);
  assert_int_equal(first_size, second_size);
  assert_memory_equal(first, second, first_size);
  free(code);
  plb_packer_free(used);
  plb_packer_free(fresh);
}

static void refuse(const plb_block *block, const unsigned char *data, size_t size, const char *part) {
  plb_error err = PLB_ERROR_INIT;
  int32_t out[16];
  size_t text_size;
  char *text = to_text(data, size, &text_size);
  assert_int_equal(plb_block_unpack_codes(block, text, text_size, out, &err), PLB_EDATA);
  if (!strstr(err.message, part))
    fail_msg("\"%s\" is not in \"%s\"", part, err.message);
  free(text);
}

/* Every way in which the bytes behind a block can lie about it. */
static void test_blocks__damaged_bytes_are_refused(void **state) {
  (void)state;
  static const int32_t code[4] = {5, -900, 7, 100000};
  plb_packer *packer = plb_packer_new();
  plb_error err = PLB_ERROR_INIT;
  plb_block block = {.kind = PLB_BLOCK_CODES, .count = 4, .scale = 1};
  const unsigned char *packed;
  unsigned char data[128];
  size_t size;
  assert_int_equal(plb_block_pack_codes(packer, &block, code, &packed, &size, &err), PLB_OK);
  assert_true(size < sizeof data - 4);
  memcpy(data, packed, size);
  plb_block wrong = block;
  wrong.crc ^= 1;
  refuse(&wrong, data, size, "check sum");
  wrong = block;
  wrong.extra++;
  refuse(&wrong, data, size, "does not inflate");
  wrong.extra = 0;
  refuse(&wrong, data, size, "does not inflate");
  wrong = block;
  wrong.count = 3;
  wrong.segment = 3;
  refuse(&wrong, data, size, "does not inflate");
  refuse(&block, data, size - 1, "does not inflate");
  data[size] = 0;
  refuse(&block, data, size + 1, "does not inflate");
  refuse(&block, data, 1, "predictors are damaged");
  data[0] = 33;
  refuse(&block, data, size, "predictors are damaged");
  data[0] = packed[0];
  data[1] = 16;
  refuse(&block, data, size, "predictors are damaged");
  plb_packer_free(packer);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_blocks__any_integers_come_back),
      cmocka_unit_test(test_blocks__plain_shapes_take_next_to_nothing),
      cmocka_unit_test(test_blocks__noise_comes_near_its_entropy),
      cmocka_unit_test(test_blocks__floats_come_back_bit_for_bit),
      cmocka_unit_test(test_blocks__bytes_do_not_depend_on_what_went_before),
      cmocka_unit_test(test_blocks__damaged_bytes_are_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
