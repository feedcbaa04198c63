#ifndef PLB_COMPARE_H
#define PLB_COMPARE_H
/** @file  Is this capture what a healthy circuit produces? Align, score band by band, decide, explain. */
#include <plumbline/capture.h>
#include <plumbline/cycle.h>
#include <plumbline/error.h>
#include <plumbline/reference.h>
PLB_BEGIN_DECLS

typedef enum plb_word { PLB_AGREES, PLB_BORDERLINE, PLB_DEPARTS, PLB_UNJUDGED } plb_word;
PLB_API const char *plb_word_name(plb_word word);  /**< "agrees" ... for JSON */
PLB_API const char *plb_word_plain(plb_word word); /**< "matches known-good", "doubtful", "does not match", "cannot tell" */

typedef enum plb_pattern { PLB_PATTERN_NONE, PLB_LASTING, PLB_INTERMITTENT, PLB_RECURRING } plb_pattern;
PLB_API const char *plb_pattern_name(plb_pattern pattern); /**< "", "lasting", "intermittent", "recurring" */

typedef enum plb_finding_kind { PLB_FINDING_STRUCTURAL, PLB_FINDING_READING, PLB_FINDING_BAND, PLB_FINDING_FREQUENCY } plb_finding_kind;
PLB_API const char *plb_finding_kind_name(plb_finding_kind kind); /**< "structural", "reading", ... for JSON */

enum { PLB_CHECK_MOST = 4 };

/** One thing that was found. The list makes sentence, table, JSON and picture; `score` only ranks it. */
typedef struct plb_finding {
  plb_finding_kind kind;
  char channel[PLB_NAME_SIZE];
  char band[PLB_NAME_SIZE];      /**< band or reading name, or "tooth 1" */
  char direction[PLB_NAME_SIZE]; /**< low high early late noisy missing surplus shape */
  double size;                   /**< how large, in `unit`; NaN: not a number */
  char unit[PLB_UNIT_SIZE];
  unsigned count, of;            /**< cycles affected, of cycles looked at; of = 0: does not apply */
  plb_pattern pattern;
  double score;
  double phase, time_s;          /**< where (cycle phase 0..1 and seconds in the capture); NaN: everywhere */
  char text[PLB_TEXT_SIZE];      /**< one sentence for people */
  char check_first[PLB_CHECK_MOST][PLB_TEXT_SIZE]; /**< what to check, the cheapest first; empty strings behind the last */
} plb_finding;

/** One band of one channel. */
typedef struct plb_band_result {
  char channel[PLB_NAME_SIZE], name[PLB_NAME_SIZE];
  plb_word status;
  char domain[PLB_NAME_SIZE]; /**< "cycle" or "frequency" */
  double from, to;
  char unit[PLB_UNIT_SIZE];   /**< cycle, Hz, order */
  double score;               /**< largest scaled distance of this band, 1 = as far as the more unusual good ones */
  double inside_share;        /**< of the grid inside the drawn good range, 0..1 */
  double exceedance;          /**< largest deviation in half-widths of the drawn range (3 h) */
  double worst_phase, worst_degrees, worst_time_s; /**< degrees: of the wheel or of a 360-degree cycle; time within the cycle */
  int worst_tooth;            /**< from 1; 0: no teeth */
  double deviation;           /**< at the worst place, signed, channel unit */
  char direction[PLB_NAME_SIZE]; /**< low high early late noisy, or "shape" */
  double lag_s;               /**< local lag, + late; NaN: not measurable */
  unsigned departing_cycles;
} plb_band_result;

typedef struct plb_reading_result {
  char channel[PLB_NAME_SIZE], name[PLB_NAME_SIZE], unit[PLB_UNIT_SIZE];
  double value;
  double low, high;   /**< what the good captures show (extremes, or a stated limit); NaN: open */
  plb_word status;
  double score;       /**< NaN: not judged */
  char direction[PLB_NAME_SIZE];
} plb_reading_result;

/** One channel, for a picture that can be drawn when the capture is gone. */
typedef struct plb_drawing {
  char channel[PLB_NAME_SIZE], unit[PLB_UNIT_SIZE];
  size_t columns;      /**< at most 2,000 */
  float *centre, *lower, *upper; /**< good range along the phase, [columns]; NULL when nothing could be laid over it */
  float *lowest, *median, *highest; /**< the capture: over its cycles, per column; NaN where nothing */
  float *worst;        /**< the cycle that departs most; NULL: none stands out */
} plb_drawing;

