#include "report/facts.h"
#include "report/json_value.h"

#include <math.h>

static json_t *channel_value(plb_json *j, const plb_insight *in, size_t channel) {
  const plb_facts *f = &in->facts[channel];
  json_t *o = json_object();
  plb_json_text(j, o, "role", plb_capture_role(in->capture, channel));
  plb_json_text_or_null(j, o, "header", in->capture->channel[channel].header);
  plb_json_count(j, o, "column", (uint64_t)plb_capture_column(in->capture, channel));
  plb_json_text(j, o, "unit", plb_capture_unit(in->capture, channel));
  plb_json_number(j, o, "factor", plb_capture_factor(in->capture, channel));
  plb_json_number(j, o, "lowest", f->lowest);
  plb_json_number(j, o, "highest", f->highest);
  plb_json_number(j, o, "mean", f->mean);
  plb_json_number(j, o, "noise", f->noise);
  plb_json_number(j, o, "step", f->step > 0 ? f->step : (double)NAN);
  plb_json_count(j, o, "missing", f->missing);
  return o;
}

static json_t *guess_value(plb_json *j, const plb_guess *guess) {
  json_t *o = json_object();
  plb_json_text(j, o, "channel", guess->channel);
  plb_json_count(j, o, "column", (uint64_t)guess->column);
  plb_json_text(j, o, "what", guess->what);
  plb_json_text_or_null(j, o, "type", guess->type);
  plb_json_text_or_null(j, o, "cycle", guess->cycle);
  plb_json_number(j, o, "confidence", guess->confidence);
  return o;
}

static json_t *capture_value(plb_json *j, const plb_insight *in) {
  const double rate_hz = plb_capture_rate_hz(in->capture);
  const size_t samples = plb_capture_samples(in->capture);
  json_t *root = json_object();
  plb_json_text(j, root, "format", "plumbline.capture/1");
  plb_json_text(j, root, "path", plb_capture_path(in->capture));
  plb_json_text(j, root, "sha256", plb_capture_sha256(in->capture));
  plb_json_text(j, root, "file_format", plb_capture_format(in->capture));
  plb_json_number(j, root, "rate_hz", rate_hz > 0 ? rate_hz : (double)NAN);
  plb_json_count(j, root, "samples", samples);
  plb_json_number(j, root, "duration_s", rate_hz > 0 ? (double)samples / rate_hz : (double)NAN);
  plb_json_number(j, root, "start_s", plb_capture_start_s(in->capture));
  json_t *channels = plb_json_array_in(j, root, "channels");
  for (size_t c = 0; c < in->channels; c++)
    plb_json_append(j, channels, channel_value(j, in, c));
  json_t *notes = plb_json_array_in(j, root, "notes");
  for (size_t i = 0; i < plb_capture_notes(in->capture); i++)
    plb_json_append(j, notes, plb_json_string(plb_capture_note(in->capture, i)));
  json_t *applied = plb_json_array_in(j, root, "applied");
  for (size_t i = 0; i < plb_capture_applieds(in->capture); i++)
    plb_json_append(j, applied, plb_json_string(plb_capture_applied(in->capture, i)));
  plb_json_reasons(j, root, "fitness", in->fitness, in->fitnesses);
  json_t *guesses = plb_json_array_in(j, root, "guesses");
  for (size_t i = 0; i < in->guesses; i++)
    plb_json_append(j, guesses, guess_value(j, &in->guess[i]));
  return root;
}

plb_status plb_report_inspect_json(char **out, const plb_capture *capture, plb_error *err) {
  plb_insight in;
  plb_json j = {false};
  *out = NULL;
  plb_status status = plb_insight_gather(&in, capture, err);
  if (status == PLB_OK)
    status = plb_json_dump(&j, capture_value(&j, &in), out, err);
  plb_insight_dispose(&in);
  return status;
}
