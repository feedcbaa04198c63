#ifndef PLB_REFERENCE_BASE64_H
#define PLB_REFERENCE_BASE64_H
/** @file  Base64 of RFC 4648, section 4: the strict form, with padding. */
#include <plumbline/types.h>

/** Characters that `size` bytes become, padding included, line ends not. */
size_t plb_base64_length(size_t size);

/** @param out  [size: plb_base64_length(size)], not NUL-terminated */
void plb_base64_encode(const unsigned char *bytes, size_t size, char *out);

/**
 * Decode; blanks, tabs and line ends between the characters are skipped.
 * @param out  [size: size / 4 * 3 + 3]
 * @return false for any other character, missing or surplus padding, or bits set that stand for nothing
 */
bool plb_base64_decode(const char *text, size_t size, unsigned char *out, size_t *size_out);

#endif
