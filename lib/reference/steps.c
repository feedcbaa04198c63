#include "reference/steps.h"
#include "core/core.h"
#include "reference/minimax.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- from codes to what was printed ---- */

static int64_t floor_divide(int64_t a, int64_t b) { return a / b - (a % b < 0); }

static int64_t ten_to(int n) {
  int64_t power = 1;
  while (n-- > 0)
    power *= 10;
  return power;
}

/* The unit of the last digit printed, for a value |p| in fractions of 2^-shift; both the unit and `part` = unit *
   2^shift. */
static int64_t last_digit(const plb_steps *s, int64_t p, int64_t *part) {
  int64_t unit = 1, bound;
  *part = INT64_C(1) << s->shift;
  if (s->digits == 0)
    return unit;
  /* Where the bound overflows, every p is below it. */
  while (!__builtin_mul_overflow(*part, ten_to(s->digits), &bound) && (p < 0 ? -p : p) >= bound) {
    *part *= 10;
    unit *= 10;
  }
  return unit;
}

static int64_t floor_shift(int64_t a, int shift) { return a >= 0 ? a >> shift : -((-(a + 1)) >> shift) - 1; }

/* What the recorder measured, in fractions of 2^-shift; false when it does not fit. */
static bool measured(const plb_steps *s, int32_t code, int64_t *out) {
  int64_t p = 0;
  for (int i = s->coefficients - 1; i >= 0; i--)
    if (__builtin_mul_overflow(p, (int64_t)code, &p) ||
        __builtin_add_overflow(floor_shift(p, s->code_bits), s->coefficient[i], &p))
      return false;
  *out = p;
  return p != INT64_MIN;
}

bool plb_steps_apply(const plb_steps *s, int32_t code, int64_t *out) {
  const int64_t most = INT64_C(1) << 53;
  int64_t p, part, sum;
  if (!measured(s, code, &p))
    return false;
  const int64_t unit = last_digit(s, p, &part);
  if (__builtin_add_overflow(p, part / 2, &sum))
    return false;
  int64_t m = floor_divide(sum, part);
  if (s->ties != PLB_TIES_UP && part > 1 && m * part == sum)
    m -= s->ties == PLB_TIES_EVEN ? m & 1 : p < 0;
  if (__builtin_mul_overflow(m, unit, &m) || m > most || m < -most)
    return false;
  *out = m;
  return true;
}

/* ---- from what was printed to codes ---- */

enum {
  SAMPLE = 1 << 18,    /* values looked at while searching; all are checked at the end */
  FEWEST = 8,          /* different values below which any step is a guess */
  SCANNED = 512,       /* different values tried on each candidate */
  CELLS_MOST = 1000000 /* candidates tried at most */
};

/* Different values in rising order, counted from the lowest, and how far each may have been moved by rounding. */
typedef struct lattice {
  double *x, *slack;
  size_t n;
  int64_t low;
  int digits;
} lattice;

static int compare_long(const void *a, const void *b) {
  const int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
  return (x > y) - (x < y);
}

static int64_t *different_values(const int64_t *m, size_t n, size_t *count) {
  const size_t stride = n > SAMPLE ? (n + SAMPLE - 1) / SAMPLE : 1;
  int64_t low = m[0], high = m[0];
  int64_t *value = plb_calloc(n / stride + 3, sizeof *value);
  size_t used = 0;
  if (!value)
    return NULL;
  for (size_t i = 0; i < n; i += stride)
    value[used++] = m[i];
  for (size_t i = 0; i < n; i++) {
    low = m[i] < low ? m[i] : low;
    high = m[i] > high ? m[i] : high;
  }
  value[used++] = low;
  value[used++] = high;
  qsort(value, used, sizeof *value, compare_long);
  size_t kept = 1;
  for (size_t i = 1; i < used; i++)
    if (value[i] != value[kept - 1])
      value[kept++] = value[i];
  *count = kept;
  return value;
}

