#include "core/core.h"
#include <math.h>
#include <plumbline/cycle.h>
#include <stdio.h>
#include <string.h>

static const char *const KIND_NAME[] = {"wheel", "edge", "repeat", "once", "against", "steady"};
enum { KINDS = sizeof KIND_NAME / sizeof KIND_NAME[0] };

const char *plb_cycle_kind_name(plb_cycle_kind kind) { return (unsigned)kind < KINDS ? KIND_NAME[kind] : "unknown"; }

/** One `key=value` of the text, already cut out and NUL-terminated. */
typedef struct setting {
  const char *key, *value;
} setting;

static plb_status read_count(setting s, int low, int high, int *out, plb_error *err) {
  double value = 0;
  if (!plb_text_number(s.value, strlen(s.value), &value) || value != floor(value) || value < low || value > high)
    return plb_fail(err, PLB_EUSAGE, "--cycle: %s=%s must be a whole number from %d to %d; write for example %s=%d",
                    s.key, s.value, low, high, s.key, low);
  *out = (int)value;
  return PLB_OK;
}

static plb_status set_teeth(setting s, plb_cycle_spec *out, plb_error *err) {
  return read_count(s, 3, 512, &out->teeth, err);
}

static plb_status set_missing(setting s, plb_cycle_spec *out, plb_error *err) {
  return read_count(s, 0, 8, &out->missing, err);
}

static plb_status set_revs(setting s, plb_cycle_spec *out, plb_error *err) {
  return read_count(s, 1, 2, &out->revs, err);
}

static bool has_suffix(const char *text, const char *suffix) {
  const size_t a = strlen(text), b = strlen(suffix);
  return a > b && strcmp(text + a - b, suffix) == 0;
}

/** Where the number ends and the unit begins: behind the last digit or point. */
static size_t number_length(const char *text) {
  size_t n = 0;
  for (size_t i = 0; text[i]; i++)
    if (strchr("0123456789.", text[i]))
      n = i + 1;
  return n;
}

static plb_status set_level(setting s, plb_cycle_spec *out, plb_error *err) {
  static const char advice[] = "write level=7V, level=50%states or level=50%supply";
  plb_level level = {.of = PLB_LEVEL_UNIT};
  size_t digits = number_length(s.value);
  if (has_suffix(s.value, "%states"))
    level.of = PLB_LEVEL_STATES;
  else if (has_suffix(s.value, "%supply"))
    level.of = PLB_LEVEL_SUPPLY;
  if (level.of != PLB_LEVEL_UNIT)
    digits = strlen(s.value) - strlen("%states");
  if (!plb_text_number(s.value, digits, &level.value))
    return plb_fail(err, PLB_EUSAGE, "--cycle: level=%s is no level; %s", s.value, advice);
  if (level.of != PLB_LEVEL_UNIT) {
    if (level.value <= 0 || level.value >= 100)
      return plb_fail(err, PLB_EUSAGE, "--cycle: level=%s must lie between 0 and 100 percent; %s", s.value, advice);
  } else if (s.value[digits]) {
    if (!plb_unit_known(s.value + digits))
      return plb_fail(err, PLB_EUSAGE, "--cycle: \"%s\" in level=%s is no known unit; %s", s.value + digits, s.value,
                      advice);
    if (!plb_text_copy(level.unit, sizeof level.unit, s.value + digits))
      return plb_fail(err, PLB_EUSAGE, "--cycle: the unit in level=%s is too long; %s", s.value, advice);
  }
  out->level = level;
  return PLB_OK;
}

static plb_status set_slope(setting s, plb_cycle_spec *out, plb_error *err) {
  if (strcmp(s.value, "rising") == 0)
    out->slope = 1;
  else if (strcmp(s.value, "falling") == 0)
    out->slope = -1;
  else
    return plb_fail(err, PLB_EUSAGE, "--cycle: slope=%s is not known; write slope=rising or slope=falling", s.value);
  return PLB_OK;
}

