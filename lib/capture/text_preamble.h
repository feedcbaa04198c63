#ifndef PLB_CAPTURE_TEXT_PREAMBLE_H
#define PLB_CAPTURE_TEXT_PREAMBLE_H
/** @file  What the lines above the rows of numbers say about the sample rate, where there is no time column. */
#include "capture/text_layout.h"

/**
 * Look for "Sample interval,1.0E-5" or "Sampling rate [kHz]: 100" and their like.
 * @param line_out  where it stands, from 1
 * @return the rate [Hz], 0 when nothing is said
 */
double plb_text_preamble_rate(const plb_text_layout *layout, int64_t *line_out);

#endif
