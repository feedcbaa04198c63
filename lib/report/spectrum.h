#ifndef PLB_REPORT_SPECTRUM_H
#define PLB_REPORT_SPECTRUM_H
/** @file  Levels in frequency bands against the good captures, as bars: drawn where the first finding lies in frequency. */
#include "report/canvas.h"
#include <plumbline/compare.h>

/** 0: the first finding lies elsewhere and nothing is drawn. [px] */
double plb_spectrum_height(const plb_verdict *verdict);
void plb_spectrum_draw(plb_canvas *c, const plb_verdict *verdict, double left, double top, double width);

#endif
