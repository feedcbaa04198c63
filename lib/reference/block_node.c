#include "reference/block_node.h"
#include "reference/minimax.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- reading ---- */

static plb_status fail_at(const plb_node *node, plb_error *err, const char *text) {
  return plb_fail_line(err, PLB_EDATA, node->line, 0, "<%s>: %s", node->rule->name, text);
}

static plb_status read_steps(plb_steps *out, const plb_node *node, plb_error *err) {
  out->digits = (int)plb_node_integer(node, "digits", 0);
  const int ties = plb_node_word(node, "ties");
  out->ties = ties < 0 ? PLB_TIES_UP : (plb_ties)ties;
  out->code_bits = (int)plb_node_integer(node, "code-bits", 0);
  out->shift = (int)plb_node_integer(node, "step-shift", 0);
  const char *text = plb_node_value(node, "coefficients");
  for (char *end = NULL; *text; text = *end == ' ' ? end + 1 : end) {
    if (out->coefficients == PLB_MINIMAX_DEGREE_MOST + 1)
      return fail_at(node, err, "at most four coefficients; get an undamaged copy");
    out->coefficient[out->coefficients++] = strtoll(text, &end, 10);
  }
  return out->coefficients >= 2 ? PLB_OK : fail_at(node, err, "at least two coefficients; get an undamaged copy");
}

plb_status plb_block_from_node(plb_block *out, const plb_node *node, plb_error *err) {
  *out = (plb_block){.count = (size_t)plb_node_integer(node, "count", 0)};
  out->crc = (uint32_t)strtoul(plb_node_value(node, "crc32"), NULL, 16);
  if (plb_node_is(node, "floats")) {
    out->kind = PLB_BLOCK_FLOATS;
    out->bits = (int)plb_node_integer(node, "planes", 0) * 8;
    return out->bits == 32 || out->bits == 64 ? PLB_OK
                                              : fail_at(node, err, "floats have 4 or 8 planes; get an undamaged copy");
  }
  out->extra = (int)plb_node_integer(node, "extra", 0);
  out->segment = (size_t)plb_node_integer(node, "segment", 0);
  if (out->segment > out->count || (out->segment < PLB_SEGMENT_LEAST && out->segment != out->count))
    return fail_at(node, err, "a segment is 256 values or more, and not more than the block; get an undamaged copy");
  out->kind = plb_node_is(node, "integers") ? PLB_BLOCK_INTEGERS
              : plb_node_is(node, "steps")  ? PLB_BLOCK_STEPS
                                            : PLB_BLOCK_CODES;
  if (out->kind == PLB_BLOCK_CODES) {
    out->scale = plb_node_number(node, "scale");
    out->offset = plb_node_number(node, "offset");
  } else {
    out->decimals = (int)plb_node_integer(node, "decimals", 0);
  }
  if (out->kind != PLB_BLOCK_CODES)
    out->missing = plb_node_value(node, "missing");
  return out->kind == PLB_BLOCK_STEPS ? read_steps(&out->steps, node, err) : PLB_OK;
}

static plb_status name_line(const plb_node *node, plb_status status, plb_error *err) {
  if (status != PLB_OK && err && err->line == 0)
    err->line = node->line;
  return status;
}

static plb_status read_floats(const plb_node *node, const plb_block *block, float *out, plb_error *err) {
  double *value = plb_calloc(block->count, sizeof *value);
  if (!value)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  plb_status status = plb_block_unpack_floats(block, node->text, node->text_size, value, err);
  for (size_t i = 0; status == PLB_OK && i < block->count; i++) {
    if (!(fabs(value[i]) <= 3.4028234663852886e38)) /* FLT_MAX */
      status = plb_fail(err, PLB_EDATA, "a curve holds a value that is not finite; get an undamaged copy");
    else
      out[i] = (float)value[i];
  }
  free(value);
  return status;
}

static plb_status read_integers(const plb_node *node, const plb_block *block, float *out, plb_error *err) {
  int32_t *code = plb_calloc(block->count, sizeof *code);
  if (!code)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  const plb_status status = plb_block_unpack_codes(block, node->text, node->text_size, code, err);
  const double power = plb_ten_to(block->decimals);
  for (size_t i = 0; status == PLB_OK && i < block->count; i++)
    out[i] = (float)(code[i] / power);
  free(code);
  return status;
}

plb_status plb_curve_read(const plb_node *node, float *out, size_t n, plb_error *err) {
  const plb_node *child = node->child;
  plb_block block;
  plb_status status = plb_block_from_node(&block, child, err);
  if (status != PLB_OK)
    return status;
  if (block.missing)
    return fail_at(child, err, "a curve has no missing points; get an undamaged copy");
  if (block.count != n)
    return plb_fail_line(err, PLB_EDATA, child->line, 0, "<%s> has %zu points, the grid %zu; get an undamaged copy",
                         node->rule->name, block.count, n);
  status =
      block.kind == PLB_BLOCK_FLOATS ? read_floats(child, &block, out, err) : read_integers(child, &block, out, err);
  return name_line(child, status, err);
}

