/* Comparisons without a known-good, for programs: peers/1, pair/1, locate/1. */
#include "report/json_value.h"
#include "report/report.h"

#include <math.h>

static void put_bands(plb_json *j, json_t *root, const plb_peer_band *band, size_t count) {
  json_t *array = plb_json_array_in(j, root, "bands");
  for (size_t i = 0; i < count; i++) {
    json_t *o = json_object();
    plb_json_text(j, o, "channel", band[i].channel);
    plb_json_text(j, o, "name", band[i].name);
    plb_json_number(j, o, "from", band[i].from);
    plb_json_number(j, o, "to", band[i].to);
    plb_json_number(j, o, "score", band[i].score);
    plb_json_number(j, o, "deviation", band[i].deviation);
    plb_json_text_or_null(j, o, "direction", band[i].direction);
    plb_json_number(j, o, "lag_s", band[i].lag_s);
    plb_json_append(j, array, o);
  }
}

plb_status plb_report_peers_json(char **out, const plb_peers *peers, plb_error *err) {
  plb_json j = {false};
  json_t *root = json_object();
  plb_json_text(&j, root, "format", "plumbline.peers/1");
  plb_json_text(&j, root, "odd", peers->odd >= 0 ? peers->member[peers->odd].name : NULL);
  plb_json_text(&j, root, "sentence", peers->sentence);
  plb_json_text_or_null(&j, root, "finding", peers->finding);
  plb_json_number(&j, root, "score", peers->score);
  plb_json_number(&j, root, "margin", peers->margin);
  plb_json_number(&j, root, "promise", peers->promise);
  plb_json_text_or_null(&j, root, "cycle", peers->cycle);
  json_t *members = plb_json_array_in(&j, root, "members");
  for (size_t i = 0; i < peers->members; i++) {
    json_t *o = json_object();
    plb_json_text(&j, o, "name", peers->member[i].name);
    plb_json_number(&j, o, "score", peers->member[i].score);
    plb_json_number(&j, o, "limit", peers->member[i].limit);
    plb_json_flag(&j, o, "apart", peers->member[i].apart);
    plb_json_append(&j, members, o);
  }
  put_bands(&j, root, peers->band, peers->bands);
  plb_json_reasons(&j, root, "reasons", peers->reason, peers->reasons);
  return plb_json_dump(&j, root, out, err);
}

plb_status plb_report_pair_json(char **out, const plb_pair *pair, plb_error *err) {
  plb_json j = {false};
  json_t *root = json_object();
  plb_json_text(&j, root, "format", "plumbline.pair/1");
  plb_json_text(&j, root, "verdict", plb_pair_word_name(pair->word));
  plb_json_text(&j, root, "sentence", pair->sentence);
  plb_json_text(&j, root, "a", pair->a);
  plb_json_text(&j, root, "b", pair->b);
  plb_json_text_or_null(&j, root, "cycle", pair->cycle);
  json_t *alignment = plb_json_object_in(&j, root, "alignment");
  plb_json_number(&j, alignment, "scale", pair->alignment.scale);
  plb_json_number(&j, alignment, "gain", pair->alignment.gain);
  plb_json_number(&j, alignment, "offset", pair->alignment.offset);
  plb_json_number(&j, alignment, "correlation", pair->alignment.correlation);
  json_t *cycles = plb_json_object_in(&j, root, "cycles");
  plb_json_count(&j, cycles, "a", pair->cycles_a);
  plb_json_count(&j, cycles, "b", pair->cycles_b);
  put_bands(&j, root, pair->band, pair->bands);
  json_t *readings = plb_json_array_in(&j, root, "readings");
  for (size_t i = 0; i < pair->readings; i++) {
    const plb_pair_reading *r = &pair->reading[i];
    json_t *o = json_object();
    plb_json_text(&j, o, "channel", r->channel);
    plb_json_text(&j, o, "name", r->name);
    plb_json_number(&j, o, "a", r->a);
    plb_json_number(&j, o, "b", r->b);
    plb_json_number(&j, o, "difference", r->b - r->a);
    plb_json_text(&j, o, "unit", r->unit);
    plb_json_flag(&j, o, "apart", r->apart);
    plb_json_append(&j, readings, o);
  }
  plb_json_reasons(&j, root, "reasons", pair->reason, pair->reasons);
  return plb_json_dump(&j, root, out, err);
}

plb_status plb_report_locate_json(char **out, const plb_locate *locate, plb_error *err) {
  plb_json j = {false};
  json_t *root = json_object();
  plb_json_text(&j, root, "format", "plumbline.locate/1");
  plb_json_text_or_null(&j, root, "where", plb_lost_name(locate->where));
  plb_json_text(&j, root, "sentence", locate->sentence);
  plb_json_text_or_null(&j, root, "evidence", locate->evidence);
  plb_json_number(&j, root, "size", locate->size);
  plb_json_text_or_null(&j, root, "unit", locate->unit);
  plb_json_number(&j, root, "time_s", locate->time_s);
  json_t *checks = plb_json_array_in(&j, root, "checks");
  for (size_t i = 0; i < locate->checks; i++)
    plb_json_append(&j, checks, plb_json_string(locate->check[i]));
  plb_json_text_or_null(&j, root, "next_point", locate->next_point);
  plb_json_reasons(&j, root, "reasons", locate->reason, locate->reasons);
  return plb_json_dump(&j, root, out, err);
}
