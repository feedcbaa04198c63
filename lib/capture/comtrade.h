#ifndef PLB_CAPTURE_COMTRADE_H
#define PLB_CAPTURE_COMTRADE_H
/**
 * @file  COMTRADE (IEEE C37.111-1991, -1999, -2013 = IEC 60255-24): a configuration in lines of text, rows of samples
 * in text or binary, in two files or, since 2013, in one. The paid standard was not read; the layout is second-hand,
 * from public readers and translations.
 *
 *   line             fields                                              since
 *   1                station, device, revision year (none: 1991)
 *   2                channels in all, analog ones A, status ones D
 *   each analog      number, name, phase, circuit, unit, a, b, skew, least, most
 *                    and primary, secondary, P or S                      1999
 *   each status      number, name, [phase, circuit since 1999,] normal state
 *   then             line frequency
 *                    number of sample rates; each: rate [Hz], last row (none: one line "0, last row")
 *                    date, time of the first row; date, time of the trigger (1991 month first, later day first)
 *                    ASCII, BINARY; BINARY32, FLOAT32                    2013
 *                    what the row's time is multiplied by                1999
 *                    two lines about the clock                           2013
 *
 *   row: number, time [us, or ns where the times of day have nine decimals], analog values, status values
 *   binary rows, little-endian:   0  u32 number   4  u32 time, 0xFFFFFFFF: none   8  analog values, s16, s32 or f32
 *                                 then u16 for each 16 status channels, the first in bit 0
 *   value = a * number + b; missing: 0x8000, 0x80000000, not a number; in text nothing, in 1991 99999
 */
#include "capture/capture.h"

enum { PLB_COMTRADE_MOST_CHANNELS = 1024, PLB_COMTRADE_MOST_RATES = 64 };

typedef enum plb_comtrade_kind {
  PLB_COMTRADE_ASCII,
  PLB_COMTRADE_BINARY,
  PLB_COMTRADE_BINARY32,
  PLB_COMTRADE_FLOAT32
} plb_comtrade_kind;

extern const char *const plb_comtrade_kind_name[4];

typedef struct plb_comtrade_channel {
  char name[PLB_NAME_SIZE]; /**< empty: none, or too long */
  char unit[PLB_UNIT_SIZE]; /**< as the file has it */
  double a, b;
  int decimals; /**< >= 0: a is exactly 10^-decimals and b is 0; else -1 */
  double least, most;
} plb_comtrade_channel;

/** A date and a time of day. */
typedef struct plb_comtrade_time {
  bool known;
  int64_t day; /**< since 1970-01-01 */
  int64_t ns;  /**< of the day */
  bool fine;   /**< printed with nine decimals */
} plb_comtrade_time;

typedef struct plb_comtrade {
  int year;
  size_t analogs, states;
  plb_comtrade_channel *channel; /**< [size: analogs + states] */
  size_t rates;
  double rate_hz[PLB_COMTRADE_MOST_RATES];
  uint64_t rows;      /**< the last row's number */
  int64_t rows_line;  /**< where that stands */
  plb_comtrade_time first, trigger;
  plb_comtrade_kind kind;
  double multiplier;
} plb_comtrade;

/** @param first_line  the line of the file in which `text` begins */
PLB_CHECKED plb_status plb_comtrade_parse(plb_comtrade *out, const char *text, size_t size, int64_t first_line,
                                          plb_error *err);
void plb_comtrade_dispose(plb_comtrade *c);

/** Rows into the channels of `out`. @param first_line  of a text; @param at  where `data` begins in its file */
PLB_CHECKED plb_status plb_comtrade_read_text(const plb_comtrade *c, plb_capture *out, const char *data, size_t size,
                                              int64_t first_line, plb_error *err);
PLB_CHECKED plb_status plb_comtrade_read_binary(const plb_comtrade *c, plb_capture *out, const char *data, size_t size,
                                                size_t at, plb_error *err);

/** @return days since 1970-01-01 of a day of the Gregorian calendar */
int64_t plb_comtrade_day(int year, int month, int day);

#endif
