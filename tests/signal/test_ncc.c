#include "signal_test.h"

#include "signal/correlate.h"

/* The definition in double: the correlation coefficient of x[k .. k + m) with t. */
static double coefficient(const float *x, const float *t, size_t m) {
  double mean_x = 0, mean_t = 0, xx = 0, tt = 0, xt = 0;
  for (size_t i = 0; i < m; i++) {
    mean_x += (double)x[i] / (double)m;
    mean_t += (double)t[i] / (double)m;
  }
  for (size_t i = 0; i < m; i++) {
    const double a = (double)x[i] - mean_x, b = (double)t[i] - mean_t;
    xx += a * a;
    tt += b * b;
    xt += a * b;
  }
  return xt / sqrt(xx * tt);
}

static float *ncc(const float *x, size_t n, const float *t, size_t m, double flat) {
  float *out = must_alloc(n - m + 1, sizeof *out);
  assert_int_equal(plb_ncc(x, n, t, m, flat, out, NULL), PLB_OK);
  return out;
}

static size_t argmax(const float *r, size_t n) {
  size_t best = 0;
  for (size_t i = 1; i < n; i++)
    if (r[i] > r[best])
      best = i;
  return best;
}

typedef struct trace {
  size_t n, m;
  double offset, drift; /* drift: rise over the whole trace */
} trace;

/* A wandering signal with noise: neighbouring places are alike, as in a real trace. */
static float *wander(const trace *t, uint64_t seed) {
  plb_random r;
  plb_random_seed(&r, seed);
  float *x = must_alloc(t->n, sizeof *x);
  double level = 0;
  for (size_t i = 0; i < t->n; i++) {
    level = 0.99 * level + 0.2 * plb_random_normal(&r);
    x[i] = (float)(t->offset + t->drift * (double)i / (double)t->n + level + 0.3 * plb_random_normal(&r));
  }
  return x;
}

/*
 * Direct, one block, many blocks, the largest template of the default block, and larger ones; offsets and drifts must
 * not cost digits: 2e-6, as the header says. With an offset of 1000 the samples themselves are rounded to 3e-5, for
 * both ways alike.
 */
static void test_ncc__matches_the_definition(void **state) {
  (void)state;
  const trace traces[] = {{500, 40, 0, 0},        {16000, 700, 0, 0},       {40000, 2048, 1000, 0},
                          {60000, 4096, 14, 40},  {50000, 8192, -300, 0},   {50000, 8193, 1000, 0},
                          {90000, 20000, 5, 100}, {16384 + 511, 512, 0, 0}, {12289 * 2 + 4095, 4096, 0, 0},
                          {30000, 29000, 0, 0},   {600000, 16, 7, 0}};
  for (size_t i = 0; i < sizeof traces / sizeof traces[0]; i++) {
    const trace *t = &traces[i];
    float *x = wander(t, 100 + i);
    const size_t places = t->n - t->m + 1;
    const size_t there = places / 3;
    float *out = ncc(x, t->n, x + there, t->m, 0);
    assert_near((double)out[there], 1, 2e-6, "the template itself");
    assert_int_equal(argmax(out, places), there);
    const size_t step = places / 60 + 1;
    for (size_t k = 0; k < places; k += step)
      assert_near((double)out[k], coefficient(x + k, x + there, t->m), 2e-6, "coefficient");
    assert_near((double)out[places - 1], coefficient(x + places - 1, x + there, t->m), 2e-6, "last place");
    free(out);
    free(x);
  }
}

/* Every place next to a seam between blocks, for a template whose block holds 12289 places. */
static void test_ncc__has_no_seams(void **state) {
  (void)state;
  const trace t = {40000, 4096, 3, 0};
  float *x = wander(&t, 7);
  float *out = ncc(x, t.n, x + 20000, t.m, 0);
  for (size_t seam = 12289; seam < t.n - t.m; seam += 12289)
    for (size_t k = seam - 3; k < seam + 3; k++)
      assert_near((double)out[k], coefficient(x + k, x + 20000, t.m), 2e-6, "at a seam");
  free(out);
  free(x);
}

