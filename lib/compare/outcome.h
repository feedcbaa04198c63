#ifndef PLB_COMPARE_OUTCOME_H
#define PLB_COMPARE_OUTCOME_H
/** @file  One capture judged against one reference: the numbers, before any words. */
#include "compare/elastic.h"
#include "compare/judge.h"

struct plb_judge {
  const plb_reference *reference;
  plb_plan plan;
  plb_terms terms;
  plb_profile **member; /* [reference->exemplars] views of the exemplars */
  plb_fit *fit;
  plb_elastic *elastic; /* NULL unless the reference is of single events */
  double *scale;        /* [terms] T_j */
  int *decimals;        /* [channels] */
  double structural;    /* share of damaged cycles from which it counts */
};

typedef struct plb_outcome {
  plb_profile *profile; /* NULL when nothing could be laid over the phase axis; then only `frame` */
  plb_frame *frame;     /* owned here only when profile is NULL */
  double *d;            /* [terms] */
  plb_gain *gain;       /* [channels] */
  double score;         /* NaN: none */
  size_t worst;         /* term that made the score; SIZE_MAX: none */
  bool structural;
  unsigned blocks;      /* of the good captures' length, of which the worst counts; 0 or 1: judged as a whole */
  plb_word word;        /* from the score alone */
} plb_outcome;

static inline const plb_frame *plb_outcome_frame(const plb_outcome *o) { return o->profile != NULL ? o->profile->frame : o->frame; }

PLB_CHECKED plb_status plb_outcome_new(plb_outcome **out, const plb_judge *judge, const plb_tracks *tracks, plb_error *err);
void plb_outcome_free(plb_outcome *outcome);

/** departs above both limit and guard; borderline above the limit only, or above the robust guard only; else agrees. */
plb_word plb_word_for_score(const plb_calibration *calibration, double score);
/** The score of one term, weight and T included; NaN when it could not be judged. */
double plb_term_score(const plb_judge *judge, const plb_outcome *outcome, size_t term);
/**
 * Replace the distances of a capture much longer than the good ones by the largest over blocks of their length.
 * @param share_out  share of damaged cycles, of the worst block. @param d  [terms] in: of the whole capture
 */
PLB_CHECKED plb_status plb_block_distances(unsigned *blocks_out, double *share_out, const plb_judge *judge, const plb_profile *whole,
                                           double *d, plb_error *err);
/** Index of a term, or SIZE_MAX. */
size_t plb_term_find(const plb_terms *terms, plb_distance_kind kind, size_t index);

/** A measuring mistake that explains a departure wholly. */
typedef struct plb_mistake {
  bool found;
  bool sure;                /* no fault shows the same; else it is said beside the finding */
  char code[PLB_NAME_SIZE]; /* lead-inverted, factor, clamp, ac-coupled, hum, floating, wrong-channel */
  size_t channel;           /* of the reference; SIZE_MAX: all of them */
  size_t other;             /* wrong-channel: the one it was exchanged with */
  double factor;            /* the samples are this many times too large */
  double correlation;       /* with the known-good once undone */
  double size, mains_hz;    /* level or hum that was taken off [unit]; of which frequency */
  bool alone;               /* another channel of the same recording is right as it stands: the lead is likely right too */
  plb_outcome *undone;      /* the judgement with the mistake undone; owned */
} plb_mistake;

/** Try the mistakes that fit the evidence, the cheapest to check first: undo each and judge again. */
PLB_CHECKED plb_status plb_mistake_find(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen,
                                        plb_error *err);
/** The mistakes that are undone by taking a level or hum off; called when those of plb_mistake_find() do not fit. */
PLB_CHECKED plb_status plb_mistake_undo(plb_mistake *out, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *seen,
                                        plb_error *err);

#endif
