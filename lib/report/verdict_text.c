#include "report/report.h"
#include "report/table.h"

#include <math.h>
#include <string.h>

enum {
  FINDINGS_SHOWN = 6,  /* the weaker ones are counted; all of them are in the JSON */
  SECTIONS_SHOWN = 16, /* up to here every section has its row, beyond only those that need a look */
  HANG = 15            /* where text behind a label begins */
};

/* "Label          text", wrapped. */
static void field(plb_page *page, const char *label, const char *text) {
  char lead[PLB_NAME_SIZE], clean[PLB_PATH_SIZE];
  plb_text_print(lead, sizeof lead, "%-*s", HANG - 1, label);
  plb_say_clean(text, clean, sizeof clean);
  plb_page_wrap(page, 0, HANG, PLB_TONE_STRONG, lead, clean);
}

static void put_headline(plb_page *page, const plb_verdict *verdict) {
  char line[PLB_TEXT_SIZE];
  size_t word = 0;
  plb_say_headline(verdict, line, &word);
  const plb_tone tone = plb_tone_of(verdict->word);
  if (page->terminal) { /* people read it here: break between words. In a pipe the first line is the whole sentence. */
    char lead[PLB_TEXT_SIZE];
    plb_text_print(lead, sizeof lead, "%.*s", (int)(word + (line[word] == ':')), line);
    plb_page_wrap(page, 0, 0, tone, lead, line + strlen(lead));
  } else {
    plb_page_line(page, tone, word, line);
  }
  const char *caveat = plb_say_not_measured(verdict->reference.provenance);
  if (caveat)
    plb_page_wrap(page, 0, 0, PLB_TONE_NONE, "", caveat);
}

/* Reasons and recording check: "- what was seen. What to do." */
/* Many reasons begin with their channel, because the sentence is made of them alone. */
static bool names_channel(const plb_reason *reason) {
  const size_t length = strlen(reason->channel);
  return length == 0 || (strncmp(reason->text, reason->channel, length) == 0 && (reason->text[length] == ':' || reason->text[length] == ' '));
}

static void put_reason(plb_page *page, const plb_reason *reason) {
  char text[3 * PLB_TEXT_SIZE], clean[3 * PLB_TEXT_SIZE];
  const size_t end = strlen(reason->text);
  const bool stop = end > 0 && reason->text[end - 1] != '.' && reason->action[0];
  plb_text_print(text, sizeof text, "%s%s%s%s%s%s", names_channel(reason) ? "" : reason->channel, names_channel(reason) ? "" : ": ", reason->text,
                 stop ? ";" : "", reason->action[0] ? " " : "", reason->action);
  plb_say_clean(text, clean, sizeof clean);
  plb_page_wrap(page, 2, 4, reason->blocks ? PLB_TONE_BAD : PLB_TONE_DOUBT, reason->blocks ? "!" : "-", clean);
}

static void put_reasons(plb_page *page, const plb_verdict *verdict) {
  bool headed = false;
  for (size_t i = 0; i < verdict->reasons; i++) {
    if (!verdict->reason[i].blocks)
      continue;
    if (!headed)
      plb_page_heading(page, "Why there is no verdict");
    headed = true;
    put_reason(page, &verdict->reason[i]);
  }
  headed = false;
  for (size_t i = 0; i < verdict->reasons; i++) {
    if (verdict->reason[i].blocks)
      continue;
    if (!headed)
      plb_page_heading(page, "To keep in mind");
    headed = true;
    put_reason(page, &verdict->reason[i]);
  }
}

static void put_finding(plb_page *page, const plb_finding *finding, size_t number) {
  char text[PLB_TEXT_SIZE], lead[PLB_NAME_SIZE];
  plb_say_finding(finding, text);
  plb_text_print(lead, sizeof lead, "%zu.", number);
  plb_page_wrap(page, 2, 5, PLB_TONE_STRONG, lead, text);
  for (size_t i = 0; i < PLB_CHECK_MOST && finding->check_first[i][0]; i++) {
    char check[PLB_TEXT_SIZE];
    plb_say_clean(finding->check_first[i], check, sizeof check);
    plb_page_wrap(page, 5, 18, PLB_TONE_NONE, i == 0 ? "check first:" : "      then:", check);
  }
}

