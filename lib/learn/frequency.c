#include "learn/frequency.h"
#include <math.h>
#include <string.h>

/*
 * By default: octaves, of the residual where the cycle is judged already in its phase frame (hash shows there and nowhere else), of the signal
 * where there is no cycle in time. A single event shows what its grid averages away; one that is too short for a level shows none.
 */
static bool choose(const plb_reference *r, const plb_learn_options *o, bool unordered, plb_band_choice *out) {
  const plb_frequency_bands wanted = o->frequency;
  if (wanted == PLB_FREQUENCY_NONE || (wanted == PLB_FREQUENCY_AUTO && r->choice.spec.kind == PLB_CYCLE_AGAINST)) {
    return false;
  }
  *out = (plb_band_choice){.fraction = wanted == PLB_FREQUENCY_ORDERS ? 0 : wanted == PLB_FREQUENCY_THIRDS ? 3 : 1,
                           .residual = wanted != PLB_FREQUENCY_ORDERS && !unordered};
  return true;
}

plb_status plb_learn_bands(plb_reference *r, const plb_learn_options *o, const plb_profile *const *profile, const plb_tracks *const *tracks,
                           size_t count, plb_buffer *notes, plb_error *err) {
  plb_band_choice choice;
  const size_t before = r->bands;
  if (!choose(r, o, profile[0]->frame->unordered, &choice)) {
    return PLB_OK;
  }
  const plb_status status = plb_bands_add(r, choice, profile, tracks, count, err);
  if (status != PLB_OK) {
    return status;
  }
  if (r->bands == before && o->frequency != PLB_FREQUENCY_AUTO) {
    return plb_fail(err, PLB_EDATA, "no %s can be told from every capture: they are too short, or sampled too thinly; leave --frequency-bands out",
                    choice.fraction == 0 ? "order of the cycle" : "frequency band");
  }
  if (r->bands > before) {
    plb_buffer_printf(notes, "Frequency bands: %zu, %s to %s, of %s.\n", r->bands - before, r->band[before].name, r->band[r->bands - 1].name,
                      choice.residual ? "what is left after each capture's own cycle" : "the signal");
  }
  return PLB_OK;
}

plb_status plb_learn_levels(plb_profile **profile, const plb_plan *plan, const plb_tracks *const *tracks, size_t count, plb_error *err) {
  plb_status status = PLB_OK;
#pragma omp parallel for schedule(dynamic)
  for (size_t i = 0; i < count; i++) {
    plb_error own = PLB_ERROR_INIT;
    const plb_status one = plb_levels_measure(profile[i], plan, tracks[i], &own);
    if (one != PLB_OK) {
#pragma omp critical(plb_learn_levels)
      {
        status = one;
        if (err != NULL) {
          *err = own;
        }
      }
    }
  }
  return status;
}

void plb_keep_levels(plb_reference *r, const plb_profile *const *profile, size_t count) {
  size_t k = 0;
  for (size_t b = 0; b < r->bands; b++) {
    plb_band *band = &r->band[b];
    double sum = 0.0, square = 0.0, n = 0.0;
    if (band->domain == PLB_BAND_CYCLE) {
      continue;
    }
    for (size_t c = 0; c < (band->channel[0] != '\0' ? 1 : r->channels); c++, k++) {
      for (size_t i = 0; i < count; i++) {
        const double level = profile[i]->level[k];
        if (isfinite(level)) {
          sum += level;
          square += level * level;
          n += 1.0;
        }
      }
    }
    band->level = n > 0.0 ? sum / n : NAN;
    band->spread = n > 1.0 ? sqrt(fmax(square - sum * sum / n, 0.0) / (n - 1.0)) : NAN;
  }
}
