/*
 * A window moves over the recording; a margin on either side is looked at but not told, so that an event on a seam is
 * seen whole by one window. Live, the window is short, everything in it is looked at again with each piece that arrives,
 * and an event is told once enough has come behind it.
 */
#include "event/event.h"

#include <math.h>
#include <string.h>

enum { ROOM_MOST = 1 << 18, ROOM_LIVE = 1 << 15, MARGIN_MOST = 1 << 14, LIVE_LEAST = 1024, LIVE_BEHIND = 32 };
static const size_t bytes_most = (size_t)44 << 20;
static const double pair_s = 10, pair_live_s = 1; /* a step that is undone within was a dropout */

static size_t bytes_per_sample(size_t channels) { return channels * 16 + 24; }

plb_status plb_windows_init(plb_windows *w, plb_stream *stream, const plb_search_options *options, bool live,
                            plb_error *err) {
  const plb_capture *layout = plb_stream_layout(stream);
  *w = (plb_windows){.stream = stream, .options = *options, .channels = layout->channels, .live = live};
  w->room = live ? ROOM_LIVE : ROOM_MOST;
  while (w->room > 4096 && w->room * bytes_per_sample(w->channels) > bytes_most)
    w->room /= 2;
  w->margin = w->room / 16 < MARGIN_MOST ? w->room / 16 : MARGIN_MOST;
  plb_search_summary *s = &w->summary;
  plb_text_say(s->path, sizeof s->path, "%s", layout->path);
  plb_text_say(s->format, sizeof s->format, "%s", layout->format);
  s->rate_hz = layout->rate_hz;
  s->start_s = layout->start_s;
  s->channels = w->channels;
  s->memory_bytes = w->room * bytes_per_sample(w->channels) + PLB_STREAM_HEAD;
  w->lane = plb_calloc(w->channels, sizeof *w->lane);
  if (!w->lane)
    return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  for (size_t c = 0; c < w->channels; c++) {
    plb_lane *lane = &w->lane[c];
    plb_text_say(lane->role, sizeof lane->role, "%s", layout->channel[c].role);
    plb_text_say(lane->unit, sizeof lane->unit, "%s", layout->channel[c].unit);
    lane->x = plb_calloc(w->room, sizeof *lane->x);
    lane->deviation = plb_calloc(w->room, sizeof *lane->deviation);
    lane->r = plb_calloc(w->room, sizeof *lane->r);
    if (!lane->x || !lane->deviation || !lane->r)
      return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  }
  return plb_boxes_init(&w->boxes, w->room, err);
}

void plb_windows_dispose(plb_windows *w) {
  for (size_t c = 0; w->lane && c < w->channels; c++) {
    free(w->lane[c].x);
    free(w->lane[c].deviation);
    free(w->lane[c].r);
  }
  free(w->lane);
  plb_boxes_dispose(&w->boxes);
  free(w->found.item);
  *w = (plb_windows){0};
}

/* A missing sample holds the one before, which no search sees. */
static void fill_missing(plb_lane *lane, size_t from, size_t to, plb_search_summary *s) {
  for (size_t i = from; i < to; i++)
    if (isnan(lane->x[i])) {
      lane->x[i] = i > 0 ? lane->x[i - 1] : 0;
      lane->missing++;
      s->missing++;
    }
}

plb_status plb_windows_read(plb_windows *w, plb_error *err) {
  double *out[1024];
  for (size_t c = 0; c < w->channels; c++)
    out[c] = w->lane[c].x + w->held;
  size_t got = 0;
  const plb_status status = plb_stream_read(w->stream, out, w->room - w->held, &got, err);
  if (status != PLB_OK)
    return status;
  for (size_t c = 0; c < w->channels; c++)
    fill_missing(&w->lane[c], w->held, w->held + got, &w->summary);
  w->held += got;
  w->summary.samples += got;
  w->ended = got == 0;
  return PLB_OK;
}

static void drop_front(plb_windows *w, size_t count) {
  for (size_t c = 0; c < w->channels; c++)
    memmove(w->lane[c].x, w->lane[c].x + count, (w->held - count) * sizeof *w->lane[c].x);
  w->held -= count;
  w->searched -= count;
  w->start += count;
}

