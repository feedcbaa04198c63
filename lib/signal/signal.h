/**
 * signal: pure mathematics on arrays: transforms, correlation, resampling, crossings, levels, spectra,
 * statistics, warping. Plain arrays in, plain arrays out; it knows nothing of captures, cycles or references.
 * Arrays are [size: n] of double unless float is said; indices and lags are in samples; intervals are half-open.
 */
#ifndef PLB_SIGNAL_SIGNAL_H
#define PLB_SIGNAL_SIGNAL_H
#include "signal/correlate.h"
#include "signal/crossing.h"
#include "signal/distribution.h"
#include "signal/fft.h"
#include "signal/level.h"
#include "signal/linear.h"
#include "signal/resample.h"
#include "signal/spectrum.h"
#include "signal/statistic.h"
#include "signal/warp.h"
#endif
