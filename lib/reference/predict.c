#include "reference/predict.h"

/* floor(a / 2^shift) without leaning on how a compiler shifts negative numbers. */
static int64_t floor_shift(int64_t a, int shift) {
  return a >= 0 ? a >> shift : -((-a - 1) >> shift) - 1;
}

/* |sum| <= 32 * 2^15 * 2^31 = 2^51: no overflow. */
static int64_t linear(const plb_block *b, const int32_t *code, size_t i) {
  const size_t reach = i < (size_t)b->weights ? i : (size_t)b->weights;
  int64_t sum = 0;
  for (size_t j = 0; j < reach; j++)
    sum += (int64_t)b->weight[j] * code[i - 1 - j];
  return floor_shift(sum, b->shift);
}

void plb_predict_residuals(const plb_block *b, const int32_t *code, int64_t *residual) {
  if (b->order < 0) {
    for (size_t i = 0; i < b->count; i++)
      residual[i] = code[i] - linear(b, code, i);
    return;
  }
  for (size_t i = 0; i < b->count; i++)
    residual[i] = code[i];
  for (int order = 0; order < b->order; order++)
    for (size_t i = b->count - 1; i > 0; i--)
      residual[i] -= residual[i - 1];
}

static bool fits(int64_t value) { return value >= INT32_MIN && value <= INT32_MAX; }

/* Running sums of running sums: s[0] is the sum of the sums that s[1] is, and so on; s[0] is the value. A hostile block could let the
 * inner sums grow without end, so they are bounded as honest differences are: by 2^order times the range of a value. */
static bool restore_differences(const plb_block *b, const int64_t *residual, int32_t *code) {
  const int64_t bound = INT64_C(1) << 36;
  int64_t sum[4] = {0, 0, 0, 0};
  for (size_t i = 0; i < b->count; i++) {
    int64_t value = residual[i];
    for (int k = b->order - 1; k >= 0; k--) {
      sum[k] += value;
      value = sum[k];
      if (value > bound || value < -bound)
        return false;
    }
    if (!fits(value))
      return false;
    code[i] = (int32_t)value;
  }
  return true;
}

bool plb_predict_restore(const plb_block *b, const int64_t *residual, int32_t *code) {
  if (b->order >= 0)
    return restore_differences(b, residual, code);
  for (size_t i = 0; i < b->count; i++) {
    const int64_t value = residual[i] + linear(b, code, i);
    if (!fits(value))
      return false;
    code[i] = (int32_t)value;
  }
  return true;
}
