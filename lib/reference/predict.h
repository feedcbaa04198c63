#ifndef PLB_REFERENCE_PREDICT_H
#define PLB_REFERENCE_PREDICT_H
/** @file  Prediction of a value from those before it, in exact integer arithmetic. Values before the first of a block
   count as 0. */
#include <plumbline/types.h>

enum { PLB_WEIGHTS_MOST = 32, PLB_WEIGHT_SHIFT_MOST = 15 };

/** prediction of k[i] = floor((weight[0] k[i-1] + weight[1] k[i-2] + ...) / 2^shift) */
typedef struct plb_predictor {
  int weights; /**< 0..PLB_WEIGHTS_MOST */
  int shift;   /**< 0..PLB_WEIGHT_SHIFT_MOST */
  int16_t weight[PLB_WEIGHTS_MOST];
} plb_predictor;

/** The value before (order 1), a straight line through the two before (2), a parabola through the three before (3);
   0: nothing. */
plb_predictor plb_predict_differences(int order);

/** How the values [from, to) resemble themselves at lags 0..PLB_WEIGHTS_MOST. @param out  [size: PLB_WEIGHTS_MOST +
   1] */
void plb_predict_correlate(const int32_t *code, size_t from, size_t to, double *out);

/**
 * The best weights for values that resemble themselves like this.
 * @return false when the values are too plain for it
 */
bool plb_predict_design(plb_predictor *out, const double *correlation, int weights);

/** residual[i - from] = code[i] - prediction, for i in [from, to). */
void plb_predict_residuals(const plb_predictor *p, const int32_t *code, size_t from, size_t to, int64_t *residual);

/** Undo it in place of code[from..to). @return false when a value does not fit 32 bits */
bool plb_predict_restore(const plb_predictor *p, const int64_t *residual, size_t from, size_t to, int32_t *code);

#endif
