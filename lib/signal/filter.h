#ifndef PLB_SIGNAL_FILTER_H
#define PLB_SIGNAL_FILTER_H
/**
 * @file  Butterworth filters as second-order sections, by the bilinear transform of the analogue prototype with its corners prewarped (any text
 * on digital filters; Oppenheim and Schafer, Discrete-Time Signal Processing, 7.1). Once through, or forwards and backwards.
 */
#include "core/core.h"

typedef enum plb_filter_shape { PLB_LOW_PASS, PLB_HIGH_PASS, PLB_BAND_PASS, PLB_BAND_STOP } plb_filter_shape;

enum { PLB_FILTER_ORDER_MOST = 8 };

/** H(z) = gain * product of (b0 + b1 z^-1 + b2 z^-2) / (1 + a1 z^-1 + a2 z^-2); a section of first order has b2 = a2 = 0. */
typedef struct plb_filter {
  size_t sections;
  double gain;
  struct {
    double b[3], a[2];
  } section[PLB_FILTER_ORDER_MOST];
} plb_filter;

/**
 * @param order  of the prototype, 1..PLB_FILTER_ORDER_MOST; a band's filter has twice as many poles
 * @param low, high  corners as shares of the sampling rate, 0 < low < high < 0.5; low pass and high pass use `low`
 * @return false where these do not hold
 */
bool plb_filter_butterworth(plb_filter *out, plb_filter_shape shape, unsigned order, double low, double high);

/** |H| at a share of the sampling rate. */
double plb_filter_magnitude(const plb_filter *filter, double frequency);

/** In place, once through, from rest. */
void plb_filter_run(const plb_filter *filter, double *x, size_t n);

/**
 * In place, forwards and then backwards, so that nothing is shifted in time and |H| counts twice. Both ends are continued by turning the signal
 * about its end point, and each pass begins settled at its first sample.
 * @return PLB_OK, PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_filter_zero_phase(const plb_filter *filter, double *x, size_t n, plb_error *err);

#endif
