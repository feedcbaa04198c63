/* From anchors to a grid. Between two anchors time and phase run in proportion, so that a change of speed that the anchors see is gone. */
#include "cycle/draft.h"

#include <math.h>
#include <string.h>

void plb_scratch_dispose(plb_scratch *scratch) {
  free(scratch->x);
  free(scratch->cumulative);
  free(scratch->edge);
  *scratch = (plb_scratch){0};
}

static bool make_room(double **array, size_t *capacity, size_t wanted) {
  if (wanted <= *capacity)
    return true;
  double *larger = plb_resize(*array, wanted + wanted / 4, sizeof(double));
  if (!larger)
    return false;
  *array = larger;
  *capacity = wanted + wanted / 4;
  return true;
}

/** Missing samples become the straight line between their neighbours, or the nearest one at the ends; 0 when there is none at all. */
static void fill_missing(double *x, size_t n) {
  size_t known = n;
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(x[i]))
      continue;
    const size_t from = known == n ? 0 : known + 1;
    for (size_t k = from; k < i; k++)
      x[k] = known == n ? x[i] : x[known] + (x[i] - x[known]) * (double)(k - known) / (double)(i - known);
    known = i;
  }
  for (size_t k = known == n ? 0 : known + 1; k < n; k++)
    x[k] = known == n ? 0.0 : x[known];
}

static bool all_finite(const double *x, size_t n) {
  double sum = 0;
  for (size_t i = 0; i < n; i++)
    sum += x[i] * 0.0;
  return sum == 0.0;
}

plb_status plb_lay_cells(const double *x, size_t n, const double *edge_at, size_t grid, plb_scratch *scratch,
                         float *out, plb_error *err) {
  const double begin = fmax(0.0, fmin(floor(edge_at[0]) - 1.0, (double)n - 1.0));
  const double end = fmax(begin + 1.0, fmin(ceil(edge_at[grid]) + 2.0, (double)n));
  const size_t first = (size_t)begin, count = (size_t)end - first;
  if (!make_room(&scratch->cumulative, &scratch->cumulative_capacity, count) ||
      !make_room(&scratch->edge, &scratch->edge_capacity, grid + 1))
    return plb_fail(err, PLB_ENOMEM, "no memory to lay out a cycle of %zu samples; free some memory", count);
  const double *part = x + first;
  if (!all_finite(part, count)) {
    if (!make_room(&scratch->x, &scratch->x_capacity, count))
      return plb_fail(err, PLB_ENOMEM, "no memory to lay out a cycle of %zu samples; free some memory", count);
    memcpy(scratch->x, part, count * sizeof *part);
    fill_missing(scratch->x, count);
    part = scratch->x;
  }
  for (size_t k = 0; k <= grid; k++)
    scratch->edge[k] = edge_at[k] - (double)first;
  plb_cumulate(part, count, scratch->cumulative);
  plb_resample_cells(part, scratch->cumulative, count, scratch->edge, grid, out);
  return PLB_OK;
}

void plb_lay_edges(const double *phase, const double *place, size_t anchors, size_t grid, double *edge_at) {
  size_t a = 0;
  for (size_t k = 0; k <= grid; k++) {
    const double p = (double)k / (double)grid;
    while (a + 2 < anchors && phase[a + 1] <= p)
      a++;
    edge_at[k] = place[a] + (p - phase[a]) * (place[a + 1] - place[a]) / (phase[a + 1] - phase[a]);
  }
}

void plb_fill_missing_cells(float *curve, size_t n) {
  size_t known = n;
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(curve[i]))
      continue;
    for (size_t k = known == n ? 0 : known + 1; k < i; k++)
      curve[k] = known == n || 2 * k >= known + i ? curve[i] : curve[known];
    known = i;
  }
  for (size_t k = known == n ? 0 : known + 1; k < n; k++)
    curve[k] = known == n ? 0.0f : curve[known];
}

double plb_curve_correlation(const float *a, const float *b, size_t n) {
  double sa = 0, sb = 0, count = 0;
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(a[i]))
      continue;
    sa += (double)a[i];
    sb += (double)b[i];
    count++;
  }
  const double ma = sa / count, mb = sb / count;
  double aa = 0, bb = 0, ab = 0;
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(a[i]))
      continue;
    const double x = (double)a[i] - ma, y = (double)b[i] - mb;
    aa += x * x;
    bb += y * y;
    ab += x * y;
  }
  return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0.0;
}
