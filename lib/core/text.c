#include "core/text.h"
#include "core/fail.h"
#include "core/unit.h"

#include <errno.h>
#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

int plb_text_vprint(char *out, size_t size, const char *format, va_list values) {
  /* Only this thread's locale changes, and only for the call; for "C" no memory is taken in common C libraries. */
  const locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
  const locale_t before = plain ? uselocale(plain) : (locale_t)0;
  const int needed = vsnprintf(out, size, format, values);
  if (plain) {
    uselocale(before);
    freelocale(plain);
  }
  return needed;
}

int plb_text_print(char *out, size_t size, const char *format, ...) {
  va_list values;
  va_start(values, format);
  const int needed = plb_text_vprint(out, size, format, values);
  va_end(values);
  return needed;
}

static bool continues(char byte) { return ((unsigned char)byte & 0xC0) == 0x80; }

/* RFC 3629, section 4: no overlong forms, no surrogates, nothing above U+10FFFF. */
size_t plb_text_utf8(const char *text) {
  const unsigned char a = (unsigned char)text[0];
  if (a < 0x80)
    return a == 0 ? 0 : 1;
  if (a < 0xC2 || a > 0xF4 || !continues(text[1]))
    return 0;
  const unsigned char b = (unsigned char)text[1];
  if (a < 0xE0)
    return 2;
  if ((a == 0xE0 && b < 0xA0) || (a == 0xED && b > 0x9F) || (a == 0xF0 && b < 0x90) || (a == 0xF4 && b > 0x8F))
    return 0;
  if (!continues(text[2]))
    return 0;
  if (a < 0xF0)
    return 3;
  return continues(text[3]) ? 4 : 0;
}

void plb_text_drop_cut(char *text, size_t size) {
  size_t end = size - 1;
  size_t first = end;
  while (first > 0 && end - first < 4 && ((unsigned char)text[first - 1] & 0xC0) == 0x80)
    first--;
  if (first > 0 && (unsigned char)text[first - 1] >= 0xC0 && plb_text_utf8(text + first - 1) == 0)
    text[first - 1] = '\0';
}

void plb_text_say(char *out, size_t size, const char *format, ...) {
  va_list values;
  va_start(values, format);
  const int needed = plb_text_vprint(out, size, format, values);
  va_end(values);
  if (needed < 0)
    out[0] = '\0';
  else if ((size_t)needed >= size)
    plb_text_drop_cut(out, size);
}

bool plb_text_copy(char *out, size_t size, const char *text) {
  const size_t length = text ? strlen(text) : size;
  if (length >= size) {
    out[0] = '\0';
    return false;
  }
  memcpy(out, text, length + 1);
  return true;
}

static bool is_digit(char c) { return c >= '0' && c <= '9'; }

static bool is_slug_start(char c) { return (c >= 'a' && c <= 'z') || is_digit(c); }

/* Length of [a-z0-9][a-z0-9 and `extra`]{0,63} at `text`; 0 when there is none or it is longer. */
static size_t segment_length(const char *text, const char *extra) {
  if (!is_slug_start(text[0]))
    return 0;
  size_t n = 1;
  while (text[n] && (is_slug_start(text[n]) || strchr(extra, text[n])))
    n++;
  return n <= 64 ? n : 0;
}

bool plb_text_is_slug(const char *text) {
  const size_t n = segment_length(text, "-");
  return n > 0 && text[n] == '\0';
}

bool plb_text_is_name(const char *text) {
  for (int segments = 1; segments <= 3; segments++) {
    const size_t n = segment_length(text, "._-");
    if (n == 0)
      return false;
    if (text[n] == '\0')
      return true;
    if (text[n] != '/')
      return false;
    text += n + 1;
  }
  return false;
}

/* A decimal as it is read: sign, significant digits without leading zeros, power of ten of the last digit kept. */
enum {
  DIGITS_KEPT = 800 /* a number halfway between two doubles has fewer than 770 significant digits: of those behind it
                       matters only whether all are zero */
};

typedef struct decimal {
  bool negative;
  bool rest; /* a digit other than zero was left out */
  int count; /* digits kept */
  int64_t power; /* of ten */
  uint64_t mantissa; /* the first 19 digits kept, more than 2^53 if there are that many */
  char digits[DIGITS_KEPT];
} decimal;

static void add_digit(decimal *d, char c, bool after_point) {
  if (d->count == 0 && c == '0') {
    d->power -= after_point;
  } else if (d->count < DIGITS_KEPT) {
    if (d->count < 19)
      d->mantissa = d->mantissa * 10 + (uint64_t)(c - '0');
    d->digits[d->count++] = c;
    d->power -= after_point;
  } else {
    d->rest = d->rest || c != '0';
    d->power += !after_point;
  }
}

/* Read the exponent at text[i], which is 'e' or 'E'; leaves *i alone when no digits follow. */
static void read_exponent(const char *text, size_t size, size_t *i, decimal *d) {
  size_t k = *i + 1;
  bool negative = false;
  if (k < size && (text[k] == '+' || text[k] == '-'))
    negative = text[k++] == '-';
  if (k >= size || !is_digit(text[k]))
    return;
  int64_t exponent = 0;
  for (; k < size && is_digit(text[k]); k++)
    if (exponent < INT64_C(1000000000000000))
      exponent = exponent * 10 + (text[k] - '0');
  d->power += negative ? -exponent : exponent;
  *i = k;
}

