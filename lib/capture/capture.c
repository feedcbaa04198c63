#include "capture/capture.h"
#include <math.h>
#include <stdarg.h>
#include <string.h>

plb_capture *plb_capture_new(void) { return plb_calloc(1, sizeof(plb_capture)); }

static void dispose_samples(plb_samples *samples) {
  free(samples->code);
  free(samples->real);
}

void plb_capture_free(plb_capture *capture) {
  if (!capture)
    return;
  for (size_t i = 0; i < capture->channels; i++)
    dispose_samples(&capture->channel[i].samples);
  free(capture->channel);
  free(capture->note);
  free(capture->applied);
  free(capture);
}

plb_channel *plb_capture_add_channel(plb_capture *capture) {
  plb_channel *moved = plb_resize(capture->channel, capture->channels + 1, sizeof *moved);
  if (!moved)
    return NULL;
  capture->channel = moved;
  plb_channel *channel = &moved[capture->channels];
  *channel = (plb_channel){.column = (int)capture->channels + 1, .factor = 1.0};
  plb_text_copy(channel->unit, sizeof channel->unit, "1");
  capture->channels++;
  return channel;
}

plb_status plb_capture_add_real(plb_capture *capture, const char *role, const char *unit, const double *values,
                                size_t n, plb_error *err) {
  if (capture->channels > 0 && n != capture->samples)
    return plb_fail(err, PLB_EINVAL, "a channel of %zu samples beside channels of %zu; give all the same length", n,
                    capture->samples);
  if (strlen(role) >= PLB_NAME_SIZE || strlen(unit) >= PLB_UNIT_SIZE)
    return plb_fail(err, PLB_EINVAL, "the name or the unit of a channel is too long; shorten it");
  double *copy = plb_calloc(n, sizeof *copy);
  plb_channel *channel = copy ? plb_capture_add_channel(capture) : NULL;
  if (!channel) {
    free(copy);
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  }
  memcpy(copy, values, n * sizeof *copy);
  plb_text_copy(channel->role, sizeof channel->role, role);
  plb_text_copy(channel->unit, sizeof channel->unit, unit[0] ? unit : "1");
  channel->samples = (plb_samples){.real = copy, .scale = 1.0};
  capture->samples = n;
  return PLB_OK;
}

/* A sentence that finds no memory is lost; the recording is none the worse for it. */
PLB_PRINTF(3, 0)
static void add_sentence(char (**list)[PLB_TEXT_SIZE], size_t *count, const char *format, va_list values) {
  char(*moved)[PLB_TEXT_SIZE] = plb_resize(*list, *count + 1, sizeof *moved);
  if (!moved)
    return;
  *list = moved;
  plb_text_vprint(moved[(*count)++], PLB_TEXT_SIZE, format, values);
}

void plb_capture_add_note(plb_capture *capture, const char *format, ...) {
  va_list values;
  va_start(values, format);
  add_sentence(&capture->note, &capture->notes, format, values);
  va_end(values);
}

void plb_capture_add_applied(plb_capture *capture, const char *format, ...) {
  va_list values;
  va_start(values, format);
  add_sentence(&capture->applied, &capture->applieds, format, values);
  va_end(values);
}

static void convert_codes(const plb_samples *s, size_t first, size_t count, double *out) {
  const int32_t *code = s->code + first;
  if (s->decimals < 0) {
    for (size_t i = 0; i < count; i++)
      out[i] = s->offset + s->scale * code[i];
    return;
  }
  double unit = 1.0;
  for (int i = 0; i < s->decimals; i++)
    unit *= 10.0; /* exact up to 10^22 */
  for (size_t i = 0; i < count; i++)
    out[i] = code[i] / unit;
}

void plb_capture_values(const plb_capture *capture, size_t channel, size_t first, size_t count, double *out) {
  const plb_channel *c = &capture->channel[channel];
  if (c->samples.code)
    convert_codes(&c->samples, first, count, out);
  else
    memcpy(out, c->samples.real + first, count * sizeof *out);
  if (c->factor == 1.0)
    return;
  for (size_t i = 0; i < count; i++)
    out[i] *= c->factor;
}

double *plb_capture_copy_values(const plb_capture *capture, size_t channel) {
  double *values = plb_resize(NULL, capture->samples ? capture->samples : 1, sizeof *values);
  if (values)
    plb_capture_values(capture, channel, 0, capture->samples, values);
  return values;
}

const char *plb_capture_path(const plb_capture *capture) { return capture->path; }
const char *plb_capture_sha256(const plb_capture *capture) { return capture->sha256; }
const char *plb_capture_format(const plb_capture *capture) { return capture->format; }
size_t plb_capture_samples(const plb_capture *capture) { return capture->samples; }
double plb_capture_rate_hz(const plb_capture *capture) { return capture->rate_hz; }
double plb_capture_start_s(const plb_capture *capture) { return capture->start_s; }
size_t plb_capture_channels(const plb_capture *capture) { return capture->channels; }
const char *plb_capture_role(const plb_capture *capture, size_t channel) { return capture->channel[channel].role; }
const char *plb_capture_unit(const plb_capture *capture, size_t channel) { return capture->channel[channel].unit; }
int plb_capture_column(const plb_capture *capture, size_t channel) { return capture->channel[channel].column; }
double plb_capture_factor(const plb_capture *capture, size_t channel) { return capture->channel[channel].factor; }
size_t plb_capture_notes(const plb_capture *capture) { return capture->notes; }
const char *plb_capture_note(const plb_capture *capture, size_t index) { return capture->note[index]; }
size_t plb_capture_applieds(const plb_capture *capture) { return capture->applieds; }
const char *plb_capture_applied(const plb_capture *capture, size_t index) { return capture->applied[index]; }

int plb_capture_find(const plb_capture *capture, const char *role) {
  for (size_t i = 0; i < capture->channels; i++)
    if (strcmp(capture->channel[i].role, role) == 0)
      return (int)i;
  return -1;
}
