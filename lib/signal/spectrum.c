#include "signal/spectrum.h"

#include "core/fail.h"
#include "signal/fft.h"
#include "signal/statistic.h"

#include <math.h>

static double hann(size_t i, size_t n) { return 0.5 - 0.5 * cos(2 * acos(-1.0) * (double)i / (double)n); }

/* Welch (1967): the mean of the periodograms of half-overlapping windowed segments, each with its mean removed. */
plb_status plb_welch(const double *x, size_t n, double rate_hz, size_t segment, double *out, plb_error *err) {
  if (segment < 2 || segment % 2 != 0 || segment > n || !(rate_hz > 0))
    return plb_fail(err, PLB_EINVAL,
                    "a spectrum of %zu samples in segments of %zu at %g Hz; take an even segment that fits", n, segment,
                    rate_hz);
  const plb_fft *f;
  plb_status status = plb_fft_get(&f, segment, err);
  if (status != PLB_OK)
    return status;
  float *window = plb_fft_alloc_real(segment);
  float *time = plb_fft_alloc_real(segment);
  float complex *freq = plb_fft_alloc_complex(segment / 2 + 1);
  if (!window || !time || !freq) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for a spectrum of %zu points", segment);
    goto done;
  }
  double energy = 0;
  for (size_t i = 0; i < segment; i++) {
    window[i] = (float)hann(i, segment);
    energy += hann(i, segment) * hann(i, segment);
  }
  for (size_t k = 0; k <= segment / 2; k++)
    out[k] = 0;
  size_t segments = 0;
  for (size_t at = 0; at + segment <= n; at += segment / 2, segments++) {
    const double mean = plb_mean(x + at, segment);
    for (size_t i = 0; i < segment; i++)
      time[i] = (float)(x[at + i] - mean) * window[i];
    plb_fft_forward(f, time, freq);
    const float *pair = (const float *)freq;
    for (size_t k = 0; k <= segment / 2; k++)
      out[k] += (double)pair[2 * k] * (double)pair[2 * k] + (double)pair[2 * k + 1] * (double)pair[2 * k + 1];
  }
  /* one-sided: the negative frequencies are folded onto the positive ones; zero and Nyquist have no partner */
  const double scale = 1 / (rate_hz * energy * (double)segments);
  for (size_t k = 0; k <= segment / 2; k++)
    out[k] *= k == 0 || k == segment / 2 ? scale : 2 * scale;
done:
  plb_fft_free(window);
  plb_fft_free(time);
  plb_fft_free(freq);
  return status;
}

/* IEC 61260-1:2014: octave ratio G = 10^(3/10), reference frequency 1000 Hz; mid-band frequencies at G^(x/b) for odd b,
 * G^((2x+1)/(2b)) for even b. */
static double band_hz(int fraction, double halves) { return 1000 * pow(10, 0.3 * halves / (2 * (double)fraction)); }

static double mid_halves(int fraction, int index) { return 2 * (double)index + (fraction % 2 == 0 ? 1 : 0); }

double plb_band_mid_hz(int fraction, int index) { return band_hz(fraction, mid_halves(fraction, index)); }

/* The edges lie half a band from the middle, so that the upper edge of a band and the lower one of the next are the
 * same number. */
void plb_band_edges_hz(int fraction, int index, double *low_out, double *high_out) {
  const double middle = mid_halves(fraction, index);
  *low_out = band_hz(fraction, middle - 1);
  *high_out = band_hz(fraction, middle + 1);
}

double plb_band_power(const double *density, size_t bins, double bin_hz, double low_hz, double high_hz) {
  double power = 0;
  for (size_t k = 0; k < bins; k++) {
    const double from = k == 0 ? 0 : ((double)k - 0.5) * bin_hz;
    const double to = k + 1 == bins ? (double)k * bin_hz : ((double)k + 0.5) * bin_hz;
    const double covered = fmin(to, high_hz) - fmax(from, low_hz);
    if (covered > 0)
      power += density[k] * bin_hz * covered / (to - from);
  }
  return power;
}
