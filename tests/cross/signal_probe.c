/*
 * Lets another program call the functions of signal: one request after the other on standard input, answers on standard
 * output. request   NAME NUMBERS COUNTS\n   e.g. "quantile 1 0.25 1 1000": one number, 0.25, and one array of 1000
 * values; then the values of all arrays as native doubles, one array behind the other answer    COUNT\n and COUNT
 * native doubles; "failed STATUS\n" when the call was refused A test program, not part of the library.
 */
#include "signal/signal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_NUMBERS = 8, MOST_ARRAYS = 3 };

typedef struct request {
  double number[MOST_NUMBERS];
  double *array[MOST_ARRAYS];
  size_t n[MOST_ARRAYS];
  double *out; /* malloc'ed by the command */
  size_t n_out;
} request;

static void *must_alloc(size_t count, size_t size) {
  void *p = calloc(count ? count : 1, size);
  if (!p)
    exit(70);
  return p;
}

static double *answer(request *r, size_t count) {
  r->n_out = count;
  r->out = must_alloc(count, sizeof *r->out);
  return r->out;
}

static float *to_float(const double *x, size_t n) {
  float *f = must_alloc(n, sizeof *f);
  for (size_t i = 0; i < n; i++)
    f[i] = (float)x[i];
  return f;
}

static void answer_floats(request *r, float *f, size_t n) {
  double *out = answer(r, n);
  for (size_t i = 0; i < n; i++)
    out[i] = (double)f[i];
  free(f);
}

static plb_status correlate_full(request *r) {
  return plb_correlate_full(r->array[0], r->n[0], r->array[1], r->n[1], answer(r, r->n[0] + r->n[1] - 1), NULL);
}

static plb_status find_delay(request *r) {
  int64_t lag = 0;
  const plb_status status = plb_find_delay(r->array[0], r->n[0], r->array[1], r->n[1], &lag, NULL);
  answer(r, 1)[0] = (double)lag;
  return status;
}

static plb_status ncc(request *r) {
  float *x = to_float(r->array[0], r->n[0]);
  float *t = to_float(r->array[1], r->n[1]);
  const size_t places = r->n[0] - r->n[1] + 1;
  float *out = must_alloc(places, sizeof *out);
  const plb_status status = plb_ncc(x, r->n[0], t, r->n[1], r->number[0], out, NULL);
  answer_floats(r, out, places);
  free(x);
  free(t);
  return status;
}

static plb_status ncc_circular(request *r) {
  float *x = to_float(r->array[0], r->n[0]);
  float *t = to_float(r->array[1], r->n[0]);
  float *out = must_alloc(r->n[0], sizeof *out);
  const plb_status status = plb_ncc_circular(x, t, r->n[0], out, NULL);
  answer_floats(r, out, r->n[0]);
  free(x);
  free(t);
  return status;
}

static plb_status autocorrelate(request *r) {
  float *x = to_float(r->array[0], r->n[0]);
  const size_t most = (size_t)r->number[0];
  float *out = must_alloc(most + 1, sizeof *out);
  const plb_status status = plb_autocorrelate(x, r->n[0], most, out, NULL);
  answer_floats(r, out, most + 1);
  free(x);
  return status;
}

static plb_status peak_place(request *r) {
  float *x = to_float(r->array[0], r->n[0]);
  answer(r, 1)[0] = plb_peak_place(x, r->n[0], (size_t)r->number[0], NULL);
  free(x);
  return PLB_OK;
}

static plb_status peak_place_circular(request *r) {
  float *x = to_float(r->array[0], r->n[0]);
  double *out = answer(r, 2);
  out[0] = plb_peak_place_circular(x, r->n[0], (size_t)r->number[0], &out[1]);
  free(x);
  return PLB_OK;
}

static plb_status forward(request *r) {
  const plb_fft *f;
  const plb_status status = plb_fft_get(&f, r->n[0], NULL);
  if (status != PLB_OK)
    return status;
  float *time = plb_fft_alloc_real(r->n[0]);
  float complex *freq = plb_fft_alloc_complex(r->n[0] / 2 + 1);
  if (!time || !freq)
    exit(70);
  for (size_t i = 0; i < r->n[0]; i++)
    time[i] = (float)r->array[0][i];
  plb_fft_forward(f, time, freq);
  double *out = answer(r, 2 * (r->n[0] / 2 + 1));
  for (size_t k = 0; k <= r->n[0] / 2; k++) {
    out[2 * k] = (double)crealf(freq[k]);
    out[2 * k + 1] = (double)cimagf(freq[k]);
  }
  plb_fft_free(time);
  plb_fft_free(freq);
  return PLB_OK;
}

