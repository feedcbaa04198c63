#include "capture/number.h"
#include "core/core.h"
#include <float.h>
#include <string.h>

const uint64_t plb_power10_u[20] = {1ull,
                                    10ull,
                                    100ull,
                                    1000ull,
                                    10000ull,
                                    100000ull,
                                    1000000ull,
                                    10000000ull,
                                    100000000ull,
                                    1000000000ull,
                                    10000000000ull,
                                    100000000000ull,
                                    1000000000000ull,
                                    10000000000000ull,
                                    100000000000000ull,
                                    1000000000000000ull,
                                    10000000000000000ull,
                                    100000000000000000ull,
                                    1000000000000000000ull,
                                    10000000000000000000ull};

static const double power10[23] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                   1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

static const long double power10_long[PLB_DECIMAL_POWERS] = {
    1e0L,  1e1L,  1e2L,  1e3L,  1e4L,  1e5L,  1e6L,  1e7L,  1e8L,  1e9L,  1e10L, 1e11L, 1e12L, 1e13L,
    1e14L, 1e15L, 1e16L, 1e17L, 1e18L, 1e19L, 1e20L, 1e21L, 1e22L, 1e23L, 1e24L, 1e25L, 1e26L, 1e27L};

/*
 * Up to 2^53 both operands are exact doubles and one division rounds correctly (Clinger, How to Read Floating Point
 * Numbers Accurately, 1990). Beyond, the quotient is formed in extended precision; when one unit in its last place
 * either way gives the same double, that double is right. Where long double is no wider than double the two never agree
 * and the slow path decides.
 */
bool plb_decimal_value(const plb_decimal *decimal, double *out) {
  const uint64_t digits = decimal->digits;
  const int decimals = decimal->decimals;
  double value;
  if (digits == 0) {
    *out = 0.0;
    return true;
  }
  if (digits <= (uint64_t)1 << 53 && decimals <= 22 && decimals >= -22) {
    value = (double)digits;
    value = decimals >= 0 ? value / power10[decimals] : value * power10[-decimals];
  } else if (decimals < PLB_DECIMAL_POWERS && decimals > -PLB_DECIMAL_POWERS) {
    const long double wide = (long double)digits;
    const long double near = decimals >= 0 ? wide / power10_long[decimals] : wide * power10_long[-decimals];
    value = (double)(near - near * LDBL_EPSILON);
    if (value != (double)(near + near * LDBL_EPSILON))
      return false;
  } else {
    return false;
  }
  *out = decimal->negative ? -value : value;
  return true;
}

bool plb_number_value(const char *text, size_t size, char mark, double *out) {
  char copy[512];
  if (size == 0 || size >= sizeof copy)
    return false;
  memcpy(copy, text, size);
  copy[size] = '\0';
  if (mark != '.') {
    if (strchr(copy, '.'))
      return false;
    char *comma = strchr(copy, mark);
    if (comma) {
      if (comma[1] < '0' || comma[1] > '9')
        return false;
      *comma = '.';
    }
  }
  if (strspn(copy, "+-0123456789.eE") != size)
    return false; /* no names of infinities, no hexadecimal */
  return plb_text_number(copy, size, out);
}
