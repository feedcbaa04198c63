#include "cmocka_all.h"
#include "core/hash.h"

#include <stdlib.h>
#include <string.h>

static void assert_hash(const char *text, size_t size, const char *expected) {
  char out[PLB_HASH_SIZE];
  plb_sha256(text, size, out);
  assert_string_equal(out, expected);
}

/* NIST's example values for SHA-256 (FIPS 180-4). COMPUTED again with Python's hashlib. */
static void test_hash__published_examples(void **state) {
  (void)state;
  assert_hash(NULL, 0, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  assert_hash("abc", 3, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  assert_hash("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 56,
              "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

static void test_hash__a_million_bytes(void **state) {
  (void)state;
  char *text = malloc(1000000);
  assert_non_null(text);
  memset(text, 'a', 1000000);
  assert_hash(text, 1000000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
  free(text);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_hash__published_examples),
      cmocka_unit_test(test_hash__a_million_bytes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
