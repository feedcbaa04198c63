/* What every family must keep: same seed, same bytes; severity 0 is good; more severity, more effect; finite,
 * within the range. */
#include "model_test.h"

static bool same_samples(const plb_capture *a, const plb_capture *b) {
  if (plb_capture_samples(a) != plb_capture_samples(b) || plb_capture_rate_hz(a) != plb_capture_rate_hz(b) ||
      a->channels != b->channels)
    return false;
  for (size_t c = 0; c < a->channels; c++)
    if (a->channel[c].samples.scale != b->channel[c].samples.scale ||
        memcmp(a->channel[c].samples.code, b->channel[c].samples.code, a->samples * sizeof(int32_t)) != 0)
      return false;
  return true;
}

/* @return 1 with a line printed where the recording is unfit */
static int check_channel(const plb_model_family *family, const plb_capture *capture, size_t c) {
  double *x = must_copy(capture, c);
  double low = x[0], high = x[0];
  size_t at_rail = 0;
  const double step = capture->channel[c].samples.scale;
  for (size_t i = 0; i < capture->samples; i++) {
    if (!isfinite(x[i]))
      fail_msg("%s, %s: sample %zu is not finite", family->name, plb_capture_role(capture, c), i);
    low = fmin(low, x[i]);
    high = fmax(high, x[i]);
    const int32_t code = capture->channel[c].samples.code[i];
    at_rail += code == capture->channel[c].samples.code_low || code == capture->channel[c].samples.code_high;
  }
  free(x);
  if (at_rail == 0 && high - low >= 1.5 * step)
    return 0;
  print_error("%s, %s: %zu samples clipped, %g to %g in steps of %g\n", family->name, plb_capture_role(capture, c),
              at_rail, low, high, step);
  return 1;
}

static void test_draw__good_captures_are_finite_and_unclipped(void **state) {
  (void)state;
  int wrong = 0;
  for (size_t i = 0; i < plb_model_count(); i++)
    for (uint64_t seed = 1; seed <= 3; seed++) {
      const plb_model_family *f = plb_model_at(i);
      plb_capture *capture = must_draw(f->name, seed, NULL, 0);
      assert_true(capture->samples >= 5000);
      for (size_t c = 0; c < f->channels; c++)
        wrong += check_channel(f, capture, c);
      plb_capture_free(capture);
    }
  assert_int_equal(wrong, 0);
}

/* Root mean square difference over all channels in steps of their spread; a changed rate is a difference by itself. */
static double distance(const plb_capture *a, const plb_capture *b) {
  if (plb_capture_rate_hz(a) != plb_capture_rate_hz(b))
    return plb_capture_rate_hz(a) / plb_capture_rate_hz(b);
  double sum = 0.0;
  for (size_t c = 0; c < a->channels; c++) {
    double *x = must_copy(a, c), *y = must_copy(b, c);
    double square = 0.0, mean = 0.0, power = 0.0;
    for (size_t i = 0; i < a->samples; i++) {
      if (!isfinite(y[i]))
        fail_msg("%s: sample %zu is not finite", plb_capture_path(a), i);
      square += (x[i] - y[i]) * (x[i] - y[i]);
      mean += x[i] / (double)a->samples;
    }
    for (size_t i = 0; i < a->samples; i++)
      power += (x[i] - mean) * (x[i] - mean);
    sum += square / (power + 1e-12);
    free(x);
    free(y);
  }
  return sqrt(sum);
}

/* A part of the usual length where the signal repeats, so that all faults of all families take seconds. */
static plb_capture *draw_short(const plb_model_family *f, uint64_t seed, const char *fault, double severity,
                               double share) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = seed;
  request.fault = fault;
  request.severity = severity;
  const bool whole = strcmp(f->cycle, "once") == 0 || strncmp(f->cycle, "against", 7) == 0;
  request.duration_s = f->duration_s * (whole ? fmin(1.0, 3.0 * share) : share);
  plb_error err = PLB_ERROR_INIT;
  plb_capture *capture = NULL;
  if (plb_model_draw(&capture, f, &request, NULL, &err))
    fail_msg("%s, %s: %s", f->name, fault ? fault : "good", err.message);
  return capture;
}

