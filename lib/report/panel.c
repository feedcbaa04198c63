#include "report/panel.h"

#include <math.h>
#include <string.h>

/* Told apart in black and white too: an even area, a dashed line, slanting lines, a thick line, dots. */
const plb_paint plb_paint_range = {.fill = PLB_SKY, .fill_opacity = 0.42, .stroke = PLB_BLUE, .width = 0.5};
const plb_paint plb_paint_centre = {.stroke = PLB_BLUE, .width = 1.2, .dash = "6 3"};
const plb_paint plb_paint_spread = {.hatched = true, .stroke = PLB_ORANGE, .width = 0.5};
const plb_paint plb_paint_median = {.stroke = PLB_BLACK, .width = 1.5};
const plb_paint plb_paint_worst = {.stroke = PLB_VERMILLION, .width = 1.4, .dash = "2 2"};

static const plb_paint rule = {.stroke = PLB_RULE, .width = 0.7};
static const plb_paint border = {.stroke = PLB_FAINT, .width = 0.8};
static const plb_paint section_border = {.stroke = PLB_FAINT, .width = 0.6, .dash = "1 3"};

plb_sign plb_panel_sign(plb_word word) {
  static const plb_sign signs[] = {PLB_SIGN_CHECK, PLB_SIGN_QUERY, PLB_SIGN_CROSS, PLB_SIGN_BAR};
  return (size_t)word < 4 ? signs[word] : PLB_SIGN_BAR;
}

const char *plb_panel_colour(plb_word word) {
  static const char *const colours[] = {PLB_GREEN, "#8A5F00", PLB_VERMILLION, PLB_FAINT};
  return (size_t)word < 4 ? colours[word] : PLB_FAINT;
}

static bool is_section_of(const plb_panel *p, const plb_band_result *band) {
  return strcmp(band->domain, "frequency") != 0 && strcmp(band->unit, "cycle") == 0 &&
         (band->channel[0] == '\0' || strcmp(band->channel, p->drawing->channel) == 0);
}

/* No sections, no strip. */
static double strip_height(const plb_panel *p) {
  for (size_t i = 0; i < p->verdict->bands; i++)
    if (is_section_of(p, &p->verdict->band[i]))
      return PLB_PANEL_STRIP;
  return 0;
}

double plb_panel_height(const plb_panel *panel) {
  return PLB_PANEL_HEAD + strip_height(panel) + panel->plot + PLB_PANEL_FOOT;
}

/* Passages of the middle level: beyond some 20 waves a whole cycle is a hedge of lines. */
static bool is_dense(const plb_drawing *d) {
  const float *curve = d->centre ? d->centre : d->median;
  float low = INFINITY, high = -INFINITY;
  for (size_t k = 0; curve && k < d->columns; k++) {
    low = curve[k] < low ? curve[k] : low;
    high = curve[k] > high ? curve[k] : high;
  }
  size_t passages = 0;
  for (size_t k = 1; curve && k < d->columns; k++)
    passages += (curve[k] > (low + high) / 2) != (curve[k - 1] > (low + high) / 2);
  return passages > 40;
}

/* The section in which the most important finding of this channel lies: the sentence is about it. */
static const plb_band_result *section_of_finding(const plb_panel *p) {
  const plb_verdict *v = p->verdict;
  for (size_t i = 0; i < v->findings; i++) {
    const plb_finding *finding = &v->finding[i];
    if (!isfinite(finding->phase) || (finding->channel[0] && strcmp(finding->channel, p->drawing->channel) != 0))
      continue;
    for (size_t k = 0; k < v->bands; k++)
      if (is_section_of(p, &v->band[k]) && finding->phase >= v->band[k].from && finding->phase < v->band[k].to)
        return &v->band[k];
  }
  return NULL;
}

