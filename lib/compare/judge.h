/**
 * compare: is this capture like the good ones? It owns profiles, the fit of a reference's exemplars, distances, the decision and its
 * explanation. It takes loaded objects, never paths or the store, and must not know how references are learned.
 *
 * The arithmetic follows one recipe (see DEVELOPERS.md, "How a verdict is made"): one capture gives one score, the largest of many
 * distances, each divided by how far good captures get in it; 1 means "as far as the more unusual good ones".
 */
#ifndef PLB_COMPARE_JUDGE_H
#define PLB_COMPARE_JUDGE_H
#include "compare/frequency.h"
#include "compare/profile.h"
#include "compare/rules.h"
#include "cycle/cycle.h"
#include "reference/model.h"
#include <math.h>
#include <math.h>
#include <plumbline/compare.h>

/** Slices of the grid that are scored on their own. */
typedef struct plb_slices {
  size_t channels, grid, bands;
  size_t *from, *to; /**< [bands] grid cells [from, to) */
  size_t *channel;   /**< [bands] */
  size_t *band;      /**< [bands] index of the reference's band */
} plb_slices;

PLB_CHECKED plb_status plb_slices_from_reference(plb_slices *out, const plb_reference *reference, plb_error *err);
void plb_slices_dispose(plb_slices *slices);

/** One band of one channel: how good curves vary together there (ridge Mahalanobis, in whichever of the two forms is smaller). */
typedef struct plb_ridge {
  size_t n, width;
  bool dual;
  double lambda;
  float floor;       /**< f [unit] */
  const float *jump; /**< [width] of the channel, borrowed: cells on a steep edge weigh less */
  float *mean;    /**< [width] */
  float *a;       /**< [n][width] centred curves (dual form), else NULL */
  double *factor; /**< Cholesky factor: n x n of K + (n-1) lambda I, or width x width of the covariance + lambda I */
} plb_ridge;

typedef struct plb_fit_channel {
  float *centre, *half;             /**< [grid] raw: mean curve and h */
  float *shape_centre, *shape_half; /**< [grid] the same with gain and offset removed */
  float *jump;                      /**< [grid] what one sample of timing does to a steep cell; 0 for kinds without edges [unit] */
  float *within;                    /**< [grid] sw: median over exemplars of the spread inside a capture */
  double floor;                     /**< f [unit] */
  double peak_to_peak;
  double gain_mid, gain_var, offset_mid, offset_var; /**< of log gain, and of offset / peak-to-peak */
  double pivot; /**< steady: the level about which a gain widens the levels; else 0 */
  bool judge_gain, judge_offset, judge_raw;
  plb_rule_fit rule; /**< what size and height may follow; gain and offset are judged about it */
} plb_fit_channel;

/** What a set of exemplars says about good: cheap, and made again without each exemplar in turn. */
typedef struct plb_fit {
  size_t n, channels, grid, landmarks, readings, bands;
  plb_fit_channel *channel;
  plb_ridge *raw, *shape;             /**< [bands] */
  double *reading_mid, *reading_var;  /**< [readings] */
  float *mark_mid, *mark_half;        /**< [landmarks] phases and their h; NULL without landmarks */
  double *level_mid, *level_var;      /**< [plan->levels.count] dB; NaN: in none of the captures */
} plb_fit;

/** What the whole fit needs to know about the reference besides the exemplars. */
typedef struct plb_plan {
  plb_slices slices;
  const plb_cycle_choice *choice;
  const plb_reference_channel *channel; /**< [slices.channels] rules and code steps */
  const plb_reading_limit *reading;     /**< [readings] */
  size_t readings;
  size_t channels;
  plb_level_set levels; /**< frequency bands and orders */
  double sample_cells; /**< edge: cells that one sample of the good captures covers at most; 0: timing by samples does not matter */
} plb_plan;

/** How much a cell weighs against others: 1 but on steep edges, where the distance is told in what a sample of timing does. */
static inline float plb_ridge_weight(const plb_ridge *r, size_t cell) {
  return r->jump[cell] > 0.0F ? r->floor / sqrtf(r->floor * r->floor + r->jump[cell] * r->jump[cell]) : 1.0F;
}

PLB_CHECKED plb_status plb_plan_init(plb_plan *out, const plb_reference *reference, plb_error *err);
void plb_plan_dispose(plb_plan *plan);

/** @param member  [count] profiles of the good captures to learn from, count >= 1 */
PLB_CHECKED plb_status plb_fit_new(plb_fit **out, const plb_plan *plan, const plb_profile *const *member, size_t count, plb_error *err);
void plb_fit_free(plb_fit *fit);

