#include "reference/block_node.h"
#include "reference/capture_document.h"
#include "reference/identity.h"
#include "reference/limits.h"
#include "reference/schema.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One channel on its way into blocks. */
typedef struct column {
  plb_block form; /* kind, decimals, steps, scale, bits: the same in all blocks */
  const int32_t *code;
  const double *real;
  const bool *absent; /* NULL: none */
  /* owned */
  int32_t *own_code;
  int64_t *decimal;
  bool *own_absent;
} column;

static void dispose_column(column *c) {
  free(c->own_code);
  free(c->decimal);
  free(c->own_absent);
}

/* ---- which form is exact and smallest ---- */

static bool is_decimal(double value, double power, int64_t *out) {
  const double m = round(value * power);
  if (!(fabs(m) <= 9007199254740992.0) || m / power != value) /* 2^53 */
    return false;
  *out = (int64_t)m;
  return !(value == 0.0 && signbit(value));
}

/* The fewest decimals that give every number back, and the numbers as integers; a missing one repeats the one before.
   */
static bool find_decimals(const double *value, size_t n, int *decimals, int64_t *out) {
  *decimals = 0;
  double power = 1.0;
  for (size_t i = 0; i < n; i++) {
    while (!isnan(value[i]) && !is_decimal(value[i], power, &out[i])) {
      if (++*decimals > PLB_DECIMALS_MOST)
        return false;
      power *= 10.0;
    }
  }
  int64_t last = 0;
  for (size_t i = 0; i < n; i++) {
    if (!isnan(value[i]) && !is_decimal(value[i], power, &last))
      return false;
    out[i] = last;
  }
  return true;
}

static bool all_narrow(const double *value, size_t n) {
  for (size_t i = 0; i < n; i++)
    if (!isnan(value[i]) && (fabs(value[i]) > 3.4028234663852886e38 || (double)(float)value[i] != value[i]))
      return false;
  return true;
}

/* Runs of missing values as a block's attribute; false when they do not fit a tag. */
static bool list_missing(const bool *absent, size_t n, char *out, size_t size) {
  size_t used = 0;
  out[0] = '\0';
  for (size_t i = 0; i < n; i++) {
    if (!absent[i])
      continue;
    size_t end = i;
    while (end < n && absent[end])
      end++;
    if (used + 16 > size)
      return false;
    used += (size_t)plb_text_print(out + used, size - used, used ? " %zu %zu" : "%zu %zu", i, end - i);
    i = end;
  }
  return true;
}

enum { MISSING_ROOM = 8192 };

static bool missing_fit(const bool *absent, size_t n) {
  char text[MISSING_ROOM];
  for (size_t first = 0; first < n; first += PLB_BLOCK_MOST)
    if (!list_missing(absent + first, n - first < PLB_BLOCK_MOST ? n - first : PLB_BLOCK_MOST, text, sizeof text))
      return false;
  return true;
}

/* Numbers as decimals, if that is exact: steps where a recorder's step shows, else the integers themselves. */
static plb_status use_decimals(column *c, size_t n, int decimals, bool *fits, plb_error *err) {
  bool steps;
  *fits = true;
  c->form.decimals = decimals;
  c->code = c->own_code;
  const plb_status status = plb_steps_find(c->decimal, n, &c->form.steps, c->own_code, &steps, err);
  c->form.kind = steps ? PLB_BLOCK_STEPS : PLB_BLOCK_INTEGERS;
  for (size_t i = 0; i < n && !steps && *fits; i++) {
    *fits = c->decimal[i] >= INT32_MIN && c->decimal[i] <= INT32_MAX;
    c->own_code[i] = (int32_t)(*fits ? c->decimal[i] : 0);
  }
  return status;
}