/* The longest number at the start of `text`: its bytes, 0 when there is none. */
static size_t read_decimal(const char *text, size_t size, decimal *d) {
  /* Not `= {0}`: clearing 800 digits costs more than reading most numbers. */
  d->negative = d->rest = false;
  d->count = 0;
  d->power = 0;
  d->mantissa = 0;
  size_t i = 0;
  if (i < size && (text[i] == '+' || text[i] == '-'))
    d->negative = text[i++] == '-';
  bool after_point = false;
  size_t seen = 0;
  for (; i < size; i++) {
    if (is_digit(text[i])) {
      add_digit(d, text[i], after_point);
      seen++;
    } else if (text[i] == '.' && !after_point) {
      after_point = true;
    } else {
      break;
    }
  }
  if (seen == 0)
    return 0;
  if (i < size && (text[i] == 'e' || text[i] == 'E'))
    read_exponent(text, size, &i, d);
  return i;
}

/* Clinger, "How to read floating point numbers accurately", PLDI 1990: where the digits and the power of ten are
 * both exact doubles, one multiplication or division rounds correctly. */
static bool convert_fast(const decimal *d, double *out) {
  static const double powers[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                  1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
  if (FLT_EVAL_METHOD != 0 || d->mantissa > (UINT64_C(1) << 53) || d->power < -22 || d->power > 22)
    return false;
  const double m = (double)d->mantissa;
  *out = d->power < 0 ? m / powers[-d->power] : m * powers[d->power];
  return true;
}

/* Write "e" and an exponent of at most four digits; printf would take longer than strtod itself. */
static void write_exponent(char *out, int exponent) {
  *out++ = 'e';
  *out++ = exponent < 0 ? '-' : '+';
  const int size = abs(exponent);
  for (int step = 1000; step > 0; step /= 10)
    *out++ = (char)('0' + size / step % 10);
  *out = '\0';
}

/* strtod gets digits and an exponent but never a decimal mark, so the locale has no say. */
static double convert_slow(decimal *d) {
  if (d->power > 400 || d->power + d->count < -400)
    return d->power > 400 ? HUGE_VAL : 0.0;
  char text[DIGITS_KEPT + 8]; /* the digit for the rest, the exponent, the NUL */
  memcpy(text, d->digits, (size_t)d->count);
  size_t n = (size_t)d->count;
  if (d->rest)
    text[n++] = '1';
  write_exponent(text + n, (int)d->power - d->rest);
  const int before = errno;
  const double value = strtod(text, NULL);
  errno = before;
  return value;
}

static bool convert_decimal(decimal *d, double *out) {
  double value = 0.0;
  if (d->count > 0 && !convert_fast(d, &value))
    value = convert_slow(d);
  if (!isfinite(value))
    return false;
  *out = d->negative ? -value : value;
  return true;
}

bool plb_text_number(const char *text, size_t size, double *out) {
  decimal d;
  const size_t used = read_decimal(text, size, &d);
  return used > 0 && used == size && convert_decimal(&d, out);
}

void plb_text_from_number(double value, char out[PLB_NUMBER_SIZE]) {
  if (!isfinite(value)) {
    plb_text_copy(out, PLB_NUMBER_SIZE, isnan(value) ? "nan" : value > 0 ? "inf" : "-inf");
    return;
  }
  for (int digits = 15; digits <= 17; digits++) {
    double back;
    const int length = plb_text_print(out, PLB_NUMBER_SIZE, "%.*g", digits, value);
    if (plb_text_number(out, (size_t)length, &back) && back == value)
      return;
  }
}

static plb_status fail_unit(plb_error *err, const char *text, const char *written, const char *unit) {
  const char *meant = plb_unit_from_label(written);
  double unused;
  if (meant && plb_unit_convert(1.0, meant, unit, &unused))
    return plb_fail(err, PLB_EUSAGE, "the unit \"%s\" in \"%s\" is not known; write \"%s\"", written, text, meant);
  if (plb_unit_known(written))
    return plb_fail(err, PLB_EUSAGE, "the unit \"%s\" in \"%s\" does not fit; give a value in \"%s\"", written, text,
                    unit);
  return plb_fail(err, PLB_EUSAGE, "the unit \"%s\" in \"%s\" is not known; give a value in \"%s\"", written, text,
                  unit);
}

plb_status plb_text_quantity(const char *text, const char *unit, double *out, plb_error *err) {
  decimal d;
  double value;
  if (!unit || unit[0] == '\0')
    unit = "1";
  const size_t used = read_decimal(text, strlen(text), &d);
  if (used == 0)
    return plb_fail(err, PLB_EUSAGE, "\"%s\" does not start with a number; write for example \"12.5%s\"", text,
                    strcmp(unit, "1") == 0 ? "" : unit);
  if (!convert_decimal(&d, &value))
    return plb_fail(err, PLB_EUSAGE, "the number in \"%s\" is too large; check it", text);
  const char *written = text + used;
  while (*written == ' ')
    written++;
  if (*written && !plb_unit_convert(value, written, unit, &value))
    return fail_unit(err, text, written, unit);
  *out = value;
  return PLB_OK;
}

void plb_text_lower(char *text) {
  for (; *text; text++)
    if (*text >= 'A' && *text <= 'Z')
      *text = (char)(*text - 'A' + 'a');
}

static size_t least(size_t a, size_t b) { return a < b ? a : b; }

size_t plb_text_distance(const char *a, const char *b) {
  enum { MOST = 63, FAR = 1000 };
  const size_t na = strlen(a), nb = strlen(b);
  if (na > MOST || nb > MOST)
    return FAR;
  size_t row[MOST + 1];
  for (size_t j = 0; j <= nb; j++)
    row[j] = j;
  for (size_t i = 1; i <= na; i++) {
    size_t corner = row[0];
    row[0] = i;
    for (size_t j = 1; j <= nb; j++) {
      const size_t replaced = corner + (a[i - 1] != b[j - 1]);
      corner = row[j];
      row[j] = least(replaced, 1 + least(row[j], row[j - 1]));
    }
  }
  return row[nb];
}