/* Noise alone gives |z| or more somewhere in as many samples, at a handful of independent lengths each. */
static double confidence_of(double sigma, uint64_t samples) {
  return exp(-4 * (double)(samples > 1000000 ? samples : 1000000) * erfc(sigma / sqrt(2)));
}

static void make_event(const plb_windows *w, const plb_found *f, plb_event *e) {
  const plb_lane *lane = &w->lane[f->lane];
  const double rate_hz = w->summary.rate_hz;
  const bool samples = f->unit && strcmp(f->unit, "samples") == 0;
  *e = (plb_event){.kind = f->kind, .time_s = w->summary.start_s + f->first / rate_hz,
                   .duration_s = (f->last - f->first) / rate_hz, .size = samples ? f->size / rate_hz : f->size,
                   .sigma = fmin(f->sigma, 1e9), .confidence = confidence_of(f->sigma, w->summary.samples)};
  memcpy(e->channel, lane->role, sizeof e->channel);
  plb_text_say(e->unit, sizeof e->unit, "%s", samples ? "s" : f->unit ? f->unit : lane->unit);
}

/* `f` in samples from the recording's start. */
static plb_status tell(plb_windows *w, const plb_found *f, const plb_event_listener *listener, bool *go_on,
                       plb_error *err) {
  plb_event e;
  make_event(w, f, &e);
  w->summary.events++;
  w->summary.by_kind[f->kind]++;
  if (w->options.cut_folder && w->summary.cuts < w->options.most_cuts) {
    const double around = fmax(256, 2 * (f->last - f->first)), base = (double)w->start;
    const double first = fmax(f->first - around - base, 0), last = fmin(f->last + around - base, (double)w->held);
    const plb_status status = plb_cut_write(w, &e, (size_t)first, last > first + 2 ? (size_t)last : (size_t)first + 2, e.cut, err);
    if (status != PLB_OK)
      return status;
    w->summary.cuts++;
  }
  if (listener && listener->on_event && !listener->on_event(&e, listener->payload))
    *go_on = false;
  return PLB_OK;
}

static int by_time(const void *a, const void *b) {
  const plb_found *p = a, *q = b;
  return p->first < q->first ? -1 : p->first > q->first ? 1 : (p->lane > q->lane) - (p->lane < q->lane);
}

static bool undoes(const plb_found *pending, const plb_found *step, double within) {
  return step->first - pending->first < within && pending->size * step->size < 0 &&
         fabs(pending->size + step->size) < 0.3 * fabs(pending->size);
}

/* A step waits for the one that undoes it. */
static plb_status take_step(plb_windows *w, const plb_found *f, const plb_event_listener *listener, bool *go_on,
                            plb_error *err) {
  plb_found *pending = &w->lane[f->lane].pending;
  const double within = (w->live ? pair_live_s : pair_s) * w->summary.rate_hz;
  const bool waits = pending->sigma > 0;
  if (waits && undoes(pending, f, within)) {
    plb_found whole = *pending;
    const double before = w->lane[f->lane].x[(size_t)fmin(fmax(f->first - (double)w->start, 0), (double)w->held - 1)];
    whole.kind = before * whole.size < 0 ? PLB_EVENT_DROPOUT : PLB_EVENT_SPIKE;
    whole.last = f->first;
    whole.sigma = fmin(whole.sigma, f->sigma);
    *pending = (plb_found){0};
    return tell(w, &whole, listener, go_on, err);
  }
  const plb_found before = *pending;
  *pending = *f;
  return waits ? tell(w, &before, listener, go_on, err) : PLB_OK;
}

static plb_status flush_steps(plb_windows *w, const plb_event_listener *listener, bool *go_on, plb_error *err) {
  const double within = (w->live ? pair_live_s : pair_s) * w->summary.rate_hz;
  plb_status status = PLB_OK;
  for (size_t c = 0; c < w->channels && status == PLB_OK && *go_on; c++) {
    plb_found *pending = &w->lane[c].pending;
    if (pending->sigma > 0 && (w->ended || (double)(w->start + w->searched) - pending->first > within)) {
      const plb_found step = *pending;
      *pending = (plb_found){0};
      status = tell(w, &step, listener, go_on, err);
    }
  }
  return status;
}

