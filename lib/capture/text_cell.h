#ifndef PLB_CAPTURE_TEXT_CELL_H
#define PLB_CAPTURE_TEXT_CELL_H
/** @file  Rows and cells of delimited text (RFC 4180, and blanks as separator). The text ends in a NUL at `end`. */
#include "core/core.h"

enum { PLB_BLANKS = ' ' }; /**< as separator: any run of blanks and tabs */

typedef struct plb_cell {
  const char *text; /**< blanks around it and quotes taken away */
  size_t size;
  bool quoted;
  bool open; /**< the closing quote is missing */
  bool last; /**< nothing but the end of the row follows */
} plb_cell;

static inline bool plb_is_line_end(char c) { return c == '\n' || c == '\r'; }
static inline bool plb_is_blank(char c) { return c == ' ' || c == '\t'; }

/** The start of the next line: behind LF, CR LF or CR. */
const char *plb_line_next(const char *p, const char *end);
/** The end of this line: its line end or `end`. */
const char *plb_line_end(const char *p, const char *end);

/** Read the cell at `p`. @return the start of the next cell, or, when the cell is the last one, the line end or `end`
 */
const char *plb_cell_read(const char *p, const char *end, char separator, plb_cell *out);

/**
 * The same for a header between blanks, in which a unit in brackets stands behind its name: "Time (s) Voltage (V)" are two
 * cells.
 */
const char *plb_cell_read_name(const char *p, const char *end, plb_cell *out);

/** Copy a cell as a name: quotes undone, blanks inside squeezed, control characters dropped. @return false when it does
 * not fit or is empty */
bool plb_cell_copy(const plb_cell *cell, char *out, size_t size);

/** True for the words loggers write where there is no value: nothing, nan, NA, n/a, null, -, ---. */
bool plb_cell_is_missing(const plb_cell *cell);
/** True for inf, -inf, infinity and the sign for it. */
bool plb_cell_is_infinite(const plb_cell *cell);
/** True for a cell that holds one number. */
bool plb_cell_is_number(const plb_cell *cell, char mark);

#endif
