#ifndef PLB_REPORT_CONNECT_CARD_H
#define PLB_REPORT_CONNECT_CARD_H
/** @file  The card of one sensor type, and whether a capture was taken as it says: gathered once for text, JSON and picture. */
#include "core/core.h"
#include "reference/model.h"
#include <plumbline/report.h>

/** One line of the card: what it is about, and what to do. Texts are borrowed from the reference. */
typedef struct plb_card_line {
  const char *key, *label, *text;
} plb_card_line;

/** One thing that the card asks of a recording. */
typedef struct plb_card_check {
  char what[PLB_NAME_SIZE];    /**< "rate", "range", "coupling", "channels", "unit" */
  char channel[PLB_NAME_SIZE]; /**< role; empty: the whole recording */
  bool fits;
  char text[PLB_TEXT_SIZE];
} plb_card_check;

enum { PLB_CARD_LINES = 12, PLB_CARD_CHECKS = 64 };

typedef struct plb_card {
  const plb_connect *asked;
  plb_card_line line[PLB_CARD_LINES];
  size_t lines;
  const char *permission; /**< NULL: one of the cautions says so */
  char plugged[PLB_TEXT_SIZE], rate[PLB_TEXT_SIZE];
  plb_card_check check[PLB_CARD_CHECKS];
  size_t checks, wrong;
} plb_card;

PLB_CHECKED plb_status plb_card_gather(plb_card *out, const plb_connect *asked, plb_error *err);

/** What stands on every card that does not say it in its own words. */
extern const char plb_card_permission[];
#endif
