#ifndef PLB_MODEL_PHYSICS_H
#define PLB_MODEL_PHYSICS_H
/** @file  The formulas the families are made of, each with its source. Pure functions of plain numbers. */
#include <math.h>
#include <plumbline/types.h>

static const double plb_pi = 3.141592653589793;
static const double plb_two_pi = 6.283185307179586;

/** Voltage induced by a change of flux linkage [Wb] within dt_s: e = -d(linkage)/dt. Faraday's law; OpenStax
 * University Physics 2, 13.1. */
static inline double plb_induced_v(double linkage_change_wb, double dt_s) { return -linkage_change_wb / dt_s; }

/** Peak voltage of a coil of `turns` and area_m2 turning at omega_rad_s in field_t: N B A w. OpenStax
 * University Physics 2, 13.6 and example 13.9. */
double plb_turning_coil_peak_v(double turns, double field_t, double area_m2, double omega_rad_s);

/**
 * Exact current of a series R-L after dt_s under constant voltage: i(t) = v/r + (i - v/r) exp(-t r/l). r_ohm > 0.
 * OpenStax University Physics 2, 14.4.
 */
static inline double plb_rl_current(double i_a, double v_v, double r_ohm, double l_h, double dt_s) {
  const double end = v_v / r_ohm;
  return end + (i_a - end) * exp(-dt_s * r_ohm / l_h);
}

/** Time for the current of an inductor to fall to zero against a clamp: (L/R) ln(1 + I R / (Vclamp - Vsupply));
 * follows from plb_rl_current(). */
double plb_clamp_decay_s(double i_a, double r_ohm, double l_h, double clamp_v, double supply_v);
/** Energy that goes into the clamp for R = 0: 1/2 L I^2 Vclamp / (Vclamp - Vsupply). Data sheet of a protected
 * low-side switch. */
double plb_clamp_energy_j(double i_a, double l_h, double clamp_v, double supply_v);

/** A damped oscillation of series R, L, C: x'' + 2 a x' + w0^2 x = 0 with a = R/(2L), w0^2 = 1/(LC). OpenStax
 * University Physics 2, 14.6. */
typedef struct plb_ring {
  double decay_per_s; /**< a */
  double omega_rad_s; /**< sqrt(w0^2 - a^2), > 0: under-damped only */
} plb_ring;
plb_ring plb_ring_of(double r_ohm, double l_h, double c_f);
/** x(t) for x(0) = x0, x'(0) = slope0. */
double plb_ring_at(const plb_ring *ring, double x0, double slope0_per_s, double t_s);

/** Two-pole filter for sampled signals, exact for inputs held over a sample: ringing and rounded corners. */
typedef struct plb_resonator {
  double a11, a12, a21, a22; /**< transition of (x - input, x') over one sample */
  double x, slope;
} plb_resonator;
/** @param damping  0..1 (share of critical) */
void plb_resonator_init(plb_resonator *r, double natural_hz, double damping, double rate_hz, double x0);
static inline double plb_resonator_step(plb_resonator *r, double input) {
  const double off = r->x - input, slope = r->slope;
  r->x = input + r->a11 * off + r->a12 * slope;
  r->slope = r->a21 * off + r->a22 * slope;
  return r->x;
}

/** Nernst cell with zirconia: E = (R T / 4 F) ln(p_ref / p). CODATA R and F. Partial pressures in any common unit. */
double plb_nernst_v(double temperature_k, double p_ref, double p);

/** Steinhart and Hart 1968: 1/T = A + B ln R + C (ln R)^3. */
typedef struct plb_ntc {
  double a, b, c;
} plb_ntc;
/** Through three points (Celsius, ohm). */
plb_ntc plb_ntc_through(const double celsius[3], const double ohm[3]);
double plb_ntc_celsius(const plb_ntc *ntc, double ohm);
double plb_ntc_ohm(const plb_ntc *ntc, double celsius);

/** A switch with hysteresis: on above `on`, off below `off`, unchanged between. */
static inline bool plb_hysteresis(bool was_on, double x, double on, double off) { return was_on ? x > off : x >= on; }

/**
 * Output of a three-phase bridge: the highest of the phase voltages less the lowest, phases sin(theta - 120 deg k)
 * with peak 1. A diode with its share of conduction at 0 does not conduct: its phase is not offered on that side.
 * @param upper,lower  0 (open) .. 1 (good) for each phase, or NULL: all good
 */
double plb_bridge_v(double theta_rad, const double upper[3], const double lower[3]);

/** Time from one tooth to the next: 60 / (rpm * teeth); crank degrees pass at 6 degrees per second for each
 * revolution per minute. */
double plb_tooth_s(double speed_per_min, int positions);
/** Degrees of distributor rotation for a duty cycle: duty * 360 / cylinders. */
double plb_dwell_deg(double duty, int cylinders);
/** Time between sparks of a four-stroke with a distributor: 120 / (rpm * cylinders). */
double plb_spark_s(double speed_per_min, int cylinders);

/** p2 = p1 (v1/v2)^g. OpenStax University Physics 2, 3.6. */
double plb_polytropic_pa(double p1_pa, double volume_ratio, double exponent);
/**
 * Cylinder volume over its volume at top dead centre, by the slider-crank.
 * @param rod_over_crank  length of rod over radius of crank, about 3.3
 */
double plb_cylinder_volume(double crank_rad, double compression, double rod_over_crank);

/**
 * Flow of a perfect gas through a nozzle as a share of area * p_before / sqrt(R T): isentropic up to the critical ratio, choked
 * beyond. Above a ratio of 0.95 a straight line to nought at 1 stands for the steep root. Heywood, Internal Combustion Engine
 * Fundamentals, appendix C; from memory.
 * @param ratio  pressure behind over pressure before, 0..1
 */
double plb_nozzle_share(double ratio, double exponent);

/** Heat that a flow carries off a heated element for each kelvin [W/K]: a + b sqrt(flow). L. V. King, Phil. Trans. R. Soc. A 214
 * (1914) 373; from memory. */
static inline double plb_king_w_per_k(double a, double b, double flow) { return a + b * sqrt(fabs(flow)); }

/** Checksum of SENT data nibbles: seed 5, polynomial x^4+x^3+x^2+1; `recommended` adds a nibble of 0. SAE J2716. */
uint8_t plb_sent_crc(const uint8_t *nibble, size_t n, bool recommended);
/** Classical CAN's CRC of 15 bits, polynomial 0x4599 (CAN 2.0, section 3.1.1; from memory). */
uint16_t plb_can_crc(const uint8_t *bit, size_t n);
/** LIN: protected identifier with its two parity bits, and the enhanced checksum (ISO 17987-3; from memory). */
uint8_t plb_lin_identifier(uint8_t id);
uint8_t plb_lin_checksum(uint8_t protected_id, const uint8_t *data, size_t n);

#endif
