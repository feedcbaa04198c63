#include "core/text.h"
#include "core/unit.h"

#include <math.h>
#include <string.h>

/* Units as people and loggers write them, and units as people like to read them. */

typedef struct rewrite {
  const char *from, *to;
} rewrite;

/* UTF-8 first, then the single bytes of ISO 8859-1, which older loggers write. */
static const rewrite signs[] = {
    {"\xC2\xB5", "u"},
    {"\xCE\xBC", "u"},
    {"\xCE\xA9", "Ohm"},
    {"\xE2\x84\xA6", "Ohm"},
    {"\xC2\xB0", "deg"},
    {"\xC2\xBA", "deg"},
    {"\xE2\x84\x83", "degC"},
    {"\xE2\x84\x89", "degF"},
    {"\xC2\xB7", "."},
    {"\xE2\x8B\x85", "."},
    {"\xB5", "u"},
    {"\xB0", "deg"},
};

/* Codes that may be written as they are. Not here, because on a trace they hardly ever mean what the code means: "C"
 * and "F" (a temperature, or coulomb and farad?), "g" (gram, or the acceleration?), "S" and "mS" (siemens, or second
 * in capitals?); the first three are not guessed at all. */
static const char *const codes[] = {
    "V",      "mV",  "uV",     "kV",    "A",    "mA",   "uA",       "nA",    "kA",    "Ohm",       "mOhm",     "kOhm",
    "MOhm",   "Hz",  "mHz",    "kHz",   "MHz",  "GHz",  "s",        "ms",    "us",    "ns",        "ps",       "min",
    "h",      "d",   "deg",    "rad",   "circ", "Pa",   "hPa",      "kPa",   "MPa",   "bar",       "mbar",     "[psi]",
    "K",      "Cel", "[degF]", "%",     "1",    "/min", "1/min",    "/s",    "1/s",   "{rev}/min", "circ/min", "circ/s",
    "deg/s",  "mF",  "uF",     "nF",    "pF",   "H",    "mH",       "uH",    "nH",    "T",         "mT",       "uT",
    "Wb",     "mWb", "mC",     "uC",    "J",    "mJ",   "kJ",       "W",     "mW",    "kW",        "N",        "kN",
    "N.m",    "A.h", "mA.h",   "kg/h",  "g/s",  "mg/s", "V/s",      "A/s",   "mV/s",  "dB",        "m",        "mm",
    "um",     "km",  "m/s",    "km/h",  "m/s2", "[g]",  "L/h",      "L/min", "kPa/s", "K/s",       "bit/s",    "kbit/s",
    "Mbit/s", "Bd",  "kBd",    "[ppm]", "kg",   "mg",   "[mi_i]/h", "%/s",   "mV/A",  "V/A",
};

/* Words and careless capitals, compared without regard to case; an "s" may follow a word of three letters or more. */
typedef struct wording {
  const char *code;
  const char *words; /* in small letters, one space between them */
} wording;

static const wording wordings[] = {
    {"V", "v volt vdc vac voltage"},
    {"mV", "mv millivolt"},
    {"uV", "uv microvolt"},
    {"kV", "kv kilovolt"},
    {"A", "a amp ampere"},
    {"mA", "ma milliamp milliampere"},
    {"uA", "ua microamp microampere"},
    {"Ohm", "ohm"},
    {"mOhm", "milliohm"},
    {"kOhm", "kohm kilohm kiloohm"},
    {"MOhm", "megohm megaohm"},
    {"Hz", "hz hertz"},
    {"kHz", "khz kilohertz"},
    {"MHz", "mhz megahertz"},
    {"s", "s sec second"},
    {"ms", "ms msec millisecond millisec"},
    {"us", "us usec microsecond"},
    {"ns", "ns nsec nanosecond"},
    {"min", "min minute"},
    {"h", "hr hour"},
    {"deg", "deg degree degca"},
    {"rad", "radian"},
    {"circ", "rev revolution turn"},
    {"Pa", "pa pascal"},
    {"hPa", "hpa"},
    {"kPa", "kpa kilopascal"},
    {"MPa", "mpa"},
    {"bar", "bar"},
    {"mbar", "mbar millibar"},
    {"[psi]", "psi"},
    {"Cel", "degc celsius centigrade"},
    {"[degF]", "degf fahrenheit"},
    {"K", "kelvin"},
    {"%", "percent pct"},
    {"/min", "rpm r/min rev/min min-1"},
    {"/s", "rps rev/s"},
    {"1", "count ratio unitless"},
    {"F", "farad"},
    {"uF", "microfarad uf"},
    {"nF", "nf"},
    {"pF", "pf"},
    {"H", "henry"},
    {"mH", "mh"},
    {"uH", "uh"},
    {"T", "tesla"},
    {"G", "gauss"},
    {"Wb", "weber"},
    {"C", "coulomb"},
    {"J", "joule"},
    {"W", "watt"},
    {"kW", "kw"},
    {"N", "newton"},
    {"N.m", "nm"},
    {"A.h", "ah amphour"},
    {"mA.h", "mah"},
    {"kg/h", "kg/hr"},
    {"dB", "db decibel"},
    {"km/h", "kph kmh"},
    {"[mi_i]/h", "mph"},
    {"L/h", "lph l/h"},
    {"L/min", "l/min"},
    {"[ppm]", "ppm"},
    {"m/s2", "m/s^2"},
};

