#include "report/say.h"
#include "core/core.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char replacement[] = "\xEF\xBF\xBD"; /* U+FFFD */

/* Controls (also DEL and the C1 range, which some terminals obey) and malformed bytes must not reach a terminal. */
static bool is_plain(const char *text, size_t length) {
  const unsigned char a = (unsigned char)text[0];
  if (length == 1)
    return a >= 0x20 && a != 0x7F;
  return length > 2 || (length == 2 && (a != 0xC2 || (unsigned char)text[1] >= 0xA0));
}

void plb_say_clean(const char *text, char *out, size_t size) {
  size_t used = 0;
  while (*text) {
    const size_t length = plb_text_utf8(text);
    const bool blank = *text == '\n' || *text == '\t' || *text == '\r';
    const bool plain = is_plain(text, length);
    const char *from = blank ? " " : plain ? text : replacement;
    const size_t bytes = blank ? 1 : plain ? length : sizeof replacement - 1;
    if (used + bytes >= size)
      break;
    memcpy(out + used, from, bytes);
    used += bytes;
    text += length > 0 ? length : 1;
  }
  out[used] = '\0';
}

const char *plb_say_file_name(const char *path) {
  const char *slash = strrchr(path, '/');
  return slash ? slash + 1 : path;
}

/* "1234567" -> "1,234,567"; digits behind a point and in an exponent stay as they are. */
static void group_thousands(const char *plain, char out[PLB_SAY_SIZE]) {
  const size_t sign = *plain == '-' || *plain == '+' ? 1 : 0;
  const size_t whole = strspn(plain + sign, "0123456789");
  size_t used = 0;
  for (size_t i = 0; plain[i] && used + 2 < PLB_SAY_SIZE; i++) {
    const size_t left = sign + whole - i; /* digits from here to the point, while inside the whole part */
    if (i > sign && i < sign + whole && left % 3 == 0)
      out[used++] = ',';
    out[used++] = plain[i];
  }
  out[used] = '\0';
}

static void trim_zeros(char *text) {
  if (!strchr(text, '.') || strchr(text, 'e'))
    return;
  size_t n = strlen(text);
  while (text[n - 1] == '0')
    text[--n] = '\0';
  if (text[n - 1] == '.')
    text[--n] = '\0';
}

void plb_say_number(double value, int digits, char out[PLB_SAY_SIZE]) {
  if (!isfinite(value)) {
    plb_text_copy(out, PLB_SAY_SIZE, "-");
    return;
  }
  char rounded[PLB_SAY_SIZE];
  plb_text_print(rounded, sizeof rounded, "%.*e", digits - 1, value);
  double shown = 0;
  plb_text_number(rounded, strlen(rounded), &shown);
  if (shown == 0) {
    plb_text_copy(out, PLB_SAY_SIZE, "0");
    return;
  }
  const int exponent = (int)floor(log10(fabs(shown)) + 1e-9);
  if (exponent < -5 || exponent > 11) {
    plb_text_print(out, PLB_SAY_SIZE, "%.*g", digits, value);
    return;
  }
  const int decimals = digits - 1 - exponent > 0 ? digits - 1 - exponent : 0;
  plb_text_print(rounded, sizeof rounded, "%.*f", decimals, shown);
  trim_zeros(rounded);
  group_thousands(rounded, out);
}

void plb_say_signed(double value, int digits, char out[PLB_SAY_SIZE]) {
  char plain[PLB_SAY_SIZE];
  plb_say_number(value, digits, plain);
  const bool bare = plain[0] == '-' || strcmp(plain, "0") == 0;
  plb_text_print(out, PLB_SAY_SIZE, "%s%.62s", bare ? "" : "+", plain);
}

void plb_say_count(uint64_t value, char out[PLB_SAY_SIZE]) {
  char plain[PLB_SAY_SIZE];
  plb_text_print(plain, sizeof plain, "%llu", (unsigned long long)value);
  group_thousands(plain, out);
}

/* UCUM codes that people write otherwise. Codes not listed are written as they are. */
static const struct {
  const char *code, *people;
} spelled[] = {
    {"1", ""},        {"Cel", "deg C"},     {"[degF]", "deg F"}, {"[psi]", "psi"}, {"/min", "rpm"},
    {"1/min", "rpm"}, {"{rev}/min", "rpm"}, {"[in_i]", "in"},    {"[ppm]", "ppm"}, {"[g]", "g"},
};

const char *plb_say_unit(const char *code) {
  for (size_t i = 0; i < sizeof spelled / sizeof spelled[0]; i++)
    if (strcmp(spelled[i].code, code) == 0)
      return spelled[i].people;
  return code;
}

static void quantity(double value, const char *unit, int digits, bool with_sign, char out[PLB_SAY_SIZE]) {
  const char *code = unit;
  const double factor = plb_unit_scale_for_people(value, unit, &code);
  char number[PLB_SAY_SIZE];
  if (with_sign)
    plb_say_signed(value * factor, digits, number);
  else
    plb_say_number(value * factor, digits, number);
  const char *people = isfinite(value) ? plb_say_unit(code) : "";
  plb_text_print(out, PLB_SAY_SIZE, "%.30s%s%.31s", number, *people ? " " : "", people);
}

void plb_say_quantity(double value, const char *unit, int digits, char out[PLB_SAY_SIZE]) {
  quantity(value, unit, digits, false, out);
}

void plb_say_signed_quantity(double value, const char *unit, int digits, char out[PLB_SAY_SIZE]) {
  quantity(value, unit, digits, true, out);
}

void plb_say_beside(double value, double largest, const char *unit, int digits, char out[PLB_SAY_SIZE]) {
  const char *code = unit;
  const double factor = plb_unit_scale_for_people(largest, unit, &code);
  char number[PLB_SAY_SIZE];
  plb_say_number(value * factor, digits, number);
  const char *people = isfinite(value) ? plb_say_unit(code) : "";
  plb_text_print(out, PLB_SAY_SIZE, "%.30s%s%.31s", number, *people ? " " : "", people);
}

void plb_say_share(double share, char out[PLB_SAY_SIZE]) {
  if (!isfinite(share)) {
    plb_text_copy(out, PLB_SAY_SIZE, "-");
    return;
  }
  double percent = round(share * 100);
  if (percent >= 100 && share < 1)
    percent = 99;
  if (percent <= 0 && share > 0)
    percent = 1;
  plb_text_print(out, PLB_SAY_SIZE, "%.0f %%", percent);
}

void plb_say_probability(double p, char out[PLB_SAY_SIZE]) {
  if (isfinite(p) && p < 0.001)
    plb_text_copy(out, PLB_SAY_SIZE, "below 0.001");
  else
    plb_say_number(p, 2, out);
}

void plb_say_one_in(double share, char out[PLB_SAY_SIZE]) {
  char number[PLB_SAY_SIZE];
  if (!(share > 0) || share > 1) {
    plb_text_copy(out, PLB_SAY_SIZE, "-");
    return;
  }
  plb_say_count((uint64_t)llround(1 / share), number);
  plb_text_print(out, PLB_SAY_SIZE, "1 in %.50s", number);
}

void plb_say_counted(uint64_t count, const char *one, char out[PLB_SAY_SIZE]) {
  char number[PLB_SAY_SIZE];
  plb_say_count(count, number);
  plb_text_print(out, PLB_SAY_SIZE, "%.26s %.35s%s", number, one, count == 1 ? "" : "s");
}
