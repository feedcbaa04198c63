#include "signal/distribution.h"

#include <float.h>
#include <math.h>

static const double half_log_two_pi = 0.91893853320467274178;

/* What Stirling's formula leaves of log gamma, for x >= 10 (Abramowitz and Stegun 6.1.41): eight terms give 1e-17
 * there. */
static double stirling_rest(double x) {
  static const double c[] = {1.0 / 12,   -1.0 / 360,        1.0 / 1260, -1.0 / 1680,
                             1.0 / 1188, -691.0 / 360360.0, 1.0 / 156,  -3617.0 / 122400.0};
  const double square = 1 / (x * x);
  double sum = 0;
  for (int k = 7; k >= 0; k--)
    sum = sum * square + c[k];
  return sum / x;
}

/* log z - d with z = 1 + d; near z = 1, where the two cancel, by its series. */
static double log_excess(double z, double d) {
  if (fabs(d) > 0.1)
    return log(z) - d;
  double sum = 0;
  double power = d;
  for (int k = 2; k < 40; k++) {
    power *= -d;
    const double term = power / k;
    sum += term;
    if (fabs(term) < 1e-18 * fabs(sum))
      break;
  }
  return sum;
}

/*
 * x^a y^b / B(a, b), y = 1 - x given on its own so that neither end loses digits. Both parameters are first raised to
 * 10 or more by B(a, b) = B(a + 1, b) (a + b) / a, then Stirling's formula is put in; with x0 = a/(a+b) the powers
 * become exp(a (log z - z + 1) + b (log w - w + 1)), z = x/x0, w = y/(1 - x0), since a z + b w = a + b.
 */
static double beta_front(double x, double y, double a, double b) {
  if (x <= 0 || y <= 0)
    return 0;
  double log_front = 0;
  for (; a < 10; a++)
    log_front -= log(x * (a + b) / a);
  for (; b < 10; b++)
    log_front -= log(y * (a + b) / b);
  const double sum = a + b;
  const double off = x < y ? (x * sum - a) : (b - y * sum); /* (x - x0)(a + b) */
  log_front += a * log_excess(x * sum / a, off / a) + b * log_excess(y * sum / b, -off / b);
  log_front += 0.5 * (log(a) + log(b / sum)) - half_log_two_pi;
  log_front += stirling_rest(sum) - stirling_rest(a) - stirling_rest(b);
  return exp(log_front);
}

/* Continued fraction of the incomplete beta by the modified Lentz method (Abramowitz and Stegun 26.5.8; Lentz 1976,
 * Thompson and Barnett 1986). Converges fast for x < (a + 1)/(a + b + 2), in O(sqrt(max(a, b))) steps. */
static double beta_fraction(double x, double a, double b) {
  const double tiny = 1e-300;
  double c = 1;
  double d = 1 - (a + b) * x / (a + 1);
  d = 1 / (fabs(d) < tiny ? tiny : d);
  double h = d;
  for (int m = 1; m < 100000; m++) {
    const double even = m * (b - m) * x / ((a + 2.0 * m - 1) * (a + 2.0 * m));
    d = 1 + even * d;
    c = 1 + even / c;
    d = 1 / (fabs(d) < tiny ? tiny : d);
    c = fabs(c) < tiny ? tiny : c;
    h *= d * c;
    const double odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1));
    d = 1 + odd * d;
    c = 1 + odd / c;
    d = 1 / (fabs(d) < tiny ? tiny : d);
    c = fabs(c) < tiny ? tiny : c;
    h *= d * c;
    if (fabs(d * c - 1) < 0.5 * DBL_EPSILON)
      break;
  }
  return h;
}

typedef struct tails {
  double lower, upper; /* they add up to 1; the smaller one keeps its relative accuracy */
  double front;        /* x^a y^b / B(a, b): the density times x y */
} tails;

static tails beta_tails(double x, double y, double a, double b) {
  tails t = {.front = beta_front(x, y, a, b)};
  if (x <= 0)
    return (tails){.lower = 0, .upper = 1};
  if (y <= 0)
    return (tails){.lower = 1, .upper = 0};
  if (x * (a + b + 2) < a + 1) {
    t.lower = fmin(1, t.front * beta_fraction(x, a, b) / a);
    t.upper = 1 - t.lower;
  } else {
    t.upper = fmin(1, t.front * beta_fraction(y, b, a) / b);
    t.lower = 1 - t.upper;
  }
  return t;
}

double plb_beta_cdf(double x, double a, double b) {
  if (isnan(x) || !(a > 0) || !(b > 0))
    return NAN;
  return beta_tails(x, 1 - x, a, b).lower;
}

/* Newton's step inside a bracket that every step narrows; a step that leaves it is replaced by halving, on a log scale
 * where the bracket spans decades. */
