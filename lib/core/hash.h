#ifndef PLB_CORE_HASH_H
#define PLB_CORE_HASH_H
/** @file  SHA-256, as lower-case hexadecimal. */
#include <plumbline/types.h>

/** @param out  64 digits and NUL */
void plb_sha256(const void *data, size_t size, char out[PLB_HASH_SIZE]);

#endif
