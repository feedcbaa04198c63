/*
 * Evidence takes little room: bytes per sample of a capture document, as the store keeps it (a loose object: "blob
 * SIZE", the bytes, deflated as the store does it: large ones by Huffman codes alone), beside a general lossless audio coder (flac -8 without padding and
 * seek table) on the same integer codes. The signals are modelled (shapes and noise of an inductive crank sensor, a
 * Hall sensor and a coil primary, 12-bit codes printed as decimals); real recordings join in where they are at hand.
 */
#include "core/cmocka_all.h"
#include "reference/block_node.h"
#include "reference/capture_document.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

static size_t object_size(const plb_buffer *document) {
  char head[64];
  const int n = snprintf(head, sizeof head, "blob %zu", document->size) + 1;
  z_stream z = {0};
  assert_int_equal(deflateInit2(&z, 1, Z_DEFLATED, 15, 9, document->size > 8192 ? Z_HUFFMAN_ONLY : Z_DEFAULT_STRATEGY), Z_OK);
  const size_t room = deflateBound(&z, (uLong)document->size + (uLong)n);
  unsigned char *packed = plb_calloc(room, 1);
  assert_non_null(packed);
  z.next_out = packed;
  z.avail_out = (uInt)room;
  z.next_in = (Bytef *)head;
  z.avail_in = (uInt)n;
  assert_int_equal(deflate(&z, Z_NO_FLUSH), Z_OK);
  z.next_in = (Bytef *)document->data;
  z.avail_in = (uInt)document->size;
  assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
  const size_t size = z.total_out;
  deflateEnd(&z);
  free(packed);
  return size;
}

/* The codes that a document of one channel holds; free(). */
static int32_t *codes_of(const plb_buffer *document, size_t samples) {
  plb_document *d = NULL;
  plb_error err = PLB_ERROR_INIT;
  int32_t *code = plb_calloc(samples, sizeof *code);
  size_t at = 0;
  assert_int_equal(plb_document_parse(&d, &plb_rule_capture, document->data, document->size, "size", &err), PLB_OK);
  for (const plb_node *b = plb_node_child(plb_document_root(d), "channel")->child; b; b = b->next) {
    plb_block block;
    assert_int_equal(plb_block_from_node(&block, b, &err), PLB_OK);
    assert_int_not_equal(block.kind, PLB_BLOCK_FLOATS);
    assert_int_equal(plb_block_unpack_codes(&block, b->text, b->text_size, code + at, &err), PLB_OK);
    at += block.count;
  }
  assert_int_equal(at, samples);
  plb_document_free(d);
  return code;
}

static size_t flac_size(const int32_t *code, size_t n) {
  char folder[] = "/tmp/plumbline-size-XXXXXX", path[64], command[512];
  int32_t low = code[0], high = code[0];
  struct stat about;
  assert_non_null(mkdtemp(folder));
  snprintf(path, sizeof path, "%s/x.raw", folder);
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  for (size_t i = 0; i < n; i++) {
    low = code[i] < low ? code[i] : low;
    high = code[i] > high ? code[i] : high;
  }
  const int32_t middle = low + (high - low) / 2; /* 16 bits hold it; a constant costs flac nothing */
  assert_true(high - low < 65536);
  for (size_t i = 0; i < n; i++) {
    const int32_t k = code[i] - middle;
    const unsigned char bytes[2] = {(unsigned char)(k & 0xFF), (unsigned char)(((uint32_t)k >> 8) & 0xFF)};
    assert_int_equal(fwrite(bytes, 1, 2, file), 2);
  }
  fclose(file);
  snprintf(command, sizeof command,
           "flac -8 -s -f --no-padding --no-seektable --force-raw-format --endian=little --sign=signed --channels=1 "
           "--bps=16 "
           "--sample-rate=48000 -o %s/x.flac %s",
           folder, path);
  assert_int_equal(system(command), 0);
  unlink(path);
  snprintf(path, sizeof path, "%s/x.flac", folder);
  assert_int_equal(stat(path, &about), 0);
  unlink(path);
  rmdir(folder);
  return (size_t)about.st_size;
}

/* Excess of our size over flac's, in percent. */
static double compare_sizes(const char *name, const plb_capture *c) {
  plb_buffer out;
  plb_error err = PLB_ERROR_INIT;
  plb_buffer_init(&out, SIZE_MAX);
  if (plb_capture_write_buffer(c, NULL, &out, NULL, &err) != PLB_OK)
    fail_msg("%s: %s", name, err.message);
  int32_t *code = codes_of(&out, c->samples);
  const double ours = (double)object_size(&out), theirs = (double)flac_size(code, c->samples), n = (double)c->samples;
  print_message("%-32s %.4f bytes per sample, flac -8 %.4f (%+.1f %%)\n", name, ours / n, theirs / n,
                100.0 * (ours / theirs - 1.0));
  free(code);
  plb_buffer_dispose(&out);
  return 100.0 * (ours / theirs - 1.0);
}

