#ifndef PLB_PEER_PAIRING_H
#define PLB_PEER_PAIRING_H
/**
 * @file  Two parts against each other. There is no population here, so the yardstick is what the cycles of each scatter by themselves: in each
 * section z = RMS of (b - a) / sqrt(wa^2 + wb^2 + 2 f^2), w the scatter between cycles (1.4826 MAD), f half a per cent of the swing.
 */
#include "peer/likes.h"

/** From this z on two parts differ: three standard deviations, as is usual. */
#define PLB_PAIR_LIMIT 3.0

/** z of one section. @param a, b  indices of laid parts */
double plb_pairing_section(const plb_likes *likes, size_t slice, size_t a, size_t b);
/** The largest z over the sections. */
PLB_CHECKED plb_status plb_pairing_distance(double *out, const plb_likes *likes, size_t a, size_t b, plb_error *err);

#endif
