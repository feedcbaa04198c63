#include "report/facts.h"

#include <math.h>
#include <string.h>

enum { NOISE_SAMPLES = 65536 }; /* enough for a median, however long the capture is */

static double noise_of(double *scratch, const double *x, size_t n) {
  const size_t stride = n > NOISE_SAMPLES ? n / NOISE_SAMPLES : 1;
  size_t used = 0;
  for (size_t i = 1; i + 1 < n && used < NOISE_SAMPLES; i += stride) {
    const double second = fabs(x[i - 1] - 2 * x[i] + x[i + 1]);
    if (isfinite(second))
      scratch[used++] = second;
  }
  return used > 0 ? 1.4826 * plb_median(scratch, used) / sqrt(6.0) : (double)NAN;
}

static double mean_of(const double *x, size_t n, size_t *missing_out) {
  double sum = 0, lost = 0; /* compensated (Neumaier 1974) */
  size_t count = 0;
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(x[i]))
      continue;
    const double next = sum + x[i];
    lost += fabs(sum) >= fabs(x[i]) ? (sum - next) + x[i] : (x[i] - next) + sum;
    sum = next;
    count++;
  }
  *missing_out = n - count;
  return count > 0 ? (sum + lost) / (double)count : (double)NAN;
}

plb_status plb_facts_of(plb_facts *out, const double *x, size_t n, double step, plb_error *err) {
  const size_t most = NOISE_SAMPLES;
  double *scratch = plb_calloc(n < most ? n + 1 : most, sizeof *scratch);
  if (!scratch)
    return plb_fail(err, PLB_ENOMEM, "no memory to inspect the capture; give a shorter one");
  *out = (plb_facts){.step = step};
  plb_extremes(x, n, &out->lowest, &out->highest);
  out->mean = mean_of(x, n, &out->missing);
  out->noise = noise_of(scratch, x, n);
  free(scratch);
  return PLB_OK;
}

static plb_status gather_facts(plb_insight *out, plb_error *err) {
  plb_status status = PLB_OK;
  out->facts = plb_calloc(out->channels, sizeof *out->facts);
  if (!out->facts)
    return plb_fail(err, PLB_ENOMEM, "no memory to inspect the capture; give a shorter one");
  for (size_t c = 0; c < out->channels && status == PLB_OK; c++) {
    double *x = plb_capture_copy_values(out->capture, c);
    status =
        x ? plb_facts_of(&out->facts[c], x, plb_capture_samples(out->capture), plb_capture_step(out->capture, c), err)
          : plb_fail(err, PLB_ENOMEM, "no memory to inspect the capture; give a shorter one");
    free(x);
  }
  return status;
}

plb_status plb_insight_gather(plb_insight *out, const plb_capture *capture, plb_error *err) {
  *out = (plb_insight){.capture = capture, .channels = plb_capture_channels(capture)};
  plb_status status = gather_facts(out, err);
  if (status == PLB_OK)
    status = plb_capture_check(capture, &out->fitness, &out->fitnesses, err);
  if (status == PLB_OK)
    status = plb_guess_capture(&out->guess, &out->guesses, capture, err);
  return status;
}

void plb_insight_dispose(plb_insight *insight) {
  free(insight->facts);
  free(insight->fitness);
  free(insight->guess);
}
