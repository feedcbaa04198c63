#include "core/hash.h"

#include <nettle/sha2.h>

void plb_sha256(const void *data, size_t size, char out[PLB_HASH_SIZE]) {
  static const char digits[] = "0123456789abcdef";
  struct sha256_ctx context;
  uint8_t digest[SHA256_DIGEST_SIZE];
  sha256_init(&context);
  if (size > 0)
    sha256_update(&context, size, data);
  sha256_digest(&context, sizeof digest, digest);
  for (size_t i = 0; i < sizeof digest; i++) {
    out[2 * i] = digits[digest[i] >> 4];
    out[2 * i + 1] = digits[digest[i] & 15];
  }
  out[2 * sizeof digest] = '\0';
}
