/* Any bytes as a known-good document: refused with a reason, or read into something that can be asked. */
#include <plumbline/reference.h>

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
  plb_reference *reference = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (plb_reference_read_memory(&reference, data, size, "input", &err) == PLB_OK) {
    if (plb_reference_channels(reference) == 0 || !plb_reference_role(reference, 0) || !plb_reference_name(reference))
      abort();
  } else if (err.message[0] == '\0') {
    abort();
  }
  plb_reference_free(reference);
  return 0;
}