static int count_digits(int64_t m) {
  int digits = 0;
  for (; m != 0; m /= 10)
    digits++;
  return digits;
}

static int significant_digits(int64_t m) {
  while (m != 0 && m % 10 == 0)
    m /= 10;
  return count_digits(m);
}

/* Significant digits printed: 0 when the longest numbers use all of theirs, as with a fixed number of decimals. */
static int printed_digits(const int64_t *value, size_t n) {
  int most = 0, longest = 0;
  for (size_t i = 0; i < n; i++) {
    const int significant = significant_digits(value[i]), all = count_digits(value[i]);
    most = significant > most ? significant : most;
    longest = all > longest ? all : longest;
  }
  return most < longest ? most : 0;
}

static double slack_of(int64_t m, int digits) {
  const int surplus = digits > 0 ? count_digits(m) - digits : 0;
  return 0.5 * (double)ten_to(surplus > 0 ? surplus : 0);
}

static int64_t common_divisor(int64_t a, int64_t b) {
  while (b != 0) {
    const int64_t rest = a % b;
    a = b;
    b = rest;
  }
  return a;
}

/* Every value a whole multiple of one step away from the lowest: no rounding to undo. */
static bool find_whole(const int64_t *value, size_t n, plb_steps *out) {
  int64_t step = 0;
  for (size_t i = 1; i < n && step != 1; i++)
    step = common_divisor(value[i] - value[0], step);
  if (step <= 1 || (value[n - 1] - value[0]) / step > INT32_MAX)
    return false;
  *out = (plb_steps){.coefficient = {value[0], step}, .coefficients = 2};
  return true;
}

/* Where phase 0 of the lattice may lie, as 64 bins of one step, if this one value is on it. */
static uint64_t phases_of(double position, double reach) {
  const double low = floor(position - reach), high = floor(position + reach);
  const double count = high - low + 1.0;
  if (count >= 64.0)
    return UINT64_MAX;
  const uint64_t arc = (UINT64_C(1) << (int)count) - 1;
  const int turn = (int)(low - 64.0 * floor(low / 64.0)) & 63;
  return turn == 0 ? arc : arc << turn | arc >> (64 - turn);
}

/* Bins that suit all the values tried; 0 when the step `q`, known to `width`, is impossible. Values may lie off the
   line by `bend`. */
static uint64_t phases_of_step(const lattice *l, double q, double width, double bend) {
  const size_t tried = l->n < SCANNED ? l->n : SCANNED;
  const size_t leap = l->n > 1 ? (size_t)((double)l->n * 0.6180339887) | 1 : 1; /* neighbours agree too easily */
  uint64_t phases = UINT64_MAX;
  size_t at = 0;
  for (size_t i = 0; i < tried && phases; i++, at = (at + leap) % l->n) {
    const double turns = l->x[at] / q;
    const double position = 64.0 * (turns - floor(turns));
    phases &= phases_of(position, 64.0 * (l->slack[at] + bend + 0.5 * width * turns) / q);
  }
  return phases;
}

/* The middle of the longest run of bins, as a share of the step. */
static double middle_phase(uint64_t phases) {
  int best = 0, best_end = 0, run = 0;
  for (int i = 0; i < 128; i++) {
    run = phases >> (i & 63) & 1 ? run + 1 : 0;
    if (run > best && run <= 64) {
      best = run;
      best_end = i;
    }
  }
  return (best_end + 1 - 0.5 * best) / 64.0;
}

typedef struct line {
  double q, c;
} line;

/* Code 0 where the value is nearest to zero: there, printed with significant digits, it is finest, and small codes
   lose least. */
static line centre_codes(const lattice *l, line at) {
  const double zero = -(double)l->low;
  if (zero > 0 && zero < l->x[l->n - 1])
    at.c += at.q * floor((zero - at.c) / at.q + 0.5);
  return at;
}

