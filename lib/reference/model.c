#include "reference/model.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

plb_reference *plb_reference_new(void) {
  plb_reference *reference = plb_calloc(1, sizeof *reference);
  if (!reference)
    return NULL;
  reference->connection.connected = true;
  reference->choice.stroke_channel = -1;
  reference->calibration.odd_ratio = NAN;
  return reference;
}

static void dispose_conditions(plb_reference *r) {
  free(r->condition);
  free(r->connection.test_point);
  free(r->connection.place);
  free(r->connection.ground);
  free(r->connection.never);
  free(r->connection.probe);
  free(r->connection.range);
  free(r->connection.coupling);
  free(r->connection.trigger);
  for (size_t i = 0; i < r->connection.cautions; i++)
    free(r->connection.caution[i]);
  free(r->connection.caution);
}

static void dispose_corridor(plb_corridor *corridor) {
  free(corridor->centre);
  free(corridor->lower);
  free(corridor->upper);
  free(corridor->jitter);
}

static void dispose_bands(plb_reference *r) {
  for (size_t i = 0; i < r->bands; i++) {
    free(r->band[i].good);
    for (size_t k = 0; k < r->band[i].pointers; k++)
      free(r->band[i].pointer[k].text);
    free(r->band[i].pointer);
  }
  free(r->band);
}

static void dispose_exemplars(plb_reference *r) {
  for (size_t i = 0; i < r->exemplars; i++) {
    free(r->exemplar[i].median);
    free(r->exemplar[i].spread);
    free(r->exemplar[i].reading);
    free(r->exemplar[i].band_score);
    free(r->exemplar[i].level);
  }
  free(r->exemplar);
}

void plb_reference_free(plb_reference *r) {
  if (!r)
    return;
  free(r->title);
  free(r->why);
  free(r->date);
  free(r->predecessor);
  free(r->method);
  free(r->sources);
  free(r->system);
  dispose_conditions(r);
  for (size_t i = 0; i < r->channels; i++)
    free(r->channel[i].speed);
  free(r->channel);
  plb_cycle_choice_dispose(&r->choice);
  dispose_corridor(&r->corridor);
  dispose_bands(r);
  for (size_t i = 0; i < r->readings; i++)
    free(r->reading[i].source);
  free(r->reading);
  dispose_exemplars(r);
  free(r->calibration.scale);
  free(r);
}

const char *plb_reference_id(const plb_reference *r) { return r ? r->id : ""; }

const char *plb_reference_type(const plb_reference *r) { return r ? r->type : ""; }

const char *plb_reference_name(const plb_reference *r) { return r ? r->name : ""; }

unsigned plb_reference_version(const plb_reference *r) { return r ? r->version : 0; }

const char *plb_reference_title(const plb_reference *r) { return r && r->title ? r->title : ""; }

const char *plb_reference_sha256(const plb_reference *r) { return r ? r->sha256 : ""; }

plb_provenance plb_reference_provenance(const plb_reference *r) { return r ? r->provenance : PLB_MEASURED; }

const char *plb_provenance_name(plb_provenance provenance) {
  switch (provenance) {
  case PLB_MEASURED:
    return "measured";
  case PLB_MODELLED:
    return "modelled";
  case PLB_STANDARD:
    return "standard";
  }
  return "unknown";
}

size_t plb_reference_exemplars(const plb_reference *r) { return r ? r->exemplars : 0; }

size_t plb_reference_channels(const plb_reference *r) { return r ? r->channels : 0; }

const char *plb_reference_role(const plb_reference *r, size_t channel) {
  return r && channel < r->channels ? r->channel[channel].role : "";
}

const char *plb_reference_exemplar_name(const plb_reference *reference, size_t exemplar) {
  return reference != NULL && exemplar < reference->exemplars ? reference->exemplar[exemplar].name : "";
}

const char *plb_reference_exemplar_sha256(const plb_reference *reference, size_t exemplar) {
  return reference != NULL && exemplar < reference->exemplars ? reference->exemplar[exemplar].sha256 : "";
}

const char *plb_reference_unit(const plb_reference *r, size_t channel) {
  return r && channel < r->channels ? r->channel[channel].unit : "";
}

size_t plb_reference_groups(const plb_reference *r) {
  size_t groups = 0;
  for (size_t i = 0; i < r->exemplars; i++) {
    bool seen = r->exemplar[i].group[0] == '\0';
    for (size_t k = 0; k < i && !seen; k++)
      seen = strcmp(r->exemplar[i].group, r->exemplar[k].group) == 0;
    groups += !seen;
  }
  return groups;
}

const char *plb_rule_name(plb_rule rule) {
  static const char *const names[] = {
      "absolute", "supply-proportional", "speed-curve", "load-proportional", "free", "fixed", "pegged"};
  return (size_t)rule < sizeof names / sizeof names[0] ? names[rule] : "unknown";
}

const char *plb_band_domain_name(plb_band_domain domain) {
  static const char *const names[] = {"cycle", "frequency", "order"};
  return (size_t)domain < sizeof names / sizeof names[0] ? names[domain] : "unknown";
}

const char *plb_combine_name(plb_combine combine) {
  static const char *const names[] = {"", "difference", "sum"};
  return (size_t)combine < sizeof names / sizeof names[0] ? names[combine] : "unknown";
}

const char *plb_limit_statistic_name(plb_limit_statistic statistic) {
  static const char *const names[] = {"value", "lowest", "highest", "each"};
  return (size_t)statistic < sizeof names / sizeof names[0] ? names[statistic] : "unknown";
}

size_t plb_reference_levels(const plb_reference *r) {
  size_t levels = 0;
  for (size_t i = 0; i < r->bands; i++)
    if (r->band[i].domain != PLB_BAND_CYCLE)
      levels += r->band[i].channel[0] ? 1 : r->channels;
  return levels;
}

static double power_of_ten(int exponent) {
  double power = 1.0;
  while (exponent-- > 0)
    power *= 10.0; /* exact up to 10^22 */
  return power;
}

void plb_round_decimals(float *x, size_t n, int decimals) {
  const double power = power_of_ten(decimals);
  for (size_t i = 0; i < n; i++)
    x[i] = (float)(round((double)x[i] * power) / power + 0.0); /* + 0: no minus nought */
}

int plb_decimals_for(double peak_to_peak) {
  enum { MOST = 9, PARTS = 20000 };
  int decimals = 0;
  /* Rounding is off by half a step at most, so half a step may be one part of the swing. */
  for (double step = 0.5; decimals < MOST && !(step * PARTS <= peak_to_peak); step /= 10.0)
    decimals++;
  return decimals;
}
