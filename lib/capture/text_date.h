#ifndef PLB_CAPTURE_TEXT_DATE_H
#define PLB_CAPTURE_TEXT_DATE_H
/** @file  Dates and times of day in the rows of a delimited text. */
#include "core/core.h"

/**
 * Where most rows carry a time of day (ISO 8601 and its relatives: 10:00:00.001, 2026-11-25T10:00:00Z, 25.11.2026 10:00:00,001, 11/25/2026
 * 10:00:00 PM), write the seconds since midnight of the first day in its place: into a copy in which every byte stays where it was, so that
 * lines and columns in messages hold. A date says nothing but that a day has passed, so that its order of day and month does not matter.
 * @param out  the copy, ending in a NUL, free(); NULL where there are no such rows
 * @return PLB_OK, PLB_EDATA (the date changes without a midnight), PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_text_rewrite_dates(const char *text, size_t size, char **out, plb_error *err);

#endif
