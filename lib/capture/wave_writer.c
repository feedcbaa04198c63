#include "capture/put.h"
#include <math.h>

/*
 * RIFF WAVE; wave_reader.c has the layout. Integers where the channels came from a WAVE file of integers, else
 * floating point: of 32 bits where that holds every value, else of 64. So every value comes back bit for bit. WAVE has
 * no place for names, units and the time of the first sample, and its rate is a whole number.
 */

enum { TAG_INTEGER = 1, TAG_FLOAT = 3, HEAD = 44 };
static const size_t most_bytes = 0xFFFFFF00;

bool plb_capture_fits_float(const plb_capture *capture) {
  for (size_t i = 0; i < capture->channels; i++)
    for (size_t k = 0; k < capture->samples; k++) {
      double value;
      plb_capture_values(capture, i, k, 1, &value);
      if (!isnan(value) && (fabs(value) > 3.4e38 || (double)(float)value != value))
        return false;
    }
  return true;
}

plb_status plb_put_file(plb_buffer *b, const char *path, plb_error *err) {
  const plb_status status =
      b->status == PLB_OK
          ? plb_file_write(path, b->data, b->size, err)
          : plb_fail(err, b->status, "not enough room to write this recording; write a shorter part of it");
  plb_buffer_dispose(b);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, path);
}

/* 8, 16, 24 or 32 when every channel is codes whose full scale of 1 is that many bits; else 0. */
static unsigned integer_bits(const plb_capture *capture) {
  unsigned bits = 0;
  for (size_t i = 0; i < capture->channels; i++) {
    const plb_samples *s = &capture->channel[i].samples;
    unsigned own = 0;
    for (unsigned k = 8; k <= 32; k += 8)
      if (s->code && s->decimals < 0 && s->offset == 0.0 && s->scale == ldexp(1.0, 1 - (int)k))
        own = k;
    if (own == 0 || (bits != 0 && own != bits) || capture->channel[i].factor != 1.0)
      return 0;
    bits = own;
  }
  return bits;
}

static void put_head(plb_buffer *b, const plb_capture *capture, unsigned tag, unsigned bits) {
  const size_t block = capture->channels * bits / 8, body = capture->samples * block;
  plb_buffer_puts(b, "RIFF");
  plb_put_le(b, HEAD - 8 + body + body % 2, 4);
  plb_buffer_puts(b, "WAVEfmt ");
  plb_put_le(b, 16, 4);
  plb_put_le(b, tag, 2);
  plb_put_le(b, capture->channels, 2);
  plb_put_le(b, (uint64_t)capture->rate_hz, 4);
  plb_put_le(b, (uint64_t)capture->rate_hz * block & 0xFFFFFFFF, 4);
  plb_put_le(b, block, 2);
  plb_put_le(b, bits, 2);
  plb_buffer_puts(b, "data");
  plb_put_le(b, body, 4);
}

static void put_sample(plb_buffer *b, const plb_capture *capture, size_t channel, size_t at, unsigned tag, unsigned bits) {
  double value;
  if (tag == TAG_INTEGER) {
    const int32_t code = capture->channel[channel].samples.code[at];
    plb_put_le(b, (uint32_t)(bits == 8 ? code + 128 : code), bits / 8);
    return;
  }
  plb_capture_values(capture, channel, at, 1, &value);
  if (bits == 32)
    plb_put_f32(b, value);
  else
    plb_put_f64(b, value);
}

plb_status plb_capture_write_wave(const plb_capture *capture, const char *path, plb_error *err) {
  if (!(capture->rate_hz >= 1.0 && capture->rate_hz <= 4294967295.0) || capture->rate_hz != floor(capture->rate_hz))
    return plb_fail(err, PLB_EDATA, "a WAVE file holds whole sample rates only, and this one is %.10g Hz; write text or COMTRADE",
                    capture->rate_hz);
  const unsigned whole = integer_bits(capture), tag = whole ? TAG_INTEGER : TAG_FLOAT;
  const unsigned bits = whole ? whole : plb_capture_fits_float(capture) ? 32 : 64;
  if (capture->channels > 1024 || capture->samples > most_bytes / (capture->channels * bits / 8))
    return plb_fail(err, PLB_EDATA, "a WAVE file holds less than 4 GiB and this program writes no more than 1024 channels; write a shorter part");
  plb_buffer b;
  plb_buffer_init(&b, most_bytes + HEAD + 1);
  put_head(&b, capture, tag, bits);
  for (size_t i = 0; i < capture->samples && b.status == PLB_OK; i++)
    for (size_t k = 0; k < capture->channels; k++)
      put_sample(&b, capture, k, i, tag, bits);
  if (b.size % 2 != 0)
    plb_put_le(&b, 0, 1);
  return plb_put_file(&b, path, err);
}
