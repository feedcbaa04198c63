#ifndef PLB_COMPARE_EXPLAIN_H
#define PLB_COMPARE_EXPLAIN_H
/** @file  From numbers to words: bands, findings, patterns, advice, the sentence. */
#include "compare/outcome.h"

/** One slice seen through the distance that weighs most in it. */
typedef struct plb_band_view {
  plb_distance_kind kind;
  double score;
  const float *centre, *half; /**< [grid] of the fit: raw, or with gain and offset removed */
  float *curve;               /**< [grid] what is compared with them: the median, or the cycle that departs most; owned by the caller */
  size_t row;                 /**< that cycle's row; SIZE_MAX: the median */
  plb_gain gain;              /**< removed from the curve; gain 1, offset 0 when raw */
  size_t worst;               /**< grid cell of the largest deviation */
  double deviation;           /**< there, signed [unit] */
  double lag;                 /**< [cells], + late; NaN */
  double swing;               /**< two-sided wheel signals: the swing there as a share of the centre's; NaN: does not apply */
  const char *direction;      /**< low high early late noisy shape */
} plb_band_view;
/**
 * @param moved  look at the shape only: what the gain or offset of the whole channel does is told elsewhere
 * @param curve  [grid] scratch that the view keeps pointing into
 */
void plb_band_look(plb_band_view *out, const plb_judge *judge, const plb_outcome *o, size_t slice, bool moved, float *curve);
/** Which cycles show the view's deviation at least half as strongly as the curve it is about. @param shown  [mapped] */
void plb_band_shown(const plb_band_view *view, const plb_judge *judge, const plb_outcome *o, size_t slice, bool *shown);

/** Fill verdict->band from an outcome with a profile. */
PLB_CHECKED plb_status plb_explain_bands(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, const plb_tracks *tracks,
                                         plb_error *err);
/** Say where the size or height of a channel is not judged because its rule says nothing for this capture. */
PLB_CHECKED plb_status plb_explain_rules(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, plb_error *err);
/** Supply and load as stated, where the capture has no channel of that role. */
void plb_take_surroundings(plb_tracks *tracks, const plb_compare_options *options);
/** Append one result per frequency band to verdict->band, which has room for them. */
void plb_explain_levels(plb_verdict *v, const plb_judge *judge, const plb_outcome *o);
/** Append findings of the frequency bands, which stand last in verdict->band, to verdict->finding. */
PLB_CHECKED plb_status plb_explain_frequencies(plb_verdict *v, const plb_judge *judge, plb_error *err);
/** Fill verdict->reading. */
PLB_CHECKED plb_status plb_explain_readings(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, plb_error *err);
/** Fill verdict->finding, most important first, and verdict->cycles' departing, pattern, every, phase, p_chance. Needs the bands. */
PLB_CHECKED plb_status plb_explain_findings(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, const plb_tracks *tracks,
                                            plb_error *err);
/** Fill verdict->sentence from the word, the findings and the reasons. */
void plb_explain_sentence(plb_verdict *v, const plb_judge *judge);
/** Fill verdict->drawing. */
PLB_CHECKED plb_status plb_explain_drawing(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, plb_error *err);
/** Stated conditions against the reference's: notes, and reasons that block. */
PLB_CHECKED plb_status plb_explain_conditions(plb_verdict *v, const plb_reference *reference, const plb_compare_options *options,
                                              plb_error *err);

/** Append a note on the conditions; false when memory is short. */
bool plb_condition_note(plb_verdict *v, const char *text);

/** A whole channel early or late against the one that gives the cycle. */
typedef struct plb_moved {
  bool found;
  double share, degrees; /* + late; of the cycle, and as plb_degrees_at() has it */
} plb_moved;
plb_moved plb_channel_moved(const plb_judge *judge, const plb_outcome *o, size_t channel);

/** Moments of a single event that its grid does not show; adds findings. */
PLB_CHECKED plb_status plb_find_brief(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, plb_error *err);

