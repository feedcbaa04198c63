#ifndef PLB_TESTS_REPORT_FIXTURE_H
#define PLB_TESTS_REPORT_FIXTURE_H
/** @file  Verdicts filled by hand: what a report has to say is known here without judging anything. */
#include <plumbline/plumbline.h>

typedef enum fixture_kind {
  FIXTURE_WHEEL_AGREES,  /**< 60-2 wheel, twelve sections, all good */
  FIXTURE_WHEEL_DEPARTS, /**< tooth 1 a hump in every revolution, volts a fifth low */
  FIXTURE_EDGE_DOUBTFUL, /**< injector voltage and current, times in ms, modelled known-good, recurring */
  FIXTURE_SILENT,        /**< no signal: reasons, nothing drawn over the range */
  FIXTURE_MANY,          /**< two channels with forty sections each, frequency sections too */
  FIXTURE_LONG,          /**< every text as long as it may be, with bytes that upset terminals and documents */
  FIXTURE_BARE,          /**< nothing known: all counts 0, all numbers NaN, no lists */
  FIXTURE_KINDS
} fixture_kind;

/** @return malloc'ed; free with fixture_free(). Ends the test when memory is short. */
plb_verdict *fixture_verdict(fixture_kind kind);
void fixture_free(plb_verdict *verdict);
const char *fixture_name(fixture_kind kind);

/** Something has to be in the text. */
void assert_says(const char *text, const char *part);
void assert_says_not(const char *text, const char *part);
/** The longest line in columns (characters); `first` true: the first line counts too. */
int longest_line(const char *text, bool first);

#endif
