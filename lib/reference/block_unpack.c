#include "reference/base64.h"
#include "reference/block_bytes.h"
#include "reference/blocks.h"

#include <stdlib.h>
#include <string.h>
#include <zlib.h>

/* Inflate into at most `most` bytes, to the stream's end, which must be the data's end. */
static bool inflate_within(const unsigned char *data, size_t data_size, unsigned char *out, size_t most,
                           size_t *size_out) {
  z_stream z = {
      .next_in = (z_const Bytef *)data, .avail_in = (uInt)data_size, .next_out = out, .avail_out = (uInt)most};
  if (inflateInit(&z) != Z_OK)
    return false;
  const int end = inflate(&z, Z_FINISH);
  *size_out = most - z.avail_out;
  const bool whole = end == Z_STREAM_END && z.avail_in == 0;
  inflateEnd(&z);
  return whole;
}

/* A block's bytes: predictors and planes. */
typedef struct unpacked {
  unsigned char *data; /* as base64 gave them; the predictors are read from here */
  unsigned char *plane;
} unpacked;

static void dispose_unpacked(unpacked *u) {
  free(u->data);
  free(u->plane);
}

/* Bytes that the predictors of a block take; 0 when they are not there in full. */
static size_t predictors_size(const plb_block *b, const unsigned char *data, size_t size) {
  size_t n = 0;
  for (size_t from = 0; from < b->count; from += b->segment) {
    if (size - n < 2 || data[n] > PLB_WEIGHTS_MOST || data[n + 1] > PLB_WEIGHT_SHIFT_MOST ||
        size - n < 2 + 2 * (size_t)data[n])
      return 0;
    n += 2 + 2 * (size_t)data[n];
  }
  return n;
}

/* Bytes that the block's values take, as far as the first ones tell. */
static size_t planes_size(const plb_block *b, const unsigned char *plane, size_t used) {
  size_t large = 0;
  if (b->kind == PLB_BLOCK_FLOATS)
    return b->count * (size_t)b->bits / 8;
  for (size_t i = 0; i < b->count && i < used; i++)
    large += plane[i] == PLB_BLOCK_ESCAPE;
  return large > 0 && b->extra == 0 ? SIZE_MAX : b->count + large * (size_t)b->extra;
}

static plb_status unpack(const plb_block *b, const char *text, size_t size, unpacked *out, plb_error *err) {
  const size_t least = b->kind == PLB_BLOCK_FLOATS ? b->count * (size_t)b->bits / 8 : b->count;
  const size_t most = b->kind == PLB_BLOCK_FLOATS ? least : b->count * (1 + (size_t)b->extra);
  size_t data_size = 0, head = 0, used = 0;
  /* Deflate makes at most 1032 bytes of one (zlib's technical notes): a block that promises more lies. */
  if (least / 1032 > size)
    return plb_fail(err, PLB_EDATA, "the block holds too few bytes for %zu values; get an undamaged copy", b->count);
  out->data = malloc(size / 4 * 3 + 3);
  if (!out->data)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  if (!plb_base64_decode(text, size, out->data, &data_size))
    return plb_fail(err, PLB_EDATA, "the block is not proper base64; get an undamaged copy");
  if (b->kind != PLB_BLOCK_FLOATS) {
    head = predictors_size(b, out->data, data_size);
    if (head == 0)
      return plb_fail(err, PLB_EDATA, "the block's predictors are damaged; get an undamaged copy");
  }
  out->plane = malloc(most);
  if (!out->plane)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  if (!inflate_within(out->data + head, data_size - head, out->plane, most, &used) ||
      used != planes_size(b, out->plane, used))
    return plb_fail(err, PLB_EDATA, "the block does not inflate to its %zu values; get an undamaged copy", b->count);
  return PLB_OK;
}

static plb_status fail_crc(plb_error *err) {
  return plb_fail(err, PLB_EDATA, "the block's check sum (crc32) does not fit its values; get an undamaged copy");
}