static plb_status set_period(setting s, plb_cycle_spec *out, plb_error *err) {
  double period = 0;
  if (plb_text_quantity(s.value, "s", &period, NULL) != PLB_OK || !(period > 0) || !isfinite(period))
    return plb_fail(err, PLB_EUSAGE, "--cycle: period=%s is no time above zero; write for example period=40ms",
                    s.value);
  out->period_s = period;
  return PLB_OK;
}

static plb_status set_channel(setting s, plb_cycle_spec *out, plb_error *err) {
  char *field = out->kind == PLB_CYCLE_AGAINST ? out->against : out->channel;
  if (!*s.value || !plb_text_copy(field, PLB_NAME_SIZE, s.value))
    return plb_fail(err, PLB_EUSAGE,
                    "--cycle: channel=%s is not a role of 1 to %d characters; write for example channel=crank", s.value,
                    PLB_NAME_SIZE - 1);
  return PLB_OK;
}

enum {
  WHEEL = 1u << PLB_CYCLE_WHEEL,
  EDGE = 1u << PLB_CYCLE_EDGE,
  REPEAT = 1u << PLB_CYCLE_REPEAT,
  EVERY = (1u << KINDS) - 1
};

static const struct key {
  const char *name;
  unsigned kinds; /* bits: which kinds take it */
  plb_status (*set)(setting s, plb_cycle_spec *out, plb_error *err);
} KEY[] = {
    {"teeth", WHEEL, set_teeth},     {"missing", WHEEL, set_missing}, {"revs", WHEEL, set_revs},
    {"level", EDGE, set_level},      {"slope", EDGE, set_slope},      {"period", REPEAT, set_period},
    {"channel", EVERY, set_channel},
};
enum { KEYS = sizeof KEY / sizeof KEY[0] };

static const char *const EXAMPLE[KINDS] = {"wheel:teeth=60,missing=2", "edge:level=7V,slope=falling",
                                           "repeat:period=40ms",       "once",
                                           "against:channel=pressure", "steady"};

static plb_status apply(setting s, plb_cycle_spec *out, unsigned *seen, plb_error *err) {
  for (unsigned k = 0; k < KEYS; k++)
    if (strcmp(KEY[k].name, s.key) == 0 && (KEY[k].kinds >> out->kind & 1u)) {
      if (*seen >> k & 1u)
        return plb_fail(err, PLB_EUSAGE, "--cycle: %s is given twice; give it once", s.key);
      *seen |= 1u << k;
      return KEY[k].set(s, out, err);
    }
  return plb_fail(err, PLB_EUSAGE, "--cycle: %s takes no \"%s\"; write for example %s", KIND_NAME[out->kind], s.key,
                  EXAMPLE[out->kind]);
}

static plb_status parse_settings(char *text, plb_cycle_spec *out, plb_error *err) {
  unsigned seen = 0;
  while (text) {
    char *comma = strchr(text, ',');
    if (comma)
      *comma = '\0';
    char *equals = strchr(text, '=');
    if (!equals)
      return plb_fail(err, PLB_EUSAGE, "--cycle: \"%s\" is not key=value; write for example %s", text,
                      EXAMPLE[out->kind]);
    *equals = '\0';
    const plb_status status = apply((setting){text, equals + 1}, out, &seen, err);
    if (status != PLB_OK)
      return status;
    text = comma ? comma + 1 : NULL;
  }
  return PLB_OK;
}

/** What no single key can tell: what is required, and whether the numbers go together. */
static plb_status check_whole(const plb_cycle_spec *spec, plb_error *err) {
  if (spec->kind == PLB_CYCLE_WHEEL && spec->teeth == 0)
    return plb_fail(err, PLB_EUSAGE,
                    "--cycle: wheel needs the number of tooth positions; write for example wheel:teeth=60,missing=2");
  if (spec->kind == PLB_CYCLE_WHEEL && spec->missing > spec->teeth - 2)
    return plb_fail(err, PLB_EUSAGE,
                    "--cycle: %d missing of %d leaves fewer than two teeth; teeth counts all positions, as in "
                    "wheel:teeth=60,missing=2",
                    spec->missing, spec->teeth);
  if (spec->kind == PLB_CYCLE_AGAINST && !*spec->against)
    return plb_fail(err, PLB_EUSAGE,
                    "--cycle: against needs the other channel; write for example against:channel=pressure");
  return PLB_OK;
}