/** Why a cycle of this state (plb_cycle_state) cannot be laid over known-good. */
const char *plb_why_unmapped(size_t state);
/** Append a finding; NULL when memory is short. */
plb_finding *plb_finding_add(plb_verdict *v);

/** Which of the cycles show a thing: lasting, every k-th, or now and then. */
typedef struct plb_pattern_found {
  plb_pattern pattern;
  unsigned count, of;
  unsigned every, phase; /* recurring: every k-th, the phase-th of them, from 1 */
  double p_chance;       /* NaN: not tested */
} plb_pattern_found;
/** @param shown  [n] */
plb_pattern_found plb_pattern_of(const bool *shown, size_t n);
/** Recurring by the time between groups of odd cycles, where counting does not show it. @param at  [groups]; @param scratch  [groups] */
void plb_pattern_by_time(plb_pattern_found *f, const double *at, size_t groups, double cycle, double *scratch);

/** Recurring by the signal's likeness to itself k cycles later. @param cycle  [samples] */
PLB_CHECKED plb_status plb_pattern_by_turn(plb_pattern_found *f, const double *x, size_t n, double cycle, plb_error *err);

/** What to check first for a kind of finding; common practice, the cheapest check first. */
void plb_advise(plb_finding *finding, const plb_reference *reference, const plb_band *band);
/** Put one more check before the others; the last of a full list is dropped. */
void plb_check_before(plb_finding *finding, const char *text);

/** A rate far outside the known-good's that is the fault and no other speed; then told as a finding, and the word is `departs`. */
bool plb_pace_is_symptom(const plb_judge *judge, const plb_outcome *outcome);
PLB_CHECKED plb_status plb_find_pace(plb_verdict *verdict, const plb_judge *judge, const plb_outcome *outcome, plb_error *err);

/**
 * Whether the trace laid over known-good by gain and offset is about as near to it as it stands; else it is told as it stands: a low supply does
 * not shrink a clamped peak, and such a peak is not high.
 */
bool plb_gain_helps(const plb_judge *judge, const plb_outcome *o, size_t channel);

/** Local lag of a curve against a centre inside a slice, in grid cells (+ late), and the share of the difference that it explains (0..1). */
double plb_local_lag(const float *curve, const float *centre, size_t grid, size_t from, size_t to, size_t reach, double *explained_out);

/** "revolution", "cycle", "event", with an s where count != 1. */
const char *plb_unit_of_cycle(const plb_reference *reference, unsigned count);
/** A phase as people say it: "123 deg" for wheels, "1.2 ms" of a cycle of `duration_s`, else "34 %". */
void plb_say_phase(char *out, size_t size, const plb_reference *reference, double phase, double duration_s);
/** For a cycle along another channel: which, its unit and its values at phase 0 and 1, into the verdict. */
void plb_explain_along(plb_verdict *v, const plb_reference *reference);
/** The value of the channel along which the others are judged, at a phase; NaN for other kinds. */
double plb_along_at(const plb_reference *reference, double phase);
/** "the travel ends at 2.1 V of track-2, good captures 4.3 to 4.5 V"; fills size and unit too. */
void plb_say_end_of_travel(plb_finding *finding, const plb_reference *reference, const plb_reading_limit *limit, double value);
/** The level below which 99.5 % of the samples stay, whatever their sign. */
PLB_CHECKED plb_status plb_typical_most(const double *x, size_t n, double *out, plb_error *err);
/** A size as people say it: "0.5 V", "320 mV", "2.1" without a unit. */
void plb_say_size(char *out, size_t size, double value, const char *unit);
/** The nearest tooth to a phase, from 1; 0 when the cycle has no teeth. */
int plb_tooth_at(const plb_reference *reference, double phase);
/** Degrees of the wheel for a phase (720 for two revolutions), or of 360 a cycle. */
double plb_degrees_at(const plb_reference *reference, double phase);

#endif
