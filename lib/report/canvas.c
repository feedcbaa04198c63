#include "report/canvas.h"
#include "report/say.h"

#include <math.h>
#include <string.h>

/* Coordinates are written in tenths of a pixel, by whole numbers: no locale, and short. */
static long tenths(double px) {
  const double most = 1e6;
  return lround((isfinite(px) ? fmin(fmax(px, -most), most) : 0) * 10);
}

static void put_tenths(plb_canvas *c, long value) {
  char text[24];
  size_t at = sizeof text;
  unsigned long rest = (unsigned long)(value < 0 ? -value : value);
  if (rest % 10 > 0) {
    text[--at] = (char)('0' + rest % 10);
    text[--at] = '.';
  }
  rest /= 10;
  for (; rest > 0 || at == sizeof text; rest /= 10)
    text[--at] = (char)('0' + rest % 10);
  if (value < 0)
    text[--at] = '-';
  plb_buffer_append(c->out, text + at, sizeof text - at);
}

static void put(plb_canvas *c, const char *text) { plb_buffer_puts(c->out, text); }

static void attribute(plb_canvas *c, const char *name, double px) {
  put(c, " ");
  put(c, name);
  put(c, "=\"");
  put_tenths(c, tenths(px));
  put(c, "\"");
}

static void text_attribute(plb_canvas *c, const char *name, const char *value) {
  put(c, " ");
  put(c, name);
  put(c, "=\"");
  plb_buffer_escape(c->out, value);
  put(c, "\"");
}

static void put_paint(plb_canvas *c, const plb_paint *paint) {
  if (paint->hatched)
    plb_buffer_printf(c->out, " fill=\"url(#hatch-%s)\"", c->key);
  else
    text_attribute(c, "fill", paint->fill ? paint->fill : "none");
  if (paint->fill && !paint->hatched && paint->fill_opacity > 0)
    plb_buffer_printf(c->out, " fill-opacity=\"%.2f\"", paint->fill_opacity);
  if (!paint->stroke)
    return;
  text_attribute(c, "stroke", paint->stroke);
  plb_buffer_printf(c->out, " stroke-width=\"%.2g\"", paint->width > 0 ? paint->width : 1.0);
  if (paint->dash)
    text_attribute(c, "stroke-dasharray", paint->dash);
}

/* FNV-1a (Fowler, Noll, Vo), 64 bits: only to tell pictures apart. */
static void make_key(const char *seed, char out[17]) {
  uint64_t h = 14695981039346656037u;
  for (; *seed; seed++)
    h = (h ^ (unsigned char)*seed) * 1099511628211u;
  plb_text_print(out, 17, "%016llx", (unsigned long long)h);
}

void plb_canvas_open(plb_canvas *c, plb_buffer *out, double width, double height, const char *seed, const char *title,
                     const char *description) {
  *c = (plb_canvas){.out = out, .width = width, .height = height};
  make_key(seed, c->key);
  plb_buffer_printf(
      out,
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" height=\"%.0f\" role=\"img\" "
      "aria-labelledby=\"title-%s description-%s\" font-family=\"sans-serif\">\n",
      width, height, width, height, c->key, c->key);
  plb_buffer_printf(out, "<title id=\"title-%s\">", c->key);
  plb_buffer_escape(out, title);
  plb_buffer_printf(out, "</title>\n<desc id=\"description-%s\">", c->key);
  plb_buffer_escape(out, description);
  plb_buffer_printf(
      out,
      "</desc>\n<defs><pattern id=\"hatch-%s\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" "
      "patternTransform=\"rotate(45)\"><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"5\" stroke=\"%s\" stroke-width=\"1.6\"/>"
      "</pattern></defs>\n",
      c->key, PLB_ORANGE);
  plb_canvas_rect(c, 0, 0, width, height, &(plb_paint){.fill = PLB_WHITE});
}

void plb_canvas_close(plb_canvas *c) { put(c, "</svg>\n"); }

void plb_canvas_group(plb_canvas *c, const char *label) {
  put(c, "<g");
  text_attribute(c, "aria-label", label);
  put(c, ">\n");
}

void plb_canvas_group_end(plb_canvas *c) { put(c, "</g>\n"); }

void plb_canvas_clip(plb_canvas *c, double x, double y, double width, double height) {
  c->clips++;
  plb_buffer_printf(c->out, "<clipPath id=\"clip-%s-%u\">", c->key, c->clips);
  plb_canvas_rect(c, x, y, width, height, &(plb_paint){.fill = PLB_BLACK});
  plb_buffer_printf(c->out, "</clipPath>\n<g clip-path=\"url(#clip-%s-%u)\">\n", c->key, c->clips);
}

void plb_canvas_rect(plb_canvas *c, double x, double y, double width, double height, const plb_paint *paint) {
  put(c, "<rect");
  attribute(c, "x", x);
  attribute(c, "y", y);
  attribute(c, "width", fmax(width, 0));
  attribute(c, "height", fmax(height, 0));
  put_paint(c, paint);
  put(c, "/>\n");
}

