#include "compare/judge.h"
#include <math.h>
#include <string.h>

void plb_slices_dispose(plb_slices *slices) {
  free(slices->from);
  free(slices->to);
  free(slices->channel);
  free(slices->band);
  *slices = (plb_slices){0};
}

static size_t count_slices(const plb_reference *reference) {
  size_t count = 0;
  for (size_t b = 0; b < reference->bands; b++) {
    const plb_band *band = &reference->band[b];
    if (band->domain == PLB_BAND_CYCLE) {
      count += band->channel[0] == '\0' ? reference->channels : 1;
    }
  }
  return count;
}

static bool band_holds_channel(const plb_band *band, const plb_reference_channel *channel) {
  return band->channel[0] == '\0' || strcmp(band->channel, channel->role) == 0;
}

plb_status plb_slices_from_reference(plb_slices *out, const plb_reference *reference, plb_error *err) {
  const size_t count = count_slices(reference);
  const double grid = (double)reference->choice.grid;
  *out = (plb_slices){.channels = reference->channels, .grid = reference->choice.grid};
  out->from = plb_calloc(count, sizeof *out->from);
  out->to = plb_calloc(count, sizeof *out->to);
  out->channel = plb_calloc(count, sizeof *out->channel);
  out->band = plb_calloc(count, sizeof *out->band);
  if (out->from == NULL || out->to == NULL || out->channel == NULL || out->band == NULL) {
    plb_slices_dispose(out);
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu sections", count);
  }
  for (size_t c = 0; c < reference->channels; c++) {
    for (size_t b = 0; b < reference->bands; b++) {
      const plb_band *band = &reference->band[b];
      if (band->domain != PLB_BAND_CYCLE || !band_holds_channel(band, &reference->channel[c])) {
        continue;
      }
      const size_t from = (size_t)lrint(band->from * grid), to = (size_t)lrint(band->to * grid);
      out->from[out->bands] = from < out->grid ? from : out->grid - 1;
      out->to[out->bands] = to <= out->grid ? to : out->grid;
      if (out->to[out->bands] <= out->from[out->bands]) {
        out->to[out->bands] = out->from[out->bands] + 1;
      }
      out->channel[out->bands] = c;
      out->band[out->bands++] = b;
    }
  }
  return PLB_OK;
}

plb_status plb_plan_init(plb_plan *out, const plb_reference *reference, plb_error *err) {
  *out = (plb_plan){.choice = &reference->choice,
                    .channel = reference->channel,
                    .reading = reference->reading,
                    .readings = reference->readings,
                    .channels = reference->channels};
  const double rate = reference->connection.rate_needed_hz;
  if (reference->choice.spec.kind == PLB_CYCLE_EDGE && rate > 0.0 && reference->choice.rate_high_hz > 0.0) {
    out->sample_cells = (double)reference->choice.grid * reference->choice.rate_high_hz / rate;
  }
  plb_status status = plb_slices_from_reference(&out->slices, reference, err);
  if (status == PLB_OK) {
    status = plb_level_set_init(&out->levels, reference, err);
  }
  return status;
}

void plb_plan_dispose(plb_plan *plan) {
  plb_slices_dispose(&plan->slices);
  plb_level_set_dispose(&plan->levels);
}

static void add_term(plb_terms *t, plb_distance_kind kind, size_t channel, size_t index) {
  t->term[t->count++] = (plb_term){kind, channel, index};
}

plb_status plb_terms_new(plb_terms *out, const plb_plan *plan, plb_error *err) {
  const size_t bands = plan->slices.bands, most = bands * 5 + plan->channels * 4 + plan->readings + 1 + plan->levels.count;
  *out = (plb_terms){plb_calloc(most, sizeof *out->term), 0};
  if (out->term == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu distances", most);
  }
  for (plb_distance_kind kind = PLB_D_LASTING; kind <= PLB_D_NOISE; kind++) {
    if (plan->choice->spec.kind == PLB_CYCLE_ONCE && (kind == PLB_D_CYCLE || kind == PLB_D_NOISE)) {
      continue; /* one cycle a capture: there is no scatter between cycles */
    }
    if (kind == PLB_D_NOISE && (plan->choice->spec.kind == PLB_CYCLE_STEADY || plan->choice->spec.kind == PLB_CYCLE_AGAINST)) {
      continue; /* the largest window or stroke says what scatter between them would, and which it is */
    }
    for (size_t b = 0; b < bands; b++) {
      add_term(out, kind, plan->slices.channel[b], b);
    }
  }
  const size_t first_mark = plb_profile_first_mark(plan->choice);
  const bool wheel = plan->choice->spec.kind == PLB_CYCLE_WHEEL;
  for (size_t r = 0; r < plan->readings; r++) {
    if (!isnan(plb_profile_floor(plan->choice, r)) && !(wheel && r >= first_mark)) {
      add_term(out, PLB_D_READING, SIZE_MAX, r);
    }
  }
  if (wheel) {
    add_term(out, PLB_D_MARKS, SIZE_MAX, 0);
  }
  for (size_t c = 0; c < plan->channels; c++) {
    add_term(out, PLB_D_GAIN, c, c);
    add_term(out, PLB_D_OFFSET, c, c);
    if (plan->choice->spec.kind == PLB_CYCLE_ONCE) {
      add_term(out, PLB_D_LEVEL, c, c);
      add_term(out, PLB_D_SLOPE, c, c);
    }
  }
  for (size_t k = 0; k < plan->levels.count; k++) {
    add_term(out, PLB_D_FREQUENCY, plan->levels.place[k].channel, k);
  }
  return PLB_OK;
}

void plb_terms_dispose(plb_terms *terms) {
  free(terms->term);
  *terms = (plb_terms){0};
}

const char *plb_distance_kind_name(plb_distance_kind kind) {
  static const char *const name[PLB_D_KINDS] = {"lasting", "raw", "shape", "cycle", "noise", "reading",
                                                "gain", "offset", "marks", "level", "slope", "frequency"};
  return kind < PLB_D_KINDS ? name[kind] : "";
}
