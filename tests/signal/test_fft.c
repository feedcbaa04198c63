#include "signal_test.h"

#include "signal/fft.h"

#include <pthread.h>

static const plb_fft *get(size_t n) {
  const plb_fft *f = NULL;
  assert_int_equal(plb_fft_get(&f, n, NULL), PLB_OK);
  assert_non_null(f);
  return f;
}

/* The definition itself, in double, at a few frequencies: fixes sign, order and scale. */
static void test_fft__forward_is_the_defining_sum(void **state) {
  (void)state;
  const size_t sizes[] = {2, 4, 6, 30, 250, 1024};
  for (size_t s = 0; s < sizeof sizes / sizeof sizes[0]; s++) {
    const size_t n = sizes[s];
    const plb_fft *f = get(n);
    float *time = plb_fft_alloc_real(n);
    float complex *freq = plb_fft_alloc_complex(n / 2 + 1);
    fill_normal_f(time, n, 0.3, 1, 60 + n);
    plb_fft_forward(f, time, freq);
    for (size_t k = 0; k <= n / 2; k += 1 + n / 16) {
      double re = 0, im = 0;
      for (size_t j = 0; j < n; j++) {
        const double angle = -2 * acos(-1.0) * (double)(j * k % n) / (double)n;
        re += (double)time[j] * cos(angle);
        im += (double)time[j] * sin(angle);
      }
      assert_near((double)crealf(freq[k]), re, 1e-6 * (double)n, "real part");
      assert_near((double)cimagf(freq[k]), im, 1e-6 * (double)n, "imaginary part");
    }
    plb_fft_free(time);
    plb_fft_free(freq);
  }
}

static void test_fft__inverse_gives_the_samples_back(void **state) {
  (void)state;
  const size_t sizes[] = {2, 10, 360, PLB_FFT_BLOCK, 20000};
  for (size_t s = 0; s < sizeof sizes / sizeof sizes[0]; s++) {
    const size_t n = sizes[s];
    const plb_fft *f = get(n);
    float *time = plb_fft_alloc_real(n);
    float *back = plb_fft_alloc_real(n);
    float *kept = must_alloc(n, sizeof *kept);
    float complex *freq = plb_fft_alloc_complex(n / 2 + 1);
    fill_normal_f(time, n, 0, 1, n);
    memcpy(kept, time, n * sizeof *kept);
    plb_fft_forward(f, time, freq);
    assert_memory_equal(time, kept, n * sizeof *kept); /* the input is kept */
    plb_fft_inverse(f, freq, back);
    for (size_t i = 0; i < n; i++)
      assert_near((double)back[i], (double)kept[i], 2e-6, "round trip");
    plb_fft_forward(f, time, freq);
    plb_fft_inverse_unscaled(f, freq, back);
    assert_near((double)back[n / 2], (double)kept[n / 2] * (double)n, 4e-6 * (double)n, "unscaled");
    plb_fft_free(time);
    plb_fft_free(back);
    plb_fft_free(freq);
    free(kept);
  }
}

static void test_fft__multiply_conjugate(void **state) {
  (void)state;
  float complex *a = plb_fft_alloc_complex(3);
  float complex *b = plb_fft_alloc_complex(3);
  for (size_t k = 0; k < 3; k++) {
    a[k] = 3.0f + 4.0f * (float complex)I;
    b[k] = 1.0f + 2.0f * (float complex)I;
  }
  plb_fft_multiply_conjugate(a, b, 3); /* (3 + 4i)(1 - 2i) = 11 - 2i: COMPUTED by hand */
  for (size_t k = 0; k < 3; k++)
    assert_true(crealf(a[k]) == 11 && cimagf(a[k]) == -2);
  plb_fft_free(a);
  plb_fft_free(b);
}

static void test_fft__one_size_is_planned_once(void **state) {
  (void)state;
  assert_ptr_equal(get(512), get(512));
  assert_ptr_not_equal(get(512), get(514));
}

static void test_fft__refuses_odd_tiny_and_huge_sizes(void **state) {
  (void)state;
  const plb_fft *f = NULL;
  const size_t refused[] = {0, 1, 3, 15, ((size_t)1 << 24) + 2, SIZE_MAX};
  for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
    assert_int_equal(plb_fft_get(&f, refused[i], NULL), PLB_EINVAL);
    assert_null(f);
  }
}

