#include "reference/blocks.h"
#include "reference/base64.h"
#include "reference/predict.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

double plb_ten_to(int n) {
  double power = 1.0;
  while (n-- > 0)
    power *= 10.0;
  return power;
}

static void put32(unsigned char *out, uint32_t value) {
  for (int p = 0; p < 4; p++)
    out[p] = (unsigned char)(value >> 8 * p);
}

/* CRC-32 of integers as they stand in the description: little-endian, 32 bits, a piece at a time. */
static uint32_t crc_of_codes(const int32_t *code, size_t count) {
  enum { PIECE = 1024 };
  unsigned char bytes[PIECE * 4];
  uLong crc = crc32(0, NULL, 0);
  for (size_t first = 0; first < count; first += PIECE) {
    const size_t n = count - first < PIECE ? count - first : PIECE;
    for (size_t i = 0; i < n; i++)
      put32(bytes + 4 * i, (uint32_t)code[first + i]);
    crc = crc32(crc, bytes, (uInt)(4 * n));
  }
  return (uint32_t)crc;
}

/* ---- packing ---- */

enum { COMPRESSORS = 2 };

struct plb_packer {
  z_stream stream[COMPRESSORS]; /* run lengths only; few matches */
  bool ready[COMPRESSORS];
  size_t values;                /* room in the arrays below */
  int64_t *residual;
  unsigned char *plane;         /* 8 bytes per value */
  unsigned char *best, *trial;  /* compressed */
  size_t room;                  /* of each of the two */
  size_t best_size;
};

plb_packer *plb_packer_new(void) {
  static const int strategies[COMPRESSORS] = {Z_RLE, Z_FILTERED};
  plb_packer *p = plb_calloc(1, sizeof *p);
  if (!p)
    return NULL;
  for (int i = 0; i < COMPRESSORS; i++) {
    p->ready[i] = deflateInit2(&p->stream[i], Z_BEST_COMPRESSION, Z_DEFLATED, MAX_WBITS, MAX_MEM_LEVEL, strategies[i]) == Z_OK;
    if (!p->ready[i]) {
      plb_packer_free(p);
      return NULL;
    }
  }
  return p;
}

void plb_packer_free(plb_packer *p) {
  if (!p)
    return;
  for (int i = 0; i < COMPRESSORS; i++)
    if (p->ready[i])
      deflateEnd(&p->stream[i]);
  free(p->residual);
  free(p->plane);
  free(p->best);
  free(p->trial);
  free(p);
}

static bool make_room(plb_packer *p, size_t count) {
  if (count <= p->values)
    return true;
  const size_t room = deflateBound(&p->stream[0], (uLong)(8 * count));
  int64_t *residual = plb_resize(p->residual, count, sizeof *residual);
  if (residual)
    p->residual = residual;
  unsigned char *plane = plb_resize(p->plane, count, 8);
  if (plane)
    p->plane = plane;
  unsigned char *best = plb_resize(p->best, room, 1);
  if (best)
    p->best = best;
  unsigned char *trial = plb_resize(p->trial, room, 1);
  if (trial)
    p->trial = trial;
  if (!residual || !plane || !best || !trial)
    return false;
  p->values = count;
  p->room = room;
  return true;
}

/* Compress the planes in every way; true when one is smaller than what was kept so far, which it then replaces. */
static bool try_compressors(plb_packer *p, size_t size) {
  bool better = false;
  for (int i = 0; i < COMPRESSORS; i++) {
    z_stream *z = &p->stream[i];
    deflateReset(z);
    z->next_in = p->plane;
    z->avail_in = (uInt)size;
    z->next_out = p->trial;
    z->avail_out = (uInt)p->room;
    if (deflate(z, Z_FINISH) != Z_STREAM_END)
      continue;
    const size_t used = p->room - z->avail_out;
    if (p->best_size > 0 && used >= p->best_size)
      continue;
    unsigned char *kept = p->best;
    p->best = p->trial;
    p->trial = kept;
    p->best_size = used;
    better = true;
  }
  return better;
}

