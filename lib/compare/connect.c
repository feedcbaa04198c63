#include "compare/connect.h"
#include "capture/capture.h"
#include <math.h>
#include <string.h>

static bool is_unnamed(const plb_capture *capture, size_t channel) {
  char plain[PLB_NAME_SIZE];
  plb_text_print(plain, sizeof plain, "c%d", plb_capture_column(capture, channel));
  return strcmp(plain, plb_capture_role(capture, channel)) == 0;
}

/* By role, by the header the exemplars had, by their column where the file names nothing, or the only one there is. */
static int find_channel(const plb_capture *capture, const plb_reference *ref, size_t c, const char **how) {
  const plb_reference_channel *ch = &ref->channel[c];
  int at = plb_capture_find(capture, ch->role);
  *how = NULL;
  if (at < 0 && ch->header[0] != '\0') {
    at = plb_capture_find(capture, ch->header);
    *how = "by the header";
  }
  for (size_t k = 0; at < 0 && k < plb_capture_channels(capture); k++) {
    if (ch->column > 0 && plb_capture_column(capture, k) == ch->column && is_unnamed(capture, k)) {
      at = (int)k;
      *how = "by the column that the good captures had";
    }
  }
  if (at < 0 && ref->channels == 1 && plb_capture_channels(capture) == 1) {
    at = 0;
    *how = "as the only channel";
  }
  return at;
}

static plb_status refuse(const plb_capture *capture, const char *role, plb_error *err) {
  char list[PLB_TEXT_SIZE];
  plb_capture_list_columns(capture, list, sizeof list);
  const plb_status status = plb_fail(err, PLB_EDATA, "the known-good needs a channel '%s', which is not here; say which column it is with "
                                     "--channel %s=COLUMN (columns: %s)", role, role, list[0] != '\0' ? list : "none");
  return plb_fail_path(err, status, plb_capture_path(capture));
}

/* Volts where the reference has millivolts is no fault; volts where it has amperes is another channel. */
static plb_status fit_unit(plb_tracks *tracks, size_t c, const char *from, const char *to, plb_verdict *v, plb_error *err) {
  if (strcmp(from, to) == 0 || strcmp(from, "1") == 0 || strcmp(to, "1") == 0) {
    return PLB_OK;
  }
  double zero, one;
  if (plb_unit_convert(0.0, from, to, &zero) && plb_unit_convert(1.0, from, to, &one)) {
    for (size_t i = 0; i < tracks->samples; i++) {
      tracks->x[c][i] = zero + (one - zero) * tracks->x[c][i];
    }
    return PLB_OK;
  }
  char text[PLB_TEXT_SIZE];
  plb_text_say(text, sizeof text, "wrong channel: '%s' is in %s here, the known-good is in %s", tracks->role[c], from, to);
  return plb_reason_add(&v->reason, &v->reasons, PLB_REASON_MEASURING, "wrong-channel", tracks->role[c], true, text,
                        "choose the right column with --channel ROLE=COLUMN:UNIT") == PLB_OK
             ? PLB_OK
             : plb_fail(err, PLB_ENOMEM, "out of memory");
}

plb_status plb_connect(plb_tracks **out, plb_verdict *v, const plb_capture *capture, const plb_reference *ref, plb_error *err) {
  char(*role)[PLB_NAME_SIZE] = plb_calloc(ref->channels, sizeof *role);
  plb_status status = role != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  *out = NULL;
  for (size_t c = 0; c < ref->channels && status == PLB_OK; c++) {
    const char *how;
    const int at = find_channel(capture, ref, c, &how);
    if (at < 0) {
      status = refuse(capture, ref->channel[c].role, err);
      break;
    }
    plb_text_copy(role[c], sizeof role[c], plb_capture_role(capture, (size_t)at));
    if (how != NULL) {
      char text[PLB_TEXT_SIZE];
      plb_text_say(text, sizeof text, "'%s' is taken from column %d, %s", ref->channel[c].role,
                   plb_capture_column(capture, (size_t)at), how);
      status = plb_reason_add(&v->fitness, &v->fitnesses, PLB_REASON_RECORDING, "matched", ref->channel[c].role, false, text,
                              "say it with --channel if this is wrong");
    }
  }
  if (status == PLB_OK) {
    status = plb_tracks_from_capture(out, capture, (const char(*)[PLB_NAME_SIZE])role, ref->channels, err);
  }
  for (size_t c = 0; c < ref->channels && status == PLB_OK; c++) {
    const int at = plb_capture_find(capture, role[c]);
    plb_text_copy((*out)->role[c], PLB_NAME_SIZE, ref->channel[c].role);
    status = fit_unit(*out, c, plb_capture_unit(capture, (size_t)at), ref->channel[c].unit, v, err);
  }
  if (status != PLB_OK) {
    plb_tracks_free(*out);
    *out = NULL;
  }
  free(role);
  return status;
}
