/**
 * cycle: find the cycles of a signal and lay each over one phase axis 0..1 (the phase frame). It owns the choices that `learn` makes once
 * (edge, levels, period range, template, landmarks) and their use. It must not know references, corridors or scores.
 */
#ifndef PLB_CYCLE_CYCLE_H
#define PLB_CYCLE_CYCLE_H
#include "core/core.h"
#include "signal/signal.h"
#include <plumbline/capture.h>
#include <plumbline/cycle.h>

/** The channels of one capture as plain arrays over one time base. */
typedef struct plb_tracks {
  size_t channels, samples;
  double rate_hz, start_s;
  double supply_v, load;       /**< at which it was recorded: the median of a channel of that role; 0: not known */
  char (*role)[PLB_NAME_SIZE]; /**< [size: channels] */
  char (*unit)[PLB_UNIT_SIZE]; /**< [size: channels], UCUM; NULL: unknown */
  double **x;                  /**< [channels][samples]; NaN: missing */
  double *step;                /**< [channels] the recorder's code step; 0: not known; NULL: of none */
} plb_tracks;

/** Copy the channels named by `roles` (all of them when count is 0) out of a capture. free with plb_tracks_free(). */
PLB_CHECKED plb_status plb_tracks_from_capture(plb_tracks **out, const plb_capture *capture, const char (*roles)[PLB_NAME_SIZE],
                                               size_t count, plb_error *err);
void plb_tracks_free(plb_tracks *tracks);

enum { PLB_GRID_MOST = 2048, PLB_LANDMARK_MOST = 1024 };

/** A point in the cycle that can be found by itself. */
typedef struct plb_landmark {
  char name[PLB_NAME_SIZE]; /**< "tooth 1", "rise 1", "fall 1" */
  double phase;             /**< where it lies in the template, 0..1 */
  int direction;            /**< +1 rising, -1 falling */
  double level;             /**< crossing level [channel unit] */
} plb_landmark;

/** Of an absolute span's phases, the share that keeps seconds; the rest takes what is left until the next landmark. */
#define PLB_KEPT_SHARE 0.875

/** How the stretch from one landmark to the next is laid out. */
typedef struct plb_span {
  char name[PLB_NAME_SIZE];
  size_t from, to;   /**< landmark indices; to == landmark count: up to the end of the cycle */
  bool absolute;     /**< keeps its seconds; else stretched to the reference's length */
  double duration_s; /**< the template's */
} plb_span;

/** Where the fine phases behind a span's first mark end: phases and seconds behind it; 0, 0: all phases of the span are alike. */
typedef struct plb_knee {
  double width, seconds;
} plb_knee;

/** Everything chosen once by learn; compare never chooses again. Zero-initialise; free with plb_cycle_choice_dispose(). */
typedef struct plb_cycle_choice {
  plb_cycle_spec spec;
  size_t channel;                     /**< index of the cycle channel in the tracks */
  size_t grid;                        /**< points of the phase frame, 2..PLB_GRID_MOST */
  double level_low, level_high;       /**< hysteresis [channel unit] */
  int edge;                           /**< wheel, edge: +1 rising or -1 falling is the clean one */
  double shortest_pulse_s;            /**< edge: shorter pulses (ringing that crosses the level) are no pulses; 0: all are */
  double longest_ratio;               /**< edge: the longest cycle of a good capture over its neighbours; 0: not known */
  double rate_low_hz, rate_high_hz;   /**< cycles per second seen among the exemplars */
  double seam;                        /**< where phase 0 lies, as a share of the cycle before the first landmark (documented per kind in its .c) */
  float *template_;                   /**< [grid] a typical good cycle of the cycle channel */
  plb_landmark *landmark;
  size_t landmarks;
  plb_span *span;
  size_t spans;
  /** wheel, revs = 2: which channel tells the revolutions apart; -1: tooth times (speed ripple); the stroke's template there */
  int stroke_channel;
  float *stroke; /**< [grid] or NULL */
  double correlation_low; /**< the worst correlation of an exemplar's cycle with the template */
} plb_cycle_choice;
void plb_cycle_choice_dispose(plb_cycle_choice *choice);

plb_knee plb_span_knee(const plb_cycle_choice *choice, size_t span);
/** Phases behind the span's first mark at which `after_s` seconds behind it are laid, and the other way round. */
double plb_span_phase(const plb_cycle_choice *choice, size_t span, double after_s);
double plb_span_seconds(const plb_cycle_choice *choice, size_t span, double after);
/** Seconds for each phase there; NaN where no span of known length lies. */
double plb_span_slope(const plb_cycle_choice *choice, double phase);

