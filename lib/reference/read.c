#include "reference/block_node.h"
#include "reference/document.h"
#include "reference/limits.h"
#include "reference/model.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct reader {
  plb_reference *r;
  size_t values; /* curve values so far */
  plb_error *err;
} reader;

static plb_status fail_memory(reader *rd) {
  return plb_fail(rd->err, PLB_ENOMEM, "memory is short; close other programs");
}

static plb_status fail_at(reader *rd, const plb_node *node, const char *text) {
  return plb_fail_line(rd->err, PLB_EDATA, node->line, 0, "<%s>: %s", node->rule->name, text);
}

static void *new_list(const plb_node *parent, const char *name, size_t size, size_t *count_out) {
  *count_out = plb_node_count(parent, name);
  return plb_calloc(*count_out ? *count_out : 1, size);
}

static int find_role(const plb_reference *r, const char *role) {
  for (size_t i = 0; i < r->channels; i++)
    if (strcmp(r->channel[i].role, role) == 0)
      return (int)i;
  return -1;
}

/* An attribute that names a channel: known, or absent. */
static plb_status check_role(reader *rd, const plb_node *node, const char *attribute) {
  const char *role = plb_node_value(node, attribute);
  if (!role || find_role(rd->r, role) >= 0)
    return PLB_OK;
  return plb_fail_line(rd->err, PLB_EDATA, node->line, 0, "<%s>: \"%s\" is none of the channels; correct it",
                       node->rule->name, role);
}

/* ---- provenance, subject, conditions, connection, channels ---- */

static plb_status read_root(reader *rd, const plb_node *root) {
  plb_reference *r = rd->r;
  plb_node_copy(root, "id", r->id, sizeof r->id);
  plb_node_copy(root, "type", r->type, sizeof r->type);
  plb_node_copy(root, "name", r->name, sizeof r->name);
  const size_t n = strlen(r->type);
  if (strncmp(r->name, r->type, n) != 0 || r->name[n] != '/')
    return fail_at(rd, root, "the name must begin with the type and a slash; correct it");
  r->version = (unsigned)plb_node_integer(root, "version", 0);
  const char *date = plb_node_value(root, "date");
  r->date = date ? plb_strdup(date) : NULL;
  if ((date && !r->date) || !plb_node_string(root, "title", &r->title) || !plb_node_string(root, "why", &r->why) ||
      !plb_node_string(root, "predecessor", &r->predecessor))
    return fail_memory(rd);
  return PLB_OK;
}

static plb_status read_provenance(reader *rd, const plb_node *root) {
  const plb_node *node = plb_node_child(root, "provenance"), *subject = plb_node_child(root, "subject");
  plb_reference *r = rd->r;
  r->provenance = (plb_provenance)plb_node_word(node, "kind");
  if (!plb_node_string(node, "method", &r->method) || !plb_node_string(node, "sources", &r->sources))
    return fail_memory(rd);
  if (!subject)
    return PLB_OK;
  r->cylinders = (int)plb_node_integer(subject, "cylinders", 0);
  const double supply = plb_node_number(subject, "supply-nominal-v");
  r->supply_nominal_v = isnan(supply) ? 0.0 : supply;
  return plb_node_string(subject, "system", &r->system) ? PLB_OK : fail_memory(rd);
}

static plb_status read_conditions(reader *rd, const plb_node *root) {
  plb_reference *r = rd->r;
  const plb_node *list = plb_node_child(root, "conditions");
  if (!list)
    return PLB_OK;
  size_t n = 0;
  for (const plb_node *c = list->child; c; c = c->next)
    n++;
  r->condition = plb_calloc(n, sizeof *r->condition);
  if (!r->condition)
    return fail_memory(rd);
  for (const plb_node *c = list->child; c; c = c->next) {
    plb_condition *out = &r->condition[r->conditions++];
    plb_node_copy(c, "name", out->name, sizeof out->name);
    out->stated = plb_node_flag(c, "stated");
    out->low = out->high = NAN;
    if (plb_node_is(c, "word")) {
      plb_node_copy(c, "value", out->word, sizeof out->word);
      continue;
    }
    plb_node_copy(c, "unit", out->unit, sizeof out->unit);
    out->low = plb_node_number(c, "low");
    out->high = plb_node_number(c, "high");
    if (out->low > out->high)
      return fail_at(rd, c, "low is above high; correct it");
  }
  return PLB_OK;
}