static void test_draw__same_seed_same_bytes(void **state) {
  (void)state;
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    plb_capture *a = draw_short(f, 7, NULL, 0, 0.1), *b = draw_short(f, 7, NULL, 0, 0.1),
                *other = draw_short(f, 8, NULL, 0, 0.1);
    if (!same_samples(a, b) || same_samples(a, other))
      fail_msg("%s: the seed does not decide", f->name);
    plb_capture_free(a);
    plb_capture_free(b);
    plb_capture_free(other);
  }
}

/* @return 1 with a line printed where the fault misbehaves, so that one run shows them all */
static int check_fault(const plb_model_family *f, const plb_model_fault *fault, const plb_capture *good,
                       uint64_t seed) {
  static const double severity[] = {0.4, 1.0};
  double d[2];
  for (int k = 0; k < 2; k++) {
    plb_capture *bad = draw_short(f, seed, fault->name, severity[k], 0.33);
    d[k] = distance(good, bad);
    plb_capture_free(bad);
  }
  /* where speed or timing changes, the two soon have nothing in common: beyond a full spread more cannot be said */
  if (d[1] > 0.0 && fmin(1.0, d[1]) >= 0.7 * fmin(1.0, d[0]))
    return 0;
  print_error("%s, %s: effect %g and %g at severity 0.4 and 1\n", f->name, fault->name, d[0], d[1]);
  return 1;
}

static void test_draw__severity_nought_is_the_good_signal(void **state) {
  (void)state;
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    plb_capture *good = draw_short(f, 5, NULL, 0, 0.04);
    for (size_t k = 0; k < plb_model_fault_count(f); k++) {
      plb_capture *none = draw_short(f, 5, plb_model_fault_at(f, k)->name, 0.0, 0.04);
      if (!same_samples(good, none))
        fail_msg("%s, %s: severity 0 is not the good signal", f->name, plb_model_fault_at(f, k)->name);
      plb_capture_free(none);
    }
    plb_capture_free(good);
  }
}

/* The measuring mistakes are the same code for every family: a few families stand for all. */
static void test_draw__faults_grow(void **state) {
  (void)state;
  int wrong = 0;
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    const size_t faults = i % 7 == 0 ? plb_model_fault_count(f) : f->faults;
    plb_capture *good = draw_short(f, 11, NULL, 0, 0.33);
    for (size_t k = 0; k < faults; k++)
      wrong += check_fault(f, plb_model_fault_at(f, k), good, 11);
    plb_capture_free(good);
  }
  assert_int_equal(wrong, 0);
}

static void test_draw__wrong_requests_are_refused(void **state) {
  (void)state;
  const plb_model_family *f = plb_model_find("injector-voltage");
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  plb_capture *capture = NULL;
  plb_error err = PLB_ERROR_INIT;
  request.fault = "no-such-fault";
  request.severity = 0.5;
  assert_int_equal(plb_model_draw(&capture, f, &request, NULL, &err), PLB_EUSAGE);
  assert_non_null(strstr(err.message, "stuck-needle"));
  request.fault = "stuck-needle";
  request.severity = 1.5;
  assert_int_equal(plb_model_draw(&capture, f, &request, NULL, &err), PLB_EUSAGE);
  request.severity = NAN;
  assert_int_equal(plb_model_draw(&capture, f, &request, NULL, &err), PLB_EUSAGE);
  request.severity = 0.5;
  request.state = "no-such-state";
  assert_int_equal(plb_model_draw(&capture, f, &request, NULL, &err), PLB_EUSAGE);
  assert_null(capture);
}

static void test_draw__says_that_it_is_modelled(void **state) {
  (void)state;
  plb_capture *capture = must_draw("can-pair", 3, "terminator-missing", 0.5);
  assert_non_null(strstr(plb_capture_note(capture, 0), "modelled, not measured"));
  assert_non_null(strstr(plb_capture_note(capture, 1), "terminator-missing"));
  plb_capture_free(capture);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_draw__same_seed_same_bytes),
                                     cmocka_unit_test(test_draw__good_captures_are_finite_and_unclipped),
                                     cmocka_unit_test(test_draw__severity_nought_is_the_good_signal),
                                     cmocka_unit_test(test_draw__faults_grow),
                                     cmocka_unit_test(test_draw__wrong_requests_are_refused),
                                     cmocka_unit_test(test_draw__says_that_it_is_modelled)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
