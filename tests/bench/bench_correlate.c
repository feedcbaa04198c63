/*
 * What plb_ncc() costs over the transforms it cannot do without, and beside SciPy: one trace, one template, one thread.
 * Rounds alternate, because absolute figures drift from minute to minute; read the ratios.
 *
 *   bench_correlate [SAMPLES [TEMPLATE [ROUNDS]]]      default 1000000 4096 15
 */
#include "core/random.h"
#include "signal/correlate.h"
#include "signal/fft.h"
#include "signal/statistic.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double now_ms(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

/* As many forward and inverse transforms as the overlap-save needs, and nothing else. */
static double bare_ms(const plb_fft *f, float *time, float complex *freq, size_t blocks) {
  const double start = now_ms();
  for (size_t b = 0; b < blocks; b++) {
    plb_fft_forward(f, time, freq);
    plb_fft_inverse_unscaled(f, freq, time);
    time[b % PLB_FFT_BLOCK] = 1;
  }
  return now_ms() - start;
}

/* The usual way with SciPy: correlate by FFT, moving sums by cumulative sums; median of five, second and later calls.
 */
static void print_scipy(size_t n, size_t m, double ours_ms) {
  char command[1024];
  snprintf(command, sizeof command,
           "OPENBLAS_NUM_THREADS=1 /usr/bin/python3 -c '\n"
           "import time, numpy as np, scipy.signal as s\n"
           "n, m = %zu, %zu\n"
           "x = np.random.default_rng(1).normal(size=n).astype(np.float32); t = x[n // 3:n // 3 + m] - x[n // 3:n // 3 "
           "+ m].mean()\n"
           "def ncc():\n"
           "    c = s.correlate(x, t, \"valid\", \"fft\"); a = np.concatenate(([0], np.cumsum(x, dtype=float)))\n"
           "    b = np.concatenate(([0], np.cumsum(x.astype(float) ** 2)))\n"
           "    return c / np.sqrt((b[m:] - b[:-m] - (a[m:] - a[:-m]) ** 2 / m) * (t.astype(float) ** 2).sum())\n"
           "ncc(); r = []\n"
           "for _ in range(5):\n"
           "    w = time.perf_counter(); ncc(); r.append(1e3 * (time.perf_counter() - w))\n"
           "print(sorted(r)[2])' 2>/dev/null",
           n, m);
  FILE *python = popen(command, "r");
  double scipy_ms = 0;
  const bool found = python && fscanf(python, "%lf", &scipy_ms) == 1;
  if (python)
    pclose(python);
  if (found)
    printf("SciPy, correlate and cumulative sums: %8.2f ms, %.1f times plb_ncc\n", scipy_ms, scipy_ms / ours_ms);
  else
    printf("SciPy is not installed; not compared\n");
}

static size_t argument(int argc, char **argv, int which, size_t otherwise) {
  return argc > which ? (size_t)strtoull(argv[which], NULL, 10) : otherwise;
}

int main(int argc, char **argv) {
  const size_t n = argument(argc, argv, 1, 1000000);
  const size_t m = argument(argc, argv, 2, 4096);
  const size_t rounds = argument(argc, argv, 3, 15);
  if (m < 2 || m > PLB_FFT_BLOCK / 2 || n < 2 * m || rounds < 1 || rounds > 1000) {
    fprintf(stderr, "bench_correlate: a template of 2 to %d samples in a trace at least twice as long\n",
            PLB_FFT_BLOCK / 2);
    return 64;
  }
  const size_t blocks = (n - m) / (PLB_FFT_BLOCK - m + 1) + 1;
  const plb_fft *f = NULL;
  if (plb_fft_get(&f, PLB_FFT_BLOCK, NULL) != PLB_OK)
    return 70;
  float *x = malloc(n * sizeof *x);
  float *out = malloc((n - m + 1) * sizeof *out);
  float *time = plb_fft_alloc_real(PLB_FFT_BLOCK);
  float complex *freq = plb_fft_alloc_complex(PLB_FFT_BLOCK / 2 + 1);
  double bare[1000], whole[1000], ratio[1000];
  if (!x || !out || !time || !freq)
    return 70;
  plb_random random;
  plb_random_seed(&random, 1);
  for (size_t i = 0; i < n; i++)
    x[i] = (float)plb_random_normal(&random);
  for (size_t i = 0; i < PLB_FFT_BLOCK; i++)
    time[i] = x[i % n];
  for (size_t r = 0; r < rounds + 1; r++) { /* the first round warms up and is written over */
    const size_t k = r > 0 ? r - 1 : 0;
    bare[k] = bare_ms(f, time, freq, blocks);
    const double start = now_ms();
    if (plb_ncc(x, n, x + n / 3, m, 0, out, NULL) != PLB_OK)
      return 70;
    whole[k] = now_ms() - start;
    ratio[k] = whole[k] / bare[k];
  }
  const double ours_ms = plb_median(whole, rounds);
  printf("%zu samples, template of %zu, %zu blocks of %d, median of %zu rounds\n", n, m, blocks, PLB_FFT_BLOCK, rounds);
  printf("bare transforms: %8.2f ms\nplb_ncc:         %8.2f ms, %.2f times the bare transforms, %.0f million places a "
         "second\n",
         plb_median(bare, rounds), ours_ms, plb_median(ratio, rounds), 1e-3 * (double)(n - m + 1) / ours_ms);
  print_scipy(n, m, ours_ms);
  plb_fft_free(time);
  plb_fft_free(freq);
  free(x);
  free(out);
  return 0;
}