/* The largest power of `p` is taken out of n. */
static size_t without(size_t n, size_t p, int *power_out) {
  *power_out = 0;
  for (; n % p == 0; n /= p)
    ++*power_out;
  return n;
}

static void test_fft__good_sizes_are_even_smooth_and_close(void **state) {
  (void)state;
  assert_int_equal(plb_fft_good_size(0), 2);
  assert_int_equal(plb_fft_good_size(7), 8);
  assert_int_equal(plb_fft_good_size(1000), 1000);
  assert_int_equal(plb_fft_good_size(PLB_FFT_BLOCK), PLB_FFT_BLOCK);
  for (size_t n = 2; n < 300000; n += 1 + n / 7) {
    const size_t good = plb_fft_good_size(n);
    int twos, threes, fives;
    assert_true(good >= n && good <= n + 6 + n / 5);
    assert_int_equal(without(without(without(good, 2, &twos), 3, &threes), 5, &fives), 1);
    assert_true(twos >= 1 && threes <= (good > 65536 ? 1 : 2));
    assert_int_equal(plb_fft_good_size(good), good);
  }
}

enum { THREADS = 4, ROUNDS = 20, SIZE = 3000 };

typedef struct work {
  uint64_t seed;
  float complex first[SIZE / 2 + 1];
  bool same;
} work;

/* Gets its plan itself, so that planning is raced for as well. */
static void *transform_again_and_again(void *payload) {
  work *w = payload;
  w->same = true;
  for (int round = 0; round < ROUNDS; round++) {
    const plb_fft *f = NULL;
    if (plb_fft_get(&f, SIZE + 2 * (size_t)(round % 3), NULL) != PLB_OK || plb_fft_get(&f, SIZE, NULL) != PLB_OK)
      w->same = false;
    float *time = plb_fft_alloc_real(SIZE);
    float complex *freq = plb_fft_alloc_complex(SIZE / 2 + 1);
    fill_normal_f(time, SIZE, 0, 1, w->seed);
    plb_fft_forward(f, time, freq);
    if (round == 0)
      memcpy(w->first, freq, sizeof w->first);
    else if (memcmp(w->first, freq, sizeof w->first) != 0)
      w->same = false;
    plb_fft_free(time);
    plb_fft_free(freq);
  }
  return NULL;
}

/* The same bits from every thread and every time: scores must repeat. */
static void test_fft__threads_get_the_same_bits(void **state) {
  (void)state;
  pthread_t thread[THREADS];
  work *w = must_alloc(THREADS, sizeof *w);
  for (size_t t = 0; t < THREADS; t++) {
    w[t].seed = 5;
    assert_int_equal(pthread_create(&thread[t], NULL, transform_again_and_again, &w[t]), 0);
  }
  for (size_t t = 0; t < THREADS; t++)
    assert_int_equal(pthread_join(thread[t], NULL), 0);
  for (size_t t = 0; t < THREADS; t++) {
    assert_true(w[t].same);
    assert_memory_equal(w[t].first, w[0].first, sizeof w[0].first);
  }
  free(w);
}

/* Borrowed arrays are nobody else's until they are given back, more of them than are kept as well. */
static void test_fft__arrays_do_not_overlap(void **state) {
  (void)state;
  enum { COUNT = 50 };
  float *array[COUNT];
  for (size_t i = 0; i < COUNT; i++) {
    array[i] = plb_fft_alloc_real(PLB_FFT_BLOCK);
    assert_non_null(array[i]);
    assert_int_equal((uintptr_t)array[i] % 16, 0);
    array[i][0] = array[i][PLB_FFT_BLOCK - 1] = (float)i;
  }
  for (size_t i = 0; i < COUNT; i++)
    assert_true(array[i][0] == (float)i && array[i][PLB_FFT_BLOCK - 1] == (float)i);
  for (size_t i = 0; i < COUNT; i++)
    plb_fft_free(array[i]);
  plb_fft_free(NULL);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_fft__forward_is_the_defining_sum),
      cmocka_unit_test(test_fft__inverse_gives_the_samples_back),
      cmocka_unit_test(test_fft__multiply_conjugate),
      cmocka_unit_test(test_fft__one_size_is_planned_once),
      cmocka_unit_test(test_fft__refuses_odd_tiny_and_huge_sizes),
      cmocka_unit_test(test_fft__good_sizes_are_even_smooth_and_close),
      cmocka_unit_test(test_fft__threads_get_the_same_bits),
      cmocka_unit_test(test_fft__arrays_do_not_overlap),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
