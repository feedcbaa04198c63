/**
 * model: circuits and sensors as pure, seeded functions, with named faults that change the circuit. It owns the table
 * of families, the parts of the population (spread of parts, speed, supply, temperature, instrument) and the
 * measuring mistakes. It makes captures; it must not read files, and must not know cycles, references or verdicts.
 * Everything it makes is modelled, and its notes say so.
 *
 * The same request gives the same bytes on one machine and build. Each parameter says where it stands whether its value is
 * *common practice*, *from memory* or of a source; formulas cite theirs in physics.h.
 */
#ifndef PLB_MODEL_MODEL_H
#define PLB_MODEL_MODEL_H
#include "capture/capture.h"

enum { PLB_MODEL_CHANNELS = 4 };

/** Where a fault sits. */
typedef enum plb_fault_place {
  PLB_IN_COMPONENT,
  PLB_IN_WIRING,
  PLB_IN_SUPPLY_OR_GROUND,
  PLB_IN_MEASURING
} plb_fault_place;

/** What sort of fault it is: the columns of the family-by-fault matrix (matrix.h). */
typedef enum plb_fault_kind {
  PLB_FAULT_TURNS,        /**< shorted turns */
  PLB_FAULT_JOINT,        /**< open or high-resistance joint in a wire */
  PLB_FAULT_GROUND,       /**< poor ground of the component or its driver */
  PLB_FAULT_SUPPLY,       /**< weak or missing supply */
  PLB_FAULT_GAP,          /**< larger air gap, weaker magnet */
  PLB_FAULT_TOOTH,        /**< damaged, missing or extra tooth */
  PLB_FAULT_RUNOUT,       /**< wheel or ring off centre */
  PLB_FAULT_REVERSED,     /**< leads crossed in the connector */
  PLB_FAULT_PULLUP,       /**< weak or missing pull-up */
  PLB_FAULT_DRIVER,       /**< slow, leaking or weak driver or output stage */
  PLB_FAULT_STUCK,        /**< moving part stuck or dragging */
  PLB_FAULT_ODD_ONE,      /**< one of several like parts is bad: a diode, a bar, a cylinder, a phase, a plug */
  PLB_FAULT_SENSOR,       /**< lazy or biased sensor, or a wrong quantity at it */
  PLB_FAULT_TRACK,        /**< worn sliding contact: dropouts */
  PLB_FAULT_TERMINATOR,   /**< bus termination missing or doubled */
  PLB_FAULT_SHORT,        /**< short or leakage to ground, supply or between wires */
  PLB_FAULT_INTERFERENCE, /**< from the ignition, where wires lie too close */
  PLB_FAULT_INTERMITTENT, /**< contact that opens now and then */
  PLB_FAULT_PROTOCOL,     /**< wrong coding: a bad checksum, bit time or frame */
  PLB_MISTAKE_INVERTED,
  PLB_MISTAKE_FACTOR,
  PLB_MISTAKE_ZERO,
  PLB_MISTAKE_DIRECTION,
  PLB_MISTAKE_AC,
  PLB_MISTAKE_ALIAS,
  PLB_MISTAKE_FLOATING,
  PLB_MISTAKE_HUM,
  PLB_MISTAKE_PICK_UP,
  PLB_MISTAKE_FAR_GROUND,
  PLB_FAULT_KINDS
} plb_fault_kind;

/**
 * A named fault. Its severity goes from 0 (none: the good signal, bit for bit) to 1: the fault as a workshop meets it and acts on it,
 * because the function stops or a published or common limit is broken. 0.25 is the first sign.
 */
typedef struct plb_model_fault {
  const char *name; /**< slug */
  plb_fault_kind kind;
  plb_fault_place place;
  const char *text; /**< what is changed in the circuit */
} plb_model_fault;

/** How a channel is connected; decides which measuring mistakes are possible. */
typedef enum plb_connection {
  PLB_BY_PROBE,  /**< voltage between tip and ground clip */
  PLB_BY_CLAMP,  /**< current clamp round the wire */
  PLB_BY_PICK_UP /**< capacitive pick-up round an ignition lead: uncalibrated */
} plb_connection;

typedef struct plb_model_channel {
  const char *role, *unit; /**< UCUM */
  const char *text;        /**< what and where */
  plb_connection by;
  double range;   /**< the range a careful user sets: -range .. +range, in the unit */
  double noise;   /**< typical RMS of the noise of wiring and instrument, in the unit */
  double band_hz; /**< corner of the probe or clamp; 0: far above the rate */
  /** What changes little about a large level is set off by a careful user with few steps: about `middle`, +-`about`; both 0: not so. */
  double middle, about;
} plb_model_channel;

