#include "capture/capture.h"
#include <math.h>
#include <string.h>

static bool all_digits(const char *text) { return text[0] && text[strspn(text, "0123456789")] == '\0'; }

static plb_status split_column(const char *text, plb_channel_map *out, plb_error *err) {
  if (!all_digits(text)) {
    if (!plb_text_copy(out->header, sizeof out->header, text) || text[0] == '\0')
      return plb_fail(err, PLB_EUSAGE,
                      "the column of channel \"%s\" is missing or too long; write ROLE=COLUMN[:UNIT[:FACTOR]]",
                      out->role);
    return PLB_OK;
  }
  double column = 0.0;
  if (strlen(text) > 6 || !plb_text_number(text, strlen(text), &column) || column < 1.0)
    return plb_fail(err, PLB_EUSAGE, "there is no column %s; columns count from 1", text);
  out->column = (int)column;
  return PLB_OK;
}

/* The unit is a UCUM code, or a word people use for one. */
static plb_status split_unit(const char *text, plb_channel_map *out, plb_error *err) {
  if (text[0] == '\0')
    return PLB_OK;
  const char *unit = plb_unit_known(text) ? text : plb_unit_from_label(text);
  if (!unit || !plb_text_copy(out->unit, sizeof out->unit, unit))
    return plb_fail(err, PLB_EUSAGE,
                    "the unit \"%.40s\" is not known; write a UCUM code such as V, mV, A, Hz, kPa or 1", text);
  return PLB_OK;
}

/* UCUM codes have no colon, header names may: unit and factor are what stands behind the last ones. */
plb_status plb_channel_map_parse(const char *text, plb_channel_map *out, plb_error *err) {
  *out = (plb_channel_map){.factor = 1.0};
  char copy[3 * PLB_NAME_SIZE];
  const char *equals = strchr(text, '=');
  if (!equals || equals == text || !plb_text_copy(copy, sizeof copy, text))
    return plb_fail(err, PLB_EUSAGE, "\"%.60s\" names no channel; write ROLE=COLUMN[:UNIT[:FACTOR]]", text);
  copy[equals - text] = '\0';
  if (!plb_text_copy(out->role, sizeof out->role, copy))
    return plb_fail(err, PLB_EUSAGE, "the role \"%.60s\" is too long; use at most 63 characters", copy);
  char *column = copy + (equals - text) + 1;
  char *unit = strchr(column, ':');
  char *factor = NULL;
  if (unit) {
    *unit++ = '\0';
    factor = strchr(unit, ':');
  }
  if (factor)
    *factor++ = '\0';
  plb_status status = split_column(column, out, err);
  if (status == PLB_OK && unit)
    status = split_unit(unit, out, err);
  if (status == PLB_OK && factor) {
    const bool number = plb_text_number(factor, strlen(factor), &out->factor);
    if (!number || out->factor == 0.0 || !isfinite(out->factor))
      return plb_fail(err, PLB_EUSAGE,
                      "the factor \"%.40s\" is no number other than nought; write for example 10 or 0.1", factor);
  }
  return status;
}

void plb_capture_list_columns(const plb_capture *capture, char *out, size_t size) {
  size_t used = 0;
  if (capture->columns[0]) {
    plb_text_say(out, size, "%s", capture->columns);
    return;
  }
  out[0] = '\0';
  for (size_t i = 0; i < capture->channels && used + 1 < size; i++) {
    const plb_channel *c = &capture->channel[i];
    char item[PLB_NAME_SIZE + 24];
    plb_text_print(item, sizeof item, c->header[0] ? "%s%d \"%s\"" : "%s%d", i > 0 ? ", " : "", c->column, c->header);
    if (used + strlen(item) + 5 >= size) {
      memcpy(out + used, ", ...", used + 6 <= size ? 6 : 1);
      return;
    }
    memcpy(out + used, item, strlen(item) + 1);
    used += strlen(item);
  }
}

static bool same_ignoring_case(const char *a, const char *b) {
  char low_a[PLB_NAME_SIZE], low_b[PLB_NAME_SIZE];
  if (!plb_text_copy(low_a, sizeof low_a, a) || !plb_text_copy(low_b, sizeof low_b, b))
    return false;
  plb_text_lower(low_a);
  plb_text_lower(low_b);
  return strcmp(low_a, low_b) == 0;
}

/* By number; or by header: as the file has it, then without its unit, then in any case of letters. */
static int find_channel(const plb_capture *capture, const plb_channel_map *map) {
  for (int pass = 0; pass < 3; pass++) {
    for (size_t i = 0; i < capture->channels; i++) {
      const plb_channel *c = &capture->channel[i];
      const bool found = map->column > 0 ? c->column == map->column
                         : pass == 0     ? strcmp(c->header, map->header) == 0
                         : pass == 1
                             ? strcmp(c->role, map->header) == 0
                             : same_ignoring_case(c->header, map->header) || same_ignoring_case(c->role, map->header);
      if (found)
        return (int)i;
    }
  }
  return -1;
}

static plb_status copy_samples(const plb_samples *from, size_t n, plb_samples *out, plb_error *err) {
  *out = *from;
  const size_t size = from->code ? sizeof(int32_t) : sizeof(double);
  void *copy = plb_resize(NULL, n > 0 ? n : 1, size);
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  memcpy(copy, from->code ? (const void *)from->code : (const void *)from->real, n * size);
  out->code = from->code ? copy : NULL;
  out->real = from->code ? NULL : copy;
  return PLB_OK;
}

