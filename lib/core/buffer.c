#include "core/buffer.h"
#include "core/text.h"

#include <stdlib.h>
#include <string.h>

void plb_buffer_init(plb_buffer *b, size_t most) {
  *b = (plb_buffer){.data = NULL, .size = 0, .capacity = 0, .most = most, .status = PLB_OK};
}

void plb_buffer_dispose(plb_buffer *b) {
  free(b->data);
  plb_buffer_init(b, b->most);
}

/* Make room for `more` bytes and the NUL; on failure the text so far stays whole. */
static bool reserve(plb_buffer *b, size_t more) {
  if (b->status != PLB_OK)
    return false;
  if (b->size > b->most || more > b->most - b->size || b->size + more == SIZE_MAX) {
    b->status = PLB_ENOMEM;
    return false;
  }
  const size_t needed = b->size + more + 1;
  if (needed <= b->capacity)
    return true;
  size_t capacity = b->capacity < 64 ? 64 : b->capacity;
  while (capacity < needed)
    capacity = capacity > SIZE_MAX / 2 ? needed : capacity * 2;
  if (b->most < SIZE_MAX && capacity > b->most + 1)
    capacity = b->most + 1;
  char *moved = realloc(b->data, capacity);
  if (!moved) {
    b->status = PLB_ENOMEM;
    return false;
  }
  b->data = moved;
  b->capacity = capacity;
  return true;
}

void plb_buffer_append(plb_buffer *b, const void *bytes, size_t size) {
  if (!reserve(b, size))
    return;
  if (size > 0)
    memcpy(b->data + b->size, bytes, size);
  b->size += size;
  b->data[b->size] = '\0';
}

void plb_buffer_puts(plb_buffer *b, const char *text) { plb_buffer_append(b, text, strlen(text)); }

void plb_buffer_printf(plb_buffer *b, const char *format, ...) {
  if (!reserve(b, 0))
    return;
  va_list values, again;
  va_start(values, format);
  va_copy(again, values);
  const size_t room = b->capacity - b->size;
  const int needed = plb_text_vprint(b->data + b->size, room, format, values);
  if (needed < 0) {
    b->status = PLB_EINTERNAL;
    b->data[b->size] = '\0';
  } else if ((size_t)needed < room) {
    b->size += (size_t)needed;
  } else {
    b->data[b->size] = '\0';
    if (reserve(b, (size_t)needed)) {
      plb_text_vprint(b->data + b->size, (size_t)needed + 1, format, again);
      b->size += (size_t)needed;
    }
  }
  va_end(again);
  va_end(values);
}

typedef struct escape {
  char byte;
  const char *text;
} escape;

static const escape escapes[] = {{'&', "&amp;"}, {'<', "&lt;"}, {'>', "&gt;"}, {'"', "&quot;"}};
static const char replacement[] = "\xEF\xBF\xBD"; /* U+FFFD */

static const char *find_escape(char byte) {
  for (size_t i = 0; i < sizeof escapes / sizeof escapes[0]; i++)
    if (escapes[i].byte == byte)
      return escapes[i].text;
  return NULL;
}

/* XML 1.0 (fifth edition), production 2: which characters a document may hold. Beyond that, DEL and the C1
 * controls are replaced too: they are allowed but discouraged, and nobody can see them. */
static bool may_stand(const char *text, size_t length) {
  const unsigned char a = (unsigned char)text[0];
  if (length == 1)
    return (a >= 0x20 && a != 0x7F) || a == '\t' || a == '\n';
  if (length == 2)
    return a != 0xC2 || (unsigned char)text[1] >= 0xA0;
  if (length == 3) /* U+FFFE and U+FFFF */
    return !(a == 0xEF && (unsigned char)text[1] == 0xBF && (unsigned char)text[2] >= 0xBE);
  return length == 4;
}

void plb_buffer_escape(plb_buffer *b, const char *text) {
  const char *run = text; /* what can be copied as it is, up to `text` */
  while (*text) {
    const size_t length = plb_text_utf8(text);
    const char *instead = may_stand(text, length) ? find_escape(*text) : replacement;
    const size_t step = length > 0 ? length : 1;
    if (instead) {
      plb_buffer_append(b, run, (size_t)(text - run));
      plb_buffer_puts(b, instead);
      run = text + step;
    }
    text += step;
  }
  plb_buffer_append(b, run, (size_t)(text - run));
}

void plb_buffer_json(plb_buffer *b, const char *text) {
  plb_buffer_puts(b, "\"");
  while (*text) {
    const size_t length = plb_text_utf8(text);
    const unsigned char c = (unsigned char)*text;
    if (length == 0)
      plb_buffer_puts(b, "\xEF\xBF\xBD");
    else if (c < 0x20 || c == '"' || c == '\\')
      plb_buffer_printf(b, "\\u%04x", (unsigned)c);
    else
      plb_buffer_append(b, text, length);
    text += length > 0 ? length : 1;
  }
  plb_buffer_puts(b, "\"");
}