static double code_of(double x, line at) { return floor((x - at.c) / at.q + 0.5); }

static bool gives_all(const lattice *l, const double *k, const plb_steps *s) {
  for (size_t i = 0; i < l->n; i++) {
    int64_t m;
    if (!plb_steps_apply(s, (int32_t)k[i], &m) || m - l->low != (int64_t)l->x[i])
      return false;
  }
  return true;
}

/* Rounding the coefficients may have pushed a value over an edge; the constant one can be moved a little to make up
   for it. */
static bool settle(const lattice *l, const double *k, plb_steps *s) {
  enum { TRIES = 64 };
  const int64_t start = s->coefficient[0];
  for (int64_t i = 0; i <= TRIES; i++) {
    s->coefficient[0] = start + (i % 2 ? (i + 1) / 2 : -(i / 2));
    if (gives_all(l, k, s))
      return true;
  }
  return false;
}

static const double tie_share = 1e-3; /* how far, in slacks, ties may seem to lie outside */

/* A recorder whose step is a round binary number (5 V / 4096) meets exact ties, which no line through a slack
   explains: round the line to * few binary places and see which rule for ties gives every value. */
static bool snap(const lattice *l, const double *k, const double *c, int code_bits, plb_steps *out) {
  enum { PLACES_MOST = 20 };
  const double q = ldexp(c[1], -code_bits);
  for (int shift = 1; shift <= PLACES_MOST; shift++) {
    *out = (plb_steps){.coefficients = 2, .shift = shift, .digits = l->digits};
    out->coefficient[0] = llround(ldexp(c[0], shift));
    out->coefficient[1] = llround(ldexp(q, shift));
    for (int ties = PLB_TIES_UP; ties <= PLB_TIES_AWAY; ties++) {
      out->ties = (plb_ties)ties;
      if (gives_all(l, k, out))
        return true;
    }
  }
  return false;
}

/* Fixed-point coefficients of the polynomial of `degree` through the codes that the line gives; false when no such
   polynomial explains * the values. */
static bool fit(const lattice *l, line at, int degree, double *k, plb_steps *out) {
  double c[PLB_MINIMAX_DEGREE_MOST + 1];
  for (size_t i = 0; i < l->n; i++)
    k[i] = code_of(l->x[i], at);
  const double largest = fmax(fabs(k[0]), fabs(k[l->n - 1]));
  if (largest > INT32_MAX)
    return false;
  int code_bits = 0;
  while (ldexp(1.0, code_bits) < largest)
    code_bits++;
  const double error = plb_minimax_fit(k, l->x, l->slack, l->n, degree, ldexp(1.0, code_bits), c);
  c[0] += (double)l->low;
  if (degree == 1 && error >= 1.0 && error < 1.0 + tie_share)
    return snap(l, k, c, code_bits, out);
  if (!(error < 1.0))
    return false;
  double most = 1.0;
  for (int i = 0; i <= degree; i++)
    most += fabs(c[i]);
  const int shift = 62 - code_bits - (int)ceil(log2(most)); /* the products stay below 2^63 */
  if (shift < 0)
    return false;
  *out = (plb_steps){.coefficients = degree + 1, .code_bits = code_bits, .digits = l->digits};
  out->shift = shift > PLB_STEP_SHIFT_MOST ? PLB_STEP_SHIFT_MOST : shift;
  for (int i = 0; i <= degree; i++)
    out->coefficient[i] = llround(ldexp(c[i], out->shift));
  return settle(l, k, out);
}

/* The codes of all samples, each tried; the neighbours too, for a value at the edge of its range. */
static bool verify(const plb_steps *s, const int64_t *m, size_t n, int64_t low, line at, int32_t *code) {
  for (size_t i = 0; i < n; i++) {
    const double near = code_of((double)(m[i] - low), at);
    bool found = false;
    for (int offset = 0; offset < 3 && !found; offset++) {
      const double k = near + (offset == 2 ? -1.0 : offset);
      int64_t back;
      if (!(fabs(k) <= INT32_MAX))
        continue;
      code[i] = (int32_t)k;
      found = plb_steps_apply(s, code[i], &back) && back == m[i];
    }
    if (!found)
      return false;
  }
  return true;
}

