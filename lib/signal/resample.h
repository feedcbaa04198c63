#ifndef PLB_SIGNAL_RESAMPLE_H
#define PLB_SIGNAL_RESAMPLE_H
/** @file  From samples to a grid. Sample i stands for the time i (not for an interval); between samples, straight
 * lines. */
#include <plumbline/error.h>

/** x at a fractional place by linear interpolation; held at the ends. */
double plb_interpolate(const double *x, size_t n, double at);

/**
 * Average x over `cells` consecutive cells: cell k spans edge[k] .. edge[k + 1] (samples, strictly rising). A cell of
 * at least one sample is averaged exactly (integral of the straight-line signal); a narrower one is read at its centre.
 * @param cumulative  [size: n], from plb_cumulate(); @param out [size: cells]; edges outside 0..n-1 are held at the
 * ends
 */
void plb_resample_cells(const double *x, const double *cumulative, size_t n, const double *edge, size_t cells,
                        float *out);

/** Integral of the straight-line signal from 0 to i, for every i. out[0] = 0. [size: n] */
void plb_cumulate(const double *x, size_t n, double *out);

/**
 * Band-limited resampling by the ratio `up/down`: polyphase, sinc under a Kaiser window of beta 5.0, the same filter as
 * scipy.signal.resample_poly, with the ends of x held (padtype "edge"), so that an offset does not sag there.
 * @param out  malloc'ed, free(); out[k] stands for the time k * down / up samples of x
 * @return PLB_OK, PLB_EUSAGE (up or down above 65536 after reduction), PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_resample_rational(const double *x, size_t n, unsigned up, unsigned down, double **out,
                                             size_t *n_out, plb_error *err);
#endif
