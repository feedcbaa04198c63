#ifndef PLB_REPORT_PAGE_H
#define PLB_REPORT_PAGE_H
/** @file  Text for people: wrapped lines within a width. */
#include "core/core.h"
#include <plumbline/report.h>

/** What a piece of text is about; on a terminal it is shown by weight and colour, in plain text not at all. */
typedef enum plb_tone {
  PLB_TONE_NONE,
  PLB_TONE_STRONG,
  PLB_TONE_GOOD,
  PLB_TONE_DOUBT,
  PLB_TONE_BAD,
  PLB_TONE_OPEN
} plb_tone;
plb_tone plb_tone_of(plb_word word);

typedef struct plb_page {
  plb_buffer out;
  int width;     /**< columns, >= 24 */
  bool terminal; /**< escape sequences allowed */
} plb_page;

enum { PLB_PAGE_WIDTH = 80, PLB_PAGE_LEAST = 24 };
void plb_page_init(plb_page *page, plb_text_style style, int width);

/** Columns that a text takes on a terminal (one per character, none for combining marks). */
int plb_page_columns(const char *text);

/** One unbroken line. The first `lead` bytes carry the tone. */
void plb_page_line(plb_page *page, plb_tone tone, size_t lead, const char *text);
/** Text wrapped at blanks; the first line starts at `indent` after `lead` (with the tone), the others at `hang`. */
void plb_page_wrap(plb_page *page, int indent, int hang, plb_tone tone, const char *lead, const char *text);
/** An empty line, then a heading. */
void plb_page_heading(plb_page *page, const char *text);
void plb_page_gap(plb_page *page);

/** A piece of the current line, without wrapping. */
void plb_page_put(plb_page *page, plb_tone tone, const char *text, size_t size);
void plb_page_blanks(plb_page *page, int count);

#endif
