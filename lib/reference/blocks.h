#ifndef PLB_REFERENCE_BLOCKS_H
#define PLB_REFERENCE_BLOCKS_H
/**
 * @file  Sample blocks: up to 65,536 values, predicted, zigzag, in byte planes, deflated.
 *
 * How to decode one (tests/reference/decode.py does it in another language):
 *   1. base64 -> bytes.
 *   2. Not for floats: the predictors come first, one for every `segment` values (the last may serve fewer): a byte n
 *      <= 32, a byte shift <= 15, and n weights of 16 bits, signed, low byte first.
 *   3. The rest is a zlib stream.
 *   4. floats: it holds the lowest byte of every value, then the next byte of every value, ...; `planes` in all. The
 *      bytes of each value, lowest first, are an IEEE 754 number of 32 or 64 bits. Done.
 *   5. else it begins with one byte u for every value. Where u is 255, more is to be added: behind the bytes follow,
 *      for those values alone, the lowest byte of what to add, then the next byte, ...; `extra` in all. r = u / 2 for
 *      even u, -(u + 1) / 2 for odd u.
 *   6. k[i] = r[i] + floor((w[0] k[i-1] + w[1] k[i-2] + ...) / 2^shift) with the predictor of the segment i lies in;
 *      k before the first value of the block is 0.
 *   7. crc32 (as in zlib) is that of the k as little-endian integers of 32 bits, or of the floats' bytes, value by
 *      value.
 *   8. integers: value = k / 10^decimals.  codes: value = offset + scale * k.
 *      steps: p = c0 + floor(k (c1 + floor(k (c2 + ...) / 2^code-bits)) / 2^code-bits), with the c of `coefficients`,
 *      is what the recorder measured in units of 10^-decimals / 2^step-shift. It is rounded as it was printed: u = 1,
 *      or with `digits` the smallest power of ten for which |p| < u * 10^digits * 2^step-shift; m = u * floor(p / (u
 *      * 2^step-shift) + 1/2), except that where this quotient ends in exactly 1/2 `ties` may send it to the even
 *      neighbour or away from zero; value = m / 10^decimals.
 *   9. missing: pairs "first count" of values that are not there.
 * All of it is integer arithmetic, so every machine and language gets the same numbers.
 */
#include "core/core.h"
#include "reference/limits.h"
#include "reference/predict.h"
#include "reference/steps.h"

typedef enum plb_block_kind {
  PLB_BLOCK_INTEGERS, /**< decimal text: value = k / 10^decimals */
  PLB_BLOCK_STEPS,    /**< decimal text that a recorder made from codes */
  PLB_BLOCK_CODES,    /**< value = offset + scale * k */
  PLB_BLOCK_FLOATS    /**< as they are, NaN too */
} plb_block_kind;

enum { PLB_EXTRA_MOST = 5, PLB_SEGMENT_LEAST = 256, PLB_DECIMALS_MOST = 18 };

/** Everything a block's tag says. */
typedef struct plb_block {
  plb_block_kind kind;
  size_t count;         /**< 1..PLB_BLOCK_MOST */
  int decimals;         /**< integers, steps: 0..PLB_DECIMALS_MOST */
  const char *missing;  /**< integers, steps: "first count first count ..."; borrowed; NULL: none */
  plb_steps steps;      /**< steps */
  double scale, offset; /**< codes */
  int bits;             /**< floats: 32 or 64 */
  size_t segment;       /**< values per predictor, PLB_SEGMENT_LEAST or more, or count; floats: 0 */
  int extra;            /**< bytes more for large residuals: 0..PLB_EXTRA_MOST; not for floats */
  uint32_t crc;
} plb_block;

/** Buffers and compressors that blocks of one document share. */
typedef struct plb_packer plb_packer;
plb_packer *plb_packer_new(void);
void plb_packer_free(plb_packer *packer);

/**
 * Choose the smallest form of `code` (the k of the description above) and compress it. The caller has set kind,
 * count, decimals or steps or scale; segment, extra and crc are set here.
 * @param data_out  borrowed from the packer until its next use
 */
PLB_CHECKED plb_status plb_block_pack_codes(plb_packer *packer, plb_block *block, const int32_t *code,
                                            const unsigned char **data_out, size_t *size_out, plb_error *err);

/** The same for floats; block->bits says which. Every NaN becomes the same NaN. */
PLB_CHECKED plb_status plb_block_pack_floats(plb_packer *packer, plb_block *block, const double *value,
                                             const unsigned char **data_out, size_t *size_out, plb_error *err);

/**
 * Undo it. Nothing is allocated before the compressed size has been found large enough for the declared count.
 * @param text  base64 as it stands in the document
 * @param out  [size: block->count] the k
 * @return PLB_OK, PLB_EDATA (what does not fit), PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_block_unpack_codes(const plb_block *block, const char *text, size_t size, int32_t *out,
                                              plb_error *err);
PLB_CHECKED plb_status plb_block_unpack_floats(const plb_block *block, const char *text, size_t size, double *out,
                                               plb_error *err);

/** 10^n as a double, exact for n <= 22. */
double plb_ten_to(int n);

#endif
