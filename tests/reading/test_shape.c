/* Shape of transitions against published and computed values. */
#include "tests/reading/reading_test.h"

/* Low 0.0138 V and high 5.1848 V: 10 % at 0.5309 V, 90 % at 4.6677 V. Source: worked numbers of a published example on
 * clock signals (VERIFIED). */
static void test_shape__reference_levels_of_published_clock(void **state) {
  (void)state;
  enum { N = 4000 };
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++)
    x[i] = i / 200 % 2 ? 5.1848 + 0.6 * (i % 200 < 3) : 0.0138;
  plb_readings *r = must_measure(capture_of(x, N, 1e6, "V"), NULL);
  const double low = value_of(r, "low-level"), high = value_of(r, "high-level");
  assert_near(low, 0.0138, 5e-5, "low level");
  assert_near(high, 5.1848, 5e-5, "high level, not the peak");
  assert_near(plb_reference_level(low, high, 10), 0.5309, 5e-5, "10 %");
  assert_near(plb_reference_level(low, high, 90), 4.6677, 5e-5, "90 %");
  assert_near(plb_reference_level(low, high, 50), 2.5993, 5e-5, "50 % (COMPUTED)");
  plb_readings_free(r);
  free(x);
}

/* Definitions of IEEE Std 181 (VERIFIED at second hand): a ramp of length T rises from 10 to 90 % in 0.8 T, and a pulse is
 * as wide at 50 % as its plateau and one ramp. */
static void test_shape__trapezoid_is_exact(void **state) {
  (void)state;
  enum { N = 10000, PERIOD = 1000, RAMP = 50, PLATEAU = 200 };
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++) {
    const double at = (double)(i % PERIOD) - 300;
    const double up = fmin(1, fmax(0, at / RAMP)), down = fmin(1, fmax(0, (at - RAMP - PLATEAU) / RAMP));
    x[i] = 5 * (up - down);
  }
  plb_readings *r = must_measure(capture_of(x, N, 1e6, "V"), NULL);
  assert_near(value_of(r, "rise-time"), 0.8 * RAMP * 1e-6, 1e-15, "rise");
  assert_near(value_of(r, "fall-time"), 0.8 * RAMP * 1e-6, 1e-15, "fall");
  assert_near(value_of(r, "rise-slew"), 5 / (RAMP * 1e-6), 1e-6, "slew");
  assert_near(value_of(r, "fall-slew"), -5 / (RAMP * 1e-6), 1e-6, "slew down");
  assert_near(value_of(r, "pulse-high"), (PLATEAU + RAMP) * 1e-6, 1e-15, "width");
  assert_near(value_of(r, "duty-high"), 25, 1e-9, "duty");
  assert_near(value_of(r, "duty-low"), 75, 1e-9, "duty the other way");
  assert_near(value_of(r, "overshoot"), 0, 1e-9, "overshoot");
  assert_near(value_of(r, "undershoot"), 0, 1e-9, "undershoot");
  /* from 50 % to 98 % of the ramp */
  assert_near(value_of(r, "settling"), 0.48 * RAMP * 1e-6, 1e-15, "settling");
  assert_int_equal(row_of(r, "a", "rise-time", PLB_SCOPE_CYCLE)->count, 10);
  assert_near(row_of(r, "a", "rise-time", PLB_SCOPE_CAPTURE)->uncertainty, 1e-6, 1e-18, "one sample");
  plb_readings_free(r);
  free(x);
}

/* t_r = tau ln 9 (COMPUTED). */
static void test_shape__first_order_step(void **state) {
  (void)state;
  enum { BEFORE = 5000, TAU = 100, N = 60000 };
  double *x = room_for(N);
  for (size_t i = BEFORE; i < N; i++)
    x[i] = 12 * (1 - exp(-((double)i - BEFORE) / TAU));
  plb_readings *r = must_measure(capture_of(x, N, 1e5, "V"), NULL);
  const double expected = TAU / 1e5 * log(9);
  assert_near(value_of(r, "rise-time"), expected, 1e-3 * expected, "rise of a first-order step");
  assert_near(value_of(r, "overshoot"), 0, 0.01, "it has no overshoot");
  plb_readings_free(r);
  free(x);
}

enum { ORDER_MOST = 4 };

/* y = (num) / (den) of a unit step: den[0] = 1 leads, num as long as den without its first (zero) coefficient. */
typedef struct system {
  size_t order;
  double den[ORDER_MOST + 1], num[ORDER_MOST + 1];
} system_;

/* Controllable canonical form. */
static void slope(const system_ *s, const double *z, double *out) {
  for (size_t k = 0; k + 1 < s->order; k++)
    out[k] = z[k + 1];
  double sum = 1;
  for (size_t k = 0; k < s->order; k++)
    sum -= s->den[s->order - k] * z[k];
  out[s->order - 1] = sum;
}

static void add_scaled(const system_ *s, const double *z, const double *k, double h, double *out) {
  for (size_t i = 0; i < s->order; i++)
    out[i] = z[i] + h * k[i];
}

