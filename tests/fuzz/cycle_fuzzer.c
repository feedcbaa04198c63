/* Any text behind --cycle, --channel and --condition; what is taken must come back the same when written and read again. */
#include <plumbline/capture.h>
#include <plumbline/compare.h>
#include <plumbline/cycle.h>

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
  char *text = calloc(size + 1, 1);
  plb_cycle_spec spec;
  plb_channel_map map;
  plb_stated stated;
  plb_error err = PLB_ERROR_INIT;
  if (!text)
    return 0;
  if (size > 0)
    memcpy(text, data, size);
  if (plb_cycle_spec_parse(text, &spec, &err) == PLB_OK) {
    char once[PLB_TEXT_SIZE];
    char twice[PLB_TEXT_SIZE];
    plb_cycle_spec_format(&spec, once, sizeof once);
    if (plb_cycle_spec_parse(once, &spec, &err) != PLB_OK)
      abort();
    plb_cycle_spec_format(&spec, twice, sizeof twice);
    if (strcmp(once, twice) != 0)
      abort();
  }
  if (plb_channel_map_parse(text, &map, &err) == PLB_OK && map.role[0] == '\0')
    abort();
  if (plb_stated_parse(text, &stated, &err) == PLB_OK && stated.name[0] == '\0')
    abort();
  free(text);
  return 0;
}
