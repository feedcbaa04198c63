#include "reading/balance.h"
#include "signal/filter.h"
#include "signal/signal.h"

#include <math.h>
#include <string.h>

enum { LOOKED_AT = 4096 };

/* Means of `by` points, held inside the middle nine tenths, so that the rush at the beginning does not count. */
static size_t thin(const double *x, size_t n, size_t by, double *out) {
  size_t m = 0;
  for (size_t i = 0; i + by <= n; i += by) {
    double sum = 0.0;
    for (size_t k = 0; k < by; k++)
      sum += x[i + k];
    out[m++] = sum / (double)by;
  }
  return m;
}

/* The shortest lag at which the curve is nearly as like itself as at any: one weak hump of N makes the N-fold the best, and still is a hump. */
static double likeness_period(const double *x, size_t n) {
  enum { LEAST = 4 };
  const double mean = plb_mean(x, n);
  double best = 0.0, *like = plb_calloc(n, sizeof *like), first = 0.0;
  if (!like)
    return 0.0;
  for (size_t lag = 0; lag <= n / 3; lag++) {
    double sum = 0.0;
    for (size_t i = 0; i + lag < n; i++)
      sum += (x[i] - mean) * (x[i + lag] - mean);
    like[lag] = sum / (double)(n - lag);
  }
  size_t fallen = 1;
  while (fallen <= n / 3 && like[fallen] > 0.2 * like[0])
    fallen++;
  for (size_t lag = fallen > LEAST ? fallen : LEAST; lag + 1 <= n / 3; lag++)
    best = like[lag] >= like[lag - 1] && like[lag] > like[lag + 1] ? fmax(best, like[lag]) : best;
  for (size_t lag = fallen > LEAST ? fallen : LEAST; lag + 1 <= n / 3 && first == 0.0; lag++)
    if (like[lag] >= like[lag - 1] && like[lag] > like[lag + 1] && like[lag] > 0.5 * best)
      first = (double)lag;
  free(like);
  return first;
}

static double find_period(const double *x, size_t n) {
  const size_t by = n / LOOKED_AT + 1;
  double *thinned = plb_calloc(n / by + 1, sizeof *thinned), *sorted = plb_calloc(n / by + 1, sizeof *sorted), period = 0.0;
  if (thinned && sorted) {
    const size_t m = thin(x, n, by, thinned);
    memcpy(sorted, thinned, m * sizeof *sorted);
    const double low = plb_quantile(sorted, m, 0.05), high = plb_quantile(sorted, m, 0.95);
    for (size_t i = 0; i < m; i++)
      thinned[i] = fmin(fmax(thinned[i], low), high);
    period = m > 16 ? likeness_period(thinned, m) * (double)by : 0.0;
  }
  free(thinned);
  free(sorted);
  return period;
}

/* The highest point near where the next hump is due; where there is none (a cylinder that compresses nothing), the place itself. */
static size_t next_top(const double *x, size_t due, size_t slack) {
  size_t best = due;
  for (size_t i = due - slack; i <= due + slack; i++)
    best = x[i] > x[best] ? i : best;
  return best == due - slack || best == due + slack ? due : best;
}

/* From the highest point of the middle half on, hump by hump to both ends, with the length of the last step. @return their number */
static size_t find_tops(const double *x, size_t n, double period, size_t *top, size_t most) {
  const size_t slack = (size_t)(0.3 * period) + 1;
  size_t middle = n / 4, count = 0;
  for (size_t i = n / 4; i < 3 * n / 4; i++)
    middle = x[i] > x[middle] ? i : middle;
  for (double at = (double)middle, step = period; at >= 0.0 && count < most;) {
    top[count++] = (size_t)at;
    const double due = at - step;
    if (due < (double)slack + 1.0)
      break;
    const double next = (double)next_top(x, (size_t)due, slack);
    step = 0.5 * (step + at - next); /* the engine may turn ever faster */
    at = next;
  }
  for (size_t k = 0; k < count / 2; k++) {
    const size_t swap = top[k];
    top[k] = top[count - 1 - k];
    top[count - 1 - k] = swap;
  }
  for (double at = (double)middle, step = period; count < most;) {
    const double due = at + step;
    if (due + (double)slack + 1.0 >= (double)n)
      break;
    const double next = (double)next_top(x, (size_t)due, slack);
    step = 0.5 * (step + next - at);
    at = next;
    top[count++] = (size_t)at;
  }
  return count;
}

