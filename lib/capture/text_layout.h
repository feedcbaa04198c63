#ifndef PLB_CAPTURE_TEXT_LAYOUT_H
#define PLB_CAPTURE_TEXT_LAYOUT_H
/**
 * @file  How a delimited text is laid out: separator, decimal mark, number of columns, where the rows of numbers begin
 * and which lines name the columns. Decided by evidence from the first lines and from four places spread over the file.
 */
#include "capture/text_cell.h"

enum { PLB_TEXT_MOST_COLUMNS = 1024 };

typedef struct plb_text_layout {
  const char *begin, *end;
  char separator; /**< ',' ';' '\t' or PLB_BLANKS */
  char mark;      /**< '.' or ',' */
  size_t columns;
  bool trailing;     /**< rows may end in one more separator */
  bool *numeric;     /**< [size: columns]; the others hold text or nothing */
  const char *body;  /**< the first row of numbers */
  int64_t body_line; /**< its line, from 1 */
  const char *names; /**< the line with the names, NULL if none */
  const char *units; /**< the line with the units, NULL if none */
  bool names_joined; /**< names and bracketed units are cells of their own: plb_cell_read_name() puts them together */
  bool names_unused; /**< there is a header, but not with as many names as columns */
  const char **row;  /**< sample rows: the head ones follow each other from the body on */
  size_t rows, head_rows;
  double row_bytes; /**< mean length of the sample rows, line end included */
} plb_text_layout;

PLB_CHECKED plb_status plb_text_layout_find(plb_text_layout *out, const char *text, size_t size, plb_error *err);
void plb_text_layout_dispose(plb_text_layout *layout);

/** True for a line of comment: # or % in front, or ; where that does not separate columns. */
bool plb_text_is_comment(const char *line, char separator);

/** True for a cell of digits, marks and signs only, number or not. */
bool plb_text_is_like_number(const plb_cell *cell);

/** Explain why a cell is no number. */
plb_status plb_text_fail_cell(const plb_cell *cell, char separator, char mark, int64_t line, int64_t column,
                              plb_error *err);

#endif
