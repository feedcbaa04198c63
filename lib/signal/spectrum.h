#ifndef PLB_SIGNAL_SPECTRUM_H
#define PLB_SIGNAL_SPECTRUM_H
/** @file  Power spectra and standard frequency bands. */
#include <plumbline/error.h>

/**
 * Power spectral density by Welch's method (Hann window, half overlap, constant detrend), as scipy.signal.welch:
 * density [unit^2/Hz].
 * @param segment  even, 2 <= segment <= n; @param out  [size: segment/2 + 1], out[k] at k * rate_hz / segment
 */
PLB_CHECKED plb_status plb_welch(const double *x, size_t n, double rate_hz, size_t segment, double *out,
                                 plb_error *err);

/** Mid-band frequency of IEC 61260-1:2014 (f_r 1000 Hz, G = 10^(3/10)): fraction b = 1 or 3 (or any), band index x. */
double plb_band_mid_hz(int fraction, int index);
/** Lower and upper edge of the same band. */
void plb_band_edges_hz(int fraction, int index, double *low_out, double *high_out);
/** Power [unit^2] of a density between two frequencies; partly covered bins count by their share. */
double plb_band_power(const double *density, size_t bins, double bin_hz, double low_hz, double high_hz);

#endif
