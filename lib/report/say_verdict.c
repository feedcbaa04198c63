#include "report/report.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

const char *plb_say_word_short(plb_word word) {
  static const char *const names[] = {"matches", "doubtful", "does not match", "cannot tell"};
  return (size_t)word < sizeof names / sizeof names[0] ? names[word] : "cannot tell";
}

static plb_dial degrees_dial(int revolutions) {
  return (plb_dial){PLB_DIAL_DEGREES, 0, 360.0 * (revolutions == 2 ? 2 : 1), "deg", "degrees of rotation"};
}

static plb_dial time_dial(double seconds) {
  plb_dial dial = {PLB_DIAL_TIME, 0, seconds, "s", ""};
  const char *code = "s";
  dial.length *= plb_unit_scale_for_people(seconds, "s", &code);
  plb_text_copy(dial.unit, sizeof dial.unit, code);
  plb_text_print(dial.label, sizeof dial.label, "%s from the start of the cycle", code);
  return dial;
}

static plb_dial along_dial(const plb_verdict *verdict) {
  const double low = verdict->reference.along_low, high = verdict->reference.along_high;
  plb_dial dial = {PLB_DIAL_ALONG, 0, 0, "", ""};
  const char *code = verdict->reference.along_unit;
  const double scale = plb_unit_scale_for_people(fmax(fabs(low), fabs(high)), verdict->reference.along_unit, &code);
  dial.start = low * scale;
  dial.length = (high - low) * scale;
  plb_text_print(dial.unit, sizeof dial.unit, "%s", plb_say_unit(code));
  plb_text_print(dial.label, sizeof dial.label, "%.10s of %.40s", dial.unit, verdict->reference.along);
  return dial;
}

plb_dial plb_say_dial(const plb_verdict *verdict) {
  plb_cycle_spec spec;
  if (verdict->reference.along[0] && isfinite(verdict->reference.along_low))
    return along_dial(verdict);
  const bool known =
      verdict->reference.cycle[0] && plb_cycle_spec_parse(verdict->reference.cycle, &spec, NULL) == PLB_OK;
  if (known && spec.kind == PLB_CYCLE_WHEEL)
    return degrees_dial(spec.revs);
  /* between edges short stretches are drawn wider than they last, so a place there has no time that a ruler could read */
  if (known && spec.kind == PLB_CYCLE_EDGE)
    return (plb_dial){PLB_DIAL_SHARE, 0, 100, "%", "% of the cycle as drawn, short stretches widened"};
  const bool timed = !known || spec.kind == PLB_CYCLE_REPEAT || spec.kind == PLB_CYCLE_ONCE;
  if (timed && verdict->cycles.rate_hz > 0 && isfinite(verdict->cycles.rate_hz))
    return time_dial(1 / verdict->cycles.rate_hz);
  if (known && spec.kind == PLB_CYCLE_ONCE && verdict->capture.rate_hz > 0 && verdict->capture.samples > 1)
    return time_dial((double)verdict->capture.samples / verdict->capture.rate_hz);
  if (known && spec.kind == PLB_CYCLE_STEADY)
    return (plb_dial){PLB_DIAL_LEVELS, 0, 100, "%", "% of the time, lowest levels first"};
  return (plb_dial){PLB_DIAL_SHARE, 0, 100, "%", "% of the cycle"};
}

void plb_say_place(const plb_dial *dial, double phase, char out[PLB_SAY_SIZE]) {
  char number[PLB_SAY_SIZE];
  plb_say_number(round((dial->start + phase * dial->length) * 100) / 100, 5, number);
  plb_text_print(out, PLB_SAY_SIZE, "%.30s%s%.31s", number, isfinite(phase) ? " " : "",
                 isfinite(phase) ? dial->unit : "");
}

void plb_say_stretch(const plb_dial *dial, const plb_band_result *band, char out[PLB_SAY_SIZE]) {
  char from[PLB_SAY_SIZE], to[PLB_SAY_SIZE];
  const bool cycle = strcmp(band->unit, "cycle") == 0;
  const double scale = cycle ? dial->length : 1, start = cycle ? dial->start : 0;
  plb_say_number(round((start + band->from * scale) * 100) / 100, 4, from);
  plb_say_number(round((start + band->to * scale) * 100) / 100, 4, to);
  plb_text_print(out, PLB_SAY_SIZE, "%.14s-%.14s%s%.20s", from, to, cycle ? "" : " ", cycle ? "" : band->unit);
}

void plb_say_worst(const plb_dial *dial, const plb_band_result *band, char out[PLB_SAY_SIZE]) {
  double place = dial->start + band->worst_phase * dial->length;
  double shown = 0;
  if (dial->kind == PLB_DIAL_DEGREES && isfinite(band->worst_degrees))
    place = band->worst_degrees;
  else if (dial->kind == PLB_DIAL_TIME && isfinite(band->worst_time_s) &&
           plb_unit_convert(band->worst_time_s, "s", dial->unit, &shown))
    place = shown;
  plb_say_number(dial->kind == PLB_DIAL_DEGREES ? round(place * 10) / 10 : place, 4, out);
}

/* "revolution", "revolutions"; "pair of revolutions" has its own plural. */
void plb_say_cycles(const plb_verdict *verdict, uint64_t count, char out[PLB_SAY_SIZE]) {
  static const char pair[] = "pair of ";
  const char *one = verdict->cycles.unit_name[0] ? verdict->cycles.unit_name : "cycle";
  char number[PLB_SAY_SIZE];
  if (strncmp(one, pair, sizeof pair - 1) == 0 && count != 1) {
    plb_say_count(count, number);
    plb_text_print(out, PLB_SAY_SIZE, "%.26s pairs of %.24s", number, one + sizeof pair - 1);
  } else {
    plb_say_counted(count, one, out);
  }
}

