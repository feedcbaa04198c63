#ifndef PLB_CORE_BUFFER_H
#define PLB_CORE_BUFFER_H
/** @file  A growing run of bytes with a stated maximum; failures are sticky, so that writers check once at the end. */
#include <plumbline/error.h>

typedef struct plb_buffer {
  char *data;      /**< always NUL-terminated after the first append; NULL while empty */
  size_t size;     /**< bytes used, the NUL not counted */
  size_t capacity; /**< bytes allocated */
  size_t most;     /**< the largest size allowed [bytes] */
  plb_status status; /**< first failure, PLB_OK while all is well */
} plb_buffer;

void plb_buffer_init(plb_buffer *b, size_t most);
void plb_buffer_dispose(plb_buffer *b);
void plb_buffer_append(plb_buffer *b, const void *bytes, size_t size);
void plb_buffer_puts(plb_buffer *b, const char *text);
void plb_buffer_printf(plb_buffer *b, const char *format, ...) PLB_PRINTF(2, 3);
/** Append `text` with & < > " escaped for XML, SVG and HTML; control characters other than tab and newline become U+FFFD. */
void plb_buffer_escape(plb_buffer *b, const char *text);
/** Append text as a JSON string, its quotes included; malformed UTF-8 becomes U+FFFD. */
void plb_buffer_json(plb_buffer *b, const char *text);

#endif
