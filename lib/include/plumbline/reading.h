#ifndef PLB_READING_H
#define PLB_READING_H
/**
 * @file  Readings: level, time, shape, relation and amount of each channel, over the capture and cycle by cycle.
 * Pulses and transitions follow IEEE Std 181 / IEC 60469: state levels by histogram, reference instants at 10, 50 and
 * 90 % of the way between them by linear interpolation.
 */
#include <plumbline/capture.h>
#include <plumbline/error.h>
#include <plumbline/types.h>
PLB_BEGIN_DECLS

typedef enum plb_scope {
  PLB_SCOPE_CAPTURE, /**< over everything that was looked at; of pulses and transitions their mean */
  PLB_SCOPE_CYCLE    /**< one value for each cycle: the median of them */
} plb_scope;

typedef struct plb_reading {
  char channel[PLB_NAME_SIZE]; /**< role */
  char against[PLB_NAME_SIZE]; /**< the other channel, where the reading is between two; else empty */
  char name[PLB_NAME_SIZE];    /**< "mean", "duty", ...: a slug */
  char unit[PLB_UNIT_SIZE];    /**< UCUM */
  double value;                /**< finite */
  double uncertainty;          /**< what one sample interval or one code step is worth here; NaN: not known */
  plb_scope scope;
  size_t count;           /**< values behind it: samples, pulses, transitions or cycles */
  double lowest, highest; /**< of these values; the value itself where there is one only */
} plb_reading;

/** What to read. Start from PLB_MEASURE_OPTIONS_INIT. */
typedef struct plb_measure_options {
  unsigned version; /**< 1 */
  bool from_given, to_given;
  double from_s, to_s; /**< only samples with from <= time < to, as the file tells the time */
  int cylinders;       /**< dwell in degrees of a distributor that serves so many cylinders, 2..16; 0: no dwell */
  bool coil_per_plug;  /**< no distributor: dwell in degrees is refused */
} plb_measure_options;
#define PLB_MEASURE_OPTIONS_INIT                                                                                       \
  { 1, false, false, 0.0, 0.0, 0, false }

typedef struct plb_readings {
  plb_reading *reading; /**< [count] channel by channel; those between channels come last */
  size_t count;
  char (*note)[PLB_TEXT_SIZE]; /**< why something is not there */
  size_t notes;
  double from_s;  /**< time of the first sample that was looked at */
  size_t samples; /**< how many were */
} plb_readings;

/**
 * Read everything that the capture gives. A reading that it cannot give (no second state, no transition) is left out.
 * @return PLB_OK; PLB_EUSAGE (options that make no sense), PLB_EDATA (nothing between from and to, no rate), PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_measure(plb_readings **out, const plb_capture *capture,
                                           const plb_measure_options *options, plb_error *err);
PLB_API void plb_readings_free(plb_readings *readings); /**< NULL is fine */

/** "40ms", "1.5s" or a bare number of seconds. */
PLB_API PLB_CHECKED plb_status plb_measure_time_parse(const char *text, double *out_s, plb_error *err);

/** A table for people. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_readings_text(char **text_out, const plb_readings *readings,
                                                 const plb_capture *capture, plb_error *err);
/** One line of JSON, readings/1. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_readings_json(char **text_out, const plb_readings *readings,
                                                 const plb_capture *capture, plb_error *err);

/** A reading over time. Start from PLB_SERIES_OPTIONS_INIT. */
typedef struct plb_series_options {
  unsigned version; /**< 1 */
  bool from_given, to_given;
  double from_s, to_s;
  const char *reading; /**< the name of a reading, "duty-high"; "speed" and "acceleration" of a wheel; "balance" of cylinders */
  const char *channel; /**< role; NULL: the first */
  double every_s;      /**< one value for each so long a window; 0: one for each cycle (of a wheel: each tooth) */
  int cylinders;       /**< for dwell, and for balance: 2..16 */
  int teeth, missing;  /**< of a wheel: tooth positions 3..512, of which missing 0..8; teeth 0: no wheel */
  bool turns;          /**< of a wheel: one value for each turn instead of each tooth */
} plb_series_options;
#define PLB_SERIES_OPTIONS_INIT                                                                                        \
  { 1, false, false, 0.0, 0.0, NULL, NULL, 0.0, 0, 0, 0, false }

typedef struct plb_series {
  char reading[PLB_NAME_SIZE], channel[PLB_NAME_SIZE], unit[PLB_UNIT_SIZE];
  double every_s;  /**< 0: cycle by cycle */
  double *time_s;  /**< [count] when the cycle or window begins, as the file tells the time; of a wheel the middle */
  double *value;   /**< [count] NaN: a window in which there is nothing to read */
  size_t count;
  size_t lowest, highest; /**< where; the first of several alike; count: there is no value at all */
  char note[PLB_TEXT_SIZE]; /**< what to know about it; may be empty */
} plb_series;

/**
 * Read one thing over time.
 * @return PLB_OK; PLB_EUSAGE (no such reading or channel), PLB_EDATA (nothing there to read, no rate), PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_series_read(plb_series **out, const plb_capture *capture,
                                               const plb_series_options *options, plb_error *err);
PLB_API void plb_series_free(plb_series *series); /**< NULL is fine */
/** A table with the lowest and highest so far marked. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_series_text(char **text_out, const plb_series *series, const plb_capture *capture,
                                               plb_error *err);
/** Columns time, value, lowest and highest so far, with a header; commas. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_series_csv(char **text_out, const plb_series *series, plb_error *err);
/** One line of JSON, series/1. @param text_out  malloc'ed */
PLB_API PLB_CHECKED plb_status plb_series_json(char **text_out, const plb_series *series, const plb_capture *capture,
                                               plb_error *err);

PLB_END_DECLS
#endif