/** Kinds of distance. All are >= 0, linear in the size of a deviation, about 1 for good captures. */
typedef enum plb_distance_kind {
  PLB_D_LASTING,  /**< RMS of (m - c) / h */
  PLB_D_RAW,      /**< ridge Mahalanobis on raw curves */
  PLB_D_SHAPE,    /**< the same on curves with gain and offset removed */
  PLB_D_CYCLE,    /**< the worst cycles */
  PLB_D_NOISE,    /**< scatter of cycles around their median */
  PLB_D_READING,  /**< a reading */
  PLB_D_GAIN, PLB_D_OFFSET, /**< readings of a channel */
  PLB_D_MARKS,    /**< spacing of the marks (teeth) */
  PLB_D_LEVEL, PLB_D_SLOPE, /**< nearest good capture, elastic (`once`) */
  PLB_D_FREQUENCY, /**< level in a frequency band or order: judged as a reading */
  PLB_D_KINDS
} plb_distance_kind;
const char *plb_distance_kind_name(plb_distance_kind kind);

/** One place of the distance vector. */
typedef struct plb_term {
  plb_distance_kind kind;
  size_t channel; /**< SIZE_MAX: none */
  size_t index;   /**< band or reading */
} plb_term;

/** The distance vector's layout, fixed by the plan. */
typedef struct plb_terms {
  plb_term *term;
  size_t count;
} plb_terms;
PLB_CHECKED plb_status plb_terms_new(plb_terms *out, const plb_plan *plan, plb_error *err);
void plb_terms_dispose(plb_terms *terms);

/** Gain, offset of a curve against the centre of the fit, robustly (Huber, 1.5 sigma, three steps). */
typedef struct plb_gain { double gain, offset; bool usable; } plb_gain;
plb_gain plb_gain_against(const float *curve, const float *centre, size_t n);
/** The same of a capture; believable when it is within a factor 5 of what the channel's rule expects. */
plb_gain plb_gain_of(const plb_fit_channel *channel, const float *curve, size_t grid, const plb_profile *x);
/** The gain that is told: against what the rule expects of this capture. */
static inline double plb_gain_told(const plb_fit_channel *channel, double gain, double expected) {
  const bool plain = channel->rule.amplitude == PLB_RULE_ABSOLUTE || channel->rule.amplitude == PLB_RULE_FREE || isnan(expected);
  return plain ? gain : gain * exp(-expected - channel->gain_mid);
}
/** The offset that is judged and told: how far the curve sits from the centre at the pivot. */
static inline double plb_offset_told(const plb_fit_channel *channel, plb_gain g) { return g.offset + (g.gain - 1.0) * channel->pivot; }

/** Distances of one capture; NaN where a term cannot be judged. @param d  [terms->count] */
PLB_CHECKED plb_status plb_distances(const plb_fit *fit, const plb_plan *plan, const plb_terms *terms, const plb_profile *x, double *d,
                                     plb_error *err);

/** Score of one cycle in one band, as PLB_D_CYCLE counts it. */
double plb_cycle_distance(const plb_fit *fit, const plb_plan *plan, const plb_profile *x, size_t band, size_t row, plb_gain gain);

/** T_j from the left-out distances of each exemplar: [members][terms]; false: out of memory. @param t  [terms->count] */
bool plb_scales_from(const plb_terms *terms, const double *left_out, size_t members, double *t);

/** max d_j / T_j over the terms, and which. `once` counts band terms at a fifth. Structural evidence is not in it. */
double plb_score_of(const plb_terms *terms, const double *d, const double *t, bool elastic, size_t *worst_out);
/** The weight of a term in the score: 1, or 1/5 for band terms of an elastic reference. */
double plb_term_weight(const plb_term *term, bool elastic);

/** Timing jitter along the phase: spread over exemplars of the phases of the marks, share of the cycle. [grid] */
void plb_timing_jitter(const plb_fit *fit, const plb_plan *plan, float *out);

/** The good range as drawn: centre, and three half-widths h to either side. [grid] each */
void plb_corridor_limits(const plb_fit *fit, size_t channel, float *centre, float *lower, float *upper);

/** Structural evidence of a profile: share of cycles found that are unmapped or miss or gain marks. */
double plb_structural_share(const plb_profile *x);
enum { PLB_STRUCTURAL_STEP = 1000 }; /**< added to the score when it exceeds 4 % or three times the worst exemplar */

#endif