/** Which sorts of fault a family can have at all. */
enum {
  PLB_HAS_WINDING = 1 << 0,
  PLB_HAS_GROUND = 1 << 1, /**< needs a good ground */
  PLB_HAS_SUPPLY = 1 << 2, /**< needs a supply */
  PLB_HAS_GAP = 1 << 3,
  PLB_HAS_TEETH = 1 << 4,
  PLB_HAS_POLARITY = 1 << 5, /**< two wires that can be crossed, with an effect */
  PLB_HAS_PULLUP = 1 << 6,
  PLB_HAS_DRIVER = 1 << 7,
  PLB_HAS_MOTION = 1 << 8, /**< a part that moves when driven */
  PLB_HAS_LIKE_PARTS = 1 << 9,
  PLB_HAS_SENSING = 1 << 10, /**< turns a quantity into a signal */
  PLB_HAS_TRACK = 1 << 11,
  PLB_HAS_BUS = 1 << 12,
  PLB_HAS_CODE = 1 << 13 /**< sends coded frames */
};

/** Why a cell of the matrix is empty although the family could have such a fault. */
typedef struct plb_model_reason {
  plb_fault_kind kind;
  const char *text;
} plb_model_reason;

/** A fault that can be drawn by its name but is no cell of the matrix: this signal alone cannot show it. */
typedef struct plb_model_unseen {
  plb_model_fault fault;
  const char *why; /**< and who sees it */
} plb_model_unseen;

struct plb_draw;
/** Fill the channels of `draw` with what stands at the test points. */
typedef plb_status (*plb_model_simulate)(struct plb_draw *draw, plb_error *err);

typedef struct plb_model_family {
  const char *name; /**< slug, unique */
  const char *type; /**< sensor type */
  const char *text; /**< one line: what, in which state */
  plb_model_channel channel[PLB_MODEL_CHANNELS];
  size_t channels;
  const char *cycle; /**< as --cycle takes it */
  double rate_hz, duration_s;
  double low_per_min, high_per_min; /**< engine or part speed of the population; both 0: none */
  unsigned has;                     /**< PLB_HAS_... */
  const plb_model_fault *fault;     /**< own faults; measuring mistakes come from the common table */
  size_t faults;
  const plb_model_reason *reason; /**< may be NULL */
  size_t reasons;
  const plb_model_unseen *unseen; /**< may be NULL */
  size_t unseens;
  const char *const *state; /**< healthy states besides the usual one ("unplugged"); may be NULL, ends with NULL */
  plb_model_simulate simulate;
  const void *set; /**< parameter set of this variant, known to its simulate function */
} plb_model_family;

/** What to draw. Start from PLB_MODEL_REQUEST_INIT. */
typedef struct plb_model_request {
  uint64_t seed;        /**< the vehicle and the recording */
  const char *fault;    /**< NULL: good */
  double severity;      /**< 0..1 */
  const char *state;    /**< NULL: the usual state of the family */
  double speed_per_min; /**< 0: drawn from the population */
  double rate_hz;       /**< 0: drawn near the family's rate */
  double duration_s;    /**< 0: the family's */
} plb_model_request;
#define PLB_MODEL_REQUEST_INIT                                                                                         \
  { 0, NULL, 0.0, NULL, 0.0, 0.0, 0.0 }

/** Under which conditions a capture was drawn; NaN where it has no meaning. */
typedef struct plb_model_conditions {
  double speed_per_min, supply_v, temperature_cel;
} plb_model_conditions;

size_t plb_model_count(void);
const plb_model_family *plb_model_at(size_t index);
const plb_model_family *plb_model_find(const char *name); /**< NULL: none of this name */

/** Own faults first, then the measuring mistakes that this family's connection allows. */
size_t plb_model_fault_count(const plb_model_family *family);
const plb_model_fault *plb_model_fault_at(const plb_model_family *family, size_t index);
/** Among these, and among the faults that this signal cannot show. */
const plb_model_fault *plb_model_fault_find(const plb_model_family *family, const char *name);

/**
 * Draw one recording.
 * @param conditions_out  may be NULL
 * @return PLB_OK, PLB_EUSAGE (no such fault or state, severity outside 0..1; the message lists what there is),
 * PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_model_draw(plb_capture **out, const plb_model_family *family,
                                      const plb_model_request *request, plb_model_conditions *conditions_out,
                                      plb_error *err);

/** Another recording of the vehicle that request->seed names: same parts, other instrument, chance events and noise. */
PLB_CHECKED plb_status plb_model_draw_again(plb_capture **out, const plb_model_family *family,
                                            const plb_model_request *request, uint64_t recording,
                                            plb_model_conditions *conditions_out, plb_error *err);

/** Named traces on which a naive comparison goes wrong, and what is right. */
typedef struct plb_model_case {
  const char *name; /**< slug */
  const char *family;
  plb_model_request request; /**< seed 0: any */
  const char *verdict; /**< agrees, departs, unjudged: the right answer against the usual population of the family */
  const char *text;    /**< why */
} plb_model_case;

size_t plb_model_case_count(void);
const plb_model_case *plb_model_case_at(size_t index);
const plb_model_case *plb_model_case_find(const char *name);
/** Draw a named case; `seed` replaces the request's. */
PLB_CHECKED plb_status plb_model_draw_case(plb_capture **out, const plb_model_case *which, uint64_t seed,
                                           plb_error *err);
#endif
