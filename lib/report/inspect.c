#include "report/facts.h"
#include "report/sketch.h"
#include "report/table.h"

#include <math.h>
#include <string.h>

static void put_headline(plb_page *page, const plb_insight *in) {
  char text[PLB_PATH_SIZE], clean[PLB_PATH_SIZE], samples[PLB_SAY_SIZE], rate[PLB_SAY_SIZE], length[PLB_SAY_SIZE],
      channels[PLB_SAY_SIZE];
  const size_t n = plb_capture_samples(in->capture);
  const double rate_hz = plb_capture_rate_hz(in->capture);
  plb_say_count(n, samples);
  plb_say_quantity(rate_hz, "Hz", 4, rate);
  plb_say_quantity(rate_hz > 0 ? (double)n / rate_hz : (double)NAN, "s", 4, length);
  plb_say_counted(in->channels, "channel", channels);
  plb_text_print(text, sizeof text, "%.800s: %s, %s, %s samples at %s, %s long",
                 plb_say_file_name(plb_capture_path(in->capture)), plb_capture_format(in->capture), channels, samples,
                 rate, length);
  plb_say_clean(text, clean, sizeof clean);
  plb_page_wrap(page, 0, 2, PLB_TONE_NONE, "", clean);
  for (size_t i = 0; i < plb_capture_notes(in->capture); i++) {
    plb_say_clean(plb_capture_note(in->capture, i), clean, sizeof clean);
    plb_page_wrap(page, 2, 4, PLB_TONE_NONE, "-", clean);
  }
  for (size_t i = 0; i < plb_capture_applieds(in->capture); i++) {
    plb_text_print(text, sizeof text, "applied: %s", plb_capture_applied(in->capture, i));
    plb_say_clean(text, clean, sizeof clean);
    plb_page_wrap(page, 2, 4, PLB_TONE_NONE, "-", clean);
  }
}

static void put_channels(plb_page *page, const plb_insight *in) {
  plb_table table = {.columns = 9,
                     .title = {"column", "channel", "unit", "lowest", "highest", "mean", "noise", "step", "missing"},
                     .right = {true, false, false, true, true, true, true, true, true},
                     .tone_column = -1};
  for (size_t c = 0; c < in->channels; c++) {
    const plb_facts *f = &in->facts[c];
    const char *unit = plb_capture_unit(in->capture, c);
    const double values[] = {f->lowest, f->highest, f->mean, f->noise, f->step > 0 ? f->step : (double)NAN};
    char text[PLB_SAY_SIZE];
    plb_row *row = plb_table_row(&table, PLB_TONE_NONE);
    plb_say_count((uint64_t)plb_capture_column(in->capture, c), text);
    plb_table_put(row, 0, text);
    plb_table_put(row, 1, plb_capture_role(in->capture, c));
    plb_table_put(row, 2, strcmp(unit, "1") == 0 ? "not said" : plb_say_unit(unit));
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
      if (i < 3)
        plb_say_beside(values[i], fmax(fabs(f->lowest), fabs(f->highest)), unit, 4, text);
      else
        plb_say_quantity(values[i], unit, 2, text);
      plb_table_put(row, 3 + i, text);
    }
    plb_say_count(f->missing, text);
    plb_table_put(row, 8, f->missing > 0 ? text : "");
  }
  plb_page_gap(page);
  plb_page_table(page, &table);
  plb_table_dispose(&table);
}

static void put_check(plb_page *page, const plb_insight *in) {
  plb_page_heading(page, "Recording check");
  if (in->fitnesses == 0)
    plb_page_wrap(page, 2, 2, PLB_TONE_NONE, "", "nothing to say against this recording by itself");
  for (size_t i = 0; i < in->fitnesses; i++) {
    const plb_reason *reason = &in->fitness[i];
    char text[3 * PLB_TEXT_SIZE], clean[3 * PLB_TEXT_SIZE];
    plb_text_print(text, sizeof text, "%s%s%s%s%s", reason->channel, reason->channel[0] ? ": " : "", reason->text,
                   reason->action[0] ? "; " : "", reason->action);
    plb_say_clean(text, clean, sizeof clean);
    plb_page_wrap(page, 2, 4, reason->blocks ? PLB_TONE_BAD : PLB_TONE_DOUBT, reason->blocks ? "!" : "-", clean);
  }
}

static plb_status put_picture(plb_page *page, const plb_insight *in, size_t channel, plb_error *err) {
  const size_t n = plb_capture_samples(in->capture);
  const double rate_hz = plb_capture_rate_hz(in->capture), start_s = plb_capture_start_s(in->capture);
  const char *unit = plb_capture_unit(in->capture, channel);
  char title[PLB_TEXT_SIZE], role[PLB_NAME_SIZE];
  size_t first = 0, count = 0;
  double *x = plb_capture_copy_values(in->capture, channel);
  if (!x)
    return plb_fail(err, PLB_ENOMEM, "no memory for the picture; give a shorter capture");
  plb_say_clean(plb_capture_role(in->capture, channel), role, sizeof role);
  plb_text_print(title, sizeof title, "Picture of %s: lowest to highest in each column", role);
  plb_page_heading(page, title);
  plb_sketch(page, x, 0, n, rate_hz, start_s, unit);
  const plb_status status = plb_sketch_closer(x, n, &first, &count, err);
  if (status == PLB_OK && count > 0) {
    plb_page_wrap(page, 0, 0, PLB_TONE_NONE, "",
                  "a closer look, around the longest stretch without a passage of the middle level:");
    plb_sketch(page, x, first, count, rate_hz, start_s + (double)first / rate_hz, unit);
  }
  free(x);
  return status;
}

static void put_guesses(plb_page *page, const plb_insight *in) {
  plb_page_heading(page, "Guesses, and how sure they are");
  for (size_t i = 0; i < in->guesses; i++) {
    const plb_guess *g = &in->guess[i];
    char lead[PLB_NAME_SIZE + 32], text[2 * PLB_TEXT_SIZE], clean[2 * PLB_TEXT_SIZE];
    plb_text_print(text, sizeof text, "%s%s%s%s%s", g->what, g->type[0] ? "; type " : "", g->type,
                   g->cycle[0] ? "; cycle " : "", g->cycle);
    plb_say_clean(text, clean, sizeof clean);
    plb_text_print(lead, sizeof lead, "column %d: %.0f %%,", g->column, round(g->confidence * 100));
    plb_page_wrap(page, 2, 4, PLB_TONE_NONE, lead, clean);
  }
  for (size_t c = 0; c < in->channels; c++)
    if (strcmp(plb_capture_unit(in->capture, c), "1") == 0) {
      plb_page_wrap(page, 2, 2, PLB_TONE_NONE, "",
                    "units are not in the file: state them, for example --channel crank=2:V");
      break;
    }
}

plb_status plb_report_inspect_text(char **out, const plb_capture *capture, int width, plb_error *err) {
  plb_insight in;
  plb_page page;
  *out = NULL;
  plb_page_init(&page, PLB_TEXT_PLAIN, width);
  plb_status status = plb_insight_gather(&in, capture, err);
  if (status == PLB_OK) {
    put_headline(&page, &in);
    put_channels(&page, &in);
    put_check(&page, &in);
    for (size_t c = 0; c < in.channels && status == PLB_OK; c++)
      status = put_picture(&page, &in, c, err);
    put_guesses(&page, &in);
  }
  plb_insight_dispose(&in);
  if (status == PLB_OK)
    return plb_report_take(&page.out, out, err);
  plb_buffer_dispose(&page.out);
  return status;
}
