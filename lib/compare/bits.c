#include "compare/bits.h"
#include "signal/statistic.h"
#include <math.h>
#include <stdlib.h>

enum { LEAST_PULSES = 20 };
static const double shortest_share = 0.1; /* of the pulses that last one bit, at least */
static const double off_most = 0.2;       /* bits by which a pulse of a clean signal is off at most */

static double bits_of(double pulse, double bit) { return fmax(1.0, floor(pulse / bit + 0.5)); }

/* Least squares of pulse = late + bits * bit over the pulses of few bits: what edges of unlike slope add is no part of the bit. */
static void fit_line(const double *pulse, size_t n, double *bit, double *late) {
  enum { FEW_BITS = 8 };
  double x = 0.0, y = 0.0, xx = 0.0, xy = 0.0, seen = 0.0;
  for (size_t i = 0; i < n; i++) {
    const double k = bits_of(pulse[i] - *late, *bit);
    if (k <= FEW_BITS) {
      seen += 1.0;
      x += k;
      y += pulse[i];
      xx += k * k;
      xy += k * pulse[i];
    }
  }
  *bit = (xy - x * y / seen) / (xx - x * x / seen);
  *late = (y - *bit * x) / seen;
}

/* First guess from the pulses of one and of two bits, in the middle of each; false where there are not enough longer ones. */
static bool guess(double *sorted, size_t n, double *bit, double *late) {
  const double shortest = sorted[(size_t)(0.5 * shortest_share * (double)n)];
  size_t one = 0, two = 0;
  while (one < n && sorted[one] < 1.5 * shortest) {
    one++;
  }
  while (one + two < n && sorted[one + two] < 2.5 * shortest) {
    two++;
  }
  if (!(shortest > 0.0) || one == 0 || (double)(n - one) < shortest_share * (double)n) {
    return false;
  }
  *bit = two > 1 ? plb_median(sorted + one, two) - plb_median(sorted, one) : plb_median(sorted, one);
  *late = plb_median(sorted, one) - *bit;
  return *bit > 0.0;
}

double plb_bits_pulse(double *pulse, size_t n) {
  double bit = NAN, late = 0.0;
  size_t whole = 0;
  qsort(pulse, n, sizeof *pulse, plb_compare_double);
  if (n < LEAST_PULSES || !guess(pulse, n, &bit, &late)) {
    return NAN;
  }
  fit_line(pulse, n, &bit, &late);
  if (!(bit > 0.0) || !(fabs(late) < 0.5 * bit)) {
    return NAN;
  }
  for (size_t i = 0; i < n; i++) {
    whole += fabs(pulse[i] - late - bit * bits_of(pulse[i] - late, bit)) <= off_most * bit;
  }
  return (double)whole >= 0.9 * (double)n ? late + bit : NAN;
}
