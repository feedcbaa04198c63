#include "report/panel.h"
#include "report/spectrum.h"

#include <math.h>
#include <string.h>

enum {
  WIDTH = 900,
  LEFT = 72,
  RIGHT = 24,
  PLOT = 250,
  PLOT_CLOSER = 220,
  LISTED = 5,
  PANELS_MOST = 32,
  FOOTER_LINES = 4
};
static const double list_leading = 15;

/* Everything whose size must be known before the first line is drawn. */
typedef struct picture {
  const plb_verdict *verdict;
  plb_panel panel[PANELS_MOST];
  size_t panels;
  char sentence[PLB_TEXT_SIZE], list[LISTED][3 * PLB_TEXT_SIZE], bullet[LISTED][PLB_UNIT_SIZE],
      footer[FOOTER_LINES][PLB_PATH_SIZE], under[PLB_PATH_SIZE];
  size_t listed;
  size_t word; /* bytes of the result's word at the start of the sentence */
} picture;

static const plb_font word_font = {20, true, PLB_INK, PLB_START}, sentence_font = {14, false, PLB_INK, PLB_START},
                      under_font = {11.5, false, PLB_FAINT, PLB_START}, list_font = {12, false, PLB_INK, PLB_START},
                      footer_font = {10.5, false, PLB_FAINT, PLB_START};

static double text_width(void) { return WIDTH - 2 * RIGHT; }

static void add_panel(picture *pic, const plb_drawing *drawing, double from, double to, bool closer) {
  if (pic->panels == PANELS_MOST || drawing->columns == 0)
    return;
  pic->panel[pic->panels++] = (plb_panel){.verdict = pic->verdict,
                                          .drawing = drawing,
                                          .dial = plb_say_dial(pic->verdict),
                                          .from = from,
                                          .to = to,
                                          .left = LEFT,
                                          .width = WIDTH - LEFT - RIGHT,
                                          .plot = closer ? PLOT_CLOSER : PLOT,
                                          .closer = closer};
}

static void choose_panels(picture *pic) {
  for (size_t i = 0; i < pic->verdict->drawings; i++) {
    const plb_drawing *drawing = &pic->verdict->drawing[i];
    double from = 0, to = 1;
    const bool closer = plb_panel_closer_part(pic->verdict, drawing, &from, &to);
    add_panel(pic, drawing, 0, 1, false);
    if (pic->panels > 0)
      pic->panel[pic->panels - 1].has_closer = closer;
    if (closer)
      add_panel(pic, drawing, from, to, true);
  }
}

/* The numbered findings; before them, where there is no verdict, the reasons. */
static void make_list(picture *pic) {
  const plb_verdict *v = pic->verdict;
  for (size_t i = 0; i < v->reasons && pic->listed < LISTED; i++) {
    if (!v->reason[i].blocks)
      continue;
    plb_text_copy(pic->bullet[pic->listed], sizeof pic->bullet[0], "!");
    plb_text_print(pic->list[pic->listed++], sizeof pic->list[0], "%s; %s", v->reason[i].text, v->reason[i].action);
  }
  for (size_t i = 0; i < v->findings && pic->listed < LISTED; i++) {
    char text[PLB_TEXT_SIZE];
    const plb_finding *finding = &v->finding[i];
    plb_say_finding(finding, text);
    const size_t n = strlen(text);
    const char *check = finding->check_first[0];
    plb_text_print(pic->bullet[pic->listed], sizeof pic->bullet[0], "%zu", i + 1);
    plb_text_print(pic->list[pic->listed++], sizeof pic->list[0], "%s%s%s%s", text,
                   n > 0 && text[n - 1] == '.' ? "" : ".", *check ? " Check first: " : "", check);
  }
}

