#include "report/report.h"
#include "report/table.h"

#include <math.h>
#include <string.h>

static void put_line(plb_page *page, const char *label, const char *text) {
  char lead[PLB_NAME_SIZE], clean[PLB_PATH_SIZE];
  plb_text_print(lead, sizeof lead, "%-14s", label);
  plb_say_clean(text, clean, sizeof clean);
  plb_page_wrap(page, 0, 15, PLB_TONE_STRONG, lead, clean);
}

static void put_headline(plb_page *page, const plb_reference *reference, const plb_learned *learned) {
  char text[PLB_PATH_SIZE], clean[PLB_PATH_SIZE], captures[PLB_SAY_SIZE], groups[PLB_TEXT_SIZE] = "groups not stated";
  plb_say_counted(learned->captures, "good capture", captures);
  if (learned->groups == 1)
    plb_text_copy(groups, sizeof groups, "one vehicle only");
  else if (learned->groups > 1)
    plb_text_print(groups, sizeof groups, "from %zu vehicles or sessions", learned->groups);
  plb_text_print(text, sizeof text, "Learned %s from %s (%s), %s.", reference->name, captures, groups,
                 plb_provenance_name(reference->provenance));
  plb_say_clean(text, clean, sizeof clean);
  plb_page_wrap(page, 0, 0, PLB_TONE_NONE, "", clean);
  const char *caveat = plb_say_not_measured(reference->provenance);
  if (caveat)
    plb_page_wrap(page, 0, 0, PLB_TONE_NONE, "", caveat);
}

static void put_channels(plb_page *page, const plb_reference *reference) {
  char text[PLB_PATH_SIZE] = "";
  size_t n = 0;
  for (size_t c = 0; c < reference->channels && n + PLB_TEXT_SIZE < sizeof text; c++)
    n += (size_t)plb_text_print(text + n, sizeof text - n, "%s%s (%s)", c > 0 ? ", " : "", reference->channel[c].role,
                                strcmp(reference->channel[c].unit, "1") == 0 ? "no unit" : reference->channel[c].unit);
  put_line(page, reference->channels == 1 ? "Channel" : "Channels", text);
  char cycle[PLB_TEXT_SIZE];
  plb_cycle_spec_format(&reference->choice.spec, cycle, sizeof cycle);
  put_line(page, "Cycle", cycle);
}

static void put_notes(plb_page *page, const plb_learned *learned) {
  if (learned->notes == 0)
    return;
  plb_page_heading(page, "What was chosen");
  for (size_t i = 0; i < learned->notes; i++) {
    char clean[PLB_TEXT_SIZE];
    plb_say_clean(learned->note[i], clean, sizeof clean);
    plb_page_wrap(page, 2, 4, PLB_TONE_NONE, "-", clean);
  }
}

static void put_scores(plb_page *page, const plb_reference *reference, const plb_learned *learned) {
  plb_table table = {.columns = 4,
                     .title = {"", "good capture", "group", "score"},
                     .right = {true, false, false, true},
                     .tone_column = -1};
  for (size_t i = 0; i < learned->captures && learned->held_out; i++) {
    char text[PLB_SAY_SIZE];
    plb_row *row = plb_table_row(&table, PLB_TONE_NONE);
    plb_say_count(i + 1, text);
    plb_table_put(row, 0, text);
    plb_table_put(row, 1, i < reference->exemplars ? reference->exemplar[i].name : "");
    plb_table_put(row, 2, i < reference->exemplars ? reference->exemplar[i].group : "");
    plb_say_number(learned->held_out[i], 3, text);
    plb_table_put(row, 3, text);
  }
  plb_page_heading(page, "Each against a known-good learned without it");
  plb_page_table(page, &table);
  plb_table_dispose(&table);
  plb_page_wrap(page, 2, 2, PLB_TONE_NONE, "", "1 is as far as the more unusual good captures");
}

static void put_certainty(plb_page *page, const plb_learned *learned) {
  char limit[PLB_SAY_SIZE], guard[PLB_SAY_SIZE], promise[PLB_SAY_SIZE], upper[PLB_SAY_SIZE], text[PLB_PATH_SIZE];
  plb_say_number(learned->limit, 3, limit);
  plb_say_number(learned->guard, 3, guard);
  plb_text_print(text, sizeof text, "%s; a capture departs above this and the guard of %s", limit, guard);
  put_line(page, "Limit", text);
  plb_say_one_in(learned->promise, promise);
  plb_say_share(learned->promise_upper90, upper);
  plb_text_print(text, sizeof text, "about %s healthy captures like these may still be called not normal%s%s%s",
                 promise, isfinite(learned->promise_upper90) ? "; with bad luck in the choice of captures up to " : "",
                 isfinite(learned->promise_upper90) ? upper : "",
                 learned->groups == 1 ? "; other vehicles may differ more" : "");
  if (isfinite(learned->promise) && learned->promise > 0)
    put_line(page, "Promise", text);
  if (learned->odd[0]) {
    char ratio[PLB_SAY_SIZE];
    plb_say_number(learned->odd_ratio, 2, ratio);
    plb_text_print(
        text, sizeof text,
        "%s is unlike the others (%s times their typical score) and sets the limit: look at it, leave it out if it "
        "is not good, or bring more like it",
        learned->odd, ratio);
    put_line(page, "Odd one", text);
  }
}

plb_status plb_report_learned_text(char **out, const plb_reference *reference, const plb_learned *learned,
                                   plb_error *err) {
  plb_page page;
  plb_page_init(&page, PLB_TEXT_PLAIN, 0);
  put_headline(&page, reference, learned);
  put_channels(&page, reference);
  put_notes(&page, learned);
  put_scores(&page, reference, learned);
  plb_page_gap(&page);
  put_certainty(&page, learned);
  return plb_report_take(&page.out, out, err);
}
