#include "report/json_value.h"
#include "report/report.h"

#include <math.h>
#include <string.h>

enum { COLUMNS_MOST = 2000 };

static void put_alignment(plb_json *j, json_t *root, const plb_verdict *verdict) {
  json_t *o = plb_json_object_in(j, root, "alignment");
  plb_json_number(j, o, "shift_s", verdict->alignment.shift_s);
  plb_json_number(j, o, "scale", verdict->alignment.scale);
  plb_json_number(j, o, "gain", verdict->alignment.gain);
  plb_json_number(j, o, "offset", verdict->alignment.offset);
  plb_json_number(j, o, "correlation", verdict->alignment.correlation);
  plb_json_number(j, o, "runner_up", verdict->alignment.runner_up);
  plb_json_set(j, o, "polarity", json_integer(verdict->alignment.polarity));
}

static void put_cycles(plb_json *j, json_t *root, const plb_verdict *verdict) {
  json_t *o = plb_json_object_in(j, root, "cycles");
  plb_json_count(j, o, "found", verdict->cycles.found);
  plb_json_count(j, o, "judged", verdict->cycles.judged);
  plb_json_count(j, o, "departing", verdict->cycles.departing);
  plb_json_count(j, o, "unmapped", verdict->cycles.unmapped);
  plb_json_text_or_null(j, o, "pattern", plb_pattern_name(verdict->cycles.pattern));
  plb_json_count_or_null(j, o, "every", verdict->cycles.every);
  plb_json_count_or_null(j, o, "phase", verdict->cycles.phase);
  plb_json_number(j, o, "p_chance", verdict->cycles.p_chance);
  plb_json_number(j, o, "rate_hz", verdict->cycles.rate_hz);
  plb_json_text_or_null(j, o, "unit_name", verdict->cycles.unit_name);
}

static json_t *band_value(plb_json *j, const plb_band_result *band) {
  json_t *o = json_object();
  plb_json_text(j, o, "channel", band->channel);
  plb_json_text(j, o, "name", band->name);
  plb_json_text(j, o, "domain", band->domain);
  plb_json_number(j, o, "from", band->from);
  plb_json_number(j, o, "to", band->to);
  plb_json_text(j, o, "unit", band->unit);
  plb_json_text(j, o, "status", plb_word_name(band->status));
  plb_json_number(j, o, "inside_share", band->inside_share);
  plb_json_number(j, o, "exceedance", band->exceedance);
  json_t *worst = plb_json_object_in(j, o, "worst_at");
  plb_json_number(j, worst, "phase", band->worst_phase);
  plb_json_number(j, worst, "degrees", band->worst_degrees);
  plb_json_number(j, worst, "time_s", band->worst_time_s);
  plb_json_count_or_null(j, worst, "tooth", band->worst_tooth > 0 ? (uint64_t)band->worst_tooth : 0);
  plb_json_text_or_null(j, o, "direction", band->direction);
  plb_json_number(j, o, "lag_s", band->lag_s);
  plb_json_count(j, o, "departing_cycles", band->departing_cycles);
  plb_json_number(j, o, "score", band->score);
  plb_json_number(j, o, "deviation", band->deviation);
  return o;
}

static json_t *reading_value(plb_json *j, const plb_reading_result *reading) {
  json_t *o = json_object();
  plb_json_text(j, o, "channel", reading->channel);
  plb_json_text(j, o, "name", reading->name);
  plb_json_number(j, o, "value", reading->value);
  plb_json_text(j, o, "unit", reading->unit);
  plb_json_number(j, o, "low", reading->low);
  plb_json_number(j, o, "high", reading->high);
  plb_json_text(j, o, "status", plb_word_name(reading->status));
  plb_json_number(j, o, "score", reading->score);
  plb_json_text_or_null(j, o, "direction", reading->direction);
  return o;
}

