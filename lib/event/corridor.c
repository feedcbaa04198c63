/*
 * Events against a known-good: cycle by cycle, sections that lie further out than good captures ever do, and marks that are missing. What recurs
 * in every cycle is found here too, which a search by the recording's own usual cannot see.
 */
#include "compare/connect.h"
#include "compare/outcome.h"
#include "event/event.h"

#include <math.h>
#include <string.h>

typedef struct corridor {
  const plb_judge *judge;
  const plb_tracks *tracks;
  const plb_outcome *o;
  const plb_event_listener *listener;
  plb_search_summary *summary;
  bool stopped;
} corridor;

static double time_of(const corridor *k, double sample) { return k->tracks->start_s + sample / k->tracks->rate_hz; }

static void tell(corridor *k, plb_event_kind kind, size_t channel, double first, double last, double size, const char *unit) {
  plb_event e = {.kind = kind, .time_s = time_of(k, first), .duration_s = (last - first) / k->tracks->rate_hz, .size = size, .sigma = NAN};
  plb_text_copy(e.channel, sizeof e.channel, k->judge->reference->channel[channel].role);
  plb_text_copy(e.unit, sizeof e.unit, unit);
  e.confidence = 1.0 - k->judge->reference->calibration.promise;
  k->summary->events++;
  k->summary->by_kind[kind]++;
  if (k->listener != NULL && k->listener->on_event != NULL && !k->listener->on_event(&e, k->listener->payload))
    k->stopped = true;
}

/* How far the worst cell of a section lies from the middle of the good range [unit]. */
static double deviation(const corridor *k, size_t section, size_t row) {
  const plb_slices *s = &k->judge->plan.slices;
  const size_t c = s->channel[section];
  const plb_fit_channel *ch = &k->judge->fit->channel[c];
  const plb_gain g = k->o->gain[c];
  const double gain = g.usable ? g.gain : 1.0, offset = g.usable ? g.offset : 0.0;
  const float *cycle = plb_frame_curve(k->o->profile->frame, row, c);
  double worst = 0.0, most = -1.0;
  for (size_t i = s->from[section]; i < s->to[section]; i++) {
    const double d = ((double)cycle[i] - offset) / gain - (double)ch->shape_centre[i], z = fabs(d) / (double)ch->shape_half[i];
    if (z > most) { /* false for a cell that was not reached */
      most = z;
      worst = d * gain;
    }
  }
  return worst;
}

/* Beyond the limit and the guard, as a capture that departs. */
static bool is_outside(const corridor *k, size_t section, size_t row) {
  const plb_calibration *c = &k->judge->reference->calibration;
  const size_t term = plb_term_find(&k->judge->terms, PLB_D_CYCLE, section);
  if (term == SIZE_MAX)
    return false;
  const double d = plb_cycle_distance(k->judge->fit, &k->judge->plan, k->o->profile, section, row, k->o->gain[k->judge->plan.slices.channel[section]]);
  return d / k->judge->scale[term] > fmax(c->limit, c->guard);
}

/* Neighbouring sections that are outside the same way are one event. */
static void search_cycle(corridor *k, const plb_cycle_found *cycle) {
  const plb_slices *s = &k->judge->plan.slices;
  const plb_frame *f = k->o->profile->frame;
  const double *edge = f->edge_at != NULL && !f->unordered ? f->edge_at + cycle->row * (f->grid + 1) : NULL;
  for (size_t b = 0; b < s->bands && !k->stopped; b++) {
    if (!is_outside(k, b, cycle->row))
      continue;
    const size_t first = b, c = s->channel[b];
    double worst = deviation(k, b, cycle->row);
    while (b + 1 < s->bands && s->channel[b + 1] == c && is_outside(k, b + 1, cycle->row) && deviation(k, b + 1, cycle->row) * worst > 0.0) {
      const double next = deviation(k, ++b, cycle->row);
      worst = fabs(next) > fabs(worst) ? next : worst;
    }
    tell(k, PLB_EVENT_OUTSIDE, c, edge != NULL ? edge[s->from[first]] : cycle->first, edge != NULL ? edge[s->to[b]] : cycle->last, worst,
         k->judge->reference->channel[c].unit);
  }
}

static void search_frame(corridor *k) {
  const plb_frame *f = plb_outcome_frame(k->o);
  const size_t channel = k->judge->reference->choice.channel;
  for (size_t i = 0; i < f->found && !k->stopped; i++) {
    const plb_cycle_found *cycle = &f->cycle[i];
    if (cycle->state != PLB_MAPPED)
      tell(k, cycle->state == PLB_UNMAPPED_LOST ? PLB_EVENT_MISSING : PLB_EVENT_OUTSIDE, channel, cycle->first, cycle->last, NAN, "1");
    else if (cycle->missing > 0)
      tell(k, PLB_EVENT_MISSING, channel, cycle->first, cycle->last, (double)cycle->missing, "1");
    else if (cycle->surplus > 0)
      tell(k, PLB_EVENT_EXTRA, channel, cycle->first, cycle->last, (double)cycle->surplus, "1");
    else
      search_cycle(k, cycle);
  }
}

static void sum_up(plb_search_summary *out, const plb_capture *capture) {
  *out = (plb_search_summary){.against = true, .rate_hz = plb_capture_rate_hz(capture), .start_s = plb_capture_start_s(capture)};
  plb_text_copy(out->path, sizeof out->path, plb_capture_path(capture));
  plb_text_copy(out->format, sizeof out->format, plb_capture_format(capture));
  out->samples = plb_capture_samples(capture);
  out->channels = plb_capture_channels(capture);
  out->memory_bytes = out->channels * (size_t)out->samples * sizeof(double);
}

plb_status plb_search_against(const plb_capture *capture, const plb_judge *judge, const plb_event_listener *listener, plb_search_summary *out,
                              plb_error *err) {
  plb_verdict *v = plb_calloc(1, sizeof *v);
  plb_tracks *tracks = NULL;
  plb_outcome *o = NULL;
  plb_search_summary ignored;
  corridor k = {.judge = judge, .listener = listener, .summary = out != NULL ? out : &ignored};
  sum_up(k.summary, capture);
  plb_status status = v != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK && (judge->reference->choice.spec.kind == PLB_CYCLE_ONCE || judge->reference->provenance == PLB_STANDARD))
    status = plb_fail(err, PLB_EUSAGE, "this known-good does not judge cycle by cycle; use plumb compare");
  if (status == PLB_OK)
    status = plb_connect(&tracks, v, capture, judge->reference, err);
  if (status == PLB_OK)
    status = plb_outcome_new(&o, judge, tracks, err);
  if (status == PLB_OK && plb_outcome_frame(o)->found == 0)
    status = plb_fail(err, PLB_EDATA, "no cycle of the known-good is in this recording; look at it with plumb compare");
  if (status == PLB_OK) {
    k.tracks = tracks;
    k.o = o;
    search_frame(&k);
  }
  plb_outcome_free(o);
  plb_tracks_free(tracks);
  plb_verdict_free(v);
  return status == PLB_OK || status == PLB_EUSAGE ? status : plb_fail_path(err, status, plb_capture_path(capture));
}