static double next_guess(double guess, double step, double low, double high) {
  const double next = guess - step;
  if (next > low && next < high)
    return next;
  if (low > 0 && high / low > 4)
    return sqrt(low) * sqrt(high);
  return low == 0 && high > 1e-290 && guess > 1e-290 ? high * 0.01 : 0.5 * (low + high);
}

double plb_beta_quantile(double p, double a, double b) {
  if (!(p >= 0 && p <= 1) || !(a > 0) || !(b > 0))
    return NAN;
  if (p == 0 || p == 1)
    return p;
  double low = 0;
  double high = 1;
  double x = a / (a + b);
  for (int round = 0; round < 500; round++) {
    const tails t = beta_tails(x, 1 - x, a, b);
    const double miss = p < 0.5 ? t.lower - p : (1 - p) - t.upper;
    if (miss == 0)
      return x;
    if (miss < 0)
      low = x;
    else
      high = x;
    const double step = t.front > 0 ? miss * x * (1 - x) / t.front : 2;
    const double next = next_guess(x, step, low, high);
    if (fabs(next - x) <= DBL_EPSILON * x)
      return next;
    x = next;
  }
  return x;
}

/* Upper tail of Student's t at t > 0: half of I_x(v/2, 1/2), x = v/(v + t^2); `front` is t times the density. */
static tails t_tails(double t, double freedom) {
  const double ratio = t * t / freedom;
  const tails both = beta_tails(1 / (1 + ratio), ratio / (1 + ratio), 0.5 * freedom, 0.5);
  return (tails){.lower = 0.5 + 0.5 * both.upper, .upper = 0.5 * both.lower, .front = both.front};
}

double plb_t_cdf(double t, double freedom) {
  if (isnan(t) || !(freedom > 0))
    return NAN;
  if (isinf(freedom))
    return plb_normal_cdf(t);
  if (t == 0)
    return 0.5;
  if (isinf(t))
    return t > 0 ? 1 : 0;
  const tails both = t_tails(fabs(t), freedom);
  return t > 0 ? both.lower : both.upper;
}

double plb_t_quantile(double p, double freedom) {
  if (!(p >= 0 && p <= 1) || !(freedom > 0))
    return NAN;
  if (isinf(freedom))
    return plb_normal_quantile(p);
  if (p == 0.5)
    return 0;
  if (p == 0 || p == 1)
    return p == 0 ? -INFINITY : INFINITY;
  const double tail = p < 0.5 ? p : 1 - p;
  double low = 0;
  double high = 1;
  while (t_tails(high, freedom).upper > tail && high < 1e150) {
    low = high;
    high *= 2;
  }
  double t = low > 0 ? 0.5 * (low + high) : 0.5;
  for (int round = 0; round < 500; round++) {
    const tails both = t_tails(t, freedom);
    const double miss = tail - both.upper;
    if (miss == 0)
      break;
    if (miss < 0)
      low = t;
    else
      high = t;
    const double next = next_guess(t, both.front > 0 ? miss * t / both.front : high, low, high);
    const bool settled = fabs(next - t) <= DBL_EPSILON * t;
    t = next;
    if (settled)
      break;
  }
  return p < 0.5 ? -t : t;
}

double plb_normal_cdf(double z) { return 0.5 * erfc(-z / sqrt(2)); }

/* A rational first guess (Abramowitz and Stegun 26.2.23, within 4.5e-4), then Halley's steps on the smaller tail. */
double plb_normal_quantile(double p) {
  if (!(p >= 0 && p <= 1))
    return NAN;
  if (p == 0 || p == 1)
    return p == 0 ? -INFINITY : INFINITY;
  const double tail = p < 0.5 ? p : 1 - p;
  const double t = sqrt(-2 * log(tail));
  double z = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
  for (int step = 0; step < 4; step++) {
    const double miss = plb_normal_cdf(-z) - tail;
    const double u = miss * exp(0.5 * z * z + half_log_two_pi);
    if (!isfinite(u))
      break;
    z += u / (1 - 0.5 * z * u);
  }
  return p < 0.5 ? -z : z;
}

/* P(X >= k) = I_p(k, n - k + 1) (Abramowitz and Stegun 26.5.24). */
double plb_binomial_tail(uint64_t k, uint64_t n, double p) {
  if (!(p >= 0 && p <= 1))
    return NAN;
  if (k == 0)
    return 1;
  if (k > n)
    return 0;
  return plb_beta_cdf(p, (double)k, (double)(n - k) + 1);
}

void plb_clopper_pearson(uint64_t k, uint64_t n, double alpha, double *low_out, double *high_out) {
  *low_out = k == 0 ? 0 : plb_beta_quantile(0.5 * alpha, (double)k, (double)(n - k) + 1);
  *high_out = k >= n ? 1 : plb_beta_quantile(1 - 0.5 * alpha, (double)k + 1, (double)(n - k));
}
