#include "capture/stream.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

/*
 * A recording in pieces: the head is held first, so that the formats can be told apart as for a file that is read whole;
 * then the same room takes one piece after another.
 */

static const size_t whole_most = (size_t)16 << 20;

bool plb_sample_type_parse(const char *text, plb_sample_type *out) {
  static const char *const names[] = {"", "int16", "int32", "float32", "float64"};
  for (int i = 1; i < 5; i++)
    if (strcmp(text, names[i]) == 0) {
      *out = (plb_sample_type)i;
      return true;
    }
  return false;
}

static plb_status fail_memory(plb_error *err) {
  return plb_fail(err, PLB_ENOMEM, "not enough memory to read the recording; close other programs");
}

plb_status plb_stream_fill(plb_stream *s, plb_error *err) {
  if (s->used > 0) {
    memmove(s->bytes, s->bytes + s->used, s->held - s->used);
    s->passed += (int64_t)s->used;
    s->held -= s->used;
    s->used = 0;
  }
  while (!s->at_end && s->held < s->room) {
    const ssize_t got = read(s->fd, s->bytes + s->held, s->room - s->held);
    if (got < 0 && errno == EINTR)
      continue;
    if (got < 0)
      return plb_fail(err, errno == EISDIR ? PLB_ENOINPUT : PLB_EIO, "cannot read it: %s", strerror(errno));
    s->at_end = got == 0;
    s->held += (size_t)got;
    break;
  }
  s->bytes[s->held] = '\0';
  return PLB_OK;
}

/* Read until the room is full or the input ends: the head must be whole to tell anything. */
static plb_status fill_head(plb_stream *s, plb_error *err) {
  plb_status status = PLB_OK;
  while (status == PLB_OK && !s->at_end && s->held < s->room)
    status = plb_stream_fill(s, err);
  return status;
}

static plb_status check_options(const plb_stream_options *o, plb_error *err) {
  if (o->version != 1)
    return plb_fail(err, PLB_EINVAL, "stream options of version %u; start from PLB_STREAM_OPTIONS_INIT", o->version);
  if (o->type == PLB_SAMPLE_TOLD)
    return PLB_OK;
  if (o->channels < 1 || o->channels > 1024)
    return plb_fail(err, PLB_EUSAGE, "%zu channels; bare samples have 1 to 1024", o->channels);
  if (!(o->rate_hz > 0) || isinf(o->rate_hz))
    return plb_fail(err, PLB_EUSAGE, "bare samples do not say their rate; give it with --rate");
  if (!isfinite(o->scale) || !isfinite(o->offset) || !(fabs(o->scale) > 0))
    return plb_fail(err, PLB_EUSAGE, "a scale of %g makes no sense; give one that is not nought", o->scale);
  return PLB_OK;
}

static plb_status begin_bare(plb_stream *s, const plb_stream_options *o, plb_error *err) {
  static const unsigned bits[] = {0, 16, 32, 32, 64};
  s->bits = bits[o->type];
  s->real = o->type == PLB_SAMPLE_FLOAT32 || o->type == PLB_SAMPLE_FLOAT64;
  s->columns = o->channels;
  s->frame = o->channels * s->bits / 8;
  s->scale = o->scale;
  s->offset = o->offset;
  s->left = -1;
  s->take = plb_stream_take_frames;
  s->layout = plb_capture_new();
  if (!s->layout)
    return fail_memory(err);
  plb_text_copy(s->layout->format, sizeof s->layout->format, "bare samples");
  s->layout->rate_hz = o->rate_hz;
  for (size_t c = 0; c < o->channels; c++) {
    plb_channel *channel = plb_capture_add_channel(s->layout);
    if (!channel)
      return fail_memory(err);
    plb_text_print(channel->role, sizeof channel->role, "c%zu", c + 1);
  }
  return PLB_OK;
}

/* Every column feeds the channel that was made of it. */
static plb_status connect_columns(plb_stream *s, plb_error *err) {
  free(s->channel_of);
  s->channel_of = plb_calloc(s->columns, sizeof *s->channel_of);
  if (!s->channel_of)
    return fail_memory(err);
  for (size_t j = 0; j < s->columns; j++)
    s->channel_of[j] = -1;
  for (size_t c = 0; c < s->layout->channels; c++)
    if (s->layout->channel[c].column >= 1 && (size_t)s->layout->channel[c].column <= s->columns)
      s->channel_of[s->layout->channel[c].column - 1] = (int)c;
  return PLB_OK;
}

static plb_status begin_whole(plb_stream *s, const char *path, const plb_stream_options *o, plb_error *err) {
  plb_read_options reading = PLB_READ_OPTIONS_INIT;
  reading.rate_hz = o->rate_hz;
  s->whole = true;
  if (!s->at_end && s->owns_fd) {
    reading.most_bytes = whole_most;
    return plb_capture_read(&s->layout, path, &reading, err);
  }
  return plb_capture_read_memory(&s->layout, s->bytes, s->held, path, &reading, err);
}

