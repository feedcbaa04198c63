#include "collection/fixture.h"
#include "reference/filled.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void more_exemplars(plb_reference *r, size_t count, plb_random *random) {
  const size_t n = FILLED_CHANNELS * FILLED_GRID;
  plb_exemplar *list = plb_resize(r->exemplar, count, sizeof *list);
  assert_non_null(list);
  r->exemplar = list;
  for (size_t i = r->exemplars; i < count; i++) {
    plb_exemplar *e = &list[i];
    *e = (plb_exemplar){.held_out = 1.5, .rate_hz = 50, .cycles = 20};
    snprintf(e->name, sizeof e->name, "good-%zu.txt", i);
    plb_sha256(e->name, strlen(e->name), e->sha256);
    e->median = plb_calloc(n, sizeof *e->median);
    e->spread = plb_calloc(n, sizeof *e->spread);
    e->reading = plb_calloc(r->readings, sizeof *e->reading);
    assert_true(e->median && e->spread && e->reading);
    for (size_t k = 0; k < n; k++) {
      e->median[k] = (float)(1.9 + 2.5 * sin(0.3 * (double)k) + 0.01 * plb_random_normal(random));
      e->spread[k] = (float)(0.05 + 0.01 * plb_random_uniform(random));
    }
    plb_round_decimals(e->median, n, 4);
    plb_round_decimals(e->spread, n, 4);
  }
  r->exemplars = count;
}

plb_reference *fixture_reference(const char *name, unsigned seed, size_t exemplars) {
  plb_reference *r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  plb_random random;
  plb_random_seed(&random, seed);
  free(r->predecessor);
  r->predecessor = NULL;
  r->version = 0;
  assert_true(plb_text_copy(r->name, sizeof r->name, name));
  snprintf(r->type, sizeof r->type, "%.*s", (int)strcspn(name, "/"), name);
  r->condition[1].low = 600 + seed % 7;
  free(r->title);
  char title[64];
  snprintf(title, sizeof title, "Fixture number %u", seed);
  r->title = plb_strdup(title);
  for (size_t i = 0; i < FILLED_GRID; i++)
    r->corridor.upper[i] += (float)(0.001 * (seed % 50));
  if (exemplars > r->exemplars)
    more_exemplars(r, exemplars, &random);
  return r;
}

char *fixture_document(const char *name, unsigned seed, size_t exemplars, size_t *size_out) {
  plb_reference *r = fixture_reference(name, seed, exemplars);
  plb_buffer out;
  plb_error err = PLB_ERROR_INIT;
  plb_buffer_init(&out, (size_t)16 << 20);
  if (plb_reference_write_buffer(r, &out, &err) != PLB_OK) {
    print_error("%s\n", err.message);
    fail();
  }
  plb_reference_free(r);
  *size_out = out.size;
  return out.data;
}

void fixture_write(const char *path, const char *name, unsigned seed, size_t exemplars) {
  size_t size = 0;
  plb_error err = PLB_ERROR_INIT;
  char *data = fixture_document(name, seed, exemplars, &size);
  assert_int_equal(plb_file_write(path, data, size, &err), PLB_OK);
  free(data);
}
