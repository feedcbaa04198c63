/* The typical good cycle: median over a capture's cycles, then over captures, so that no single cycle and no single capture shows in it. */
#include "cycle/draft.h"
#include "cycle/kind.h"

#include <math.h>

plb_status plb_median_cycle(const plb_frame *frame, size_t channel, float *out, plb_error *err) {
  float *column = plb_calloc(frame->mapped, sizeof(float));
  if (!column)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu cycles; free some memory", frame->mapped);
  for (size_t k = 0; k < frame->grid; k++) {
    size_t count = 0;
    for (size_t i = 0; i < frame->mapped; i++) {
      const float value = frame->value[(i * frame->channels + channel) * frame->grid + k];
      if (!frame->partial || isfinite(value))
        column[count++] = value;
    }
    out[k] = count ? plb_median_f(column, count) : NAN;
  }
  if (frame->partial)
    plb_fill_missing_cells(out, frame->grid);
  free(column);
  return PLB_OK;
}

static void median_of_curves(float *const *curve, size_t count, size_t grid, float *column, float *out) {
  for (size_t k = 0; k < grid; k++) {
    for (size_t t = 0; t < count; t++)
      column[t] = curve[t][k];
    out[k] = plb_median_f(column, count);
  }
}

static void read_rates(plb_cycle_choice *out, plb_frame *const *frame, size_t count) {
  out->rate_low_hz = INFINITY;
  out->rate_high_hz = 0;
  for (size_t t = 0; t < count; t++) {
    out->rate_low_hz = fmin(out->rate_low_hz, frame[t]->rate_hz);
    out->rate_high_hz = fmax(out->rate_high_hz, frame[t]->rate_hz);
  }
}

static void read_correlations(plb_cycle_choice *out, plb_frame *const *frame, size_t count) {
  out->correlation_low = 1.0;
  for (size_t t = 0; t < count; t++)
    for (size_t i = 0; i < frame[t]->mapped; i++) {
      const float *curve = frame[t]->value + (i * frame[t]->channels + out->channel) * out->grid;
      out->correlation_low = fmin(out->correlation_low, plb_curve_correlation(curve, out->template_, out->grid));
    }
}

plb_status plb_choose_template(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, plb_error *err) {
  plb_frame **frame = plb_calloc(count, sizeof *frame);
  float **curve = plb_calloc(count, sizeof *curve), *column = plb_calloc(count, sizeof(float));
  float *template_ = plb_calloc(out->grid, sizeof(float));
  plb_status status = PLB_OK;
  if (!frame || !curve || !column || !template_)
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu captures; free some memory", count);
  for (size_t t = 0; t < count && status == PLB_OK; t++) {
    status = plb_frame_build(&frame[t], tracks[t], out, err);
    if (status == PLB_OK && frame[t]->mapped == 0)
      status =
          plb_fail(err, PLB_EDATA, "good capture %zu of %zu holds no whole cycle; leave it out, or bring a longer one",
                   t + 1, count);
    if (status != PLB_OK)
      break;
    curve[t] = plb_calloc(out->grid, sizeof(float));
    status = curve[t] ? plb_median_cycle(frame[t], out->channel, curve[t], err)
                      : plb_fail(err, PLB_ENOMEM, "no memory for a curve; free some memory");
  }
  if (status == PLB_OK) {
    median_of_curves(curve, count, out->grid, column, template_);
    free(out->template_);
    out->template_ = template_;
    template_ = NULL;
    read_rates(out, frame, count);
    read_correlations(out, frame, count);
  }
  for (size_t t = 0; t < count && frame && curve; t++) {
    plb_frame_free(frame[t]);
    free(curve[t]);
  }
  free(frame);
  free(curve);
  free(column);
  free(template_);
  return status;
}
