/* A reading over time: no more points than the picture has columns, but each column's lowest and highest value. */
#include "report/axis.h"
#include "report/report.h"
#include "report/canvas.h"
#include "report/say.h"

#include <math.h>
#include <string.h>

enum { WIDTH = 900, LEFT = 78, RIGHT = 20, TOP = 48, PLOT = 260, BOTTOM = 44 };
enum { COLUMNS = WIDTH - LEFT - RIGHT };

static const plb_paint line = {.stroke = PLB_BLUE, .width = 1.3};
static const plb_paint rule = {.stroke = PLB_RULE, .width = 0.7};
static const plb_paint low_mark = {.fill = PLB_VERMILLION}, high_mark = {.fill = PLB_BLACK};
static const plb_font small = {.size = 12, .colour = PLB_INK, .anchor = PLB_START};
static const plb_font tick = {.size = 11, .colour = PLB_FAINT, .anchor = PLB_END};
static const plb_font time_tick = {.size = 11, .colour = PLB_FAINT, .anchor = PLB_MIDDLE};

static void draw_axes(plb_canvas *c, const plb_axis *x, const plb_axis *y) {
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
    plb_canvas_text(c, plb_axis_pixel(x, value), TOP + PLOT + 16, &time_tick, label);
  }
  plb_canvas_text(c, WIDTH - RIGHT, TOP + PLOT + 34, &tick, "time [s]");
}

static bool draw_few(plb_canvas *c, const plb_series *s, const plb_axis *x, const plb_axis *y, double factor) {
  double *p = plb_calloc(2 * s->count + 1, sizeof *p);
  if (!p)
    return false;
  for (size_t i = 0; i < s->count; i++) {
    p[i] = plb_axis_pixel(x, s->time_s[i]);
    p[s->count + i] = plb_axis_pixel(y, s->value[i] * factor);
  }
  plb_canvas_curve(c, p, p + s->count, s->count, &line);
  free(p);
  return true;
}

/* A stroke from lowest to highest for each column. */
static bool draw_many(plb_canvas *c, const plb_series *s, const plb_axis *x, const plb_axis *y, double factor) {
  double px[2 * COLUMNS], py[2 * COLUMNS];
  size_t points = 0;
  for (size_t k = 0; k < COLUMNS; k++) {
    const size_t first = s->count * k / COLUMNS, last = s->count * (k + 1) / COLUMNS;
    double low = (double)NAN, high = (double)NAN;
    for (size_t i = first; i < last; i++) {
      low = fmin(low, s->value[i]);
      high = fmax(high, s->value[i]);
    }
    px[points] = px[points + 1] = plb_axis_pixel(x, s->time_s[first]);
    py[points++] = plb_axis_pixel(y, low * factor);
    py[points++] = plb_axis_pixel(y, high * factor);
  }
  plb_canvas_curve(c, px, py, points, &line);
  return true;
}

static void draw_head(plb_canvas *c, const plb_series *s, const char *unit, double factor) {
  char text[PLB_TEXT_SIZE];
  const bool plain = strcmp(unit, "1") == 0;
  plb_text_say(text, sizeof text, "%s of %s%s%s%s", s->reading, s->channel, plain ? "" : " [", plain ? "" : unit, plain ? "" : "]");
  plb_canvas_text(c, LEFT, 18, &small, text);
  plb_text_say(text, sizeof text, "lowest %.5g at %.6g s, highest %.5g at %.6g s", s->value[s->lowest] * factor,
               s->time_s[s->lowest], s->value[s->highest] * factor, s->time_s[s->highest]);
  plb_canvas_text(c, LEFT, 36, &small, text);
}

plb_status plb_report_series_svg(char **out, const plb_series *s, const plb_capture *capture, plb_error *err) {
  plb_buffer text;
  plb_canvas c;
  const char *unit = s->unit;
  const double factor =
      plb_unit_scale_for_people(fmax(fabs(s->value[s->lowest]), fabs(s->value[s->highest])), s->unit, &unit);
  double low = s->value[s->lowest] * factor, high = s->value[s->highest] * factor;
  double from = s->time_s[0], to = s->time_s[s->count - 1];
  *out = NULL;
  plb_axis_pad(&low, &high, 0.06);
  plb_axis_pad(&from, &to, 0.0);
  const plb_axis x = {from, to, LEFT, WIDTH - RIGHT, plb_axis_step(to - from, 10)};
  const plb_axis y = {low, high, TOP + PLOT, TOP, plb_axis_step(high - low, 7)};
  plb_buffer_init(&text, (size_t)64 << 20);
  plb_canvas_open(&c, &text, WIDTH, TOP + PLOT + BOTTOM, plb_capture_path(capture), "a reading over time",
                  "A reading over time; triangles mark its lowest and highest value.");
  draw_head(&c, s, unit, factor);
  draw_axes(&c, &x, &y);
  const bool well = s->count <= 2 * COLUMNS ? draw_few(&c, s, &x, &y, factor) : draw_many(&c, s, &x, &y, factor);
  plb_canvas_triangle(&c, plb_axis_pixel(&x, s->time_s[s->lowest]), plb_axis_pixel(&y, s->value[s->lowest] * factor) + 2, 8, true, &low_mark);
  plb_canvas_triangle(&c, plb_axis_pixel(&x, s->time_s[s->highest]), plb_axis_pixel(&y, s->value[s->highest] * factor) - 2, 8, false, &high_mark);
  plb_canvas_close(&c);
  if (!well || text.status != PLB_OK) {
    plb_buffer_dispose(&text);
    return plb_fail(err, PLB_ENOMEM, "no memory for the picture");
  }
  *out = text.data;
  return PLB_OK;
}
