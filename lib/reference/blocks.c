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

enum {
  COMPRESSORS = 2,
  SEGMENTS_MOST = (PLB_BLOCK_MOST + PLB_SEGMENT_LEAST - 1) / PLB_SEGMENT_LEAST,
  PREDICTOR_BYTES = 2 + 2 * PLB_WEIGHTS_MOST
};

typedef struct plan { /* predictors of the segments of a block */
  size_t segment, count;
  plb_predictor predictor[SEGMENTS_MOST];
} plan;

struct plb_packer {
  z_stream stream[COMPRESSORS]; /* run lengths only; few matches */
  bool ready[COMPRESSORS];
  size_t values;                /* room in the arrays below */
  int64_t *residual;
  unsigned char *plane;         /* 8 bytes per value: floats; or 1 and at most PLB_EXTRA_MOST more */
  unsigned char *best, *trial;  /* predictors and compressed planes */
  size_t room;                  /* of each of the two */
  size_t best_size;
  plan plan;                    /* being tried */
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
  const size_t segments = count / PLB_SEGMENT_LEAST + 1;
  const size_t room = segments * PREDICTOR_BYTES + deflateBound(&p->stream[0], (uLong)(8 * count));
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

static size_t put_predictors(const plan *of, unsigned char *out) {
  size_t n = 0;
  for (size_t i = 0; i < of->count; i++) {
    const plb_predictor *p = &of->predictor[i];
    out[n++] = (unsigned char)p->weights;
    out[n++] = (unsigned char)p->shift;
    for (int w = 0; w < p->weights; w++) {
      out[n++] = (unsigned char)(p->weight[w] & 0xFF);
      out[n++] = (unsigned char)((uint16_t)p->weight[w] >> 8);
    }
  }
  return n;
}

/* Compress the planes in every way behind the plan's predictors; true when one is smaller than what was kept so far, which it replaces. */
static bool try_compressors(plb_packer *p, size_t size) {
  bool better = false;
  for (int i = 0; i < COMPRESSORS; i++) {
    z_stream *z = &p->stream[i];
    const size_t head = put_predictors(&p->plan, p->trial);
    deflateReset(z);
    z->next_in = p->plane;
    z->avail_in = (uInt)size;
    z->next_out = p->trial + head;
    z->avail_out = (uInt)(p->room - head);
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

enum { ESCAPE = 255 };

/* The residuals as bytes, large ones continued behind; returns how many bytes each of those takes, -1 when more than allowed. */
static int lay_planes(plb_packer *p, size_t count, size_t *size_out) {
  uint64_t largest = 0;
  size_t large = 0;
  for (size_t i = 0; i < count; i++) {
    const uint64_t u = zigzag(p->residual[i]);
    p->plane[i] = u < ESCAPE ? (unsigned char)u : ESCAPE;
    if (u < ESCAPE)
      continue;
    large++;
    largest = u - ESCAPE > largest ? u - ESCAPE : largest;
  }
  int extra = large > 0;
  while (extra > 0 && extra < 8 && largest >> 8 * extra)
    extra++;
  if (extra > PLB_EXTRA_MOST)
    return -1;
  size_t at = 0;
  for (size_t i = 0; i < count && large > 0; i++) {
    if (p->plane[i] != ESCAPE)
      continue;
    const uint64_t rest = zigzag(p->residual[i]) - ESCAPE;
    for (int k = 0; k < extra; k++)
      p->plane[count + (size_t)k * large + at] = (unsigned char)(rest >> 8 * k);
    at++;
  }
  *size_out = count + (size_t)extra * large;
  return extra;
}

/* Try the plan; keep it when it is the smallest so far. */
static void try_plan(plb_packer *p, plb_block *block, const int32_t *code) {
  for (size_t i = 0; i < p->plan.count; i++) {
    const size_t from = i * p->plan.segment;
    const size_t to = block->count - from < p->plan.segment ? block->count : from + p->plan.segment;
    plb_predict_residuals(&p->plan.predictor[i], code, from, to, p->residual + from);
  }
  size_t size = 0;
  const int extra = lay_planes(p, block->count, &size);
  if (extra >= 0 && try_compressors(p, size)) {
    block->extra = extra;
    block->segment = p->plan.segment;
  }
}

/* Bits that residuals take, roughly: as if they were distributed geometrically with the mean they have. */
static double cost_of(const plb_predictor *predictor, const int64_t *residual, size_t n) {
  double sum = 0.0;
  for (size_t i = 0; i < n; i++)
    sum += (double)zigzag(residual[i]);
  const double mean = sum / (double)n + 1e-9;
  return (double)n * (log2(1.0 + mean) + mean * log2(1.0 + 1.0 / mean)) + 8.0 * (2.0 + 2.0 * predictor->weights);
}

enum { DIFFERENCES = 4, LINEAR = 3, CANDIDATES = DIFFERENCES + LINEAR };

/* The predictors to choose from, for the values [from, to): differences, then linear ones. @return how many */
static int list_candidates(plb_predictor out[CANDIDATES], const int32_t *code, size_t from, size_t to) {
  static const int weights[LINEAR] = {8, 16, 32};
  double correlation[PLB_WEIGHTS_MOST + 1];
  int n = 0;
  while (n < DIFFERENCES) {
    out[n] = plb_predict_differences(n);
    n++;
  }
  plb_predict_correlate(code, from, to, correlation);
  for (int i = 0; i < LINEAR; i++)
    if (to - from >= 4 * (size_t)weights[i] && plb_predict_design(&out[n], correlation, weights[i]))
      n++;
  return n;
}

static plb_predictor cheapest(plb_packer *p, const int32_t *code, size_t from, size_t to) {
  plb_predictor trial[CANDIDATES];
  const int count = list_candidates(trial, code, from, to);
  double least = INFINITY;
  int best = 0;
  for (int i = 0; i < count; i++) {
    plb_predict_residuals(&trial[i], code, from, to, p->residual);
    const double cost = cost_of(&trial[i], p->residual, to - from);
    if (cost < least) {
      least = cost;
      best = i;
    }
  }
  return trial[best];
}

/* Signals that are quiet for a while and then ring want a predictor for each stretch. */
static void try_segments(plb_packer *p, plb_block *block, const int32_t *code, size_t segment) {
  p->plan.segment = segment;
  p->plan.count = 0;
  for (size_t from = 0; from < block->count; from += segment) {
    const size_t to = block->count - from < segment ? block->count : from + segment;
    p->plan.predictor[p->plan.count++] = cheapest(p, code, from, to);
  }
  try_plan(p, block, code);
}

plb_status plb_block_pack_codes(plb_packer *p, plb_block *block, const int32_t *code, const unsigned char **data_out, size_t *size_out,
                                plb_error *err) {
  static const size_t segments[] = {4096, 8192};
  if (block->count == 0 || block->count > PLB_BLOCK_MOST)
    return plb_fail(err, PLB_EINVAL, "a sample block of %zu values", block->count);
  if (!make_room(p, block->count))
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  block->crc = crc_of_codes(code, block->count);
  p->best_size = 0;
  p->plan.segment = block->count;
  p->plan.count = 1;
  plb_predictor single[CANDIDATES];
  const int count = list_candidates(single, code, 0, block->count);
  for (int i = 0; i < count; i++) {
    p->plan.predictor[0] = single[i];
    try_plan(p, block, code);
  }
  for (size_t i = 0; i < sizeof segments / sizeof segments[0]; i++)
    if (block->count > segments[i])
      try_segments(p, block, code, segments[i]);
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
  const int planes = block->bits / 8;
  p->plan.count = 0;
  uLong crc = crc32(0, NULL, 0);
  for (size_t i = 0; i < block->count; i++) {
    const uint64_t u = bits_of(value[i], block->bits);
    unsigned char bytes[8];
    for (int k = 0; k < planes; k++)
      bytes[k] = p->plane[(size_t)k * block->count + i] = (unsigned char)(u >> 8 * k);
    crc = crc32(crc, bytes, (uInt)planes);
  }
  block->crc = (uint32_t)crc;
  p->best_size = 0;
  if (!try_compressors(p, block->count * (size_t)planes))
    return plb_fail(err, PLB_EINTERNAL, "a sample block could not be compressed");
  *data_out = p->best;
  *size_out = p->best_size;
  return PLB_OK;
}

/* ---- unpacking ---- */

/* Inflate into at most `most` bytes, to the stream's end, which must be the data's end. */
static bool inflate_within(const unsigned char *data, size_t data_size, unsigned char *out, size_t most, size_t *size_out) {
  z_stream z = {.next_in = (z_const Bytef *)data, .avail_in = (uInt)data_size, .next_out = out, .avail_out = (uInt)most};
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
  unsigned char *data;  /* as base64 gave them; the predictors are read from here */
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
    if (size - n < 2 || data[n] > PLB_WEIGHTS_MOST || data[n + 1] > PLB_WEIGHT_SHIFT_MOST || size - n < 2 + 2 * (size_t)data[n])
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
    large += plane[i] == ESCAPE;
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
  if (!inflate_within(out->data + head, data_size - head, out->plane, most, &used) || used != planes_size(b, out->plane, used))
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
    t.large += plane[i] == ESCAPE;
  return t;
}

static void get_residuals(const unsigned char *plane, size_t n, tail *t, int64_t *residual) {
  for (size_t i = 0; i < n; i++) {
    uint64_t u = plane[i];
    if (u == ESCAPE) {
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
  if (status == PLB_OK && crc_of_codes(out, b->count) != b->crc)
    status = fail_crc(err);
done:
  free(residual);
  dispose_unpacked(&u);
  return status;
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
