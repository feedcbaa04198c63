#include "tests/learn/engine.h"
#include "tests/core/cmocka_all.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *engine_folder(void) {
  static char folder[512];
  const char *set = getenv("PLUMBLINE_TEST_DATA");
  snprintf(folder, sizeof folder, "%s/engine", set != NULL ? set : PLB_SOURCE_DIR "/../shared/data");
  char probe[600];
  snprintf(probe, sizeof probe, "%s/setup-one/none-1.txt", folder);
  FILE *file = fopen(probe, "rb");
  if (file == NULL) {
    return "";
  }
  fclose(file);
  return folder;
}

plb_capture *engine_read(const char *name, const char *map) {
  char path[700];
  plb_capture *capture = NULL;
  plb_error err = PLB_ERROR_INIT;
  plb_channel_map channel;
  snprintf(path, sizeof path, "%s/%s", engine_folder(), name);
  assert_int_equal(plb_capture_read(&capture, path, NULL, &err), PLB_OK);
  assert_int_equal(plb_channel_map_parse(map, &channel, &err), PLB_OK);
  assert_int_equal(plb_capture_assign(capture, &channel, 1, &err), PLB_OK);
  return capture;
}

plb_capture *engine_changed(const plb_capture *capture, void (*change)(double *x, size_t n, double rate_hz, void *payload), void *payload) {
  const size_t n = plb_capture_samples(capture);
  double *x = plb_capture_copy_values(capture, 0);
  plb_capture *copy = plb_capture_new();
  plb_error err = PLB_ERROR_INIT;
  assert_non_null(x);
  assert_non_null(copy);
  change(x, n, plb_capture_rate_hz(capture), payload);
  copy->rate_hz = plb_capture_rate_hz(capture);
  snprintf(copy->path, sizeof copy->path, "%s (changed)", plb_capture_path(capture));
  assert_int_equal(plb_capture_add_real(copy, plb_capture_role(capture, 0), plb_capture_unit(capture, 0), x, n, &err), PLB_OK);
  free(x);
  return copy;
}

plb_reference *engine_learn(plb_capture *const *good, size_t count, plb_learned **learned_out) {
  plb_good *list = calloc(count, sizeof *list);
  plb_learn_options options = PLB_LEARN_OPTIONS_INIT;
  plb_reference *reference = NULL;
  plb_error err = PLB_ERROR_INIT;
  options.type = "crank-inductive";
  options.name = "bench/60-2";
  assert_non_null(list);
  assert_int_equal(plb_cycle_spec_parse("wheel:teeth=60,missing=2", &options.cycle, &err), PLB_OK);
  for (size_t i = 0; i < count; i++) {
    list[i].capture = good[i];
  }
  if (plb_learn(&reference, learned_out, list, count, &options, &err) != PLB_OK) {
    fail_msg("%s: %s", err.path, err.message);
  }
  free(list);
  return reference;
}

plb_verdict *engine_compare(const plb_capture *capture, const plb_reference *reference) {
  plb_verdict *verdict = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (plb_compare(&verdict, capture, reference, NULL, &err) != PLB_OK) {
    fail_msg("%s: %s", err.path, err.message);
  }
  return verdict;
}
