#include "reference/block_bytes.h"
#include "reference/blocks.h"

#include <zlib.h>

double plb_ten_to(int n) {
  double power = 1.0;
  while (n-- > 0)
    power *= 10.0;
  return power;
}

static void put32(unsigned char *out, uint32_t value) {
  for (int p = 0; p < 4; p++)
    out[p] = (unsigned char)(value >> 8 * p);
}

/* A piece at a time: many calls for four bytes are slow. */
uint32_t plb_block_crc(const int32_t *code, size_t count) {
  enum { PIECE = 1024 };
  unsigned char bytes[PIECE * 4];
  uLong crc = crc32(0, NULL, 0);
  for (size_t first = 0; first < count; first += PIECE) {
    const size_t n = count - first < PIECE ? count - first : PIECE;
    for (size_t i = 0; i < n; i++)
      put32(bytes + 4 * i, (uint32_t)code[first + i]);
    crc = crc32(crc, bytes, (uInt)(4 * n));
  }
  return (uint32_t)crc;
}
