#include "capture/text_preamble.h"
#include "capture/number.h"
#include <math.h>
#include <string.h>

enum { LONGEST_LINE = 256 };

typedef enum says { SAYS_NOTHING, SAYS_RATE, SAYS_INTERVAL } says;

/* `lower` is a line in small letters; the key is what stands in front of the number. */
static says tell_key(const char *lower) {
  static const char *const intervals[] = {"interval", "increment", "period",          "delta t", "delta_t",
                                          "timestep", "time step", "time per sample", NULL};
  const bool of_samples = strstr(lower, "sampl") != NULL;
  for (size_t i = 0; intervals[i]; i++)
    if (strstr(lower, intervals[i]) && (of_samples || strcmp(intervals[i], "period") != 0))
      return SAYS_INTERVAL;
  if (of_samples && (strstr(lower, "rate") || strstr(lower, "freq")))
    return SAYS_RATE;
  return strncmp(lower, "dt", 2) == 0 && strspn(lower + 2, " \t:=,;[(") > 0 ? SAYS_INTERVAL : SAYS_NOTHING;
}

/* A unit in brackets within the key, or the word behind the number. */
static const char *find_unit(const char *key, const char *behind) {
  static const char closing[] = ")]";
  const char *open = strpbrk(key, "([");
  const char *close = open ? strpbrk(open, closing) : NULL;
  char word[PLB_UNIT_SIZE];
  if (close && (size_t)(close - open) < sizeof word) {
    memcpy(word, open + 1, (size_t)(close - open) - 1);
    word[close - open - 1] = '\0';
    return plb_unit_from_label(word);
  }
  behind += strspn(behind, " \t,;\"([");
  const size_t size = strcspn(behind, " \t,;\")]");
  if (size == 0 || size >= sizeof word)
    return NULL;
  memcpy(word, behind, size);
  word[size] = '\0';
  return plb_unit_from_label(word);
}

static double read_rate(const char *text, const char *lower, char mark) {
  const says what = tell_key(lower);
  const char *number = strpbrk(text, "0123456789");
  if (what == SAYS_NOTHING || !number || number == text || strchr("=:,;\t \"", number[-1]) == NULL)
    return 0.0;
  plb_decimal decimal;
  double value;
  const char *behind = plb_decimal_scan(number, mark, &decimal);
  if (!behind || !plb_decimal_value(&decimal, &value) || !(value > 0.0))
    return 0.0;
  char key[LONGEST_LINE];
  memcpy(key, text, (size_t)(number - text));
  key[number - text] = '\0';
  const char *unit = find_unit(key, behind);
  double base = 1.0;
  if (unit && !plb_unit_convert(1.0, unit, what == SAYS_RATE ? "Hz" : "s", &base))
    return 0.0;
  if (what == SAYS_RATE)
    return value * base;
  const double rate = base < 1.0 ? round(1.0 / base) / value : 1.0 / (value * base);
  return fabs(rate - round(rate)) < 1e-12 * rate ? round(rate) : rate; /* 1 / 0.00001 misses 100000 by its last bit */
}

double plb_text_preamble_rate(const plb_text_layout *layout, int64_t *line_out) {
  int64_t line = 1;
  for (const char *p = layout->begin; p < layout->body; p = plb_line_next(p, layout->end), line++) {
    const size_t size = (size_t)(plb_line_end(p, layout->end) - p);
    char text[LONGEST_LINE], lower[LONGEST_LINE];
    if (p == layout->names || p == layout->units || size == 0 || size >= sizeof text)
      continue;
    memcpy(text, p, size);
    text[size] = '\0';
    memcpy(lower, text, size + 1);
    plb_text_lower(lower);
    const double rate = read_rate(text, lower + strspn(lower, "#%; \t\""), layout->mark);
    if (rate > 0.0 && isfinite(rate)) {
      *line_out = line;
      return rate;
    }
  }
  return 0.0;
}
