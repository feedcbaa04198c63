#include "capture/capture.h"
#include "cycle/cycle.h"
#include "capture/capture.h"

#include <math.h>
#include <string.h>

static plb_status copy_channel(plb_tracks *tracks, size_t to, const plb_capture *capture, size_t from, plb_error *err) {
  tracks->x[to] = plb_calloc(tracks->samples, sizeof(double));
  if (!tracks->x[to])
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu samples; free some memory", tracks->samples);
  if (!plb_text_copy(tracks->role[to], PLB_NAME_SIZE, plb_capture_role(capture, from)) ||
      !plb_text_copy(tracks->unit[to], PLB_UNIT_SIZE, plb_capture_unit(capture, from)))
    return plb_fail(err, PLB_EINVAL, "a channel's role or unit is too long; shorten it");
  plb_capture_values(capture, from, 0, tracks->samples, tracks->x[to]);
  return PLB_OK;
}

/* 0 when there is no such channel, or not in this kind of unit. */
static double median_of_role(const plb_capture *capture, const char *role, const char *unit) {
  const int at = plb_capture_find(capture, role);
  double zero, one;
  if (at < 0 || !plb_unit_convert(0.0, plb_capture_unit(capture, (size_t)at), unit, &zero) ||
      !plb_unit_convert(1.0, plb_capture_unit(capture, (size_t)at), unit, &one))
    return 0.0;
  double *x = plb_capture_copy_values(capture, (size_t)at);
  size_t n = 0;
  for (size_t i = 0; x && i < plb_capture_samples(capture); i++)
    if (isfinite(x[i]))
      x[n++] = x[i];
  const double middle = n > 0 ? zero + (one - zero) * plb_median(x, n) : 0.0;
  free(x);
  return middle;
}

plb_status plb_tracks_from_capture(plb_tracks **out, const plb_capture *capture, const char (*roles)[PLB_NAME_SIZE],
                                   size_t count, plb_error *err) {
  plb_status status = PLB_OK;
  const size_t channels = count ? count : plb_capture_channels(capture);
  plb_tracks *tracks = plb_calloc(1, sizeof *tracks);
  *out = NULL;
  if (tracks) {
    tracks->role = plb_calloc(channels, sizeof *tracks->role);
    tracks->unit = plb_calloc(channels, sizeof *tracks->unit);
    tracks->x = plb_calloc(channels, sizeof *tracks->x);
    tracks->step = plb_calloc(channels, sizeof *tracks->step);
  }
  if (!tracks || !tracks->role || !tracks->unit || !tracks->x || !tracks->step) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for %zu channels; free some memory", channels);
    goto done;
  }
  tracks->channels = channels;
  tracks->samples = plb_capture_samples(capture);
  tracks->rate_hz = plb_capture_rate_hz(capture);
  tracks->start_s = plb_capture_start_s(capture);
  tracks->supply_v = median_of_role(capture, "supply", "V");
  tracks->load = median_of_role(capture, "load", "1");
  for (size_t c = 0; c < channels && status == PLB_OK; c++) {
    const int from = count ? plb_capture_find(capture, roles[c]) : (int)c;
    status = from < 0 ? plb_fail(err, PLB_EDATA,
                                 "the capture has no channel \"%s\"; name its column with --channel %s=COLUMN",
                                 roles[c], roles[c])
                      : copy_channel(tracks, c, capture, (size_t)from, err);
    tracks->step[c] = from < 0 ? 0.0 : plb_capture_step(capture, (size_t)from);
  }
done:
  if (status == PLB_OK)
    *out = tracks;
  else
    plb_tracks_free(tracks);
  return status;
}

void plb_tracks_free(plb_tracks *tracks) {
  if (!tracks)
    return;
  for (size_t c = 0; c < tracks->channels && tracks->x; c++)
    free(tracks->x[c]);
  free(tracks->x);
  free(tracks->step);
  free(tracks->role);
  free(tracks->unit);
  free(tracks);
}