/* Between which bounds the step must lie if, somewhere, neighbouring codes were seen: the smallest distance of two
   values. */
static void bounds(const lattice *l, double *low, double *high) {
  *high = INFINITY;
  *low = INFINITY;
  for (size_t i = 1; i < l->n; i++) {
    const double distance = l->x[i] - l->x[i - 1], slack = l->slack[i] + l->slack[i - 1];
    *high = fmin(*high, distance + slack);
    *low = fmin(*low, distance - slack);
  }
}

static bool scan(const lattice *l, double low, double high, int degree, const int64_t *m, size_t n, plb_steps *out,
                 int32_t *code, double *k) {
  enum { FITS_MOST = 200 };
  const double range = l->x[l->n - 1];
  int fits = 0;
  double q = high;
  for (size_t cells = 0; q > low && cells < CELLS_MOST && fits < FITS_MOST; cells++) {
    /* So narrow that at the far end the phase moves by an eighth of what rounding leaves free, at most 4 bins. */
    const double free_share = fmin(0.5, (q - 1.0) / q);
    const double width = 0.25 * free_share * q * q / range;
    const double bend = degree > 1 ? q / 12.0 : 0.0;
    const uint64_t phases = phases_of_step(l, q - 0.5 * width, width, bend);
    const line at = centre_codes(l, (line){q - 0.5 * width, (q - 0.5 * width) * middle_phase(phases)});
    if (phases) {
      fits++;
      if (fit(l, at, degree, k, out) && verify(out, m, n, l->low, at, code))
        return true;
    }
    q -= width;
  }
  return false;
}

static bool find_rounded(const lattice *l, const int64_t *m, size_t n, plb_steps *out, int32_t *code, double *k) {
  enum { CURVED_FEWEST = 64 };
  const double least = 1.04; /* below this nothing is gained */
  const double room = 8.0;   /* a curve is told from rounding only where the step is much larger than that */
  double low, high;
  bounds(l, &low, &high);
  if ((double)l->n * least > l->x[l->n - 1] + 1.0)
    return false; /* more different values than such a lattice has */
  low = fmax(least, fmax(low, 0.4 * high));
  bool found = high > low && scan(l, low, high, 1, m, n, out, code, k);
  if (!found && high > low && low > room && l->n >= CURVED_FEWEST)
    found = scan(l, low, high, 3, m, n, out, code, k);
  return found;
}

plb_status plb_steps_find(const int64_t *m, size_t n, plb_steps *out, int32_t *code, bool *found, plb_error *err) {
  plb_status status = PLB_OK;
  lattice l = {.n = 0};
  size_t count = 0;
  double *k = NULL;
  *found = false;
  if (n == 0)
    return PLB_OK;
  int64_t *value = different_values(m, n, &count);
  if (!value)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  if (count > 1 && find_whole(value, count, out))
    *found = verify(out, m, n, value[0], (line){(double)out->coefficient[1], 0.0}, code);
  if (*found || count < FEWEST)
    goto done;
  l = (lattice){plb_calloc(count, sizeof *l.x), plb_calloc(count, sizeof *l.slack), count, value[0],
                printed_digits(value, count)};
  k = plb_calloc(count, sizeof *k);
  if (!l.x || !l.slack || !k) {
    status = plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
    goto done;
  }
  for (size_t i = 0; i < count; i++) {
    l.x[i] = (double)(value[i] - value[0]);
    l.slack[i] = slack_of(value[i], l.digits);
  }
  *found = find_rounded(&l, m, n, out, code, k);
done:
  free(k);
  free(l.x);
  free(l.slack);
  free(value);
  return status;
}
