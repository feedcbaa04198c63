#include "report/table.h"
#include "report/say.h"

#include <string.h>

plb_row *plb_table_row(plb_table *table, plb_tone tone) {
  plb_row *grown = table->status == PLB_OK ? plb_grow(table->row, table->rows, &table->capacity, sizeof *grown) : NULL;
  if (!grown) {
    table->status = PLB_ENOMEM;
    return NULL;
  }
  table->row = grown;
  plb_row *row = &grown[table->rows++];
  memset(row, 0, sizeof *row);
  row->tone = tone;
  return row;
}

void plb_table_put(plb_row *row, size_t column, const char *text) {
  if (row)
    plb_say_clean(text, row->cell[column], PLB_CELL_SIZE);
}

void plb_table_dispose(plb_table *table) {
  free(table->row);
  table->row = NULL;
}

static bool is_empty(const char *cell) { return cell[0] == '\0' || strcmp(cell, "-") == 0; }

/* Columns needed by each column, 0 for one that says nothing. Words are cut at a third of the page. */
static void measure(const plb_page *page, const plb_table *table, int wide[PLB_TABLE_COLUMNS]) {
  const int most = page->width / 3 > 10 ? page->width / 3 : 10;
  for (size_t c = 0; c < table->columns; c++) {
    bool empty = true;
    wide[c] = plb_page_columns(table->title[c]);
    for (size_t r = 0; r < table->rows; r++) {
      const int cell = plb_page_columns(table->row[r].cell[c]);
      empty = empty && is_empty(table->row[r].cell[c]);
      wide[c] = cell > wide[c] ? cell : wide[c];
    }
    wide[c] = empty ? 0 : wide[c] > most ? most : wide[c];
  }
}

/* The first column that does not stand in the table any more because the page is too narrow. */
static size_t first_below(const plb_page *page, const plb_table *table, const int wide[PLB_TABLE_COLUMNS]) {
  int at = 0;
  for (size_t c = 0; c < table->columns; c++) {
    if (wide[c] == 0)
      continue;
    at += wide[c] + (at > 0 ? 2 : 0);
    if (at > page->width)
      return c > 0 ? c : 1;
  }
  return table->columns;
}

/* Bytes of a cell that fit `wide` columns; `*cut_out` when an ellipsis must stand for the rest. */
static size_t fitting(const char *cell, int wide, bool *cut_out) {
  *cut_out = plb_page_columns(cell) > wide;
  const int keep = *cut_out ? wide - 1 : wide;
  size_t used = 0;
  for (int c = 0; cell[used] && c < keep; c++)
    for (used++; ((unsigned char)cell[used] & 0xC0) == 0x80;)
      used++;
  return used;
}

static void put_cell(plb_page *page, plb_tone tone, const char *cell, int wide, bool right, bool last) {
  bool cut = false;
  const size_t size = fitting(cell, wide, &cut);
  const int blank = cut ? 0 : wide - plb_page_columns(cell);
  plb_page_blanks(page, right ? blank : 0);
  plb_page_put(page, tone, cell, size);
  if (cut)
    plb_buffer_puts(&page->out, "\xE2\x80\xA6"); /* U+2026, one column */
  plb_page_blanks(page, right || last ? 0 : blank);
}

static const char dashes[] = "--------------------------------------------------------------------------------";

/* One line of the table: kind 0 the titles, 1 the rule, 2 a row. */
static void put_line(plb_page *page, const plb_table *table, const int *wide, size_t below, int kind,
                     const plb_row *row) {
  size_t last = 0;
  for (size_t c = 0; c < below; c++)
    last = wide[c] > 0 ? c : last;
  bool started = false;
  for (size_t c = 0; c < below; c++) {
    if (wide[c] == 0)
      continue;
    plb_page_blanks(page, started ? 2 : 0);
    started = true;
    const bool toned = row && table->tone_column == (int)c;
    const char *text = kind == 0 ? table->title[c] : kind == 1 ? "" : row->cell[c];
    if (kind == 1)
      plb_buffer_append(&page->out, dashes, (size_t)wide[c] < sizeof dashes ? (size_t)wide[c] : sizeof dashes - 1);
    else
      put_cell(page, toned ? row->tone : PLB_TONE_NONE, text, wide[c], table->right[c], c == last);
  }
  while (page->out.size > 0 && page->out.data[page->out.size - 1] == ' ')
    page->out.data[--page->out.size] = '\0';
  plb_buffer_append(&page->out, "\n", 1);
}

/* What did not fit: "worst at 6 deg, tooth 1; lag +0.1 ms" on lines of their own. */
static void put_below(plb_page *page, const plb_table *table, const int *wide, size_t below, const plb_row *row) {
  char text[PLB_TABLE_COLUMNS * (PLB_CELL_SIZE + 32)] = "";
  size_t used = 0;
  for (size_t c = below; c < table->columns; c++)
    if (wide[c] > 0 && !is_empty(row->cell[c]) && used < sizeof text - PLB_CELL_SIZE - 32)
      used += (size_t)plb_text_print(text + used, sizeof text - used, "%s%.24s %s", used > 0 ? "; " : "",
                                     table->title[c], row->cell[c]);
  if (used > 0)
    plb_page_wrap(page, 4, 4, PLB_TONE_NONE, "", text);
}

void plb_page_table(plb_page *page, const plb_table *table) {
  int wide[PLB_TABLE_COLUMNS];
  if (table->status != PLB_OK && page->out.status == PLB_OK)
    page->out.status = table->status;
  measure(page, table, wide);
  const size_t below = first_below(page, table, wide);
  put_line(page, table, wide, below, 0, NULL);
  put_line(page, table, wide, below, 1, NULL);
  for (size_t r = 0; r < table->rows; r++) {
    put_line(page, table, wide, below, 2, &table->row[r]);
    put_below(page, table, wide, below, &table->row[r]);
  }
}
