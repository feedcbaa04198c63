#ifndef PLB_REPORT_PANEL_H
#define PLB_REPORT_PANEL_H
/** @file  One plot of a verdict's picture: a channel over its good range along the cycle, or along a part of it. */
#include "report/axis.h"
#include "report/report.h"

enum { PLB_PANEL_STRIP = 34, PLB_PANEL_HEAD = 24, PLB_PANEL_FOOT = 40, PLB_MARKS_MOST = 9 };

typedef struct plb_panel {
  const plb_verdict *verdict;
  const plb_drawing *drawing;
  plb_dial dial;
  double from, to;               /**< the part of the cycle that is shown, 0..1 */
  double left, top, width, plot; /**< of the plot's area [px]; `plot` is its height, `top` that of heading and strip */
  bool closer;                   /**< a part, enlarged */
  bool has_closer; /**< a closer look at the same channel follows: the single worst cycle is drawn there */
} plb_panel;

/** Height of a panel with everything around its plot [px]. */
double plb_panel_height(const plb_panel *panel);
PLB_CHECKED plb_status plb_panel_draw(plb_canvas *c, const plb_panel *panel, plb_error *err);
/** The part of the cycle around what matters most: the first finding, else the worst section. False when a closer look shows no more. */
bool plb_panel_closer_part(const plb_verdict *verdict, const plb_drawing *drawing, double *from_out, double *to_out);

/** How each kind of curve is painted, the same in plot and legend. */
extern const plb_paint plb_paint_range, plb_paint_centre, plb_paint_spread, plb_paint_median, plb_paint_worst;
plb_sign plb_panel_sign(plb_word word);
const char *plb_panel_colour(plb_word word);

#endif
