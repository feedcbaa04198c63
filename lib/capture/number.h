#ifndef PLB_CAPTURE_NUMBER_H
#define PLB_CAPTURE_NUMBER_H
/**
 * @file  Decimal numbers, fast and exact. A number is scanned once into an integer and a count of decimals; both the
 * sample store (integer codes) and the correctly rounded double come from those two.
 */
#include <plumbline/types.h>

/** value = (negative ? -1 : 1) * digits * 10^-decimals, exactly as printed. */
typedef struct plb_decimal {
  uint64_t digits;
  int decimals; /**< may be negative: 15E+3 has -3 */
  bool negative;
} plb_decimal;

enum { PLB_DECIMAL_POWERS = 28 };
/** 10^k: [k] fits a uint64_t for k < 20; the long doubles are exact (5^27 < 2^64). */
extern const uint64_t plb_power10_u[20];

/**
 * Scan [+-] digits [mark digits] [e [+-] digits] at `p`, which must end in a character that is no digit (a NUL will
 * do). At most 19 digits; anything else, and any other form, is left to the slow path.
 * @return behind the number, or NULL when the text does not start with such a number
 */
static inline const char *plb_decimal_scan(const char *p, char mark, plb_decimal *out) {
  out->negative = *p == '-';
  p += *p == '-' || *p == '+';
  const char *first = p;
  uint64_t digits = 0;
  while ((unsigned char)(*p - '0') < 10)
    digits = digits * 10 + (uint64_t)(*p++ - '0');
  ptrdiff_t count = p - first;
  int decimals = 0;
  if (*p == mark) {
    const char *fraction = ++p;
    while ((unsigned char)(*p - '0') < 10)
      digits = digits * 10 + (uint64_t)(*p++ - '0');
    decimals = (int)(p - fraction);
    count += p - fraction;
    if (mark == ',' && p == fraction)
      return NULL;
  }
  if (count == 0 || count > 19)
    return NULL;
  if (*p == 'e' || *p == 'E') {
    const char *sign = ++p;
    p += *p == '-' || *p == '+';
    int exponent = 0;
    const char *power = p;
    while ((unsigned char)(*p - '0') < 10 && p - power < 5)
      exponent = exponent * 10 + (*p++ - '0');
    if (p == power || p - power == 5)
      return NULL;
    decimals += *sign == '-' ? exponent : -exponent;
  }
  out->digits = digits;
  out->decimals = decimals;
  return p;
}

/**
 * The double nearest to the decimal, where that is cheap to know for certain.
 * @return false where only a full conversion can tell
 */
bool plb_decimal_value(const plb_decimal *decimal, double *out);

/** The double nearest to any decimal number that takes up the whole text; `mark` is the decimal mark. */
bool plb_number_value(const char *text, size_t size, char mark, double *out);

#endif