static plb_status read_connection(reader *rd, const plb_node *root) {
  plb_reference *r = rd->r;
  const plb_node *node = plb_node_child(root, "connection");
  r->connection.connected = plb_node_flag(node, "connected");
  const double rate = plb_node_number(node, "rate-needed-hz");
  r->connection.rate_needed_hz = isnan(rate) ? 0.0 : rate;
  if (!plb_node_string(node, "test-point", &r->connection.test_point) ||
      !plb_node_string(node, "place", &r->connection.place) ||
      !plb_node_string(node, "ground", &r->connection.ground) ||
      !plb_node_string(node, "never", &r->connection.never) || !plb_node_string(node, "probe", &r->connection.probe) ||
      !plb_node_string(node, "range", &r->connection.range) ||
      !plb_node_string(node, "coupling", &r->connection.coupling) ||
      !plb_node_string(node, "trigger", &r->connection.trigger))
    return fail_memory(rd);
  size_t n;
  r->connection.caution = new_list(node, "caution", sizeof *r->connection.caution, &n);
  if (!r->connection.caution)
    return fail_memory(rd);
  for (const plb_node *c = plb_node_child(node, "caution"); c; c = plb_node_from(c->next, "caution")) {
    char *text = plb_strdup(c->text);
    if (!text)
      return fail_memory(rd);
    r->connection.caution[r->connection.cautions++] = text;
  }
  return PLB_OK;
}

/* The rule of this name; the grammar has seen that it is one. */
static plb_rule rule_of(const char *name) {
  int rule = PLB_RULE_ABSOLUTE;
  while (rule < PLB_RULE_PEGGED && strcmp(plb_rule_name((plb_rule)rule), name) != 0)
    rule++;
  return (plb_rule)rule;
}

static plb_status read_speeds(reader *rd, const plb_node *node, plb_reference_channel *out) {
  size_t n;
  out->speed = new_list(node, "speed", sizeof *out->speed, &n);
  if (!out->speed)
    return fail_memory(rd);
  for (const plb_node *c = node->child; c; c = c->next) {
    out->speed[out->speeds] = (plb_speed_point){plb_node_number(c, "rate-hz"), plb_node_number(c, "gain")};
    if (out->speeds > 0 && !(out->speed[out->speeds].rate_hz > out->speed[out->speeds - 1].rate_hz))
      return fail_at(rd, c, "the speeds must rise; correct them");
    out->speeds++;
  }
  return PLB_OK;
}

