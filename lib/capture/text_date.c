#include "capture/text_date.h"
#include "capture/text_cell.h"

#include <math.h>
#include <string.h>

enum { LOOKED_AT = 64, FEWEST = 2, FRACTION_MOST = 9 };

static bool is_digit(char c) { return c >= '0' && c <= '9'; }

/* Two digits, or one, below `most`. */
static const char *take_number(const char *p, const char *end, unsigned most, unsigned *out) {
  const char *first = p;
  *out = 0;
  while (p < end && p - first < 2 && is_digit(*p))
    *out = 10 * *out + (unsigned)(*p++ - '0');
  return p > first && *out < most ? p : NULL;
}

/* "2026-11-25", "25.11.2026", "11/25/26". @return behind it, NULL: none */
static const char *take_date(const char *p, const char *end) {
  char mark = '\0';
  for (int part = 0; part < 3; part++) {
    const char *first = p;
    while (p < end && is_digit(*p))
      p++;
    if (p == first || p - first > 4)
      return NULL;
    if (part == 2)
      return p;
    if (p == end || !strchr("-./", *p) || (part == 1 && *p != mark))
      return NULL;
    mark = *p++;
  }
  return NULL;
}

/* A time of day and where it stands in its line. */
typedef struct stamp {
  const char *date, *date_end; /* NULL: none */
  const char *first, *end;     /* of what is replaced, the date in the same cell included */
  bool apart;                  /* the date is a cell of its own */
  double seconds;              /* since midnight */
  int decimals;
  char mark; /* of the fraction; NUL: none */
} stamp;

/* "10:00:00.001", perhaps with AM or PM, Z or an offset behind it. @param comma  a comma may be the decimal mark */
static bool take_time(stamp *s, const char *p, const char *end, bool comma) {
  unsigned hour, minute, second;
  s->first = p;
  if (!(p = take_number(p, end, 24, &hour)) || p == end || *p++ != ':' || !(p = take_number(p, end, 60, &minute)) || p == end || *p++ != ':' ||
      !(p = take_number(p, end, 61, &second)))
    return false;
  double fraction = 0.0, worth = 0.1;
  s->decimals = 0;
  s->mark = '\0';
  if (p + 1 < end && (*p == '.' || (comma && *p == ',')) && is_digit(p[1])) {
    s->mark = *p++;
    for (; p < end && is_digit(*p); p++, s->decimals++, worth *= 0.1)
      fraction += worth * (*p - '0');
  }
  const char *half = p;
  while (half < end && *half == ' ')
    half++;
  if (half + 1 < end && (half[1] | 0x20) == 'm' && ((half[0] | 0x20) == 'a' || (half[0] | 0x20) == 'p') && hour <= 12) {
    hour = hour % 12 + ((half[0] | 0x20) == 'p' ? 12 : 0);
    p = half + 2;
  } else if (p < end && *p == 'Z') {
    p++;
  } else if (p + 5 < end && (*p == '+' || *p == '-') && is_digit(p[1]) && p[3] == ':') {
    p += 6;
  }
  s->end = p;
  s->seconds = 3600.0 * hour + 60.0 * minute + second + fraction;
  return s->decimals <= FRACTION_MOST && (p == end || strchr(" \t,;\"", *p) != NULL);
}

/* The first time of day of a line; a date in front of it in the same cell, or in the cell before. */
static bool find_stamp(stamp *out, const char *line, const char *end) {
  const size_t n = (size_t)(end - line);
  const bool other = memchr(line, ';', n) != NULL || memchr(line, '\t', n) != NULL;
  const char *date = NULL, *date_end = NULL;
  for (const char *p = line; p < end; p++) {
    const bool begins = p == line || strchr(" \t,;\"T", p[-1]) != NULL;
    stamp s = {.date = NULL};
    if (!begins || !is_digit(*p))
      continue;
    const char *behind = take_date(p, end);
    if (behind && behind < end && strchr(" \t,;\"T", *behind)) {
      date = p;
      date_end = behind;
      p = behind - 1;
      continue;
    }
    if (!take_time(&s, p, end, other))
      continue;
    const ptrdiff_t between = date ? s.first - date_end : -1;
    if (between > 0 && between <= 3) {
      s.date = date;
      s.date_end = date_end;
      const bool only_blanks = strspn(date_end, " T") >= (size_t)between;
      /* between cells that blanks separate, the date is a cell too */
      s.apart = !only_blanks || (*date_end == ' ' && !other && !memchr(line, ',', n) && !memchr(line, '"', n));
      s.first = s.apart ? s.first : date;
    }
    if (s.first > line && s.first[-1] == '"' && s.end < end && *s.end == '"') { /* blanks count between quotes */
      s.first--;
      s.end++;
    }
    *out = s;
    return true;
  }
  return false;
}

