#ifndef PLB_CAPTURE_BYTES_H
#define PLB_CAPTURE_BYTES_H
/** @file  Numbers out of bytes, in either byte order, at any address. */
#include <plumbline/types.h>
#include <string.h>

static inline uint16_t plb_u16_le(const char *p) {
  const unsigned char *b = (const unsigned char *)p;
  return (uint16_t)(b[0] | b[1] << 8);
}

static inline uint32_t plb_u32_le(const char *p) {
  const unsigned char *b = (const unsigned char *)p;
  return (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}

static inline uint64_t plb_u64_le(const char *p) { return (uint64_t)plb_u32_le(p) | (uint64_t)plb_u32_le(p + 4) << 32; }

static inline float plb_f32(uint32_t bits) {
  float value;
  memcpy(&value, &bits, sizeof value);
  return value;
}

static inline double plb_f64(uint64_t bits) {
  double value;
  memcpy(&value, &bits, sizeof value);
  return value;
}

/** An unsigned number of 1 to 8 bytes. */
static inline uint64_t plb_unsigned(const char *p, size_t size, bool big) {
  uint64_t value = 0;
  for (size_t i = 0; i < size; i++)
    value = value << 8 | (unsigned char)p[big ? i : size - 1 - i];
  return value;
}

/** The same in two's complement. */
static inline int64_t plb_signed(const char *p, size_t size, bool big) {
  const uint64_t value = plb_unsigned(p, size, big), sign = (uint64_t)1 << (8 * size - 1);
  return (int64_t)((value ^ sign) - sign);
}

#endif
