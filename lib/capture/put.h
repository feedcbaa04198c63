#ifndef PLB_CAPTURE_PUT_H
#define PLB_CAPTURE_PUT_H
/** @file  Numbers into bytes, little-endian, and what the writers of binary files share. */
#include "capture/capture.h"
#include <string.h>

static inline void plb_put_le(plb_buffer *b, uint64_t value, size_t size) {
  char bytes[8];
  for (size_t i = 0; i < size; i++)
    bytes[i] = (char)(unsigned char)(value >> (8 * i) & 0xFF);
  plb_buffer_append(b, bytes, size);
}

static inline void plb_put_f32(plb_buffer *b, double value) {
  const float f = (float)value;
  uint32_t bits;
  memcpy(&bits, &f, sizeof bits);
  plb_put_le(b, bits, 4);
}

static inline void plb_put_f64(plb_buffer *b, double value) {
  uint64_t bits;
  memcpy(&bits, &value, sizeof bits);
  plb_put_le(b, bits, 8);
}

/** True when every value of every channel is the same as a float. */
bool plb_capture_fits_float(const plb_capture *capture);

/** Write what was put together, or say why it could not be. The buffer is disposed of. */
PLB_CHECKED plb_status plb_put_file(plb_buffer *b, const char *path, plb_error *err);

#endif
