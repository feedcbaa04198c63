#ifndef PLB_COMPARE_BITS_H
#define PLB_COMPARE_BITS_H
/** @file  Serial levels: how long one bit lasts, whatever the data. */
#include "core/core.h"

/**
 * Pulses of a serial level last whole numbers of bits, and which numbers is data: their median jumps by a bit from one healthy capture to the
 * next, while the length of one bit is a sign of health.
 * @param pulse  [n] seconds, sorted on return
 * @return  the length of a pulse of one bit [s]; NaN: these are no whole numbers of one length, or nearly all are of the same
 */
double plb_bits_pulse(double *pulse, size_t n);

#endif
