/* Documents made to do harm: each is refused with one message, in little time and bounded memory. */
#include "filled.h"
#include "reference/base64.h"
#include "reference/capture_document.h"
#include "reference/limits.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <zlib.h>

enum {
  KIBIBYTES_MOST = 200 << 10
}; /* of memory for one document of at most 16 MiB; the sanitizers need more and are not asked */

#if defined(__SANITIZE_ADDRESS__)
enum { MEMORY_COUNTS = 0 };
#else
enum { MEMORY_COUNTS = 1 };
#endif

static plb_buffer good_document(void) {
  plb_buffer out;
  plb_error err = PLB_ERROR_INIT;
  plb_buffer_init(&out, SIZE_MAX);
  plb_reference *r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  assert_int_equal(plb_reference_write_buffer(r, &out, &err), PLB_OK);
  plb_reference_free(r);
  return out;
}

static long peak_memory(void) {
  struct rusage usage;
  getrusage(RUSAGE_SELF, &usage);
  return usage.ru_maxrss;
}

static double seconds(void) {
  struct timespec now;
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void check_refusal(plb_status status, const plb_error *err, const char *part, double started, long before) {
  assert_int_equal(status, PLB_EDATA);
  if (!strstr(err->message, part))
    fail_msg("\"%s\" is not in \"%s\"", part, err->message);
  assert_null(strchr(err->message, '\n'));
  assert_string_equal(err->path, "hostile");
  assert_true(seconds() - started < 5.0);
  if (MEMORY_COUNTS)
    assert_true(peak_memory() - before < KIBIBYTES_MOST);
}

static void refuse(const void *data, size_t size, const char *part) {
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = NULL;
  const double started = seconds();
  const long before = peak_memory();
  check_refusal(plb_reference_read_memory(&r, data, size, "hostile", &err), &err, part, started, before);
  assert_null(r);
}

static void refuse_capture(const void *data, size_t size, const char *part) {
  plb_error err = PLB_ERROR_INIT;
  plb_capture *c = NULL;
  const double started = seconds();
  const long before = peak_memory();
  check_refusal(plb_capture_read_document(&c, data, size, "hostile", &err), &err, part, started, before);
  assert_null(c);
}

/* The good document with `old` at its first place behind `after` replaced. */
static plb_buffer replaced(const char *after, const char *old, const char *new) {
  plb_buffer good = good_document(), out;
  plb_buffer_init(&out, SIZE_MAX);
  const char *start = strstr(good.data, after);
  assert_non_null(start);
  const char *at = strstr(start, old);
  assert_non_null(at);
  plb_buffer_append(&out, good.data, (size_t)(at - good.data));
  plb_buffer_puts(&out, new);
  plb_buffer_puts(&out, at + strlen(old));
  plb_buffer_dispose(&good);
  return out;
}

static void refuse_replaced(const char *after, const char *old, const char *new, const char *part) {
  plb_buffer out = replaced(after, old, new);
  refuse(out.data, out.size, part);
  plb_buffer_dispose(&out);
}

static void test_hostile__entities(void **state) {
  (void)state;
  plb_buffer laughs;
  plb_buffer_init(&laughs, SIZE_MAX);
  plb_buffer_puts(&laughs, "<?xml version=\"1.0\"?>\n<!DOCTYPE reference [\n<!ENTITY a0 \"ha\">\n");
  for (int i = 1; i < 30; i++)
    plb_buffer_printf(&laughs, "<!ENTITY a%d \"&a%d;&a%d;\">\n", i, i - 1, i - 1);
  plb_buffer_puts(&laughs, "]>\n<reference>&a29;</reference>\n");
  refuse(laughs.data, laughs.size, "DOCTYPE");
  refuse_capture(laughs.data, laughs.size, "DOCTYPE");
  plb_buffer_dispose(&laughs);
  refuse_replaced("", "<reference", "<!DOCTYPE r [<!ENTITY e SYSTEM \"file:///etc/passwd\">]>\n<reference", "DOCTYPE");
  refuse_replaced("", "<reference", "<!DOCTYPE r SYSTEM \"http://127.0.0.1/x.dtd\">\n<reference", "DOCTYPE");
  refuse_replaced("", "<reference", "<!ELEMENT r ANY>\n<reference", "\"<!\"");
  refuse_replaced("<title>", "Crank", "&lol;", "not well-formed");
  refuse_replaced("<title>", "Crank", "<![CDATA[x]]>", "\"<!\"");
  refuse_replaced("<title>", "Crank", "<?php x ?>", "processing instructions");
}

static void test_hostile__more_than_the_budgets(void **state) {
  (void)state;
  plb_buffer long_tag;
  plb_buffer_init(&long_tag, SIZE_MAX);
  plb_buffer_puts(&long_tag, "<reference");
  for (int i = 0; i < 200000; i++)
    plb_buffer_printf(&long_tag, " a%d=\"\"", i);
  plb_buffer_puts(&long_tag, "/>");
  refuse(long_tag.data, long_tag.size, "more than 48 attributes");
  plb_buffer_dispose(&long_tag);
  plb_buffer_init(&long_tag, SIZE_MAX);
  plb_buffer_puts(&long_tag, "<reference ");
  for (int i = 0; i < 1000000; i++)
    plb_buffer_puts(&long_tag, "abcdefgh");
  plb_buffer_puts(&long_tag, "=\"\"/>");
  refuse(long_tag.data, long_tag.size, "the tag is longer");
  plb_buffer_dispose(&long_tag);
}

static void test_hostile__depth_and_length(void **state) {
  (void)state;
  plb_buffer deep, text;
  plb_buffer_init(&deep, SIZE_MAX);
  for (int i = 0; i < 500000; i++)
    plb_buffer_puts(&deep, i == 0 ? "<reference xmlns=\"urn:plumbline:reference:1\" "
                                    "id=\"00000000000000000000000000000000\" type=\"a\" name=\"a/b\" version=\"0\">"
                                  : "<title>");
  refuse(deep.data, deep.size, "does not belong in <title>");
  plb_buffer_dispose(&deep);
  plb_buffer_init(&text, SIZE_MAX);
  for (int i = 0; i < 15 << 20; i++)
    plb_buffer_append(&text, "x", 1);
  plb_buffer whole = replaced("<title>", "Crank", text.data);
  refuse(whole.data, whole.size, "longer than 65535 bytes");
  plb_buffer_puts(&whole, text.data);
  refuse(whole.data, whole.size, "larger than 16777216 bytes");
  plb_buffer_dispose(&text);
  plb_buffer_dispose(&whole);
}

/* A block whose zlib stream inflates to 256 MiB of zeros. */
static char *deflate_bomb(void) {
  static unsigned char zeros[1 << 20];
  const size_t room = 1 << 20;
  unsigned char *packed = plb_calloc(room, 1);
  char *text = plb_calloc(plb_base64_length(room) + 1, 1);
  assert_true(packed && text);
  packed[0] = packed[1] = 0; /* a predictor without weights */
  z_stream z = {.next_out = packed + 2, .avail_out = (uInt)(room - 2)};
  assert_int_equal(deflateInit(&z, Z_BEST_COMPRESSION), Z_OK);
  for (int i = 0; i < 256; i++) {
    z.next_in = zeros;
    z.avail_in = sizeof zeros;
    assert_true(deflate(&z, i == 255 ? Z_FINISH : Z_NO_FLUSH) >= 0);
  }
  const size_t size = room - z.avail_out;
  deflateEnd(&z);
  plb_base64_encode(packed, size, text);
  free(packed);
  return text;
}

static void test_hostile__sample_blocks(void **state) {
  (void)state;
  plb_buffer good = good_document(), out;
  refuse_replaced("<template>", "count=\"24\"", "count=\"1000000000\"", "\"1000000000\" is no value for \"count\"");
  refuse_replaced("<template>", "count=\"24\"", "count=\"65536\"", "a segment is 256 values or more");
  refuse_replaced("<cycle ", "grid=\"24\"", "grid=\"25\"", "<template> has 24 points, the grid 25");
  refuse_replaced("<template>", "segment=\"24\"", "segment=\"23\"", "a segment is 256 values or more");
  char extra[16], more[16];
  snprintf(extra, sizeof extra, "%.9s", strstr(strstr(good.data, "<template>"), "extra=\""));
  snprintf(more, sizeof more, "extra=\"%d\"", extra[7] - '0' + 1);
  refuse_replaced("<template>", extra, more, "does not inflate to its 24 values");
  refuse_replaced("<template>", extra, "extra=\"0\"", "does not inflate to its 24 values");
  refuse_replaced("<cycle ", "grid=\"24\"", "grid=\"2049\"", "is no value for \"grid\"");
  /* crc, letters, and the first letters of the base64 text */
  const char *crc = strstr(strstr(good.data, "<template>"), "crc32=\"");
  char old[16];
  snprintf(old, sizeof old, "%.8s", crc + 7);
  refuse_replaced("<template>", old, "01234567", "check sum");
  const char *text = strchr(crc, '>') + 1;
  text += strspn(text, " \n");
  char first[24];
  snprintf(first, sizeof first, "%.16s", text);
  refuse_replaced("<template>", first, "@@", "not proper base64");
  refuse_replaced("<template>", first, "IQAAAAAAAAAAAAAA", "predictors are damaged"); /* 33 weights */
  char *bomb = deflate_bomb();
  plb_buffer_init(&out, SIZE_MAX);
  plb_buffer_append(&out, good.data, (size_t)(text - good.data));
  plb_buffer_puts(&out, bomb);
  plb_buffer_puts(&out, strstr(text, "</integers>"));
  refuse(out.data, out.size, "does not inflate to its 24 values");
  plb_buffer_dispose(&out);
  free(bomb);
  plb_buffer_dispose(&good);
}

static void test_hostile__other_encodings(void **state) {
  (void)state;
  plb_buffer good = good_document();
  unsigned char *packed = plb_calloc(good.size + 1024, 1);
  z_stream z = {.next_in = (z_const Bytef *)good.data,
                .avail_in = (uInt)good.size,
                .next_out = packed,
                .avail_out = (uInt)(good.size + 1024)};
  assert_int_equal(deflateInit2(&z, 9, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
  assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
  refuse(packed, good.size + 1024 - z.avail_out, "compressed");
  deflateEnd(&z);
  free(packed);
  char *wide = plb_calloc(good.size, 2);
  for (size_t i = 0; i < good.size; i++)
    wide[2 * i] = good.data[i];
  refuse(wide, 2 * good.size, "not UTF-8");
  free(wide);
  plb_buffer_dispose(&good);
  refuse_replaced("<title>", "Crank", "\xFF\xFE", "not well-formed");
}

/* What UTF-7 would read as a tag is text, whatever the declaration says. */
static void test_hostile__declared_encoding_is_not_believed(void **state) {
  (void)state;
  plb_buffer good = good_document(), out;
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = NULL;
  plb_buffer_init(&out, SIZE_MAX);
  const char *body = strstr(good.data, "?>");
  const char *title = strstr(good.data, "Crank sensor");
  plb_buffer_puts(&out, "<?xml version=\"1.0\" encoding=\"UTF-7\"");
  plb_buffer_append(&out, body, (size_t)(title - body));
  plb_buffer_puts(&out, "+ADw-");
  plb_buffer_puts(&out, title);
  if (plb_reference_read_memory(&r, out.data, out.size, "x", &err) == PLB_OK)
    assert_memory_equal(plb_reference_title(r), "+ADw-", 5);
  plb_reference_free(r);
  plb_buffer_dispose(&good);
  plb_buffer_dispose(&out);
}

static void test_hostile__structure(void **state) {
  (void)state;
  refuse("", 0, "not well-formed");
  refuse("<", 1, "ends inside a tag");
  refuse("hello", 5, "not well-formed");
  refuse_replaced("", "<reference",
                  "<reference xmlns:xsi=\"http://www.w3.org/2001/XMLSchema-instance\" xsi:schemaLocation=\"a b\"",
                  "is not an element");
  refuse_replaced("", "urn:plumbline:reference:1", "urn:plumbline:reference:2", "urn:plumbline:reference:1");
  refuse_replaced("", "type=", "type=\"x\" type=", "not well-formed");
  refuse_replaced("<calibration", "</reference>", "</reference><reference/>", "not well-formed");
  refuse_replaced("<calibration", "</reference>", "</reference>\n<!-- end", "comment does not end");
  refuse_replaced("", "<channel role=\"pressure\"", "<channel role=\"crank\"", "the role stands twice");
  refuse_replaced("<calibration", "channel=\"crank\"", "channel=\"knock\"", "none of the channels");
  refuse_replaced("<provenance", "exemplars=\"4\"", "exemplars=\"5\"", "not those below");
  refuse_replaced("<provenance", "measured", "standard", "has none");
  refuse_replaced("<calibration", "odd=\"good-3.txt\"", "odd=\"x\"", "none of those above");
  refuse_replaced("<span", "to=\"1\"", "to=\"4\"", "later one");
  refuse_replaced("<span", "from=\"0\"", "from=\"1\"", "later one");
  refuse_replaced("<channels", "pegged=\"tooth 2\"", "pegged=\"tooth 9\"", "does not exist");
  refuse_replaced("<values>", "none", "none 1", "numbers where 3 belong");
}

/* A file cut short anywhere is refused; nothing is read past its end. */
static void test_hostile__truncated(void **state) {
  (void)state;
  plb_buffer good = good_document();
  for (size_t size = 0; size + 2 < good.size; size += 1 + size / 97) {
    char *cut = malloc(size ? size : 1);
    assert_non_null(cut);
    memcpy(cut, good.data, size);
    refuse(cut, size, ";");
    free(cut);
  }
  plb_buffer_dispose(&good);
}

/* One byte changed: refused, or read as a different but sound reference; never a crash. */
static void test_hostile__flipped_bytes(void **state) {
  (void)state;
  plb_buffer good = good_document();
  plb_random random;
  plb_random_seed(&random, 11);
  size_t read = 0, tried = 3000;
  for (size_t i = 0; i < tried; i++) {
    plb_error err = PLB_ERROR_INIT;
    plb_reference *r = NULL;
    const size_t at = plb_random_below(&random, good.size);
    const char kept = good.data[at];
    good.data[at] = (char)(kept ^ (1 << plb_random_below(&random, 8)));
    read += plb_reference_read_memory(&r, good.data, good.size, "flipped", &err) == PLB_OK;
    plb_reference_free(r);
    good.data[at] = kept;
  }
  print_message("%zu of %zu documents with one bit changed are still sound (texts, numbers)\n", read, tried);
  assert_true(read > 0 && read < tried);
  plb_buffer_dispose(&good);
}

static void capture_head(plb_buffer *out, const char *samples, const char *stored) {
  plb_buffer_init(out, SIZE_MAX);
  plb_buffer_printf(out,
                    "<capture xmlns=\"urn:plumbline:reference:1\" id=\"00000000000000000000000000000000\" "
                    "samples=\"%s\" rate-hz=\"1\" "
                    "start-s=\"0\">\n<channel role=\"a\" unit=\"V\" factor=\"1\" stored=\"%s\">\n",
                    samples, stored);
}

static void test_hostile__captures_that_promise_too_much(void **state) {
  (void)state;
  static const char block[] =
      "<integers count=\"65536\" decimals=\"0\" segment=\"65536\" extra=\"0\" crc32=\"00000000\">AAAA</integers>";
  plb_buffer out;
  capture_head(&out, "1000000000", "codes");
  plb_buffer_printf(&out, "%s</channel></capture>", block);
  refuse_capture(out.data, out.size, "is no value for \"samples\"");
  plb_buffer_dispose(&out);
  capture_head(&out, "33554432", "codes");
  plb_buffer_printf(&out, "%s</channel></capture>", block);
  refuse_capture(out.data, out.size, "do not hold as many values");
  plb_buffer_dispose(&out);
  capture_head(&out, "33554432", "numbers"); /* as many blocks as promised, but empty ones */
  for (int i = 0; i < 512; i++)
    plb_buffer_puts(&out, block);
  plb_buffer_puts(&out, "</channel></capture>");
  refuse_capture(out.data, out.size, "too few bytes");
  plb_buffer_dispose(&out);
  capture_head(&out, "33554432", "codes"); /* more than one channel would need twice the memory */
  for (int i = 0; i < 512; i++)
    plb_buffer_puts(&out, block);
  plb_buffer_printf(
      &out, "</channel><channel role=\"b\" unit=\"V\" factor=\"1\" stored=\"codes\">%s</channel></capture>", block);
  refuse_capture(out.data, out.size, "more samples than");
  plb_buffer_dispose(&out);
}

static void test_hostile__blocks_that_disagree(void **state) {
  (void)state;
  plb_capture *c = plb_capture_new();
  plb_buffer good, out;
  plb_error err = PLB_ERROR_INIT;
  c->samples = 65537;
  c->rate_hz = 1000;
  plb_channel *channel = plb_capture_add_channel(c);
  strcpy(channel->role, "a");
  channel->samples = (plb_samples){.code = plb_calloc(c->samples, sizeof(int32_t)), .decimals = 1, .scale = 1};
  for (size_t i = 0; i < c->samples; i++)
    channel->samples.code[i] = (int32_t)(i % 17);
  plb_buffer_init(&good, SIZE_MAX);
  assert_int_equal(plb_capture_write_buffer(c, NULL, &good, NULL, &err), PLB_OK);
  char *second = strstr(strstr(good.data, "<integers ") + 1, "<integers ");
  assert_non_null(second);
  *strstr(second, "decimals=\"1\"") = 'D';
  refuse_capture(good.data, good.size, "no attribute");
  memcpy(strstr(second, "Decimals=\"1\""), "decimals=\"2\"", 12);
  refuse_capture(good.data, good.size, "differ in what they mean");
  plb_buffer_init(&out, SIZE_MAX);
  plb_buffer_append(&out, good.data, (size_t)(second - good.data));
  plb_buffer_puts(&out, "</channel></capture>");
  refuse_capture(out.data, out.size, "do not hold as many values");
  plb_buffer_dispose(&out);
  plb_buffer_dispose(&good);
  plb_capture_free(c);
}

/* Many small elements: memory stays in proportion to the document. */
static void test_hostile__many_small_elements(void **state) {
  (void)state;
  plb_buffer good = good_document(), out;
  plb_buffer_init(&out, SIZE_MAX);
  const char *at = strstr(good.data, "<scale ");
  plb_buffer_append(&out, good.data, (size_t)(at - good.data));
  for (int i = 0; i < 400000; i++)
    plb_buffer_puts(&out, "<scale kind=\"D\" value=\"1\"/>");
  plb_buffer_puts(&out, "</calibration></reference>");
  refuse(out.data, out.size, "too often");
  plb_buffer_dispose(&out);
  plb_buffer_dispose(&good);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_hostile__entities),
      cmocka_unit_test(test_hostile__sample_blocks),
      cmocka_unit_test(test_hostile__other_encodings),
      cmocka_unit_test(test_hostile__declared_encoding_is_not_believed),
      cmocka_unit_test(test_hostile__structure),
      cmocka_unit_test(test_hostile__truncated),
      cmocka_unit_test(test_hostile__flipped_bytes),
      cmocka_unit_test(test_hostile__blocks_that_disagree),
      cmocka_unit_test(test_hostile__captures_that_promise_too_much),
      cmocka_unit_test(test_hostile__more_than_the_budgets),
      cmocka_unit_test(test_hostile__many_small_elements),
      cmocka_unit_test(test_hostile__depth_and_length),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
