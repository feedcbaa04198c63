#ifndef PLB_REFERENCE_IDENTITY_H
#define PLB_REFERENCE_IDENTITY_H
/**
 * @file  A document's id: the first 128 bits of the SHA-256 of its bytes without ` id="..."` and ` date="..."` (and
 * the blanks before them) in the root's tag. The same content has the same id, whoever wrote it and when.
 */
#include <plumbline/error.h>

/** @param out  [size: 33] @return PLB_EDATA when the root's tag has no id */
PLB_CHECKED plb_status plb_identity_of(const char *data, size_t size, char *out, plb_error *err);

/** Put the right id where the root's tag has one of 32 digits. @param out  [size: 33] the id, too */
PLB_CHECKED plb_status plb_identity_set(char *data, size_t size, char *out, plb_error *err);

#endif