static plb_status read_channels(reader *rd, const plb_node *root) {
  plb_reference *r = rd->r;
  const plb_node *list = plb_node_child(root, "channels");
  size_t n;
  r->channel = new_list(list, "channel", sizeof *r->channel, &n);
  if (!r->channel)
    return fail_memory(rd);
  for (const plb_node *c = list->child; c; c = c->next) {
    plb_reference_channel *out = &r->channel[r->channels];
    if (find_role(r, plb_node_value(c, "role")) >= 0)
      return fail_at(rd, c, "the role stands twice; correct it");
    r->channels++;
    plb_node_copy(c, "role", out->role, sizeof out->role);
    plb_node_copy(c, "unit", out->unit, sizeof out->unit);
    out->amplitude = rule_of(plb_node_value(c, "amplitude"));
    out->offset = rule_of(plb_node_value(c, "offset"));
    plb_node_copy(c, "pegged", out->pegged, sizeof out->pegged);
    out->peak_to_peak = plb_node_number(c, "peak-to-peak");
    out->noise = plb_node_number(c, "noise");
    out->sample_noise = fmax(0.0, plb_node_number(c, "sample-noise")); /* NaN gives 0 */
    out->step = plb_node_number(c, "step");
    out->range_low = plb_node_number(c, "range-low");
    out->range_high = plb_node_number(c, "range-high");
    out->column = (int)plb_node_integer(c, "column", 0);
    plb_node_copy(c, "header", out->header, sizeof out->header);
    if (out->range_low > out->range_high)
      return fail_at(rd, c, "range-low is above range-high; correct it");
    const plb_status status = read_speeds(rd, c, out);
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}

/* ---- curves ---- */

/* `count` curves of the grid's length, within the budget. */
static float *new_curves(reader *rd, const plb_node *node, size_t count) {
  const size_t values = count * rd->r->choice.grid; /* at most 64 * 2048 */
  if (values > PLB_CURVE_VALUES_MOST - rd->values) {
    fail_at(rd, node, "more curves than any reference needs; get a proper copy");
    return NULL;
  }
  rd->values += values;
  float *curves = plb_calloc(values, sizeof *curves);
  if (!curves)
    fail_memory(rd);
  return curves;
}

static plb_status read_curve(reader *rd, const plb_node *node, float *out) {
  return plb_curve_read(node, out, rd->r->choice.grid, rd->err);
}

static plb_status read_one_curve(reader *rd, const plb_node *parent, const char *name, float **out) {
  const plb_node *node = plb_node_child(parent, name);
  if (!node)
    return PLB_OK;
  *out = new_curves(rd, node, 1);
  return *out ? read_curve(rd, node, *out) : rd->err->status;
}

/* The channels' elements stand in the channels' order, one for each. */
static plb_status check_order(reader *rd, const plb_node *node, size_t index, size_t count) {
  if (count != rd->r->channels)
    return fail_at(rd, node, "there must be one for each channel; get an undamaged copy");
  if (strcmp(plb_node_value(node, "channel"), rd->r->channel[index].role) != 0)
    return fail_at(rd, node, "the channels do not stand in their order; correct it");
  return PLB_OK;
}

/* ---- cycle ---- */

static int direction_of(const plb_node *node, const char *attribute) {
  const int word = plb_node_word(node, attribute);
  return word < 0 ? 0 : word == 0 ? 1 : -1;
}

static plb_status read_spec(reader *rd, const plb_node *node, plb_cycle_spec *out) {
  plb_cycle_kind kind = PLB_CYCLE_WHEEL;
  while (kind < PLB_CYCLE_STEADY && !plb_node_is(node, plb_cycle_kind_name(kind)))
    kind = (plb_cycle_kind)((int)kind + 1);
  out->kind = kind;
  out->level.value = NAN;
  plb_node_copy(node, "channel", out->channel, sizeof out->channel);
  plb_status status = check_role(rd, node, "channel");
  switch (kind) {
  case PLB_CYCLE_WHEEL:
    out->teeth = (int)plb_node_integer(node, "teeth", 0);
    out->missing = (int)plb_node_integer(node, "missing", 0);
    out->revs = (int)plb_node_integer(node, "revs", 1);
    if (out->missing >= out->teeth)
      status = fail_at(rd, node, "more teeth are missing than there are; correct it");
    break;
  case PLB_CYCLE_EDGE:
    out->level.value = plb_node_number(node, "level");
    out->level.of = (plb_level_of)plb_node_word(node, "level-of");
    plb_node_copy(node, "level-unit", out->level.unit, sizeof out->level.unit);
    out->slope = direction_of(node, "slope");
    break;
  case PLB_CYCLE_REPEAT: {
    const double period = plb_node_number(node, "period-s");
    out->period_s = isnan(period) ? 0.0 : period;
    break;
  }
  case PLB_CYCLE_AGAINST:
    plb_node_copy(node, "along", out->against, sizeof out->against);
    if (status == PLB_OK)
      status = check_role(rd, node, "along");
    break;
  case PLB_CYCLE_ONCE:
  case PLB_CYCLE_STEADY:
    break;
  }
  return status;
}

static plb_status read_landmarks(reader *rd, const plb_node *node) {
  plb_cycle_choice *out = &rd->r->choice;
  size_t n;
  out->landmark = new_list(node, "landmark", sizeof *out->landmark, &n);
  if (!out->landmark)
    return fail_memory(rd);
  for (const plb_node *c = plb_node_child(node, "landmark"); c; c = plb_node_from(c->next, "landmark")) {
    plb_landmark *mark = &out->landmark[out->landmarks++];
    plb_node_copy(c, "name", mark->name, sizeof mark->name);
    mark->phase = plb_node_number(c, "phase");
    mark->direction = direction_of(c, "direction");
    mark->level = plb_node_number(c, "level");
    if (!(mark->phase >= 0.0 && mark->phase <= 1.0))
      return fail_at(rd, c, "the phase is not between 0 and 1; correct it");
  }
  return PLB_OK;
}

static plb_status read_spans(reader *rd, const plb_node *node) {
  plb_cycle_choice *out = &rd->r->choice;
  size_t n;
  out->span = new_list(node, "span", sizeof *out->span, &n);
  if (!out->span)
    return fail_memory(rd);
  for (const plb_node *c = plb_node_child(node, "span"); c; c = plb_node_from(c->next, "span")) {
    plb_span *span = &out->span[out->spans++];
    plb_node_copy(c, "name", span->name, sizeof span->name);
    span->from = (size_t)plb_node_integer(c, "from", 0);
    span->to = (size_t)plb_node_integer(c, "to", 0);
    span->absolute = plb_node_word(c, "layout") == 1;
    span->duration_s = plb_node_number(c, "duration-s");
    if (span->from >= span->to || span->to > out->landmarks)
      return fail_at(rd, c, "it must lead from one landmark to a later one, or to the end; correct it");
  }
  return PLB_OK;
}

static plb_status read_cycle(reader *rd, const plb_node *root) {
  const plb_node *node = plb_node_child(root, "cycle");
  plb_cycle_choice *out = &rd->r->choice;
  plb_status status = check_role(rd, node, "channel");
  if (status != PLB_OK)
    return status;
  out->channel = (size_t)find_role(rd->r, plb_node_value(node, "channel"));
  out->grid = (size_t)plb_node_integer(node, "grid", 0);
  out->edge = direction_of(node, "edge");
  out->level_low = plb_node_number(node, "level-low");
  out->level_high = plb_node_number(node, "level-high");
  out->rate_low_hz = plb_node_number(node, "rate-low-hz");
  out->rate_high_hz = plb_node_number(node, "rate-high-hz");
  out->seam = plb_node_number(node, "seam");
  out->shortest_pulse_s = fmax(0.0, plb_node_number(node, "shortest-pulse-s")); /* 0 where there is none: fmax passes NaN over */
  out->longest_ratio = fmax(0.0, plb_node_number(node, "longest-ratio"));
  out->correlation_low = plb_node_number(node, "correlation-low");
  if (out->level_low > out->level_high || out->rate_low_hz > out->rate_high_hz)
    return fail_at(rd, node, "a low end is above its high end; correct it");
  const char *stroke = plb_node_value(node, "stroke-channel");
  status = check_role(rd, node, "stroke-channel");
  out->stroke_channel = stroke ? find_role(rd->r, stroke) : -1;
  if (status == PLB_OK)
    status = read_spec(rd, node->child, &out->spec);
  if (status == PLB_OK)
    status = read_one_curve(rd, node, "template", &out->template_);
  if (status == PLB_OK)
    status = read_one_curve(rd, node, "stroke", &out->stroke);
  if (status == PLB_OK && stroke && !out->stroke)
    status = fail_at(rd, node, "a stroke channel without its <stroke> curve; get an undamaged copy");
  if (status == PLB_OK)
    status = read_landmarks(rd, node);
  return status == PLB_OK ? read_spans(rd, node) : status;
}

/* An amplitude pegged at a landmark: there must be one of that name. */
static plb_status check_pegged(reader *rd, const plb_node *root) {
  const plb_reference *r = rd->r;
  for (const plb_node *c = plb_node_child(root, "channels")->child; c; c = c->next) {
    const char *pegged = plb_node_value(c, "pegged");
    bool found = !pegged;
    for (size_t i = 0; i < r->choice.landmarks && !found; i++)
      found = strcmp(r->choice.landmark[i].name, pegged) == 0;
    if (!found)
      return fail_at(rd, c, "it is pegged at a landmark that does not exist; correct it");
  }
  return PLB_OK;
}

/* ---- corridor, bands, readings ---- */

static plb_status check_corridor(reader *rd, const plb_node *node, size_t channel) {
  const size_t grid = rd->r->choice.grid;
  const plb_corridor *c = &rd->r->corridor;
  for (size_t i = channel * grid; i < (channel + 1) * grid; i++)
    if (!(c->lower[i] <= c->centre[i] && c->centre[i] <= c->upper[i]))
      return plb_fail_line(rd->err, PLB_EDATA, node->line, 0,
                           "<good-range>: lower, centre and upper are out of order at point %zu; get an undamaged copy",
                           i - channel * grid);
  return PLB_OK;
}

static plb_status read_good_range(reader *rd, const plb_node *node, size_t channel) {
  plb_corridor *c = &rd->r->corridor;
  const size_t at = channel * rd->r->choice.grid;
  plb_status status = read_curve(rd, plb_node_child(node, "centre"), c->centre + at);
  if (status == PLB_OK)
    status = read_curve(rd, plb_node_child(node, "lower"), c->lower + at);
  if (status == PLB_OK)
    status = read_curve(rd, plb_node_child(node, "upper"), c->upper + at);
  return status == PLB_OK ? check_corridor(rd, node, channel) : status;
}

static plb_status read_corridor(reader *rd, const plb_node *root) {
  const plb_node *node = plb_node_child(root, "corridor");
  plb_corridor *c = &rd->r->corridor;
  if (!node)
    return PLB_OK;
  const size_t channels = rd->r->channels, count = plb_node_count(node, "good-range");
  c->centre = new_curves(rd, node, channels);
  c->lower = c->centre ? new_curves(rd, node, channels) : NULL;
  c->upper = c->lower ? new_curves(rd, node, channels) : NULL;
  if (!c->upper)
    return rd->err->status;
  size_t i = 0;
  for (const plb_node *g = plb_node_child(node, "good-range"); g; g = plb_node_from(g->next, "good-range"), i++) {
    plb_status status = check_order(rd, g, i, count);
    if (status == PLB_OK)
      status = read_good_range(rd, g, i);
    if (status != PLB_OK)
      return status;
  }
  return read_one_curve(rd, node, "jitter", &c->jitter);
}

static plb_status read_pointers(reader *rd, const plb_node *node, plb_band *out) {
  size_t n;
  out->pointer = new_list(node, "pointer", sizeof *out->pointer, &n);
  if (!out->pointer)
    return fail_memory(rd);
  for (const plb_node *c = plb_node_child(node, "pointer"); c; c = plb_node_from(c->next, "pointer")) {
    plb_pointer *pointer = &out->pointer[out->pointers++];
    plb_node_copy(c, "direction", pointer->direction, sizeof pointer->direction);
    pointer->text = plb_strdup(c->text);
    if (!pointer->text)
      return fail_memory(rd);
  }
  return PLB_OK;
}

static plb_status read_band(reader *rd, const plb_node *node, plb_band *out) {
  plb_node_copy(node, "name", out->name, sizeof out->name);
  plb_node_copy(node, "channel", out->channel, sizeof out->channel);
  out->domain = (plb_band_domain)plb_node_word(node, "domain");
  out->from = plb_node_number(node, "from");
  out->to = plb_node_number(node, "to");
  out->tolerance = plb_node_number(node, "tolerance");
  out->residual = plb_node_word(node, "of") == 1;
  out->level = plb_node_number(node, "level");
  out->spread = plb_node_number(node, "spread");
  if (out->domain == PLB_BAND_FREQUENCY && plb_node_word(node, "unit") == 1)
    out->domain = PLB_BAND_ORDER;
  if (out->domain == PLB_BAND_CYCLE && (plb_node_value(node, "unit") || plb_node_value(node, "of")))
    return fail_at(rd, node, "a section of the cycle has no unit and no level; correct its domain");
  if (!(out->from >= 0.0 && out->from < out->to))
    return fail_at(rd, node, "from must be 0 or more and below to; correct it");
  if (out->domain == PLB_BAND_CYCLE && out->to > 1.0)
    return fail_at(rd, node, "a section of the cycle ends at 1 at the latest; correct it");
  if (!(out->tolerance > 0.0))
    return fail_at(rd, node, "the tolerance must be above 0; correct it");
  plb_status status = check_role(rd, node, "channel");
  if (status == PLB_OK && !plb_node_string(node, "good", &out->good))
    status = fail_memory(rd);
  return status == PLB_OK ? read_pointers(rd, node, out) : status;
}

static plb_status read_bands(reader *rd, const plb_node *root) {
  const plb_node *list = plb_node_child(root, "bands");
  plb_reference *r = rd->r;
  size_t n;
  if (!list)
    return PLB_OK;
  r->band = new_list(list, "band", sizeof *r->band, &n);
  if (!r->band)
    return fail_memory(rd);
  for (const plb_node *c = list->child; c; c = c->next) {
    const plb_status status = read_band(rd, c, &r->band[r->bands++]);
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}

/* What a limit of a standard is taken from. */
static plb_status read_limit_source(reader *rd, const plb_node *node, plb_reading_limit *out) {
  const int combine = plb_node_word(node, "combine"), statistic = plb_node_word(node, "statistic");
  const double uncertainty = plb_node_number(node, "uncertainty");
  plb_node_copy(node, "against", out->against, sizeof out->against);
  out->combine = combine < 0 ? PLB_COMBINE_NONE : (plb_combine)(combine + 1);
  out->of_supply = plb_node_value(node, "share-of") != NULL;
  out->statistic = statistic < 0 ? PLB_LIMIT_VALUE : (plb_limit_statistic)statistic;
  out->uncertainty = isnan(uncertainty) ? 0.0 : uncertainty;
  if (out->uncertainty < 0.0)
    return fail_at(rd, node, "the uncertainty is below 0; correct it");
  if ((out->against[0] != '\0') != (out->combine != PLB_COMBINE_NONE))
    return fail_at(rd, node, "against and combine go together; give both or neither");
  return check_role(rd, node, "against");
}

static plb_status read_readings(reader *rd, const plb_node *root) {
  const plb_node *list = plb_node_child(root, "readings");
  plb_reference *r = rd->r;
  size_t n;
  if (!list)
    return PLB_OK;
  r->reading = new_list(list, "limit", sizeof *r->reading, &n);
  if (!r->reading)
    return fail_memory(rd);
  for (const plb_node *c = list->child; c; c = c->next) {
    plb_reading_limit *out = &r->reading[r->readings++];
    plb_node_copy(c, "name", out->name, sizeof out->name);
    plb_node_copy(c, "channel", out->channel, sizeof out->channel);
    plb_node_copy(c, "unit", out->unit, sizeof out->unit);
    out->low = plb_node_number(c, "low");
    out->high = plb_node_number(c, "high");
    plb_status status = check_role(rd, c, "channel");
    if (status == PLB_OK)
      status = read_limit_source(rd, c, out);
    if (status != PLB_OK)
      return status;
    if (out->low > out->high)
      return fail_at(rd, c, "low is above high; correct it");
    if (!plb_node_string(c, "source", &out->source))
      return fail_memory(rd);
  }
  return PLB_OK;
}

/* ---- exemplars, calibration ---- */

/* As many numbers as `n`, NaN for `none`; NULL when the element is absent. */
static plb_status read_numbers(reader *rd, const plb_node *parent, const char *name, size_t n, double **out) {
  static const char blanks[] = " \n\t\r";
  const plb_node *node = plb_node_child(parent, name);
  if (!node)
    return PLB_OK;
  *out = plb_calloc(n, sizeof **out);
  if (!*out)
    return fail_memory(rd);
  size_t i = 0;
  for (const char *text = node->text + strspn(node->text, blanks); *text; i++) {
    const size_t size = strcspn(text, blanks);
    double value = NAN;
    if (size != 4 || memcmp(text, "none", 4) != 0)
      (void)!plb_text_number(text, size, &value); /* it is one: the grammar has seen it */
    if (i < n)
      (*out)[i] = value;
    text += size;
    text += strspn(text, blanks);
  }
  if (i != n)
    return plb_fail_line(rd->err, PLB_EDATA, node->line, 0,
                         "<%s> holds %zu numbers where %zu belong; get an undamaged copy", name, i, n);
  return PLB_OK;
}

static plb_status read_profiles(reader *rd, const plb_node *node, plb_exemplar *out) {
  const size_t count = plb_node_count(node, "profile"), grid = rd->r->choice.grid;
  if (count == 0)
    return PLB_OK;
  out->median = new_curves(rd, node, rd->r->channels);
  out->spread = out->median ? new_curves(rd, node, rd->r->channels) : NULL;
  if (!out->spread)
    return rd->err->status;
  size_t i = 0;
  for (const plb_node *p = node->child; p && plb_node_is(p, "profile"); p = p->next, i++) {
    plb_status status = check_order(rd, p, i, count);
    if (status == PLB_OK)
      status = read_curve(rd, plb_node_child(p, "median"), out->median + i * grid);
    if (status == PLB_OK)
      status = read_curve(rd, plb_node_child(p, "spread"), out->spread + i * grid);
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}

static plb_status read_exemplar(reader *rd, const plb_node *node, plb_exemplar *out) {
  plb_node_copy(node, "name", out->name, sizeof out->name);
  plb_node_copy(node, "group", out->group, sizeof out->group);
  plb_node_copy(node, "sha256", out->sha256, sizeof out->sha256);
  out->held_out = plb_node_number(node, "held-out");
  out->rate_hz = plb_node_number(node, "rate-hz");
  out->cycles = (unsigned)plb_node_integer(node, "cycles", 0);
  out->unmapped = (unsigned)plb_node_integer(node, "unmapped", 0);
  out->damaged = (unsigned)plb_node_integer(node, "damaged", 0);
  const double supply_v = plb_node_number(node, "supply-v"), load = plb_node_number(node, "load");
  out->supply_v = isnan(supply_v) ? 0.0 : supply_v;
  out->load = isnan(load) ? 0.0 : load;
  plb_status status = read_profiles(rd, node, out);
  if (status == PLB_OK)
    status = read_numbers(rd, node, "values", rd->r->readings, &out->reading);
  if (status == PLB_OK)
    status = read_numbers(rd, node, "band-scores", rd->r->bands, &out->band_score);
  if (status == PLB_OK)
    status = read_numbers(rd, node, "levels", plb_reference_levels(rd->r), &out->level);
  return status;
}

static plb_status read_exemplars(reader *rd, const plb_node *root) {
  const plb_node *list = plb_node_child(root, "exemplars"), *provenance = plb_node_child(root, "provenance");
  plb_reference *r = rd->r;
  if (list) {
    size_t n;
    r->exemplar = new_list(list, "exemplar", sizeof *r->exemplar, &n);
    if (!r->exemplar)
      return fail_memory(rd);
    for (const plb_node *c = list->child; c; c = c->next) {
      const plb_status status = read_exemplar(rd, c, &r->exemplar[r->exemplars++]);
      if (status != PLB_OK)
        return status;
    }
  }
  if ((size_t)plb_node_integer(provenance, "exemplars", 0) != r->exemplars ||
      (size_t)plb_node_integer(provenance, "groups", 0) != plb_reference_groups(r))
    return fail_at(rd, provenance, "the numbers of exemplars and groups are not those below; correct them");
  return PLB_OK;
}

static plb_status read_scales(reader *rd, const plb_node *node) {
  plb_calibration *out = &rd->r->calibration;
  size_t n;
  out->scale = new_list(node, "scale", sizeof *out->scale, &n);
  if (!out->scale)
    return fail_memory(rd);
  for (const plb_node *c = node->child; c; c = c->next) {
    plb_scale *scale = &out->scale[out->scales++];
    plb_node_copy(c, "kind", scale->kind, sizeof scale->kind);
    plb_node_copy(c, "channel", scale->channel, sizeof scale->channel);
    plb_node_copy(c, "name", scale->name, sizeof scale->name);
    scale->value = plb_node_number(c, "value");
    const plb_status status = check_role(rd, c, "channel");
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}

static plb_status check_odd(reader *rd, const plb_node *node) {
  const plb_reference *r = rd->r;
  bool found = r->calibration.odd[0] == '\0';
  for (size_t i = 0; i < r->exemplars && !found; i++)
    found = strcmp(r->exemplar[i].name, r->calibration.odd) == 0;
  return found ? PLB_OK : fail_at(rd, node, "the odd exemplar is none of those above; correct it");
}

static plb_status read_calibration(reader *rd, const plb_node *root) {
  const plb_node *node = plb_node_child(root, "calibration");
  plb_calibration *out = &rd->r->calibration;
  out->guard = out->guard_robust = out->odd_ratio = NAN;
  if (rd->r->provenance == PLB_STANDARD)
    return node ? fail_at(rd, node, "a reference set by a standard has none; remove it") : PLB_OK;
  if (!node)
    return fail_at(rd, root, "a measured or modelled reference needs a <calibration>; learn it again");
  if (rd->r->exemplars == 0)
    return fail_at(rd, root, "a measured or modelled reference needs its <exemplars>; learn it again");
  out->alpha = plb_node_number(node, "alpha");
  out->promise = plb_node_number(node, "promise");
  out->promise_upper90 = plb_node_number(node, "promise-upper90");
  out->independent = (unsigned)plb_node_integer(node, "independent", 0);
  out->groups_stated = plb_node_flag(node, "groups-stated");
  out->one_group = plb_node_flag(node, "one-group");
  out->limit = plb_node_number(node, "limit");
  out->guard = plb_node_number(node, "guard");
  out->guard_robust = plb_node_number(node, "guard-robust");
  plb_node_copy(node, "odd", out->odd, sizeof out->odd);
  out->odd_ratio = plb_node_number(node, "odd-ratio");
  const plb_status status = check_odd(rd, node);
  return status == PLB_OK ? read_scales(rd, node) : status;
}

/* ---- the whole ---- */

static plb_status read_all(reader *rd, const plb_node *root) {
  static plb_status (*const parts[])(reader *, const plb_node *) = {
      read_root,    read_provenance, read_conditions, read_connection, read_channels,  read_cycle,
      check_pegged, read_corridor,   read_bands,      read_readings,   read_exemplars, read_calibration};
  plb_status status = PLB_OK;
  for (size_t i = 0; i < sizeof parts / sizeof parts[0] && status == PLB_OK; i++)
    status = parts[i](rd, root);
  return status;
}

plb_status plb_reference_read_memory(plb_reference **out, const void *data, size_t size, const char *name,
                                     plb_error *err) {
  plb_error local = PLB_ERROR_INIT;
  plb_document *document = NULL;
  reader rd = {.r = NULL, .values = 0, .err = err ? err : &local};
  *out = NULL;
  plb_status status = plb_document_parse(&document, &plb_rule_reference, data, size, name, rd.err);
  if (status != PLB_OK)
    return status;
  rd.r = plb_reference_new();
  status = rd.r ? read_all(&rd, plb_document_root(document)) : fail_memory(&rd);
  if (status == PLB_OK) {
    plb_sha256(data, size, rd.r->sha256);
    *out = rd.r;
    rd.r = NULL;
  } else {
    plb_fail_path(rd.err, status, name);
  }
  plb_reference_free(rd.r);
  plb_document_free(document);
  return status;
}

plb_status plb_reference_read(plb_reference **out, const char *path, plb_error *err) {
  char *data = NULL;
  size_t size = 0;
  *out = NULL;
  plb_status status = plb_file_read(path, PLB_DOCUMENT_MOST, &data, &size, err);
  if (status == PLB_OK)
    status = plb_reference_read_memory(out, data, size, path, err);
  free(data);
  return status;
}
