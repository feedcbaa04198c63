#include "reference/block_node.h"
#include "reference/capture_document.h"
#include "reference/document.h"
#include "reference/limits.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void plb_capture_about_dispose(plb_capture_about *about) {
  free(about->date);
  free(about->place);
  free(about->condition);
  *about = (plb_capture_about){.conditions = 0};
}

static plb_status fail_memory(plb_error *err) {
  return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
}

static plb_status fail_at(const plb_node *node, plb_error *err, const char *text) {
  return plb_fail_line(err, PLB_EDATA, node->line, 0, "<%s>: %s", node->rule->name, text);
}

/* ---- what is known about it ---- */

static plb_status read_conditions(plb_capture_about *about, const plb_node *root, plb_error *err) {
  const plb_node *list = plb_node_child(root, "conditions");
  if (!list)
    return PLB_OK;
  about->condition = plb_calloc(plb_node_count(list, "word") + plb_node_count(list, "range"), sizeof *about->condition);
  if (!about->condition)
    return fail_memory(err);
  for (const plb_node *c = list->child; c; c = c->next) {
    plb_condition *out = &about->condition[about->conditions++];
    plb_node_copy(c, "name", out->name, sizeof out->name);
    out->stated = true;
    out->low = out->high = NAN;
    if (plb_node_is(c, "word")) {
      plb_node_copy(c, "value", out->word, sizeof out->word);
      continue;
    }
    plb_node_copy(c, "unit", out->unit, sizeof out->unit);
    out->low = plb_node_number(c, "low");
    out->high = plb_node_number(c, "high");
    if (out->low > out->high)
      return fail_at(c, err, "low is above high; correct it");
  }
  return PLB_OK;
}

static plb_status read_about(plb_capture_about *about, const plb_node *root, plb_error *err) {
  const char *date = plb_node_value(root, "date");
  plb_node_copy(root, "id", about->id, sizeof about->id);
  plb_node_copy(root, "source", about->source, sizeof about->source);
  about->date = date ? plb_strdup(date) : NULL;
  if ((date && !about->date) || !plb_node_string(root, "place", &about->place))
    return fail_memory(err);
  return read_conditions(about, root, err);
}

/* ---- samples ---- */

/* The blocks of a channel hold as many values as the capture has samples, and say the same about what the values
   mean. */
static plb_status check_blocks(const plb_node *channel, size_t samples, plb_error *err) {
  plb_block first = {.count = 0}, block;
  size_t total = 0;
  for (const plb_node *b = channel->child; b; b = b->next) {
    const plb_status status = plb_block_from_node(&block, b, err);
    if (status != PLB_OK)
      return status;
    if (total == 0)
      first = block;
    total += block.count;
    const bool both_decimal = first.kind <= PLB_BLOCK_STEPS && block.kind <= PLB_BLOCK_STEPS;
    if ((block.kind != first.kind && !both_decimal) || block.decimals != first.decimals || block.scale != first.scale ||
        block.offset != first.offset)
      return fail_at(b, err, "the blocks of a channel differ in what they mean; get an undamaged copy");
    if (total > samples)
      break;
  }
  return total == samples ? PLB_OK
                          : fail_at(channel, err, "its blocks do not hold as many values as the capture has samples");
}

static plb_status set_missing(const plb_block *block, const plb_node *node, double *value, plb_error *err) {
  size_t past = 0;
  for (const char *text = block->missing; text && *text;) {
    char *end;
    const long long first = strtoll(text, &end, 10);
    if (*end != ' ')
      return fail_at(node, err, "the missing values are not given as pairs; get an undamaged copy");
    const long long count = strtoll(end + 1, &end, 10);
    if (first < (long long)past || count < 1 || first > (long long)block->count - count)
      return fail_at(node, err, "missing values outside the block; get an undamaged copy");
    past = (size_t)(first + count);
    for (long long i = first; i < first + count; i++)
      value[i] = NAN;
    text = *end == ' ' ? end + 1 : end;
  }
  return PLB_OK;
}