static json_t *finding_value(plb_json *j, const plb_finding *finding) {
  char text[PLB_TEXT_SIZE];
  plb_say_finding(finding, text);
  json_t *o = json_object();
  plb_json_text(j, o, "kind", plb_finding_kind_name(finding->kind));
  plb_json_text_or_null(j, o, "channel", finding->channel);
  plb_json_text_or_null(j, o, "band", finding->band);
  plb_json_text_or_null(j, o, "direction", finding->direction);
  plb_json_number(j, o, "size", finding->size);
  plb_json_text_or_null(j, o, "unit", finding->unit);
  plb_json_count(j, o, "count", finding->count);
  plb_json_count_or_null(j, o, "of", finding->of);
  plb_json_text_or_null(j, o, "pattern", plb_pattern_name(finding->pattern));
  plb_json_text(j, o, "text", text);
  json_t *checks = plb_json_array_in(j, o, "check_first");
  for (size_t i = 0; i < PLB_CHECK_MOST && finding->check_first[i][0]; i++)
    plb_json_append(j, checks, plb_json_string(finding->check_first[i]));
  plb_json_number(j, o, "score", finding->score);
  plb_json_number(j, o, "phase", finding->phase);
  plb_json_number(j, o, "time_s", finding->time_s);
  return o;
}

static void put_reference(plb_json *j, json_t *root, const plb_verdict *verdict) {
  json_t *o = plb_json_object_in(j, root, "reference");
  plb_json_text(j, o, "selector", verdict->reference.selector);
  plb_json_text(j, o, "id", verdict->reference.id);
  plb_json_count(j, o, "version", verdict->reference.version);
  plb_json_text(j, o, "sha256", verdict->reference.sha256);
  plb_json_text(j, o, "provenance",
                plb_say_has_reference(verdict) ? plb_provenance_name(verdict->reference.provenance) : NULL);
  plb_json_count(j, o, "exemplars", verdict->reference.exemplars);
  plb_json_count_or_null(j, o, "groups", verdict->reference.groups_stated ? verdict->reference.groups : 0);
  plb_json_flag(j, o, "one_group", verdict->reference.one_group);
  plb_json_text_or_null(j, o, "title", verdict->reference.title);
  plb_json_text_or_null(j, o, "path", verdict->reference.path);
  plb_json_text_or_null(j, o, "status", verdict->reference.status);
  plb_json_text_or_null(j, o, "odd", verdict->reference.odd);
  plb_json_text_or_null(j, o, "cycle", verdict->reference.cycle);
}

static void put_capture(plb_json *j, json_t *root, const plb_verdict *verdict) {
  json_t *o = plb_json_object_in(j, root, "capture");
  plb_json_text(j, o, "path", verdict->capture.path);
  plb_json_text(j, o, "sha256", verdict->capture.sha256);
  plb_json_number(j, o, "rate_hz", verdict->capture.rate_hz);
  plb_json_count(j, o, "samples", verdict->capture.samples);
  json_t *applied = plb_json_array_in(j, o, "applied");
  for (size_t i = 0; i < verdict->applieds; i++)
    plb_json_append(j, applied, plb_json_string(verdict->applied[i]));
}

static void put_texts(plb_json *j, json_t *object, const char *key, const char *const *text, size_t count) {
  json_t *array = plb_json_array_in(j, object, key);
  for (size_t i = 0; i < count; i++)
    plb_json_append(j, array, plb_json_string(text[i]));
}

static void put_request(plb_json *j, json_t *root, const plb_verdict *verdict, const plb_request *request) {
  static const plb_request nothing = {.rate_hz = 0};
  if (!request)
    request = &nothing;
  json_t *o = plb_json_object_in(j, root, "request");
  plb_json_text(j, o, "capture", verdict->capture.path);
  plb_json_text(j, o, "reference",
                verdict->reference.selector[0] ? verdict->reference.selector : verdict->reference.path);
  put_texts(j, o, "channels", request->channels, request->channel_count);
  put_texts(j, o, "conditions", request->conditions, request->condition_count);
  put_texts(j, o, "conditioning", request->conditioning, request->conditioning_count);
  json_t *options = plb_json_object_in(j, o, "options");
  plb_json_number(j, options, "rate_hz", request->rate_hz > 0 ? request->rate_hz : (double)NAN);
  plb_json_flag(j, options, "connected", request->connected);
}

/* Column k stands for the columns [k * from / to, (k + 1) * from / to): the lowest, the highest or the middle one. */
static void thin(const float *curve, size_t from, size_t to, int keep, float *out) {
  for (size_t k = 0; k < to; k++) {
    const size_t first = k * from / to, last = (k + 1) * from / to;
    float kept = curve[(first + last) / 2];
    for (size_t i = first; i < last && keep != 0; i++)
      if (!(keep < 0 ? kept <= curve[i] : kept >= curve[i]) && !isnan(curve[i]))
        kept = curve[i];
    out[k] = kept;
  }
}

