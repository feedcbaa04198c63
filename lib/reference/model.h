/**
 * reference: the document that says what good looks like: its model in memory, XML in and out, the sample blocks, the
 * schemas, and the capture document. It must not know how anything is scored.
 */
#ifndef PLB_REFERENCE_MODEL_H
#define PLB_REFERENCE_MODEL_H
#include "core/core.h"
#include "cycle/cycle.h"
#include <plumbline/reference.h>

/** A short text that may be empty; owned, UTF-8, at most 64 KiB. NULL means empty. */
typedef char *plb_string;

/** What to check next when a band departs in one direction; common practice, never a diagnosis. */
typedef struct plb_pointer {
  char direction[PLB_NAME_SIZE]; /**< low high early late noisy missing */
  plb_string text;
} plb_pointer;

typedef enum plb_band_domain { PLB_BAND_CYCLE, PLB_BAND_FREQUENCY, PLB_BAND_ORDER } plb_band_domain;

typedef struct plb_band {
  char name[PLB_NAME_SIZE];    /**< b01 .. or a word */
  char channel[PLB_NAME_SIZE]; /**< role; empty: every channel */
  plb_band_domain domain;
  double from, to;             /**< phase, Hz or order */
  double tolerance;            /**< factor on the learned limits, default 1 */
  bool residual;               /**< frequency and order: of what is left after the capture's own median cycle, not of the signal */
  double level, spread;        /**< frequency and order: mean over the good captures [dB re one unit RMS] and standard deviation [dB] */
  plb_string good;             /**< what good looks like here */
  plb_pointer *pointer;
  size_t pointers;
} plb_band;

typedef enum plb_rule { /**< amplitude and offset rules */
  PLB_RULE_ABSOLUTE, PLB_RULE_SUPPLY_PROPORTIONAL, PLB_RULE_SPEED_CURVE, PLB_RULE_LOAD_PROPORTIONAL, PLB_RULE_FREE,
  PLB_RULE_FIXED, PLB_RULE_PEGGED
} plb_rule;

typedef struct plb_speed_point { double rate_hz, gain; } plb_speed_point; /**< one point of a learned speed curve */

typedef struct plb_reference_channel {
  char role[PLB_NAME_SIZE];
  char unit[PLB_UNIT_SIZE];
  plb_rule amplitude, offset;
  double peak_to_peak;   /**< range_high - range_low; fixes the decimals of the curves, plb_decimals_for() [unit] */
  double noise;          /**< typical RMS scatter of cycles around their median [unit] */
  double sample_noise;   /**< typical RMS of what changes at random from sample to sample: the instrument's own [unit]; 0: not known */
  double step;           /**< typical code step of the exemplars [unit]; 0 unknown */
  double range_low, range_high; /**< extremes among exemplars [unit] */
  int column;            /**< where the exemplars' files had it, a hint for files without headers; 0: none */
  char header[PLB_NAME_SIZE];
  char pegged[PLB_NAME_SIZE]; /**< offset rule `pegged`: the landmark whose value stays; empty: none */
  plb_speed_point *speed;     /**< amplitude rule `speed-curve`: gain against cycles per second, rising rate */
  size_t speeds;
} plb_reference_channel;

typedef struct plb_condition {
  char name[PLB_NAME_SIZE];  /**< state, speed, load, supply, coolant ... */
  char word[PLB_NAME_SIZE];  /**< for words; empty: a range */
  char unit[PLB_UNIT_SIZE];
  double low, high;          /**< NaN: open */
  bool stated;               /**< by the user; false: seen in the exemplars */
} plb_condition;

typedef enum plb_combine { PLB_COMBINE_NONE, PLB_COMBINE_DIFFERENCE, PLB_COMBINE_SUM } plb_combine;
/** Which of the values behind a reading a limit holds for. */
typedef enum plb_limit_statistic { PLB_LIMIT_VALUE, PLB_LIMIT_LOWEST, PLB_LIMIT_HIGHEST, PLB_LIMIT_EACH } plb_limit_statistic;

/** One learned or stated number with its spread: how R is judged (SCORING section 4). */
typedef struct plb_reading_limit {
  char name[PLB_NAME_SIZE];    /**< "log gain", "offset", "irregularity", "speed" ... */
  char channel[PLB_NAME_SIZE];
  char unit[PLB_UNIT_SIZE];
  double low, high;            /**< permitted; NaN: open */
  plb_string source;           /**< "exemplars", or a standard */
  /* only in references set by a standard: what the reading is taken from, and how well it can be read */
  char against[PLB_NAME_SIZE]; /**< the other channel of `combine`; empty: none */
  plb_combine combine;         /**< read `channel` minus, or plus, `against` */
  bool of_supply;              /**< low and high are shares of the supply [%] */
  plb_limit_statistic statistic;
  double uncertainty;          /**< granted beyond the reading's own, in the limit's unit: probe and instrument; 0: none */
} plb_reading_limit;

