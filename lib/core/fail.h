#ifndef PLB_CORE_FAIL_H
#define PLB_CORE_FAIL_H
/** @file  Set a failure and return it in one expression: `return plb_fail(err, PLB_EDATA, "...")`. */
#include <plumbline/error.h>

/** Fill `err` (may be NULL) and return `status`. The message says what is wrong and, after "; ", what to do. */
plb_status plb_fail(plb_error *err, plb_status status, const char *format, ...) PLB_PRINTF(3, 4);

/** The same with a line and a column (both from 1; column 0: none). */
plb_status plb_fail_line(plb_error *err, plb_status status, int64_t line, int64_t column, const char *format, ...)
    PLB_PRINTF(5, 6);

/** The same with a byte offset from 0. */
plb_status plb_fail_byte(plb_error *err, plb_status status, int64_t byte, const char *format, ...) PLB_PRINTF(4, 5);

/** Name the file a failure came from, unless one is named already; returns err->status or, without err, `status`. */
plb_status plb_fail_path(plb_error *err, plb_status status, const char *path);

#endif
