#include "reference/predict.h"

#include <math.h>

plb_predictor plb_predict_differences(int order) {
  static const plb_predictor fixed[] = {{.weights = 0},
                                        {.weights = 1, .weight = {1}},
                                        {.weights = 2, .weight = {2, -1}},
                                        {.weights = 3, .weight = {3, -3, 1}}};
  return fixed[order];
}

/* floor(a / 2^shift) without leaning on how a compiler shifts negative numbers. */
static int64_t floor_shift(int64_t a, int shift) { return a >= 0 ? a >> shift : -((-a - 1) >> shift) - 1; }

/* |sum| <= 32 * 2^15 * 2^31 = 2^51: no overflow. */
static int64_t predict(const plb_predictor *p, const int32_t *code, size_t i) {
  const size_t reach = i < (size_t)p->weights ? i : (size_t)p->weights;
  int64_t sum = 0;
  for (size_t j = 0; j < reach; j++)
    sum += (int64_t)p->weight[j] * code[i - 1 - j];
  return floor_shift(sum, p->shift);
}

void plb_predict_residuals(const plb_predictor *p, const int32_t *code, size_t from, size_t to, int64_t *residual) {
  for (size_t i = from; i < to; i++)
    residual[i - from] = code[i] - predict(p, code, i);
}

bool plb_predict_restore(const plb_predictor *p, const int64_t *residual, size_t from, size_t to, int32_t *code) {
  for (size_t i = from; i < to; i++) {
    const int64_t value = residual[i - from] + predict(p, code, i);
    if (value < INT32_MIN || value > INT32_MAX)
      return false;
    code[i] = (int32_t)value;
  }
  return true;
}

/* Autocorrelation under a window that is flat in the middle and a parabola over the quarter at each end, which keeps
   the ends from * counting as jumps. The mean stays in: a constant is something to predict. */
void plb_predict_correlate(const int32_t *code, size_t from, size_t to, double *out) {
  enum { PIECE = 4096 };
  double x[PIECE + PLB_WEIGHTS_MOST];
  const double n = (double)(to - from), taper = 0.25 * n;
  for (int lag = 0; lag <= PLB_WEIGHTS_MOST; lag++)
    out[lag] = 0.0;
  for (size_t first = from; first < to; first += PIECE) {
    const size_t back = first - from < PLB_WEIGHTS_MOST ? first - from : PLB_WEIGHTS_MOST;
    const size_t end = back + (to - first < PIECE ? to - first : PIECE);
    for (size_t i = 0; i < end; i++) {
      const double at = (double)(first - back + i - from) + 0.5;
      const double edge = at < n - at ? at : n - at;
      const double missing = edge < taper ? 1.0 - edge / taper : 0.0;
      x[i] = code[first - back + i] * (1.0 - missing * missing);
    }
    for (size_t lag = 0; lag <= PLB_WEIGHTS_MOST; lag++) {
      double sum = 0.0;
      for (size_t i = back < lag ? lag : back; i < end; i++)
        sum += x[i] * x[i - lag];
      out[lag] += sum;
    }
  }
}

/* Levinson and Durbin's recursion (J. Makhoul, "Linear prediction: a tutorial review", Proc. IEEE 63, 1975, equations
   38). */
static bool solve_normal_equations(const double *r, int order, double *a) {
  double error = r[0] * (1.0 + 1e-9); /* a trace of noise keeps them solvable */
  double before[PLB_WEIGHTS_MOST];
  if (!(error > 0.0))
    return false;
  for (int i = 0; i < order; i++) {
    double reflection = r[i + 1];
    for (int j = 0; j < i; j++)
      reflection -= a[j] * r[i - j];
    reflection /= error;
    for (int j = 0; j < i; j++)
      before[j] = a[j];
    for (int j = 0; j < i; j++)
      a[j] = before[j] - reflection * before[i - 1 - j];
    a[i] = reflection;
    error *= 1.0 - reflection * reflection;
    if (!(error > 0.0))
      return false;
  }
  return true;
}

bool plb_predict_design(plb_predictor *out, const double *correlation, int weights) {
  double a[PLB_WEIGHTS_MOST], largest = 0.0, rest = 0.0;
  if (!solve_normal_equations(correlation, weights, a))
    return false;
  for (int i = 0; i < weights; i++)
    largest = fmax(largest, fabs(a[i]));
  int shift = PLB_WEIGHT_SHIFT_MOST;
  while (shift > 0 && ldexp(largest, shift) > 32767.0)
    shift--;
  if (!(ldexp(largest, shift) <= 32767.0))
    return false;
  *out = (plb_predictor){.weights = weights, .shift = shift};
  for (int i = 0; i < weights; i++) { /* each rounding error is made up for by the next weight */
    const double exact = ldexp(a[i], shift) + rest;
    const double whole = fmin(fmax(round(exact), -32768.0), 32767.0);
    rest = exact - whole;
    out->weight[i] = (int16_t)whole;
  }
  return true;
}
