#include "reference/block_bytes.h"
#include "reference/blocks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

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
  size_t values; /* room in the arrays below */
  int64_t *residual;
  unsigned char *plane;        /* 8 bytes per value: floats; or 1 and at most PLB_EXTRA_MOST more */
  unsigned char *best, *trial; /* predictors and compressed planes */
  size_t room;                 /* of each of the two */
  size_t best_size;
  plan plan; /* being tried */
};

plb_packer *plb_packer_new(void) {
  static const int strategies[COMPRESSORS] = {Z_RLE, Z_FILTERED};
  plb_packer *p = plb_calloc(1, sizeof *p);
  if (!p)
    return NULL;
  for (int i = 0; i < COMPRESSORS; i++) {
    p->ready[i] =
        deflateInit2(&p->stream[i], Z_BEST_COMPRESSION, Z_DEFLATED, MAX_WBITS, MAX_MEM_LEVEL, strategies[i]) == Z_OK;
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

/* Compress the planes in every way behind the plan's predictors; true when one is smaller than what was kept so far,
   which it replaces. */
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

/* The residuals as bytes, large ones continued behind; returns how many bytes each of those takes, -1 when more than
   allowed. */
static int lay_planes(plb_packer *p, size_t count, size_t *size_out) {
  uint64_t largest = 0;
  size_t large = 0;
  for (size_t i = 0; i < count; i++) {
    const uint64_t u = zigzag(p->residual[i]);
    p->plane[i] = u < PLB_BLOCK_ESCAPE ? (unsigned char)u : PLB_BLOCK_ESCAPE;
    if (u < PLB_BLOCK_ESCAPE)
      continue;
    large++;
    largest = u - PLB_BLOCK_ESCAPE > largest ? u - PLB_BLOCK_ESCAPE : largest;
  }
  int extra = large > 0;
  while (extra > 0 && extra < 8 && largest >> 8 * extra)
    extra++;
  if (extra > PLB_EXTRA_MOST)
    return -1;
  size_t at = 0;
  for (size_t i = 0; i < count && large > 0; i++) {
    if (p->plane[i] != PLB_BLOCK_ESCAPE)
      continue;
    const uint64_t rest = zigzag(p->residual[i]) - PLB_BLOCK_ESCAPE;
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

enum { CURVE_MOST = 2048, DIFFERENCES = 4, LINEAR = 3, CANDIDATES = DIFFERENCES + LINEAR };

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

/* The candidates, those that seem cheapest first. @return how many */
static int rank_candidates(plb_packer *p, plb_predictor out[CANDIDATES], const int32_t *code, size_t from, size_t to) {
  double cost[CANDIDATES];
  const int count = list_candidates(out, code, from, to);
  for (int i = 0; i < count; i++) {
    const plb_predictor here = out[i];
    plb_predict_residuals(&here, code, from, to, p->residual);
    const double own = cost_of(&here, p->residual, to - from);
    int k = i;
    for (; k > 0 && cost[k - 1] > own; k--) {
      cost[k] = cost[k - 1];
      out[k] = out[k - 1];
    }
    cost[k] = own;
    out[k] = here;
  }
  return count;
}

/* Signals that are quiet for a while and then ring want a predictor for each stretch. */
static void try_segments(plb_packer *p, plb_block *block, const int32_t *code, size_t segment) {
  p->plan.segment = segment;
  p->plan.count = 0;
  for (size_t from = 0; from < block->count; from += segment) {
    const size_t to = block->count - from < segment ? block->count : from + segment;
    plb_predictor ranked[CANDIDATES];
    rank_candidates(p, ranked, code, from, to);
    p->plan.predictor[p->plan.count++] = ranked[0];
  }
  try_plan(p, block, code);
}

plb_status plb_block_pack_codes(plb_packer *p, plb_block *block, const int32_t *code, const unsigned char **data_out,
                                size_t *size_out, plb_error *err) {
  /* Only compressing tells: the estimate knows nothing of shapes that repeat. For a curve of a reference it is good
     enough. */
  const int tried = block->count <= CURVE_MOST ? 3 : CANDIDATES;
  static const size_t segments[] = {4096, 8192};
  if (block->count == 0 || block->count > PLB_BLOCK_MOST)
    return plb_fail(err, PLB_EINVAL, "a sample block of %zu values", block->count);
  if (!make_room(p, block->count))
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  block->crc = plb_block_crc(code, block->count);
  p->best_size = 0;
  p->plan.segment = block->count;
  p->plan.count = 1;
  plb_predictor ranked[CANDIDATES];
  const int count = rank_candidates(p, ranked, code, 0, block->count);
  for (int i = 0; i < count && (i < tried || p->best_size == 0); i++) {
    p->plan.predictor[0] = ranked[i];
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

plb_status plb_block_pack_floats(plb_packer *p, plb_block *block, const double *value, const unsigned char **data_out,
                                 size_t *size_out, plb_error *err) {
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
