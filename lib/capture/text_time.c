#include "capture/text_time.h"
#include <math.h>
#include <string.h>

static bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }

static bool is_digit(char c) { return c >= '0' && c <= '9'; }

/* `word` stands at the start of the lower-case `text` and ends there: "t (ms)", "time_s", but not "t1" or "timer". */
static bool starts_with_word(const char *text, const char *word) {
  const size_t n = strlen(word);
  return strncmp(text, word, n) == 0 && !is_letter(text[n]) && (n > 3 || !is_digit(text[n]));
}

static void lower_copy(const char *header, char out[PLB_NAME_SIZE]) {
  size_t i = 0;
  for (; header[i] && i + 1 < PLB_NAME_SIZE; i++)
    out[i] = header[i];
  out[i] = '\0';
  plb_text_lower(out);
}

bool plb_time_is_name(const char *header) {
  static const char *const words[] = {"time",   "times", "timestamp", "t",    "zeit", "temps",
                                      "tiempo", "tempo", "tid",       "tijd", "czas", NULL};
  static const char *const units[] = {"s",  "sec", "seconds",   "ms",
                                      "us", "ns",  "\xC2\xB5s", NULL}; /* a unit as the whole header */
  char text[PLB_NAME_SIZE];
  lower_copy(header, text);
  for (size_t i = 0; words[i]; i++)
    if (starts_with_word(text, words[i]))
      return true;
  for (size_t i = 0; units[i]; i++)
    if (strcmp(text, units[i]) == 0)
      return true;
  return false;
}

bool plb_time_is_counter_name(const char *header) {
  static const char *const words[] = {"sample", "samples", "index", "no",     "nr", "n", "i",
                                      "row",    "point",   "count", "number", "#",  NULL};
  char text[PLB_NAME_SIZE];
  lower_copy(header, text);
  for (size_t i = 0; words[i]; i++)
    if (starts_with_word(text, words[i]))
      return true;
  return false;
}

void plb_clock_start(plb_clock *clock, int decimals, int digits) {
  *clock = (plb_clock){.least_grain = pow(10.0, -decimals), .digit_share = pow(10.0, -digits), .bracket = 1e-30};
}

/*
 * Stamps are rounded where they are printed: to a fixed number of decimals, or to a number of significant digits, so
 * that the grain grows with the stamp. Both are known from sample rows; trailing noughts that were not printed do no
 * harm that way.
 */
static void note_grain(plb_clock *clock, double time) {
  while (fabs(time) >= clock->bracket && clock->bracket < 1e30)
    clock->bracket *= 10.0;
  clock->grain = fmax(clock->least_grain, clock->bracket * clock->digit_share);
}

bool plb_clock_tick(plb_clock *clock, double time) {
  const double grain = clock->grain;
  if (clock->count == 0 || fabs(time) >= clock->bracket)
    note_grain(clock, time);
  if (clock->count == 0) {
    clock->first = time;
    clock->first_grain = clock->grain;
  } else {
    const double step = time - clock->last;
    if (!(step >= 0.0))
      return false;
    const double slack = 0.5 * (grain + clock->grain);
    if (clock->count == 1 || step - slack > clock->widest) {
      clock->widest = step - slack;
      clock->widest_row = clock->count;
    }
    if (clock->count == 1 || step + slack < clock->narrowest)
      clock->narrowest = step + slack;
    clock->repeats += step == 0.0;
  }
  clock->last = time;
  clock->count++;
  return true;
}

/* x rounded to so many significant digits. */
static double round_digits(double x, int digits) {
  const int power = digits - 1 - (int)floor(log10(fabs(x)));
  const plb_decimal decimal = {(uint64_t)llround(fabs(x) * pow(10.0, power)), power, false};
  double out = x;
  return plb_decimal_value(&decimal, &out) ? out : x;
}

double plb_clock_rate(const plb_clock *clock) {
  const double span = clock->last - clock->first;
  if (clock->count < 2 || !(span > 0.0))
    return 0.0;
  const double steps = (double)(clock->count - 1);
  const double slack = fmin(0.5 * (clock->first_grain + clock->grain), 1e-3 * span) + 4e-16 * fabs(clock->last);
  const double low = steps / (span + slack), high = steps / (span - slack);
  if (!(low > 1e-9 && high < 1e13))
    return steps / span;
  for (int digits = 1; digits <= 9; digits++) {
    const double rate = round_digits(steps / span, digits);
    if (rate >= low && rate <= high)
      return rate;
    const double period = round_digits(span / steps, digits);
    if (1.0 / period >= low && 1.0 / period <= high)
      return 1.0 / period;
  }
  return steps / span;
}

double plb_clock_uneven(const plb_clock *clock) {
  if (clock->count < 3 || !(clock->last > clock->first))
    return 0.0;
  const double mean = (clock->last - clock->first) / (double)(clock->count - 1);
  const double worst = fmax(clock->widest - mean, mean - clock->narrowest) / mean;
  return worst > 1e-9 ? worst : 0.0;
}
