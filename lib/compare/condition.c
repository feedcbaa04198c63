#include "compare/explain.h"
#include "capture/capture.h"
#include <math.h>
#include <string.h>

bool plb_condition_note(plb_verdict *v, const char *text) {
  char(*list)[PLB_TEXT_SIZE] = plb_resize(v->condition_note, v->condition_notes + 1, sizeof *list);
  if (list == NULL) {
    return false;
  }
  v->condition_note = list;
  plb_text_say(list[v->condition_notes++], PLB_TEXT_SIZE, "%s", text);
  return true;
}

static const plb_stated *find_stated(const plb_compare_options *options, const char *name) {
  for (size_t i = 0; i < options->stated_count; i++) {
    if (strcmp(options->stated[i].name, name) == 0) {
      return &options->stated[i];
    }
  }
  return NULL;
}

static void say_condition(char *out, size_t size, const char *word, double low, double high, const char *unit) {
  if (word[0] != '\0') {
    plb_text_say(out, size, "%s", word);
  } else if (low == high) {
    plb_text_say(out, size, "%.6g%s%s", low, unit[0] != '\0' && unit[0] != '/' ? " " : "", unit);
  } else {
    plb_text_say(out, size, "%.6g to %.6g%s%s", low, high, unit[0] != '\0' && unit[0] != '/' ? " " : "", unit);
  }
}

/* Stated and reference in one unit; false when they cannot be compared. */
static bool same_unit(const plb_stated *s, const plb_condition *c, double *low, double *high) {
  *low = s->low;
  *high = s->high;
  if (strcmp(s->unit, c->unit) == 0 || s->unit[0] == '\0' || c->unit[0] == '\0') {
    return true;
  }
  return plb_unit_convert(s->low, s->unit, c->unit, low) && plb_unit_convert(s->high, s->unit, c->unit, high);
}

static bool lies_outside(const plb_stated *s, const plb_condition *c) {
  if (s->word[0] != '\0' || c->word[0] != '\0') {
    return strcmp(s->word, c->word) != 0;
  }
  double low, high;
  return !same_unit(s, c, &low, &high) || high < c->low || low > c->high;
}

plb_status plb_explain_conditions(plb_verdict *v, const plb_reference *reference, const plb_compare_options *options, plb_error *err) {
  bool memory = true;
  for (size_t i = 0; i < reference->conditions && memory; i++) {
    const plb_condition *c = &reference->condition[i];
    const plb_stated *s = find_stated(options, c->name);
    char good[128], seen[128], text[PLB_TEXT_SIZE];
    say_condition(good, sizeof good, c->word, c->low, c->high, c->unit);
    if (s == NULL) {
      plb_text_say(text, sizeof text, "if %s is %s (not stated for this capture)", c->name, good);
      memory = plb_condition_note(v, text);
    } else if (lies_outside(s, c)) {
      char code[PLB_NAME_SIZE], action[PLB_TEXT_SIZE];
      say_condition(seen, sizeof seen, s->word, s->low, s->high, s->unit);
      plb_text_say(code, sizeof code, "%s-outside", c->name);
      plb_text_say(text, sizeof text, "%s outside: %s stated, the known-good speaks for %s", c->name, seen, good);
      plb_text_say(action, sizeof action, "capture again at %s %s, or learn a known-good at %s", c->name, good, seen);
      memory = plb_reason_add(&v->reason, &v->reasons, PLB_REASON_CONDITIONS, code, "", true, text, action) == PLB_OK;
    }
  }
  for (size_t i = 0; i < options->stated_count && memory; i++) { /* stated, and not what the known-good was recorded as */
    const plb_stated *s = &options->stated[i];
    bool good = strcmp(s->word, "unplugged") != 0;
    for (size_t k = 0; k < reference->conditions; k++) {
      good = good || strcmp(reference->condition[k].word, "unplugged") == 0;
    }
    if (!good) {
      memory = plb_reason_add(&v->reason, &v->reasons, PLB_REASON_CONDITIONS, "unplugged", "", true,
                              "unplugged: the known-good was recorded with the connector plugged in",
                              "plug it in and probe from behind; many outputs show nothing without their load or pull-up") == PLB_OK;
    }
  }
  return memory ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
}