static double lowest_between(const double *x, size_t from, size_t to) {
  double low = x[from];
  for (size_t i = from; i < to; i++)
    low = fmin(low, x[i]);
  return low;
}

/* Height over the mean of the valleys on both sides; then over the mean of the N humps around it. */
static void take_shares(plb_hump *hump, size_t count, const double *height, size_t cylinders) {
  for (size_t i = 0; i < count; i++) {
    size_t first = i < cylinders / 2 ? 0 : i - cylinders / 2;
    first = first + cylinders > count ? count - cylinders : first;
    double sum = 0.0;
    for (size_t k = first; k < first + cylinders; k++)
      sum += height[k];
    hump[i].share = 100.0 * height[i] * (double)cylinders / sum;
  }
}

plb_status plb_balance(plb_hump **out, size_t *count_out, double *x, size_t n, double period, int cylinders, plb_error *err) {
  const size_t cycle = (size_t)cylinders;
  plb_filter smooth;
  plb_status status = PLB_OK;
  *out = NULL;
  *count_out = 0;
  period = period > 0.0 ? period : find_period(x, n);
  if (!(period >= 4.0) || !plb_filter_butterworth(&smooth, PLB_LOW_PASS, 2, fmin(2.5 / period, 0.49), 0.0))
    return plb_fail(err, PLB_EDATA, "no humps follow each other here; record while the engine turns steadily");
  const size_t most = (size_t)((double)n / (0.5 * period)) + 2;
  size_t *top = plb_calloc(most, sizeof *top);
  double *height = plb_calloc(most, sizeof *height);
  plb_hump *hump = plb_calloc(most, sizeof *hump);
  if (!top || !height || !hump)
    status = plb_fail(err, PLB_ENOMEM, "no memory for the humps; read a part with --from and --to");
  if (status == PLB_OK)
    status = plb_filter_zero_phase(&smooth, x, n, err);
  const size_t tops = status == PLB_OK ? find_tops(x, n, period, top, most) : 0;
  size_t count = 0;
  for (size_t k = 1; k + 1 < tops; k++, count++) {
    hump[count].at = (double)top[k];
    height[count] = fmax(x[top[k]] - 0.5 * (lowest_between(x, top[k - 1], top[k]) + lowest_between(x, top[k], top[k + 1])), 0.0);
  }
  if (status == PLB_OK && count < 2 * cycle)
    status = plb_fail(err, PLB_EDATA, "%zu whole humps; at least two of each of %d cylinders are needed, record longer", count, cylinders);
  if (status == PLB_OK) {
    take_shares(hump, count, height, cycle);
    *out = hump;
    *count_out = count;
    hump = NULL;
  }
  free(top);
  free(height);
  free(hump);
  return status;
}

void plb_balance_say(const plb_hump *hump, size_t count, int cylinders, char *out, size_t size) {
  const size_t cycle = (size_t)cylinders;
  double *share = plb_calloc(count / cycle + 1, sizeof *share);
  size_t used = (size_t)plb_text_print(out, size, "of %d in turn, the first one seen first:", cylinders);
  for (size_t place = 0; share && place < cycle && used + 16 < size; place++) {
    size_t m = 0;
    for (size_t i = place; i < count; i += cycle)
      share[m++] = hump[i].share;
    used += (size_t)plb_text_print(out + used, size - used, "%s %.0f", place ? "," : "", plb_median(share, m));
  }
  plb_text_print(out + used, size - used, " %%; even is not yet good");
  free(share);
}