/* Copy without spaces, with signs spelt out; false when it does not fit. */
static bool spell_out(const char *label, char out[PLB_UNIT_SIZE]) {
  size_t n = 0;
  while (*label) {
    const char *text = label;
    size_t size = *label == ' ' || *label == '\t' ? 0 : 1, step = 1;
    for (size_t i = 0; i < sizeof signs / sizeof signs[0]; i++) {
      const size_t length = strlen(signs[i].from);
      if (strncmp(label, signs[i].from, length) == 0) {
        text = signs[i].to;
        size = strlen(text);
        step = length;
        break;
      }
    }
    if (n + size >= PLB_UNIT_SIZE)
      return false;
    memcpy(out + n, text, size);
    n += size;
    label += step;
  }
  out[n] = '\0';
  return n > 0;
}

static const char *find_code(const char *text) {
  for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
    if (strcmp(codes[i], text) == 0)
      return codes[i];
  return NULL;
}

/* True when `lower` or `lower` without a final "s" stands in a list of words. */
static bool lists_word(const char *words, const char *lower) {
  while (*words) {
    const size_t n = strcspn(words, " ");
    if (strncmp(lower, words, n) == 0 && (lower[n] == '\0' || (n >= 3 && strcmp(lower + n, "s") == 0)))
      return true;
    words += n + (words[n] == ' ');
  }
  return false;
}

/* `lower` in small letters. */
static const char *find_word(const char *lower) {
  for (size_t i = 0; i < sizeof wordings / sizeof wordings[0]; i++)
    if (lists_word(wordings[i].words, lower))
      return wordings[i].code;
  return NULL;
}

/* Take away one pair of brackets around the whole; false when there is none. */
static bool strip_brackets(char *text) {
  static const char pairs[] = "()[]";
  const size_t n = strlen(text);
  for (size_t i = 0; n > 2 && i < 4; i += 2) {
    if (text[0] == pairs[i] && text[n - 1] == pairs[i + 1]) {
      memmove(text, text + 1, n - 2);
      text[n - 2] = '\0';
      return true;
    }
  }
  return false;
}

const char *plb_unit_from_label(const char *label) {
  char text[PLB_UNIT_SIZE], lower[PLB_UNIT_SIZE];
  if (!spell_out(label, text))
    return NULL;
  do {
    const char *code = find_code(text);
    if (!code) {
      memcpy(lower, text, sizeof lower);
      plb_text_lower(lower);
      code = find_word(lower);
    }
    if (code)
      return code;
  } while (strip_brackets(text));
  return NULL;
}

enum { LADDER = 5 };

/* Steps of a thousand, smallest first. */
static const char *const ladders[][LADDER] = {
    {"ns", "us", "ms", "s"},
    {"uV", "mV", "V", "kV"},
    {"uA", "mA", "A", "kA"},
    {"Hz", "kHz", "MHz", "GHz"},
    {"mOhm", "Ohm", "kOhm", "MOhm"},
    {"Pa", "kPa", "MPa"},
    {"pF", "nF", "uF", "mF", "F"},
    {"nH", "uH", "mH", "H"},
    {"uC", "mC", "C"},
    {"mJ", "J", "kJ"},
    {"mW", "W", "kW"},
    {"uT", "mT", "T"},
    {"um", "mm", "m", "km"},
    {"bit/s", "kbit/s", "Mbit/s"},
};

static const char *const *find_ladder(const char *code, size_t *step) {
  for (size_t i = 0; i < sizeof ladders / sizeof ladders[0]; i++)
    for (size_t k = 0; k < LADDER && ladders[i][k]; k++)
      if (strcmp(ladders[i][k], code) == 0) {
        *step = k;
        return ladders[i];
      }
  return NULL;
}

double plb_unit_scale_for_people(double value, const char *code, const char **code_out) {
  size_t step = 0;
  const char *const *ladder = find_ladder(code, &step);
  const char *same = find_code(code);
  *code_out = same ? same : code;
  if (!ladder || !isfinite(value) || value == 0)
    return 1;
  /* From 999.5 on three digits would print 1000: the next step's 1.00 reads better. */
  const double turn = 999.5;
  double shown = fabs(value), factor = 1;
  while (shown >= turn && step + 1 < LADDER && ladder[step + 1]) {
    step++;
    shown /= 1000;
    factor /= 1000;
  }
  while (shown < turn / 1000 && step > 0) {
    step--;
    shown *= 1000;
    factor *= 1000;
  }
  *code_out = ladder[step];
  return factor;
}