static uint64_t zigzag(int64_t r) { return r >= 0 ? (uint64_t)r << 1 : ((uint64_t)(-(r + 1)) << 1) + 1; }

/* Byte planes of the residuals; 0 when a residual needs more than the planes allowed. */
static int lay_planes(plb_packer *p, size_t count) {
  uint64_t all = 0;
  for (size_t i = 0; i < count; i++)
    all |= zigzag(p->residual[i]);
  int planes = 1;
  while (planes < 8 && all >> 8 * planes)
    planes++;
  if (planes > PLB_PLANES_MOST)
    return 0;
  for (int k = 0; k < planes; k++)
    for (size_t i = 0; i < count; i++)
      p->plane[(size_t)k * count + i] = (unsigned char)(zigzag(p->residual[i]) >> 8 * k);
  return planes;
}

/* Try one prediction; keep it in `best` when it is the smallest so far. */
static void try_prediction(plb_packer *p, plb_block *trial, plb_block *best, const int32_t *code) {
  plb_predict_residuals(trial, code, p->residual);
  trial->planes = lay_planes(p, trial->count);
  if (trial->planes > 0 && try_compressors(p, trial->count * (size_t)trial->planes))
    *best = *trial;
}

plb_status plb_block_pack_codes(plb_packer *p, plb_block *block, const int32_t *code, const unsigned char **data_out, size_t *size_out,
                                plb_error *err) {
  if (block->count == 0 || block->count > PLB_BLOCK_MOST)
    return plb_fail(err, PLB_EINVAL, "a sample block of %zu values", block->count);
  if (!make_room(p, block->count))
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  block->crc = crc_of_codes(code, block->count);
  p->best_size = 0;
  plb_block trial = *block;
  for (trial.order = 0; trial.order <= 3; trial.order++)
    try_prediction(p, &trial, block, code);
  if (p->best_size == 0)
    return plb_fail(err, PLB_EINTERNAL, "a sample block could not be compressed");
  *data_out = p->best;
  *size_out = p->best_size;
  return PLB_OK;
}

