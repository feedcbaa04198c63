#include "reference/block_node.h"
#include "reference/identity.h"
#include "reference/limits.h"
#include "reference/model.h"
#include "reference/schema.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct writer {
  plb_xml xml;
  plb_packer *packer;
  const plb_reference *r;
  plb_error *err;
} writer;

/* ---- provenance, subject, conditions, connection ---- */

static void put_provenance(writer *w) {
  plb_xml *x = &w->xml;
  plb_xml_open(x, "provenance");
  plb_xml_attribute(x, "kind", plb_provenance_name(w->r->provenance));
  plb_xml_integer(x, "exemplars", (int64_t)w->r->exemplars);
  plb_xml_integer(x, "groups", (int64_t)plb_reference_groups(w->r));
  plb_xml_text(x, "method", w->r->method);
  plb_xml_text(x, "sources", w->r->sources);
  plb_xml_close(x, "provenance");
}

static void put_positive(plb_xml *x, const char *name, double value) {
  plb_xml_number(x, name, value > 0 ? value : (double)NAN);
}

static void put_subject(writer *w) {
  plb_xml *x = &w->xml;
  const plb_reference *r = w->r;
  if (r->cylinders <= 0 && !(r->supply_nominal_v > 0) && !(r->system && r->system[0]))
    return;
  plb_xml_open(x, "subject");
  if (r->cylinders > 0)
    plb_xml_integer(x, "cylinders", r->cylinders);
  put_positive(x, "supply-nominal-v", r->supply_nominal_v);
  plb_xml_text(x, "system", r->system);
  plb_xml_close(x, "subject");
}

static void put_condition(plb_xml *x, const plb_condition *c) {
  const char *element = c->word[0] ? "word" : "range";
  plb_xml_open(x, element);
  plb_xml_attribute(x, "name", c->name);
  if (c->word[0]) {
    plb_xml_attribute(x, "value", c->word);
  } else {
    plb_xml_number(x, "low", c->low);
    plb_xml_number(x, "high", c->high);
    plb_xml_attribute(x, "unit", c->unit);
  }
  plb_xml_flag(x, "stated", c->stated);
  plb_xml_close(x, element);
}

static void put_conditions(writer *w) {
  if (w->r->conditions == 0)
    return;
  plb_xml_open(&w->xml, "conditions");
  for (size_t i = 0; i < w->r->conditions; i++)
    put_condition(&w->xml, &w->r->condition[i]);
  plb_xml_close(&w->xml, "conditions");
}

static void put_connection(writer *w) {
  plb_xml *x = &w->xml;
  plb_xml_open(x, "connection");
  plb_xml_flag(x, "connected", w->r->connection.connected);
  put_positive(x, "rate-needed-hz", w->r->connection.rate_needed_hz);
  plb_xml_text(x, "test-point", w->r->connection.test_point);
  plb_xml_text(x, "place", w->r->connection.place);
  plb_xml_text(x, "ground", w->r->connection.ground);
  plb_xml_text(x, "never", w->r->connection.never);
  plb_xml_text(x, "probe", w->r->connection.probe);
  plb_xml_text(x, "range", w->r->connection.range);
  plb_xml_text(x, "coupling", w->r->connection.coupling);
  plb_xml_text(x, "trigger", w->r->connection.trigger);
  for (size_t i = 0; i < w->r->connection.cautions; i++)
    plb_xml_text(x, "caution", w->r->connection.caution[i]);
  plb_xml_close(x, "connection");
}

