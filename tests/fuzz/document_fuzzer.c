/* Any bytes as a document, known-good or capture: what is read can be written, and then comes back as the same bytes. */
#include "reference/capture_document.h"
#include "reference/model.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void same_bytes(const plb_buffer *a, const plb_buffer *b) {
  if (a->size != b->size || memcmp(a->data, b->data, a->size) != 0)
    abort();
}

static void try_reference(const uint8_t *data, size_t size) {
  plb_reference *first = NULL, *second = NULL;
  plb_buffer once, twice;
  plb_error err = PLB_ERROR_INIT;
  if (plb_reference_read_memory(&first, data, size, "input", &err) != PLB_OK)
    return;
  plb_buffer_init(&once, SIZE_MAX);
  plb_buffer_init(&twice, SIZE_MAX);
  if (plb_reference_write_buffer(first, &once, &err) != PLB_OK ||
      plb_reference_read_memory(&second, once.data, once.size, "written", &err) != PLB_OK ||
      plb_reference_write_buffer(second, &twice, &err) != PLB_OK)
    abort();
  same_bytes(&once, &twice);
  plb_buffer_dispose(&once);
  plb_buffer_dispose(&twice);
  plb_reference_free(first);
  plb_reference_free(second);
}

static void try_capture(const uint8_t *data, size_t size) {
  plb_capture *first = NULL, *second = NULL;
  plb_capture_about about = {.conditions = 0}, again = {.conditions = 0};
  plb_buffer once, twice;
  plb_error err = PLB_ERROR_INIT;
  if (plb_capture_read_about(&first, &about, data, size, "input", &err) != PLB_OK)
    return;
  plb_buffer_init(&once, SIZE_MAX);
  plb_buffer_init(&twice, SIZE_MAX);
  if (plb_capture_write_buffer(first, &about, &once, NULL, &err) != PLB_OK ||
      plb_capture_read_about(&second, &again, once.data, once.size, "input", &err) != PLB_OK ||
      plb_capture_write_buffer(second, &again, &twice, NULL, &err) != PLB_OK)
    abort();
  same_bytes(&once, &twice);
  plb_buffer_dispose(&once);
  plb_buffer_dispose(&twice);
  plb_capture_about_dispose(&about);
  plb_capture_about_dispose(&again);
  plb_capture_free(first);
  plb_capture_free(second);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
  try_reference(data, size);
  try_capture(data, size);
  return 0;
}
