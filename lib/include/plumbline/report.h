#ifndef PLB_REPORT_H
#define PLB_REPORT_H
/** @file  Say it: text for people, JSON for programs, SVG for the eye. Each returns malloc'ed text, free() it. */
#include <plumbline/compare.h>
#include <plumbline/learn.h>
#include <plumbline/peer.h>
#include <plumbline/reading.h>
PLB_BEGIN_DECLS

/** What was asked, so that the comparison can be made again (verdict/1 "request"). Strings may be NULL. */
typedef struct plb_request {
  const char *const *channels; /**< texts of --channel */
  size_t channel_count;
  const char *const *conditions; /**< texts of --condition */
  size_t condition_count;
  double rate_hz; /**< --rate, 0: none */
  bool connected;
  const char *const *conditioning; /**< texts of --zero and its like, with the option's name: "zero=pump=0s..0.5s" */
  size_t conditioning_count;
} plb_request;

typedef enum plb_text_style {
  PLB_TEXT_PLAIN,
  PLB_TEXT_TERMINAL
} plb_text_style; /**< terminal: bold and Okabe-Ito colours, never colour alone */

/**
 * The whole verdict as text: sentence, findings, sections, readings, marks, provenance, cautions. In plain style the first line is the
 * whole sentence however long; every other line keeps the width. Where there are more than 16 sections only those that need a look
 * have a row, the others are counted: plb_report_sections_text() has them all.
 * @param width  columns, 0: 80, at least 24
 */
PLB_API PLB_CHECKED plb_status plb_report_text(char **out, const plb_verdict *verdict, plb_text_style style, int width,
                                               plb_error *err);
/** The sentence and the table of every section. */
PLB_API PLB_CHECKED plb_status plb_report_sections_text(char **out, const plb_verdict *verdict, plb_text_style style,
                                                        int width, plb_error *err);
/** One line of JSON (line end included), verdict/1, valid against schema/verdict-1.json. @param request  may be NULL */
PLB_API PLB_CHECKED plb_status plb_report_json(char **out, const plb_verdict *verdict, const plb_request *request,
                                               plb_error *err);
/** The capture over its good range, sections marked, worst places marked. */
PLB_API PLB_CHECKED plb_status plb_report_svg(char **out, const plb_verdict *verdict, plb_error *err);
/** The good ranges of two references in one picture: what was (`a`) and what is (`b`). */
PLB_API PLB_CHECKED plb_status plb_report_difference_svg(char **out, const plb_reference *a, const plb_reference *b,
                                                         plb_error *err);

/** A reading over time, its lowest and highest marked. */
PLB_API PLB_CHECKED plb_status plb_report_series_svg(char **out, const plb_series *series, const plb_capture *capture,
                                                     plb_error *err);

/** What is in a capture: format, channels, rate, recording check, a first picture in text, guesses. */
PLB_API PLB_CHECKED plb_status plb_report_inspect_text(char **out, const plb_capture *capture, int width,
                                                       plb_error *err);
/** The same as one line of JSON, capture/1, valid against schema/capture-1.json. */
PLB_API PLB_CHECKED plb_status plb_report_inspect_json(char **out, const plb_capture *capture, plb_error *err);

/** What learn did. */
PLB_API PLB_CHECKED plb_status plb_report_learned_text(char **out, const plb_reference *reference,
                                                       const plb_learned *learned, plb_error *err);

/** Comparisons without a known-good, for people and as one line of JSON: peers/1, pair/1, locate/1. */
PLB_API PLB_CHECKED plb_status plb_report_peers_text(char **out, const plb_peers *peers, plb_text_style style, int width, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_report_peers_json(char **out, const plb_peers *peers, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_report_pair_text(char **out, const plb_pair *pair, plb_text_style style, int width, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_report_pair_json(char **out, const plb_pair *pair, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_report_locate_text(char **out, const plb_locate *locate, plb_text_style style, int width, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_report_locate_json(char **out, const plb_locate *locate, plb_error *err);

/** The card of one sensor type: how to connect, from a known-good's connection part. Everything is borrowed. */
typedef struct plb_connect {
  const plb_reference *reference;
  const char *type_title;    /**< of the type, for people; NULL: its slug */
  const char *const *other;  /**< selectors of further known-goods of this type */
  size_t others;
  const plb_capture *capture; /**< to be checked against the card; NULL: none */
} plb_connect;
/** The card for people, with what in the capture does not fit it. @param width  columns, 0: 80, at least 24 */
PLB_API PLB_CHECKED plb_status plb_report_connect_text(char **out, const plb_connect *asked, plb_text_style style, int width, plb_error *err);
/** One line of JSON, connect/1, valid against schema/connect-1.json. */
PLB_API PLB_CHECKED plb_status plb_report_connect_json(char **out, const plb_connect *asked, plb_error *err);
/** To print: a sketch with the places of tip and clip, the lines, the cautions. */
PLB_API PLB_CHECKED plb_status plb_report_connect_svg(char **out, const plb_connect *asked, plb_error *err);
/** How many things in the capture do not fit the card; 0 without a capture. */
PLB_API PLB_CHECKED plb_status plb_connect_wrong(size_t *out, const plb_connect *asked, plb_error *err);

/** What a capture might be, when nothing was stated. */
typedef struct plb_guess {
  char channel[PLB_NAME_SIZE];
  int column;
  char what[PLB_TEXT_SIZE];  /**< "60-tooth wheel with 2 missing, about 2,840 rpm" */
  char type[PLB_NAME_SIZE];  /**< "crank-inductive"; empty: none */
  char cycle[PLB_TEXT_SIZE]; /**< as --cycle writes it; empty: none */
  double confidence;         /**< 0..1 */
} plb_guess;
/** Guess unit, wheel and type of each channel, the most confident first. @param out malloc'ed, free() */
PLB_API PLB_CHECKED plb_status plb_guess_capture(plb_guess **out, size_t *count_out, const plb_capture *capture,
                                                 plb_error *err);

/** What a verdict/1 rested on, so that the same comparison can be made again. */
typedef struct plb_again {
  char capture_path[PLB_PATH_SIZE], capture_sha256[PLB_HASH_SIZE];
  char reference[PLB_PATH_SIZE]; /**< the path of a file, or type/name@version */
  char reference_sha256[PLB_HASH_SIZE];
  char **channel, **condition;   /**< texts of --channel and --condition */
  char **conditioning;           /**< as in plb_request; none in verdicts of earlier versions */
  size_t channels, conditions, conditionings;
  double rate_hz;                /**< 0: none was given */
  bool connected;
  plb_word word;                 /**< how it came out */
  double score;                  /**< NaN: none */
} plb_again;

/** Read one verdict/1. @return PLB_OK, PLB_ENOINPUT, PLB_EDATA (not JSON, not a verdict against a known-good), PLB_ENOMEM */
PLB_API PLB_CHECKED plb_status plb_again_read(plb_again **out, const char *path, plb_error *err);
PLB_API void plb_again_free(plb_again *again);

PLB_END_DECLS
#endif