static plb_status begin(plb_stream *s, const char *path, const plb_stream_options *o, plb_error *err) {
  plb_status status = o->type == PLB_SAMPLE_TOLD ? fill_head(s, err) : PLB_OK;
  if (status != PLB_OK)
    return status;
  if (o->type != PLB_SAMPLE_TOLD)
    status = begin_bare(s, o, err);
  else if (plb_format_wave.probe(s->bytes, s->held < 65536 ? s->held : 65536) == 2)
    status = plb_stream_begin_wave(s, o, err);
  else if (!s->at_end && plb_format_text.probe(s->bytes, 65536) > 0)
    status = plb_stream_begin_text(s, o, err);
  else
    status = begin_whole(s, path, o, err);
  if (status == PLB_OK && !s->whole)
    status = connect_columns(s, err);
  if (status == PLB_OK && s->layout->path[0] == '\0')
    plb_text_say(s->layout->path, sizeof s->layout->path, "%s", path);
  return status;
}

static plb_status open_stream(plb_stream **out, int fd, bool owns, const char *path, const plb_stream_options *o,
                              plb_error *err) {
  *out = NULL;
  plb_stream *s = plb_calloc(1, sizeof *s);
  if (s) {
    *s = (plb_stream){.fd = fd, .owns_fd = owns, .room = PLB_STREAM_HEAD};
    s->bytes = plb_resize(NULL, s->room + 1, 1);
  }
  if (!s || !s->bytes) {
    free(s);
    return fail_memory(err);
  }
  const plb_status status = begin(s, path, o, err);
  if (status == PLB_OK)
    *out = s;
  else
    plb_stream_close(s);
  return status;
}

plb_status plb_stream_open(plb_stream **out, const char *path, const plb_stream_options *options, plb_error *err) {
  const plb_stream_options usual = PLB_STREAM_OPTIONS_INIT, *o = options ? options : &usual;
  *out = NULL;
  plb_status status = check_options(o, err);
  if (status != PLB_OK)
    return status;
  const bool standard = strcmp(path, "-") == 0;
  const int fd = standard ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC);
  if (fd < 0) {
    status = plb_fail(err, PLB_ENOINPUT, "cannot open it: %s; check its name and permissions", strerror(errno));
    return plb_fail_path(err, status, path);
  }
  status = open_stream(out, fd, !standard, standard ? "standard input" : path, o, err);
  if (status != PLB_OK && !standard && *out == NULL && err)
    return plb_fail_path(err, status, path);
  return status;
}

plb_status plb_stream_open_fd(plb_stream **out, int fd, const plb_stream_options *options, plb_error *err) {
  *out = NULL;
  const plb_status status = check_options(options, err);
  if (status != PLB_OK)
    return status;
  if (options->type == PLB_SAMPLE_TOLD)
    return plb_fail(err, PLB_EUSAGE, "the type of the samples is not said; give int16, int32, float32 or float64");
  return open_stream(out, fd, false, "standard input", options, err);
}

void plb_stream_close(plb_stream *s) {
  if (!s)
    return;
  if (s->owns_fd)
    close(s->fd);
  plb_capture_free(s->layout);
  free(s->channel_of);
  free(s->bytes);
  free(s);
}

const plb_capture *plb_stream_layout(const plb_stream *s) { return s->layout; }

plb_status plb_stream_assign(plb_stream *s, const plb_channel_map *maps, size_t count, plb_error *err) {
  plb_status status = count > 0 ? plb_capture_assign(s->layout, maps, count, err) : PLB_OK;
  if (status == PLB_OK && !s->whole)
    status = connect_columns(s, err);
  return status;
}

static void give_whole(plb_stream *s, double *const *out, size_t most, size_t *got) {
  const size_t left = s->layout->samples - s->next;
  *got = left < most ? left : most;
  for (size_t c = 0; c < s->layout->channels; c++)
    plb_capture_values(s->layout, c, s->next, *got, out[c]);
  s->next += *got;
}

static void apply_factors(const plb_stream *s, double *const *out, size_t n) {
  for (size_t c = 0; c < s->layout->channels; c++) {
    const double factor = s->layout->channel[c].factor;
    if (factor < 1 || factor > 1)
      for (size_t i = 0; i < n; i++)
        out[c][i] *= factor;
  }
}

plb_status plb_stream_read(plb_stream *s, double *const *out, size_t most, size_t *got_out, plb_error *err) {
  *got_out = 0;
  plb_status status = PLB_OK;
  if (s->whole) {
    give_whole(s, out, most, got_out);
    return PLB_OK;
  }
  for (;;) {
    status = s->take(s, out, most, got_out, err);
    if (status != PLB_OK || *got_out > 0 || s->left == 0 || (s->at_end && s->used >= s->held))
      break;
    const size_t before = s->held - s->used;
    status = plb_stream_fill(s, err);
    if (status != PLB_OK || (s->at_end && s->held == before && s->frame > 0))
      break; /* what is left is no whole frame */
  }
  apply_factors(s, out, *got_out);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, s->layout->path);
}
