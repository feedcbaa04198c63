#ifndef PLB_REPORT_TABLE_H
#define PLB_REPORT_TABLE_H
/** @file  Tables of short cells on a page, with ASCII rules. */
#include "report/page.h"

enum { PLB_CELL_SIZE = 96, PLB_TABLE_COLUMNS = 12 };

typedef struct plb_row {
  plb_tone tone;
  char cell[PLB_TABLE_COLUMNS][PLB_CELL_SIZE];
} plb_row;

/** Zero-initialise but for the columns; free with plb_table_dispose(). */
typedef struct plb_table {
  size_t columns;
  const char *title[PLB_TABLE_COLUMNS];
  bool right[PLB_TABLE_COLUMNS]; /**< numbers: flush right */
  int tone_column;               /**< the column that carries the row's tone; -1: none */
  plb_row *row;
  size_t rows, capacity;
  plb_status status;
} plb_table;

/** Start a row; NULL when memory is short (sticky in `status`, also kept by plb_page_table). */
plb_row *plb_table_row(plb_table *table, plb_tone tone);
/** Put text into a cell, cleaned, cut to fit; a NULL row is ignored. */
void plb_table_put(plb_row *row, size_t column, const char *text);
/** Columns in which every cell is empty or "-" are left out; columns that do not fit the width go below their row. */
void plb_page_table(plb_page *page, const plb_table *table);
void plb_table_dispose(plb_table *table);

#endif
