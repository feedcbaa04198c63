#include "capture/bytes.h"
#include "capture/capture.h"
#include <math.h>
#include <string.h>

/*
 * RIFF WAVE, and RF64 and BW64 (EBU Tech 3306, ITU-R BS.2088) for sizes above 4 GiB. All numbers are little-endian.
 *
 *   file    0  "RIFF" "RF64" "BW64"   4  u32 size of what follows   8  "WAVE"   12  chunks
 *   chunk   0  id                     4  u32 size                   8  body, padded to an even size
 *   ds64    0  u64 RIFF size          8  u64 data size             16  u64 sample count
 *   fmt     0  u16 tag   2  u16 channels   4  u32 rate   8  u32 bytes a second   12  u16 block   14  u16 bits
 *          16  u16 size of the extension  18  u16 valid bits  20  u32 speaker mask  24  GUID, its first u16 the tag
 *
 * Integers are codes around nought, full scale is 1 (8-bit samples are unsigned with 128 as nought, wider ones two's
 * complement).
 */

enum { TAG_INTEGER = 1, TAG_FLOAT = 3, TAG_EXTENSIBLE = 0xFFFE, MOST_CHANNELS = 1024 };
static const uint32_t size_unknown = 0xFFFFFFFF;

typedef struct wave {
  const char *data; /* the file */
  size_t size;
  bool wide; /* RF64 or BW64 */
  uint64_t wide_data_size;
  unsigned tag, channels, bits, valid, block;
  uint32_t rate;
  size_t body, body_size; /* of the samples */
  bool open_end;          /* the size of the samples is not told */
} wave;

static int probe_wave(const char *data, size_t size) {
  if (size < 4)
    return 0;
  return memcmp(data, "RIFF", 4) == 0 || memcmp(data, "RF64", 4) == 0 || memcmp(data, "BW64", 4) == 0 ? 2 : 0;
}

static plb_status fail_cut(size_t at, const char *what, plb_error *err) {
  return plb_fail_byte(err, PLB_EDATA, (int64_t)at, "the WAVE file is cut off %s; copy or record it again", what);
}

static plb_status read_fmt(wave *w, size_t at, size_t size, plb_error *err) {
  static const char pcm_tail[] =
      "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xAA\x00\x38\x9B\x71"; /* of every GUID that wraps a tag */
  const char *p = w->data + at;
  if (size < 16)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)at,
                         "the format chunk has %zu bytes, at least 16 are needed; the file is damaged, record it again",
                         size);
  w->tag = plb_u16_le(p);
  w->channels = plb_u16_le(p + 2);
  w->rate = plb_u32_le(p + 4);
  w->block = plb_u16_le(p + 12);
  w->bits = w->valid = plb_u16_le(p + 14);
  if (w->tag == TAG_EXTENSIBLE) {
    if (size < 40 || plb_u16_le(p + 16) < 22)
      return plb_fail_byte(err, PLB_EDATA, (int64_t)at,
                           "the extensible format chunk is too short; the file is damaged, record it again");
    if (memcmp(p + 26, pcm_tail, 14) != 0)
      return plb_fail_byte(err, PLB_EDATA, (int64_t)at + 24,
                           "the samples are coded in a way this program does not read; export them as plain PCM");
    w->valid = plb_u16_le(p + 18);
    w->tag = plb_u16_le(p + 24);
    if (w->valid == 0 || w->valid > w->bits)
      w->valid = w->bits;
  }
  return PLB_OK;
}

static plb_status check_fmt(const wave *w, size_t at, plb_error *err) {
  const bool integer = w->tag == TAG_INTEGER && (w->bits == 8 || w->bits == 16 || w->bits == 24 || w->bits == 32);
  const bool real = w->tag == TAG_FLOAT && (w->bits == 32 || w->bits == 64);
  if (w->tag != TAG_INTEGER && w->tag != TAG_FLOAT)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)at,
                         "the samples are compressed (format 0x%04X); export them as plain PCM", w->tag);
  if (!integer && !real)
    return plb_fail_byte(
        err, PLB_EDATA, (int64_t)at + 14,
        "samples of %u bits are not read; export 8, 16, 24 or 32 bits, or 32 or 64 bits of floating point", w->bits);
  if (w->channels == 0 || w->channels > MOST_CHANNELS)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)at + 2,
                         "%u channels make no sense; the file is damaged, record it again", w->channels);
  if (w->rate == 0)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)at + 4,
                         "a sample rate of nought; the file is damaged, record it again");
  if (w->block != w->channels * w->bits / 8)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)at + 12,
                         "%u bytes for a sample of every channel, but %u channels of %u bits; the file is damaged",
                         w->block, w->channels, w->bits);
  return PLB_OK;
}

static plb_status find_data_size(wave *w, size_t at, uint32_t told, plb_error *err) {
  const size_t there = w->size - at;
  uint64_t size = told;
  if (w->wide && told == size_unknown)
    size = w->wide_data_size;
  else if (told == size_unknown)
    w->open_end = true; /* written to a pipe: the size was never filled in */
  if (w->open_end)
    size = there - there % w->block;
  if (size > there)
    return plb_fail_byte(
        err, PLB_EDATA, (int64_t)w->size,
        "the WAVE file is cut off: %llu bytes of samples are promised, %zu are there; copy or record it again",
        (unsigned long long)size, there);
  if (size % w->block != 0)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)(at + (size_t)size),
                         "the last sample is not whole; copy or record the file again");
  if (size == 0)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)at, "there are no samples; record it again");
  w->body = at;
  w->body_size = (size_t)size;
  return PLB_OK;
}

