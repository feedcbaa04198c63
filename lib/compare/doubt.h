#ifndef PLB_COMPARE_DOUBT_H
#define PLB_COMPARE_DOUBT_H
/** @file  Where the trace cannot decide: what the trade knows of a type of sensor and of recordings. Reasons only, never findings. */
#include "compare/outcome.h"

/** A channel without a signal, told more exactly where its type explains the silence. @param said_out  true: a blocking reason was added */
PLB_CHECKED plb_status plb_doubt_silence(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, size_t channel, bool connected,
                                         bool *said_out, plb_error *err);

/** A capture that does not match although its circuit may be healthy: another state, no load, timing away from where it is parked. */
PLB_CHECKED plb_status plb_doubt_state(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o,
                                       const plb_compare_options *options, plb_error *err);

/** What the recording hides of what the good captures show: cut off, too few steps, too few samples, thinned, gaps. Whatever the word. */
PLB_CHECKED plb_status plb_doubt_recording(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o,
                                           plb_error *err);

/** The trace as a whole looks like another circuit: said beside findings that would else stand alone. */
PLB_CHECKED plb_status plb_doubt_circuit(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o, plb_error *err);

/** The channel that gives the cycle looks like another circuit: said beside a speed or a rate of samples that nothing was read from. */
PLB_CHECKED plb_status plb_doubt_frame(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, const plb_tracks *tracks, plb_error *err);
/** The same beside a recording that is too short. @param no_room  two of known-good's cycles would not fit into it */
PLB_CHECKED plb_status plb_doubt_short(plb_verdict *v, const plb_judge *judge, const plb_outcome *o, const plb_tracks *tracks, bool no_room,
                                       plb_error *err);

/** Levels of another circuit, said beside any other reason that does not explain them: hum, too few samples, another state. */
PLB_CHECKED plb_status plb_doubt_levels(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o, plb_error *err);

/** A channel too small to be known-good's, and yet no mere noise: said beside "no signal". @param swing  robust [unit] */
PLB_CHECKED plb_status plb_doubt_small(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, size_t channel, double swing,
                                       plb_error *err);

/** Mistakes that look like a fault: said beside the finding, the cheaper check first, and not in its place. */
PLB_CHECKED plb_status plb_doubt_beside(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, const plb_outcome *o,
                                        plb_error *err);
#endif