/* Most of the first lines, and the last ones before their end, carry one. */
static bool has_stamps(const char *text, const char *end) {
  size_t with = 0, run = 0, longest = 0, lines = 0;
  for (const char *p = text; p < end && lines < LOOKED_AT; p = plb_line_next(p, end)) {
    stamp s;
    const char *stop = plb_line_end(p, end);
    if (stop == p)
      continue;
    const bool here = find_stamp(&s, p, stop);
    with += here;
    run = here ? run + 1 : 0;
    longest = run > longest ? run : longest;
    lines++;
  }
  return longest >= FEWEST && longest + 1 >= with; /* a preamble may carry the date of the recording */
}

static void put_stamp(char *at, const stamp *s, double seconds, char blank) {
  char text[48];
  const size_t room = (size_t)(s->end - s->first);
  const int n = plb_text_print(text, sizeof text, "%.*f", s->decimals, seconds);
  char *point = strchr(text, '.');
  if (point && s->mark)
    *point = s->mark;
  memset(at, blank, room);
  memcpy(at, text, (size_t)n < room ? (size_t)n : room);
}

typedef struct days {
  double last, base; /* seconds of day of the row before; seconds of the days passed */
  char date[16];
  bool any;
} days;

/* A day has passed where the time of day starts again. */
static plb_status pass_midnight(days *d, const stamp *s, int64_t line, plb_error *err) {
  char date[sizeof d->date] = "";
  const size_t n = s->date ? (size_t)(s->date_end - s->date) : 0;
  if (n > 0 && n < sizeof date)
    memcpy(date, s->date, n);
  const bool again = d->any && s->seconds < d->last - 43200.0;
  if (d->any && !again && strcmp(date, d->date) != 0)
    return plb_fail_line(err, PLB_EDATA, line, s->date ? 1 : 0, "the date changes from %s to %s and no midnight lies between; split the file there",
                         d->date, date);
  d->base += again ? 86400.0 : 0.0;
  d->last = s->seconds;
  d->any = true;
  memcpy(d->date, date, sizeof date);
  return PLB_OK;
}

static plb_status rewrite(char *copy, const char *text, const char *end, plb_error *err) {
  days d = {.last = 0.0};
  int64_t number = 1;
  plb_status status = PLB_OK;
  for (const char *p = text; p < end && status == PLB_OK; number++) {
    stamp s, behind;
    const char *stop = plb_line_end(p, end), *next = plb_line_next(p, end);
    const bool here = find_stamp(&s, p, stop);
    /* above the rows a stamp stands alone: it is the date of the recording */
    const bool row = here && (d.any || (next < end && find_stamp(&behind, next, plb_line_end(next, end))));
    if (row)
      status = pass_midnight(&d, &s, number, err);
    if (row && status == PLB_OK) {
      put_stamp(copy + (s.first - text), &s, d.base + s.seconds, ' ');
      if (s.apart) { /* a cell of its own says nothing more */
        memset(copy + (s.date - text), ' ', (size_t)(s.date_end - s.date));
        copy[s.date - text] = '-';
      }
    }
    p = next;
  }
  return status;
}

plb_status plb_text_rewrite_dates(const char *text, size_t size, char **out, plb_error *err) {
  *out = NULL;
  if (!has_stamps(text, text + size))
    return PLB_OK;
  char *copy = plb_resize(NULL, size + 1, 1);
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  memcpy(copy, text, size);
  copy[size] = '\0';
  const plb_status status = rewrite(copy, text, text + size, err);
  if (status != PLB_OK) {
    free(copy);
    return status;
  }
  *out = copy;
  return PLB_OK;
}
