/* A whole recording, and what arrives live: the same windows, filled in different ways. */
#include "event/event.h"

#include <errno.h>
#include <math.h>
#include <string.h>
#include <sys/stat.h>

struct plb_watch {
  plb_stream *stream;
  plb_windows windows;
  uint64_t looked_at; /* samples that had arrived at the last search */
};

static plb_status check(const plb_search_options *o, plb_error *err) {
  if (o->version != 1)
    return plb_fail(err, PLB_EINVAL, "search options of version %u; start from PLB_SEARCH_OPTIONS_INIT", o->version);
  if (!(o->sigma >= 5 && o->sigma <= 1000))
    return plb_fail(err, PLB_EUSAGE, "events of %g standard deviations; give 5 to 1000 (below 5 noise alone gives some)",
                    o->sigma);
  if (o->cut_folder && mkdir(o->cut_folder, 0777) != 0 && errno != EEXIST)
    return plb_fail_path(err, plb_fail(err, PLB_ECREATE, "cannot make this folder for cut-outs: %s; name another", strerror(errno)),
                         o->cut_folder);
  return PLB_OK;
}

static plb_status fill(plb_windows *w, plb_error *err) {
  plb_status status = PLB_OK;
  while (status == PLB_OK && !w->ended && w->held < w->room)
    status = plb_windows_read(w, err);
  return status;
}

static plb_status search(plb_stream *stream, const plb_search_options *o, const plb_event_listener *listener,
                         plb_search_summary *out, plb_error *err) {
  plb_windows w;
  bool go_on = true;
  plb_status status = plb_windows_init(&w, stream, o, false, err);
  while (status == PLB_OK && go_on && !w.ended) {
    status = fill(&w, err);
    if (status == PLB_OK)
      status = plb_windows_search(&w, listener, &go_on, err);
  }
  if (out)
    *out = w.summary;
  plb_windows_dispose(&w);
  return status;
}

plb_status plb_search(const char *path, const plb_search_options *options, const plb_event_listener *listener,
                      plb_search_summary *out, plb_error *err) {
  const plb_search_options usual = PLB_SEARCH_OPTIONS_INIT, *o = options ? options : &usual;
  plb_stream *stream = NULL;
  plb_status status = check(o, err);
  if (status == PLB_OK)
    status = plb_stream_open(&stream, path, &o->stream, err);
  if (status == PLB_OK)
    status = plb_stream_assign(stream, o->channel, o->channels, err);
  if (status == PLB_OK && !(plb_stream_layout(stream)->rate_hz > 0))
    status = plb_fail_path(err, plb_fail(err, PLB_EDATA, "the sample rate is not known; give it with --rate"), path);
  if (status == PLB_OK && plb_stream_layout(stream)->pairs)
    status = plb_fail_path(err, plb_fail(err, PLB_EDATA, "the file holds lowest and highest of many samples; search the recording itself"), path);
  if (status == PLB_OK)
    status = search(stream, o, listener, out, err);
  plb_stream_close(stream);
  return status;
}

plb_status plb_watch_new(plb_watch **out, int fd, const plb_search_options *options, plb_error *err) {
  *out = NULL;
  plb_status status = check(options, err);
  plb_watch *w = status == PLB_OK ? plb_calloc(1, sizeof *w) : NULL;
  if (!w)
    return status != PLB_OK ? status : plb_fail(err, PLB_ENOMEM, "no memory to watch; close other programs");
  status = plb_stream_open_fd(&w->stream, fd, &options->stream, err);
  if (status == PLB_OK)
    status = plb_stream_assign(w->stream, options->channel, options->channels, err);
  if (status == PLB_OK)
    status = plb_windows_init(&w->windows, w->stream, options, true, err);
  if (status == PLB_OK)
    *out = w;
  else
    plb_watch_free(w);
  return status;
}

/* Look again after a tenth of a second's samples: often enough for the eye, seldom enough for the processor. */
static bool is_time(const plb_watch *w) {
  const plb_windows *v = &w->windows;
  const double batch = fmin(fmax(v->summary.rate_hz / 10, 64), (double)v->room / 8);
  return v->ended || (double)(v->summary.samples - w->looked_at) >= batch;
}

plb_status plb_watch_step(plb_watch *w, const plb_event_listener *listener, bool *open_out, plb_error *err) {
  *open_out = true;
  plb_status status = plb_windows_read(&w->windows, err);
  if (status == PLB_OK && is_time(w)) {
    w->looked_at = w->windows.summary.samples;
    status = plb_windows_search(&w->windows, listener, open_out, err);
  }
  if (w->windows.ended)
    *open_out = false;
  return status;
}

double plb_watch_time_s(const plb_watch *w) {
  return (double)w->windows.summary.samples / w->windows.summary.rate_hz;
}

void plb_watch_summary(const plb_watch *w, plb_search_summary *out) { *out = w->windows.summary; }

void plb_watch_free(plb_watch *w) {
  if (!w)
    return;
  plb_windows_dispose(&w->windows);
  plb_stream_close(w->stream);
  free(w);
}