/** One good capture as the reference keeps it. */
typedef struct plb_exemplar {
  char name[PLB_TEXT_SIZE];    /**< file name without folders */
  char sha256[PLB_HASH_SIZE];  /**< of the capture's bytes */
  char group[PLB_TEXT_SIZE];   /**< empty: not stated */
  double held_out;             /**< score against a reference learned without it (and its group); NaN: none */
  double rate_hz;              /**< cycles per second */
  unsigned cycles, unmapped;   /**< mapped, and found but not mapped */
  unsigned damaged;            /**< mapped, but with missing or surplus landmarks (teeth) */
  /** [channels][grid]; on exact multiples of 10^-decimals of the channel; both NULL: no profile */
  float *median, *spread;
  double *reading;             /**< [readings of the reference], NaN: none; NULL: none at all */
  double *level;               /**< [plb_reference_levels()] dB in each frequency band of each of its channels, NaN: none; NULL: none at all */
  double supply_v, load;       /**< at which it was taken; 0: not known */
  double *band_score;          /**< [bands of the reference] held-out score per band, NaN: none; NULL: not kept */
} plb_exemplar;

typedef struct plb_scale {     /**< T_j of SCORING section 4 */
  char kind[PLB_NAME_SIZE];    /**< D, M-raw, M-shape, C, N, R, level, slope ... */
  char channel[PLB_NAME_SIZE];
  char name[PLB_NAME_SIZE];    /**< band or reading */
  double value;
} plb_scale;

typedef struct plb_calibration {
  double alpha;         /**< asked for */
  double promise;       /**< alpha_e: max(alpha, 1 / (n + 1)) */
  double promise_upper90;
  unsigned independent; /**< n: groups, or captures where groups are not stated */
  bool groups_stated, one_group;
  double limit, guard, guard_robust;
  char odd[PLB_TEXT_SIZE]; /**< exemplar that sets the limit; empty: none */
  double odd_ratio;        /**< its held-out score over the median one */
  plb_scale *scale;
  size_t scales;
} plb_calibration;

typedef struct plb_corridor { /**< per channel, for drawing and for other programs; on a grid of grid points */
  float *centre, *lower, *upper; /**< [channels][grid] three half-widths h to either side */
  float *jitter;                 /**< [grid] timing jitter, share of the cycle; NULL: none */
} plb_corridor;

struct plb_reference {
  char id[33];
  char type[PLB_NAME_SIZE];
  char name[PLB_TEXT_SIZE];    /**< type/rest */
  unsigned version;            /**< 0 for a file that was never in a collection */
  char sha256[PLB_HASH_SIZE];  /**< of the file's bytes; empty until written or read */
  plb_string title, why, date, predecessor;
  plb_provenance provenance;
  plb_string method, sources;
  plb_string system;           /**< subject, free of makes */
  int cylinders; double supply_nominal_v;
  plb_condition *condition; size_t conditions;
  struct {
    plb_string test_point, place, ground, never, probe, range, coupling, trigger;
    double rate_needed_hz;
    plb_string *caution; size_t cautions;
    bool connected;            /**< measured with the connector plugged (default) */
  } connection;
  plb_reference_channel *channel; size_t channels;
  plb_cycle_choice choice;
  plb_corridor corridor;
  plb_band *band; size_t bands;
  plb_reading_limit *reading; size_t readings; /**< names and order of exemplar.reading */
  plb_exemplar *exemplar; size_t exemplars;
  plb_calibration calibration; /**< exemplars > 0 */
};

/** An empty reference; `connection.connected` is true and open numbers are NaN. */
plb_reference *plb_reference_new(void);

/** Round to multiples of 10^-decimals so that what is stored is what was judged. */
void plb_round_decimals(float *x, size_t n, int decimals);
/** Decimals that keep a curve to one part in 20,000 of `peak_to_peak`; 0..9. */
int plb_decimals_for(double peak_to_peak);

const char *plb_rule_name(plb_rule rule); /**< "absolute", "speed-curve" ... */
const char *plb_combine_name(plb_combine combine);                 /**< "", "difference", "sum" */
const char *plb_limit_statistic_name(plb_limit_statistic statistic); /**< "value", "lowest", "highest", "each" */
/** Levels that an exemplar keeps: one for each band of frequency or order and channel that it holds for, bands outermost. */
size_t plb_reference_levels(const plb_reference *reference);
const char *plb_band_domain_name(plb_band_domain domain); /**< "cycle", "frequency", "order" */

/** Different groups (vehicles, sessions) among the exemplars; 0: none stated. */
size_t plb_reference_groups(const plb_reference *reference);

/** Serialise; validates against schema/reference.xsd and re-reads with the strict reader before returning. Sets id
   and sha256. */
PLB_CHECKED plb_status plb_reference_write_buffer(plb_reference *reference, plb_buffer *out, plb_error *err);

#endif