void plb_say_rate(const plb_verdict *verdict, char out[PLB_SAY_SIZE]) {
  const plb_dial dial = plb_say_dial(verdict);
  const bool turns = dial.kind == PLB_DIAL_DEGREES;
  out[0] = '\0';
  if (verdict->cycles.rate_hz > 0 && isfinite(verdict->cycles.rate_hz))
    plb_say_quantity(verdict->cycles.rate_hz * (turns ? 60 * dial.length / 360 : 1), turns ? "/min" : "Hz", 4, out);
}

bool plb_say_has_reference(const plb_verdict *verdict) {
  return verdict->reference.selector[0] || verdict->reference.path[0] || verdict->reference.sha256[0] ||
         verdict->reference.exemplars > 0;
}

static void say_groups(const plb_verdict *verdict, char out[PLB_SAY_SIZE]) {
  if (verdict->reference.one_group)
    plb_text_copy(out, PLB_SAY_SIZE, "one vehicle only");
  else if (!verdict->reference.groups_stated)
    plb_text_copy(out, PLB_SAY_SIZE, "groups not stated");
  else
    plb_text_print(out, PLB_SAY_SIZE, "from %u vehicle%s or sessions", verdict->reference.groups,
                   verdict->reference.groups == 1 ? "" : "s");
}

void plb_say_provenance(const plb_verdict *verdict, char out[PLB_TEXT_SIZE]) {
  char captures[PLB_SAY_SIZE], groups[PLB_SAY_SIZE];
  const bool modelled = verdict->reference.provenance == PLB_MODELLED;
  if (!plb_say_has_reference(verdict)) {
    plb_text_copy(out, PLB_TEXT_SIZE, "none");
    return;
  }
  plb_say_counted(verdict->reference.exemplars, modelled ? "computed capture" : "good capture", captures);
  say_groups(verdict, groups);
  switch (verdict->reference.provenance) {
  case PLB_MEASURED:
    plb_text_print(out, PLB_TEXT_SIZE, "measured, %s, %s", captures, groups);
    break;
  case PLB_MODELLED:
    plb_text_print(out, PLB_TEXT_SIZE, "MODELLED, not measured: %s from a model", captures);
    break;
  case PLB_STANDARD:
    plb_text_copy(out, PLB_TEXT_SIZE, "set by a standard's limits, not by good captures");
    break;
  }
}

void plb_say_version(const plb_verdict *verdict, char out[PLB_TEXT_SIZE]) {
  char version[PLB_SAY_SIZE] = "a file of its own";
  const bool file = strcmp(verdict->reference.status, "file") == 0;
  if (verdict->reference.version > 0)
    plb_text_print(version, sizeof version, "version %u", verdict->reference.version);
  const bool status = verdict->reference.status[0] && !file;
  plb_text_print(out, PLB_TEXT_SIZE, "%s%s%s%s%s%.12s", version,
                 verdict->reference.version > 0 && file ? ", a file" : "", status ? ", " : "",
                 status ? verdict->reference.status : "", verdict->reference.sha256[0] ? ", sha256 " : "",
                 verdict->reference.sha256);
}

const char *plb_say_not_measured(plb_provenance provenance) {
  switch (provenance) {
  case PLB_MODELLED:
    return "This known-good is modelled: its curves were computed, not measured on a vehicle; replace it by good captures of your own with "
           "\"plumb learn --like\".";
  case PLB_STANDARD:
    return "This known-good holds the limits of a standard; no good captures stand behind it.";
  case PLB_MEASURED:
    break;
  }
  return NULL;
}

void plb_say_headline(const plb_verdict *verdict, char out[PLB_TEXT_SIZE], size_t *word_out) {
  char word[PLB_NAME_SIZE], sentence[PLB_TEXT_SIZE];
  plb_text_copy(word, sizeof word, plb_word_plain(verdict->word));
  plb_say_clean(verdict->sentence, sentence, sizeof sentence);
  const size_t length = strlen(word);
  const char *rest = sentence;
  if (strncasecmp(rest, word, length) == 0)
    rest += length;
  rest += strspn(rest, ":;,. ");
  if (word[0] >= 'a' && word[0] <= 'z')
    word[0] = (char)(word[0] - 'a' + 'A');
  plb_text_print(out, PLB_TEXT_SIZE, "%s%s%s", word, *rest ? ": " : "", rest);
  *word_out = length;
}

/* "low by 3.9 V", "missing", "late by 0.12 ms": the size only where there is one. */
static void say_departure(const plb_finding *finding, char out[PLB_TEXT_SIZE]) {
  char size[PLB_SAY_SIZE] = "";
  if (isfinite(finding->size))
    plb_say_quantity(fabs(finding->size), finding->unit, 3, size);
  plb_text_print(out, PLB_TEXT_SIZE, "%s%s%s", finding->direction[0] ? finding->direction : "departs",
                 size[0] ? " by " : "", size);
}

void plb_say_finding(const plb_finding *finding, char out[PLB_TEXT_SIZE]) {
  if (finding->text[0]) {
    plb_say_clean(finding->text, out, PLB_TEXT_SIZE);
    return;
  }
  char departure[PLB_TEXT_SIZE], often[PLB_SAY_SIZE] = "", made[PLB_TEXT_SIZE];
  say_departure(finding, departure);
  if (finding->of > 0)
    plb_text_print(often, sizeof often, " in %u of %u cycles", finding->count, finding->of);
  plb_text_print(made, sizeof made, "%.60s%s%.60s: %.90s%s", finding->channel,
                 finding->channel[0] && finding->band[0] ? ", " : "", finding->band, departure, often);
  plb_say_clean(made, out, PLB_TEXT_SIZE);
}
