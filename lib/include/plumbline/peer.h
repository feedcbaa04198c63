#ifndef PLB_PEER_H
#define PLB_PEER_H
/**
 * @file  Comparisons that need no known-good: two captures of like circuits, the odd one among several like parts, and where on its way a
 * signal is lost.
 */
#include <plumbline/capture.h>
#include <plumbline/cycle.h>
#include <plumbline/error.h>
#include <stdbool.h>
PLB_BEGIN_DECLS

/** One of several like circuits: a capture, or one channel of it. */
typedef struct plb_part {
  const plb_capture *capture;
  const char *role; /**< one channel of the capture; NULL: all of them, by their roles */
  const char *name; /**< what to call it: a file name, a role */
} plb_part;

typedef struct plb_peer_options {
  unsigned version;            /**< 1 */
  const plb_cycle_spec *cycle; /**< NULL: `repeat`, or `once` where nothing repeats */
  unsigned split;              /**< peers of one part: each cycle holds so many like units (cylinders), 3..16; 0: none */
} plb_peer_options;
#define PLB_PEER_OPTIONS_INIT {1, NULL, 0}

/** How one section of a part lies against the others. */
typedef struct plb_peer_band {
  char channel[PLB_NAME_SIZE], name[PLB_NAME_SIZE];
  double from, to;               /**< phase 0..1 of the cycle, or of the unit where cycles are split */
  double score;                  /**< peers: 1 = as far as the more unusual of the others; pair: in widths of the scatter between cycles */
  double deviation;              /**< mean over the section, signed [channel unit] */
  char direction[PLB_NAME_SIZE]; /**< low high early late noisy shape */
  double lag_s;                  /**< + late; NaN: not measurable */
} plb_peer_band;

typedef struct plb_peer_member {
  char name[PLB_TEXT_SIZE];
  double score; /**< against the others; NaN: not judged (silent, or no cycle) */
  double limit; /**< what the others show among themselves: limit and guard, the larger; NaN: none */
  bool apart;   /**< beyond it, or silent, or without a cycle like the others */
} plb_peer_member;

typedef struct plb_peers {
  bool judged;          /**< enough parts could be compared */
  int odd;              /**< index of the odd one out, -1: none */
  char sentence[161];
  char finding[PLB_TEXT_SIZE]; /**< how it is odd; empty: none */
  double score, margin; /**< of the odd one, or of the least like; margin: its score over the limit, divided by the same of the next; NaN: none */
  double promise;       /**< share of sets of healthy parts in which one may be called odd: 1/n; NaN: none was judged */
  char cycle[PLB_TEXT_SIZE]; /**< as --cycle writes it */
  plb_peer_member *member; size_t members;
  plb_peer_band *band; size_t bands; /**< of the odd one, or of the least like */
  plb_reason *reason; size_t reasons;
} plb_peers;

/**
 * Which of several like parts is the odd one out? Each is judged by what the others show.
 * @return PLB_OK (also when none is odd or nothing can be judged: reasons say why), PLB_EUSAGE (fewer than 3 parts, a split that makes no
 * sense), PLB_EDATA (units or channels that differ: the message names the part), PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_find_odd(plb_peers **out, const plb_part *part, size_t count, const plb_peer_options *options,
                                            plb_error *err);
PLB_API void plb_peers_free(plb_peers *peers); /**< NULL is fine */

typedef enum plb_pair_word { PLB_SAME, PLB_DIFFERS, PLB_PAIR_UNJUDGED } plb_pair_word;
PLB_API const char *plb_pair_word_name(plb_pair_word word); /**< "same", "differs", "unjudged" */

/** The same reading of both. */
typedef struct plb_pair_reading {
  char channel[PLB_NAME_SIZE], name[PLB_NAME_SIZE], unit[PLB_UNIT_SIZE];
  double a, b;
  bool apart; /**< further apart than their uncertainty and than each varies by itself */
} plb_pair_reading;

typedef struct plb_pair {
  plb_pair_word word;
  char sentence[161];
  char a[PLB_TEXT_SIZE], b[PLB_TEXT_SIZE], cycle[PLB_TEXT_SIZE];
  struct {
    double scale;                 /**< length of b's cycle over a's */
    double gain, offset;          /**< b = gain a + offset, first channel */
    double correlation;           /**< of the two typical cycles */
  } alignment;
  unsigned cycles_a, cycles_b;
  plb_peer_band *band; size_t bands; /**< b against a */
  plb_pair_reading *reading; size_t readings;
  plb_reason *reason; size_t reasons;
} plb_pair;

/** Two captures of like circuits, or one before and after a repair: the same within what their own cycles scatter, or not. */
PLB_API PLB_CHECKED plb_status plb_compare_pair(plb_pair **out, const plb_part *a, const plb_part *b, const plb_peer_options *options,
                                                plb_error *err);
PLB_API void plb_pair_free(plb_pair *pair); /**< NULL is fine */

/** Where a trace was taken, told by the role of its channel. */
typedef enum plb_place { PLB_AT_COMPONENT, PLB_AT_CONTROL_UNIT, PLB_AT_SUPPLY, PLB_AT_GROUND, PLB_PLACES } plb_place;
PLB_API const char *plb_place_name(plb_place place); /**< "component", "control-unit", "supply", "ground" */

/** What is to blame for the difference between what is sent and what arrives. */
typedef enum plb_lost {
  PLB_LOST_UNKNOWN,
  PLB_LOST_COMPONENT, /**< the same at both ends: what is wrong with the signal is made at an end, not lost on the way */
  PLB_LOST_WIRING,
  PLB_LOST_SUPPLY,
  PLB_LOST_GROUND,
  PLB_LOST_INSTRUMENT /**< all channels jump together: the scope's own ground */
} plb_lost;
PLB_API const char *plb_lost_name(plb_lost lost); /**< "component" ...; "" for unknown */

enum { PLB_LOCATE_CHECKS = 8 };

typedef struct plb_locate {
  plb_lost where;
  char sentence[161];
  char evidence[PLB_TEXT_SIZE];
  double size, time_s;          /**< the largest difference seen [channel unit] and when; NaN */
  char unit[PLB_UNIT_SIZE];
  char check[PLB_LOCATE_CHECKS][PLB_TEXT_SIZE]; /**< in the order to be made, the likeliest measuring error first */
  size_t checks;
  char next_point[PLB_TEXT_SIZE]; /**< the second point that would decide; empty: none is needed */
  plb_reason *reason; size_t reasons;
} plb_locate;

/** One trace and the place it was taken at. */
typedef struct plb_placed {
  const plb_capture *capture;
  size_t channel;
  plb_place place;
} plb_placed;

/**
 * Where is a signal lost? The traces hold the fault; they were taken in one capture, or one after the other of the same wire.
 * @param supply_v  what the supply should be; NaN: 5 V or the vehicle's own, told from the trace
 * @return PLB_OK, PLB_EUSAGE (a place twice, none of the two ends of the wire), PLB_EDATA (units that differ), PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_locate_loss(plb_locate **out, const plb_placed *trace, size_t count, double supply_v, plb_error *err);
PLB_API void plb_locate_free(plb_locate *locate); /**< NULL is fine */

PLB_END_DECLS
#endif
