#ifndef PLB_SIGNAL_FFT_H
#define PLB_SIGNAL_FFT_H
/** @file  Real transforms in single precision (FFTW, ESTIMATE, plans cached under one mutex). The only file that knows
 * FFTW. */
#include <plumbline/error.h>
#include <complex.h>

enum { PLB_FFT_BLOCK = 16384 }; /**< the one block size of the default path: it stays in the second-level cache */

typedef struct plb_fft
    plb_fft; /**< one size, both directions; lives as long as the process; may be used from many threads */

/** @param n  size, even, 2 <= n <= 2^24. Each size is planned once and kept: take sizes from plb_fft_good_size(). */
PLB_CHECKED plb_status plb_fft_get(const plb_fft **out, size_t n, plb_error *err);
/** The smallest even size >= n whose only factors are 2, 3 and 5 (few threes). */
size_t plb_fft_good_size(size_t n);

/** Aligned scratch arrays as the transforms need them; free with plb_fft_free(). NULL when memory is short. */
float *plb_fft_alloc_real(size_t n);
float complex *plb_fft_alloc_complex(size_t n);
void plb_fft_free(void *array);

/** freq[k] = sum_j time[j] exp(-2 pi i j k / n), k = 0..n/2. Arrays from plb_fft_alloc_*; `time` is kept. */
void plb_fft_forward(const plb_fft *f, float *time, float complex *freq);
/** The inverse, scaled by 1/n, so that inverse(forward(x)) = x. Destroys `freq`. */
void plb_fft_inverse(const plb_fft *f, float complex *freq, float *time);
/** The same without the factor 1/n, for callers that fold it into something else. */
void plb_fft_inverse_unscaled(const plb_fft *f, float complex *freq, float *time);

/** a[k] = a[k] conj(b[k]): the spectrum of the correlation of a with b. */
void plb_fft_multiply_conjugate(float complex *a, const float complex *b, size_t n);

#endif