/* The section that departs most; on a dense plot also the one nearest to its limit is worth a look. */
static const plb_band_result *worst_section(const plb_panel *p) {
  const plb_band_result *worst = NULL;
  const bool any = is_dense(p->drawing);
  for (size_t i = 0; i < p->verdict->bands; i++) {
    const plb_band_result *band = &p->verdict->band[i];
    const bool wanted = any || band->status == PLB_DEPARTS || band->status == PLB_BORDERLINE;
    if (wanted && is_section_of(p, band) && (!worst || (isfinite(band->score) && !(worst->score >= band->score))))
      worst = band;
  }
  return worst;
}

bool plb_panel_closer_part(const plb_verdict *verdict, const plb_drawing *drawing, double *from_out, double *to_out) {
  const plb_panel p = {.verdict = verdict, .drawing = drawing};
  const plb_band_result *found = section_of_finding(&p), *worst = found ? found : worst_section(&p);
  if (!worst || worst->to - worst->from > 0.16)
    return false;
  const double around = (worst->to - worst->from) / 2;
  *from_out = fmax(0, worst->from - around);
  *to_out = fmin(1, worst->to + around);
  return true;
}

/* The axes of one plot, and the factor from the channel's unit to the one shown. */
typedef struct plot {
  const plb_panel *p;
  plb_axis x, y; /* x in the dial's unit */
  double factor;
  char unit[PLB_UNIT_SIZE];
  size_t first, last; /* columns shown */
} plot;

static double column_phase(const plb_panel *p, size_t column) {
  return ((double)column + 0.5) / (double)p->drawing->columns;
}

static double pixel_x(const plot *t, double phase) {
  return plb_axis_pixel(&t->x, t->p->dial.start + phase * t->p->dial.length);
}
static double pixel_y(const plot *t, double value) { return plb_axis_pixel(&t->y, value * t->factor); }

static void find_limits(const plot *t, double *low, double *high) {
  const plb_drawing *d = t->p->drawing;
  const float *const curves[] = {d->centre, d->lower, d->upper, d->lowest, d->median, d->highest, d->worst};
  *low = INFINITY;
  *high = -INFINITY;
  for (size_t i = 0; i < sizeof curves / sizeof curves[0]; i++)
    for (size_t k = t->first; curves[i] && k < t->last; k++)
      if (isfinite(curves[i][k])) {
        *low = fmin(*low, (double)curves[i][k]);
        *high = fmax(*high, (double)curves[i][k]);
      }
}

static void place_axes(plot *t) {
  const plb_panel *p = t->p;
  double low = 0, high = 0;
  find_limits(t, &low, &high);
  const char *code = p->drawing->unit;
  t->factor = isfinite(low) ? plb_unit_scale_for_people(fmax(fabs(low), fabs(high)), p->drawing->unit, &code) : 1;
  plb_text_print(t->unit, sizeof t->unit, "%.8s", plb_say_unit(code));
  low *= t->factor;
  high *= t->factor;
  plb_axis_pad(&low, &high, 0.13); /* room for the marks above and below */
  const double top = p->top + PLB_PANEL_HEAD + strip_height(p);
  t->y = (plb_axis){low, high, top + p->plot, top, plb_axis_step(high - low, (int)(p->plot / 34))};
  const double from = p->dial.start + p->from * p->dial.length, to = p->dial.start + p->to * p->dial.length;
  const int most = 13;
  t->x = (plb_axis){from, to, p->left, p->left + p->width,
                    p->dial.kind == PLB_DIAL_DEGREES ? plb_axis_degree_step(to - from, most)
                                                     : plb_axis_step(to - from, most)};
}

