/**
 * event: the search in long recordings, and live. It owns windows, the scatter learned in them, and what counts as an
 * event. It must not know how results are shown, nor the collection.
 */
#ifndef PLB_EVENT_EVENT_H
#define PLB_EVENT_EVENT_H
#include "capture/stream.h"
#include "core/core.h"
#include "signal/crossing.h"
#include <plumbline/event.h>

enum {
  PLB_BOX_LEVELS = 11,  /**< boxes up to 6 * 2^10 samples */
  PLB_BOX_SCALES = 25,  /**< 5 widths of single samples, 2 of each level above */
  PLB_BOX_SECTIONS = 16 /**< of a window, each with its own scatter */
};

/** Something found in a window; places in samples of the window. */
typedef struct plb_found {
  plb_event_kind kind;
  double first, last;
  double size;
  double sigma;
  const char *unit; /**< static; NULL: the channel's */
  size_t lane;
} plb_found;

typedef struct plb_found_list {
  plb_found *item;
  size_t count, room;
} plb_found_list;
PLB_CHECKED plb_status plb_found_add(plb_found_list *list, const plb_found *found, plb_error *err);

/** Drop what comes back regularly, of the events from `from` on (usual.c). */
enum { PLB_USUAL_MOST = 1024 };
void plb_usual_drop(plb_found_list *list, size_t from);

/** A box of samples that stands out from both sides of it. */
typedef struct plb_box {
  size_t first, last; /**< samples, half-open */
  float z;            /**< signed */
} plb_box;

/** Room for the search in residuals; made once for a length of window. */
typedef struct plb_boxes {
  size_t room; /**< samples */
  float *level, *sum2, *sum4, *side, *box, *difference, *pick;
  double scatter[PLB_BOX_SCALES][PLB_BOX_SECTIONS]; /**< of single samples, as seen at each scale */
  double whole[PLB_BOX_SCALES]; /**< the same over the whole window */
  size_t samples; /**< of the window in hand */
  plb_box *found;
  size_t count, found_room;
} plb_boxes;
PLB_CHECKED plb_status plb_boxes_init(plb_boxes *b, size_t room, plb_error *err);
void plb_boxes_dispose(plb_boxes *b);
/** All places where a box stands out, strongest first. @param floor  the least scatter of a sample */
PLB_CHECKED plb_status plb_boxes_find(plb_boxes *b, const float *r, size_t n, double floor, plb_error *err);
/** Scatter of single samples as a box of so many samples sees it around a place. */
double plb_boxes_scatter(const plb_boxes *b, size_t place, double length);
/** What the box's own z is in residuals that have changed since. */
double plb_box_again(const plb_boxes *b, const float *r, size_t n, const plb_box *box);

/** The pulses of a window. */
typedef struct plb_trains {
  double low, high, middle;
  plb_crossing *edge; /**< owned */
  size_t edges;
  bool regular;       /**< there is a usual period */
  size_t first;       /**< the first rising edge */
} plb_trains;
/** edges == 0: the signal has no pulses, it is a level. */
PLB_CHECKED plb_status plb_trains_find(plb_trains *out, const double *x, size_t n, plb_error *err);
void plb_trains_dispose(plb_trains *p);
/**
 * Missing, surplus, early and late pulses, and changes of the period.
 * @param odd  [edges] set where the stretch behind an edge is not to be judged by its shape
 * @param whole  the recording ends with this window: say that no pulse came any more
 */
PLB_CHECKED plb_status plb_trains_judge(const plb_trains *p, size_t n, bool *odd, bool whole, plb_found_list *out,
                                        plb_error *err);

/**
 * What is left of each sample when the usual shape of the pulses is taken away.
 * @param deviation  [n] in the channel's unit; @param r  [n] the same in standard deviations of its place
 */
PLB_CHECKED plb_status plb_shape_remove(const plb_trains *p, const double *x, size_t n, const bool *odd, double floor,
                                        float *deviation, float *r, plb_error *err);

/** One channel of a recording while it passes. */
typedef struct plb_lane {
  char role[PLB_NAME_SIZE], unit[PLB_UNIT_SIZE];
  double *x;        /**< [room] the window; missing samples hold the value before */
  float *deviation; /**< [room] */
  float *r;         /**< [room] */
  uint64_t missing;
  double step;          /**< one code, the least so far; 0: unknown */
  plb_found pending;    /**< a step that may be the beginning of a long dropout; size 0: none. Places from the recording's start */
  double told_to;       /**< samples from the start: an event that begins before was told */
  double cycles_to;     /**< cycles that begin before were told */
} plb_lane;

/** Everything that one channel's window of n samples shows. @param whole  the recording ends with it */
PLB_CHECKED plb_status plb_lane_search(plb_lane *lane, plb_boxes *boxes, size_t n, double sigma, bool whole,
                                       plb_trains *pulses, plb_found_list *out, plb_error *err);
/** Events in residuals. @param middle  of the pulses; NaN: a level. @param x  of the window, for the kinds */
PLB_CHECKED plb_status plb_residuals_search(plb_boxes *boxes, float *r, float *deviation, const double *x, size_t n,
                                            double middle, double floor, double sigma, plb_found_list *out,
                                            plb_error *err);
/** The very same value for longer than chance allows. */
PLB_CHECKED plb_status plb_stuck_search(const double *x, size_t n, plb_found_list *out, plb_error *err);

/** A window that moves over a stream. */
typedef struct plb_windows {
  plb_stream *stream;
  plb_search_options options;
  plb_lane *lane; /**< [channels] */
  size_t channels;
  size_t room, margin; /**< samples of a window; of it at either side only for looking */
  size_t held;         /**< samples in the lanes */
  uint64_t start;      /**< sample of the recording that x[0] is */
  size_t searched;     /**< of the window: everything before was told */
  bool ended, live;
  plb_boxes boxes;
  plb_found_list found;
  plb_search_summary summary;
} plb_windows;
PLB_CHECKED plb_status plb_windows_init(plb_windows *w, plb_stream *stream, const plb_search_options *options,
                                        bool live, plb_error *err);
void plb_windows_dispose(plb_windows *w);
/** Read once. */
PLB_CHECKED plb_status plb_windows_read(plb_windows *w, plb_error *err);
/** Search from `searched` to the place behind which too little is known, tell it, and drop what is not needed any more. */
PLB_CHECKED plb_status plb_windows_search(plb_windows *w, const plb_event_listener *listener, bool *go_on,
                                          plb_error *err);

/** Write samples [first, last) of every lane as text. @param path_out  [size: PLB_PATH_SIZE] */
PLB_CHECKED plb_status plb_cut_write(const plb_windows *w, const plb_event *event, size_t first, size_t last,
                                     char *path_out, plb_error *err);

#endif