/* Codes of one block as integers with decimals. */
static plb_status apply_steps(const plb_block *block, const plb_node *node, int32_t *code, double *value,
                              plb_error *err) {
  const double power = plb_ten_to(block->decimals);
  for (size_t i = 0; i < block->count; i++) {
    int64_t m = code[i];
    if (block->kind == PLB_BLOCK_STEPS && !plb_steps_apply(&block->steps, code[i], &m))
      return fail_at(node, err, "the recorder's step leads out of range; get an undamaged copy");
    if (value)
      value[i] = (double)m / power;
    else if (m < INT32_MIN || m > INT32_MAX)
      return fail_at(node, err, "the values do not fit 32 bits; get an undamaged copy");
    else
      code[i] = (int32_t)m;
  }
  return value ? set_missing(block, node, value, err) : PLB_OK;
}

static plb_status read_block(plb_samples *s, const plb_block *block, const plb_node *node, size_t first,
                             int32_t *scratch, plb_error *err) {
  if (block->kind == PLB_BLOCK_FLOATS)
    return s->code ? fail_at(node, err, "floats in a channel of codes; get an undamaged copy")
                   : plb_block_unpack_floats(block, node->text, node->text_size, s->real + first, err);
  if (s->code && block->missing)
    return fail_at(node, err, "missing values in a channel of codes; get an undamaged copy");
  if (!s->code && block->kind == PLB_BLOCK_CODES)
    return fail_at(node, err, "codes in a channel of numbers; get an undamaged copy");
  int32_t *code = s->code ? s->code + first : scratch;
  const plb_status status = plb_block_unpack_codes(block, node->text, node->text_size, code, err);
  if (status != PLB_OK || block->kind == PLB_BLOCK_CODES)
    return status;
  return apply_steps(block, node, code, s->code ? NULL : s->real + first, err);
}

static plb_status read_samples(plb_samples *s, const plb_node *channel, size_t samples, plb_error *err) {
  int32_t *scratch = NULL;
  plb_status status = check_blocks(channel, samples, err);
  if (status != PLB_OK)
    return status;
  const bool codes = plb_node_word(channel, "stored") == 0;
  *s = (plb_samples){.scale = 1.0,
                     .code_low = (int32_t)plb_node_integer(channel, "code-low", 0),
                     .code_high = (int32_t)plb_node_integer(channel, "code-high", 0)};
  if (codes)
    s->code = plb_resize(NULL, samples, sizeof *s->code);
  else
    s->real = plb_resize(NULL, samples, sizeof *s->real);
  scratch = codes ? NULL : plb_resize(NULL, PLB_BLOCK_MOST, sizeof *scratch);
  if ((codes && !s->code) || (!codes && (!s->real || !scratch))) {
    status = fail_memory(err);
    goto done;
  }
  size_t first = 0;
  for (const plb_node *b = channel->child; b && status == PLB_OK; b = b->next) {
    plb_block block;
    status = plb_block_from_node(&block, b, err);
    if (status == PLB_OK)
      status = read_block(s, &block, b, first, scratch, err);
    if (status != PLB_OK && err->line == 0)
      err->line = b->line;
    if (codes && status == PLB_OK) {
      s->decimals = block.kind == PLB_BLOCK_CODES ? -1 : block.decimals;
      s->scale = block.kind == PLB_BLOCK_CODES ? block.scale : 1.0;
      s->offset = block.offset;
    }
    first += block.count;
  }
done:
  free(scratch);
  return status;
}