static void put_findings(plb_page *page, const plb_verdict *verdict) {
  if (verdict->findings == 0)
    return;
  plb_page_heading(page, "What was found");
  const size_t shown = verdict->findings < FINDINGS_SHOWN + 2 ? verdict->findings : FINDINGS_SHOWN;
  for (size_t i = 0; i < shown; i++)
    put_finding(page, &verdict->finding[i], i + 1);
  if (shown < verdict->findings) {
    char text[PLB_TEXT_SIZE];
    plb_text_print(text, sizeof text, "and %zu more that are weaker; all of them are in the JSON",
                   verdict->findings - shown);
    plb_page_wrap(page, 2, 5, PLB_TONE_NONE, "", text);
  }
}

/* One unit for all sizes of a channel: the one that suits its largest. */
typedef struct sizes {
  double factor;
  const char *unit;
} sizes;

static sizes sizes_of(const plb_verdict *verdict, const char *channel) {
  double largest = 0;
  const char *code = "";
  for (size_t i = 0; i < verdict->drawings; i++)
    if (strcmp(verdict->drawing[i].channel, channel) == 0)
      code = verdict->drawing[i].unit;
  for (size_t i = 0; i < verdict->bands; i++)
    if (strcmp(verdict->band[i].channel, channel) == 0 && verdict->band[i].status != PLB_AGREES)
      largest = fmax(largest, fabs(verdict->band[i].deviation));
  sizes s = {1, code};
  s.factor = plb_unit_scale_for_people(largest, code, &s.unit);
  s.unit = plb_say_unit(s.unit);
  return s;
}

static bool is_frequency(const plb_band_result *band) { return strcmp(band->unit, "cycle") != 0; }

/* "low 3.9 V", "late", "shape": the way of a section that needs a look, and how far where that is a height. */
static void say_way(const plb_band_result *band, sizes s, char out[PLB_SAY_SIZE]) {
  char size[PLB_SAY_SIZE];
  const bool height = strcmp(band->direction, "low") == 0 || strcmp(band->direction, "high") == 0 || is_frequency(band);
  plb_say_number(fabs(band->deviation) * (is_frequency(band) ? 1 : s.factor), 3, size);
  const bool sized = height && isfinite(band->deviation);
  plb_text_print(out, PLB_SAY_SIZE, "%.24s%s%s%s%.10s", band->direction, sized ? " " : "", sized ? size : "",
                 sized ? " " : "",
                 !sized               ? ""
                 : is_frequency(band) ? "dB"
                                      : s.unit);
}

static void section_row(plb_table *table, const plb_dial *dial, const plb_band_result *band, sizes s) {
  char text[PLB_SAY_SIZE];
  plb_row *row = plb_table_row(table, plb_tone_of(band->status));
  plb_table_put(row, 0, band->name);
  plb_say_stretch(dial, band, text);
  plb_table_put(row, 1, text);
  plb_table_put(row, 2, plb_say_word_short(band->status));
  plb_say_worst(dial, band, text);
  plb_table_put(row, 3, text);
  plb_say_count((uint64_t)band->worst_tooth, text);
  plb_table_put(row, 4, band->worst_tooth > 0 ? text : "");
  say_way(band, s, text);
  plb_table_put(row, 5, band->status == PLB_DEPARTS || band->status == PLB_BORDERLINE ? text : "");
  plb_say_signed_quantity(band->lag_s, "s", 2, text);
  plb_table_put(row, 6, text);
  plb_say_share(band->inside_share, text);
  plb_table_put(row, 7, text);
}

/* The sections of one channel. @return how many have no row because they match */
static size_t put_channel_sections(plb_page *page, const plb_verdict *verdict, const char *channel, bool all) {
  plb_table table = {.columns = 8,
                     .title = {"section", "from-to", "result", "worst at", "tooth", "way", "lag", "inside"},
                     .right = {false, false, false, true, true, false, true, true},
                     .tone_column = 2};
  const plb_dial dial = plb_say_dial(verdict);
  const sizes s = sizes_of(verdict, channel);
  size_t hidden = 0;
  for (size_t i = 0; i < verdict->bands; i++) {
    if (strcmp(verdict->band[i].channel, channel) != 0)
      continue;
    if (all || verdict->band[i].status != PLB_AGREES)
      section_row(&table, &dial, &verdict->band[i], s);
    else
      hidden++;
  }
  char heading[PLB_TEXT_SIZE], clean[PLB_NAME_SIZE];
  plb_say_clean(channel, clean, sizeof clean);
  plb_text_print(heading, sizeof heading, "Sections%s%s, in %s", *clean ? " of " : "", clean, dial.label);
  plb_page_heading(page, heading);
  if (table.rows > 0)
    plb_page_table(page, &table);
  plb_table_dispose(&table);
  return hidden;
}

