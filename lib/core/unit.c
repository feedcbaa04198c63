#include "core/unit.h"

#include <math.h>
#include <string.h>

/* The Unified Code for Units of Measure, case-sensitive form, as far as this trade needs it: atoms, prefixes of
 * metric atoms, products, quotients, whole exponents and annotations in braces. Left out: parentheses and whole
 * factors other than 1. An annotation means nothing and, standing alone, means 1 (section 2.1.4): "{rev}/min" is
 * "/min", but "{rpm}" is the number one. */

enum { LENGTH, MASS, TIME, CURRENT, TEMPERATURE, ANGLE, LEVEL, DIMENSIONS };

#define PI 3.14159265358979323846

/* Worth `times / over` of the base, plus `offset`. Two whole numbers instead of one fraction let 9 ms be exactly
 * the number 0.009. The bases are m kg s A K, the degree (so that turns and degrees convert exactly) and dB. */
typedef struct worth {
  int power[DIMENSIONS];
  double times, over, offset;
} worth;

typedef enum use { PLAIN, METRIC, ALONE } use; /* METRIC takes prefixes; ALONE is special: no prefix, no product */

typedef struct atom {
  const char *code;
  use use;
  worth is;
} atom;

/* Values: ucum-essence.xml of the UCUM organisation; SI definitions. */
static const atom atoms[] = {
    /*                     m   kg  s   A   K  deg dB   times  over  offset */
    {"1", PLAIN, {{0, 0, 0, 0, 0, 0, 0}, 1, 1, 0}},
    {"%", PLAIN, {{0, 0, 0, 0, 0, 0, 0}, 1, 100, 0}},
    {"[ppm]", PLAIN, {{0, 0, 0, 0, 0, 0, 0}, 1, 1e6, 0}},
    {"bit", METRIC, {{0, 0, 0, 0, 0, 0, 0}, 1, 1, 0}},
    {"By", METRIC, {{0, 0, 0, 0, 0, 0, 0}, 8, 1, 0}},
    {"m", METRIC, {{1, 0, 0, 0, 0, 0, 0}, 1, 1, 0}},
    {"[in_i]", PLAIN, {{1, 0, 0, 0, 0, 0, 0}, 254, 10000, 0}},
    {"[mi_i]", PLAIN, {{1, 0, 0, 0, 0, 0, 0}, 1609344, 1000, 0}},
    {"L", METRIC, {{3, 0, 0, 0, 0, 0, 0}, 1, 1000, 0}},
    {"l", METRIC, {{3, 0, 0, 0, 0, 0, 0}, 1, 1000, 0}},
    {"g", METRIC, {{0, 1, 0, 0, 0, 0, 0}, 1, 1000, 0}},
    {"t", METRIC, {{0, 1, 0, 0, 0, 0, 0}, 1000, 1, 0}},
    {"s", METRIC, {{0, 0, 1, 0, 0, 0, 0}, 1, 1, 0}},
    {"min", PLAIN, {{0, 0, 1, 0, 0, 0, 0}, 60, 1, 0}},
    {"h", PLAIN, {{0, 0, 1, 0, 0, 0, 0}, 3600, 1, 0}},
    {"d", PLAIN, {{0, 0, 1, 0, 0, 0, 0}, 86400, 1, 0}},
    {"Hz", METRIC, {{0, 0, -1, 0, 0, 0, 0}, 1, 1, 0}},
    {"Bd", METRIC, {{0, 0, -1, 0, 0, 0, 0}, 1, 1, 0}},
    {"A", METRIC, {{0, 0, 0, 1, 0, 0, 0}, 1, 1, 0}},
    {"C", METRIC, {{0, 0, 1, 1, 0, 0, 0}, 1, 1, 0}},
    {"K", METRIC, {{0, 0, 0, 0, 1, 0, 0}, 1, 1, 0}},
    {"Cel", ALONE, {{0, 0, 0, 0, 1, 0, 0}, 1, 1, 273.15}},
    {"[degF]", ALONE, {{0, 0, 0, 0, 1, 0, 0}, 5, 9, 459.67 * 5 / 9}},
    {"deg", PLAIN, {{0, 0, 0, 0, 0, 1, 0}, 1, 1, 0}},
    {"circ", PLAIN, {{0, 0, 0, 0, 0, 1, 0}, 360, 1, 0}},
    {"rad", METRIC, {{0, 0, 0, 0, 0, 1, 0}, 180, PI, 0}},
    {"dB", ALONE, {{0, 0, 0, 0, 0, 0, 1}, 1, 1, 0}},
    {"N", METRIC, {{1, 1, -2, 0, 0, 0, 0}, 1, 1, 0}},
    {"[g]", METRIC, {{1, 0, -2, 0, 0, 0, 0}, 980665, 100000, 0}},
    {"Pa", METRIC, {{-1, 1, -2, 0, 0, 0, 0}, 1, 1, 0}},
    {"bar", METRIC, {{-1, 1, -2, 0, 0, 0, 0}, 100000, 1, 0}},
    {"[psi]", PLAIN, {{-1, 1, -2, 0, 0, 0, 0}, 0.45359237 * 9.80665, 0.0254 * 0.0254, 0}},
    {"J", METRIC, {{2, 1, -2, 0, 0, 0, 0}, 1, 1, 0}},
    {"W", METRIC, {{2, 1, -3, 0, 0, 0, 0}, 1, 1, 0}},
    {"V", METRIC, {{2, 1, -3, -1, 0, 0, 0}, 1, 1, 0}},
    {"Ohm", METRIC, {{2, 1, -3, -2, 0, 0, 0}, 1, 1, 0}},
    {"S", METRIC, {{-2, -1, 3, 2, 0, 0, 0}, 1, 1, 0}},
    {"F", METRIC, {{-2, -1, 4, 2, 0, 0, 0}, 1, 1, 0}},
    {"H", METRIC, {{2, 1, -2, -2, 0, 0, 0}, 1, 1, 0}},
    {"Wb", METRIC, {{2, 1, -2, -1, 0, 0, 0}, 1, 1, 0}},
    {"T", METRIC, {{0, 1, -2, -1, 0, 0, 0}, 1, 1, 0}},
    {"G", METRIC, {{0, 1, -2, -1, 0, 0, 0}, 1, 10000, 0}},
};