typedef struct plb_verdict {
  plb_word word;
  char sentence[161];        /**< what, where, how often, what to check first */
  double score, limit, guard, guard_robust, p_value; /**< NaN: none */
  double promise;            /**< share of healthy captures that may be called not normal; NaN: none */
  double promise_upper90;
  char promise_text[PLB_TEXT_SIZE]; /**< in words */
  struct {
    double shift_s, scale, gain, offset, correlation, runner_up;
    int polarity;
  } alignment;
  struct {
    unsigned found, judged, departing, unmapped;
    plb_pattern pattern;
    unsigned every;          /**< recurring: every k-th; 0: none */
    unsigned phase;          /**< recurring: which one of k, from 1 */
    double p_chance;         /**< NaN: not tested */
    double rate_hz;          /**< cycles per second */
    char unit_name[PLB_NAME_SIZE]; /**< what one cycle is called: "revolution", "cycle", "event" */
  } cycles;
  plb_band_result *band; size_t bands;
  plb_reading_result *reading; size_t readings;
  plb_finding *finding; size_t findings; /**< most important first */
  plb_reason *fitness; size_t fitnesses; /**< recording check */
  plb_reason *reason; size_t reasons;    /**< why unjudged, and soft cautions (blocks = false) */
  char (*applied)[PLB_TEXT_SIZE]; size_t applieds; /**< what was done to the recording first */
  char (*condition_note)[PLB_TEXT_SIZE]; size_t condition_notes; /**< "if hot idle", "not stated: coolant temperature" */
  plb_drawing *drawing; size_t drawings;
  double landmark_phase_first; /**< phase of tooth 1 or the first mark; NaN: none */
  struct {
    char selector[PLB_TEXT_SIZE], id[33], sha256[PLB_HASH_SIZE], title[PLB_TEXT_SIZE], path[PLB_PATH_SIZE];
    unsigned version;
    char status[PLB_NAME_SIZE]; /**< "file", "approved", "draft" */
    plb_provenance provenance;
    unsigned exemplars, groups; /**< groups 0: not stated */
    bool groups_stated, one_group;
    char odd[PLB_TEXT_SIZE];    /**< the exemplar that makes the limit insensitive; empty: none */
    char cycle[PLB_TEXT_SIZE];  /**< as --cycle writes it */
    char along[PLB_NAME_SIZE], along_unit[PLB_UNIT_SIZE]; /**< against: the channel along which it is judged; empty: none */
    double along_low, along_high; /**< its values at phase 0 and 1; NaN: none */
  } reference;
  struct {
    char path[PLB_PATH_SIZE], sha256[PLB_HASH_SIZE];
    double rate_hz;
    size_t samples;
  } capture;
} plb_verdict;

/** A stated condition: `--condition NAME=VALUE|LOW..HIGH|WORD`. */
typedef struct plb_stated {
  char name[PLB_NAME_SIZE];
  char word[PLB_NAME_SIZE]; /**< empty: a number or range */
  char unit[PLB_UNIT_SIZE]; /**< as typed, UCUM; empty: none */
  double low, high;
} plb_stated;
PLB_API PLB_CHECKED plb_status plb_stated_parse(const char *text, plb_stated *out, plb_error *err); /**< @return PLB_OK or PLB_EUSAGE with a right example */

typedef struct plb_compare_options {
  unsigned version;          /**< 1 */
  const plb_stated *stated;  /**< [stated_count] */
  size_t stated_count;
  bool connected;            /**< the user says a signal must be there */
  bool drawing;              /**< fill verdict->drawing. Default true */
  const char *reference_status; /**< "approved", "draft" ... as the collection says; NULL: "file" */
  const char *reference_path;   /**< of a reference that is a file of its own; NULL: none */
} plb_compare_options;
#define PLB_COMPARE_OPTIONS_INIT {1, NULL, 0, false, true, NULL, NULL}

/**
 * Judge one capture. Its channels must carry the reference's roles already, or be matchable: by role, by header name, then by the
 * column the exemplars had; what was matched how is said in the fitness notes.
 * @return PLB_OK with a verdict (also unjudged), or PLB_EDATA (a channel is missing: the message names it and the --channel to give), PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_compare(plb_verdict **out, const plb_capture *capture, const plb_reference *reference,
                                           const plb_compare_options *options, plb_error *err);
PLB_API void plb_verdict_free(plb_verdict *verdict); /**< NULL is fine */

/** A reference made ready to judge many captures: does once what plb_compare() does each time. Judging may run in several threads. */
typedef struct plb_judge plb_judge;
/** @param reference  borrowed, must outlive the judge. @return PLB_OK, PLB_EDATA (no good captures in it), PLB_ENOMEM */
PLB_API PLB_CHECKED plb_status plb_judge_new(plb_judge **out, const plb_reference *reference, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_judge_capture(plb_verdict **out, const plb_judge *judge, const plb_capture *capture,
                                                 const plb_compare_options *options, plb_error *err);
PLB_API void plb_judge_free(plb_judge *judge); /**< NULL is fine */

PLB_END_DECLS
#endif