static void put_hidden(plb_page *page, size_t hidden, bool others) {
  char count[PLB_SAY_SIZE], text[PLB_TEXT_SIZE];
  plb_say_counted(hidden, others ? "other section" : "section", count);
  plb_text_print(text, sizeof text, "the %s%s", count, hidden == 1 ? " matches known-good" : " match known-good");
  plb_page_wrap(page, 2, 2, PLB_TONE_NONE, "", text);
}

static bool is_first_of_channel(const plb_verdict *verdict, size_t index) {
  for (size_t i = 0; i < index; i++)
    if (strcmp(verdict->band[i].channel, verdict->band[index].channel) == 0)
      return false;
  return true;
}

static size_t count_sections(const plb_verdict *verdict, const char *channel) {
  size_t count = 0;
  for (size_t i = 0; i < verdict->bands; i++)
    count += strcmp(verdict->band[i].channel, channel) == 0;
  return count;
}

/* @param all  every section; else only those that need a look, with a count of the others */
static void put_sections(plb_page *page, const plb_verdict *verdict, bool all) {
  bool explain = false;
  for (size_t i = 0; i < verdict->bands; i++) {
    explain = explain || verdict->band[i].status != PLB_AGREES;
    if (!is_first_of_channel(verdict, i))
      continue;
    const char *channel = verdict->band[i].channel;
    const size_t hidden = put_channel_sections(page, verdict, channel, all);
    if (hidden > 0)
      put_hidden(page, hidden, hidden < count_sections(verdict, channel));
  }
  if (explain)
    plb_page_wrap(page, 2, 2, PLB_TONE_NONE, "",
                  "way: against the middle of the good range at the worst place; lag: + is late; inside: share of the "
                  "section inside the "
                  "drawn good range. By its shape a section can depart with every point inside.");
}

/* What good captures show: "4.4 to 4.7 V", "at least 4.4 V". */
static void say_range(const plb_reading_result *reading, char out[PLB_SAY_SIZE]) {
  char low[PLB_SAY_SIZE], high[PLB_SAY_SIZE];
  plb_say_quantity(reading->low, reading->unit, 4, low);
  plb_say_quantity(reading->high, reading->unit, 4, high);
  if (isfinite(reading->low) && isfinite(reading->high))
    plb_text_print(out, PLB_SAY_SIZE, "%.28s to %.28s", low, high);
  else if (isfinite(reading->low))
    plb_text_print(out, PLB_SAY_SIZE, "at least %.40s", low);
  else if (isfinite(reading->high))
    plb_text_print(out, PLB_SAY_SIZE, "at most %.40s", high);
  else
    plb_text_copy(out, PLB_SAY_SIZE, "-");
}

static void put_readings(plb_page *page, const plb_verdict *verdict) {
  if (verdict->readings == 0)
    return;
  plb_table table = {.columns = 6,
                     .title = {"channel", "reading", "value",
                               verdict->reference.provenance == PLB_STANDARD ? "permitted" : "good captures", "result", "way"},
                     .right = {false, false, true, true, false, false},
                     .tone_column = 4};
  for (size_t i = 0; i < verdict->readings; i++) {
    const plb_reading_result *reading = &verdict->reading[i];
    char text[PLB_SAY_SIZE];
    const bool judged = isfinite(reading->score) || reading->status != PLB_UNJUDGED;
    plb_row *row = plb_table_row(&table, plb_tone_of(reading->status));
    plb_table_put(row, 0, reading->channel);
    plb_table_put(row, 1, reading->name);
    plb_say_quantity(reading->value, reading->unit, 4, text);
    plb_table_put(row, 2, text);
    say_range(reading, text);
    plb_table_put(row, 3, text);
    plb_table_put(row, 4, judged ? plb_say_word_short(reading->status) : "not judged");
    plb_table_put(row, 5, reading->status == PLB_AGREES ? "" : reading->direction);
  }
  plb_page_heading(page, "Readings");
  plb_page_table(page, &table);
  plb_table_dispose(&table);
}