static void put_channels(writer *w) {
  plb_xml *x = &w->xml;
  plb_xml_open(x, "channels");
  for (size_t i = 0; i < w->r->channels; i++) {
    const plb_reference_channel *c = &w->r->channel[i];
    plb_xml_open(x, "channel");
    plb_xml_attribute(x, "role", c->role);
    plb_xml_attribute(x, "unit", c->unit[0] ? c->unit : "1");
    plb_xml_attribute(x, "amplitude", plb_rule_name(c->amplitude));
    plb_xml_attribute(x, "offset", plb_rule_name(c->offset));
    plb_xml_attribute(x, "pegged", c->pegged);
    plb_xml_number(x, "peak-to-peak", c->peak_to_peak);
    plb_xml_number(x, "noise", c->noise);
    plb_xml_number(x, "sample-noise", c->sample_noise > 0.0 ? c->sample_noise : (double)NAN);
    plb_xml_number(x, "step", c->step);
    plb_xml_number(x, "range-low", c->range_low);
    plb_xml_number(x, "range-high", c->range_high);
    if (c->column > 0)
      plb_xml_integer(x, "column", c->column);
    plb_xml_attribute(x, "header", c->header);
    for (size_t k = 0; k < c->speeds; k++) {
      plb_xml_open(x, "speed");
      plb_xml_number(x, "rate-hz", c->speed[k].rate_hz);
      plb_xml_number(x, "gain", c->speed[k].gain);
      plb_xml_close(x, "speed");
    }
    plb_xml_close(x, "channel");
  }
  plb_xml_close(x, "channels");
}

/* ---- cycle ---- */

static const char *edge_name(int direction) { return direction > 0 ? "rising" : direction < 0 ? "falling" : ""; }

static void put_spec(plb_xml *x, const plb_cycle_spec *s) {
  static const char *const of[] = {"unit", "states", "supply"};
  const char *kind = plb_cycle_kind_name(s->kind);
  plb_xml_open(x, kind);
  plb_xml_attribute(x, "channel", s->channel);
  switch (s->kind) {
  case PLB_CYCLE_WHEEL:
    plb_xml_integer(x, "teeth", s->teeth);
    plb_xml_integer(x, "missing", s->missing);
    plb_xml_integer(x, "revs", s->revs);
    break;
  case PLB_CYCLE_EDGE:
    plb_xml_number(x, "level", s->level.value);
    plb_xml_attribute(x, "level-of", of[s->level.of]);
    plb_xml_attribute(x, "level-unit", s->level.unit);
    plb_xml_attribute(x, "slope", edge_name(s->slope));
    break;
  case PLB_CYCLE_REPEAT:
    put_positive(x, "period-s", s->period_s);
    break;
  case PLB_CYCLE_AGAINST:
    plb_xml_attribute(x, "along", s->against);
    break;
  case PLB_CYCLE_ONCE:
  case PLB_CYCLE_STEADY:
    break;
  }
  plb_xml_close(x, kind);
}

static void put_landmarks(plb_xml *x, const plb_cycle_choice *c) {
  for (size_t i = 0; i < c->landmarks; i++) {
    plb_xml_open(x, "landmark");
    plb_xml_attribute(x, "name", c->landmark[i].name);
    plb_xml_number(x, "phase", c->landmark[i].phase);
    plb_xml_attribute(x, "direction", edge_name(c->landmark[i].direction));
    plb_xml_number(x, "level", c->landmark[i].level);
    plb_xml_close(x, "landmark");
  }
  for (size_t i = 0; i < c->spans; i++) {
    plb_xml_open(x, "span");
    plb_xml_attribute(x, "name", c->span[i].name);
    plb_xml_integer(x, "from", (int64_t)c->span[i].from);
    plb_xml_integer(x, "to", (int64_t)c->span[i].to);
    plb_xml_attribute(x, "layout", c->span[i].absolute ? "absolute" : "scaled");
    plb_xml_number(x, "duration-s", c->span[i].duration_s);
    plb_xml_close(x, "span");
  }
}

static plb_status put_curve(writer *w, const char *name, const float *curve) {
  return plb_curve_write(&w->xml, w->packer, name, curve, w->r->choice.grid, w->err);
}

