/* Comparisons without a known-good, for people. */
#include "report/report.h"
#include "report/table.h"

#include <math.h>
#include <string.h>

static const plb_tone tone_of_pair[] = {PLB_TONE_GOOD, PLB_TONE_BAD, PLB_TONE_OPEN};

static void put_clean(plb_page *page, int indent, int hang, plb_tone tone, const char *lead, const char *text) {
  char clean[PLB_PATH_SIZE];
  plb_say_clean(text, clean, sizeof clean);
  plb_page_wrap(page, indent, hang, tone, lead, clean);
}

/* The sentence; in plain text unbroken, so that a program finds it in one line. */
static void put_sentence(plb_page *page, plb_tone tone, const char *text) {
  char clean[PLB_PATH_SIZE];
  plb_say_clean(text, clean, sizeof clean);
  if (page->terminal)
    plb_page_wrap(page, 0, 0, tone, "", clean);
  else
    plb_page_line(page, tone, 0, clean);
}

static void put_reasons(plb_page *page, const plb_reason *reason, size_t count) {
  if (count == 0)
    return;
  plb_page_heading(page, "Mind");
  for (size_t i = 0; i < count; i++) {
    char text[PLB_PATH_SIZE];
    plb_text_print(text, sizeof text, "%s; %s", reason[i].text, reason[i].action);
    put_clean(page, 2, 4, PLB_TONE_NONE, "-", text);
  }
}

static void put_share(plb_row *row, size_t column, double from, double to) {
  char text[PLB_SAY_SIZE];
  plb_text_print(text, sizeof text, "%.0f-%.0f", 100.0 * from, 100.0 * to);
  plb_table_put(row, column, text);
}

/* The sections that stand out most; a whole table of quiet ones says nothing. */
static void put_bands(plb_page *page, const char *heading, const plb_peer_band *band, size_t count, double limit) {
  plb_table table = {.columns = 5,
                     .title = {"section", "% of cycle", "score", "deviation", "way"},
                     .right = {false, false, true, true, false},
                     .tone_column = -1};
  for (size_t i = 0; i < count; i++) {
    char text[PLB_SAY_SIZE];
    if (!(band[i].score > limit))
      continue;
    plb_row *row = plb_table_row(&table, PLB_TONE_NONE);
    plb_table_put(row, 0, band[i].name);
    put_share(row, 1, band[i].from, band[i].to);
    plb_say_number(band[i].score, 3, text);
    plb_table_put(row, 2, text);
    plb_say_signed(band[i].deviation, 3, text);
    plb_table_put(row, 3, text);
    plb_table_put(row, 4, band[i].direction);
  }
  if (table.rows > 0) {
    plb_page_heading(page, heading);
    plb_page_table(page, &table);
  }
  plb_table_dispose(&table);
}

static void put_members(plb_page *page, const plb_peers *peers) {
  plb_table table = {
      .columns = 4, .title = {"part", "score", "limit", ""}, .right = {false, true, true, false}, .tone_column = 3};
  for (size_t i = 0; i < peers->members; i++) {
    const plb_peer_member *m = &peers->member[i];
    char text[PLB_SAY_SIZE];
    plb_row *row = plb_table_row(&table, m->apart ? PLB_TONE_BAD : PLB_TONE_NONE);
    plb_table_put(row, 0, m->name);
    plb_say_number(m->score, 3, text);
    plb_table_put(row, 1, text);
    plb_say_number(m->limit, 3, text);
    plb_table_put(row, 2, text);
    plb_table_put(row, 3, (int)i == peers->odd ? "the odd one" : m->apart ? "apart" : "like the others");
  }
  plb_page_heading(page, "Each against the others");
  plb_page_table(page, &table);
  plb_table_dispose(&table);
}

plb_status plb_report_peers_text(char **out, const plb_peers *peers, plb_text_style style, int width, plb_error *err) {
  plb_page page;
  char text[PLB_TEXT_SIZE], one[PLB_SAY_SIZE];
  plb_page_init(&page, style, width);
  put_sentence(&page, peers->odd >= 0 ? PLB_TONE_BAD : PLB_TONE_GOOD, peers->sentence);
  put_members(&page, peers);
  if (peers->odd >= 0)
    put_bands(&page, "Where the odd one differs", peers->band, peers->bands, 2.0);
  put_reasons(&page, peers->reason, peers->reasons);
  plb_page_gap(&page);
  if (isfinite(peers->promise)) {
    plb_say_one_in(peers->promise, one);
    plb_text_print(text, sizeof text,
                   "Compared over %s. No known-good stands behind this: of sets of healthy parts up to %s may show an odd one.",
                   peers->cycle, one);
    plb_page_wrap(&page, 0, 0, PLB_TONE_NONE, "", text);
  }
  return plb_report_take(&page.out, out, err);
}

