/*
 * The head of a WAVE file whose samples are read in pieces. The head alone, with a few samples, is given to the reader of
 * whole files: the same checks, the same messages, the same scale.
 */
#include "capture/bytes.h"
#include "capture/stream.h"

#include <math.h>
#include <string.h>

typedef struct place {
  size_t fmt, data;   /* of the bodies; 0: none */
  uint64_t data_size; /* [bytes] */
  uint64_t wide_size;
} place;

static place find_chunks(const char *p, size_t size) {
  place out = {0};
  for (size_t at = 12; at + 8 <= size;) {
    const uint32_t length = plb_u32_le(p + at + 4);
    const size_t body = at + 8;
    if (memcmp(p + at, "ds64", 4) == 0 && body + 16 <= size)
      out.wide_size = plb_u64_le(p + body + 8);
    if (memcmp(p + at, "fmt ", 4) == 0 && body + 16 <= size)
      out.fmt = body;
    if (memcmp(p + at, "data", 4) == 0) {
      out.data = body;
      out.data_size = length;
      break;
    }
    if (length > size - body)
      break;
    at = body + length + length % 2;
  }
  return out;
}

/* The reader of whole files wants the samples that the head promises: it is given a copy that promises what is there. */
static plb_status read_head(plb_stream *s, const place *at, size_t bytes, const plb_stream_options *o, plb_error *err) {
  char *copy = plb_resize(NULL, at->data + bytes + 1, 1);
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "not enough memory to read the recording; close other programs");
  memcpy(copy, s->bytes, at->data + bytes);
  memcpy(copy, "RIFF", 4);
  for (size_t i = 0; i < 4; i++)
    copy[at->data - 4 + i] = (char)(bytes >> (8 * i) & 0xFF);
  plb_read_options reading = PLB_READ_OPTIONS_INIT;
  reading.rate_hz = o->rate_hz;
  const plb_status status =
      plb_capture_read_memory(&s->layout, copy, at->data + bytes, s->owns_fd ? "" : "standard input", &reading, err);
  free(copy);
  return status;
}

plb_status plb_stream_begin_wave(plb_stream *s, const plb_stream_options *o, plb_error *err) {
  const place at = find_chunks(s->bytes, s->held);
  if (at.fmt == 0 || at.data == 0) {
    plb_read_options reading = PLB_READ_OPTIONS_INIT; /* says what is wrong with it */
    s->whole = true;
    return plb_capture_read_memory(&s->layout, s->bytes, s->held, "", &reading, err);
  }
  const size_t frame = plb_u16_le(s->bytes + at.fmt + 12);
  if (frame == 0 || s->held - at.data < frame)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)at.data, "there are no samples; record it again");
  const plb_status status = read_head(s, &at, frame, o, err);
  if (status != PLB_OK)
    return status;
  const plb_samples *first = &s->layout->channel[0].samples;
  s->frame = frame;
  s->columns = s->layout->channels;
  s->bits = (unsigned)(8 * frame / s->columns);
  s->real = first->code == NULL;
  s->scale = s->real ? 1 : first->scale;
  s->offset = s->real ? 0 : first->offset;
  s->take = plb_stream_take_frames;
  const uint64_t size = at.data_size == 0xFFFFFFFF && at.wide_size > 0 ? at.wide_size : at.data_size;
  s->left = size == 0xFFFFFFFF ? -1 : (int64_t)(size / frame);
  s->used = at.data;
  return PLB_OK;
}