static plb_status read_channels(plb_capture *c, const plb_node *root, plb_error *err) {
  for (const plb_node *n = plb_node_child(root, "channel"); n; n = plb_node_from(n->next, "channel")) {
    plb_channel *channel = plb_capture_add_channel(c);
    if (!channel)
      return fail_memory(err);
    plb_node_copy(n, "role", channel->role, sizeof channel->role);
    plb_node_copy(n, "unit", channel->unit, sizeof channel->unit);
    plb_node_copy(n, "header", channel->header, sizeof channel->header);
    channel->factor = plb_node_number(n, "factor");
    channel->column = (int)plb_node_integer(n, "column", 0);
    const plb_status status = read_samples(&channel->samples, n, c->samples, err);
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}

static plb_status read_notes(plb_capture *c, const plb_node *root, plb_error *err) {
  for (const plb_node *n = plb_node_child(root, "note"); n; n = plb_node_from(n->next, "note")) {
    if (n->text_size >= PLB_TEXT_SIZE)
      return fail_at(n, err, "the note is longer than a sentence; shorten it");
    plb_capture_add_note(c, "%s", n->text);
  }
  for (const plb_node *n = plb_node_child(root, "applied"); n; n = plb_node_from(n->next, "applied")) {
    if (n->text_size >= PLB_TEXT_SIZE)
      return fail_at(n, err, "what was applied is longer than a sentence; shorten it");
    plb_capture_add_applied(c, "%s", n->text);
  }
  return PLB_OK;
}

static plb_status read_root(plb_capture *c, const plb_node *root, plb_error *err) {
  c->samples = (size_t)plb_node_integer(root, "samples", 0);
  c->rate_hz = plb_node_number(root, "rate-hz");
  c->start_s = plb_node_number(root, "start-s");
  const double uneven = plb_node_number(root, "uneven");
  c->uneven = isnan(uneven) ? 0.0 : uneven;
  c->gap_row = (size_t)plb_node_integer(root, "gap-row", 0);
  c->pairs = plb_node_flag(root, "pairs");
  plb_node_copy(root, "format", c->format, sizeof c->format);
  plb_node_copy(root, "sha256", c->sha256, sizeof c->sha256);
  if (!(c->rate_hz > 0))
    return fail_at(root, err, "the sample rate must be above 0; correct it");
  if (c->samples > (size_t)PLB_CAPTURE_VALUES_MOST / plb_node_count(root, "channel"))
    return fail_at(root, err, "more samples than a capture document may hold; get a shorter one");
  return PLB_OK;
}

plb_status plb_capture_read_about(plb_capture **out, plb_capture_about *about, const void *data, size_t size,
                                  const char *name, plb_error *err) {
  plb_error local = PLB_ERROR_INIT;
  plb_error *e = err ? err : &local;
  plb_document *document = NULL;
  *out = NULL;
  plb_status status = plb_document_parse(&document, &plb_rule_capture, data, size, name, e);
  if (status != PLB_OK)
    return status;
  const plb_node *root = plb_document_root(document);
  plb_capture *c = plb_capture_new();
  plb_capture_about read = {.conditions = 0};
  status = c ? read_root(c, root, e) : fail_memory(e);
  if (status == PLB_OK)
    status = read_about(&read, root, e);
  if (status == PLB_OK)
    status = read_notes(c, root, e);
  if (status == PLB_OK)
    status = read_channels(c, root, e);
  if (status == PLB_OK) {
    const size_t length = strlen(name);
    plb_text_copy(c->path, sizeof c->path, length < sizeof c->path ? name : name + length - sizeof c->path + 1);
    if (c->sha256[0] == '\0')
      plb_sha256(data, size, c->sha256);
    *out = c;
    c = NULL;
  } else {
    plb_fail_path(e, status, name);
  }
  if (status == PLB_OK && about) {
    *about = read;
    read = (plb_capture_about){.conditions = 0};
  }
  plb_capture_about_dispose(&read);
  plb_capture_free(c);
  plb_document_free(document);
  return status;
}

plb_status plb_capture_read_document(plb_capture **out, const void *data, size_t size, const char *name,
                                     plb_error *err) {
  return plb_capture_read_about(out, NULL, data, size, name, err);
}
