/* The very same value again and again: the noise of a living signal changes the last code now and then. */
#include "event/event.h"

#include <math.h>
#include <string.h>

enum { LEAST_RUN = 24, CHUNK = 64 };
static const double chance = 1e-9;

static size_t count_same(const double *x, size_t n) {
  size_t same = 0;
  for (size_t i = 1; i < n; i++)
    same += x[i] <= x[i - 1] && x[i] >= x[i - 1];
  return same;
}

static bool equal(double a, double b) { return a <= b && a >= b; }

/* Twice the run that chance would make once in a thousand million windows, as neighbours are equal in so many cases. */
static size_t least_run(double share, size_t n) {
  const double run = share > 0 ? log(chance / (double)n) / log(share) : 0;
  return run > LEAST_RUN / 2 ? (size_t)(2 * run) : LEAST_RUN;
}

static size_t longest_run(const double *x, size_t n) {
  size_t longest = 0, run = 0;
  for (size_t i = 1; i < n; i++) {
    run = equal(x[i], x[i - 1]) ? run + 1 : 0;
    longest = run > longest ? run : longest;
  }
  return longest;
}

plb_status plb_stuck_search(const double *x, size_t n, plb_found_list *out, plb_error *err) {
  if (n < 8 * LEAST_RUN)
    return PLB_OK;
  const size_t same = count_same(x, n);
  if (same > n - n / 20)
    return PLB_OK; /* a still signal, or nothing but its codes */
  const size_t longest = longest_run(x, n);
  const double share = (double)(same - longest) / (double)(n - longest);
  if (share > 0.9)
    return PLB_OK;
  const size_t least = least_run(share, n);
  plb_status status = PLB_OK;
  for (size_t i = 1, run = 0; longest >= least && i <= n && status == PLB_OK; i++) {
    if (i < n && equal(x[i], x[i - 1])) {
      run++;
      continue;
    }
    if (run >= least) {
      const plb_found event = {.kind = PLB_EVENT_STUCK, .first = (double)(i - 1 - run), .last = (double)i, .size = 0,
                               .sigma = fmin(1e6, sqrt(-2 * log(fmax(share, 1e-3)) * (double)run))};
      status = plb_found_add(out, &event, err);
    }
    run = 0;
  }
  return status;
}