static plb_status resample_rational(request *r) {
  return plb_resample_rational(r->array[0], r->n[0], (unsigned)r->number[0], (unsigned)r->number[1], &r->out, &r->n_out,
                               NULL);
}

static plb_status cells(request *r) {
  double *cumulative = must_alloc(r->n[0], sizeof *cumulative);
  float *out = must_alloc(r->n[1], sizeof *out);
  plb_cumulate(r->array[0], r->n[0], cumulative);
  plb_resample_cells(r->array[0], cumulative, r->n[0], r->array[1], r->n[1] - 1, out);
  answer_floats(r, out, r->n[1] - 1);
  free(cumulative);
  return PLB_OK;
}

static plb_status crossings(request *r) {
  plb_crossing *found = NULL;
  size_t count = 0;
  const plb_status status = plb_crossings(r->array[0], r->n[0], r->number[0], r->number[1], &found, &count, NULL);
  double *out = answer(r, 2 * count);
  for (size_t i = 0; i < count; i++) {
    out[2 * i] = found[i].at;
    out[2 * i + 1] = found[i].direction;
  }
  free(found);
  return status;
}

static plb_status state_levels(request *r) {
  plb_states s;
  const plb_status status = plb_state_levels(r->array[0], r->n[0], (size_t)r->number[0], &s, NULL);
  double *out = answer(r, 3);
  out[0] = s.low;
  out[1] = s.high;
  out[2] = s.two;
  return status;
}

static plb_status welch(request *r) {
  const size_t segment = (size_t)r->number[1];
  return plb_welch(r->array[0], r->n[0], r->number[0], segment, answer(r, segment / 2 + 1), NULL);
}

static plb_status band_power(request *r) {
  answer(r, 1)[0] = plb_band_power(r->array[0], r->n[0], r->number[0], r->number[1], r->number[2]);
  return PLB_OK;
}

static plb_status band(request *r) {
  double *out = answer(r, 3);
  plb_band_edges_hz((int)r->number[0], (int)r->number[1], &out[0], &out[2]);
  out[1] = plb_band_mid_hz((int)r->number[0], (int)r->number[1]);
  return PLB_OK;
}

/* mean, sd, rms, lag-1, lowest, highest, fourth-power mean */
static plb_status moments(request *r) {
  const double *x = r->array[0];
  double *out = answer(r, 7);
  out[0] = plb_mean(x, r->n[0]);
  out[1] = plb_sd(x, r->n[0]);
  out[2] = plb_rms(x, r->n[0]);
  out[3] = plb_lag1(x, r->n[0]);
  plb_extremes(x, r->n[0], &out[4], &out[5]);
  out[6] = plb_fourth_mean(x, r->n[0]);
  return PLB_OK;
}

static plb_status correlation(request *r) {
  answer(r, 1)[0] = plb_correlation(r->array[0], r->array[1], r->n[0]);
  return PLB_OK;
}

/* median in double, in float, scaled MAD, and the quantiles of the second array */
static plb_status order(request *r) {
  double *out = answer(r, 3 + r->n[1]);
  float *f = to_float(r->array[0], r->n[0]);
  out[0] = plb_median(r->array[0], r->n[0]);
  out[1] = (double)plb_median_f(f, r->n[0]);
  for (size_t i = 0; i < r->n[1]; i++)
    out[3 + i] = plb_quantile(r->array[0], r->n[0], r->array[1][i]);
  out[2] = plb_mad(r->array[0], r->n[0], out[0]);
  free(f);
  return PLB_OK;
}

static plb_status beta_cdf(request *r) {
  double *out = answer(r, r->n[0]);
  for (size_t i = 0; i < r->n[0]; i++)
    out[i] = plb_beta_cdf(r->array[0][i], r->array[1][i], r->array[2][i]);
  return PLB_OK;
}

static plb_status beta_quantile(request *r) {
  double *out = answer(r, r->n[0]);
  for (size_t i = 0; i < r->n[0]; i++)
    out[i] = plb_beta_quantile(r->array[0][i], r->array[1][i], r->array[2][i]);
  return PLB_OK;
}

static plb_status t_cdf(request *r) {
  double *out = answer(r, r->n[0]);
  for (size_t i = 0; i < r->n[0]; i++)
    out[i] = plb_t_cdf(r->array[0][i], r->array[1][i]);
  return PLB_OK;
}

static plb_status t_quantile(request *r) {
  double *out = answer(r, r->n[0]);
  for (size_t i = 0; i < r->n[0]; i++)
    out[i] = plb_t_quantile(r->array[0][i], r->array[1][i]);
  return PLB_OK;
}