static void draw_axes(plb_canvas *c, const plot *t) {
  const plb_font font = {11, false, PLB_FAINT, PLB_END};
  char label[PLB_SAY_SIZE];
  for (int i = 0; i < plb_axis_ticks(&t->y); i++) {
    const double value = plb_axis_first(&t->y) + i * t->y.step, y = plb_axis_pixel(&t->y, value);
    plb_canvas_line(c, t->x.near_, y, t->x.far, y, &rule);
    plb_axis_label(&t->y, value, label);
    plb_canvas_text(c, t->x.near_ - 6, y + 4, &font, label);
  }
  plb_canvas_text(c, t->x.near_ - 6, t->y.far - 6, &(plb_font){12, true, PLB_INK, PLB_END}, t->unit);
  for (int i = 0; i < plb_axis_ticks(&t->x); i++) {
    const double value = plb_axis_first(&t->x) + i * t->x.step, x = plb_axis_pixel(&t->x, value);
    plb_canvas_line(c, x, t->y.near_, x, t->y.near_ + 5, &border);
    plb_axis_label(&t->x, value, label);
    plb_canvas_text(c, x, t->y.near_ + 17, &(plb_font){11, false, PLB_FAINT, PLB_MIDDLE}, label);
  }
  plb_canvas_text(c, (t->x.near_ + t->x.far) / 2, t->y.near_ + 32, &(plb_font){11.5, false, PLB_INK, PLB_MIDDLE},
                  t->p->dial.label);
}

/* Scratch for one panel's curves, in pixels. */
typedef struct curves {
  double *x, *a, *b;
  size_t count;
} curves;

static bool fill(const plot *t, const float *values, double *out) {
  for (size_t k = t->first; values && k < t->last; k++)
    out[k - t->first] = pixel_y(t, (double)values[k]);
  return values != NULL;
}

static void draw_curve(plb_canvas *c, const plot *t, const curves *s, const float *values, const plb_paint *paint) {
  if (fill(t, values, s->a))
    plb_canvas_curve(c, s->x, s->a, s->count, paint);
}

static void draw_area(plb_canvas *c, const plot *t, const curves *s, const float *low, const float *high,
                      const plb_paint *paint) {
  if (fill(t, low, s->a) && fill(t, high, s->b))
    plb_canvas_area(c, s->x, s->a, s->b, s->count, paint);
}

static plb_status draw_curves(plb_canvas *c, const plot *t, plb_error *err) {
  const plb_drawing *d = t->p->drawing;
  plb_status status = PLB_OK;
  curves s = {.count = t->last - t->first};
  s.x = plb_calloc(3 * s.count, sizeof *s.x);
  if (!s.x) {
    status = plb_fail(err, PLB_ENOMEM, "no memory for the picture; close other programs and try again");
    goto done;
  }
  s.a = s.x + s.count;
  s.b = s.a + s.count;
  for (size_t k = 0; k < s.count; k++)
    s.x[k] = pixel_x(t, column_phase(t->p, t->first + k));
  plb_canvas_clip(c, t->x.near_, t->y.far, t->x.far - t->x.near_, t->y.near_ - t->y.far);
  draw_area(c, t, &s, d->lower, d->upper, &plb_paint_range);
  draw_area(c, t, &s, d->lowest, d->highest, &plb_paint_spread);
  draw_curve(c, t, &s, d->centre, &plb_paint_centre);
  plb_paint median = plb_paint_median;
  median.width = t->p->has_closer && is_dense(d) ? 0.9 : median.width;
  draw_curve(c, t, &s, d->median, &median);
  if (t->p->closer || !t->p->has_closer)
    draw_curve(c, t, &s, d->worst, &plb_paint_worst);
  plb_canvas_group_end(c);
done:
  free(s.x);
  return status;
}

