#ifndef PLB_CAPTURE_TEXT_TABLE_H
#define PLB_CAPTURE_TEXT_TABLE_H
/** @file  A delimited text while it is being read. The steps stand in the order in which they are taken. */
#include "capture/column.h"
#include "capture/text_header.h"
#include "capture/text_time.h"

enum { PLB_TEXT_NO_TIME = -1 };

typedef struct plb_text_table {
  plb_text_layout layout;
  plb_column *column; /**< [size: layout.columns] */
  plb_header *header; /**< [size: layout.columns] */
  int time;           /**< column of the time stamps, from 0; PLB_TEXT_NO_TIME if none */
  bool time_named;    /**< told by its name, not by its even rise */
  plb_clock clock;
  size_t rows, room;
  int64_t line; /**< being read, from 1 */
  size_t empty_lines, missing, beyond;
} plb_text_table;

plb_status plb_text_fail_memory(plb_error *err);

/** Room for so many rows in every column that is kept. */
PLB_CHECKED plb_status plb_text_make_room(plb_text_table *r, size_t rows, plb_error *err);

/** Tell which columns hold numbers, and with what decimals they begin; the sample rows are left in the columns. */
PLB_CHECKED plb_status plb_text_learn_columns(plb_text_table *r, plb_error *err);

/**
 * The time column; without one, the rate that the lines above the rows name. Further columns of the same time are left
 * out.
 * @param rate_hz  set where the rate is named
 */
PLB_CHECKED plb_status plb_text_find_rate(plb_text_table *r, plb_capture *out, double *rate_hz, plb_error *err);

/** Begin to watch the time column; it is not kept. */
void plb_text_start_clock(plb_text_table *r);

/** All rows, in one pass over the bytes. */
PLB_CHECKED plb_status plb_text_read_body(plb_text_table *r, plb_error *err);

/** What the time stamps said. */
PLB_CHECKED plb_status plb_text_finish_clock(const plb_text_table *r, plb_capture *out, plb_error *err);

#endif