/* Gain, offset and polarity of the trace do not change the size of the coefficient. */
static void test_ncc__ignores_gain_and_offset_and_shows_polarity(void **state) {
  (void)state;
  const trace t = {30000, 1500, 0, 0};
  float *x = wander(&t, 8);
  float *y = must_alloc(t.n, sizeof *y);
  for (size_t i = 0; i < t.n; i++)
    y[i] = 12 - 0.01f * x[i];
  float *a = ncc(x, t.n, x + 999, t.m, 0);
  float *b = ncc(y, t.n, x + 999, t.m, 0);
  for (size_t k = 0; k <= t.n - t.m; k++)
    assert_near((double)b[k], -(double)a[k], 1e-4, "inverted"); /* y is rounded to 1e-6 of 12 */
  assert_near((double)b[999], -1, 1e-4, "inverted there");
  free(a);
  free(b);
  free(x);
  free(y);
}

/* Silent stretches say 0, not the correlation of rounding with the template; those with more than `flat` are judged. */
static void test_ncc__flat_stretches_are_zero(void **state) {
  (void)state;
  enum { N = 40000, M = 500 };
  float *x = must_alloc(N, sizeof *x);
  float *noise = must_alloc(N, sizeof *noise);
  fill_normal_f(noise, N, 0, 0.001, 9);
  for (size_t i = 0; i < N; i++)
    x[i] = i < 20000 ? 5 + (float)sin(0.05 * (double)i) : 2.5f;
  float *out = ncc(x, N, x + 3000, M, 0);
  for (size_t k = 20000; k <= N - M; k++)
    assert_true(out[k] == 0);
  for (size_t k = 0; k < 20000 - M; k += 100)
    assert_true(fabsf(out[k]) <= 1 && out[k] != 0);
  free(out);
  for (size_t i = 20000; i < N; i++)
    x[i] = 2.5f + (float)(i * 2654435761u % 3) * 2.4e-7f; /* the last bit flickers */
  out = ncc(x, N, x + 3000, M, 0);
  for (size_t k = 20000; k < 24000; k++)
    assert_true(out[k] == 0); /* in the block that still holds the swing */
  free(out);
  for (size_t i = 20000; i < N; i++)
    x[i] = 2.5f + noise[i];
  out = ncc(x, N, x + 3000, M, 0.01);
  for (size_t k = 20000; k <= N - M; k++)
    assert_true(out[k] == 0);
  assert_true(out[3000] > 0.99999f);
  free(out);
  out = ncc(x, N, x + 3000, M, 0.0001);
  size_t judged = 0;
  for (size_t k = 20000; k <= N - M; k++)
    judged += out[k] != 0;
  assert_true(judged > 19000);
  free(out);
  free(x);
  free(noise);
}

static void test_ncc__a_flat_template_matches_nothing(void **state) {
  (void)state;
  const trace t = {30000, 1000, 0, 0};
  float *x = wander(&t, 10);
  float *flat = must_alloc(t.m, sizeof *flat);
  for (size_t i = 0; i < t.m; i++)
    flat[i] = 3.3f;
  float *out = ncc(x, t.n, flat, t.m, 0);
  for (size_t k = 0; k <= t.n - t.m; k++)
    assert_true(out[k] == 0);
  free(out);
  for (size_t i = 0; i < t.m; i += 3)
    flat[i] = nextafterf(3.3f, 4); /* the last bit is no shape */
  out = ncc(x, t.n, flat, t.m, 0);
  for (size_t k = 0; k <= t.n - t.m; k++)
    assert_true(out[k] == 0);
  free(out);
  flat[5] = NAN;
  out = ncc(x, t.n, flat, t.m, 0);
  for (size_t k = 0; k <= t.n - t.m; k++)
    assert_true(out[k] == 0);
  free(out);
  free(flat);
  free(x);
}

/* One bad sample silences the places that hold it, and only those, by the transforms and directly. */
static void test_ncc__bad_samples_silence_their_windows_only(void **state) {
  (void)state;
  const trace traces[] = {{40000, 1000, 50, 0}, {1200, 100, 50, 0}};
  for (size_t i = 0; i < 2; i++) {
    const trace *t = &traces[i];
    float *x = wander(t, 11);
    float *clean = ncc(x, t->n, x + t->n / 10, t->m, 0);
    const size_t bad[3] = {0, t->n / 2, t->n - 1};
    const float kind[3] = {NAN, INFINITY, -INFINITY};
    float *template_ = must_alloc(t->m, sizeof *template_);
    memcpy(template_, x + t->n / 10, t->m * sizeof *template_);
    for (size_t b = 0; b < 3; b++)
      x[bad[b]] = kind[b];
    float *out = ncc(x, t->n, template_, t->m, 0);
    for (size_t k = 0; k + t->m <= t->n; k++) {
      bool holds = false;
      for (size_t b = 0; b < 3; b++)
        holds = holds || (bad[b] >= k && bad[b] < k + t->m);
      if (holds)
        assert_true(out[k] == 0);
      else
        assert_near((double)out[k], (double)clean[k], 4e-6, "clean window");
    }
    free(template_);
    free(clean);
    free(out);
    free(x);
  }
}

