#ifndef PLB_CAPTURE_TEXT_SAMPLE_H
#define PLB_CAPTURE_TEXT_SAMPLE_H
/** @file  Lines of a delimited text that give evidence of its layout: the first ones, and some at four places spread
 * over it. */
#include "capture/text_layout.h"

enum {
  PLB_TEXT_HEAD_LINES = 400,
  PLB_TEXT_SPREAD_PLACES = 4,
  PLB_TEXT_SPREAD_LINES = 64,
  PLB_TEXT_SAMPLE_LINES = PLB_TEXT_HEAD_LINES + PLB_TEXT_SPREAD_PLACES * PLB_TEXT_SPREAD_LINES
};

typedef struct plb_text_sample {
  const char *line[PLB_TEXT_SAMPLE_LINES]; /**< none of them empty */
  size_t count;
} plb_text_sample;

/** One way to read a line. */
typedef struct plb_text_way {
  char separator, mark;
} plb_text_way;

typedef struct plb_text_row_count {
  size_t cells, numbers, texts;
  bool ends_empty;
} plb_text_row_count;

void plb_text_take_sample(plb_text_sample *s, const char *begin, const char *end);
bool plb_text_is_empty_line(const char *p, const char *end);
/** What a line holds when it is read this way; counting ends behind PLB_TEXT_MOST_COLUMNS cells. */
plb_text_row_count plb_text_count_row(const char *p, const char *end, plb_text_way way);
/** The number of the line that begins at `place`, from 1. */
int64_t plb_text_line_of(const plb_text_layout *t, const char *place);

/**
 * Where commas are about, decide what they are for; the layout has separator, mark and columns.
 * May turn two columns of whole numbers into one with a decimal comma.
 */
PLB_CHECKED plb_status plb_text_check_comma(const plb_text_sample *s, plb_text_layout *t, plb_error *err);

#endif