static void make_texts(picture *pic) {
  const plb_verdict *v = pic->verdict;
  char provenance[PLB_TEXT_SIZE], version[PLB_TEXT_SIZE], count[PLB_SAY_SIZE], rate[PLB_SAY_SIZE];
  plb_say_headline(v, pic->sentence, &pic->word);
  plb_say_provenance(v, provenance);
  plb_say_version(v, version);
  plb_say_cycles(v, v->cycles.judged, count);
  plb_say_rate(v, rate);
  plb_text_print(pic->under, sizeof pic->under, "%.200s over the good range of %.200s; %s judged%s%s",
                 plb_say_file_name(v->capture.path), v->reference.selector, count, rate[0] ? ", " : "", rate);
  plb_text_print(pic->footer[0], sizeof pic->footer[0], "Known-good: %.200s, %s; %s.", v->reference.selector,
                 provenance, version);
  plb_say_count(v->capture.samples, count);
  plb_say_quantity(v->capture.rate_hz, "Hz", 4, rate);
  plb_text_print(pic->footer[1], sizeof pic->footer[1], "Capture: %.200s, %s samples at %s, sha256 %.12s.",
                 plb_say_file_name(v->capture.path), count, rate, v->capture.sha256);
  if (v->promise_text[0])
    plb_text_print(pic->footer[2], sizeof pic->footer[2], "Promise: %s.", v->promise_text);
  plb_text_copy(
      pic->footer[3], sizeof pic->footer[3],
      "Evidence, not a diagnosis and not permission to work: the vehicle maker's instructions and the law come first.");
}

static double paragraph_height(double width, int lines, double leading, const plb_font *font, const char *text) {
  return plb_canvas_paragraph_lines(width, lines, font, text) * leading;
}

/* @param c  NULL: only how far down it goes */
static double draw_header(plb_canvas *c, const picture *pic) {
  double y = 40;
  char word[PLB_NAME_SIZE];
  plb_text_print(word, sizeof word, "%.*s", (int)pic->word, pic->sentence);
  const char *rest = pic->sentence + pic->word;
  rest += strspn(rest, ": ");
  if (c) {
    const char *colour = plb_panel_colour(pic->verdict->word);
    plb_canvas_rect(c, RIGHT, 18, 30, 30, &(plb_paint){.fill = PLB_WHITE, .stroke = colour, .width = 2.5});
    plb_canvas_sign(c, plb_panel_sign(pic->verdict->word), RIGHT + 15, 33, 16, colour);
    plb_canvas_text(c, RIGHT + 42, y, &word_font, word);
    plb_canvas_paragraph(c, RIGHT, y + 32, text_width(), 19, 3, &sentence_font, rest);
  }
  y += 13 + paragraph_height(text_width(), 3, 19, &sentence_font, rest);
  if (c)
    plb_canvas_paragraph(c, RIGHT, y + 19, text_width(), 15, 2, &under_font, pic->under);
  y += 6 + paragraph_height(text_width(), 2, 15, &under_font, pic->under);
  const char *caveat = plb_say_not_measured(pic->verdict->reference.provenance);
  if (caveat) {
    const plb_font strong = {12, true, PLB_INK, PLB_START};
    if (c)
      plb_canvas_paragraph(c, RIGHT, y + 20, text_width(), 16, 2, &strong, caveat);
    y += 4 + paragraph_height(text_width(), 2, 16, &strong, caveat);
  }
  return y + 14;
}

typedef struct entry {
  const char *text;
  const plb_paint *area, *line;
  bool mark, shown;
} entry;

static double draw_entry(plb_canvas *c, double x, double y, const entry *e) {
  const double wide = 26;
  const plb_font font = {11.5, false, PLB_INK, PLB_START};
  if (e->area)
    plb_canvas_rect(c, x, y - 10, wide, 12, e->area);
  if (e->line)
    plb_canvas_line(c, x, y - 4, x + wide, y - 4, e->line);
  if (e->mark)
    plb_canvas_triangle(c, x + wide / 2, y + 1, 10, false,
                        &(plb_paint){.fill = PLB_VERMILLION, .stroke = PLB_BLACK, .width = 0.8});
  plb_canvas_text(c, x + wide + 6, y, &font, e->text);
  return x + wide + 6 + plb_canvas_text_width(e->text, &font) + 16;
}

/* @param c  NULL: only how far down it goes */
static double draw_legend(plb_canvas *c, const picture *pic, double y) {
  bool worst = false, range = false, own = false;
  for (size_t i = 0; i < pic->verdict->drawings; i++) {
    worst = worst || pic->verdict->drawing[i].worst;
    range = range || pic->verdict->drawing[i].lower;
    own = own || pic->verdict->drawing[i].lowest;
  }
  const bool modelled = pic->verdict->reference.provenance == PLB_MODELLED;
  const bool departs = pic->verdict->word == PLB_DEPARTS || pic->verdict->word == PLB_BORDERLINE;
  const entry entries[] = {
      {modelled ? "good range (modelled) and middle" : "good range and middle", &plb_paint_range, &plb_paint_centre,
       false, range},
      {"this capture (median)", NULL, &plb_paint_median, false, own},
      {"lowest to highest", &plb_paint_spread, NULL, false, own},
      {"cycle that departs most", NULL, &plb_paint_worst, false, worst},
      {"worst place", NULL, NULL, true, departs},
  };
  double x = RIGHT;
  for (size_t i = 0; i < sizeof entries / sizeof entries[0] && pic->panels > 0; i++) {
    if (!entries[i].shown)
      continue;
    const double wide = plb_canvas_text_width(entries[i].text, &(plb_font){11.5, false, NULL, PLB_START}) + 44;
    if (x + wide > WIDTH - RIGHT + 24) {
      x = RIGHT;
      y += 18;
    }
    if (c)
      draw_entry(c, x, y + 12, &entries[i]);
    x += wide;
  }
  return y + 30;
}