typedef struct prefix {
  const char *code;
  double times, over;
} prefix;

static const prefix prefixes[] = {
    {"T", 1e12, 1}, {"G", 1e9, 1}, {"M", 1e6, 1}, {"k", 1e3, 1}, {"h", 1e2, 1}, {"da", 10, 1},
    {"d", 1, 10},   {"c", 1, 1e2}, {"m", 1, 1e3}, {"u", 1, 1e6}, {"n", 1, 1e9}, {"p", 1, 1e12},
};

typedef struct parse {
  worth total;
  int terms;
  bool alone; /* a special unit has been met */
} parse;

static const atom *find_atom(const char *text, size_t size) {
  for (size_t i = 0; i < sizeof atoms / sizeof atoms[0]; i++)
    if (strlen(atoms[i].code) == size && memcmp(atoms[i].code, text, size) == 0)
      return &atoms[i];
  return NULL;
}

/* A whole atom comes before a prefixed one: "min" is the minute. */
static const atom *find_symbol(const char *text, size_t size, prefix *before) {
  *before = (prefix){"", 1, 1};
  const atom *found = find_atom(text, size);
  for (size_t i = 0; i < sizeof prefixes / sizeof prefixes[0] && !found; i++) {
    const size_t n = strlen(prefixes[i].code);
    if (size <= n || memcmp(text, prefixes[i].code, n) != 0)
      continue;
    const atom *rest = find_atom(text + n, size - n);
    if (rest && rest->use == METRIC) {
      found = rest;
      *before = prefixes[i];
    }
  }
  return found;
}

