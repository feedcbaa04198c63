/* The card as one line of JSON, connect/1. */
#include "report/connect_card.h"
#include "report/json_value.h"

#include <math.h>

static json_t *check_value(plb_json *j, const plb_card_check *k) {
  json_t *o = json_object();
  plb_json_text(j, o, "what", k->what);
  plb_json_text_or_null(j, o, "channel", k->channel);
  plb_json_flag(j, o, "fits", k->fits);
  plb_json_text(j, o, "text", k->text);
  return o;
}

static json_t *channel_value(plb_json *j, const plb_reference_channel *c) {
  json_t *o = json_object();
  plb_json_text(j, o, "role", c->role);
  plb_json_text(j, o, "unit", c->unit);
  const bool known = c->peak_to_peak > 0;
  plb_json_number(j, o, "lowest", known ? c->range_low : (double)NAN);
  plb_json_number(j, o, "highest", known ? c->range_high : (double)NAN);
  return o;
}

static void put_connection(plb_json *j, json_t *root, const plb_card *c) {
  const plb_reference *r = c->asked->reference;
  json_t *o = plb_json_object_in(j, root, "connection");
  plb_json_flag(j, o, "connected", r->connection.connected);
  plb_json_number(j, o, "rate_needed_hz", r->connection.rate_needed_hz > 0 ? r->connection.rate_needed_hz : (double)NAN);
  for (size_t i = 0; i < c->lines; i++)
    plb_json_text(j, o, c->line[i].key, c->line[i].text);
  json_t *cautions = plb_json_array_in(j, root, "cautions");
  for (size_t i = 0; i < r->connection.cautions; i++)
    plb_json_append(j, cautions, plb_json_string(r->connection.caution[i]));
  if (c->permission != NULL)
    plb_json_append(j, cautions, plb_json_string(c->permission));
}

static json_t *card_value(plb_json *j, const plb_card *c) {
  const plb_reference *r = c->asked->reference;
  json_t *root = json_object();
  plb_json_text(j, root, "format", "plumbline.connect/1");
  plb_json_text(j, root, "type", r->type);
  plb_json_text(j, root, "type_title", c->asked->type_title);
  plb_json_text(j, root, "reference", r->name);
  plb_json_count_or_null(j, root, "version", r->version);
  plb_json_text(j, root, "provenance", plb_provenance_name(r->provenance));
  plb_json_text(j, root, "title", r->title);
  plb_json_text(j, root, "system", r->system);
  json_t *others = plb_json_array_in(j, root, "others");
  for (size_t i = 0; i < c->asked->others; i++)
    plb_json_append(j, others, plb_json_string(c->asked->other[i]));
  json_t *channels = plb_json_array_in(j, root, "channels");
  for (size_t i = 0; i < r->channels; i++)
    plb_json_append(j, channels, channel_value(j, &r->channel[i]));
  put_connection(j, root, c);
  plb_json_text(j, root, "capture", c->asked->capture ? plb_capture_path(c->asked->capture) : NULL);
  json_t *checks = plb_json_array_in(j, root, "checks");
  for (size_t i = 0; i < c->checks; i++)
    plb_json_append(j, checks, check_value(j, &c->check[i]));
  return root;
}

plb_status plb_report_connect_json(char **out, const plb_connect *asked, plb_error *err) {
  plb_json j = {false};
  *out = NULL;
  plb_card *c = plb_calloc(1, sizeof *c);
  plb_status status = c != NULL ? plb_card_gather(c, asked, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK)
    status = plb_json_dump(&j, card_value(&j, c), out, err);
  free(c);
  return status;
}
