/*
 * One bar for each frequency band of the channel that the first finding is about: how far its level lies from the middle of the good captures, over
 * what these differ by. A spectrum's own levels span many decades; the difference is what is judged, and it reads the same for every band.
 */
#include "report/spectrum.h"

#include "report/panel.h"
#include "report/say.h"

#include <math.h>
#include <string.h>

enum { HEAD = 34, PLOT = 120, FOOT = 40, LABELS_MOST = 8, AXIS = 56 };

static bool is_shown(const plb_verdict *v, const plb_band_result *band) {
  return strcmp(band->domain, "frequency") == 0 && strcmp(band->channel, v->finding[0].channel) == 0 && isfinite(band->deviation);
}

static size_t count_bars(const plb_verdict *v) {
  size_t count = 0;
  for (size_t i = 0; v->findings > 0 && v->finding[0].kind == PLB_FINDING_FREQUENCY && i < v->bands; i++)
    count += is_shown(v, &v->band[i]);
  return count;
}

double plb_spectrum_height(const plb_verdict *v) { return count_bars(v) > 0 ? HEAD + PLOT + FOOT : 0; }

/* The good range of a band's level: exceedance is the deviation in halves of it. [dB] */
static double half_range(const plb_band_result *band) {
  return band->exceedance > 0.0 ? fabs(band->deviation) / band->exceedance : (double)NAN;
}

static double largest(const plb_verdict *v) {
  double most = 1.0;
  for (size_t i = 0; i < v->bands; i++)
    if (is_shown(v, &v->band[i]))
      most = fmax(most, fmax(fabs(v->band[i].deviation), half_range(&v->band[i])));
  return 1.15 * most;
}

static void draw_bar(plb_canvas *c, const plb_band_result *band, double x, double width, double zero, double scale) {
  const double half = half_range(band), end = zero - band->deviation * scale;
  const bool departs = band->status == PLB_DEPARTS || band->status == PLB_BORDERLINE;
  if (isfinite(half))
    plb_canvas_rect(c, x, zero - half * scale, width, 2.0 * half * scale, &plb_paint_range);
  const plb_paint paint = {.fill = departs ? PLB_VERMILLION : PLB_FAINT, .stroke = PLB_BLACK, .width = 0.6};
  plb_canvas_rect(c, x + 0.3 * width, fmin(zero, end), 0.4 * width, fabs(end - zero), &paint);
  if (departs)
    plb_canvas_triangle(c, x + 0.5 * width, end + (end < zero ? -2.0 : 2.0), 8, end > zero,
                        &(plb_paint){.fill = PLB_VERMILLION, .stroke = PLB_BLACK, .width = 0.8});
}

static void label_bar(plb_canvas *c, const plb_band_result *band, double x, double y) {
  char text[PLB_SAY_SIZE];
  const double middle = sqrt(band->from * band->to);
  if (strcmp(band->unit, "order") == 0)
    plb_text_print(text, sizeof text, "order %.0f", 0.5 * (band->from + band->to));
  else
    plb_say_quantity(middle, "Hz", 2, text);
  plb_canvas_text(c, x, y, &(plb_font){10.5, false, PLB_INK, PLB_MIDDLE}, text);
}

static void draw_axis(plb_canvas *c, double left, double zero, double width, double most, double scale) {
  const double at[] = {most / 1.15, 0.0, -most / 1.15};
  for (int k = 0; k < 3; k++) {
    char text[PLB_SAY_SIZE];
    plb_say_signed(round(at[k]), 3, text);
    const double y = zero - at[k] * scale;
    plb_canvas_line(c, left, y, left + width, y, &(plb_paint){.stroke = k == 1 ? PLB_BLUE : PLB_RULE, .width = k == 1 ? 1.2 : 0.7});
    plb_canvas_text(c, left - 6, y + 4, &(plb_font){10.5, false, PLB_INK, PLB_END}, text);
  }
}

void plb_spectrum_draw(plb_canvas *c, const plb_verdict *v, double left, double top, double width) {
  const size_t bars = count_bars(v), every = (bars + LABELS_MOST - 1) / LABELS_MOST;
  if (bars == 0)
    return;
  char title[PLB_TEXT_SIZE], channel[PLB_NAME_SIZE];
  plb_say_clean(v->finding[0].channel, channel, sizeof channel);
  plb_text_print(title, sizeof title, "%s: level in each frequency band against the middle of the good captures, dB", channel);
  const double most = largest(v), zero = top + HEAD + PLOT / 2.0, scale = PLOT / 2.0 / most;
  const double from = left + AXIS, slot = (width - AXIS) / (double)bars;
  size_t k = 0;
  plb_canvas_group(c, title);
  plb_canvas_text(c, left, top + 16, &(plb_font){13, true, PLB_INK, PLB_START}, title);
  draw_axis(c, from, zero, width - AXIS, most, scale);
  for (size_t i = 0; i < v->bands; i++) {
    if (!is_shown(v, &v->band[i]))
      continue;
    draw_bar(c, &v->band[i], from + (double)k * slot + 0.1 * slot, 0.8 * slot, zero, scale);
    if (k % every == 0)
      label_bar(c, &v->band[i], from + ((double)k + 0.5) * slot, top + HEAD + PLOT + 14);
    k++;
  }
  plb_canvas_text(c, from, top + HEAD + PLOT + 30, &(plb_font){11, false, PLB_FAINT, PLB_START},
                  "box: what good captures reach (three times their spread); bar: this capture, with a mark where it departs; below: the band's middle");
  plb_canvas_group_end(c);
}
