#ifndef PLB_SIGNAL_CORRELATE_H
#define PLB_SIGNAL_CORRELATE_H
/**
 * @file  Cross-correlation. Sign of the lag, everywhere: a positive lag of `x` against `template` means that the
 * template's content appears LATER in x: x[k + lag] looks like template[k].
 */
#include <plumbline/error.h>

/**
 * Full correlation c[k] = sum_n a[n + k - (nv - 1)] v[n], k = 0 .. na + nv - 2, as numpy.correlate(a, v, "full").
 * Direct for short inputs, by FFT in single precision otherwise: then the error is below 1e-6 of |a - mean| |v - mean|
 * (Euclidean lengths), whatever the means are. NaN in gives NaN out. @param out  [size: na + nv - 1]
 */
PLB_CHECKED plb_status plb_correlate_full(const double *a, size_t na, const double *v, size_t nv, double *out,
                                          plb_error *err);

/**
 * Lag d of y against x: y[n + d] ~ x[n], at the largest |sum of products|; of equal peaks the one with the smallest
 * |d|. Means are not removed: take them out first where an offset is not part of the pattern. 0 when all products are
 * 0.
 */
PLB_CHECKED plb_status plb_find_delay(const double *x, size_t nx, const double *y, size_t ny, int64_t *lag_out,
                                      plb_error *err);

/**
 * Normalised cross-correlation at every place where the template lies wholly inside x: out[k] in [-1, 1] is the
 * correlation coefficient of x[k .. k+m) with the template (both means removed). 0 where x is flat there (standard
 * deviation below `flat`, or below what single precision can tell beside the rest of the block), where it holds a
 * sample that is not finite, and everywhere for a flat template. FFT overlap-save with running sums in double; each
 * block is centred first, so an offset or drift costs no digits. Error below 2e-6 where x is not much smaller than
 * around it.
 * @param flat  in the unit of x, 0: none. @param m  2 <= m <= n, m <= 2^23. @param out  [size: n - m + 1]
 */
PLB_CHECKED plb_status plb_ncc(const float *x, size_t n, const float *template_, size_t m, double flat, float *out,
                               plb_error *err);

/**
 * Circular normalised cross-correlation of two cycles of equal length: out[k] compares x[(i + k) mod n] with
 * template[i]. 0 everywhere when either is flat or holds a sample that is not finite. [size: n], 2 <= n <= 2^23
 */
PLB_CHECKED plb_status plb_ncc_circular(const float *x, const float *template_, size_t n, float *out, plb_error *err);

/**
 * Autocorrelation coefficient (mean of the whole removed; divided by the energies of the two overlapping parts, so that
 * a period shows the same height at every multiple), lags 0..most. 0 for a flat trace. PLB_EDATA when a sample is not
 * finite.
 * @param most  < n, <= 2^23. @param out  [size: most + 1]
 */
PLB_CHECKED plb_status plb_autocorrelate(const float *x, size_t n, size_t most, float *out, plb_error *err);

/** Vertex of the parabola through (-1, a), (0, b), (1, c) (Smith, Spectral Audio Signal Processing): offset in [-0.5,
 * 0.5] and height. */
double plb_parabola_peak(double a, double b, double c, double *height_out);

/**
 * Offset of a correlation peak to sub-sample accuracy: parabola, then the known bias of the sampled cosine undone where
 * the local curvature shows it. Three samples around the peak.
 */
double plb_peak_offset(double a, double b, double c);

/**
 * Place of the peak of a sampled correlation near its sample k, between the samples: the sequence is interpolated as
 * the band-limited curve it is, from 48 neighbours to each side (fewer near the ends; with fewer than 12 by
 * plb_peak_offset()). For noise-like signals and content near the Nyquist frequency, where the three samples of
 * plb_peak_offset() mislead.
 * @param r  [size: n], as from plb_ncc(); r[k] is the largest nearby. @param height_out  may be NULL
 * @return k + offset, offset in [-1, 1]; NaN when k >= n
 */
double plb_peak_place(const float *r, size_t n, size_t k, double *height_out);

/** The same for a circle, as from plb_ncc_circular(): all of it is used, the interpolation is exact. The place may lie
 * in [-1, n]. */
double plb_peak_place_circular(const float *r, size_t n, size_t k, double *height_out);

#endif
