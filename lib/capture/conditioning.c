/*
 * What is done to a recording before it is looked at, in this order whatever the order it was asked in: rated range, zero, scale, invert, AC
 * coupling, filter. Every step leaves a sentence in the capture, so that nothing is done in silence.
 */
#include "capture/capture.h"
#include "signal/filter.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- words behind an option */

static const char *const option_name[] = {"rated", "zero", "scale", "invert", "ac-couple", "filter"};

static plb_status fail_form(const plb_conditioning *c, const char *text, plb_error *err) {
  static const char *const form[] = {"[ROLE=]LOW..HIGH, as in --rated -10..10", "[ROLE=]FROM..TO, as in --zero 0s..0.5s",
                                     "ROLE=SIZE/UNIT[@LEVEL] or ROLE=N:1, as in --scale pump=100mV/A, --scale map=1V/bar@0.5V, --scale coil=20:1",
                                     "ROLE, as in --invert crank", "ROLE=CORNER or ROLE=mean, as in --ac-couple ripple=5Hz",
                                     "ROLE=low-pass:CORNER or high-pass, band-pass:LOW..HIGH, band-stop[,order=N], as in --filter map=low-pass:1kHz"};
  return plb_fail(err, PLB_EUSAGE, "%.100s cannot be understood; write %s", text, form[c->kind]);
}

/* The role before '=', if there is one; what is left. NULL: too long. */
static const char *take_role(plb_conditioning *c, const char *text) {
  const char *equals = strchr(text, '=');
  if (!equals || (c->kind == PLB_CONDITION_FILTER && strchr(text, ':') && equals > strchr(text, ':')))
    return text;
  const size_t n = (size_t)(equals - text);
  if (n == 0 || n >= sizeof c->role)
    return NULL;
  memcpy(c->role, text, n);
  c->role[n] = '\0';
  return equals + 1;
}

/* "0s..0.5s": each end with its own unit, or in the base unit. */
static bool read_range(const char *text, const char *unit, double *low, double *high) {
  char first[PLB_NAME_SIZE];
  const char *dots = strstr(text, "..");
  plb_error none = PLB_ERROR_INIT;
  if (!dots || (size_t)(dots - text) >= sizeof first)
    return false;
  memcpy(first, text, (size_t)(dots - text));
  first[dots - text] = '\0';
  return plb_text_quantity(first, unit, low, &none) == PLB_OK && plb_text_quantity(dots + 2, unit, high, &none) == PLB_OK && *low < *high;
}

/* "-10..10", "-10V..10V"; the unit is turned into the channel's when the step is applied. */
static bool read_rated(plb_conditioning *c, const char *text) {
  const char *dots = strstr(text, "..");
  if (!dots)
    return false;
  const size_t first = strspn(text, "0123456789eE+-."), last = strspn(dots + 2, "0123456789.eE+-");
  const size_t digits = first < (size_t)(dots - text) ? first : (size_t)(dots - text);
  const char *unit = dots + 2 + last;
  const bool alike = text + digits == dots || (strlen(unit) == (size_t)(dots - text) - digits && strncmp(text + digits, unit, strlen(unit)) == 0);
  return alike && plb_text_number(text, digits, &c->low) && plb_text_number(dots + 2, last, &c->high) && c->low < c->high &&
         (!*unit || plb_unit_known(unit)) && plb_text_copy(c->unit, sizeof c->unit, unit);
}