static plb_status put_cycle(writer *w) {
  plb_xml *x = &w->xml;
  const plb_cycle_choice *c = &w->r->choice;
  plb_status status = PLB_OK;
  plb_xml_open(x, "cycle");
  plb_xml_attribute(x, "channel", w->r->channel[c->channel].role);
  plb_xml_integer(x, "grid", (int64_t)c->grid);
  plb_xml_attribute(x, "edge", edge_name(c->edge));
  plb_xml_number(x, "level-low", c->level_low);
  plb_xml_number(x, "level-high", c->level_high);
  plb_xml_number(x, "rate-low-hz", c->rate_low_hz);
  plb_xml_number(x, "rate-high-hz", c->rate_high_hz);
  plb_xml_number(x, "seam", c->seam);
  put_positive(x, "shortest-pulse-s", c->shortest_pulse_s);
  put_positive(x, "longest-ratio", c->longest_ratio);
  plb_xml_number(x, "correlation-low", c->correlation_low);
  if (c->stroke && c->stroke_channel >= 0)
    plb_xml_attribute(x, "stroke-channel", w->r->channel[c->stroke_channel].role);
  put_spec(x, &c->spec);
  if (c->template_)
    status = put_curve(w, "template", c->template_);
  if (status == PLB_OK && c->stroke)
    status = put_curve(w, "stroke", c->stroke);
  put_landmarks(x, c);
  plb_xml_close(x, "cycle");
  return status;
}

/* ---- corridor, bands, readings ---- */

static plb_status put_corridor(writer *w) {
  const plb_corridor *c = &w->r->corridor;
  const size_t grid = w->r->choice.grid;
  plb_status status = PLB_OK;
  if (!c->centre)
    return PLB_OK;
  plb_xml_open(&w->xml, "corridor");
  for (size_t i = 0; i < w->r->channels && status == PLB_OK; i++) {
    plb_xml_open(&w->xml, "good-range");
    plb_xml_attribute(&w->xml, "channel", w->r->channel[i].role);
    status = put_curve(w, "centre", c->centre + i * grid);
    if (status == PLB_OK)
      status = put_curve(w, "lower", c->lower + i * grid);
    if (status == PLB_OK)
      status = put_curve(w, "upper", c->upper + i * grid);
    plb_xml_close(&w->xml, "good-range");
  }
  if (status == PLB_OK && c->jitter)
    status = put_curve(w, "jitter", c->jitter);
  plb_xml_close(&w->xml, "corridor");
  return status;
}

static void put_band(plb_xml *x, const plb_band *b) {
  plb_xml_open(x, "band");
  plb_xml_attribute(x, "name", b->name);
  plb_xml_attribute(x, "channel", b->channel);
  plb_xml_attribute(x, "domain", plb_band_domain_name(b->domain == PLB_BAND_CYCLE ? PLB_BAND_CYCLE : PLB_BAND_FREQUENCY));
  plb_xml_number(x, "from", b->from);
  plb_xml_number(x, "to", b->to);
  plb_xml_number(x, "tolerance", b->tolerance);
  if (b->domain != PLB_BAND_CYCLE) {
    plb_xml_attribute(x, "unit", b->domain == PLB_BAND_ORDER ? "order" : "Hz");
    plb_xml_attribute(x, "of", b->residual ? "residual" : "signal");
    plb_xml_number(x, "level", b->level);
    plb_xml_number(x, "spread", b->spread);
  }
  plb_xml_text(x, "good", b->good);
  for (size_t i = 0; i < b->pointers; i++) {
    if (!b->pointer[i].text || !b->pointer[i].text[0])
      continue;
    plb_xml_open(x, "pointer");
    plb_xml_attribute(x, "direction", b->pointer[i].direction);
    plb_xml_put_text(x, b->pointer[i].text);
    plb_xml_close(x, "pointer");
  }
  plb_xml_close(x, "band");
}

static void put_bands(writer *w) {
  if (w->r->bands == 0)
    return;
  plb_xml_open(&w->xml, "bands");
  for (size_t i = 0; i < w->r->bands; i++)
    put_band(&w->xml, &w->r->band[i]);
  plb_xml_close(&w->xml, "bands");
}

static void put_limit_source(plb_xml *x, const plb_reading_limit *l) {
  plb_xml_attribute(x, "against", l->against);
  plb_xml_attribute(x, "combine", plb_combine_name(l->combine));
  plb_xml_attribute(x, "share-of", l->of_supply ? "supply" : "");
  if (l->statistic != PLB_LIMIT_VALUE)
    plb_xml_attribute(x, "statistic", plb_limit_statistic_name(l->statistic));
  put_positive(x, "uncertainty", l->uncertainty);
}