/* Runge-Kutta of fourth order, from rest; y[before] is time 0. */
static void simulate(const system_ *s, double dt_s, size_t before, double *y, size_t n) {
  double z[ORDER_MOST] = {0}, at[ORDER_MOST], k1[ORDER_MOST], k2[ORDER_MOST], k3[ORDER_MOST], k4[ORDER_MOST];
  for (size_t i = before; i < n; i++) {
    y[i] = 0;
    for (size_t k = 0; k < s->order; k++)
      y[i] += s->num[s->order - k] * z[k];
    slope(s, z, k1);
    add_scaled(s, z, k1, dt_s / 2, at);
    slope(s, at, k2);
    add_scaled(s, z, k2, dt_s / 2, at);
    slope(s, at, k3);
    add_scaled(s, z, k3, dt_s, at);
    slope(s, at, k4);
    for (size_t k = 0; k < s->order; k++)
      z[k] += dt_s / 6 * (k1[k] + 2 * k2[k] + 2 * k3[k] + k4[k]);
  }
}

typedef struct step {
  double rise_s, overshoot, undershoot, peak, peak_s, settling_s;
} step;

static step read_step(const system_ *s, double dt_s, size_t before, size_t n) {
  double *y = room_for(n);
  simulate(s, dt_s, before, y, n);
  plb_readings *r = must_measure(capture_of(y, n, 1 / dt_s, "1"), NULL);
  step out = {.rise_s = value_of(r, "rise-time"),
              .overshoot = value_of(r, "overshoot"),
              .undershoot = value_of(r, "undershoot"),
              .peak = value_of(r, "highest")};
  size_t peak = before, mid = before;
  for (size_t i = before; i < n; i++)
    if (y[i] > y[peak])
      peak = i;
  while (mid < n && y[mid] < 0.5 * value_of(r, "high-level"))
    mid++;
  out.peak_s = (double)(peak - before) * dt_s;
  /* the published settling time counts from the step, IEEE Std 181 from the mid-reference instant */
  out.settling_s = value_of(r, "settling") + (double)(mid - before) * dt_s;
  plb_readings_free(r);
  free(y);
  return out;
}

/* Overshoot 100 exp(-pi z / sqrt(1 - z^2)) % (COMPUTED); the swing back is its square. */
static void test_shape__second_order_overshoot(void **state) {
  (void)state;
  static const double cases[][2] = {{0.2, 52.662}, {0.3, 37.233}, {0.4, 25.383},  {0.5, 16.303},
                                    {0.6, 9.478},  {0.7, 4.599},  {0.7071, 4.321}};
  for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
    const double z = cases[c][0];
    const system_ s = {2, {1, 2 * z, 1}, {0, 0, 1}};
    const step got = read_step(&s, 0.01, 2000, 52000);
    assert_near(got.overshoot, cases[c][1], 0.05, "overshoot");
    assert_near(got.undershoot, cases[c][1] * cases[c][1] / 100, 0.05, "undershoot");
  }
}

/* Published step responses (VERIFIED) with the tolerances that their plotting grid needs (COMPUTED by RK4). */
static void test_shape__published_step_of_third_order(void **state) {
  (void)state;
  const system_ s = {3, {1, 6, 14, 24}, {0, 8, 18, 32}};
  const step got = read_step(&s, 1e-3, 20000, 220000);
  assert_near(got.rise_s, 0.2087, 0.003, "rise");
  assert_near(got.settling_s, 3.4972, 0.002, "settling");
  assert_near(got.overshoot, 26.5302, 0.03, "overshoot");
  assert_near(got.peak, 1.6871, 2e-4, "peak");
  assert_near(got.peak_s, 0.5987, 0.04, "peak time");
}

static void test_shape__published_step_of_fourth_order(void **state) {
  (void)state;
  const system_ s = {4, {1, 1.65, 5, 6.5, 2}, {0, 0, 1, 5, 5}};
  const step got = read_step(&s, 1e-2, 20000, 220000);
  assert_near(got.rise_s, 3.8456, 0.003, "rise");
  assert_near(got.settling_s, 27.9762, 0.02, "settling");
  assert_near(got.overshoot, 7.4915, 0.03, "overshoot");
  assert_near(got.peak, 2.6873, 6e-4, "peak");
  assert_near(got.peak_s, 8.0530, 0.04, "peak time");
}

static void test_shape__never_settled_is_not_told(void **state) {
  (void)state;
  enum { N = 3000 };
  double *x = room_for(N);
  for (size_t i = 0; i < N; i++)
    x[i] = i < 1000 ? 0 : i < 2900 ? 5 : 5.5; /* leaves the band of 2 % again before the capture ends */
  plb_readings *r = must_measure(capture_of(x, N, 1e3, "V"), NULL);
  assert_near(value_of(r, "overshoot"), 10, 1e-9, "overshoot");
  assert_null(row_of(r, "a", "settling", PLB_SCOPE_CAPTURE));
  plb_readings_free(r);
  free(x);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_shape__reference_levels_of_published_clock),
      cmocka_unit_test(test_shape__trapezoid_is_exact),
      cmocka_unit_test(test_shape__first_order_step),
      cmocka_unit_test(test_shape__second_order_overshoot),
      cmocka_unit_test(test_shape__published_step_of_third_order),
      cmocka_unit_test(test_shape__published_step_of_fourth_order),
      cmocka_unit_test(test_shape__never_settled_is_not_told),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
