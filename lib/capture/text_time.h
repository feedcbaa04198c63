#ifndef PLB_CAPTURE_TEXT_TIME_H
#define PLB_CAPTURE_TEXT_TIME_H
/** @file  The time column of a delimited text: which one it is, and what its stamps say about the sample rate. */
#include "capture/number.h"
#include "core/core.h"

/** True when a header names time: "time", "t", "Time since start" and their like; its unit, if it carries one, goes to
 * `unit_out` (UCUM). */
bool plb_time_is_name(const char *header);

/** True for the name of a column that counts rows. */
bool plb_time_is_counter_name(const char *header);

/** Stamps as they pass; nothing is kept of them but these sums. Times in the file's unit. */
typedef struct plb_clock {
  size_t count;
  double first, last;
  double least_grain; /**< what the last decimal is worth where most are printed */
  double digit_share; /**< 10^-(significant digits printed) */
  double bracket;     /**< the power of ten above every stamp so far */
  double grain;       /**< how finely the last stamp is printed */
  double first_grain;
  double widest, narrowest; /**< steps, each given the benefit of its rounding */
  size_t widest_row;        /**< the row behind the widest step, from 0 */
  size_t repeats;           /**< steps of nought */
} plb_clock;

/** @param decimals  the most decimals that a stamp has; @param digits  the most significant digits that a stamp has */
void plb_clock_start(plb_clock *clock, int decimals, int digits);

/** @return false when the stamp lies before the last one */
bool plb_clock_tick(plb_clock *clock, double time);

/**
 * Samples per unit of time: (n - 1) / (last - first), or the roundest number that the printed digits allow.
 * @return 0 when there are fewer than two stamps or they do not advance
 */
double plb_clock_rate(const plb_clock *clock);

/** Largest deviation of a step from the mean step as a share of it, beyond what rounding of the stamps explains. */
double plb_clock_uneven(const plb_clock *clock);

#endif
