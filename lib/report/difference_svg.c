/* Two good ranges in one picture: what was, and what is. */
#include "report/axis.h"
#include "reference/model.h"
#include "report/report.h"
#include "report/canvas.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { WIDTH = 900, LEFT = 70, RIGHT = 20, TOP = 64, PLOT = 200, GAP = 46 };

/* Told apart in black and white too: an even area against slanting lines, a dashed line against a full one. */
static const plb_paint paint_was = {.fill = PLB_SKY, .fill_opacity = 0.42, .stroke = PLB_BLUE, .width = 0.5};
static const plb_paint paint_was_centre = {.stroke = PLB_BLUE, .width = 1.2, .dash = "6 3"};
static const plb_paint paint_is = {.hatched = true, .stroke = PLB_ORANGE, .width = 0.5};
static const plb_paint paint_is_centre = {.stroke = PLB_BLACK, .width = 1.4};
static const plb_paint rule = {.stroke = PLB_RULE, .width = 0.7};
static const plb_font small = {.size = 12, .colour = PLB_INK, .anchor = PLB_START};
static const plb_font tick = {.size = 11, .colour = PLB_FAINT, .anchor = PLB_END};
static const plb_font phase = {.size = 11, .colour = PLB_FAINT, .anchor = PLB_MIDDLE};

static int find_channel(const plb_reference *r, const char *role) {
  for (size_t i = 0; r->corridor.lower && i < r->channels; i++)
    if (strcmp(r->channel[i].role, role) == 0)
      return (int)i;
  return -1;
}

static void widen(const plb_reference *r, int channel, double *low, double *high) {
  for (size_t g = 0; channel >= 0 && g < r->choice.grid; g++) {
    const size_t at = (size_t)channel * r->choice.grid + g;
    *low = fmin(*low, (double)r->corridor.lower[at]);
    *high = fmax(*high, (double)r->corridor.upper[at]);
  }
}

static bool draw_range(plb_canvas *c, const plb_reference *r, int channel, const plb_axis *x, const plb_axis *y, const plb_paint *area,
                       const plb_paint *line) {
  const size_t n = r->choice.grid;
  double *px = plb_calloc(4 * n + 1, sizeof *px);
  if (!px)
    return false;
  for (size_t g = 0; g < n; g++) {
    const size_t at = (size_t)channel * n + g;
    px[g] = plb_axis_pixel(x, 360 * ((double)g + 0.5) / (double)n);
    px[n + g] = plb_axis_pixel(y, (double)r->corridor.lower[at]);
    px[2 * n + g] = plb_axis_pixel(y, (double)r->corridor.upper[at]);
    px[3 * n + g] = plb_axis_pixel(y, (double)r->corridor.centre[at]);
  }
  plb_canvas_area(c, px, px + n, px + 2 * n, n, area);
  plb_canvas_curve(c, px, px + 3 * n, n, line);
  free(px);
  return true;
}

static void draw_axes(plb_canvas *c, const plb_axis *x, const plb_axis *y, double top) {
  char label[64];
  for (int i = 0; i < plb_axis_ticks(y); i++) {
    const double value = plb_axis_first(y) + i * y->step, py = plb_axis_pixel(y, value);
    plb_canvas_line(c, LEFT, py, WIDTH - RIGHT, py, &rule);
    plb_axis_label(y, value, label);
    plb_canvas_text(c, LEFT - 6, py + 4, &tick, label);
  }
  for (int i = 0; i < plb_axis_ticks(x); i++) {
    const double value = plb_axis_first(x) + i * x->step;
    plb_axis_label(x, value, label);
    plb_canvas_text(c, plb_axis_pixel(x, value), top + PLOT + 16, &phase, label);
  }
}

static bool draw_channel(plb_canvas *c, const plb_reference *a, const plb_reference *b, size_t channel, double top) {
  const plb_reference_channel *what = &b->channel[channel];
  const int old = find_channel(a, what->role), now = find_channel(b, what->role);
  double low = INFINITY, high = -INFINITY;
  char heading[2 * PLB_NAME_SIZE + PLB_UNIT_SIZE];
  widen(a, old, &low, &high);
  widen(b, now, &low, &high);
  plb_axis_pad(&low, &high, 0.05);
  const plb_axis y = {low, high, top + PLOT, top, plb_axis_step(high - low, 6)};
  const plb_axis x = {0, 360, LEFT, WIDTH - RIGHT, 30};
  snprintf(heading, sizeof heading, "%s [%s] along the cycle in degrees", what->role, what->unit);
  plb_canvas_text(c, LEFT, top - 8, &small, heading);
  draw_axes(c, &x, &y, top);
  bool well = true;
  if (old >= 0)
    well = draw_range(c, a, old, &x, &y, &paint_was, &paint_was_centre);
  if (now >= 0 && well)
    well = draw_range(c, b, now, &x, &y, &paint_is, &paint_is_centre);
  return well;
}

static void draw_legend(plb_canvas *c, const plb_reference *a, const plb_reference *b) {
  char text[PLB_TEXT_SIZE + 64];
  const plb_reference *both[2] = {a, b};
  for (int i = 0; i < 2; i++) {
    plb_canvas_rect(c, LEFT, 10 + 18 * i, 26, 12, i ? &paint_is : &paint_was);
    snprintf(text, sizeof text, "%s: good range of %s@%u (%s)", i ? "is" : "was", both[i]->name, both[i]->version,
             plb_provenance_name(both[i]->provenance));
    plb_canvas_text(c, LEFT + 34, 20 + 18 * i, &small, text);
  }
}

plb_status plb_report_difference_svg(char **out, const plb_reference *a, const plb_reference *b, plb_error *err) {
  plb_buffer text;
  plb_buffer_init(&text, (size_t)64 << 20);
  plb_canvas c;
  bool well = true;
  plb_canvas_open(&c, &text, WIDTH, TOP + (double)b->channels * (PLOT + GAP), b->name, "two good ranges", "The good range of two versions of a known-good reference, channel by channel.");
  draw_legend(&c, a, b);
  for (size_t i = 0; i < b->channels && well; i++)
    well = draw_channel(&c, a, b, i, TOP + (double)i * (PLOT + GAP));
  plb_canvas_close(&c);
  if (!well || text.status != PLB_OK) {
    plb_buffer_dispose(&text);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  *out = text.data;
  return PLB_OK;
}