static void widen(const float *curve, size_t count, double *low, double *high) {
  for (size_t i = 0; curve && i < count; i++)
    if (isfinite(curve[i])) {
      *low = fmin(*low, (double)curve[i]);
      *high = fmax(*high, (double)curve[i]);
    }
}

static json_t *drawing_value(plb_json *j, const plb_drawing *drawing) {
  const struct {
    const char *key;
    const float *curve;
    int keep; /* when thinned: -1 the lowest, +1 the highest, 0 the middle one */
  } curves[] = {{"lowest", drawing->lowest, -1}, {"median", drawing->median, 0}, {"highest", drawing->highest, 1},
                {"worst", drawing->worst, 0},    {"centre", drawing->centre, 0}, {"lower", drawing->lower, -1},
                {"upper", drawing->upper, 1}};
  const size_t most = COLUMNS_MOST, columns = drawing->columns < most ? drawing->columns : most;
  double low = INFINITY, high = -INFINITY;
  for (size_t i = 0; i < sizeof curves / sizeof curves[0]; i++)
    widen(curves[i].curve, drawing->columns, &low, &high);
  const int decimals = plb_json_decimals(low, high);
  json_t *o = json_object();
  plb_json_text(j, o, "channel", drawing->channel);
  plb_json_text(j, o, "unit", drawing->unit);
  plb_json_count(j, o, "columns", columns);
  for (size_t i = 0; i < sizeof curves / sizeof curves[0]; i++) {
    float thinned[COLUMNS_MOST];
    if (curves[i].curve)
      thin(curves[i].curve, drawing->columns, columns, curves[i].keep, thinned);
    plb_json_curve(j, o, curves[i].key, curves[i].curve ? thinned : NULL, columns, decimals);
  }
  return o;
}

static void put_lists(plb_json *j, json_t *root, const plb_verdict *verdict) {
  json_t *bands = plb_json_array_in(j, root, "bands");
  for (size_t i = 0; i < verdict->bands; i++)
    plb_json_append(j, bands, band_value(j, &verdict->band[i]));
  json_t *readings = plb_json_array_in(j, root, "readings");
  for (size_t i = 0; i < verdict->readings; i++)
    plb_json_append(j, readings, reading_value(j, &verdict->reading[i]));
  json_t *findings = plb_json_array_in(j, root, "findings");
  for (size_t i = 0; i < verdict->findings; i++)
    plb_json_append(j, findings, finding_value(j, &verdict->finding[i]));
  plb_json_reasons(j, root, "fitness", verdict->fitness, verdict->fitnesses);
  plb_json_reasons(j, root, "reasons", verdict->reason, verdict->reasons);
}

static void put_rest(plb_json *j, json_t *root, const plb_verdict *verdict) {
  json_t *notes = plb_json_array_in(j, root, "condition_notes");
  for (size_t i = 0; i < verdict->condition_notes; i++)
    plb_json_append(j, notes, plb_json_string(verdict->condition_note[i]));
  plb_json_text_or_null(j, root, "promise_text", verdict->promise_text);
  plb_json_number(j, root, "landmark_phase_first", verdict->landmark_phase_first);
  json_t *drawings = plb_json_array_in(j, root, "drawing");
  for (size_t i = 0; i < verdict->drawings; i++)
    plb_json_append(j, drawings, drawing_value(j, &verdict->drawing[i]));
}

plb_status plb_report_json(char **out, const plb_verdict *verdict, const plb_request *request, plb_error *err) {
  plb_json j = {false};
  json_t *root = json_object();
  plb_json_text(&j, root, "format", "plumbline.verdict/1");
  plb_json_text(&j, root, "verdict", plb_word_name(verdict->word));
  plb_json_text(&j, root, "sentence", verdict->sentence);
  plb_json_number(&j, root, "score", verdict->score);
  plb_json_number(&j, root, "limit", verdict->limit);
  plb_json_number(&j, root, "guard", verdict->guard);
  plb_json_number(&j, root, "guard_robust", verdict->guard_robust);
  plb_json_number(&j, root, "p_value", verdict->p_value);
  plb_json_number(&j, root, "promise", verdict->promise);
  plb_json_number(&j, root, "promise_upper90", verdict->promise_upper90);
  put_alignment(&j, root, verdict);
  put_cycles(&j, root, verdict);
  put_lists(&j, root, verdict);
  put_reference(&j, root, verdict);
  put_capture(&j, root, verdict);
  put_request(&j, root, verdict, request);
  put_rest(&j, root, verdict);
  return plb_json_dump(&j, root, out, err);
}