/* Chunks in turn until the samples; what stands behind them is of no interest. */
static plb_status find_chunks(wave *w, plb_error *err) {
  bool has_fmt = false;
  size_t at = 12;
  if (w->size < 12)
    return fail_cut(w->size, "in its first 12 bytes", err);
  if (memcmp(w->data + 8, "WAVE", 4) != 0)
    return plb_fail_byte(err, PLB_EDATA, 8,
                         "a RIFF file, but not of WAVE samples; export the recording as WAVE or text");
  w->wide = w->data[0] != 'R' || w->data[1] != 'I';
  while (w->size - at >= 8) {
    const char *id = w->data + at;
    const uint32_t size = plb_u32_le(id + 4);
    at += 8;
    if (memcmp(id, "data", 4) == 0) {
      if (!has_fmt)
        return plb_fail_byte(err, PLB_EDATA, (int64_t)at - 8,
                             "the samples come before their format; the file is damaged, record it again");
      return find_data_size(w, at, size, err);
    }
    if (size > w->size - at)
      return fail_cut(w->size, "in a chunk before the samples", err);
    if (memcmp(id, "ds64", 4) == 0 && size >= 16)
      w->wide_data_size = plb_u64_le(w->data + at + 8);
    if (memcmp(id, "fmt ", 4) == 0) {
      plb_status status = read_fmt(w, at, size, err);
      if (status == PLB_OK)
        status = check_fmt(w, at, err);
      if (status != PLB_OK)
        return status;
      has_fmt = true;
    }
    at += size;
    at += size % 2 != 0 && at < w->size;
  }
  return fail_cut(w->size, "before the samples", err);
}

static plb_status read_codes(const wave *w, size_t channel, size_t n, plb_samples *out) {
  int32_t *code = plb_resize(NULL, n, sizeof *code);
  if (!code)
    return PLB_ENOMEM;
  const size_t bytes = w->bits / 8;
  const char *p = w->data + w->body + channel * bytes;
  switch (bytes) {
  case 1:
    for (size_t i = 0; i < n; i++, p += w->block)
      code[i] = (unsigned char)*p - 128;
    break;
  case 2:
    for (size_t i = 0; i < n; i++, p += w->block)
      code[i] = (int16_t)plb_u16_le(p);
    break;
  default:
    for (size_t i = 0; i < n; i++, p += w->block)
      code[i] = (int32_t)plb_signed(p, bytes, false);
  }
  *out = (plb_samples){.code = code, .decimals = -1, .scale = ldexp(1.0, 1 - (int)w->bits)};
  /* valid bits stand at the top of their container */
  const int64_t full = (int64_t)1 << (w->bits - 1), grain = (int64_t)1 << (w->bits - w->valid);
  out->code_low = (int32_t)-full;
  out->code_high = (int32_t)(full - grain);
  return PLB_OK;
}

static plb_status read_reals(const wave *w, size_t channel, size_t n, plb_samples *out) {
  double *real = plb_resize(NULL, n, sizeof *real);
  if (!real)
    return PLB_ENOMEM;
  const char *p = w->data + w->body + channel * (w->bits / 8);
  for (size_t i = 0; i < n; i++, p += w->block) {
    real[i] = w->bits == 32 ? (double)plb_f32(plb_u32_le(p)) : plb_f64(plb_u64_le(p));
    if (isinf(real[i]))
      real[i] = NAN;
  }
  *out = (plb_samples){.real = real, .scale = 1.0};
  return PLB_OK;
}

static plb_status read_wave(plb_capture *out, const char *data, size_t size, const plb_read_options *options,
                            plb_error *err) {
  wave w = {.data = data, .size = size};
  plb_status status = find_chunks(&w, err);
  if (status != PLB_OK)
    return status;
  const size_t n = w.body_size / w.block;
  for (size_t i = 0; i < w.channels; i++) {
    plb_channel *channel = plb_capture_add_channel(out);
    status = channel ? PLB_OK : PLB_ENOMEM;
    if (status == PLB_OK) {
      plb_text_print(channel->role, sizeof channel->role, "c%zu", i + 1);
      status = w.tag == TAG_FLOAT ? read_reals(&w, i, n, &channel->samples) : read_codes(&w, i, n, &channel->samples);
    }
    if (status != PLB_OK)
      return plb_fail(err, status, "not enough memory for this recording; close other programs");
  }
  out->samples = n;
  out->rate_hz = w.rate;
  if (options->rate_hz > 0.0 && options->rate_hz != out->rate_hz) {
    plb_capture_add_note(out, "the file says %.10g Hz; the rate given holds", out->rate_hz);
    out->rate_hz = options->rate_hz;
  }
  plb_capture_add_note(out, "%u-bit %s samples, full scale is 1", w.valid,
                       w.tag == TAG_FLOAT ? "floating-point" : "integer");
  if (w.open_end)
    plb_capture_add_note(out, "the file does not say how long it is; all of it is read");
  return PLB_OK;
}

const plb_format plb_format_wave = {"RIFF WAVE", probe_wave, read_wave, NULL};