/* Judged cycles and how they depart: "number 3 of every 4 (by chance: below 0.001)". */
static void say_pattern(const plb_verdict *verdict, char out[PLB_TEXT_SIZE]) {
  char chance[PLB_SAY_SIZE];
  size_t n = (size_t)plb_text_print(out, PLB_TEXT_SIZE, "%s", plb_pattern_name(verdict->cycles.pattern));
  if (verdict->cycles.every == 0)
    return;
  n += (size_t)plb_text_print(out + n, PLB_TEXT_SIZE - n, ", number %u of every %u", verdict->cycles.phase,
                              verdict->cycles.every);
  plb_say_probability(verdict->cycles.p_chance, chance);
  if (isfinite(verdict->cycles.p_chance))
    plb_text_print(out + n, PLB_TEXT_SIZE - n, " (by chance: %s)", chance);
}

static void put_cycles(plb_page *page, const plb_verdict *verdict) {
  char found[PLB_SAY_SIZE], rate[PLB_SAY_SIZE], pattern[PLB_TEXT_SIZE], unmapped[PLB_TEXT_SIZE] = "",
                                                                        text[3 * PLB_TEXT_SIZE];
  plb_say_cycles(verdict, verdict->cycles.found, found);
  plb_say_rate(verdict, rate);
  say_pattern(verdict, pattern);
  if (verdict->cycles.unmapped > 0)
    plb_text_print(unmapped, sizeof unmapped, ", %u that cannot be laid over the known-good (that is evidence too)",
                   verdict->cycles.unmapped);
  if (verdict->cycles.found == 0)
    plb_text_copy(text, sizeof text, "none found");
  else
    plb_text_print(text, sizeof text, "%s found, %u judged, %u departing%s%s%s%s%s", found, verdict->cycles.judged,
                   verdict->cycles.departing, unmapped, rate[0] ? "; " : "", rate, pattern[0] ? "; " : "", pattern);
  field(page, "Cycles", text);
}

static void put_alignment(plb_page *page, const plb_verdict *verdict) {
  if (!isfinite(verdict->alignment.correlation))
    return;
  char correlation[PLB_SAY_SIZE], runner[PLB_SAY_SIZE], gain[PLB_SAY_SIZE], offset[PLB_SAY_SIZE], text[PLB_TEXT_SIZE];
  plb_say_number(verdict->alignment.correlation, 3, correlation);
  plb_say_number(verdict->alignment.runner_up, 3, runner);
  plb_say_number(verdict->alignment.gain, 3, gain);
  plb_say_signed_quantity(verdict->alignment.offset, verdict->drawings == 1 ? verdict->drawing[0].unit : "1", 3,
                          offset);
  plb_text_print(text, sizeof text, "correlation %s (next best place %s), gain %s, offset %s%s", correlation, runner,
                 gain, offset, verdict->alignment.polarity < 0 ? ", upside down" : "");
  field(page, "Laid over", text);
}

static void put_recording(plb_page *page, const plb_verdict *verdict) {
  if (verdict->fitnesses == 0) {
    field(page, "Recording", "the recording check found nothing to say");
    return;
  }
  field(page, "Recording", "the recording check says:");
  for (size_t i = 0; i < verdict->fitnesses; i++)
    put_reason(page, &verdict->fitness[i]);
}

static void put_applied(plb_page *page, const plb_verdict *verdict) {
  for (size_t i = 0; i < verdict->applieds; i++)
    field(page, i == 0 ? "Applied" : "", verdict->applied[i]);
}

static void put_conditions(plb_page *page, const plb_verdict *verdict) {
  for (size_t i = 0; i < verdict->condition_notes; i++)
    field(page, i == 0 ? "Conditions" : "", verdict->condition_note[i]);
}