static int64_t unzigzag(uint64_t u) { return u & 1 ? -(int64_t)(u >> 1) - 1 : (int64_t)(u >> 1); }

static size_t get_predictor(const unsigned char *data, plb_predictor *out) {
  *out = (plb_predictor){.weights = data[0], .shift = data[1]};
  for (int w = 0; w < out->weights; w++) {
    const unsigned weight = data[2 + 2 * w] | (unsigned)data[3 + 2 * w] << 8;
    out->weight[w] = (int16_t)(weight < 0x8000 ? (int)weight : (int)weight - 0x10000);
  }
  return 2 + 2 * (size_t)out->weights;
}

/* Where large residuals are continued. */
typedef struct tail {
  const unsigned char *byte;
  size_t large, at; /* how many there are, and were read */
  int extra;
} tail;

static tail start_tail(const plb_block *b, const unsigned char *plane) {
  tail t = {.byte = plane + b->count, .extra = b->extra};
  for (size_t i = 0; i < b->count; i++)
    t.large += plane[i] == PLB_BLOCK_ESCAPE;
  return t;
}

static void get_residuals(const unsigned char *plane, size_t n, tail *t, int64_t *residual) {
  for (size_t i = 0; i < n; i++) {
    uint64_t u = plane[i];
    if (u == PLB_BLOCK_ESCAPE) {
      for (int k = 0; k < t->extra; k++)
        u += (uint64_t)t->byte[(size_t)k * t->large + t->at] << 8 * k;
      t->at++;
    }
    residual[i] = unzigzag(u);
  }
}

plb_status plb_block_unpack_codes(const plb_block *b, const char *text, size_t size, int32_t *out, plb_error *err) {
  int64_t *residual = NULL;
  unpacked u = {NULL, NULL};
  size_t head = 0;
  plb_status status = unpack(b, text, size, &u, err);
  if (status != PLB_OK)
    goto done;
  residual = plb_resize(NULL, b->segment, sizeof *residual);
  if (!residual) {
    status = plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
    goto done;
  }
  tail rest = start_tail(b, u.plane);
  for (size_t from = 0; from < b->count && status == PLB_OK; from += b->segment) {
    const size_t to = b->count - from < b->segment ? b->count : from + b->segment;
    plb_predictor predictor;
    head += get_predictor(u.data + head, &predictor);
    get_residuals(u.plane + from, to - from, &rest, residual);
    if (!plb_predict_restore(&predictor, residual, from, to, out))
      status = plb_fail(err, PLB_EDATA, "the block's values do not fit 32 bits; get an undamaged copy");
  }
  if (status == PLB_OK && plb_block_crc(out, b->count) != b->crc)
    status = fail_crc(err);
done:
  free(residual);
  dispose_unpacked(&u);
  return status;
}

static double value_of(uint64_t u, int bits) {
  if (bits == 32) {
    const uint32_t narrow = (uint32_t)u;
    float value;
    memcpy(&value, &narrow, sizeof value);
    return (double)value;
  }
  double value;
  memcpy(&value, &u, sizeof value);
  return value;
}

plb_status plb_block_unpack_floats(const plb_block *b, const char *text, size_t size, double *out, plb_error *err) {
  unpacked unpacked_ = {NULL, NULL};
  plb_status status = unpack(b, text, size, &unpacked_, err);
  const int planes = b->bits / 8;
  uLong crc = crc32(0, NULL, 0);
  for (size_t i = 0; status == PLB_OK && i < b->count; i++) {
    unsigned char bytes[8];
    uint64_t u = 0;
    for (int k = planes - 1; k >= 0; k--) {
      bytes[k] = unpacked_.plane[(size_t)k * b->count + i];
      u = u << 8 | bytes[k];
    }
    crc = crc32(crc, bytes, (uInt)planes);
    out[i] = value_of(u, b->bits);
  }
  if (status == PLB_OK && (uint32_t)crc != b->crc)
    status = fail_crc(err);
  dispose_unpacked(&unpacked_);
  return status;
}
