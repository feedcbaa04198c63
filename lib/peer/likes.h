/**
 * peer: comparisons without a known-good. It owns the laying of like parts over one common cycle, the search for the odd one, the pair, and
 * the search for the place where a signal is lost. What good looks like it takes from the other parts; it must not know references on disk.
 */
#ifndef PLB_PEER_LIKES_H
#define PLB_PEER_LIKES_H
#include "capture/capture.h"
#include "compare/judge.h"
#include <plumbline/peer.h>

/** Why a part has no profile. */
typedef enum plb_laid { PLB_LAID, PLB_SILENT, PLB_NO_CYCLE } plb_laid;

/** Like parts over one common cycle. */
typedef struct plb_likes {
  size_t n;
  char (*name)[PLB_TEXT_SIZE]; /**< [n] */
  plb_tracks **tracks;         /**< [n]; of a split capture [1] */
  size_t tracked;
  plb_laid *laid;              /**< [n] */
  plb_profile **profile;       /**< [n]; NULL unless laid */
  plb_reference *shell;        /**< channels, cycle, sections and readings, as a plan needs them; never written */
  int *decimals;               /**< [channels] */
  plb_plan plan;
  plb_terms terms;
} plb_likes;

PLB_CHECKED plb_status plb_likes_new(plb_likes **out, const plb_part *part, size_t count, const plb_peer_options *options, plb_error *err);
void plb_likes_free(plb_likes *likes);

/** Replace the only part by the like units of which each of its cycles consists. lib/peer/split.c */
PLB_CHECKED plb_status plb_likes_split(plb_likes *likes, unsigned units, plb_error *err);
/** Sections, readings, plan and terms for the shell's cycle; makes those that were there again. */
PLB_CHECKED plb_status plb_likes_plan(plb_likes *likes, plb_error *err);

/** A section as people say it: "from 17 to 25 % of the cycle". */
void plb_peer_say_section(char *out, size_t size, double from, double to);

/** Add the reason why part i was not laid; its text goes to `text_out` too. */
PLB_CHECKED plb_status plb_likes_tell_unlaid(const plb_likes *likes, size_t i, bool blocks, plb_reason **list, size_t *count,
                                             char text_out[PLB_TEXT_SIZE], plb_error *err);

/** Fill a section's deviation, direction and lag from two median curves of one channel. `score` is left alone. */
void plb_peer_look(plb_peer_band *band, const plb_likes *likes, size_t slice, const float *curve, const float *centre, double cycle_s,
                   double floor);

#endif
