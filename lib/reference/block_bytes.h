#ifndef PLB_REFERENCE_BLOCK_BYTES_H
#define PLB_REFERENCE_BLOCK_BYTES_H
/** @file  What packing and unpacking a sample block have in common. */
#include <plumbline/types.h>

enum { PLB_BLOCK_ESCAPE = 255 }; /**< a residual of this or more is continued behind the others */

/** CRC-32 of integers, each as 32 bits, lowest byte first. */
uint32_t plb_block_crc(const int32_t *code, size_t count);

#endif