plb_status plb_cycle_spec_parse(const char *text, plb_cycle_spec *out, plb_error *err) {
  char copy[2 * PLB_TEXT_SIZE];
  *out = (plb_cycle_spec){.level.value = NAN, .level.of = PLB_LEVEL_STATES};
  if (!plb_text_copy(copy, sizeof copy, text))
    return plb_fail(err, PLB_EUSAGE, "--cycle: the text is too long; write for example %s", EXAMPLE[0]);
  char *colon = strchr(copy, ':');
  if (colon)
    *colon = '\0';
  for (unsigned k = 0; k < KINDS; k++)
    if (strcmp(copy, KIND_NAME[k]) == 0) {
      out->kind = (plb_cycle_kind)k;
      if (out->kind == PLB_CYCLE_WHEEL)
        out->revs = 1;
      const plb_status status = colon ? parse_settings(colon + 1, out, err) : PLB_OK;
      return status == PLB_OK ? check_whole(out, err) : status;
    }
  return plb_fail(err, PLB_EUSAGE,
                  "--cycle: \"%s\" is not a kind of cycle; use wheel, edge, repeat, once, against or steady, "
                  "for example %s",
                  copy, EXAMPLE[0]);
}

/** The shortest decimal that reads back as the same number, with a point whatever the locale. */
static void format_number(double value, char *out, size_t size) {
  for (int digits = 6; digits <= 17; digits++) {
    snprintf(out, size, "%.*g", digits, value);
    for (char *c = out; *c; c++)
      if (!strchr("0123456789+-e", *c))
        *c = '.';
    double back = 0;
    if (plb_text_number(out, strlen(out), &back) && back == value)
      return;
  }
}

static void add_setting(char *out, size_t size, const char *key, const char *value, const char *unit) {
  const size_t used = strlen(out);
  snprintf(out + used, size - used, "%c%s=%s%s", strchr(out, ':') ? ',' : ':', key, value, unit);
}

static void add_number(char *out, size_t size, const char *key, double value, const char *unit) {
  char text[40];
  format_number(value, text, sizeof text);
  add_setting(out, size, key, text, unit);
}

void plb_cycle_spec_format(const plb_cycle_spec *spec, char *out, size_t size) {
  snprintf(out, size, "%s", plb_cycle_kind_name(spec->kind));
  if (spec->kind == PLB_CYCLE_WHEEL) {
    add_number(out, size, "teeth", spec->teeth, "");
    add_number(out, size, "missing", spec->missing, "");
    if (spec->revs == 2)
      add_number(out, size, "revs", spec->revs, "");
  }
  if (spec->kind == PLB_CYCLE_EDGE && !isnan(spec->level.value))
    add_number(out, size, "level", spec->level.value,
               spec->level.of == PLB_LEVEL_UNIT     ? spec->level.unit
               : spec->level.of == PLB_LEVEL_STATES ? "%states"
                                                    : "%supply");
  if (spec->kind == PLB_CYCLE_EDGE && spec->slope)
    add_setting(out, size, "slope", spec->slope > 0 ? "rising" : "falling", "");
  if (spec->kind == PLB_CYCLE_REPEAT && spec->period_s > 0)
    add_number(out, size, "period", spec->period_s, "s");
  if (*spec->channel)
    add_setting(out, size, "channel", spec->channel, "");
  if (spec->kind == PLB_CYCLE_AGAINST)
    add_setting(out, size, "channel", spec->against, "");
}
