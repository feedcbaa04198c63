#include "report/axis.h"

#include <math.h>

double plb_axis_step(double range, int most) {
  if (!(range > 0) || !isfinite(range) || most < 1)
    return 1;
  const double least = range / most, ten = pow(10, floor(log10(least)));
  static const double steps[] = {1, 2, 5};
  for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++)
    if (steps[i] * ten >= least * (1 - 1e-9))
      return steps[i] * ten;
  return 10 * ten;
}

double plb_axis_degree_step(double range, int most) {
  static const double steps[] = {1, 2, 5, 10, 15, 30, 45, 60, 90, 180, 360};
  for (size_t i = 0; range / most > 0.5 && i < sizeof steps / sizeof steps[0]; i++)
    if (steps[i] * most >= range * (1 - 1e-9))
      return steps[i];
  return plb_axis_step(range, most);
}

double plb_axis_pixel(const plb_axis *axis, double value) {
  return axis->near_ + (value - axis->from) / (axis->to - axis->from) * (axis->far - axis->near_);
}

void plb_axis_pad(double *low, double *high, double share) {
  if (!isfinite(*low) || !isfinite(*high) || *low > *high) {
    *low = 0;
    *high = 1;
    return;
  }
  double pad = (*high - *low) * share;
  if (!(pad > 1e-12 * fmax(fabs(*low), fabs(*high))))
    pad = fabs(*low) > 0 ? fabs(*low) * 0.1 : 0.5;
  *low -= pad;
  *high += pad;
}

double plb_axis_first(const plb_axis *axis) { return ceil(axis->from / axis->step - 1e-6) * axis->step; }

int plb_axis_ticks(const plb_axis *axis) {
  const double count = floor((axis->to - plb_axis_first(axis)) / axis->step + 1e-6) + 1;
  return count > 0 && count < 1000 ? (int)count : 0;
}

void plb_axis_label(const plb_axis *axis, double value, char out[64]) {
  const int decimals = axis->step >= 1 ? 0 : (int)ceil(-log10(axis->step) - 1e-9);
  const double shown = fabs(value) < axis->step * 1e-6 ? 0 : value;
  if (decimals > 9 || fabs(shown) >= 1e9)
    plb_text_print(out, 64, "%.6g", shown);
  else
    plb_text_print(out, 64, "%.*f", decimals, shown);
}
