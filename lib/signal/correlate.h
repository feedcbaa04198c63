#ifndef PLB_SIGNAL_CORRELATE_H
#define PLB_SIGNAL_CORRELATE_H
/**
 * @file  Cross-correlation. Sign of the lag, everywhere: a positive lag of `x` against `template` means that the
 * template's content appears LATER in x: x[k + lag] looks like template[k].
 */
#include <plumbline/error.h>

/**
 * Full correlation c[k] = sum_n a[n + k - (nv - 1)] v[n], k = 0 .. na + nv - 2, as numpy.correlate(a, v, "full").
 * Direct for short inputs, by FFT otherwise. @param out  [size: na + nv - 1]
 */
PLB_CHECKED plb_status plb_correlate_full(const double *a, size_t na, const double *v, size_t nv, double *out, plb_error *err);

/** Lag d of y against x: y[n + d] ~ x[n], the largest |correlation|; of equal peaks the smallest |d| (finddelay's rule). */
PLB_CHECKED plb_status plb_find_delay(const double *x, size_t nx, const double *y, size_t ny, int64_t *lag_out, plb_error *err);

/**
 * Normalised cross-correlation at every place where the template lies wholly inside x: out[k] in [-1, 1] is the correlation coefficient
 * of x[k .. k+m) with the template (both means removed). 0 where x is flat there (spread below `flat`).
 * FFT overlap-save with running sums in double. @param m  2 <= m <= n. @param out  [size: n - m + 1]
 */
PLB_CHECKED plb_status plb_ncc(const float *x, size_t n, const float *template_, size_t m, double flat, float *out, plb_error *err);

/** Circular normalised cross-correlation of two cycles of equal length: out[k] for a shift by k samples. [size: n] */
PLB_CHECKED plb_status plb_ncc_circular(const float *x, const float *template_, size_t n, float *out, plb_error *err);

/** Autocorrelation coefficient (mean removed, unbiased: divided by the overlap's energy), lags 0..most. @param out [size: most + 1], most < n */
PLB_CHECKED plb_status plb_autocorrelate(const float *x, size_t n, size_t most, float *out, plb_error *err);

/** Vertex of the parabola through (-1, a), (0, b), (1, c) (Smith, Spectral Audio Signal Processing): offset in [-0.5, 0.5] and height. */
double plb_parabola_peak(double a, double b, double c, double *height_out);

/**
 * Offset of a correlation peak to sub-sample accuracy: parabola, then the known bias of the sampled cosine undone where the local
 * curvature shows it. Three samples around the peak.
 */
double plb_peak_offset(double a, double b, double c);

#endif