typedef enum plb_unmapped {
  PLB_MAPPED,
  PLB_UNMAPPED_NO_GAP,   /**< the gap is not where it must be */
  PLB_UNMAPPED_TEETH,    /**< too many missing or surplus teeth or landmarks to say which is which */
  PLB_UNMAPPED_PERIOD,   /**< length outside the range */
  PLB_UNMAPPED_SHAPE,    /**< too unlike the template to lay over it */
  PLB_UNMAPPED_LOST      /**< edge: the pulse that begins it is missing */
} plb_unmapped;

/** One cycle that lies wholly inside the capture (half-seen cycles at the ends are not counted). */
typedef struct plb_cycle_found {
  double first, last;   /**< [samples] half-open, sub-sample */
  plb_unmapped state;
  size_t row;           /**< in the frame's arrays, when mapped */
  unsigned missing;     /**< landmarks (teeth) not found */
  unsigned surplus;     /**< crossings that belong to no landmark */
  double surplus_phase; /**< where the first surplus crossing lies; NaN: none */
  double correlation;   /**< with the template, after mapping */
} plb_cycle_found;

/** A capture laid over the phase axis. Cell k of the grid is the mean over phases [k, k + 1) / grid. */
typedef struct plb_frame {
  size_t grid, channels, landmarks;
  size_t found, mapped;
  plb_cycle_found *cycle;   /**< [found] in time order; also those that could not be mapped */
  float *value;             /**< [mapped][channels][grid] */
  double *landmark_phase;   /**< [mapped][landmarks] where each was found on the cycle's own UNWARPED time, 0..1; NaN: missing */
  double *span_s;           /**< [mapped][spans] true durations; NULL without spans */
  double *edge_at;          /**< [mapped][grid + 1] sample position of each cell's edge, so that a place can be shown in seconds; where `unordered`,
                                 the sample that stands for the cell, and the cycle's end */
  size_t spans;
  bool unordered;           /**< steady, against: the cells do not follow each other in time */
  bool partial;             /**< against: cells of `value` that a stroke did not reach are NaN */
  double covered;           /**< against: share of the cells that any stroke reached; else 1 */
  bool structure;           /**< the signal has cycles of some length, in range or not */
  double rate_hz;           /**< median cycles per second, read before any range is applied (wheel: from tooth times, gap or not); NaN: none */
  double revolutions;       /**< wheel: revolutions seen at that rate, gap or not */
  bool stroke_known;        /**< wheel, revs = 2 */
  bool inverted;            /**< wheel: no clean wheel as it stands, but a clean one turned upside down (leads swapped); repeat: the template's
                                 negative is in the signal more strongly than the template */
  unsigned cut;             /**< repeat: cycles at the two ends of the capture, 0..2, of which a landmark is seen but not the whole; not among `found` */
  double *step;             /**< [channels] the recorder's code step [unit]; NULL: not known */
  double correlation, runner_up; /**< alignment: best and second-best place (outside the main lobe and whole-unit shifts), median over cycles */
} plb_frame;
void plb_frame_free(plb_frame *frame);

/**
 * Choose edge, levels, period range, template, seam and landmarks from good captures, by evidence over all of them.
 * @param grid  points wanted; 0: from the kind and the samples per cycle (wheel: a multiple of the teeth)
 * @param notes  sentences that say what was chosen and why, appended (may be NULL)
 * @return PLB_OK; PLB_EDATA when no common cycle can be found (the message says in which capture and what to try)
 */
PLB_CHECKED plb_status plb_cycle_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, const plb_cycle_spec *spec,
                                        size_t grid, plb_buffer *notes, plb_error *err);

/** repeat: do the good captures' speeds lie so far apart that the speed of a capture, and inside it, may be anything between? */
bool plb_repeat_is_wide(const plb_cycle_choice *choice);

/** Lay one capture over the choices. Finding nothing is PLB_OK with found = 0. */
PLB_CHECKED plb_status plb_frame_build(plb_frame **out, const plb_tracks *tracks, const plb_cycle_choice *choice, plb_error *err);

/** What kind of wheel, if any, is in this signal (for guesses): positions per revolution, missing, and confidence 0..1. */
typedef struct plb_wheel_guess { int teeth, missing; double per_min, confidence; } plb_wheel_guess;
PLB_CHECKED plb_status plb_wheel_guess_from(const double *x, size_t n, double rate_hz, plb_wheel_guess *out, plb_error *err);

#endif