/* value * 10^-places stays exact as long as the decimals allow it. */
static bool shift_decimals(plb_samples *s, double slope) {
  double power = 1.0;
  for (int places = 0; places <= 12 && s->code && s->decimals >= 0; places++, power *= 10.0) {
    if (slope * power == 1.0 && s->decimals + places <= 22) {
      s->decimals += places;
      return true;
    }
    if (slope == power && s->decimals >= places) {
      s->decimals -= places;
      return true;
    }
  }
  return false;
}

/* The file says mV and the user asks for V: the samples are converted; V and A cannot be: the user's unit holds. */
static void convert_unit(plb_channel *channel, size_t n, const char *unit) {
  const double far = 1048576.0; /* a power of two, far enough out for the slope to keep its digits beside an offset */
  double zero = 0.0, end = far;
  const bool known = strcmp(channel->unit, "1") != 0;
  if (unit[0] == '\0' || strcmp(unit, channel->unit) == 0)
    return;
  if (known && plb_unit_convert(0.0, channel->unit, unit, &zero) && plb_unit_convert(far, channel->unit, unit, &end)) {
    plb_samples *s = &channel->samples;
    const double slope = (end - zero) / far;
    if (s->real) {
      for (size_t i = 0; i < n; i++)
        s->real[i] = s->real[i] * slope + zero;
    } else if (zero != 0.0 || !shift_decimals(s, slope)) {
      double divisor = 1.0;
      for (int i = 0; i < s->decimals; i++)
        divisor *= 10.0;
      const double scale = s->decimals < 0 ? s->scale : 1.0 / divisor;
      s->offset = (s->decimals < 0 ? s->offset : 0.0) * slope + zero;
      s->scale = scale * slope;
      s->decimals = -1;
    }
  }
  plb_text_copy(channel->unit, sizeof channel->unit, unit);
}

static plb_status check_maps(const plb_channel_map *maps, size_t count, plb_error *err) {
  if (count == 0)
    return plb_fail(err, PLB_EUSAGE, "no channel is named; write --channel ROLE=COLUMN[:UNIT[:FACTOR]]");
  for (size_t i = 0; i < count; i++) {
    for (size_t k = 0; k < i; k++)
      if (strcmp(maps[i].role, maps[k].role) == 0)
        return plb_fail(err, PLB_EUSAGE, "the role \"%s\" is given twice; name each channel once", maps[i].role);
    if (maps[i].unit[0] && !plb_unit_known(maps[i].unit))
      return plb_fail(err, PLB_EUSAGE, "the unit \"%s\" is not known; write a UCUM code such as V, mV, A, Hz, kPa or 1",
                      maps[i].unit);
    if (!isfinite(maps[i].factor) || maps[i].factor == 0.0)
      return plb_fail(err, PLB_EUSAGE,
                      "the factor of channel \"%s\" is no number other than nought; write for example 10 or 0.1",
                      maps[i].role);
  }
  return PLB_OK;
}

static plb_status fail_column(const plb_capture *capture, const plb_channel_map *map, plb_error *err) {
  char list[256];
  plb_capture_list_columns(capture, list, sizeof list);
  if (map->column > 0)
    return plb_fail(err, PLB_EDATA, "column %d holds no channel; there are: %s", map->column, list);
  return plb_fail(err, PLB_EDATA, "no column is named \"%s\"; there are: %s", map->header, list);
}

/* Whether a later map takes the same column, so that the samples must be copied and not moved. */
static bool is_wanted_again(const plb_capture *capture, const plb_channel_map *maps, size_t at, size_t count,
                            int channel) {
  for (size_t i = at + 1; i < count; i++)
    if (find_channel(capture, &maps[i]) == channel)
      return true;
  return false;
}

static plb_status map_channel(plb_capture *capture, const plb_channel_map *maps, size_t at, size_t count,
                              plb_channel *out, plb_error *err) {
  const int found = find_channel(capture, &maps[at]);
  plb_channel *from = &capture->channel[found];
  *out = *from;
  if (is_wanted_again(capture, maps, at, count, found)) {
    const plb_status status = copy_samples(&from->samples, capture->samples, &out->samples, err);
    if (status != PLB_OK)
      return status;
  } else {
    from->samples.code = NULL;
    from->samples.real = NULL;
  }
  plb_text_copy(out->role, sizeof out->role, maps[at].role);
  convert_unit(out, capture->samples, maps[at].unit);
  out->factor = maps[at].factor;
  return PLB_OK;
}

static void free_channels(plb_channel *channel, size_t count) {
  for (size_t i = 0; i < count; i++) {
    free(channel[i].samples.code);
    free(channel[i].samples.real);
  }
  free(channel);
}

plb_status plb_capture_assign(plb_capture *capture, const plb_channel_map *maps, size_t count, plb_error *err) {
  plb_status status = check_maps(maps, count, err);
  for (size_t i = 0; status == PLB_OK && i < count; i++)
    if (find_channel(capture, &maps[i]) < 0)
      status = plb_fail_path(err, fail_column(capture, &maps[i], err), capture->path);
  if (status != PLB_OK)
    return status;
  plb_channel *channel = plb_calloc(count, sizeof *channel);
  if (!channel)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  size_t done = 0;
  while (status == PLB_OK && done < count) {
    status = map_channel(capture, maps, done, count, &channel[done], err);
    done += status == PLB_OK;
  }
  if (status != PLB_OK) { /* out of memory: the capture must not keep channels without samples */
    free_channels(channel, done);
    free_channels(capture->channel, capture->channels);
    capture->channel = NULL;
    capture->channels = 0;
    return plb_fail_path(err, status, capture->path);
  }
  if (capture->columns[0] == '\0')
    plb_capture_list_columns(capture, capture->columns, sizeof capture->columns);
  free_channels(capture->channel, capture->channels);
  capture->channel = channel;
  capture->channels = count;
  return PLB_OK;
}