static void put_certainty(plb_page *page, const plb_verdict *verdict) {
  char score[PLB_SAY_SIZE], limit[PLB_SAY_SIZE], guard[PLB_SAY_SIZE], robust[PLB_SAY_SIZE], p[PLB_SAY_SIZE],
      text[PLB_TEXT_SIZE];
  if (isfinite(verdict->score) && verdict->reference.provenance == PLB_STANDARD) {
    plb_say_number(verdict->score, 4, score);
    plb_text_print(text, sizeof text, "%s; 1 is on the limit, 2 as far beyond it as from its middle", score);
    field(page, "Score", text);
  } else if (isfinite(verdict->score)) {
    plb_say_number(verdict->score, 4, score);
    plb_say_number(verdict->limit, 3, limit);
    plb_say_number(verdict->guard, 3, guard);
    plb_say_number(verdict->guard_robust, 3, robust);
    plb_say_probability(verdict->p_value, p);
    const bool structural = verdict->score >= 1000; /* cycles that miss or gain marks rank before everything else */
    const bool p_known = isfinite(verdict->p_value);
    plb_text_print(text, sizeof text,
                   "%s%s; 1 is as far as the more unusual good captures; limit %s, guard %s (robust %s)%s%s", score,
                   structural ? " (1,000 of it for cycles that miss or gain marks)" : "", limit, guard, robust,
                   p_known ? ", p " : "", p_known ? p : "");
    field(page, "Score", text);
  }
  if (verdict->promise_text[0])
    field(page, "Promise", verdict->promise_text);
}

static void put_evidence(plb_page *page, const plb_verdict *verdict) {
  char text[PLB_PATH_SIZE], said[PLB_TEXT_SIZE], version[PLB_TEXT_SIZE];
  plb_say_provenance(verdict, said);
  plb_say_version(verdict, version);
  plb_text_print(text, sizeof text, "%s (%s), %s", verdict->reference.selector, said, version);
  field(page, "Known-good", plb_say_has_reference(verdict) ? text : "none");
  if (verdict->reference.odd[0]) {
    plb_text_print(text, sizeof text, "insensitive: the good capture %s is unlike the others and sets the limit",
                   verdict->reference.odd);
    field(page, "", text);
  }
  if (!verdict->capture.path[0])
    return;
  char samples[PLB_SAY_SIZE], rate[PLB_SAY_SIZE];
  plb_say_count(verdict->capture.samples, samples);
  plb_say_quantity(verdict->capture.rate_hz, "Hz", 4, rate);
  plb_text_print(text, sizeof text, "%.300s, %s samples at %s, sha256 %.12s", plb_say_file_name(verdict->capture.path),
                 samples, rate, verdict->capture.sha256);
  field(page, "Capture", text);
}

/* Information, not permission; who may work on what; what hurts near a running engine. */
static void put_caution(plb_page *page) {
  plb_page_gap(page);
  plb_page_wrap(page, 0, 0, PLB_TONE_STRONG, "Caution:",
                "this is evidence, not a diagnosis and not permission to work. Follow the vehicle maker's "
                "instructions, your workplace's rules "
                "and the law. High-voltage, airbag and fuel systems are for people trained and authorised for them. "
                "Keep leads and clothes "
                "clear of belts, fans and hot exhaust, lead exhaust gas away, and secure the vehicle against moving.");
}

plb_status plb_report_text(char **out, const plb_verdict *verdict, plb_text_style style, int width, plb_error *err) {
  plb_page page;
  plb_page_init(&page, style, width);
  put_headline(&page, verdict);
  put_reasons(&page, verdict);
  put_findings(&page, verdict);
  put_sections(&page, verdict, verdict->bands <= SECTIONS_SHOWN);
  put_readings(&page, verdict);
  plb_page_gap(&page);
  if (verdict->cycles.found > 0 || verdict->reference.provenance != PLB_STANDARD)
    put_cycles(&page, verdict);
  put_alignment(&page, verdict);
  put_applied(&page, verdict);
  put_recording(&page, verdict);
  put_conditions(&page, verdict);
  put_certainty(&page, verdict);
  put_evidence(&page, verdict);
  put_caution(&page);
  return plb_report_take(&page.out, out, err);
}

plb_status plb_report_sections_text(char **out, const plb_verdict *verdict, plb_text_style style, int width,
                                    plb_error *err) {
  plb_page page;
  plb_page_init(&page, style, width);
  put_headline(&page, verdict);
  put_sections(&page, verdict, true);
  return plb_report_take(&page.out, out, err);
}
