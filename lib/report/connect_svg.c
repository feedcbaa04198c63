/* The card as a picture to print: a sketch of the circuit with the places of tip and clip, the lines, the cautions. */
#include "report/canvas.h"
#include "report/connect_card.h"

#include <stdlib.h>
#include <string.h>

enum { WIDTH = 820, LEFT = 36, LABEL = 120, TEXT = LEFT + LABEL, LEADING = 19, SKETCH = 170, MOST_LINES = 6 };

static const plb_font head = {.size = 22, .bold = true, .colour = PLB_INK, .anchor = PLB_START};
static const plb_font label = {.size = 14, .bold = true, .colour = PLB_INK, .anchor = PLB_START};
static const plb_font body = {.size = 14, .colour = PLB_INK, .anchor = PLB_START};
static const plb_font faint = {.size = 12, .colour = PLB_FAINT, .anchor = PLB_START};
static const plb_font boxed = {.size = 13, .colour = PLB_INK, .anchor = PLB_MIDDLE};
static const plb_font mark = {.size = 13, .bold = true, .colour = PLB_INK, .anchor = PLB_MIDDLE};
static const plb_paint box = {.fill = PLB_WHITE, .stroke = PLB_INK, .width = 1.5};
static const plb_paint wire = {.stroke = PLB_INK, .width = 1.5};
static const plb_paint tip = {.fill = PLB_BLUE, .stroke = PLB_BLUE, .width = 1};
static const plb_paint clip = {.fill = PLB_INK, .stroke = PLB_INK, .width = 1};
static const plb_paint lead = {.stroke = PLB_BLUE, .width = 1.5, .dash = "4 3"};
static const plb_paint ring = {.stroke = PLB_BLUE, .width = 3};
static const plb_paint rule = {.stroke = PLB_RULE, .width = 1};

static void draw_box(plb_canvas *c, double x, double y, const char *name) {
  plb_canvas_rect(c, x, y, 130, 64, &box);
  plb_canvas_text(c, x + 65, y + 37, &boxed, name);
}

/* What the sketch must show, in order of the channels: a clamp or pick-up goes round the wire, a tip on it. A picture of a tip where the card
 * forbids one would be followed. */
typedef struct hands {
  bool clamp, tip, pick_up, between; /* between: two points of one side */
  const char *word;                  /* for the tip */
} hands;

static bool says(const char *text, const char *word) { return text != NULL && strstr(text, word) != NULL; }

static hands hands_of(const plb_reference *r) {
  hands h = {.word = "tip"};
  size_t volts = 0;
  for (size_t i = 0; i < r->channels; i++) {
    const bool amperes = strcmp(r->channel[i].unit, "A") == 0;
    h.clamp = h.clamp || amperes;
    volts += !amperes;
  }
  h.pick_up = says(r->connection.probe, "pick-up");
  h.between = says(r->connection.test_point, "the consumer's"); /* a drop: from the consumer to the battery */
  h.tip = volts > 0 && !h.pick_up && !h.between;
  h.word = volts > 1 ? "a tip for each wire" : "tip";
  return h;
}

/* Where along the upper wire the tip (or the clamp) goes. */
static double place_x(const plb_reference *r) {
  const char *place = r->connection.place ? r->connection.place : "";
  if (strstr(place, "control"))
    return 360;
  if (strstr(place, "supply") || strstr(place, "ground"))
    return 395;
  return 560;
}

static void draw_tip(plb_canvas *c, double x, double upper, double lower, const char *word) {
  plb_canvas_triangle(c, x, upper - 2, 14, false, &tip);
  plb_canvas_text(c, x, upper - 24, &mark, word);
  plb_canvas_line(c, x + 40, upper - 14, x + 40, lower + 16, &lead);
  plb_canvas_rect(c, x + 32, lower + 16, 16, 10, &clip);
  plb_canvas_text(c, x + 40, lower + 44, &mark, "ground clip: see below");
}

static void draw_ring(plb_canvas *c, double x, double upper, const char *word) {
  plb_canvas_rect(c, x - 13, upper - 16, 26, 32, &ring);
  plb_canvas_text(c, x, upper - 24, &mark, word);
}

/* Both ends of one side of the wiring: what is lost in between. */
static void draw_between(plb_canvas *c, double wire_y) {
  plb_canvas_triangle(c, 236, wire_y - 2, 14, false, &tip);
  plb_canvas_triangle(c, 584, wire_y - 2, 14, false, &tip);
  plb_canvas_text(c, 410, wire_y - 24, &mark, "two points of one side: see below");
}

