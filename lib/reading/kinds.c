/* The table of readings. A new one is a function and a row. */
#include "reading/reading.h"

#include <math.h>

static double one_code(const plb_trace *t, double value, double length_s) {
  (void)value, (void)length_s;
  return t->step > 0 ? t->step : (double)NAN;
}

static double two_codes(const plb_trace *t, double value, double length_s) { return 2 * one_code(t, value, length_s); }

static double code_of_amplitude(const plb_trace *t, double value, double length_s) {
  return 100 * one_code(t, value, length_s) / (t->high - t->low);
}

static double code_over_time(const plb_trace *t, double value, double length_s) {
  return one_code(t, value, length_s) * length_s * t->ampere;
}

static double one_sample(const plb_trace *t, double value, double length_s) {
  (void)value, (void)length_s;
  return 1 / t->rate_hz;
}

/* The mean over many edges: each may be off by half a sample either way. */
static double sample_of_many(const plb_trace *t, double value, double length_s) {
  (void)value, (void)length_s;
  return 1 / (t->rate_hz * sqrt((double)(t->edges + 1)));
}

static double sample_in_frequency(const plb_trace *t, double value, double length_s) {
  (void)length_s;
  return value * value / t->rate_hz;
}

static double sample_of_period(const plb_trace *t, double value, double length_s) {
  (void)value, (void)length_s;
  return 100 / (t->rate_hz * t->period_s);
}

static double sample_of_turn(const plb_trace *t, double value, double length_s) {
  return sample_of_period(t, value, length_s) / 100 * 360 / t->cylinders;
}

static double sample_in_slew(const plb_trace *t, double value, double length_s) {
  (void)length_s;
  return value * value / (0.8 * (t->high - t->low) * t->rate_hz);
}

enum { STATES = PLB_NEEDS_STATES };

const plb_reading_kind plb_reading_kinds[] = {
    /* level */
    {"mean", "", plb_read_mean, NULL, NULL, one_code, 0},
    {"ac-rms", "", plb_read_ac_rms, NULL, NULL, one_code, 0},
    {"true-rms", "", plb_read_true_rms, NULL, NULL, one_code, 0},
    {"lowest", "", plb_read_lowest, NULL, NULL, one_code, PLB_THINNED_TOO},
    {"highest", "", plb_read_highest, NULL, NULL, one_code, PLB_THINNED_TOO},
    {"peak-to-peak", "", plb_read_peak_to_peak, NULL, NULL, two_codes, PLB_THINNED_TOO},
    {"low-level", "", NULL, NULL, plb_read_low_level, one_code, STATES},
    {"high-level", "", NULL, NULL, plb_read_high_level, one_code, STATES},
    {"crest-factor", "1", plb_read_crest_factor, NULL, NULL, NULL, 0},
    {"ripple", "%", plb_read_ripple, NULL, NULL, NULL, 0},
    /* time */
    {"period", "s", NULL, plb_read_period, NULL, one_sample, 0},
    {"frequency", "Hz", NULL, plb_read_frequency, NULL, sample_in_frequency, PLB_HARMONIC},
    {"pulse-high", "s", NULL, plb_read_pulse_high, NULL, one_sample, 0},
    {"pulse-low", "s", NULL, plb_read_pulse_low, NULL, one_sample, 0},
    {"pulse-count", "1", NULL, NULL, plb_read_pulse_count, NULL, 0},
    {"jitter", "s", NULL, NULL, plb_read_jitter, one_sample, 0},
    {"bit-time", "s", NULL, NULL, plb_read_bit_time, sample_of_many, STATES},
    {"sent-tick", "s", NULL, NULL, plb_read_sent_tick, sample_of_many, STATES},
    /* shape */
    {"rise-time", "s", NULL, plb_read_rise_time, NULL, one_sample, STATES},
    {"fall-time", "s", NULL, plb_read_fall_time, NULL, one_sample, STATES},
    {"rise-slew", "/s", NULL, plb_read_rise_slew, NULL, sample_in_slew, STATES},
    {"fall-slew", "/s", NULL, plb_read_fall_slew, NULL, sample_in_slew, STATES},
    {"overshoot", "%", NULL, plb_read_overshoot, NULL, code_of_amplitude, STATES},
    {"undershoot", "%", NULL, plb_read_undershoot, NULL, code_of_amplitude, STATES},
    {"settling", "s", NULL, plb_read_settling, NULL, one_sample, STATES},
    /* relation */
    {"duty-high", "%", NULL, plb_read_duty_high, NULL, sample_of_period, 0},
    {"duty-low", "%", NULL, plb_read_duty_low, NULL, sample_of_period, 0},
    {"dwell-high", "deg", NULL, plb_read_dwell_high, NULL, sample_of_turn, 0},
    {"dwell-low", "deg", NULL, plb_read_dwell_low, NULL, sample_of_turn, 0},
    /* amount */
    {"charge", "C", plb_read_charge, NULL, NULL, code_over_time, 0},
};
const size_t plb_reading_kind_count = sizeof plb_reading_kinds / sizeof plb_reading_kinds[0];

const plb_reading_kind plb_power_kinds[] = {
    {"power", "W", plb_read_mean, NULL, NULL, NULL, 0},
    {"energy", "J", plb_read_integral, NULL, NULL, NULL, 0},
};
const size_t plb_power_kind_count = sizeof plb_power_kinds / sizeof plb_power_kinds[0];
