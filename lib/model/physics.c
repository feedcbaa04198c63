#include "model/physics.h"

double plb_turning_coil_peak_v(double turns, double field_t, double area_m2, double omega_rad_s) {
  return turns * field_t * area_m2 * omega_rad_s;
}

double plb_clamp_decay_s(double i_a, double r_ohm, double l_h, double clamp_v, double supply_v) {
  return l_h / r_ohm * log(1.0 + i_a * r_ohm / (clamp_v - supply_v));
}

double plb_clamp_energy_j(double i_a, double l_h, double clamp_v, double supply_v) {
  return 0.5 * l_h * i_a * i_a * clamp_v / (clamp_v - supply_v);
}

plb_ring plb_ring_of(double r_ohm, double l_h, double c_f) {
  const double a = r_ohm / (2.0 * l_h);
  return (plb_ring){a, sqrt(fmax(0.0, 1.0 / (l_h * c_f) - a * a))};
}

double plb_ring_at(const plb_ring *ring, double x0, double slope0_per_s, double t_s) {
  const double w = ring->omega_rad_s;
  const double sine = (slope0_per_s + ring->decay_per_s * x0) / w;
  return exp(-ring->decay_per_s * t_s) * (x0 * cos(w * t_s) + sine * sin(w * t_s));
}

void plb_resonator_init(plb_resonator *r, double natural_hz, double damping, double rate_hz, double x0) {
  const double w0 = plb_two_pi * natural_hz, dt = 1.0 / rate_hz;
  const double a = damping * w0;
  const double w = w0 * sqrt(fmax(1e-9, 1.0 - damping * damping));
  const double e = exp(-a * dt), s = sin(w * dt), c = cos(w * dt);
  r->a11 = e * (c + a / w * s);
  r->a12 = e * s / w;
  r->a21 = -e * w0 * w0 / w * s;
  r->a22 = e * (c - a / w * s);
  r->x = x0;
  r->slope = 0.0;
}

double plb_nernst_v(double temperature_k, double p_ref, double p) {
  const double gas_j = 8.31446261815324, faraday_c = 96485.33212331;
  return gas_j * temperature_k / (4.0 * faraday_c) * log(p_ref / p);
}

static const double zero_celsius_k = 273.15;

plb_ntc plb_ntc_through(const double celsius[3], const double ohm[3]) {
  double x[3], y[3];
  for (int i = 0; i < 3; i++) {
    x[i] = log(ohm[i]);
    y[i] = 1.0 / (celsius[i] + zero_celsius_k);
  }
  const double g2 = (y[1] - y[0]) / (x[1] - x[0]), g3 = (y[2] - y[0]) / (x[2] - x[0]);
  const double c = (g3 - g2) / (x[2] - x[1]) / (x[0] + x[1] + x[2]);
  const double b = g2 - c * (x[0] * x[0] + x[0] * x[1] + x[1] * x[1]);
  return (plb_ntc){y[0] - x[0] * (b + x[0] * x[0] * c), b, c};
}

double plb_ntc_celsius(const plb_ntc *ntc, double ohm) {
  const double x = log(ohm);
  return 1.0 / (ntc->a + ntc->b * x + ntc->c * x * x * x) - zero_celsius_k;
}

/* The cubic in ln R has one real root where C > 0; Newton from the linear solution gets there in a few steps. */
double plb_ntc_ohm(const plb_ntc *ntc, double celsius) {
  const double y = 1.0 / (celsius + zero_celsius_k) - ntc->a;
  double x = y / ntc->b;
  for (int i = 0; i < 12; i++)
    x -= (ntc->b * x + ntc->c * x * x * x - y) / (ntc->b + 3.0 * ntc->c * x * x);
  return exp(x);
}

double plb_bridge_v(double theta_rad, const double upper[3], const double lower[3]) {
  double high = -1.0, low = 1.0;
  for (int k = 0; k < 3; k++) {
    const double v = sin(theta_rad - plb_two_pi / 3.0 * k);
    const double up = upper ? upper[k] : 1.0, down = lower ? lower[k] : 1.0;
    high = fmax(high, v - 2.0 * (1.0 - up));
    low = fmin(low, v + 2.0 * (1.0 - down));
  }
  return fmax(0.0, high - low);
}

double plb_tooth_s(double speed_per_min, int positions) { return 60.0 / (speed_per_min * positions); }
double plb_dwell_deg(double duty, int cylinders) { return duty * 360.0 / cylinders; }
double plb_spark_s(double speed_per_min, int cylinders) { return 120.0 / (speed_per_min * cylinders); }

double plb_polytropic_pa(double p1_pa, double volume_ratio, double exponent) {
  return p1_pa * pow(volume_ratio, exponent);
}

double plb_cylinder_volume(double crank_rad, double compression, double rod_over_crank) {
  const double s = sin(crank_rad);
  const double travel =
      1.0 + rod_over_crank - cos(crank_rad) - sqrt(rod_over_crank * rod_over_crank - s * s); /* 0 .. 2 crank radii */
  return 1.0 + 0.5 * (compression - 1.0) * travel;
}

static double nozzle_root(double ratio, double exponent) {
  return pow(ratio, 1.0 / exponent) *
         sqrt(2.0 * exponent / (exponent - 1.0) * (1.0 - pow(ratio, (exponent - 1.0) / exponent)));
}

double plb_nozzle_share(double ratio, double exponent) {
  const double critical = pow(2.0 / (exponent + 1.0), exponent / (exponent - 1.0)), line = 0.95;
  if (ratio <= critical)
    return nozzle_root(critical, exponent);
  return ratio < line ? nozzle_root(ratio, exponent) : nozzle_root(line, exponent) * (1.0 - ratio) / (1.0 - line);
}

/* The table is x -> x * 13 in the field of the polynomial, VERIFIED in an application note on a SENT peripheral. */
uint8_t plb_sent_crc(const uint8_t *nibble, size_t n, bool recommended) {
  static const uint8_t table[16] = {0, 13, 7, 10, 14, 3, 9, 4, 1, 12, 6, 11, 15, 2, 8, 5};
  uint8_t c = 5;
  for (size_t i = 0; i < n; i++)
    c = (uint8_t)((nibble[i] & 15) ^ table[c]);
  return recommended ? table[c] : c;
}

uint16_t plb_can_crc(const uint8_t *bit, size_t n) {
  unsigned crc = 0;
  for (size_t i = 0; i < n; i++) {
    const unsigned next = bit[i] ^ ((crc >> 14) & 1u);
    crc = (crc << 1) & 0x7FFFu;
    if (next)
      crc ^= 0x4599u;
  }
  return (uint16_t)crc;
}

uint8_t plb_lin_identifier(uint8_t id) {
  const unsigned b0 = id & 1u, b1 = (id >> 1) & 1u, b2 = (id >> 2) & 1u, b3 = (id >> 3) & 1u, b4 = (id >> 4) & 1u,
                 b5 = (id >> 5) & 1u;
  const unsigned p0 = b0 ^ b1 ^ b2 ^ b4, p1 = 1u ^ b1 ^ b3 ^ b4 ^ b5;
  return (uint8_t)((id & 0x3Fu) | (p0 << 6) | (p1 << 7));
}

uint8_t plb_lin_checksum(uint8_t protected_id, const uint8_t *data, size_t n) {
  unsigned sum = protected_id;
  for (size_t i = 0; i < n; i++) {
    sum += data[i];
    if (sum > 255u)
      sum -= 255u; /* the carry is added back */
  }
  return (uint8_t)(255u - sum);
}
