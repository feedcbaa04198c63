#ifndef PLB_REPORT_SKETCH_H
#define PLB_REPORT_SKETCH_H
/** @file  A first picture in plain characters: lowest to highest per column, so that no spike is lost. */
#include "report/page.h"

enum { PLB_SKETCH_ROWS = 8, PLB_SKETCH_MARGIN = 10 };

/**
 * Draw samples first .. first + count of x over the page's width, with the values of the top and bottom line and the times at both ends.
 * @param start_s  time of sample `first`
 */
void plb_sketch(plb_page *page, const double *x, size_t first, size_t count, double rate_hz, double start_s,
                const char *unit);

/**
 * A stretch worth a closer look: about `waves` passages of the middle level wide, with the longest gap between passages in the middle.
 * @return false when the whole has too few passages to need one
 */
PLB_CHECKED plb_status plb_sketch_closer(const double *x, size_t n, size_t *first_out, size_t *count_out,
                                         plb_error *err);

#endif
