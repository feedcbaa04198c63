#include "capture/text_encoding.h"
#include <string.h>

plb_encoding plb_encoding_tell(const char *data, size_t size) {
  if (size >= 3 && memcmp(data, "\xEF\xBB\xBF", 3) == 0)
    return PLB_ENCODING_UTF8_MARK;
  if (size >= 2 && memcmp(data, "\xFF\xFE", 2) == 0)
    return PLB_ENCODING_UTF16_LE;
  if (size >= 2 && memcmp(data, "\xFE\xFF", 2) == 0)
    return PLB_ENCODING_UTF16_BE;
  return PLB_ENCODING_PLAIN;
}

static unsigned unit_at(const char *data, size_t at, bool big) {
  const unsigned a = (unsigned char)data[at], b = (unsigned char)data[at + 1];
  return big ? a << 8 | b : b << 8 | a;
}

static size_t put_utf8(char *out, uint32_t c) {
  if (c < 0x80) {
    out[0] = (char)c;
    return 1;
  }
  if (c < 0x800) {
    out[0] = (char)(0xC0 | c >> 6);
    out[1] = (char)(0x80 | (c & 0x3F));
    return 2;
  }
  if (c < 0x10000) {
    out[0] = (char)(0xE0 | c >> 12);
    out[1] = (char)(0x80 | (c >> 6 & 0x3F));
    out[2] = (char)(0x80 | (c & 0x3F));
    return 3;
  }
  out[0] = (char)(0xF0 | c >> 18);
  out[1] = (char)(0x80 | (c >> 12 & 0x3F));
  out[2] = (char)(0x80 | (c >> 6 & 0x3F));
  out[3] = (char)(0x80 | (c & 0x3F));
  return 4;
}

plb_status plb_encoding_to_utf8(const char *data, size_t size, plb_encoding encoding, char **out, size_t *size_out,
                                plb_error *err) {
  const bool big = encoding == PLB_ENCODING_UTF16_BE;
  if (size % 2 != 0)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)size - 1,
                         "half a UTF-16 character at the end; copy or export the file again");
  char *text = plb_resize(NULL, size / 2 * 3 + 1, 1); /* three bytes for two at the most, four for four */
  if (!text)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  size_t used = 0;
  for (size_t at = 2; at + 1 < size; at += 2) {
    uint32_t c = unit_at(data, at, big);
    if (c >= 0xD800 && c < 0xE000) { /* a surrogate pair */
      const uint32_t low = at + 3 < size ? unit_at(data, at + 2, big) : 0;
      if (c >= 0xDC00 || low < 0xDC00 || low >= 0xE000) {
        free(text);
        return plb_fail_byte(err, PLB_EDATA, (int64_t)at, "damaged UTF-16 text; copy or export the file again");
      }
      c = 0x10000 + ((c - 0xD800) << 10 | (low - 0xDC00));
      at += 2;
    }
    used += put_utf8(text + used, c);
  }
  text[used] = '\0';
  *out = text;
  *size_out = used;
  return PLB_OK;
}