static plb_status prepare_real(column *c, const double *value, size_t n, plb_error *err) {
  c->decimal = plb_calloc(n, sizeof *c->decimal);
  c->own_code = plb_calloc(n, sizeof *c->own_code);
  c->own_absent = plb_calloc(n, sizeof *c->own_absent);
  if (!c->decimal || !c->own_code || !c->own_absent)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  bool any = false;
  for (size_t i = 0; i < n; i++) {
    c->own_absent[i] = isnan(value[i]);
    any = any || c->own_absent[i];
  }
  int decimals;
  if (find_decimals(value, n, &decimals, c->decimal) && (!any || missing_fit(c->own_absent, n))) {
    bool fits;
    const plb_status status = use_decimals(c, n, decimals, &fits, err);
    if (status != PLB_OK || fits) {
      c->absent = any ? c->own_absent : NULL;
      return status;
    }
  }
  c->form = (plb_block){.kind = PLB_BLOCK_FLOATS, .bits = all_narrow(value, n) ? 32 : 64};
  c->real = value;
  return PLB_OK;
}

static plb_status prepare_codes(column *c, const plb_samples *s, size_t n, plb_error *err) {
  c->code = s->code;
  if (s->decimals < 0) {
    c->form = (plb_block){.kind = PLB_BLOCK_CODES, .scale = s->scale, .offset = s->offset};
    return PLB_OK;
  }
  c->decimal = plb_calloc(n, sizeof *c->decimal);
  c->own_code = plb_calloc(n, sizeof *c->own_code);
  if (!c->decimal || !c->own_code)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  for (size_t i = 0; i < n; i++)
    c->decimal[i] = s->code[i];
  bool fits;
  return use_decimals(c, n, s->decimals, &fits, err);
}

/* ---- writing ---- */

static plb_status put_blocks(plb_xml *x, plb_packer *packer, const column *c, size_t n, plb_error *err) {
  char missing[MISSING_ROOM];
  plb_status status = PLB_OK;
  for (size_t first = 0; first < n && status == PLB_OK; first += PLB_BLOCK_MOST) {
    plb_block block = c->form;
    block.count = n - first < PLB_BLOCK_MOST ? n - first : PLB_BLOCK_MOST;
    if (c->absent && list_missing(c->absent + first, block.count, missing, sizeof missing))
      block.missing = missing;
    status = c->form.kind == PLB_BLOCK_FLOATS ? plb_block_write_floats(x, packer, &block, c->real + first, err)
                                              : plb_block_write_codes(x, packer, &block, c->code + first, err);
  }
  return status;
}

static plb_status put_channel(plb_xml *x, plb_packer *packer, const plb_capture *capture, const plb_channel *channel,
                              plb_error *err) {
  const plb_samples *s = &channel->samples;
  column c = {.absent = NULL};
  plb_xml_open(x, "channel");
  plb_xml_attribute(x, "role", channel->role);
  plb_xml_attribute(x, "unit", channel->unit[0] ? channel->unit : "1");
  plb_xml_number(x, "factor", channel->factor);
  if (channel->column > 0)
    plb_xml_integer(x, "column", channel->column);
  plb_xml_attribute(x, "header", channel->header);
  plb_xml_attribute(x, "stored", s->code ? "codes" : "numbers");
  if (s->code && (s->code_low != 0 || s->code_high != 0)) {
    plb_xml_integer(x, "code-low", s->code_low);
    plb_xml_integer(x, "code-high", s->code_high);
  }
  plb_status status =
      s->code ? prepare_codes(&c, s, capture->samples, err) : prepare_real(&c, s->real, capture->samples, err);
  if (status == PLB_OK)
    status = put_blocks(x, packer, &c, capture->samples, err);
  plb_xml_close(x, "channel");
  dispose_column(&c);
  return status;
}

static void put_conditions(plb_xml *x, const plb_capture_about *about) {
  if (about->conditions == 0)
    return;
  plb_xml_open(x, "conditions");
  for (size_t i = 0; i < about->conditions; i++) {
    const plb_condition *c = &about->condition[i];
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
    plb_xml_close(x, element);
  }
  plb_xml_close(x, "conditions");
}

/* The file's name without folders: those are nobody else's business. */
static const char *source_of(const plb_capture *capture, const plb_capture_about *about) {
  if (about->source[0])
    return about->source;
  const char *slash = strrchr(capture->path, '/');
  const char *name = slash ? slash + 1 : capture->path;
  return strlen(name) < PLB_TEXT_SIZE ? name : "";
}