static plb_status normal_cdf(request *r) {
  double *out = answer(r, r->n[0]);
  for (size_t i = 0; i < r->n[0]; i++)
    out[i] = plb_normal_cdf(r->array[0][i]);
  return PLB_OK;
}

static plb_status normal_quantile(request *r) {
  double *out = answer(r, r->n[0]);
  for (size_t i = 0; i < r->n[0]; i++)
    out[i] = plb_normal_quantile(r->array[0][i]);
  return PLB_OK;
}

static plb_status binomial_tail(request *r) {
  double *out = answer(r, r->n[0]);
  for (size_t i = 0; i < r->n[0]; i++)
    out[i] = plb_binomial_tail((uint64_t)r->array[0][i], (uint64_t)r->array[1][i], r->array[2][i]);
  return PLB_OK;
}

static plb_status clopper_pearson(request *r) {
  double *out = answer(r, 2);
  plb_clopper_pearson((uint64_t)r->number[0], (uint64_t)r->number[1], r->number[2], &out[0], &out[1]);
  return PLB_OK;
}

static plb_status warp(request *r) {
  float *a = to_float(r->array[0], r->n[0]);
  float *b = to_float(r->array[1], r->n[0]);
  answer(r, 1)[0] = plb_warp_distance(a, b, r->n[0], (size_t)r->number[0], r->number[1], INFINITY);
  free(a);
  free(b);
  return PLB_OK;
}

static plb_status solve(request *r) {
  if (!plb_cholesky(r->array[0], r->n[1]))
    return PLB_EDATA;
  double *out = answer(r, r->n[1]);
  memcpy(out, r->array[1], r->n[1] * sizeof *out);
  plb_cholesky_solve(r->array[0], r->n[1], out);
  return PLB_OK;
}

static const struct {
  const char *name;
  plb_status (*run)(request *r);
} commands[] = {
    {"correlate_full", correlate_full},
    {"find_delay", find_delay},
    {"ncc", ncc},
    {"ncc_circular", ncc_circular},
    {"autocorrelate", autocorrelate},
    {"peak_place", peak_place},
    {"forward", forward},
    {"peak_place_circular", peak_place_circular},
    {"cells", cells},
    {"resample_rational", resample_rational},
    {"crossings", crossings},
    {"state_levels", state_levels},
    {"welch", welch},
    {"band_power", band_power},
    {"band", band},
    {"moments", moments},
    {"correlation", correlation},
    {"order", order},
    {"beta_cdf", beta_cdf},
    {"beta_quantile", beta_quantile},
    {"t_cdf", t_cdf},
    {"t_quantile", t_quantile},
    {"normal_cdf", normal_cdf},
    {"normal_quantile", normal_quantile},
    {"binomial_tail", binomial_tail},
    {"clopper_pearson", clopper_pearson},
    {"warp", warp},
    {"solve", solve},
};

/* @return the command's place in the table, or the table's length at the end of the input */
static size_t read_request(request *r) {
  const size_t none = sizeof commands / sizeof commands[0];
  char name[32];
  size_t numbers = 0, arrays = 0;
  if (scanf("%31s %zu", name, &numbers) != 2)
    return none;
  if (numbers > MOST_NUMBERS)
    exit(64);
  for (size_t i = 0; i < numbers; i++)
    if (scanf("%lf", &r->number[i]) != 1)
      exit(64);
  if (scanf("%zu", &arrays) != 1 || arrays > MOST_ARRAYS)
    exit(64);
  for (size_t i = 0; i < arrays; i++)
    if (scanf("%zu", &r->n[i]) != 1)
      exit(64);
  if (getchar() != '\n')
    exit(64);
  for (size_t i = 0; i < arrays; i++) {
    r->array[i] = must_alloc(r->n[i], sizeof *r->array[i]);
    if (fread(r->array[i], sizeof *r->array[i], r->n[i], stdin) != r->n[i])
      exit(66);
  }
  size_t which = 0;
  while (which < none && strcmp(commands[which].name, name) != 0)
    which++;
  if (which == none)
    exit(64);
  return which;
}

int main(void) {
  for (;;) {
    request r = {0};
    const size_t which = read_request(&r);
    if (which == sizeof commands / sizeof commands[0])
      return 0;
    const plb_status status = commands[which].run(&r);
    if (status != PLB_OK) {
      printf("failed %d\n", (int)status);
    } else {
      printf("%zu\n", r.n_out);
      fwrite(r.out, sizeof *r.out, r.n_out, stdout);
    }
    if (fflush(stdout) != 0)
      return 74;
    free(r.out);
    for (size_t i = 0; i < MOST_ARRAYS; i++)
      free(r.array[i]);
  }
}