/* A firing spike of 400 V in a block must not leave a trace of itself in the energy of the quiet stretch behind it. */
static void test_ncc__a_spike_leaves_no_residue(void **state) {
  (void)state;
  const trace t = {30000, 1000, 0, 0};
  float *x = wander(&t, 12);
  float *template_ = must_alloc(t.m, sizeof *template_);
  memcpy(template_, x + 9000, t.m * sizeof *template_);
  x[5000] = 400;
  float *out = ncc(x, t.n, template_, t.m, 0);
  for (size_t k = 5001; k < 12000; k += 50) /* the transform of the block carries 400 V of rounding: 6e-8 of it */
    assert_near((double)out[k], coefficient(x + k, template_, t.m), 2e-5, "behind the spike");
  assert_int_equal(argmax(out, t.n - t.m + 1), 9000);
  free(out);
  free(template_);
  free(x);
}

static void test_ncc__refuses_impossible_templates(void **state) {
  (void)state;
  const float x[4] = {1, 2, 3, 4};
  float out[4];
  assert_int_equal(plb_ncc(x, 4, x, 1, 0, out, NULL), PLB_EINVAL);
  assert_int_equal(plb_ncc(x, 4, x, 5, 0, out, NULL), PLB_EINVAL);
  assert_int_equal(plb_ncc_circular(x, x, 1, out, NULL), PLB_EINVAL);
  assert_int_equal(plb_autocorrelate(x, 4, 4, out, NULL), PLB_EINVAL);
  assert_int_equal(plb_autocorrelate(x, 0, 0, out, NULL), PLB_EINVAL);
}

/* Good, odd, prime and tiny lengths; by the definition on the rotated cycle. */
static void test_ncc__circular_matches_the_definition(void **state) {
  (void)state;
  const size_t sizes[] = {2, 3, 64, 97, 360, 1001, 2048};
  for (size_t s = 0; s < sizeof sizes / sizeof sizes[0]; s++) {
    const size_t n = sizes[s];
    float *x = must_alloc(2 * n, sizeof *x); /* laid out twice, for the definition */
    float *t = must_alloc(n, sizeof *t);
    float *out = must_alloc(n, sizeof *out);
    fill_normal_f(x, n, 100, 1, 200 + n);
    memcpy(x + n, x, n * sizeof *x);
    const size_t shift = n / 3;
    for (size_t i = 0; i < n; i++)
      t[i] = 2 * x[(i + shift) % n] + 5;
    assert_int_equal(plb_ncc_circular(x, t, n, out, NULL), PLB_OK);
    for (size_t k = 0; k < n; k++)
      assert_near((double)out[k], coefficient(x + k, t, n), 3e-6, "circular");
    assert_int_equal(argmax(out, n), shift);
    for (size_t i = 0; i < n; i++)
      t[i] = 1;
    assert_int_equal(plb_ncc_circular(x, t, n, out, NULL), PLB_OK);
    for (size_t k = 0; k < n; k++)
      assert_true(out[k] == 0);
    free(x);
    free(t);
    free(out);
  }
}

/* The definition, with the mean of the whole and the energies of the two parts. */
static double own_coefficient(const float *x, size_t n, size_t lag) {
  double mean = 0, head = 0, tail = 0, product = 0;
  for (size_t i = 0; i < n; i++)
    mean += (double)x[i] / (double)n;
  for (size_t i = 0; i + lag < n; i++) {
    const double a = (double)x[i] - mean, b = (double)x[i + lag] - mean;
    head += a * a;
    tail += b * b;
    product += a * b;
  }
  return product / sqrt(head * tail);
}