/* A cell of the strip: the name, and below it a sign with the way it departs, or the result's word. */
static void draw_cell(plb_canvas *c, const plot *t, const plb_band_result *band) {
  const double x1 = fmax(pixel_x(t, band->from), t->x.near_), x2 = fmin(pixel_x(t, band->to), t->x.far);
  const double top = t->p->top + PLB_PANEL_HEAD, wide = x2 - x1;
  const bool quiet = band->status == PLB_AGREES;
  const char *colour = plb_panel_colour(band->status);
  plb_canvas_rect(c, x1, top, wide, PLB_PANEL_STRIP,
                  &(plb_paint){.fill = quiet ? NULL : colour, .fill_opacity = 0.16, .stroke = PLB_RULE, .width = 0.7});
  if (band->from > t->p->from)
    plb_canvas_line(c, x1, top + PLB_PANEL_STRIP, x1, t->y.near_, &section_border);
  const plb_font name = {10.5, !quiet, quiet ? PLB_FAINT : PLB_INK, PLB_MIDDLE};
  const char *way =
      quiet || band->status == PLB_UNJUDGED || !band->direction[0] ? plb_say_word_short(band->status) : band->direction;
  const plb_font word = {10.5, !quiet, quiet ? PLB_FAINT : PLB_INK, PLB_START};
  const double text = plb_canvas_text_width(way, &word), middle = (x1 + x2) / 2;
  if (plb_canvas_text_width(band->name, &name) < wide - 2)
    plb_canvas_text(c, middle, top + 13, &name, band->name);
  const bool fits = !quiet && text + 14 < wide;
  plb_canvas_sign(c, plb_panel_sign(band->status), fits ? middle - text / 2 - 2 : middle, top + 23, quiet ? 7 : 8,
                  colour);
  if (fits)
    plb_canvas_text(c, middle - text / 2 + 6, top + 27, &word, way);
}

static void draw_strip(plb_canvas *c, const plot *t) {
  for (size_t i = 0; i < t->p->verdict->bands; i++) {
    const plb_band_result *band = &t->p->verdict->band[i];
    if (is_section_of(t->p, band) && band->to > t->p->from && band->from < t->p->to)
      draw_cell(c, t, band);
  }
}

/* Where the triangles' numbers already stand, so that they do not cover each other: one lane above, one below. */
typedef struct lane {
  double last_x;
  int row;
} lane;

static double value_at(const plot *t, double phase, bool below) {
  const plb_drawing *d = t->p->drawing;
  const float *curve = below ? d->lowest : d->highest;
  size_t k = (size_t)(phase * (double)d->columns);
  k = k >= d->columns ? d->columns - 1 : k;
  return curve && isfinite(curve[k]) ? (double)curve[k] : (double)NAN;
}

/* Low and missing places are pointed at from below, all others from above. */
static bool is_below(const char *direction) {
  return strcmp(direction, "low") == 0 || strcmp(direction, "missing") == 0;
}

static void draw_mark(plb_canvas *c, const plot *t, double phase, const char *direction, size_t number, lane lanes[2]) {
  const bool below = is_below(direction);
  lane *own = &lanes[below];
  const double x = pixel_x(t, phase), size = 9, value = pixel_y(t, value_at(t, phase, below));
  const double tip = below ? t->y.near_ - size - 3 : t->y.far + size + 3;
  own->row = fabs(x - own->last_x) < 13 ? (own->row + 1) % 2 : 0;
  own->last_x = x;
  if (isfinite(value))
    plb_canvas_line(c, x, tip, x, value, &(plb_paint){.stroke = PLB_VERMILLION, .width = 0.8, .dash = "1 2"});
  plb_canvas_triangle(c, x, tip, size, below, &(plb_paint){.fill = PLB_VERMILLION, .stroke = PLB_BLACK, .width = 0.8});
  if (number == 0)
    return;
  char text[PLB_SAY_SIZE];
  plb_say_count(number, text);
  const double y = below ? tip + 9 - own->row * 12 : tip - 1 + own->row * 12;
  plb_canvas_text(c, x + 7, y, &(plb_font){11, true, PLB_INK, PLB_START}, text);
}

static bool is_shown(const plb_panel *p, double phase) { return isfinite(phase) && phase >= p->from && phase <= p->to; }

static bool belongs(const plb_panel *p, const plb_finding *finding) {
  return (finding->channel[0] == '\0' || strcmp(finding->channel, p->drawing->channel) == 0) &&
         is_shown(p, finding->phase);
}

/* A section's worst place gets its own triangle unless a numbered one stands there already. */
static bool has_number(const plb_panel *p, double phase) {
  for (size_t i = 0; i < p->verdict->findings && i < PLB_MARKS_MOST; i++)
    if (belongs(p, &p->verdict->finding[i]) && fabs(p->verdict->finding[i].phase - phase) < 0.01)
      return true;
  return false;
}