/* "100mV/A", "1V/bar@0.5V", "20:1" */
static bool read_scale(plb_conditioning *c, const char *text) {
  plb_error none = PLB_ERROR_INIT;
  char size[PLB_NAME_SIZE];
  const char *colon = strstr(text, ":1"), *slash = strchr(text, '/'), *at = strchr(text, '@');
  if (colon && colon[2] == '\0') {
    c->unit[0] = c->per[0] = '\0';
    c->low = 1.0;
    return plb_text_number(text, (size_t)(colon - text), &c->high) && c->high > 0.0;
  }
  if (!slash || (at && at < slash) || (size_t)(slash - text) >= sizeof size)
    return false;
  memcpy(size, text, (size_t)(slash - text));
  size[slash - text] = '\0';
  const size_t digits = strspn(size, "0123456789.eE+-"), unit_size = at ? (size_t)(at - slash - 1) : strlen(slash + 1);
  if (unit_size == 0 || unit_size >= sizeof c->per || !plb_text_copy(c->unit, sizeof c->unit, size + digits))
    return false;
  memcpy(c->per, slash + 1, unit_size);
  c->per[unit_size] = '\0';
  return plb_text_number(size, digits, &c->low) && c->low != 0.0 && plb_unit_known(c->unit) && plb_unit_known(c->per) &&
         (!at || plb_text_quantity(at + 1, c->unit, &c->high, &none) == PLB_OK);
}

static bool read_filter(plb_conditioning *c, char *text) {
  static const char *const shape[] = {"low-pass:", "high-pass:", "band-pass:", "band-stop:"};
  plb_error none = PLB_ERROR_INIT;
  double order = 2.0;
  char *comma = strchr(text, ',');
  if (comma) {
    *comma = '\0';
    if (strncmp(comma + 1, "order=", 6) != 0 || !plb_text_number(comma + 7, strlen(comma + 7), &order))
      return false;
  }
  c->order = order >= 1.0 && order <= PLB_FILTER_ORDER_MOST && order == floor(order) ? (unsigned)order : 0;
  for (int k = 0; k < 4; k++) {
    const size_t n = strlen(shape[k]);
    if (strncmp(text, shape[k], n) != 0)
      continue;
    c->shape = k;
    return c->order > 0 && (k < 2 ? plb_text_quantity(text + n, "Hz", &c->low, &none) == PLB_OK && c->low > 0.0
                                  : read_range(text + n, "Hz", &c->low, &c->high) && c->low > 0.0);
  }
  return false;
}

plb_status plb_conditioning_parse(plb_conditioning_kind kind, const char *text, plb_conditioning *out, plb_error *err) {
  plb_error none = PLB_ERROR_INIT;
  char rest[PLB_TEXT_SIZE];
  *out = (plb_conditioning){.kind = kind};
  if (!plb_text_copy(out->text, sizeof out->text, text))
    return plb_fail(err, PLB_EUSAGE, "the text is too long");
  const char *value = kind == PLB_CONDITION_INVERT ? "" : take_role(out, text);
  if (!value || !plb_text_copy(rest, sizeof rest, value))
    return fail_form(out, text, err);
  bool good = false;
  switch (kind) {
  case PLB_CONDITION_RATED:
    good = read_rated(out, rest);
    break;
  case PLB_CONDITION_ZERO:
    good = read_range(rest, "s", &out->low, &out->high);
    break;
  case PLB_CONDITION_SCALE:
    good = out->role[0] && read_scale(out, rest);
    break;
  case PLB_CONDITION_INVERT:
    good = text[0] && plb_text_copy(out->role, sizeof out->role, text);
    break;
  case PLB_CONDITION_AC_COUPLE:
    out->mean = strcmp(rest, "mean") == 0;
    good = out->role[0] && (out->mean || (plb_text_quantity(rest, "Hz", &out->low, &none) == PLB_OK && out->low > 0.0));
    break;
  case PLB_CONDITION_FILTER:
    good = out->role[0] && read_filter(out, rest);
    break;
  }
  return good ? PLB_OK : fail_form(out, text, err);
}

/* ---- steps */

static void note(plb_capture *capture, const plb_conditioning *c, const char *role, const char *text) {
  plb_capture_add_applied(capture, "%s, %s: %s", option_name[c->kind], role, text);
}