static double crank(double t) { /* 60-2 wheel at 1000/min, speed a little uneven; each tooth one swing */
  const double turn = t / 0.06 * (1.0 + 0.02 * sin(12.566 * t)), tooth = 60.0 * (turn - floor(turn));
  return tooth < 58.0 ? 1200.0 * sin(6.283185307 * tooth) : 0.0;
}

static double hall(double t) { /* the same wheel as levels, edges of some microseconds */
  const double turn = t / 0.06, tooth = 60.0 * (turn - floor(turn)), part = tooth - floor(tooth);
  if (tooth >= 58.0)
    return -1600.0;
  return part < 0.5 ? 1800.0 - 3400.0 * exp(-part / 0.003) : -1600.0 + 3400.0 * exp(-(part - 0.5) / 0.003);
}

static double coil(double t) { /* dwell, flyback, burn line, ringing, then battery */
  const double at = fmod(t, 0.03) - 0.003;
  if (at < 0)
    return -793.0;
  const double burn = at < 0.0015 ? 1.3 * exp(-at / 0.003) : 0.0;
  const double ring = at >= 0.0015 ? 1.2 * exp(-(at - 0.0015) / 4e-4) * sin(56548.67 * (at - 0.0015)) : 0.0;
  return -800.0 + 250.0 * (1.0 + burn + 6.0 * exp(-at / 2e-5) + ring);
}

/* 12-bit codes of the signal with white noise, printed with three decimals of a volt at 4.8876 mV a code. */
static plb_capture *modelled(double (*signal)(double), double noise) {
  enum { SAMPLES = 300000 };
  plb_random random;
  plb_random_seed(&random, 31);
  plb_capture *c = plb_capture_new();
  c->samples = SAMPLES;
  c->rate_hz = 1e6;
  plb_channel *channel = plb_capture_add_channel(c);
  strcpy(channel->role, "a");
  channel->samples = (plb_samples){.code = plb_calloc(SAMPLES, sizeof(int32_t)), .decimals = 3, .scale = 1.0};
  for (size_t i = 0; i < SAMPLES; i++) {
    const double k = fmin(fmax(round(signal((double)i * 1e-6) + noise * plb_random_normal(&random)), -2048.0), 2047.0);
    channel->samples.code[i] = (int32_t)lround(k * (20.0 / 4092.0) * 1000.0);
  }
  return c;
}

static bool have_flac(void) { return system("flac --version >/dev/null 2>&1") == 0; }

static void test_size__no_larger_than_an_audio_coder(void **state) {
  (void)state;
  static const struct {
    const char *name;
    double (*signal)(double);
    double noise;
  } rows[] = {{"crank, inductive (modelled)", crank, 6.0},
              {"crank, Hall (modelled)", hall, 1.5},
              {"coil primary (modelled)", coil, 2.5}};
  size_t fewer = 0;
  if (!have_flac()) {
    print_message("skipped: flac is not installed\n");
    skip();
  }
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    plb_capture *c = modelled(rows[i].signal, rows[i].noise);
    const double excess = compare_sizes(rows[i].name, c);
    assert_true(excess <= 3.0);
    fewer += excess < 0.0;
    plb_capture_free(c);
  }
  assert_true(fewer >= 2);
}

static void keep_channel(plb_capture *c, size_t kept) {
  for (size_t i = 0; i < c->channels; i++) {
    if (i == kept)
      continue;
    free(c->channel[i].samples.code);
    free(c->channel[i].samples.real);
  }
  c->channel[0] = c->channel[kept];
  c->channels = 1;
}

static void test_size__real_recordings(void **state) {
  (void)state;
  static const char *const names[] = {"setup-one/full-1.txt", "setup-one/none-1.txt", "setup-two/half-1.txt",
                                      "setup-one/silent-1.txt"};
  const char *told = getenv("PLUMBLINE_TEST_DATA");
  if (!have_flac()) {
    print_message("skipped: flac is not installed\n");
    skip();
  }
  for (size_t i = 0; i < 2 * sizeof names / sizeof names[0]; i++) {
    char path[PLB_PATH_SIZE], label[64];
    struct stat about;
    plb_capture *c = NULL;
    plb_error err = PLB_ERROR_INIT;
    snprintf(path, sizeof path, "%s/engine/%s", told ? told : PLB_SOURCE_DIR "/../shared/data", names[i / 2]);
    if (stat(path, &about) != 0) {
      print_message("skipped: %s is not there\n", path);
      skip();
    }
    assert_int_equal(plb_capture_read(&c, path, NULL, &err), PLB_OK);
    keep_channel(c, i % 2);
    snprintf(label, sizeof label, "%s %s", names[i / 2], i % 2 ? "pressure" : "crank");
    assert_true(compare_sizes(label, c) <= 3.0);
    plb_capture_free(c);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_size__no_larger_than_an_audio_coder),
      cmocka_unit_test(test_size__real_recordings),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