static bool is_due(const plb_windows *w, const plb_found *f, size_t to) {
  const double start = (double)w->start, length = f->last - f->first;
  if (f->first < w->lane[f->lane].told_to)
    return false;
  if (w->live)
    return w->ended || f->last + 2 * length + LIVE_BEHIND <= start + (double)w->held;
  return f->first >= start + (double)w->searched && f->first < start + (double)to;
}

static plb_status tell_all(plb_windows *w, size_t to, const plb_event_listener *listener, bool *go_on,
                           plb_error *err) {
  if (w->found.count > 1)
    qsort(w->found.item, w->found.count, sizeof *w->found.item, by_time);
  plb_status status = PLB_OK;
  for (size_t i = 0; i < w->found.count && status == PLB_OK && *go_on; i++) {
    const plb_found *f = &w->found.item[i];
    if (!is_due(w, f, to))
      continue;
    w->lane[f->lane].told_to = fmax(f->last, f->first + 1);
    status = f->kind == PLB_EVENT_STEP && !f->unit ? take_step(w, f, listener, go_on, err)
                                                   : tell(w, f, listener, go_on, err);
  }
  return status;
}

static void tell_cycles(plb_windows *w, plb_lane *lane, const plb_trains *p, size_t to,
                        const plb_event_listener *listener, bool *go_on) {
  const double rate_hz = w->summary.rate_hz;
  for (size_t e = p->first; e + 2 < p->edges && *go_on; e += 2) {
    const double at = (double)w->start + p->edge[e].at;
    if (at < lane->cycles_to || p->edge[e + 2].at >= (double)to)
      continue;
    double low = INFINITY, high = -INFINITY;
    for (size_t i = (size_t)ceil(p->edge[e].at); (double)i < p->edge[e + 2].at; i++) {
      low = fmin(low, lane->x[i]);
      high = fmax(high, lane->x[i]);
    }
    lane->cycles_to = (double)w->start + p->edge[e + 2].at - 0.5;
    *go_on = listener->on_cycle(lane->role, w->summary.start_s + at / rate_hz,
                                (p->edge[e + 2].at - p->edge[e].at) / rate_hz,
                                (p->edge[e + 1].at - p->edge[e].at) / rate_hz, low, high, listener->payload);
  }
}

static plb_status search_lanes(plb_windows *w, size_t to, const plb_event_listener *listener, bool *go_on,
                               plb_error *err) {
  plb_status status = PLB_OK;
  w->found.count = 0;
  for (size_t c = 0; c < w->channels && status == PLB_OK; c++) {
    plb_trains pulses;
    const size_t before = w->found.count;
    status = plb_lane_search(&w->lane[c], &w->boxes, w->held, w->options.sigma, w->ended, &pulses, &w->found, err);
    for (size_t i = before; i < w->found.count; i++) {
      w->found.item[i].lane = c;
      w->found.item[i].first += (double)w->start;
      w->found.item[i].last += (double)w->start;
    }
    if (status == PLB_OK && listener && listener->on_cycle && pulses.edges > 0)
      tell_cycles(w, &w->lane[c], &pulses, to, listener, go_on);
    plb_trains_dispose(&pulses);
  }
  return status;
}

plb_status plb_windows_search(plb_windows *w, const plb_event_listener *listener, bool *go_on, plb_error *err) {
  const size_t behind = w->ended ? 0 : w->live ? 0 : w->margin;
  const size_t to = w->held > behind ? w->held - behind : 0;
  if ((w->live && w->held < LIVE_LEAST && !w->ended) || w->held == 0)
    return PLB_OK;
  plb_status status = search_lanes(w, to, listener, go_on, err);
  if (status == PLB_OK)
    status = tell_all(w, to, listener, go_on, err);
  w->searched = to;
  if (status == PLB_OK)
    status = flush_steps(w, listener, go_on, err);
  if (!w->live && w->searched > w->margin)
    drop_front(w, w->searched - w->margin);
  if (w->live && w->held > w->room - w->room / 8)
    drop_front(w, w->room / 2);
  return status;
}