/* value = offset + factor * value, without touching the samples where they are codes. */
static plb_status take_line(plb_capture *capture, plb_channel *ch, double factor, double offset, plb_error *err) {
  plb_samples *s = &ch->samples;
  if (!isfinite(factor) || !isfinite(offset))
    return plb_fail(err, PLB_EUSAGE, "the numbers are too large; check them");
  if (!s->code) {
    for (size_t i = 0; i < capture->samples; i++)
      s->real[i] = offset / ch->factor + factor * s->real[i];
    return PLB_OK;
  }
  if (s->decimals >= 0) {
    s->scale = pow(10.0, -s->decimals);
    s->offset = 0.0;
    s->decimals = -1;
  }
  s->scale *= factor;
  s->offset = s->offset * factor + offset / ch->factor;
  return PLB_OK;
}

static plb_status to_real(plb_capture *capture, size_t c, double **out, plb_error *err) {
  *out = plb_capture_copy_values(capture, c);
  if (!*out)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for %zu samples; use a shorter recording", capture->samples);
  for (size_t i = 0; i < capture->samples; i++) {
    if (!isfinite((*out)[i])) {
      free(*out);
      *out = NULL;
      return plb_fail(err, PLB_EDATA, "%s has missing samples, which a filter would spread; export it without gaps",
                      capture->channel[c].role);
    }
  }
  return PLB_OK;
}

/* The values, factor included, take the place of the samples. */
static void keep_real(plb_channel *ch, double *values) {
  free(ch->samples.code);
  free(ch->samples.real);
  ch->samples = (plb_samples){.real = values, .scale = 1.0};
  ch->factor = 1.0;
}

/* " V", or nothing. */
static const char *unit_of(const plb_channel *ch, char out[PLB_UNIT_SIZE + 1]) {
  plb_text_print(out, PLB_UNIT_SIZE + 1, "%s%s", strcmp(ch->unit, "1") == 0 ? "" : " ", strcmp(ch->unit, "1") == 0 ? "" : ch->unit);
  return out;
}

static plb_status apply_rated(plb_capture *capture, size_t c, const plb_conditioning *step, plb_error *err) {
  plb_channel *ch = &capture->channel[c];
  char text[PLB_TEXT_SIZE], unit[PLB_UNIT_SIZE + 1];
  size_t beyond = 0;
  double low = step->low, high = step->high;
  if (step->unit[0] && strcmp(ch->unit, "1") != 0 &&
      (!plb_unit_convert(low, step->unit, ch->unit, &low) || !plb_unit_convert(high, step->unit, ch->unit, &high)))
    return plb_fail(err, PLB_EUSAGE, "%s is in %s, which %s cannot be turned into; give its real unit with --channel", ch->role, ch->unit, step->unit);
  double *x = plb_capture_copy_values(capture, c);
  if (!x)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for %zu samples; use a shorter recording", capture->samples);
  for (size_t i = 0; i < capture->samples; i++)
    beyond += x[i] <= low || x[i] >= high;
  free(x);
  ch->at_rail = beyond;

  plb_text_print(text, sizeof text,
                 "%.6g to %.6g%s; %zu of %zu samples at or beyond it; never measure beyond the rating of instrument, probe and leads", low, high,
                 unit_of(ch, unit), beyond, capture->samples);
  note(capture, step, ch->role, text);
  return PLB_OK;
}

