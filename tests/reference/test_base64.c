#include "core/cmocka_all.h"
#include "reference/base64.h"

#include <stdlib.h>
#include <string.h>

/* RFC 4648, section 10 (FROM MEMORY); tests/reference/decode.py checks against another implementation. */
static const struct {
  const char *bytes, *text;
} vectors[] = {{"", ""},
               {"f", "Zg=="},
               {"fo", "Zm8="},
               {"foo", "Zm9v"},
               {"foob", "Zm9vYg=="},
               {"fooba", "Zm9vYmE="},
               {"foobar", "Zm9vYmFy"}};

static void test_base64__published_vectors(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++) {
    char text[16] = "";
    unsigned char bytes[16];
    size_t size = 99;
    const size_t n = strlen(vectors[i].bytes);
    assert_int_equal(plb_base64_length(n), strlen(vectors[i].text));
    plb_base64_encode((const unsigned char *)vectors[i].bytes, n, text);
    assert_string_equal(text, vectors[i].text);
    assert_true(plb_base64_decode(text, strlen(text), bytes, &size));
    assert_int_equal(size, n);
    assert_memory_equal(bytes, vectors[i].bytes, n);
  }
}

static void test_base64__every_byte_comes_back(void **state) {
  (void)state;
  unsigned char bytes[256 + 2], back[400];
  char text[400];
  for (size_t size = 254; size <= 258; size++) {
    for (size_t i = 0; i < size; i++)
      bytes[i] = (unsigned char)(i * 151);
    size_t got;
    plb_base64_encode(bytes, size, text);
    assert_true(plb_base64_decode(text, plb_base64_length(size), back, &got));
    assert_int_equal(got, size);
    assert_memory_equal(bytes, back, size);
  }
}

static void test_base64__blanks_between_are_skipped(void **state) {
  (void)state;
  unsigned char bytes[16];
  size_t size;
  static const char text[] = "\n  Zm9v\r\n\tYg= =\n";
  assert_true(plb_base64_decode(text, sizeof text - 1, bytes, &size));
  assert_int_equal(size, 4);
  assert_memory_equal(bytes, "foob", 4);
}

static void test_base64__anything_else_is_refused(void **state) {
  (void)state;
  static const char *const wrong[] = {"@@",   "Z",    "Zg",   "Zg=",  "Zg===", "Zm9v=", "Zg==Zg==", "=Zg=",   "Z=g=",
                                      "Zh==", "Zm9=", "Zm-v", "Zm_v", "Zm9v.", "====",  "=",        "Zm9\x80"};
  unsigned char bytes[16];
  size_t size;
  for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
    if (plb_base64_decode(wrong[i], strlen(wrong[i]), bytes, &size))
      fail_msg("\"%s\" was taken", wrong[i]);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_base64__published_vectors),
      cmocka_unit_test(test_base64__every_byte_comes_back),
      cmocka_unit_test(test_base64__blanks_between_are_skipped),
      cmocka_unit_test(test_base64__anything_else_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
