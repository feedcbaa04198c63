/* Any bytes as a capture: read, checked, its channels assigned; refused or used, never worse. */
#include <plumbline/capture.h>

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
  const plb_channel_map map = {"probe", 2, "", "V", 10};
  for (int with_rate = 0; with_rate < 2; with_rate++) {
    plb_read_options options = PLB_READ_OPTIONS_INIT;
    options.rate_hz = with_rate ? 1000 : 0;
    plb_capture *capture = NULL;
    plb_reason *reasons = NULL;
    size_t count = 0;
    plb_error err = PLB_ERROR_INIT;
    if (plb_capture_read_memory(&capture, data, size, "input", &options, &err) == PLB_OK) {
      double first[8];
      const size_t samples = plb_capture_samples(capture);
      for (size_t i = 0; i < plb_capture_channels(capture); i++)
        plb_capture_values(capture, i, 0, samples < 8 ? samples : 8, first);
      if (plb_capture_check(capture, &reasons, &count, &err) == PLB_OK)
        free(reasons);
      if (plb_capture_assign(capture, &map, 1, &err) == PLB_OK && plb_capture_channels(capture) != 1)
        abort();
    } else if (err.message[0] == '\0') {
      abort(); /* a refusal must say why */
    }
    plb_capture_free(capture);
  }
  return 0;
}
