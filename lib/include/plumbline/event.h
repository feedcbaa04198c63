#ifndef PLB_EVENT_H
#define PLB_EVENT_H
/**
 * @file  Search long recordings, and what arrives live, for events: dropouts, spikes, missing and surplus pulses, steps,
 * stuck values. Normal is what the recording itself does most of the time, window by window; a fault that recurs
 * regularly is normal to it: that is what a known-good is for. Memory is bounded however long the recording is.
 */
#include <plumbline/capture.h>
#include <plumbline/compare.h>
#include <plumbline/error.h>
#include <plumbline/types.h>
PLB_BEGIN_DECLS

typedef enum plb_event_kind {
  PLB_EVENT_DROPOUT, /**< the value falls towards nought, or a pulse towards the middle, and comes back */
  PLB_EVENT_SPIKE,   /**< it goes the other way, and comes back */
  PLB_EVENT_MISSING, /**< pulses that should be there are not */
  PLB_EVENT_EXTRA,   /**< pulses that should not be there */
  PLB_EVENT_STEP,    /**< the level, or the period of the pulses, changes at once and stays */
  PLB_EVENT_STUCK,   /**< the very same value for too long, or no pulse any more */
  PLB_EVENT_OUTSIDE  /**< a pulse too early or too late */
} plb_event_kind;
/** "dropout", "spike", ... */
PLB_API const char *plb_event_kind_name(plb_event_kind kind);
enum { PLB_EVENT_KINDS = PLB_EVENT_OUTSIDE + 1 };

typedef struct plb_event {
  plb_event_kind kind;
  char channel[PLB_NAME_SIZE];
  double time_s;               /**< when it begins, as the recording tells the time */
  double duration_s;           /**< 0 for a step */
  double size;                 /**< departure from what is usual there, signed [unit]; pulses: how many */
  char unit[PLB_UNIT_SIZE];    /**< UCUM */
  double sigma;                /**< departure times the root of its samples, in standard deviations of the usual scatter */
  double confidence;           /**< chance that scatter alone would show nothing like it in as long a recording, 0..1 */
  char cut[PLB_PATH_SIZE];     /**< the cut-out that was written, empty: none */
} plb_event;

/** Start from PLB_SEARCH_OPTIONS_INIT. */
typedef struct plb_search_options {
  unsigned version;                /**< 1 */
  plb_stream_options stream;       /**< how the recording is read */
  const plb_channel_map *channel;  /**< [channels] as for a capture; none: all of them */
  size_t channels;
  /**
   * Least size of an event, 5..1000; default 6.2. Chosen between two wishes: noise alone should show at most one in an hour at 10 kS/s, and boxes
   * of some 26 independent widths (measured: 20 false ones at 5.6) look at each of 3.6e7 samples, so that 3.6e7 x 26 x 2 Q(6.2) = 0.5 are expected
   * (Q: the normal tail); and an event of 10 should be found, which noise pulls down by 3.6 in 2 of 10,000.
   */
  double sigma;
  const char *cut_folder;          /**< write a cut-out of each event there; NULL: none */
  size_t most_cuts;                /**< no more than so many files; default 10,000 */
} plb_search_options;
#define PLB_SEARCH_OPTIONS_INIT                                                                                        \
  { 1, PLB_STREAM_OPTIONS_INIT, NULL, 0, 6.2, NULL, 10000 }

typedef struct plb_search_summary {
  char path[PLB_PATH_SIZE], format[PLB_NAME_SIZE];
  double rate_hz, start_s;
  uint64_t samples; /**< per channel */
  uint64_t missing; /**< samples that are not there */
  size_t channels;
  uint64_t events, by_kind[PLB_EVENT_KINDS];
  size_t cuts;
  size_t memory_bytes; /**< taken by windows, learned scatter and the piece that is read */
  bool against;        /**< searched by a known-good */
} plb_search_summary;

/** What is told while it goes on. Any function may be NULL; returning false ends the search early, which is no error. */
typedef struct plb_event_listener {
  bool (*on_event)(const plb_event *event, void *payload);
  /** A whole cycle of pulses of one channel. */
  bool (*on_cycle)(const char *channel, double time_s, double period_s, double high_s, double lowest, double highest,
                   void *payload);
  void *payload;
} plb_event_listener;

/**
 * Search a recording, in the order of time within each window. Events in the first and last few samples cannot be told
 * from the recording's ends.
 * @param path  "-": standard input. @param out  may be NULL
 * @return PLB_OK; PLB_EUSAGE, PLB_ENOINPUT, PLB_EDATA (no rate, damaged), PLB_ECREATE (a cut-out), PLB_EIO, PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_search(const char *path, const plb_search_options *options,
                                          const plb_event_listener *listener, plb_search_summary *out, plb_error *err);

/**
 * Search a recording cycle by cycle for what lies outside a known-good's good range (kind outside; size: of the worst place, NaN where a cycle could
 * not be laid over it) and for missing or surplus marks. The whole recording is in memory. `sigma` of the events is NaN, their confidence one less
 * the known-good's promise.
 * @param out  may be NULL
 * @return PLB_OK; PLB_EUSAGE (a known-good of single events or of a standard), PLB_EDATA (channels that do not match, no cycle), PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_search_against(const plb_capture *capture, const plb_judge *judge, const plb_event_listener *listener,
                                                  plb_search_summary *out, plb_error *err);

/** Live: bare samples that arrive on a descriptor. */
typedef struct plb_watch plb_watch;
/** @param fd  stays the caller's. The stream's type, channels and rate must be stated in `options` */
PLB_API PLB_CHECKED plb_status plb_watch_new(plb_watch **out, int fd, const plb_search_options *options,
                                             plb_error *err);
/**
 * Read what has arrived (waits when nothing has) and tell what is new. An event is told once as many samples have passed
 * as it lasted twice over, at least 32.
 * @param open_out  false: the input has ended, and everything has been told
 */
PLB_API PLB_CHECKED plb_status plb_watch_step(plb_watch *watch, const plb_event_listener *listener, bool *open_out,
                                              plb_error *err);
/** Time of the last sample that arrived. */
PLB_API double plb_watch_time_s(const plb_watch *watch);
PLB_API void plb_watch_summary(const plb_watch *watch, plb_search_summary *out);
PLB_API void plb_watch_free(plb_watch *watch); /**< NULL is fine */

/** One line of JSON, event/1. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_event_json(char **text_out, const plb_event *event, plb_error *err);
/** The last line, events/1. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_events_json(char **text_out, const plb_search_summary *summary, plb_error *err);
/** One line for people. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_event_text(char **text_out, const plb_event *event, plb_error *err);
/** The closing lines for people. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_events_text(char **text_out, const plb_search_summary *summary, plb_error *err);
/** One line of JSON, cycle/1: a whole cycle of pulses as on_cycle() tells it. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_event_cycle_json(char **text_out, const char *channel, double time_s, double period_s,
                                                    double high_s, double lowest, double highest, plb_error *err);
/** One line of JSON, mark/1: the user marked a moment. @param what  "wiggle", "heat", "cold". @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_event_mark_json(char **text_out, const char *what, double time_s, plb_error *err);

PLB_END_DECLS
#endif