static void draw_marks(plb_canvas *c, const plot *t) {
  const plb_verdict *v = t->p->verdict;
  lane lanes[2] = {{-1e9, 0}, {-1e9, 0}};
  for (size_t i = 0; i < v->findings && i < PLB_MARKS_MOST; i++)
    if (belongs(t->p, &v->finding[i]))
      draw_mark(c, t, v->finding[i].phase, v->finding[i].direction, i + 1, lanes);
  for (size_t i = 0; i < v->bands; i++) {
    const plb_band_result *band = &v->band[i];
    const bool wanted = (band->status == PLB_DEPARTS || band->status == PLB_BORDERLINE) && is_section_of(t->p, band);
    if (wanted && is_shown(t->p, band->worst_phase) && !has_number(t->p, band->worst_phase))
      draw_mark(c, t, band->worst_phase, band->direction, 0, lanes);
  }
}

/* Tooth 1, or the first mark: a small pointer below the axis with its name. */
static void draw_first_landmark(plb_canvas *c, const plot *t) {
  const double phase = t->p->verdict->landmark_phase_first;
  if (!is_shown(t->p, phase))
    return;
  const double x = pixel_x(t, phase);
  const char *name = t->p->dial.kind == PLB_DIAL_DEGREES ? "tooth 1" : "first mark";
  plb_canvas_triangle(c, x, t->y.near_ + 21, 8, true, &(plb_paint){.fill = PLB_WHITE, .stroke = PLB_INK, .width = 1});
  plb_canvas_text(c, x + 9, t->y.near_ + 30, &(plb_font){10.5, false, PLB_INK, PLB_START}, name);
}

static void draw_heading(plb_canvas *c, const plot *t) {
  char text[PLB_TEXT_SIZE], from[PLB_SAY_SIZE], to[PLB_SAY_SIZE];
  const plb_panel *p = t->p;
  plb_say_place(&p->dial, p->from, from);
  plb_say_place(&p->dial, p->to, to);
  const char *one = p->verdict->cycles.unit_name[0] ? p->verdict->cycles.unit_name : "cycle";
  if (p->closer)
    plb_text_print(text, sizeof text, "%.60s, a closer look: %s to %s", p->drawing->channel, from, to);
  else
    plb_text_print(text, sizeof text, "%.60s, the whole %.60s", p->drawing->channel, one);
  plb_canvas_paragraph(c, p->left, p->top + 17, p->width, 16, 1, &(plb_font){13, true, PLB_INK, PLB_START}, text);
}

static void draw_absence(plb_canvas *c, const plot *t) {
  const plb_drawing *d = t->p->drawing;
  const char *text = !d->median && !d->lowest  ? "nothing of this capture could be laid over the good range"
                     : !d->centre && !d->lower ? "no good range could be laid under this capture"
                                               : NULL;
  if (text)
    plb_canvas_text(c, (t->x.near_ + t->x.far) / 2, t->y.far + 18, &(plb_font){12, true, PLB_INK, PLB_MIDDLE}, text);
}

plb_status plb_panel_draw(plb_canvas *c, const plb_panel *panel, plb_error *err) {
  plot t = {.p = panel, .factor = 1};
  const double columns = (double)panel->drawing->columns;
  t.first = (size_t)fmax(0, floor(panel->from * columns));
  t.last = (size_t)fmin(columns, ceil(panel->to * columns));
  place_axes(&t);
  plb_canvas_group(c, panel->drawing->channel);
  draw_heading(c, &t);
  draw_axes(c, &t);
  draw_strip(c, &t);
  const plb_status status = draw_curves(c, &t, err);
  plb_canvas_rect(c, t.x.near_, t.y.far, t.x.far - t.x.near_, t.y.near_ - t.y.far, &border);
  draw_marks(c, &t);
  draw_first_landmark(c, &t);
  draw_absence(c, &t);
  plb_canvas_group_end(c);
  return status;
}
