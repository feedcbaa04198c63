#include "capture/text_cell.h"
#include "capture/number.h"
#include <string.h>

enum { LONGEST_QUOTE = 65536 }; /* a cell longer than this lacks its closing quote */

const char *plb_line_end(const char *p, const char *end) {
  while (p < end && !plb_is_line_end(*p))
    p++;
  return p;
}

const char *plb_line_next(const char *p, const char *end) {
  p = plb_line_end(p, end);
  if (p < end && *p == '\r')
    return p + 1 < end && p[1] == '\n' ? p + 2 : p + 1;
  return p < end ? p + 1 : end;
}

static const char *skip_blanks(const char *p, const char *end, char separator) {
  while (p < end && plb_is_blank(*p) && *p != separator)
    p++;
  return p;
}

/* Returns behind the closing quote; a doubled quote stands for one (RFC 4180, rule 7). */
static const char *read_quoted(const char *p, const char *end, plb_cell *out) {
  const char *start = ++p;
  if (end - p > LONGEST_QUOTE)
    end = p + LONGEST_QUOTE;
  while (p < end) {
    if (*p == '"') {
      if (p + 1 >= end || p[1] != '"')
        break;
      p++;
    }
    p++;
  }
  out->quoted = true;
  out->open = p >= end;
  out->text = start;
  out->size = (size_t)(p - start);
  return p < end ? p + 1 : end;
}

static const char *read_plain(const char *p, const char *end, char separator, plb_cell *out) {
  const char *start = p;
  if (separator == PLB_BLANKS) {
    while (p < end && !plb_is_blank(*p) && !plb_is_line_end(*p))
      p++;
  } else {
    while (p < end && *p != separator && !plb_is_line_end(*p))
      p++;
  }
  const char *stop = p;
  while (stop > start && plb_is_blank(stop[-1]))
    stop--;
  out->text = start;
  out->size = (size_t)(stop - start);
  return p;
}

const char *plb_cell_read(const char *p, const char *end, char separator, plb_cell *out) {
  *out = (plb_cell){.text = p};
  p = separator == PLB_BLANKS ? p : skip_blanks(p, end, separator);
  while (separator == PLB_BLANKS && p < end && plb_is_blank(*p))
    p++;
  if (p < end && *p == '"') {
    p = read_quoted(p, end, out);
    plb_cell rest;
    const char *after = read_plain(p, end, separator, &rest);
    if (rest.size > 0) { /* 5" pipe: a quote that does not close the cell is part of it */
      out->size = (size_t)(rest.text + rest.size - out->text + 1);
      out->text--;
      out->quoted = false;
    }
    p = after;
  } else {
    p = read_plain(p, end, separator, out);
  }
  if (separator == PLB_BLANKS) {
    while (p < end && plb_is_blank(*p))
      p++;
    out->last = p >= end || plb_is_line_end(*p);
    return p;
  }
  out->last = p >= end || *p != separator;
  return out->last ? p : p + 1;
}

const char *plb_cell_read_name(const char *p, const char *end, plb_cell *out) {
  p = plb_cell_read(p, end, PLB_BLANKS, out);
  while (!out->last && !out->quoted && (*p == '(' || *p == '[')) {
    plb_cell unit;
    p = plb_cell_read(p, end, PLB_BLANKS, &unit);
    out->size = (size_t)(unit.text + unit.size - out->text);
    out->last = unit.last;
  }
  return p;
}

bool plb_cell_copy(const plb_cell *cell, char *out, size_t size) {
  size_t used = 0;
  bool blank = false;
  for (size_t i = 0; i < cell->size; i++) {
    const char c = cell->text[i];
    if (c == '"' && cell->quoted && i + 1 < cell->size && cell->text[i + 1] == '"')
      i++;
    if ((unsigned char)c <= ' ' || c == 0x7F) {
      blank = used > 0;
      continue;
    }
    if (used + 2 >= size) {
      out[0] = '\0';
      return false;
    }
    if (blank)
      out[used++] = ' ';
    blank = false;
    out[used++] = c;
  }
  out[used] = '\0';
  return used > 0;
}

static bool is_one_of(const plb_cell *cell, const char *const *words) {
  char word[16];
  if (cell->size >= sizeof word)
    return false;
  memcpy(word, cell->text, cell->size);
  word[cell->size] = '\0';
  plb_text_lower(word);
  for (; *words; words++)
    if (strcmp(word, *words) == 0)
      return true;
  return false;
}

bool plb_cell_is_missing(const plb_cell *cell) {
  static const char *const words[] = {"", "nan", "-nan", "+nan", "na", "n/a", "null", "none", "-", "--", "---", NULL};
  return is_one_of(cell, words);
}

bool plb_cell_is_infinite(const plb_cell *cell) {
  static const char *const words[] = {"inf",       "+inf",         "-inf",          "infinity",      "+infinity",
                                      "-infinity", "\xE2\x88\x9E", "-\xE2\x88\x9E", "+\xE2\x88\x9E", NULL};
  return is_one_of(cell, words);
}

bool plb_cell_is_number(const plb_cell *cell, char mark) {
  if (cell->size == 0 || cell->size > 400)
    return false;
  plb_decimal decimal;
  const char *behind = plb_decimal_scan(cell->text, mark, &decimal);
  if (behind == cell->text + cell->size)
    return true;
  double value;
  return plb_number_value(cell->text, cell->size, mark, &value);
}
