#include "capture/column.h"

bool plb_column_reserve(plb_column *column, size_t rows) {
  if (column->kind == PLB_COLUMN_SKIP)
    return true;
  const bool codes = column->kind == PLB_COLUMN_CODE;
  void *old = codes ? (void *)column->code : (void *)column->real;
  void *moved = plb_resize(old, rows, codes ? sizeof(int32_t) : sizeof(double));
  if (!moved)
    return false;
  if (codes)
    column->code = moved;
  else
    column->real = moved;
  return true;
}

void plb_column_dispose(plb_column *column) {
  free(column->code);
  free(column->real);
  *column = (plb_column){PLB_COLUMN_SKIP, NULL, NULL, 0, 0};
}

static bool to_real(plb_column *column, size_t row, size_t room) {
  double *real = plb_resize(NULL, room, sizeof *real);
  if (!real)
    return false;
  const double unit = (double)plb_power10_u[column->decimals];
  for (size_t i = 0; i < row; i++)
    real[i] = column->code[i] / unit; /* both exact: one rounding, as a full conversion of the text would give */
  free(column->code);
  column->code = NULL;
  column->real = real;
  column->kind = PLB_COLUMN_REAL;
  return true;
}

static bool raise_decimals(plb_column *column, size_t row, int decimals) {
  if (decimals > PLB_COLUMN_MOST_DECIMALS)
    return false;
  const uint64_t factor = plb_power10_u[decimals - column->decimals];
  if (column->largest > INT32_MAX / factor)
    return false;
  for (size_t i = 0; i < row; i++)
    column->code[i] *= (int32_t)factor;
  column->largest *= factor;
  column->decimals = decimals;
  return true;
}

plb_column_put_result plb_column_put_wide(plb_column *column, size_t row, size_t room, const plb_decimal *decimal) {
  plb_decimal least = *decimal;
  if (least.digits == 0)
    least.decimals = 0;
  while (least.decimals > column->decimals && least.digits % 10 == 0 && least.digits > 0) {
    least.digits /= 10;
    least.decimals--;
  }
  while (least.decimals < 0 && least.digits <= INT32_MAX) {
    least.digits *= 10;
    least.decimals++;
  }
  const bool fits = least.digits <= INT32_MAX && least.decimals >= 0;
  if (fits && (least.decimals <= column->decimals || raise_decimals(column, row, least.decimals))) {
    const uint64_t code = least.digits * plb_power10_u[column->decimals - least.decimals];
    if (code <= INT32_MAX)
      return plb_column_put(column, row, room, &least);
  }
  if (!to_real(column, row, room))
    return PLB_PUT_NO_MEMORY;
  return plb_column_put(column, row, room, decimal);
}

plb_column_put_result plb_column_put_real(plb_column *column, size_t row, size_t room, double value) {
  if (column->kind == PLB_COLUMN_CODE && !to_real(column, row, room))
    return PLB_PUT_NO_MEMORY;
  column->real[row] = value + 0.0;
  return PLB_PUT_STORED;
}

void plb_column_release(plb_column *column, size_t rows, size_t room, plb_samples *out) {
  if (room > rows + rows / 2) { /* a bad guess of the number of rows: give the rest back */
    (void)plb_column_reserve(column, rows > 0 ? rows : 1);
  }
  *out = (plb_samples){
      .code = column->code, .real = column->real, .decimals = column->code ? column->decimals : 0, .scale = 1.0};
  column->code = NULL;
  column->real = NULL;
}