static plb_status apply_zero(plb_capture *capture, size_t c, const plb_conditioning *step, plb_error *err) {
  plb_channel *ch = &capture->channel[c];
  char text[PLB_TEXT_SIZE], unit[PLB_UNIT_SIZE + 1];
  const double rate = capture->rate_hz, end_s = capture->start_s + ((double)capture->samples - 1.0) / rate;
  const double first = ceil((step->low - capture->start_s) * rate - 1e-6), last = floor((step->high - capture->start_s) * rate + 1e-6);
  if (!(first >= 0.0 && last < (double)capture->samples && last >= first))
    return plb_fail(err, PLB_EUSAGE, "%.6g to %.6g s is not inside the recording, which goes from %.6g to %.6g s; name a section inside it",
                    step->low, step->high, capture->start_s, end_s);
  const size_t from = (size_t)first, n = (size_t)(last - first) + 1;
  double *x = plb_resize(NULL, n, sizeof *x), sum = 0.0, square = 0.0;
  size_t count = 0;
  if (!x)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for %zu samples; use a shorter section", n);
  plb_capture_values(capture, c, from, n, x);
  for (size_t i = 0; i < n; i++)
    if (isfinite(x[i])) {
      sum += x[i];
      count++;
    }
  const double mean = count ? sum / (double)count : (double)NAN;
  for (size_t i = 0; i < n; i++)
    square += isfinite(x[i]) ? (x[i] - mean) * (x[i] - mean) : 0.0;
  free(x);
  if (!count)
    return plb_fail(err, PLB_EDATA, "%s has no sample between %.6g and %.6g s; name another section", ch->role, step->low, step->high);
  plb_text_print(text, sizeof text, "%.6g%s taken off, the mean of %zu samples from %.6g to %.6g s (RMS about it %.3g%s)", mean, unit_of(ch, unit), count,
                 step->low, step->high, sqrt(square / (double)count), unit_of(ch, unit));
  note(capture, step, ch->role, text);
  return take_line(capture, ch, 1.0, -mean, err);
}

static plb_status apply_scale(plb_capture *capture, size_t c, const plb_conditioning *step, plb_error *err) {
  plb_channel *ch = &capture->channel[c];
  char text[PLB_TEXT_SIZE], to[PLB_UNIT_SIZE];
  double size = step->low, level = step->high;
  if (step->per[0] == '\0') {
    plb_text_print(text, sizeof text, "times %.6g, an attenuator of %.6g:1", step->high, step->high);
    note(capture, step, ch->role, text);
    return take_line(capture, ch, step->high, 0.0, err);
  }
  if (strcmp(ch->unit, "1") != 0 && (!plb_unit_convert(size, step->unit, ch->unit, &size) || !plb_unit_convert(level, step->unit, ch->unit, &level)))
    return plb_fail(err, PLB_EUSAGE, "%s is in %s, which %s cannot be turned into; give its real unit with --channel", ch->role, ch->unit, step->unit);
  plb_text_copy(to, sizeof to, step->per);
  if (level == 0.0)
    plb_text_print(text, sizeof text, "%.6g %s is one %s", step->low, step->unit, to);
  else
    plb_text_print(text, sizeof text, "%.6g %s is one %s, from %.6g %s on", step->low, step->unit, to, step->high, step->unit);
  note(capture, step, ch->role, text);
  const plb_status status = take_line(capture, ch, 1.0 / size, -level / size, err);
  plb_text_copy(ch->unit, sizeof ch->unit, to);
  return status;
}

static plb_status apply_invert(plb_capture *capture, size_t c, const plb_conditioning *step, plb_error *err) {
  note(capture, step, capture->channel[c].role, "turned over");
  return take_line(capture, &capture->channel[c], -1.0, 0.0, err);
}

static double mean_of(const double *x, size_t n) {
  double sum = 0.0;
  for (size_t i = 0; i < n; i++)
    sum += x[i];
  return n ? sum / (double)n : 0.0;
}

/* The high pass that an AC-coupled input is: one pole, once through, settled at the recording's average before its first sample. */
static plb_status apply_ac_couple(plb_capture *capture, size_t c, const plb_conditioning *step, plb_error *err) {
  plb_channel *ch = &capture->channel[c];
  plb_filter filter;
  char text[PLB_TEXT_SIZE], unit[PLB_UNIT_SIZE + 1];
  double *x = NULL;
  const plb_status status = to_real(capture, c, &x, err);
  if (status != PLB_OK)
    return status;
  const double mean = mean_of(x, capture->samples);
  for (size_t i = 0; i < capture->samples; i++)
    x[i] -= mean;
  if (step->mean) {
    plb_text_print(text, sizeof text, "the average of the recording, %.6g%s, taken off; nothing sags", mean, unit_of(ch, unit));
  } else if (!plb_filter_butterworth(&filter, PLB_HIGH_PASS, 1, step->low / capture->rate_hz, 0.0)) {
    free(x);
    return plb_fail(err, PLB_EUSAGE, "a corner of %.6g Hz is not below half the sample rate of %.6g Hz; choose a lower one", step->low,
                    capture->rate_hz);
  } else {
    plb_filter_run(&filter, x, capture->samples);
    plb_text_print(text, sizeof text, "high pass of one pole at %.6g Hz (-3 dB there); a level held for 10 ms sags by %.3g %%", step->low,
                   100.0 * (1.0 - exp(-0.01 * 6.283185307179586 * step->low)));
  }
  keep_real(ch, x);
  note(capture, step, ch->role, text);
  return PLB_OK;
}

