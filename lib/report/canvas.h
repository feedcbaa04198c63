#ifndef PLB_REPORT_CANVAS_H
#define PLB_REPORT_CANVAS_H
/**
 * @file  The drawing layer: shapes, text and marks as SVG 1.1. Everything that is drawn goes through here, so that one renderer serves
 * pages, PNG and PDF. Coordinates are pixels from the top left corner; NaN breaks a curve.
 */
#include "core/core.h"

/* Okabe and Ito, "Color Universal Design" (2008): eight colours that people with colour-blindness tell apart. */
#define PLB_BLACK "#000000"
#define PLB_ORANGE "#E69F00"
#define PLB_SKY "#56B4E9"
#define PLB_GREEN "#009E73"
#define PLB_YELLOW "#F0E442"
#define PLB_BLUE "#0072B2"
#define PLB_VERMILLION "#D55E00"
#define PLB_PURPLE "#CC79A7"
#define PLB_WHITE "#FFFFFF"
#define PLB_INK "#222222"   /**< text */
#define PLB_FAINT "#595959" /**< text that may stand back; 7:1 on white */
#define PLB_RULE "#C9C9C9"  /**< borders and help lines */

typedef struct plb_canvas {
  plb_buffer *out;
  double width, height; /**< [px] */
  char key[17];         /**< makes ids unique when several pictures share a page */
  unsigned clips;
} plb_canvas;

/** How a shape is painted. NULL colours: none. */
typedef struct plb_paint {
  const char *fill, *stroke;
  double fill_opacity; /**< 0: opaque */
  double width;        /**< of the stroke [px] */
  const char *dash;    /**< "4 3"; NULL: solid */
  bool hatched;        /**< filled with slanting lines of the stroke's colour instead of an area */
} plb_paint;

typedef enum plb_anchor { PLB_START, PLB_MIDDLE, PLB_END } plb_anchor;
typedef struct plb_font {
  double size; /**< [px] */
  bool bold;
  const char *colour;
  plb_anchor anchor;
} plb_font;

/** Begin a picture with its own white ground. `seed` is any text that tells this picture from others. */
void plb_canvas_open(plb_canvas *c, plb_buffer *out, double width, double height, const char *seed, const char *title,
                     const char *description);
void plb_canvas_close(plb_canvas *c);
/** Group what follows under a name that screen readers and editors show. */
void plb_canvas_group(plb_canvas *c, const char *label);
void plb_canvas_group_end(plb_canvas *c);
/** Draw only inside a rectangle until plb_canvas_group_end(). */
void plb_canvas_clip(plb_canvas *c, double x, double y, double width, double height);

void plb_canvas_rect(plb_canvas *c, double x, double y, double width, double height, const plb_paint *paint);
void plb_canvas_line(plb_canvas *c, double x1, double y1, double x2, double y2, const plb_paint *paint);
/** A curve through n points. */
void plb_canvas_curve(plb_canvas *c, const double *x, const double *y, size_t n, const plb_paint *paint);
/** The area between two curves. */
void plb_canvas_area(plb_canvas *c, const double *x, const double *low, const double *high, size_t n,
                     const plb_paint *paint);
/** A triangle whose tip is at (x, y); `up`: the tip points up. */
void plb_canvas_triangle(plb_canvas *c, double x, double y, double size, bool up, const plb_paint *paint);

typedef enum plb_sign { PLB_SIGN_CHECK, PLB_SIGN_CROSS, PLB_SIGN_QUERY, PLB_SIGN_BAR } plb_sign;
/** A small drawn sign (so that no font must have it) centred on (x, y). */
void plb_canvas_sign(plb_canvas *c, plb_sign sign, double x, double y, double size, const char *colour);
/** One line of text, its baseline at y; everything is escaped. */
void plb_canvas_text(plb_canvas *c, double x, double y, const plb_font *font, const char *text);
void plb_canvas_text_turned(plb_canvas *c, double x, double y, const plb_font *font, const char *text);
/** Text wrapped at blanks within `width`; the last of at most `lines` lines is cut with an ellipsis. @return the lines drawn */
int plb_canvas_paragraph(plb_canvas *c, double x, double y, double width, double leading, int lines,
                         const plb_font *font, const char *text);
/** The lines that plb_canvas_paragraph() would draw. */
int plb_canvas_paragraph_lines(double width, int lines, const plb_font *font, const char *text);
/** About how wide text is, rather too wide than too narrow [px]. */
double plb_canvas_text_width(const char *text, const plb_font *font);

#endif
