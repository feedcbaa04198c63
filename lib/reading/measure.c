/* All readings of a capture: each channel, then between channels. */
#include "reading/reading.h"

#include <math.h>

static plb_status check_options(const plb_measure_options *o, plb_error *err) {
  if (o->version != 1)
    return plb_fail(err, PLB_EINVAL, "options of version %u; start from PLB_MEASURE_OPTIONS_INIT", o->version);
  if (o->from_given && o->to_given && !(o->from_s < o->to_s))
    return plb_fail(err, PLB_EUSAGE, "the start lies not before the end; give --from an earlier time than --to");
  if (o->cylinders != 0 && o->coil_per_plug)
    return plb_fail(err, PLB_EUSAGE,
                    "dwell in degrees of a distributor means nothing with one coil per plug; leave --cylinders out and "
                    "read pulse-low or pulse-high in milliseconds");
  if (o->cylinders != 0 && (o->cylinders < 2 || o->cylinders > 16))
    return plb_fail(err, PLB_EUSAGE,
                    "%d cylinders; a distributor serves 2 to 16, and with one coil per plug there is no "
                    "dwell in degrees",
                    o->cylinders);
  return PLB_OK;
}

/* The first sample at or after a time; a time written with fewer digits than the sample's own still meets it. */
static size_t sample_at(const plb_capture *capture, double time_s) {
  const double at = ceil((time_s - plb_capture_start_s(capture)) * plb_capture_rate_hz(capture) - 1e-6);
  const size_t n = plb_capture_samples(capture);
  return !(at > 0) ? 0 : at < (double)n ? (size_t)at : n;
}

plb_status plb_measure_part(const plb_capture *capture, const plb_measure_options *o, size_t *first, size_t *last,
                            plb_error *err) {
  if (!(plb_capture_rate_hz(capture) > 0))
    return plb_fail(err, PLB_EDATA, "the sample rate is not known; give it with --rate");
  *first = o->from_given ? sample_at(capture, o->from_s) : 0;
  *last = o->to_given ? sample_at(capture, o->to_s) : plb_capture_samples(capture);
  if (*last < *first + 2)
    return plb_fail(err, PLB_EDATA, "fewer than two samples in this part; the capture goes from %g s to %g s",
                    plb_capture_start_s(capture),
                    plb_capture_start_s(capture) + (double)plb_capture_samples(capture) / plb_capture_rate_hz(capture));
  return PLB_OK;
}

static plb_status say_what_is_missing(plb_reading_list *list, const plb_trace *t, bool thinned, plb_error *err) {
  char text[PLB_TEXT_SIZE];
  if (thinned)
    plb_text_say(
        text, sizeof text,
        "%s: the file holds lowest and highest of many samples; mean, RMS, times and duty cannot be read from it",
        t->role);
  else if (t->coil && t->edges > 0)
    plb_text_say(text, sizeof text,
                 "%s: taken as the primary voltage of a coil; low pulses shorter than a fifth of the longest are its "
                 "oscillation and not counted; shape and state levels are left out",
                 t->role);
  else if (t->edges == 0)
    plb_text_say(text, sizeof text,
                 "%s: no two states and no regular cycle; readings of time, shape and duty are left out", t->role);
  else if (!t->states)
    plb_text_say(text, sizeof text, "%s: no two states; levels, rise and fall, overshoot and settling are left out",
                 t->role);
  else if (t->bursts)
    plb_text_say(
        text, sizeof text,
        "%s: bursts of short cycles between long ones (an oscillation?); times and duty are of all of them, dwell "
        "is left out; look at a part with --from and --to",
        t->role);
  else
    return PLB_OK;
  return plb_reading_note(list, text, err);
}

static plb_status read_channel(plb_reading_list *list, const plb_trace *t, bool thinned, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t k = 0; k < plb_reading_kind_count && status == PLB_OK; k++)
    if (!thinned || (plb_reading_kinds[k].flags & PLB_THINNED_TOO))
      status = plb_reading_row(list, t, &plb_reading_kinds[k], err);
  return status == PLB_OK ? say_what_is_missing(list, t, thinned, err) : status;
}

/* Every channel against the first one; every current with the first voltage. */
static plb_status read_pairs(plb_reading_list *list, const plb_trace *t, size_t channels, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t c = 1; c < channels && status == PLB_OK; c++)
    status = plb_reading_delay(list, &t[0], &t[c], err);
  size_t volts = 0;
  while (volts < channels && !(t[volts].volt > 0))
    volts++;
  for (size_t c = 0; c < channels && volts < channels && status == PLB_OK; c++)
    if (t[c].ampere > 0)
      status = plb_reading_energy(list, &t[volts], &t[c], err);
  return status;
}

/* Who states the cylinders measures an ignition; a voltage without plain pulses is then the coil's. */
static bool wants_coil(const plb_trace *t) {
  return t->cylinders > 0 && t->volt > 0 && (t->bursts || (t->edges == 0 && t->high > t->low));
}

static plb_status read_all(plb_reading_list *list, const plb_capture *capture, const plb_measure_options *o,
                           size_t first, size_t last, plb_error *err) {
  const size_t channels = plb_capture_channels(capture);
  plb_trace *t = plb_calloc(channels, sizeof *t);
  if (!t)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu channels", channels);
  plb_status status = PLB_OK;
  for (size_t c = 0; c < channels && status == PLB_OK; c++) {
    status = plb_trace_load(&t[c], capture, c, first, last - first, err);
    t[c].cylinders = o->cylinders;
    if (status == PLB_OK && !capture->pairs && wants_coil(&t[c]))
      status = plb_trace_as_coil(&t[c], err);
    if (status == PLB_OK)
      status = read_channel(list, &t[c], capture->pairs, err);
  }
  if (status == PLB_OK && !capture->pairs)
    status = read_pairs(list, t, channels, err);
  for (size_t c = 0; c < channels; c++)
    plb_trace_dispose(&t[c]);
  free(t);
  return status;
}

plb_status plb_measure(plb_readings **out, const plb_capture *capture, const plb_measure_options *options,
                       plb_error *err) {
  const plb_measure_options usual = PLB_MEASURE_OPTIONS_INIT, *o = options ? options : &usual;
  size_t first = 0, last = 0;
  *out = NULL;
  plb_status status = check_options(o, err);
  if (status == PLB_OK)
    status = plb_measure_part(capture, o, &first, &last, err);
  if (status != PLB_OK)
    return plb_fail_path(err, status, status == PLB_EDATA ? plb_capture_path(capture) : "");
  plb_readings *readings = plb_calloc(1, sizeof *readings);
  if (!readings)
    return plb_fail(err, PLB_ENOMEM, "no memory for the readings");
  readings->from_s = plb_capture_start_s(capture) + (double)first / plb_capture_rate_hz(capture);
  readings->samples = last - first;
  plb_reading_list list = {.into = readings};
  status = read_all(&list, capture, o, first, last, err);
  if (status == PLB_OK)
    *out = readings;
  else
    plb_readings_free(readings);
  return status;
}

void plb_readings_free(plb_readings *readings) {
  if (!readings)
    return;
  free(readings->reading);
  free(readings->note);
  free(readings);
}

plb_status plb_measure_time_parse(const char *text, double *out_s, plb_error *err) {
  return plb_text_quantity(text, "s", out_s, err);
}
