#include "capture/text_layout.h"
#include <ctype.h>
#include <string.h>

/* Why a cell is no number, in words that say what to do. */

enum { SHOWN = 24 };

/* The start of the cell with everything unprintable replaced. */
static void excerpt(const plb_cell *cell, char out[SHOWN + 8]) {
  size_t n = cell->size < SHOWN ? cell->size : SHOWN;
  while (n < cell->size && n > 0 && ((unsigned char)cell->text[n] & 0xC0) == 0x80)
    n--; /* never half a character */
  for (size_t i = 0; i < n; i++) {
    const unsigned char c = (unsigned char)cell->text[i];
    out[i] = c < ' ' || c == 0x7F ? '?' : (char)c;
  }
  memcpy(out + n, n < cell->size ? "..." : "", n < cell->size ? 4 : 1);
}

static size_t count_of(const plb_cell *cell, const char *set) {
  size_t n = 0;
  for (size_t i = 0; i < cell->size; i++)
    n += cell->text[i] != '\0' && strchr(set, cell->text[i]) != NULL;
  return n;
}

static bool has_binary(const plb_cell *cell) {
  for (size_t i = 0; i < cell->size; i++)
    if ((unsigned char)cell->text[i] < ' ' && cell->text[i] != '\t')
      return true;
  return false;
}

/* A number followed by something else. */
static bool begins_as_number(const plb_cell *cell) {
  size_t i = cell->size > 0 && (cell->text[0] == '-' || cell->text[0] == '+');
  return i < cell->size && isdigit((unsigned char)cell->text[i]);
}

/* "1e999", but not "1e" or "1e+". */
static bool has_exponent(const plb_cell *cell) {
  size_t i = 0;
  while (i < cell->size && cell->text[i] != 'e' && cell->text[i] != 'E')
    i++;
  i += i + 1 < cell->size && (cell->text[i + 1] == '+' || cell->text[i + 1] == '-');
  return i > 0 && i + 1 < cell->size && isdigit((unsigned char)cell->text[cell->size - 1]);
}

bool plb_text_is_like_number(const plb_cell *cell) {
  const size_t digits = count_of(cell, "0123456789");
  return digits > 0 && digits + count_of(cell, ".,' +-eE") == cell->size;
}

plb_status plb_text_fail_cell(const plb_cell *cell, char separator, char mark, int64_t line, int64_t column,
                              plb_error *err) {
  char shown[SHOWN + 8];
  excerpt(cell, shown);
  const size_t points = count_of(cell, "."), commas = count_of(cell, ",");
  const size_t digits = count_of(cell, "0123456789"),
               others = cell->size - digits - points - commas - count_of(cell, "+-eE");
  const char *text = "'%s' is not a number; correct the cell or leave it empty";
  if (cell->open)
    text = "a quote is opened before '%s' and not closed; close or remove it";
  else if (has_binary(cell))
    text = "'%s' holds bytes that are not text; the file is damaged, copy or export it again";
  else if (others == 0 && digits > 0 && points + commas > 1)
    text = "'%s' has marks between thousands; export without them";
  else if (others == 0 && digits > 0 && commas == 1 && mark == '.' && separator != ',')
    text = "'%s' has a decimal comma, other numbers a decimal point; export with one of them";
  else if (others == 0 && digits > 0 && points == 1 && mark == ',')
    text = "'%s' has a decimal point, other numbers a decimal comma; export with one of them";
  else if (digits > 1 && count_of(cell, ":") > 0)
    text = "'%s' is a date or a time of day; export the time in seconds, or leave the column out and give --rate";
  else if (digits == cell->size && digits > 0)
    text = "'%s' has too many digits for a number; correct the cell";
  else if (others == 0 && commas == 0 && points < 2 && has_exponent(cell))
    text = "'%s' is too large for a number; correct the cell or leave it empty";
  else if (begins_as_number(cell))
    text = "'%s' is a number with something behind it; export plain numbers, with the unit in the header";
  char message[256];
  const char *place = strstr(text, "%s");
  const size_t before = (size_t)(place - text);
  memcpy(message, text, before);
  memcpy(message + before, shown, strlen(shown));
  memcpy(message + before + strlen(shown), place + 2, strlen(place + 2) + 1);
  return plb_fail_line(err, PLB_EDATA, line, column, "%s", message);
}