/* Cut a trailing exponent ("s2", "m-1") off `*size` and give its value, 1 when there is none, 0 when it is wrong. */
static int cut_exponent(const char *text, size_t *size) {
  size_t k = *size;
  while (k > 0 && text[k - 1] >= '0' && text[k - 1] <= '9')
    k--;
  if (k == *size || k == 0) /* none, or a plain number */
    return 1;
  if (*size - k > 1)
    return 0;
  const int exponent = text[k] - '0';
  const bool negative = text[k - 1] == '-';
  *size = negative || text[k - 1] == '+' ? k - 1 : k;
  return negative ? -exponent : exponent;
}

static void multiply(worth *total, const atom *a, const prefix *before, int exponent) {
  for (int d = 0; d < DIMENSIONS; d++)
    total->power[d] += exponent * a->is.power[d];
  for (int i = 0; i < (exponent < 0 ? -exponent : exponent); i++) {
    total->times *= exponent > 0 ? before->times * a->is.times : before->over * a->is.over;
    total->over *= exponent > 0 ? before->over * a->is.over : before->times * a->is.times;
  }
  total->offset += a->is.offset;
}

/* Skip an annotation: the text behind it, NULL when its brace is not closed. */
static const char *skip_annotation(const char *text) {
  const size_t n = strcspn(text + 1, "{}");
  return text[1 + n] == '}' ? text + n + 2 : NULL;
}

/* One term; the text behind it, NULL when it is not known. */
static const char *parse_term(const char *text, int sign, parse *p) {
  size_t size = strcspn(text, "./{");
  const char *end = text + size;
  if (*end == '{') {
    end = skip_annotation(end);
    if (!end)
      return NULL;
    if (size == 0) {
      p->terms++;
      return end;
    }
  }
  prefix before;
  const int exponent = cut_exponent(text, &size);
  const atom *a = exponent != 0 ? find_symbol(text, size, &before) : NULL;
  if (!a || (a->use == ALONE && (sign < 0 || exponent != 1)))
    return NULL;
  p->alone = p->alone || a->use == ALONE;
  p->terms++;
  multiply(&p->total, a, &before, sign * exponent);
  return end;
}

static bool parse_unit(const char *code, worth *out) {
  if (strlen(code) >= PLB_UNIT_SIZE)
    return false;
  parse p = {.total = {.times = 1, .over = 1}};
  int sign = 1;
  const char *text = code;
  if (*text == '/') {
    sign = -1;
    text++;
  }
  for (;;) {
    text = parse_term(text, sign, &p);
    if (!text || (*text && *text != '.' && *text != '/'))
      return false;
    if (*text == '\0')
      break;
    sign = *text == '/' ? -1 : 1;
    text++;
  }
  *out = p.total;
  return !(p.alone && p.terms > 1);
}

/* value * times / over, in one rounding where the ratio or its inverse is whole. */
static double scale(double value, double times, double over) {
  const double up = times / over, down = over / times;
  if (up >= 1 && floor(up) == up)
    return value * up;
  if (down >= 1 && floor(down) == down)
    return value / down;
  return value * times / over;
}

bool plb_unit_known(const char *code) {
  worth unused;
  return parse_unit(code, &unused);
}

bool plb_unit_convert(double value, const char *from, const char *to, double *out) {
  worth a, b;
  if (!parse_unit(from, &a) || !parse_unit(to, &b) || memcmp(a.power, b.power, sizeof a.power) != 0)
    return false;
  if (strcmp(from, to) == 0)
    *out = value;
  else if (a.offset == 0 && b.offset == 0)
    *out = scale(value, a.times * b.over, a.over * b.times);
  else
    *out = scale(scale(value, a.times, a.over) + a.offset - b.offset, b.over, b.times);
  return true;
}
