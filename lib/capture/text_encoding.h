#ifndef PLB_CAPTURE_TEXT_ENCODING_H
#define PLB_CAPTURE_TEXT_ENCODING_H
/** @file  What stands before the text: byte order marks; UTF-16 is turned into UTF-8. */
#include "core/core.h"

typedef enum plb_encoding {
  PLB_ENCODING_PLAIN,
  PLB_ENCODING_UTF8_MARK,
  PLB_ENCODING_UTF16_LE,
  PLB_ENCODING_UTF16_BE
} plb_encoding;

/** Told from the byte order mark; without one, UTF-8 or plain bytes. */
plb_encoding plb_encoding_tell(const char *data, size_t size);

/** Turn UTF-16 behind its mark into UTF-8. @param out  malloc'ed, NUL-terminated */
PLB_CHECKED plb_status plb_encoding_to_utf8(const char *data, size_t size, plb_encoding encoding, char **out,
                                            size_t *size_out, plb_error *err);

#endif
