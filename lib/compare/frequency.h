#ifndef PLB_COMPARE_FREQUENCY_H
#define PLB_COMPARE_FREQUENCY_H
/**
 * @file  Levels in frequency bands (IEC 61260-1, base ten) and orders of the cycle, of the signal or of its residual: what is left when the
 * capture's own median cycle is laid back in time and taken away.
 */
#include "compare/profile.h"

struct plb_plan;

/** One level: a band of frequency or order in one channel. */
typedef struct plb_level_place {
  size_t band;    /**< of the reference */
  size_t channel;
} plb_level_place;

/** All levels of a reference, bands outermost; the order in which exemplars keep them. */
typedef struct plb_level_set {
  size_t count;
  plb_level_place *place;   /**< [count] */
  const plb_band *band;     /**< the reference's bands, borrowed */
} plb_level_set;

PLB_CHECKED plb_status plb_level_set_init(plb_level_set *out, const plb_reference *reference, plb_error *err);
void plb_level_set_dispose(plb_level_set *set);

/**
 * Fill profile->level and level_doubt. A band that this capture cannot show is NaN: above 0.4 of the sample rate (orders: 0.2 of the samples
 * of a cycle), narrower than the spectrum resolves, or with too few periods in the capture.
 */
PLB_CHECKED plb_status plb_levels_measure(plb_profile *profile, const struct plb_plan *plan, const plb_tracks *tracks, plb_error *err);

/** Which bands `learn` adds: bands of 1/fraction octave, or orders when fraction is 0. */
typedef struct plb_band_choice {
  int fraction;
  bool residual;
} plb_band_choice;

/**
 * The bands that every one of the captures can show, for each channel, appended to the reference's.
 * @param profile  [count]; @param tracks  [count]
 */
PLB_CHECKED plb_status plb_bands_add(plb_reference *reference, plb_band_choice choice, const plb_profile *const *profile,
                                     const plb_tracks *const *tracks, size_t count, plb_error *err);

#endif