/* The bits of an IEEE 754 number; all NaN are one, so that the same samples give the same bytes everywhere. */
static uint64_t bits_of(double value, int bits) {
  if (bits == 32) {
    const float narrow = isnan(value) ? 0.0f : (float)value;
    uint32_t u;
    memcpy(&u, &narrow, sizeof u);
    return isnan(value) ? UINT64_C(0x7FC00000) : u;
  }
  uint64_t u;
  memcpy(&u, &value, sizeof u);
  return isnan(value) ? UINT64_C(0x7FF8000000000000) : u;
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

plb_status plb_block_pack_floats(plb_packer *p, plb_block *block, const double *value, const unsigned char **data_out, size_t *size_out,
                                 plb_error *err) {
  if (block->count == 0 || block->count > PLB_BLOCK_MOST || (block->bits != 32 && block->bits != 64))
    return plb_fail(err, PLB_EINVAL, "a sample block of %zu values of %d bits", block->count, block->bits);
  if (!make_room(p, block->count))
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  block->order = 0;
  block->planes = block->bits / 8;
  uLong crc = crc32(0, NULL, 0);
  for (size_t i = 0; i < block->count; i++) {
    const uint64_t u = bits_of(value[i], block->bits);
    unsigned char bytes[8];
    for (int k = 0; k < block->planes; k++)
      bytes[k] = p->plane[(size_t)k * block->count + i] = (unsigned char)(u >> 8 * k);
    crc = crc32(crc, bytes, (uInt)block->planes);
  }
  block->crc = (uint32_t)crc;
  p->best_size = 0;
  if (!try_compressors(p, block->count * (size_t)block->planes))
    return plb_fail(err, PLB_EINTERNAL, "a sample block could not be compressed");
  *data_out = p->best;
  *size_out = p->best_size;
  return PLB_OK;
}

/* ---- unpacking ---- */

/* Inflate into exactly `size` bytes. */
static bool inflate_exactly(const unsigned char *data, size_t data_size, unsigned char *out, size_t size) {
  z_stream z = {.next_in = (z_const Bytef *)data, .avail_in = (uInt)data_size, .next_out = out, .avail_out = (uInt)size};
  if (inflateInit(&z) != Z_OK)
    return false;
  const int end = inflate(&z, Z_FINISH);
  const bool whole = end == Z_STREAM_END && z.avail_out == 0 && z.avail_in == 0;
  inflateEnd(&z);
  return whole;
}

/* The planes of a block, malloc'ed. */
static plb_status read_planes(const plb_block *b, const char *text, size_t size, unsigned char **out, plb_error *err) {
  plb_status status = PLB_OK;
  unsigned char *data = NULL, *plane = NULL;
  const size_t wanted = b->count * (size_t)b->planes;
  size_t data_size = 0;
  /* Deflate makes at most 1032 bytes of one (zlib's technical notes): a block that promises more lies. */
  if (wanted / 1032 > size)
    return plb_fail(err, PLB_EDATA, "the block holds too few bytes for %zu values; get an undamaged copy", b->count);
  data = malloc(size / 4 * 3 + 3);
  if (!data)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  if (!plb_base64_decode(text, size, data, &data_size)) {
    status = plb_fail(err, PLB_EDATA, "the block is not proper base64; get an undamaged copy");
    goto done;
  }
  plane = malloc(wanted);
  if (!plane) {
    status = plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
    goto done;
  }
  if (!inflate_exactly(data, data_size, plane, wanted)) {
    status = plb_fail(err, PLB_EDATA, "the block does not inflate to its %zu values; get an undamaged copy", b->count);
    goto done;
  }
  *out = plane;
  plane = NULL;
done:
  free(plane);
  free(data);
  return status;
}

static plb_status fail_crc(plb_error *err) {
  return plb_fail(err, PLB_EDATA, "the block's check sum (crc32) does not fit its values; get an undamaged copy");
}

static int64_t unzigzag(uint64_t u) { return u & 1 ? -(int64_t)(u >> 1) - 1 : (int64_t)(u >> 1); }

plb_status plb_block_unpack_codes(const plb_block *b, const char *text, size_t size, int32_t *out, plb_error *err) {
  unsigned char *plane = NULL;
  int64_t *residual = NULL;
  plb_status status = read_planes(b, text, size, &plane, err);
  if (status != PLB_OK)
    return status;
  residual = plb_calloc(b->count, sizeof *residual);
  if (!residual) {
    status = plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
    goto done;
  }
  for (size_t i = 0; i < b->count; i++) {
    uint64_t u = 0;
    for (int k = b->planes - 1; k >= 0; k--)
      u = u << 8 | plane[(size_t)k * b->count + i];
    residual[i] = unzigzag(u);
  }
  if (!plb_predict_restore(b, residual, out))
    status = plb_fail(err, PLB_EDATA, "the block's values do not fit 32 bits; get an undamaged copy");
  else if (crc_of_codes(out, b->count) != b->crc)
    status = fail_crc(err);
done:
  free(residual);
  free(plane);
  return status;
}

plb_status plb_block_unpack_floats(const plb_block *b, const char *text, size_t size, double *out, plb_error *err) {
  unsigned char *plane = NULL;
  const plb_status status = read_planes(b, text, size, &plane, err);
  if (status != PLB_OK)
    return status;
  uLong crc = crc32(0, NULL, 0);
  for (size_t i = 0; i < b->count; i++) {
    unsigned char bytes[8];
    uint64_t u = 0;
    for (int k = b->planes - 1; k >= 0; k--) {
      bytes[k] = plane[(size_t)k * b->count + i];
      u = u << 8 | bytes[k];
    }
    crc = crc32(crc, bytes, (uInt)b->planes);
    out[i] = value_of(u, b->bits);
  }
  free(plane);
  return (uint32_t)crc == b->crc ? PLB_OK : fail_crc(err);
}
