#ifndef PLB_CAPTURE_COLUMN_H
#define PLB_CAPTURE_COLUMN_H
/**
 * @file  A column while it is being read: integer codes with one count of decimals for as long as every value allows
 * it, else doubles. The number of rows and the room for them are kept by the reader, because all columns share them.
 */
#include "capture/capture.h"
#include "capture/number.h"

typedef enum plb_column_kind {
  PLB_COLUMN_SKIP, /**< text or empty: nothing is kept */
  PLB_COLUMN_CODE,
  PLB_COLUMN_REAL
} plb_column_kind;

typedef enum plb_column_put_result {
  PLB_PUT_STORED,
  PLB_PUT_HARD, /**< nothing stored: only a full conversion can tell the value */
  PLB_PUT_NO_MEMORY
} plb_column_put_result;

enum {
  PLB_COLUMN_MOST_DECIMALS = 9
}; /**< codes stay below 2^31, so ten decimals would leave nothing in front of the point */

typedef struct plb_column {
  plb_column_kind kind;
  int32_t *code;
  double *real;
  int decimals;
  uint64_t largest; /**< of |code| so far */
} plb_column;

/** Make room for `rows` values; new memory is not touched. @return false: out of memory, nothing changed */
bool plb_column_reserve(plb_column *column, size_t rows);
void plb_column_dispose(plb_column *column);

/** Where plb_column_put() has no plain case: more decimals, or from here on doubles. `row` values are stored so far. */
plb_column_put_result plb_column_put_wide(plb_column *column, size_t row, size_t room, const plb_decimal *decimal);

/** Store a double, NaN for a missing value; the column becomes one of doubles. */
plb_column_put_result plb_column_put_real(plb_column *column, size_t row, size_t room, double value);

/** Hand the memory over as the samples of a channel. */
void plb_column_release(plb_column *column, size_t rows, size_t room, plb_samples *out);

static inline plb_column_put_result plb_column_put(plb_column *column, size_t row, size_t room,
                                                   const plb_decimal *decimal) {
  if (column->kind == PLB_COLUMN_CODE) {
    const int shift = column->decimals - decimal->decimals;
    if (shift < 0 || shift > PLB_COLUMN_MOST_DECIMALS || decimal->digits > INT32_MAX)
      return plb_column_put_wide(column, row, room, decimal);
    const uint64_t code = decimal->digits * plb_power10_u[shift]; /* below 2^31 * 10^9 < 2^64 */
    if (code > INT32_MAX)
      return plb_column_put_wide(column, row, room, decimal);
    if (code > column->largest)
      column->largest = code;
    column->code[row] = decimal->negative ? -(int32_t)code : (int32_t)code;
    return PLB_PUT_STORED;
  }
  double value;
  if (!plb_decimal_value(decimal, &value))
    return PLB_PUT_HARD;
  column->real[row] = value + 0.0; /* minus nought becomes nought, as codes have it */
  return PLB_PUT_STORED;
}

#endif