static plb_status put_capture(plb_xml *x, plb_packer *packer, const plb_capture *c, const plb_capture_about *about,
                              plb_error *err) {
  plb_status status = PLB_OK;
  plb_xml_open(x, "capture");
  plb_xml_attribute(x, "xmlns", PLB_REFERENCE_NAMESPACE);
  plb_xml_attribute(x, "id", "00000000000000000000000000000000");
  plb_xml_integer(x, "samples", (int64_t)c->samples);
  plb_xml_number(x, "rate-hz", c->rate_hz);
  plb_xml_number(x, "start-s", c->start_s);
  if (c->uneven != 0.0)
    plb_xml_number(x, "uneven", c->uneven);
  if (c->gap_row > 0)
    plb_xml_integer(x, "gap-row", (int64_t)c->gap_row);
  if (c->pairs)
    plb_xml_flag(x, "pairs", true);
  plb_xml_attribute(x, "format", c->format);
  plb_xml_attribute(x, "source", source_of(c, about));
  plb_xml_attribute(x, "sha256", c->sha256);
  plb_xml_attribute(x, "date", about->date); /* last: no line break may depend on it, the id does not */
  plb_xml_text(x, "place", about->place);
  put_conditions(x, about);
  for (size_t i = 0; i < c->notes && i < PLB_NOTES_MOST; i++)
    plb_xml_text(x, "note", c->note[i]);
  for (size_t i = 0; i < c->applieds && i < PLB_NOTES_MOST; i++)
    plb_xml_text(x, "applied", c->applied[i]);
  for (size_t i = 0; i < c->channels && status == PLB_OK; i++)
    status = put_channel(x, packer, c, &c->channel[i], err);
  plb_xml_close(x, "capture");
  return status;
}

static plb_status check_size(const plb_capture *c, plb_error *err) {
  if (c->channels == 0 || c->channels > PLB_CHANNELS_MOST || c->samples == 0)
    return plb_fail(err, PLB_EUSAGE, "a capture of %zu channels and %zu samples cannot be kept", c->channels,
                    c->samples);
  if (c->samples > (size_t)PLB_CAPTURE_VALUES_MOST / c->channels)
    return plb_fail(err, PLB_EUSAGE, "the capture has more than %d samples; keep a shorter part of it",
                    PLB_CAPTURE_VALUES_MOST);
  return PLB_OK;
}

plb_status plb_capture_write_buffer(const plb_capture *capture, const plb_capture_about *about, plb_buffer *out,
                                    char *id_out, plb_error *err) {
  enum {
    BASE64_COLUMNS = 4000
  }; /* nobody reads these lines; every line end costs when the document is stored compressed */
  const plb_capture_about nothing = {.conditions = 0};
  plb_xml x;
  plb_capture *again = NULL;
  char id[33];
  plb_status status = check_size(capture, err);
  if (status != PLB_OK)
    return status;
  plb_packer *packer = plb_packer_new();
  if (!packer)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  if (out->most > PLB_DOCUMENT_MOST)
    out->most = PLB_DOCUMENT_MOST;
  plb_xml_init(&x, out, BASE64_COLUMNS);
  status = put_capture(&x, packer, capture, about ? about : &nothing, err);
  if (status == PLB_OK)
    status = plb_xml_check(&x, "keep a shorter part of the capture", err);
  if (status == PLB_OK)
    status = plb_identity_set(out->data, out->size, id, err);
  if (status == PLB_OK)
    status = plb_capture_read_document(&again, out->data, out->size, capture->path, err);
  if (status == PLB_OK)
    status = plb_schema_validate("schema/capture.xsd", out->data, out->size, capture->path, err);
  if (status == PLB_OK && id_out)
    memcpy(id_out, id, sizeof id);
  plb_capture_free(again);
  plb_packer_free(packer);
  return status;
}

plb_status plb_capture_write_document(const plb_capture *capture, const char *path, plb_error *err) {
  plb_buffer out;
  plb_buffer_init(&out, PLB_DOCUMENT_MOST);
  plb_status status = plb_capture_write_buffer(capture, NULL, &out, NULL, err);
  if (status == PLB_OK)
    status = plb_file_write(path, out.data, out.size, err);
  plb_buffer_dispose(&out);
  return status;
}
