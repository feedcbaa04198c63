/* What stood around an event, as a capture of its own. */
#include "event/event.h"

plb_status plb_cut_write(const plb_windows *w, const plb_event *event, size_t first, size_t last, char *path_out,
                         plb_error *err) {
  plb_capture *capture = plb_capture_new();
  if (!capture)
    return plb_fail(err, PLB_ENOMEM, "no memory for a cut-out; close other programs");
  plb_status status = PLB_OK;
  for (size_t c = 0; c < w->channels && status == PLB_OK; c++)
    status = plb_capture_add_real(capture, w->lane[c].role, w->lane[c].unit, w->lane[c].x + first, last - first, err);
  capture->rate_hz = w->summary.rate_hz;
  capture->start_s = w->summary.start_s + (double)(w->start + first) / w->summary.rate_hz;
  plb_text_print(path_out, PLB_PATH_SIZE, "%.900s/event-%06zu-%s.csv", w->options.cut_folder, w->summary.cuts + 1,
                 plb_event_kind_name(event->kind));
  if (status == PLB_OK)
    status = plb_capture_write_text(capture, path_out, err);
  plb_capture_free(capture);
  return status;
}
