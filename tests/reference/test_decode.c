/* A short script in another language decodes what the library writes, bit for bit. */
#include "filled.h"
#include "reference/capture_document.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[] = "/tmp/plumbline-decode-XXXXXX";

static int make_folder(void **state) {
  (void)state;
  return mkdtemp(folder) ? 0 : -1;
}

static int remove_folder(void **state) {
  (void)state;
  return rmdir(folder);
}

/* Write the document and let the script decode it. @return its values; free() */
static double *decode(const plb_buffer *document, size_t *count) {
  char path[128], command[PLB_PATH_SIZE];
  snprintf(path, sizeof path, "%s/document.xml", folder);
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  assert_int_equal(fwrite(document->data, 1, document->size, file), document->size);
  fclose(file);
  snprintf(command, sizeof command, "/usr/bin/python3 '%s/tests/reference/decode.py' %s", PLB_SOURCE_DIR, path);
  file = popen(command, "r");
  assert_non_null(file);
  const size_t room = 1 << 20;
  double *values = plb_calloc(room, sizeof *values);
  assert_non_null(values);
  *count = fread(values, sizeof *values, room, file);
  assert_int_equal(pclose(file), 0);
  unlink(path);
  return values;
}

static size_t same_curve(const double *decoded, const float *curve, size_t n) {
  for (size_t i = 0; i < n; i++)
    assert_true((float)decoded[i] == curve[i]);
  return n;
}

static void test_decode__reference(void **state) {
  (void)state;
  plb_reference *r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  plb_buffer out;
  plb_error err = PLB_ERROR_INIT;
  const size_t grid = r->choice.grid;
  size_t count, at = 0;
  plb_buffer_init(&out, SIZE_MAX);
  assert_int_equal(plb_reference_write_buffer(r, &out, &err), PLB_OK);
  double *v = decode(&out, &count);
  at += same_curve(v + at, r->choice.template_, grid);
  at += same_curve(v + at, r->choice.stroke, grid);
  for (size_t c = 0; c < r->channels; c++) {
    at += same_curve(v + at, r->corridor.centre + c * grid, grid);
    at += same_curve(v + at, r->corridor.lower + c * grid, grid);
    at += same_curve(v + at, r->corridor.upper + c * grid, grid);
  }
  at += same_curve(v + at, r->corridor.jitter, grid);
  for (size_t e = 0; e < r->exemplars; e++) {
    for (size_t c = 0; c < r->channels; c++) {
      at += same_curve(v + at, r->exemplar[e].median + c * grid, grid);
      at += same_curve(v + at, r->exemplar[e].spread + c * grid, grid);
    }
  }
  assert_int_equal(at, count);
  free(v);
  plb_buffer_dispose(&out);
  plb_reference_free(r);
}

static void check_capture(plb_capture *c) {
  plb_buffer out;
  plb_error err = PLB_ERROR_INIT;
  size_t count;
  plb_buffer_init(&out, SIZE_MAX);
  if (plb_capture_write_buffer(c, NULL, &out, NULL, &err) != PLB_OK)
    fail_msg("%s", err.message);
  double *v = decode(&out, &count);
  assert_int_equal(count, c->samples * c->channels);
  for (size_t channel = 0; channel < c->channels; channel++) {
    double *own = plb_capture_copy_values(c, channel);
    for (size_t i = 0; i < c->samples; i++) {
      const double decoded = v[channel * c->samples + i];
      if (isnan(own[i]))
        assert_true(isnan(decoded));
      else
        assert_memory_equal(&own[i], &decoded, sizeof decoded);
    }
    free(own);
  }
  free(v);
  plb_buffer_dispose(&out);
  plb_capture_free(c);
}

/* Every form a channel can take, in stretches that need different predictors and more than one block. */
static void test_decode__capture(void **state) {
  (void)state;
  plb_random random;
  plb_random_seed(&random, 5);
  plb_capture *c = plb_capture_new();
  c->samples = 66000;
  c->rate_hz = 1000;
  for (int i = 0; i < 7; i++) {
    plb_channel *channel = plb_capture_add_channel(c);
    snprintf(channel->role, sizeof channel->role, "c%d", i);
    plb_samples *s = &channel->samples;
    *s = (plb_samples){.decimals = i == 2 ? -1 : 3, .scale = 1.0 / 3.0, .offset = -0.1};
    if (i < 3)
      s->code = plb_calloc(c->samples, sizeof *s->code);
    else
      s->real = plb_calloc(c->samples, sizeof *s->real);
    for (size_t k = 0; k < c->samples; k++) {
      const double t = (double)k,
                   ring = k % 30000 < 4000 ? 900.0 * exp(-(double)(k % 30000) / 800.0) * cos(0.3 * t) : 0.0;
      const double signal = 300.0 * sin(0.01 * t) + ring + 2.0 * plb_random_normal(&random);
      char text[40];
      snprintf(text, sizeof text, "%.6E", round(signal) * 3.29037811e-4 + 1e-5);
      if (i < 3)
        s->code[k] = i == 0   ? (int32_t)lround(signal * 10.0)
                     : i == 1 ? (int32_t)lround(round(signal) * 4.887)
                              : (int32_t)lround(signal);
      else
        s->real[k] = i == 3          ? strtod(text, NULL)
                     : i == 4        ? signal
                     : i == 5        ? (double)(float)signal
                     : k % 1000 == 7 ? (double)NAN
                                     : round(signal) / 8;
    }
  }
  check_capture(c);
}

static void test_decode__real_recording(void **state) {
  (void)state;
  const char *told = getenv("PLUMBLINE_TEST_DATA");
  char path[PLB_PATH_SIZE];
  struct stat about;
  plb_capture *c = NULL;
  plb_error err = PLB_ERROR_INIT;
  snprintf(path, sizeof path, "%s/engine/setup-one/full-1.txt", told ? told : PLB_SOURCE_DIR "/../shared/data");
  if (stat(path, &about) != 0) {
    print_message("skipped: %s is not there\n", path);
    skip();
  }
  assert_int_equal(plb_capture_read(&c, path, NULL, &err), PLB_OK);
  check_capture(c);
}

int main(void) {
  if (access("/usr/bin/python3", X_OK) != 0) {
    print_message("skipped: /usr/bin/python3 is not there\n");
    return 77;
  }
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_decode__reference),
      cmocka_unit_test(test_decode__capture),
      cmocka_unit_test(test_decode__real_recording),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
