#ifndef PLB_REFERENCE_PREDICT_H
#define PLB_REFERENCE_PREDICT_H
/** @file  Prediction inside a sample block, in exact integer arithmetic. */
#include "reference/blocks.h"

/** Residuals of the block's prediction (order or weights). */
void plb_predict_residuals(const plb_block *block, const int32_t *code, int64_t *residual);

/** Values from residuals. @return false when one does not fit 32 bits */
bool plb_predict_restore(const plb_block *block, const int64_t *residual, int32_t *code);

#endif