static void put_readings(writer *w) {
  plb_xml *x = &w->xml;
  if (w->r->readings == 0)
    return;
  plb_xml_open(x, "readings");
  for (size_t i = 0; i < w->r->readings; i++) {
    const plb_reading_limit *l = &w->r->reading[i];
    plb_xml_open(x, "limit");
    plb_xml_attribute(x, "name", l->name);
    plb_xml_attribute(x, "channel", l->channel);
    plb_xml_attribute(x, "unit", l->unit);
    plb_xml_number(x, "low", l->low);
    plb_xml_number(x, "high", l->high);
    put_limit_source(x, l);
    plb_xml_text(x, "source", l->source);
    plb_xml_close(x, "limit");
  }
  plb_xml_close(x, "readings");
}

/* ---- exemplars, calibration ---- */

static plb_status put_profiles(writer *w, const plb_exemplar *e) {
  const size_t grid = w->r->choice.grid;
  plb_status status = PLB_OK;
  for (size_t i = 0; e->median && e->spread && i < w->r->channels && status == PLB_OK; i++) {
    plb_xml_open(&w->xml, "profile");
    plb_xml_attribute(&w->xml, "channel", w->r->channel[i].role);
    status = put_curve(w, "median", e->median + i * grid);
    if (status == PLB_OK)
      status = put_curve(w, "spread", e->spread + i * grid);
    plb_xml_close(&w->xml, "profile");
  }
  return status;
}

static plb_status put_exemplar(writer *w, const plb_exemplar *e) {
  plb_xml *x = &w->xml;
  plb_xml_open(x, "exemplar");
  plb_xml_attribute(x, "name", e->name);
  plb_xml_attribute(x, "group", e->group);
  plb_xml_attribute(x, "sha256", e->sha256);
  plb_xml_number(x, "held-out", e->held_out);
  plb_xml_number(x, "rate-hz", e->rate_hz);
  plb_xml_integer(x, "cycles", e->cycles);
  plb_xml_integer(x, "unmapped", e->unmapped);
  plb_xml_integer(x, "damaged", e->damaged);
  put_positive(x, "supply-v", e->supply_v);
  put_positive(x, "load", e->load);
  const plb_status status = put_profiles(w, e);
  if (e->reading && w->r->readings > 0)
    plb_xml_numbers(x, "values", e->reading, w->r->readings);
  if (e->band_score && w->r->bands > 0)
    plb_xml_numbers(x, "band-scores", e->band_score, w->r->bands);
  if (e->level && plb_reference_levels(w->r) > 0)
    plb_xml_numbers(x, "levels", e->level, plb_reference_levels(w->r));
  plb_xml_close(x, "exemplar");
  return status;
}

static plb_status put_exemplars(writer *w) {
  plb_status status = PLB_OK;
  if (w->r->exemplars == 0)
    return status;
  plb_xml_open(&w->xml, "exemplars");
  for (size_t i = 0; i < w->r->exemplars && status == PLB_OK; i++)
    status = put_exemplar(w, &w->r->exemplar[i]);
  plb_xml_close(&w->xml, "exemplars");
  return status;
}

static void put_calibration(writer *w) {
  plb_xml *x = &w->xml;
  const plb_calibration *c = &w->r->calibration;
  if (w->r->provenance == PLB_STANDARD)
    return;
  plb_xml_open(x, "calibration");
  plb_xml_number(x, "alpha", c->alpha);
  plb_xml_number(x, "promise", c->promise);
  plb_xml_number(x, "promise-upper90", c->promise_upper90);
  plb_xml_integer(x, "independent", c->independent);
  plb_xml_flag(x, "groups-stated", c->groups_stated);
  plb_xml_flag(x, "one-group", c->one_group);
  plb_xml_number(x, "limit", c->limit);
  plb_xml_number(x, "guard", c->guard);
  plb_xml_number(x, "guard-robust", c->guard_robust);
  plb_xml_attribute(x, "odd", c->odd);
  plb_xml_number(x, "odd-ratio", c->odd_ratio);
  for (size_t i = 0; i < c->scales; i++) {
    plb_xml_open(x, "scale");
    plb_xml_attribute(x, "kind", c->scale[i].kind);
    plb_xml_attribute(x, "channel", c->scale[i].channel);
    plb_xml_attribute(x, "name", c->scale[i].name);
    plb_xml_number(x, "value", c->scale[i].value);
    plb_xml_close(x, "scale");
  }
  plb_xml_close(x, "calibration");
}

