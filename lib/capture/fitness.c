#include "capture/capture.h"
#include "capture/clipping.h"
#include <float.h>
#include <math.h>
#include <string.h>

/* The recording by itself: is it fit to be judged? Thresholds are common practice, no source. */

enum {
  SHORT_SAMPLES = 32, /* fewer show no more than one event */
  NO_SAMPLES = 8,     /* fewer show nothing */
  COARSE_STEPS = 32,  /* fewer steps from lowest to highest hide ripple, ringing and noise */
  FEWEST_PULSES = 6,  /* to speak of their width */
  SPARSE_SAMPLES = 3  /* a pulse of fewer samples has no shape */
};
static const double uneven_share = 0.05;

typedef struct list {
  plb_reason *reason;
  size_t count;
} list;

plb_status plb_reason_add(plb_reason **reasons, size_t *count, plb_reason_class kind, const char *code,
                          const char *channel, bool blocks, const char *text, const char *action) {
  plb_reason *moved = plb_resize(*reasons, *count + 1, sizeof *moved);
  if (!moved)
    return PLB_ENOMEM;
  *reasons = moved;
  plb_reason *r = &moved[*count];
  *r = (plb_reason){.kind = kind, .blocks = blocks};
  plb_text_print(r->code, sizeof r->code, "%s", code);
  plb_text_print(r->channel, sizeof r->channel, "%s", channel);
  plb_text_print(r->text, sizeof r->text, "%s", text);
  plb_text_print(r->action, sizeof r->action, "%s", action);
  ++*count;
  return PLB_OK;
}

static plb_status add(list *l, const char *code, const char *channel, bool blocks, const char *text,
                      const char *action) {
  return plb_reason_add(&l->reason, &l->count, PLB_REASON_RECORDING, code, channel, blocks, text, action);
}

static const char *unit_text(const plb_channel *c) { return strcmp(c->unit, "1") == 0 ? "" : c->unit; }
static const char *unit_space(const plb_channel *c) { return unit_text(c)[0] ? " " : ""; }

typedef struct channel_view {
  const plb_capture *capture;
  const plb_channel *channel;
  double *x; /* [size: n] */
  size_t n, finite;
  double low, high, step;
} channel_view;

static plb_status check_whole(const plb_capture *capture, list *l) {
  char text[PLB_TEXT_SIZE];
  plb_status status = PLB_OK;
  if (capture->samples < SHORT_SAMPLES) {
    plb_text_print(text, sizeof text, "only %zu samples", capture->samples);
    status = add(l, "short", "", capture->samples < NO_SAMPLES, text,
                 "record longer, so that several cycles are in the recording");
  }
  if (status == PLB_OK && capture->uneven > uneven_share) {
    plb_text_print(text, sizeof text,
                   "time steps differ by up to %.3g %% from their mean; the widest one ends at sample %zu",
                   100.0 * capture->uneven, capture->gap_row + 1);
    status =
        add(l, "uneven", "", false, text, "export every sample; if the recorder paused, export the parts one by one");
  }
  if (status == PLB_OK && capture->pairs)
    status =
        add(l, "thinned", "", false, "the file holds the lowest and highest value of each stretch, not the samples",
            "export all samples; averages, RMS and duty cycle cannot be told from these");
  return status;
}

static plb_status check_missing(const channel_view *v, list *l) {
  if (v->finite == v->n)
    return PLB_OK;
  char text[PLB_TEXT_SIZE];
  if (v->finite == 0)
    plb_text_print(text, sizeof text, "%s holds no number: all %zu samples are missing", v->channel->role, v->n);
  else
    plb_text_print(text, sizeof text, "%zu of %zu samples are missing or no numbers", v->n - v->finite, v->n);
  return add(l, "non-finite", v->channel->role, v->finite == 0, text,
             v->finite == 0 ? "choose another column, or export the channel again"
                            : "export again without gaps; the missing samples are left out");
}

static plb_status check_flat(const channel_view *v, list *l) {
  char text[PLB_TEXT_SIZE];
  plb_text_print(text, sizeof text, "stays at %.4g%s%s from the first sample to the last", v->low,
                 unit_space(v->channel), unit_text(v->channel));
  return add(l, "flat", v->channel->role, false, text,
             "check that the probe is connected and that this is the right channel");
}

static plb_status check_coarse(const channel_view *v, list *l) {
  const double steps = v->step > 0.0 ? (v->high - v->low) / v->step : INFINITY;
  if (steps < 1.5 || steps >= COARSE_STEPS || v->finite < 2 * COARSE_STEPS)
    return PLB_OK; /* one step: a logic channel; few samples cannot show many steps */
  char text[PLB_TEXT_SIZE];
  plb_text_print(text, sizeof text, "only %.0f steps of %.3g%s%s between lowest and highest", steps, v->step,
                 unit_space(v->channel), unit_text(v->channel));
  return add(l, "coarse", v->channel->role, false, text,
             "choose a smaller range on the recorder, so that the signal fills it");
}

static plb_status add_clipped(const channel_view *v, const plb_clip_side *side, bool top, list *l) {
  char text[PLB_TEXT_SIZE];
  plb_text_print(text, sizeof text, "the %s is cut off at %.4g%s%s: %zu samples in %zu flat runs sit exactly there",
                 top ? "top" : "bottom", top ? side->level : -side->level, unit_space(v->channel),
                 unit_text(v->channel), side->samples, side->runs);
  return add(l, "clipped", v->channel->role, false, text,
             "choose a larger range or a larger attenuator and record again");
}