static void draw_sketch(plb_canvas *c, const plb_reference *r, double y) {
  const double x = place_x(r), upper = y + 40, lower = y + 92;
  plb_canvas_group(c, "Sketch of the circuit, not to scale");
  plb_canvas_line(c, 196, upper, 624, upper, &wire);
  plb_canvas_line(c, 196, lower, 624, lower, &wire);
  draw_box(c, 66, y + 34, "control or supply");
  draw_box(c, 624, y + 34, "component");
  if (!r->connection.connected)
    plb_canvas_rect(c, x - 60, upper - 12, 10, lower - upper + 24, &(plb_paint){.fill = PLB_WHITE, .stroke = PLB_INK, .width = 1, .dash = "3 2"});
  const hands h = hands_of(r);
  if (h.tip)
    draw_tip(c, x, upper, lower, h.word);
  if (h.clamp || h.pick_up)
    draw_ring(c, h.tip ? x - 110 : x, upper, h.pick_up ? "pick-up round the lead" : "clamp");
  if (h.between)
    draw_between(c, says(r->connection.place, "ground") ? lower : upper);
  plb_canvas_text(c, LEFT, y + SKETCH - 14, &faint,
                  r->connection.connected ? "Connector together. Sketch, not to scale." : "Connector open (dashed). Sketch, not to scale.");
  plb_canvas_group_end(c);
}

static double draw_line(plb_canvas *c, double y, const char *name, const char *text) {
  plb_canvas_text(c, LEFT, y, &label, name);
  const int lines = plb_canvas_paragraph(c, TEXT, y, WIDTH - TEXT - LEFT, LEADING, MOST_LINES, &body, text);
  return y + LEADING * (lines > 0 ? lines : 1) + 6;
}

static double height_of(const plb_card *card) {
  const plb_reference *r = card->asked->reference;
  double y = 96 + SKETCH;
  for (size_t i = 0; i < card->lines; i++)
    y += LEADING * plb_canvas_paragraph_lines(WIDTH - TEXT - LEFT, MOST_LINES, &body, card->line[i].text) + 6;
  for (size_t i = 0; i < r->connection.cautions; i++)
    y += LEADING * plb_canvas_paragraph_lines(WIDTH - LEFT - 60, MOST_LINES, &body, r->connection.caution[i]) + 6;
  if (card->permission != NULL)
    y += LEADING * plb_canvas_paragraph_lines(WIDTH - LEFT - 60, MOST_LINES, &body, card->permission) + 6;
  return y + 92;
}

static double draw_caution(plb_canvas *c, double y, const char *text) {
  plb_canvas_sign(c, PLB_SIGN_BAR, LEFT + 8, y - 5, 14, PLB_VERMILLION);
  return y + LEADING * plb_canvas_paragraph(c, LEFT + 24, y, WIDTH - LEFT - 60, LEADING, MOST_LINES, &body, text) + 6;
}

static void draw_card(plb_canvas *c, const plb_card *card) {
  const plb_reference *r = card->asked->reference;
  plb_canvas_text(c, LEFT, 42, &head, card->asked->type_title ? card->asked->type_title : r->type);
  plb_canvas_text(c, LEFT, 64, &faint, r->title ? r->title : r->name);
  draw_sketch(c, r, 76);
  double y = 96 + SKETCH;
  for (size_t i = 0; i < card->lines; i++)
    y = draw_line(c, y, card->line[i].label, card->line[i].text);
  plb_canvas_line(c, LEFT, y - 8, WIDTH - LEFT, y - 8, &rule);
  y += 14;
  plb_canvas_text(c, LEFT, y, &label, "Caution");
  y += LEADING + 4;
  for (size_t i = 0; i < r->connection.cautions; i++)
    y = draw_caution(c, y, r->connection.caution[i]);
  if (card->permission != NULL)
    y = draw_caution(c, y, card->permission);
  char from[PLB_TEXT_SIZE];
  plb_text_say(from, sizeof from, "%s, %s", r->name, plb_provenance_name(r->provenance));
  plb_canvas_text(c, LEFT, y + 12, &faint, from);
}

plb_status plb_report_connect_svg(char **out, const plb_connect *asked, plb_error *err) {
  *out = NULL;
  plb_card *card = plb_calloc(1, sizeof *card);
  plb_status status = card != NULL ? plb_card_gather(card, asked, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  plb_buffer buffer;
  plb_buffer_init(&buffer, 1 << 20);
  if (status == PLB_OK) {
    plb_canvas canvas;
    plb_canvas_open(&canvas, &buffer, WIDTH, height_of(card), asked->reference->name,
                    asked->type_title ? asked->type_title : asked->reference->type, "How to connect, and what to mind");
    draw_card(&canvas, card);
    plb_canvas_close(&canvas);
    if (buffer.status != PLB_OK)
      status = plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  free(card);
  if (status != PLB_OK) {
    plb_buffer_dispose(&buffer);
    return status;
  }
  *out = buffer.data;
  return PLB_OK;
}