/* @param c  NULL: only how far down it goes */
static double draw_list(plb_canvas *c, const picture *pic, double y) {
  const double indent = 18, width = text_width() - indent;
  for (size_t i = 0; i < pic->listed; i++) {
    if (c) {
      plb_canvas_text(c, RIGHT, y + 12, &(plb_font){12, true, PLB_INK, PLB_START}, pic->bullet[i]);
      plb_canvas_paragraph(c, RIGHT + indent, y + 12, width, list_leading, 3, &list_font, pic->list[i]);
    }
    y += 4 + paragraph_height(width, 3, list_leading, &list_font, pic->list[i]);
  }
  return y + (pic->listed > 0 ? 10 : 0);
}

/* @param c  NULL: only how far down it goes */
static double draw_footer(plb_canvas *c, const picture *pic, double y) {
  if (c)
    plb_canvas_line(c, RIGHT, y, WIDTH - RIGHT, y, &(plb_paint){.stroke = PLB_RULE, .width = 0.8});
  for (size_t i = 0; i < FOOTER_LINES; i++) {
    if (pic->footer[i][0] == '\0')
      continue;
    if (c)
      plb_canvas_paragraph(c, RIGHT, y + 15, text_width(), 13.5, 3, &footer_font, pic->footer[i]);
    y += 1 + paragraph_height(text_width(), 3, 13.5, &footer_font, pic->footer[i]);
  }
  return y + 18;
}

static double place_panels(picture *pic, double y) {
  for (size_t i = 0; i < pic->panels; i++) {
    pic->panel[i].top = y;
    y += plb_panel_height(&pic->panel[i]);
  }
  return y;
}

static void describe(const picture *pic, char out[2 * PLB_PATH_SIZE]) {
  size_t n = (size_t)plb_text_print(out, 2 * PLB_PATH_SIZE, "%.600s. %.600s", pic->under, pic->footer[0]);
  for (size_t i = 0; i < pic->listed && n + 300 < 2 * PLB_PATH_SIZE; i++)
    n += (size_t)plb_text_print(out + n, 2 * PLB_PATH_SIZE - n, " %.250s", pic->list[i]);
}

plb_status plb_report_svg(char **out, const plb_verdict *verdict, plb_error *err) {
  plb_status status = PLB_OK;
  plb_buffer b;
  plb_canvas c;
  char description[2 * PLB_PATH_SIZE];
  plb_buffer_init(&b, (size_t)64 << 20);
  picture *pic = plb_calloc(1, sizeof *pic);
  if (!pic)
    return plb_fail(err, PLB_ENOMEM, "no memory for the picture; close other programs and try again");
  pic->verdict = verdict;
  choose_panels(pic);
  make_texts(pic);
  make_list(pic);
  describe(pic, description);
  const double below_header = draw_header(NULL, pic), below_panels = place_panels(pic, below_header);
  const double below_legend = draw_legend(NULL, pic, below_panels), below_bars = below_legend + plb_spectrum_height(verdict);
  const double below_list = draw_list(NULL, pic, below_bars);
  plb_canvas_open(&c, &b, WIDTH, draw_footer(NULL, pic, below_list), description, pic->sentence, description);
  draw_header(&c, pic);
  for (size_t i = 0; i < pic->panels && status == PLB_OK; i++)
    status = plb_panel_draw(&c, &pic->panel[i], err);
  draw_legend(&c, pic, below_panels);
  plb_spectrum_draw(&c, verdict, RIGHT, below_legend, text_width());
  draw_list(&c, pic, below_bars);
  draw_footer(&c, pic, below_list);
  plb_canvas_close(&c);
  free(pic);
  if (status != PLB_OK) {
    plb_buffer_dispose(&b);
    return status;
  }
  return plb_report_take(&b, out, err);
}