/* The recorder's limits, where the format tells them, in the channel's unit. */
static void find_rails(const plb_channel *c, double *low, double *high) {
  const plb_samples *s = &c->samples;
  *low = -INFINITY;
  *high = INFINITY;
  if (!s->code || s->decimals >= 0 || s->code_low == s->code_high)
    return;
  const double a = (s->offset + s->scale * s->code_low) * c->factor,
               b = (s->offset + s->scale * s->code_high) * c->factor;
  const double grain = fabs(s->scale * c->factor);
  *low = fmin(a, b) + grain; /* many recorders leave the lowest code of two's complement out */
  *high = fmax(a, b) - 0.5 * grain;
}

static plb_status check_rail(const channel_view *v, list *l) {
  char text[PLB_TEXT_SIZE];
  if (v->channel->at_rail == 0)
    return PLB_OK;
  plb_text_print(text, sizeof text, "%zu samples lie at or beyond the rated range", v->channel->at_rail);
  return add(l, "clipped", v->channel->role, false, text,
             "choose a larger range or attenuator and record again; never measure beyond the rating of instrument, probe and leads");
}

static plb_status check_clipped(channel_view *v, list *l) {
  double low, high;
  find_rails(v->channel, &low, &high);
  const plb_clip_side top = plb_clip_judge(v->x, v->n, v->step, high);
  for (size_t i = 0; i < v->n; i++)
    v->x[i] = -v->x[i];
  const plb_clip_side bottom =
      plb_clip_judge(v->x, v->n, v->step, -low - 0.5 * v->step * (low > -INFINITY ? 1.0 : 0.0));
  for (size_t i = 0; i < v->n; i++)
    v->x[i] = -v->x[i];
  plb_status status = top.clipped ? add_clipped(v, &top, true, l) : PLB_OK;
  if (status == PLB_OK && bottom.clipped)
    status = add_clipped(v, &bottom, false, l);
  return status;
}

static int compare_width(const void *a, const void *b) {
  const uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
  return (x > y) - (x < y);
}

/* Widths of the stays above 70 % and below 30 % of the swing; a stay ends where the other one begins. */
static size_t measure_pulses(const channel_view *v, uint32_t *width, size_t most) {
  const double swing = v->high - v->low;
  const double up = v->low + 0.7 * swing, down = v->low + 0.3 * swing;
  size_t count = 0, start = 0;
  int state = 0;
  for (size_t i = 0; i < v->n; i++) {
    const int now = v->x[i] > up ? 1 : v->x[i] < down ? -1 : 0;
    if (now == 0 || now == state)
      continue;
    if (state != 0 && start > 0 && count < most)
      width[count++] = (uint32_t)(i - start < UINT32_MAX ? i - start : UINT32_MAX);
    state = now;
    start = i;
  }
  return count;
}

static plb_status check_sparse(const channel_view *v, list *l) {
  enum { MOST = 4096 };
  uint32_t width[MOST];
  const size_t pulses = measure_pulses(v, width, MOST);
  if (pulses < FEWEST_PULSES)
    return PLB_OK;
  qsort(width, pulses, sizeof *width, compare_width);
  /* every other stay is the shorter kind: its median is the first quartile of all */
  const uint32_t typical = width[pulses / 4];
  if (typical >= SPARSE_SAMPLES)
    return PLB_OK;
  char text[PLB_TEXT_SIZE], action[PLB_TEXT_SIZE];
  plb_text_print(text, sizeof text, "the narrow pulses are %u %s wide at %.4g samples a second", (unsigned)typical,
                 typical == 1 ? "sample" : "samples", v->capture->rate_hz);
  const double wanted_hz = 10.0 / (double)typical * v->capture->rate_hz;
  plb_text_print(action, sizeof action, wanted_hz >= 1e3 ? "sample at %.3g kHz or more" : "sample at %.3g Hz or more",
                 wanted_hz >= 1e3 ? wanted_hz / 1e3 : wanted_hz);
  return add(l, "sparse", v->channel->role, false, text, action);
}

static plb_status check_channel(channel_view *v, list *l) {
  v->low = INFINITY;
  v->high = -INFINITY;
  v->finite = 0;
  for (size_t i = 0; i < v->n; i++) {
    if (!isfinite(v->x[i]))
      continue;
    v->finite++;
    v->low = v->x[i] < v->low ? v->x[i] : v->low;
    v->high = v->x[i] > v->high ? v->x[i] : v->high;
  }
  plb_status status = check_missing(v, l);
  if (status != PLB_OK || v->finite == 0)
    return status;
  if (!(v->high - v->low > 1e-12 * fmax(fabs(v->high), fabs(v->low))))
    return v->finite > 1 ? check_flat(v, l) : PLB_OK;
  status = check_coarse(v, l);
  if (status == PLB_OK)
    status = check_rail(v, l);
  if (status == PLB_OK)
    status = check_clipped(v, l);
  if (status == PLB_OK)
    status = check_sparse(v, l);
  return status;
}

plb_status plb_capture_check(const plb_capture *capture, plb_reason **out, size_t *count_out, plb_error *err) {
  list l = {NULL, 0};
  *out = NULL;
  *count_out = 0;
  plb_status status = check_whole(capture, &l);
  for (size_t i = 0; status == PLB_OK && i < capture->channels; i++) {
    channel_view v = {.capture = capture, .channel = &capture->channel[i], .n = capture->samples};
    v.x = plb_capture_copy_values(capture, i);
    v.step = plb_capture_step(capture, i);
    status = v.x ? check_channel(&v, &l) : PLB_ENOMEM;
    free(v.x);
  }
  if (status != PLB_OK) {
    free(l.reason);
    return plb_fail(err, status, "not enough memory for the recording check; close other programs");
  }
  *out = l.reason;
  *count_out = l.count;
  return PLB_OK;
}