/* Direct, one block, many blocks, long lags, all lags. Where less than a tenth overlaps, rounding counts for more. */
static void test_ncc__autocorrelation_matches_the_definition(void **state) {
  (void)state;
  const size_t size[][2] = {{300, 299}, {20000, 5}, {20000, 6000}, {60000, 8192}, {60000, 20000}, {20000, 19999}};
  for (size_t s = 0; s < sizeof size / sizeof size[0]; s++) {
    const size_t n = size[s][0], most = size[s][1];
    const trace t = {n, 0, 200, 0};
    float *x = wander(&t, 300 + s);
    float *out = must_alloc(most + 1, sizeof *out);
    assert_int_equal(plb_autocorrelate(x, n, most, out, NULL), PLB_OK);
    assert_near((double)out[0], 1, 1e-6, "lag 0");
    for (size_t k = 0; k <= most; k += most / 50 + 1)
      assert_near((double)out[k], own_coefficient(x, n, k), n - k > n / 10 ? 2e-6 : 2e-5, "autocorrelation");
    assert_near((double)out[most], own_coefficient(x, n, most), 2e-5, "last lag");
    for (size_t k = n - 400; n > 400 && k <= most; k++) /* so little overlaps that it is summed directly */
      assert_near((double)out[k], own_coefficient(x, n, k), 1e-6, "short overlap");
    free(out);
    free(x);
  }
}

/* A period shows the same height at every multiple, although less and less overlaps. */
static void test_ncc__autocorrelation_of_a_periodic_trace_does_not_sink(void **state) {
  (void)state;
  enum { N = 20000, PERIOD = 400 };
  float *x = must_alloc(N, sizeof *x);
  float *out = must_alloc(N / 2 + 1, sizeof *out);
  for (size_t i = 0; i < N; i++)
    x[i] = (float)(3 + exp(sin(2 * acos(-1.0) * (double)(i % PERIOD) / PERIOD)));
  assert_int_equal(plb_autocorrelate(x, N, N / 2, out, NULL), PLB_OK);
  for (size_t k = PERIOD; k <= N / 2; k += PERIOD) {
    assert_near((double)out[k], 1, 1e-5, "at a period");
    assert_true(out[k - PERIOD / 2] < 0);
  }
  free(x);
  free(out);
}

/* A pulse in the middle of silence: at long lags nothing overlaps but silence, and 0/0 must not come out. */
static void test_ncc__autocorrelation_of_silence_beside_a_pulse(void **state) {
  (void)state;
  enum { N = 3000 };
  float x[N] = {0};
  float out[N];
  x[N / 2] = 1;
  x[N / 2 + 1] = -1;
  assert_int_equal(plb_autocorrelate(x, N, N - 1, out, NULL), PLB_OK);
  assert_near((double)out[1], -0.5, 1e-6, "lag 1");
  for (size_t k = N / 2 + 2; k < N; k++)
    assert_true(out[k] == 0);
}

static void test_ncc__autocorrelation_of_flat_and_bad_traces(void **state) {
  (void)state;
  float x[2000];
  float out[101];
  for (size_t i = 0; i < 2000; i++)
    x[i] = 13.8f;
  assert_int_equal(plb_autocorrelate(x, 2000, 100, out, NULL), PLB_OK);
  for (size_t k = 0; k <= 100; k++)
    assert_true(out[k] == 0);
  x[7] = NAN;
  assert_int_equal(plb_autocorrelate(x, 2000, 100, out, NULL), PLB_EDATA);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_ncc__matches_the_definition),
      cmocka_unit_test(test_ncc__has_no_seams),
      cmocka_unit_test(test_ncc__ignores_gain_and_offset_and_shows_polarity),
      cmocka_unit_test(test_ncc__flat_stretches_are_zero),
      cmocka_unit_test(test_ncc__a_flat_template_matches_nothing),
      cmocka_unit_test(test_ncc__bad_samples_silence_their_windows_only),
      cmocka_unit_test(test_ncc__a_spike_leaves_no_residue),
      cmocka_unit_test(test_ncc__refuses_impossible_templates),
      cmocka_unit_test(test_ncc__circular_matches_the_definition),
      cmocka_unit_test(test_ncc__autocorrelation_matches_the_definition),
      cmocka_unit_test(test_ncc__autocorrelation_of_a_periodic_trace_does_not_sink),
      cmocka_unit_test(test_ncc__autocorrelation_of_silence_beside_a_pulse),
      cmocka_unit_test(test_ncc__autocorrelation_of_flat_and_bad_traces),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
