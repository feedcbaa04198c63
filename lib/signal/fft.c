#include "signal/fft.h"

#include "core/alloc.h"
#include "core/fail.h"

#include <fftw3.h>
#include <pthread.h>
#include <stdlib.h>

struct plb_fft {
  size_t n;
  fftwf_plan forward;
  fftwf_plan inverse;
  plb_fft *next;
};

/* FFTW's planner is not thread-safe, executing a plan on new arrays is (FFTW manual, "Thread safety"). Plans are made
 * with ESTIMATE, so that a size always gets the same plan and the same bits, and are kept for the life of the process:
 * making one costs milliseconds. */
static pthread_mutex_t planning = PTHREAD_MUTEX_INITIALIZER;
static plb_fft *plans;

enum { MOST_SIZE = 1 << 24 };

/* ESTIMATE does not touch the arrays; they only show the planner how arrays are aligned. */
static plb_fft *make_plans(size_t n) {
  plb_fft *f = plb_calloc(1, sizeof *f);
  float *time = plb_fft_alloc_real(n);
  float complex *freq = plb_fft_alloc_complex(n / 2 + 1);
  if (f && time && freq) {
    f->n = n;
    f->forward = fftwf_plan_dft_r2c_1d((int)n, time, (fftwf_complex *)freq, FFTW_ESTIMATE | FFTW_PRESERVE_INPUT);
    f->inverse = fftwf_plan_dft_c2r_1d((int)n, (fftwf_complex *)freq, time, FFTW_ESTIMATE | FFTW_DESTROY_INPUT);
  }
  plb_fft_free(time);
  plb_fft_free(freq);
  if (f && f->forward && f->inverse)
    return f;
  if (f && f->forward)
    fftwf_destroy_plan(f->forward);
  if (f && f->inverse)
    fftwf_destroy_plan(f->inverse);
  free(f);
  return NULL;
}

plb_status plb_fft_get(const plb_fft **out, size_t n, plb_error *err) {
  *out = NULL;
  if (n < 2 || n > MOST_SIZE || n % 2 != 0)
    return plb_fail(err, PLB_EINVAL, "a transform of %zu points; the size must be even, from 2 to %d", n, MOST_SIZE);
  pthread_mutex_lock(&planning);
  plb_fft *f = plans;
  while (f && f->n != n)
    f = f->next;
  if (!f) {
    f = make_plans(n);
    if (f) {
      f->next = plans;
      plans = f;
    }
  }
  pthread_mutex_unlock(&planning);
  if (!f)
    return plb_fail(err, PLB_ENOMEM, "no memory to plan a transform of %zu points", n);
  *out = f;
  return PLB_OK;
}

/* At most two factors of 3, one in long transforms: FFTW is slow where they pile up. */
static bool is_good(size_t n) {
  const int most_threes = n > 65536 ? 1 : 2;
  if (n % 2 != 0)
    return false;
  while (n % 2 == 0)
    n /= 2;
  for (int threes = 0; threes < most_threes && n % 3 == 0; threes++)
    n /= 3;
  while (n % 5 == 0)
    n /= 5;
  return n == 1;
}

size_t plb_fft_good_size(size_t n) {
  if (n <= 2)
    return 2;
  n += n % 2;
  while (!is_good(n))
    n += 2;
  return n;
}

/* Arrays of the default block size are kept for the next caller: fresh memory from the system costs more than the
 * transforms of a short trace. */
enum { SLAB_FLOATS = PLB_FFT_BLOCK + 2, MOST_SLABS = 32 };

static pthread_mutex_t lending = PTHREAD_MUTEX_INITIALIZER;
static struct {
  void *array;
  bool lent;
} slabs[MOST_SLABS];
static size_t slab_count;

static void *lend_slab(void) {
  void *array = NULL;
  pthread_mutex_lock(&lending);
  size_t i = 0;
  while (i < slab_count && slabs[i].lent)
    i++;
  if (i == slab_count && i < MOST_SLABS) {
    slabs[i].array = fftwf_alloc_real(SLAB_FLOATS);
    if (slabs[i].array)
      slab_count++;
  }
  if (i < slab_count) {
    array = slabs[i].array;
    slabs[i].lent = true;
  }
  pthread_mutex_unlock(&lending);
  return array;
}

static bool take_back(void *array) {
  pthread_mutex_lock(&lending);
  size_t i = 0;
  while (i < slab_count && slabs[i].array != array)
    i++;
  const bool found = i < slab_count;
  if (found)
    slabs[i].lent = false;
  pthread_mutex_unlock(&lending);
  return found;
}

float *plb_fft_alloc_real(size_t n) {
  float *array = n <= SLAB_FLOATS ? lend_slab() : NULL;
  return array ? array : fftwf_alloc_real(n);
}

float complex *plb_fft_alloc_complex(size_t n) { return (float complex *)(void *)plb_fft_alloc_real(2 * n); }

void plb_fft_free(void *array) {
  if (array && !take_back(array))
    fftwf_free(array);
}

void plb_fft_forward(const plb_fft *f, float *time, float complex *freq) {
  fftwf_execute_dft_r2c(f->forward, time, (fftwf_complex *)freq);
}

void plb_fft_inverse_unscaled(const plb_fft *f, float complex *freq, float *time) {
  fftwf_execute_dft_c2r(f->inverse, (fftwf_complex *)freq, time);
}

void plb_fft_inverse(const plb_fft *f, float complex *freq, float *time) {
  plb_fft_inverse_unscaled(f, freq, time);
  const float scale = 1.0f / (float)f->n;
  for (size_t i = 0; i < f->n; i++)
    time[i] *= scale;
}

/* Written out on the pairs of floats: `*` on complex numbers would test every product for NaN (C17 annex G). */
void plb_fft_multiply_conjugate(float complex *a, const float complex *b, size_t n) {
  float *x = (float *)a;
  const float *y = (const float *)b;
  for (size_t k = 0; k < n; k++) {
    const float re = x[2 * k] * y[2 * k] + x[2 * k + 1] * y[2 * k + 1];
    const float im = x[2 * k + 1] * y[2 * k] - x[2 * k] * y[2 * k + 1];
    x[2 * k] = re;
    x[2 * k + 1] = im;
  }
}
