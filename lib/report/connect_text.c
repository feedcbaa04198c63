/* The card as text. */
#include "report/connect_card.h"
#include "report/page.h"
#include "report/say.h"

#include <stdlib.h>
#include <string.h>

enum { HANG = 14 };

static void put_line(plb_page *page, const char *label, plb_tone tone, const char *text) {
  char lead[HANG];
  plb_text_print(lead, sizeof lead, "%-*.*s", HANG - 1, HANG - 1, label);
  plb_page_wrap(page, 0, HANG, tone, lead, text);
}

static void put_checks(plb_page *page, const plb_card *c) {
  plb_page_heading(page, "This capture against the card");
  for (size_t i = 0; i < c->checks; i++) {
    const plb_card_check *k = &c->check[i];
    char text[2 * PLB_TEXT_SIZE];
    plb_text_say(text, sizeof text, "%s%s%s%s", k->fits ? "" : "CHANGE: ", k->channel, k->channel[0] ? ": " : "", k->text);
    put_line(page, k->what, k->fits ? PLB_TONE_GOOD : PLB_TONE_BAD, text);
  }
}

static const char *origin(const plb_reference *r) {
  return r->provenance == PLB_MODELLED   ? "modelled; replace it by good captures of your own with \"plumb learn --like\""
         : r->provenance == PLB_STANDARD ? "limits set by a standard"
                                         : "measured";
}

static void put_head(plb_page *page, const plb_card *c) {
  const plb_reference *r = c->asked->reference;
  char text[2 * PLB_TEXT_SIZE];
  if (c->asked->capture != NULL && c->wrong > 0)
    plb_text_say(text, sizeof text, "%zu thing%s to change before this capture is worth comparing", c->wrong, c->wrong == 1 ? "" : "s");
  else if (c->asked->capture != NULL)
    plb_text_say(text, sizeof text, "This capture was taken as the card asks");
  else
    plb_text_say(text, sizeof text, "How to connect: %s", c->asked->type_title ? c->asked->type_title : r->type);
  plb_page_line(page, PLB_TONE_STRONG, strlen(text), text);
  plb_page_gap(page);
  put_line(page, "For", PLB_TONE_STRONG, r->title ? r->title : r->name);
  if (r->system != NULL)
    put_line(page, "System", PLB_TONE_STRONG, r->system);
}

plb_status plb_report_connect_text(char **out, const plb_connect *asked, plb_text_style style, int width, plb_error *err) {
  *out = NULL;
  plb_card *c = plb_calloc(1, sizeof *c);
  plb_status status = c != NULL ? plb_card_gather(c, asked, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status != PLB_OK) {
    free(c);
    return status;
  }
  const plb_reference *r = asked->reference;
  plb_page page;
  plb_page_init(&page, style, width);
  put_head(&page, c);
  if (asked->capture != NULL)
    put_checks(&page, c);
  plb_page_heading(&page, "Connection");
  for (size_t i = 0; i < c->lines; i++)
    put_line(&page, c->line[i].label, PLB_TONE_STRONG, c->line[i].text);
  plb_page_heading(&page, "Caution");
  for (size_t i = 0; i < r->connection.cautions; i++)
    plb_page_wrap(&page, 0, 2, PLB_TONE_BAD, "!", r->connection.caution[i]);
  if (c->permission != NULL)
    plb_page_wrap(&page, 0, 2, PLB_TONE_BAD, "!", c->permission);
  plb_page_gap(&page);
  char from[2 * PLB_TEXT_SIZE];
  plb_text_say(from, sizeof from, "%s (%s)", r->name, origin(r));
  put_line(&page, "Card of", PLB_TONE_NONE, from);
  for (size_t i = 0; i < asked->others; i++)
    put_line(&page, i == 0 ? "Also" : "", PLB_TONE_NONE, asked->other[i]);
  free(c);
  if (page.out.status != PLB_OK) {
    plb_buffer_dispose(&page.out);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  *out = page.out.data;
  return PLB_OK;
}
