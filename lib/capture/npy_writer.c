#include "capture/put.h"

/*
 * NumPy .npy, version 1: doubles, one row for each sample, the time [s] in the first column. The values come back bit
 * for bit; the rate comes back from the times, and names and units have no place in it.
 */

enum { ALIGNMENT = 64, PREFIX = 10 };
static const size_t most_bytes = (size_t)16 << 30;

static void put_head(plb_buffer *b, const plb_capture *capture) {
  char text[192];
  int n = plb_text_print(text, sizeof text, "{'descr': '<f8', 'fortran_order': False, 'shape': (%zu, %zu), }",
                         capture->samples, capture->channels + 1);
  while ((PREFIX + n + 1) % ALIGNMENT != 0)
    text[n++] = ' ';
  text[n++] = '\n';
  plb_buffer_append(b, "\x93NUMPY\x01\x00", 8);
  plb_put_le(b, (uint64_t)n, 2);
  plb_buffer_append(b, text, (size_t)n);
}

plb_status plb_capture_write_npy(const plb_capture *capture, const char *path, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, most_bytes);
  put_head(&b, capture);
  for (size_t i = 0; i < capture->samples && b.status == PLB_OK; i++) {
    plb_put_f64(&b, capture->start_s + (double)i / capture->rate_hz);
    for (size_t k = 0; k < capture->channels; k++) {
      double value;
      plb_capture_values(capture, k, i, 1, &value);
      plb_put_f64(&b, value);
    }
  }
  return plb_put_file(&b, path, err);
}