/* ---- writing ---- */

static void put_coefficients(plb_xml *xml, const plb_steps *steps) {
  char text[4 * PLB_NUMBER_SIZE];
  size_t used = 0;
  for (int i = 0; i < steps->coefficients; i++)
    used +=
        (size_t)plb_text_print(text + used, sizeof text - used, i ? " %lld" : "%lld", (long long)steps->coefficient[i]);
  plb_xml_attribute(xml, "coefficients", text);
}

static void put_block(plb_xml *xml, const plb_block *block, const unsigned char *data, size_t size) {
  static const char *const names[] = {"integers", "steps", "codes", "floats"};
  char crc[16];
  plb_text_print(crc, sizeof crc, "%08lx", (unsigned long)block->crc);
  plb_xml_open(xml, names[block->kind]);
  plb_xml_integer(xml, "count", (int64_t)block->count);
  if (block->kind == PLB_BLOCK_INTEGERS || block->kind == PLB_BLOCK_STEPS)
    plb_xml_integer(xml, "decimals", block->decimals);
  if (block->kind == PLB_BLOCK_STEPS) {
    if (block->steps.digits > 0)
      plb_xml_integer(xml, "digits", block->steps.digits);
    if (block->steps.ties != PLB_TIES_UP)
      plb_xml_attribute(xml, "ties", block->steps.ties == PLB_TIES_EVEN ? "even" : "away");
    put_coefficients(xml, &block->steps);
    plb_xml_integer(xml, "code-bits", block->steps.code_bits);
    plb_xml_integer(xml, "step-shift", block->steps.shift);
  }
  if (block->kind == PLB_BLOCK_INTEGERS || block->kind == PLB_BLOCK_STEPS)
    plb_xml_attribute(xml, "missing", block->missing);
  if (block->kind == PLB_BLOCK_CODES) {
    plb_xml_number(xml, "scale", block->scale);
    plb_xml_number(xml, "offset", block->offset);
  }
  if (block->kind == PLB_BLOCK_FLOATS) {
    plb_xml_integer(xml, "planes", block->bits / 8);
  } else {
    plb_xml_integer(xml, "segment", (int64_t)block->segment);
    plb_xml_integer(xml, "extra", block->extra);
  }
  plb_xml_attribute(xml, "crc32", crc);
  plb_xml_put_base64(xml, data, size);
  plb_xml_close(xml, names[block->kind]);
}

plb_status plb_block_write_codes(plb_xml *xml, plb_packer *packer, plb_block *block, const int32_t *code,
                                 plb_error *err) {
  const unsigned char *data;
  size_t size;
  const plb_status status = plb_block_pack_codes(packer, block, code, &data, &size, err);
  if (status == PLB_OK)
    put_block(xml, block, data, size);
  return status;
}

plb_status plb_block_write_floats(plb_xml *xml, plb_packer *packer, plb_block *block, const double *value,
                                  plb_error *err) {
  const unsigned char *data;
  size_t size;
  const plb_status status = plb_block_pack_floats(packer, block, value, &data, &size, err);
  if (status == PLB_OK)
    put_block(xml, block, data, size);
  return status;
}

/* The integers k with curve = (float)(k / 10^decimals), exactly; false when there are none. */
static bool find_integers(const float *curve, size_t n, int decimals, int32_t *code) {
  const double power = plb_ten_to(decimals);
  for (size_t i = 0; i < n; i++) {
    const double k = round((double)curve[i] * power);
    if (!(fabs(k) <= INT32_MAX) || (float)(k / power) != curve[i])
      return false;
    code[i] = (int32_t)k;
  }
  return true;
}

plb_status plb_curve_write(plb_xml *xml, plb_packer *packer, const char *name, const float *curve, size_t n,
                           plb_error *err) {
  plb_status status = PLB_OK;
  plb_block block = {.kind = PLB_BLOCK_FLOATS, .count = n, .bits = 32};
  int32_t *code = plb_calloc(n, sizeof *code);
  double *value = plb_calloc(n, sizeof *value);
  if (!code || !value) {
    status = plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
    goto done;
  }
  for (size_t i = 0; i < n; i++) {
    value[i] = (double)curve[i];
    if (!isfinite(value[i])) {
      status = plb_fail(err, PLB_EDATA, "the %s curve is not finite at point %zu of %zu; learn it again", name, i, n);
      goto done;
    }
  }
  for (int decimals = 0; decimals <= 9 && block.kind == PLB_BLOCK_FLOATS; decimals++)
    if (find_integers(curve, n, decimals, code))
      block = (plb_block){.kind = PLB_BLOCK_INTEGERS, .count = n, .decimals = decimals};
  plb_xml_open(xml, name);
  status = block.kind == PLB_BLOCK_INTEGERS ? plb_block_write_codes(xml, packer, &block, code, err)
                                            : plb_block_write_floats(xml, packer, &block, value, err);
  plb_xml_close(xml, name);
done:
  free(code);
  free(value);
  return status;
}
