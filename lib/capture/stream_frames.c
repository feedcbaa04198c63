/* Frames of numbers: bare samples and the body of WAVE. */
#include "capture/bytes.h"
#include "capture/stream.h"

#include <math.h>
#include <string.h>

static void take_int16(const char *p, size_t frame, size_t n, double scale, double offset, double *out) {
  for (size_t i = 0; i < n; i++) {
    int16_t code;
    memcpy(&code, p + i * frame, sizeof code);
    out[i] = offset + scale * (int16_t)plb_u16_le((const char *)&code);
  }
}

static void take_integers(const char *p, size_t frame, size_t bytes, size_t n, double scale, double offset,
                          double *out) {
  for (size_t i = 0; i < n; i++, p += frame)
    out[i] = offset + scale * (double)(bytes == 1 ? (unsigned char)*p - 128 : plb_signed(p, bytes, false));
}

static void take_reals(const char *p, size_t frame, size_t bytes, size_t n, double scale, double offset, double *out) {
  for (size_t i = 0; i < n; i++, p += frame) {
    const double value = bytes == 4 ? (double)plb_f32(plb_u32_le(p)) : plb_f64(plb_u64_le(p));
    out[i] = isfinite(value) ? offset + scale * value : (double)NAN;
  }
}

plb_status plb_stream_take_frames(plb_stream *s, double *const *out, size_t most, size_t *got, plb_error *err) {
  (void)err;
  size_t n = (s->held - s->used) / s->frame;
  n = n < most ? n : most;
  if (s->left >= 0 && (uint64_t)n > (uint64_t)s->left)
    n = (size_t)s->left;
  const size_t bytes = s->bits / 8;
  for (size_t j = 0; j < s->columns; j++) {
    if (s->channel_of[j] < 0)
      continue;
    const char *p = s->bytes + s->used + j * bytes;
    double *to = out[s->channel_of[j]];
    if (s->real)
      take_reals(p, s->frame, bytes, n, s->scale, s->offset, to);
    else if (bytes == 2)
      take_int16(p, s->frame, n, s->scale, s->offset, to);
    else
      take_integers(p, s->frame, bytes, n, s->scale, s->offset, to);
  }
  s->used += n * s->frame;
  s->left -= s->left >= 0 ? (int64_t)n : 0;
  *got = n;
  return PLB_OK;
}
