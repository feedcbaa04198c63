#include "reference/base64.h"

static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/* Class of each byte: 0..63 a digit, then these. */
enum { PAD = 64, BLANK = 65, OTHER = 66 };

size_t plb_base64_length(size_t size) { return (size + 2) / 3 * 4; }

void plb_base64_encode(const unsigned char *bytes, size_t size, char *out) {
  size_t i = 0;
  for (; i + 3 <= size; i += 3) {
    const unsigned v = (unsigned)bytes[i] << 16 | (unsigned)bytes[i + 1] << 8 | bytes[i + 2];
    *out++ = letters[v >> 18];
    *out++ = letters[v >> 12 & 63];
    *out++ = letters[v >> 6 & 63];
    *out++ = letters[v & 63];
  }
  if (i == size)
    return;
  const bool two = i + 2 == size;
  const unsigned v = (unsigned)bytes[i] << 16 | (two ? (unsigned)bytes[i + 1] << 8 : 0);
  *out++ = letters[v >> 18];
  *out++ = letters[v >> 12 & 63];
  *out++ = two ? letters[v >> 6 & 63] : '=';
  *out++ = '=';
}

static unsigned char class_of(unsigned char c) {
  if (c >= 'A' && c <= 'Z')
    return (unsigned char)(c - 'A');
  if (c >= 'a' && c <= 'z')
    return (unsigned char)(c - 'a' + 26);
  if (c >= '0' && c <= '9')
    return (unsigned char)(c - '0' + 52);
  if (c == '+' || c == '/')
    return c == '+' ? 62 : 63;
  if (c == '=')
    return PAD;
  return c == ' ' || c == '\n' || c == '\t' || c == '\r' ? BLANK : OTHER;
}

bool plb_base64_decode(const char *text, size_t size, unsigned char *out, size_t *size_out) {
  unsigned char table[256];
  for (unsigned c = 0; c < 256; c++)
    table[c] = class_of((unsigned char)c);
  unsigned bits = 0, digits = 0, pads = 0;
  size_t n = 0;
  for (size_t i = 0; i < size; i++) {
    const unsigned char digit = table[(unsigned char)text[i]];
    if (digit == BLANK)
      continue;
    if (digit == OTHER || (pads > 0 && digit != PAD))
      return false;
    if (digit == PAD) {
      pads++;
      continue;
    }
    bits = (bits << 6 | digit) & 0xFFFFFF;
    if (++digits % 4 == 0) {
      out[n++] = (unsigned char)(bits >> 16);
      out[n++] = (unsigned char)(bits >> 8);
      out[n++] = (unsigned char)bits;
    }
  }
  const unsigned rest = digits % 4;
  if (rest == 1 || pads != (4 - rest) % 4)
    return false;
  if (rest == 2) {
    out[n++] = (unsigned char)(bits >> 4);
    if (bits & 0xF)
      return false;
  } else if (rest == 3) {
    out[n++] = (unsigned char)(bits >> 10);
    out[n++] = (unsigned char)(bits >> 2);
    if (bits & 3)
      return false;
  }
  *size_out = n;
  return true;
}