void plb_take_surroundings(plb_tracks *tracks, const plb_compare_options *options) {
  const plb_stated *supply = find_stated(options, "supply"), *load = find_stated(options, "load");
  double low, high;
  if (!(tracks->supply_v > 0.0) && supply != NULL && supply->word[0] == '\0' &&
      plb_unit_convert(supply->low, supply->unit[0] != '\0' ? supply->unit : "V", "V", &low) &&
      plb_unit_convert(supply->high, supply->unit[0] != '\0' ? supply->unit : "V", "V", &high)) {
    tracks->supply_v = 0.5 * (low + high);
  }
  if (!(tracks->load > 0.0) && load != NULL && load->word[0] == '\0') {
    tracks->load = 0.5 * (load->low + load->high);
  }
}

/* What is missing to judge a size or height that follows something. */
static const char *unknown_words(plb_rule rule, const plb_profile *x) {
  switch (rule) {
  case PLB_RULE_SUPPLY_PROPORTIONAL:
    return x->supply_v > 0.0 ? "the supply lies outside what the good captures had" : "the supply is not known; give --condition supply=13.8V or a channel supply";
  case PLB_RULE_LOAD_PROPORTIONAL:
    return "the load is not known; give --condition load=0.5 or a channel load";
  default:
    return "the speed lies outside what the good captures had";
  }
}

plb_status plb_explain_rules(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, plb_error *err) {
  bool memory = true;
  for (size_t c = 0; c < judge->plan.channels && memory; c++) {
    const plb_fit_channel *ch = &judge->fit->channel[c];
    char text[PLB_TEXT_SIZE];
    if (ch->judge_gain && isnan(plb_rule_log_gain(&ch->rule, o->profile))) {
      plb_text_say(text, sizeof text, "the size of %s is not judged: %s", judge->plan.channel[c].role, unknown_words(ch->rule.amplitude, o->profile));
      memory = plb_condition_note(v, text);
    }
    if (memory && ch->judge_offset && isnan(plb_rule_offset(&ch->rule, o->profile, ch->centre, o->gain[c].gain))) {
      plb_text_say(text, sizeof text, "the height of %s is not judged: %s", judge->plan.channel[c].role, unknown_words(ch->rule.offset, o->profile));
      memory = plb_condition_note(v, text);
    }
  }
  return memory ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
}

plb_status plb_stated_parse(const char *text, plb_stated *out, plb_error *err) {
  *out = (plb_stated){.low = NAN, .high = NAN};
  const char *equals = strchr(text, '=');
  char value[PLB_TEXT_SIZE];
  if (equals == NULL || equals == text || (size_t)(equals - text) >= sizeof out->name || !plb_text_copy(value, sizeof value, equals + 1) ||
      value[0] == '\0') {
    return plb_fail(err, PLB_EUSAGE, "condition '%s' is not NAME=VALUE; for example --condition load=half or speed=600..6000/min", text);
  }
  memcpy(out->name, text, (size_t)(equals - text));
  size_t digits = strlen(value);
  char *range = strstr(value, "..");
  /* the unit is what stands behind the last number */
  const char *last = range != NULL ? range + 2 : value;
  digits = strspn(last, "0123456789.eE+-");
  while (digits > 0 && !plb_text_number(last, digits, &out->high)) {
    digits--;
  }
  const char *unit = last + digits;
  const bool number = digits > 0 && strlen(unit) < sizeof out->unit &&
                      (range == NULL || plb_text_number(value, strcspn(value, "."), &out->low) ||
                       plb_text_number(value, (size_t)(range - value), &out->low));
  if (!number && range == NULL) {
    out->low = out->high = NAN;
    return plb_text_copy(out->word, sizeof out->word, value)
               ? PLB_OK
               : plb_fail(err, PLB_EUSAGE, "condition '%s' is too long; use one word", out->name);
  }
  if (!number) {
    return plb_fail(err, PLB_EUSAGE, "condition '%s' is not a range; for example speed=600..6000/min", text);
  }
  if (range == NULL) {
    out->low = out->high;
  } else if (!plb_text_number(value, (size_t)(range - value), &out->low) || !(out->low <= out->high)) {
    return plb_fail(err, PLB_EUSAGE, "condition '%s' is not a rising range; for example speed=600..6000/min", text);
  }
  plb_text_copy(out->unit, sizeof out->unit, unit);
  if (unit[0] != '\0' && !plb_unit_known(unit)) {
    return plb_fail(err, PLB_EUSAGE, "'%s' in condition '%s' is not a unit; use UCUM codes such as /min, V, Cel, s", unit, out->name);
  }
  return PLB_OK;
}