static plb_status apply_filter(plb_capture *capture, size_t c, const plb_conditioning *step, plb_error *err) {
  static const char *const shape[] = {"low pass", "high pass", "band pass", "band stop"};
  const bool band = step->shape >= 2;
  plb_filter filter;
  char text[PLB_TEXT_SIZE], corners[PLB_NAME_SIZE];
  double *x = NULL;
  if (!plb_filter_butterworth(&filter, (plb_filter_shape)step->shape, step->order, step->low / capture->rate_hz, step->high / capture->rate_hz))
    return plb_fail(err, PLB_EUSAGE, "a corner of %.6g Hz is not below half the sample rate of %.6g Hz; choose a lower one",
                    band ? step->high : step->low, capture->rate_hz);
  plb_status status = to_real(capture, c, &x, err);
  if (status == PLB_OK)
    status = plb_filter_zero_phase(&filter, x, capture->samples, err);
  if (status != PLB_OK) {
    free(x);
    return status;
  }
  if (band)
    plb_text_print(corners, sizeof corners, "%.6g to %.6g Hz", step->low, step->high);
  else
    plb_text_print(corners, sizeof corners, "%.6g Hz", step->low);
  plb_text_print(text, sizeof text, "%s %s, Butterworth of order %u, forwards and backwards: nothing shifted in time, -6 dB at each corner",
                 shape[step->shape], corners, step->order);
  keep_real(&capture->channel[c], x);
  note(capture, step, capture->channel[c].role, text);
  return PLB_OK;
}

static plb_status apply(plb_capture *capture, size_t c, const plb_conditioning *step, plb_error *err) {
  static plb_status (*const act[])(plb_capture *, size_t, const plb_conditioning *, plb_error *) = {apply_rated,  apply_zero,      apply_scale,
                                                                                                   apply_invert, apply_ac_couple, apply_filter};
  return act[step->kind](capture, c, step, err);
}

static plb_status fail_role(const plb_capture *capture, const plb_conditioning *step, plb_error *err) {
  char roles[PLB_TEXT_SIZE] = "";
  for (size_t c = 0; c < capture->channels && strlen(roles) + PLB_NAME_SIZE < sizeof roles; c++)
    plb_text_print(roles + strlen(roles), sizeof roles - strlen(roles), "%s%s", c ? ", " : "", capture->channel[c].role);
  return plb_fail(err, PLB_EUSAGE, "--%s %s: there is no channel %s; there are %s", option_name[step->kind], step->text, step->role, roles);
}

plb_status plb_capture_condition(plb_capture *capture, const plb_conditioning *list, size_t count, plb_error *err) {
  for (int kind = PLB_CONDITION_RATED; kind <= PLB_CONDITION_FILTER; kind++) {
    for (size_t i = 0; i < count; i++) {
      const plb_conditioning *step = &list[i];
      bool found = false;
      if ((int)step->kind != kind)
        continue;
      for (size_t c = 0; c < capture->channels; c++) {
        if (step->role[0] && strcmp(step->role, capture->channel[c].role) != 0)
          continue;
        found = true;
        const plb_status status = apply(capture, c, step, err);
        if (status != PLB_OK)
          return plb_fail_path(err, status, capture->path);
      }
      if (!found)
        return plb_fail_path(err, fail_role(capture, step, err), capture->path);
    }
  }
  return PLB_OK;
}
