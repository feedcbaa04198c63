#include "capture/capture.h"
#include <float.h>
#include <math.h>
#include <string.h>

/* The smallest step between different values: a bitmap of the codes, or a sorted sample of the values. */

enum { SAMPLE = 8192, BLOCKS = 16, WIDEST_MAP = 1 << 24 };

static int compare_double(const void *a, const void *b) {
  const double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

/* Neighbouring samples show small steps best: whole blocks, spread over the recording. */
static size_t take_sample(const plb_capture *capture, size_t channel, double *out) {
  const size_t n = capture->samples;
  if (n <= SAMPLE) {
    plb_capture_values(capture, channel, 0, n, out);
    return n;
  }
  const size_t size = SAMPLE / BLOCKS;
  for (size_t i = 0; i < BLOCKS; i++)
    plb_capture_values(capture, channel, (n - size) / (BLOCKS - 1) * i, size, out + i * size);
  return SAMPLE;
}

static double step_of_values(const plb_capture *capture, size_t channel) {
  double *value = plb_resize(NULL, SAMPLE, sizeof *value);
  if (!value)
    return 0.0;
  const size_t taken = take_sample(capture, channel, value);
  size_t n = 0;
  for (size_t i = 0; i < taken; i++)
    if (isfinite(value[i]))
      value[n++] = value[i];
  qsort(value, n, sizeof *value, compare_double);
  double step = INFINITY;
  for (size_t i = 1; i < n; i++) {
    const double difference = value[i] - value[i - 1];
    const double noise = 8.0 * DBL_EPSILON * fmax(fabs(value[i]), fabs(value[i - 1]));
    if (difference > noise && difference < step)
      step = difference;
  }
  free(value);
  return isinf(step) ? 0.0 : step;
}

static size_t step_of_codes(const int32_t *code, size_t n, int32_t low, size_t range) {
  unsigned char *seen = plb_calloc(range + 1, 1);
  if (!seen)
    return 0;
  for (size_t i = 0; i < n; i++)
    seen[(size_t)((int64_t)code[i] - low)] = 1;
  size_t step = range, last = 0;
  for (size_t i = 1; i <= range && step > 1; i++) {
    if (!seen[i])
      continue;
    if (i - last < step)
      step = i - last;
    last = i;
  }
  free(seen);
  return step;
}

double plb_capture_step(const plb_capture *capture, size_t channel) {
  const plb_channel *c = &capture->channel[channel];
  const plb_samples *s = &c->samples;
  const size_t n = capture->samples;
  if (n == 0)
    return 0.0;
  if (!s->code)
    return step_of_values(capture, channel);
  int32_t low = s->code[0], high = s->code[0];
  for (size_t i = 1; i < n; i++) {
    low = s->code[i] < low ? s->code[i] : low;
    high = s->code[i] > high ? s->code[i] : high;
  }
  const size_t range = (size_t)((int64_t)high - low);
  if (range == 0)
    return 0.0;
  /* a map much wider than the recording is long costs more than sorting a sample of it */
  if (range > WIDEST_MAP || range / 64 > n)
    return step_of_values(capture, channel);
  const double steps = (double)step_of_codes(s->code, n, low, range);
  double unit = s->scale;
  if (s->decimals >= 0) {
    unit = 1.0;
    for (int i = 0; i < s->decimals; i++)
      unit *= 10.0;
    return steps / unit * fabs(c->factor);
  }
  return steps * fabs(unit * c->factor);
}
