#ifndef PLB_REPORT_SAY_H
#define PLB_REPORT_SAY_H
/** @file  Numbers, units, places and results in the words that people read. */
#include <plumbline/compare.h>

enum { PLB_SAY_SIZE = 64 };

/** Copy text with everything that could upset a terminal or a document (controls, malformed UTF-8) replaced; cut at a whole character. */
void plb_say_clean(const char *text, char *out, size_t size);
/** The part of a path behind the last slash. */
const char *plb_say_file_name(const char *path);

/** `digits` significant digits, commas between thousands, no trailing zeros; "-" when not finite. */
void plb_say_number(double value, int digits, char out[PLB_SAY_SIZE]);
/** The same with a sign always. */
void plb_say_signed(double value, int digits, char out[PLB_SAY_SIZE]);
/** A whole number with commas between thousands. */
void plb_say_count(uint64_t value, char out[PLB_SAY_SIZE]);
/** A value with its unit, scaled for people: 0.00042 s is "420 us". */
void plb_say_quantity(double value, const char *unit, int digits, char out[PLB_SAY_SIZE]);
void plb_say_signed_quantity(double value, const char *unit, int digits, char out[PLB_SAY_SIZE]);
/** The same in the unit that suits `largest`, so that numbers side by side compare at a glance. */
void plb_say_beside(double value, double largest, const char *unit, int digits, char out[PLB_SAY_SIZE]);
/** A UCUM code as people write it: "Ohm", "deg C", "psi"; "" for plain numbers. */
const char *plb_say_unit(const char *code);
/** A share as per cent: 0.614 is "61 %". Never rounds to 100 % or 0 % what is not. */
void plb_say_share(double share, char out[PLB_SAY_SIZE]);
/** A probability: "0.14", "below 0.001". */
void plb_say_probability(double p, char out[PLB_SAY_SIZE]);
/** "1 in 7" for 0.143. */
void plb_say_one_in(double share, char out[PLB_SAY_SIZE]);
/** One revolution, 23 revolutions. */
void plb_say_counted(uint64_t count, const char *one, char out[PLB_SAY_SIZE]);

/** The result in the narrow form of a table's cell: "matches", "doubtful", "does not match", "cannot tell". */
const char *plb_say_word_short(plb_word word);

/** How places in a cycle are told to people. */
typedef enum plb_dial_kind {
  PLB_DIAL_DEGREES, /**< toothed wheel: degrees of rotation */
  PLB_DIAL_TIME,    /**< milliseconds and so on from the start of the cycle */
  PLB_DIAL_ALONG,   /**< values of another channel */
  PLB_DIAL_LEVELS,  /**< no cycle: share of the time, lowest levels first */
  PLB_DIAL_SHARE    /**< per cent of the cycle, where its length is not known */
} plb_dial_kind;
typedef struct plb_dial {
  plb_dial_kind kind;
  double start;              /**< what stands at phase 0 in `unit`; 0 but along another channel */
  double length;             /**< one whole cycle in `unit`: 360 or 720, ms, or 100 */
  char unit[PLB_UNIT_SIZE];  /**< "deg", "ms", "%" */
  char label[PLB_NAME_SIZE]; /**< for an axis: "degrees of rotation" */
} plb_dial;
plb_dial plb_say_dial(const plb_verdict *verdict);
/** "12.5 deg", "3.2 ms"; "-" when the phase is not finite. */
void plb_say_place(const plb_dial *dial, double phase, char out[PLB_SAY_SIZE]);
/** Where a section lies, in the dial's unit: "0-30"; frequency sections with their own: "400-800 Hz". */
void plb_say_stretch(const plb_dial *dial, const plb_band_result *band, char out[PLB_SAY_SIZE]);
/** Where a section is worst, in the dial's unit: "6.5". */
void plb_say_worst(const plb_dial *dial, const plb_band_result *band, char out[PLB_SAY_SIZE]);

/** "1 revolution", "23 revolutions", "4 pairs of revolutions". */
void plb_say_cycles(const plb_verdict *verdict, uint64_t count, char out[PLB_SAY_SIZE]);
/** "2,843 rpm" for wheels, "25 Hz"; empty when not known. */
void plb_say_rate(const plb_verdict *verdict, char out[PLB_SAY_SIZE]);

/** False when the verdict was made without any known-good. */
bool plb_say_has_reference(const plb_verdict *verdict);
/** What stands behind the known-good, in words: "measured, 6 good captures, groups not stated". */
void plb_say_provenance(const plb_verdict *verdict, char out[PLB_TEXT_SIZE]);
/** "version 3, approved" or "a file of its own", and the first 12 digits of its SHA-256. */
void plb_say_version(const plb_verdict *verdict, char out[PLB_TEXT_SIZE]);
/** NULL for a measured known-good; else the sentence that keeps it from passing for one. */
const char *plb_say_not_measured(plb_provenance provenance);
/** The sentence with the result's word in front, the word not said twice. `*word_out` gets the length of the word in bytes. */
void plb_say_headline(const plb_verdict *verdict, char out[PLB_TEXT_SIZE], size_t *word_out);
/** One finding as a sentence: its own text, or one made of its fields. */
void plb_say_finding(const plb_finding *finding, char out[PLB_TEXT_SIZE]);

#endif