/* Those that differ; of the others only how many there are. */
static void put_readings(plb_page *page, const plb_pair *pair) {
  plb_table table = {.columns = 4,
                     .title = {"reading", "first", "second", "difference"},
                     .right = {false, true, true, true},
                     .tone_column = -1};
  for (size_t i = 0; i < pair->readings; i++) {
    const plb_pair_reading *r = &pair->reading[i];
    if (!r->apart)
      continue;
    const double largest = fmax(fabs(r->a), fabs(r->b));
    char text[PLB_SAY_SIZE], name[PLB_CELL_SIZE];
    plb_row *row = plb_table_row(&table, PLB_TONE_NONE);
    plb_text_print(name, sizeof name, strcmp(r->channel, "part") == 0 ? "%.0s%s" : "%s %s", r->channel, r->name);
    plb_table_put(row, 0, name);
    plb_say_beside(r->a, largest, r->unit, 4, text);
    plb_table_put(row, 1, text);
    plb_say_beside(r->b, largest, r->unit, 4, text);
    plb_table_put(row, 2, text);
    plb_say_signed_quantity(r->b - r->a, r->unit, 3, text);
    plb_table_put(row, 3, text);
  }
  char others[PLB_TEXT_SIZE];
  plb_text_print(others, sizeof others, "%zu of %zu readings differ by more than they vary by themselves", table.rows, pair->readings);
  plb_page_heading(page, "Readings");
  plb_page_wrap(page, 2, 2, PLB_TONE_NONE, "", others);
  if (table.rows > 0)
    plb_page_table(page, &table);
  plb_table_dispose(&table);
}

plb_status plb_report_pair_text(char **out, const plb_pair *pair, plb_text_style style, int width, plb_error *err) {
  plb_page page;
  char text[PLB_PATH_SIZE], number[3][PLB_SAY_SIZE];
  plb_page_init(&page, style, width);
  put_sentence(&page, tone_of_pair[pair->word], pair->sentence);
  plb_page_gap(&page);
  put_clean(&page, 0, 8, PLB_TONE_STRONG, "first  ", pair->a);
  put_clean(&page, 0, 8, PLB_TONE_STRONG, "second ", pair->b);
  if (isfinite(pair->alignment.gain)) {
    plb_say_number(pair->alignment.gain, 3, number[0]);
    plb_say_number(pair->alignment.correlation, 4, number[1]);
    plb_say_number(pair->alignment.scale, 4, number[2]);
    plb_text_print(text, sizeof text, "%s: %u and %u cycles; the second is %s times as large and %s times as long; correlation %s",
                   pair->cycle, pair->cycles_a, pair->cycles_b, number[0], number[2], number[1]);
    put_clean(&page, 0, 8, PLB_TONE_STRONG, "over   ", text);
  }
  put_bands(&page, "Where they differ", pair->band, pair->bands, 3.0);
  put_readings(&page, pair);
  put_reasons(&page, pair->reason, pair->reasons);
  return plb_report_take(&page.out, out, err);
}

plb_status plb_report_locate_text(char **out, const plb_locate *locate, plb_text_style style, int width, plb_error *err) {
  plb_page page;
  char number[PLB_SAY_SIZE];
  plb_page_init(&page, style, width);
  put_sentence(&page, locate->where == PLB_LOST_UNKNOWN ? PLB_TONE_OPEN : PLB_TONE_STRONG, locate->sentence);
  if (locate->evidence[0])
    put_clean(&page, 2, 2, PLB_TONE_NONE, "", locate->evidence);
  plb_page_heading(&page, "Check in this order");
  for (size_t i = 0; i < locate->checks; i++) {
    plb_text_print(number, sizeof number, "%zu.", i + 1);
    put_clean(&page, 2, 5, PLB_TONE_NONE, number, locate->check[i]);
  }
  if (locate->next_point[0]) {
    plb_page_heading(&page, "The next point that would decide");
    put_clean(&page, 2, 2, PLB_TONE_NONE, "", locate->next_point);
  }
  put_reasons(&page, locate->reason, locate->reasons);
  plb_page_gap(&page);
  plb_page_wrap(&page, 0, 0, PLB_TONE_NONE, "",
                "An order of checks, not a diagnosis. Back-probe rather than pierce; keep hands and leads clear of turning and hot parts; the "
                "vehicle maker's instructions come first.");
  return plb_report_take(&page.out, out, err);
}