/* ---- the whole ---- */

static plb_status put_reference(writer *w) {
  static const char no_id[] = "00000000000000000000000000000000";
  plb_xml *x = &w->xml;
  const plb_reference *r = w->r;
  plb_xml_open(x, "reference");
  plb_xml_attribute(x, "xmlns", PLB_REFERENCE_NAMESPACE);
  plb_xml_attribute(x, "id", no_id);
  plb_xml_attribute(x, "type", r->type);
  plb_xml_attribute(x, "name", r->name);
  plb_xml_integer(x, "version", r->version);
  plb_xml_attribute(x, "date", r->date); /* last: no line break may depend on it, the id does not */
  plb_xml_text(x, "title", r->title);
  plb_xml_text(x, "why", r->why);
  plb_xml_text(x, "predecessor", r->predecessor);
  put_provenance(w);
  put_subject(w);
  put_conditions(w);
  put_connection(w);
  put_channels(w);
  plb_status status = put_cycle(w);
  if (status == PLB_OK)
    status = put_corridor(w);
  put_bands(w);
  put_readings(w);
  if (status == PLB_OK)
    status = put_exemplars(w);
  put_calibration(w);
  plb_xml_close(x, "reference");
  return status;
}

/* What the writer itself must be able to rely on; everything else is left to the reader that checks the result. */
static plb_status check_parts(const plb_reference *r, plb_error *err) {
  if (!plb_text_is_slug(r->type))
    return plb_fail(err, PLB_EUSAGE, "\"%s\" is no sensor type; use lower-case letters, digits and hyphens", r->type);
  if (r->name[0] == '\0')
    return plb_fail(err, PLB_EUSAGE, "the reference has no name; give one, like %s/bench", r->type);
  if (r->channels == 0 || r->choice.channel >= r->channels || r->choice.stroke_channel >= (int)r->channels)
    return plb_fail(err, PLB_EINVAL, "the cycle's channel is not one of the reference's %zu channels", r->channels);
  if (r->choice.grid < 2 || r->choice.grid > PLB_GRID_MOST)
    return plb_fail(err, PLB_EINVAL, "a grid of %zu points", r->choice.grid);
  if (r->corridor.centre && (!r->corridor.lower || !r->corridor.upper))
    return plb_fail(err, PLB_EINVAL, "a good range without limits");
  return PLB_OK;
}

plb_status plb_reference_write_buffer(plb_reference *r, plb_buffer *out, plb_error *err) {
  enum { BASE64_COLUMNS = 100 };
  plb_reference *again = NULL;
  writer w = {.r = r, .err = err, .packer = NULL};
  plb_status status = check_parts(r, err);
  if (status != PLB_OK)
    return status;
  w.packer = plb_packer_new();
  if (!w.packer)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  if (out->most > PLB_DOCUMENT_MOST)
    out->most = PLB_DOCUMENT_MOST;
  plb_xml_init(&w.xml, out, BASE64_COLUMNS);
  status = put_reference(&w);
  if (status != PLB_OK)
    goto done;
  status = plb_xml_check(&w.xml, "use fewer exemplars or a coarser grid", err);
  if (status != PLB_OK)
    goto done;
  status = plb_identity_set(out->data, out->size, r->id, err);
  if (status == PLB_OK)
    status = plb_reference_read_memory(&again, out->data, out->size, r->name, err);
  if (status == PLB_OK)
    status = plb_schema_validate("schema/reference.xsd", out->data, out->size, r->name, err);
  if (status == PLB_OK)
    plb_sha256(out->data, out->size, r->sha256);
done:
  plb_reference_free(again);
  plb_packer_free(w.packer);
  return status;
}

plb_status plb_reference_write(plb_reference *reference, const char *path, plb_error *err) {
  plb_buffer out;
  plb_buffer_init(&out, PLB_DOCUMENT_MOST);
  plb_status status = plb_reference_write_buffer(reference, &out, err);
  if (status == PLB_OK)
    status = plb_file_write(path, out.data, out.size, err);
  plb_buffer_dispose(&out);
  return status;
}