void plb_canvas_line(plb_canvas *c, double x1, double y1, double x2, double y2, const plb_paint *paint) {
  put(c, "<line");
  attribute(c, "x1", x1);
  attribute(c, "y1", y1);
  attribute(c, "x2", x2);
  attribute(c, "y2", y2);
  put_paint(c, paint);
  put(c, "/>\n");
}

/* A pen that writes relative steps: half the bytes of absolute ones, and no rounding adds up. */
typedef struct pen {
  plb_canvas *canvas;
  long x, y;
} pen;

static void pen_move(pen *p, double x, double y) {
  p->x = tenths(x);
  p->y = tenths(y);
  put(p->canvas, "M");
  put_tenths(p->canvas, p->x);
  put(p->canvas, " ");
  put_tenths(p->canvas, p->y);
}

static void pen_line(pen *p, double x, double y) {
  const long tx = tenths(x), ty = tenths(y);
  if (tx == p->x && ty == p->y)
    return;
  put(p->canvas, "l");
  put_tenths(p->canvas, tx - p->x);
  put(p->canvas, ty < p->y ? "" : " ");
  put_tenths(p->canvas, ty - p->y);
  p->x = tx;
  p->y = ty;
}

void plb_canvas_curve(plb_canvas *c, const double *x, const double *y, size_t n, const plb_paint *paint) {
  pen p = {c, 0, 0};
  bool drawing = false;
  put(c, "<path d=\"");
  for (size_t i = 0; i < n; i++) {
    const bool there = isfinite(x[i]) && isfinite(y[i]);
    if (there && drawing)
      pen_line(&p, x[i], y[i]);
    else if (there)
      pen_move(&p, x[i], y[i]);
    drawing = there;
  }
  put(c, "\" stroke-linejoin=\"round\"");
  put_paint(c, paint);
  put(c, "/>\n");
}

static bool is_there(const double *x, const double *low, const double *high, size_t i) {
  return isfinite(x[i]) && isfinite(low[i]) && isfinite(high[i]);
}

void plb_canvas_area(plb_canvas *c, const double *x, const double *low, const double *high, size_t n,
                     const plb_paint *paint) {
  pen p = {c, 0, 0};
  put(c, "<path d=\"");
  for (size_t first = 0; first < n;) {
    size_t last = first;
    while (last < n && is_there(x, low, high, last))
      last++;
    if (last > first) {
      pen_move(&p, x[first], high[first]);
      for (size_t i = first + 1; i < last; i++)
        pen_line(&p, x[i], high[i]);
      for (size_t i = last; i-- > first;)
        pen_line(&p, x[i], low[i]);
      put(c, "z");
    }
    first = last + (last == first);
  }
  put(c, "\" stroke-linejoin=\"round\"");
  put_paint(c, paint);
  put(c, "/>\n");
}

void plb_canvas_triangle(plb_canvas *c, double x, double y, double size, bool up, const plb_paint *paint) {
  const double base = up ? y + size : y - size;
  const double xs[] = {x, x + size * 0.6, x - size * 0.6, x}, ys[] = {y, base, base, y};
  plb_canvas_curve(c, xs, ys, 4, paint);
}

void plb_canvas_sign(plb_canvas *c, plb_sign sign, double x, double y, double size, const char *colour) {
  const double h = size / 2;
  const plb_paint paint = {.stroke = colour, .width = size / 5};
  switch (sign) {
  case PLB_SIGN_CHECK:
    plb_canvas_curve(c, (const double[]){x - h, x - h / 4, x + h}, (const double[]){y, y + h * 0.8, y - h * 0.8}, 3,
                     &paint);
    break;
  case PLB_SIGN_CROSS:
    plb_canvas_line(c, x - h, y - h, x + h, y + h, &paint);
    plb_canvas_line(c, x - h, y + h, x + h, y - h, &paint);
    break;
  case PLB_SIGN_QUERY:
    plb_canvas_text(c, x, y + h * 1.1, &(plb_font){size * 1.5, true, colour, PLB_MIDDLE}, "?");
    break;
  case PLB_SIGN_BAR:
    plb_canvas_line(c, x - h, y, x + h, y, &paint);
    break;
  }
}

static const char *const anchors[] = {"start", "middle", "end"};

static void open_text(plb_canvas *c, const plb_font *font) {
  attribute(c, "font-size", font->size);
  if (font->bold)
    put(c, " font-weight=\"bold\"");
  if (font->anchor != PLB_START)
    text_attribute(c, "text-anchor", anchors[font->anchor]);
  text_attribute(c, "fill", font->colour ? font->colour : PLB_INK);
  put(c, ">");
}

void plb_canvas_text(plb_canvas *c, double x, double y, const plb_font *font, const char *text) {
  put(c, "<text");
  attribute(c, "x", x);
  attribute(c, "y", y);
  open_text(c, font);
  plb_buffer_escape(c->out, text);
  put(c, "</text>\n");
}

void plb_canvas_text_turned(plb_canvas *c, double x, double y, const plb_font *font, const char *text) {
  put(c, "<text transform=\"translate(");
  put_tenths(c, tenths(x));
  put(c, " ");
  put_tenths(c, tenths(y));
  put(c, ") rotate(-90)\"");
  open_text(c, font);
  plb_buffer_escape(c->out, text);
  put(c, "</text>\n");
}
