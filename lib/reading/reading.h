/**
 * reading: numbers a technician reads from a trace. It owns the table of readings (kinds.c). It must not know
 * references or verdicts.
 */
#ifndef PLB_READING_READING_H
#define PLB_READING_READING_H
#include "capture/capture.h"
#include "core/core.h"
#include "signal/signal.h"
#include "signal/crossing.h"
#include "signal/level.h"
#include "signal/statistic.h"
#include <plumbline/reading.h>

/** One channel, with its states and transitions found. */
typedef struct plb_trace {
  char role[PLB_NAME_SIZE], unit[PLB_UNIT_SIZE];
  double *x; /**< [n] owned */
  size_t n;
  double rate_hz;
  double step;        /**< one code [unit]; 0: unknown */
  double flicker;     /**< a swing no larger than this may be that of the last code */
  double ampere;      /**< amperes in one unit of the channel; 0: no current */
  double volt;        /**< the same for a voltage */
  bool missing;       /**< some samples are not finite */
  bool states;        /**< two states are there */
  double low, high;   /**< state levels; without states the levels that bound 90 % of the samples */
  plb_crossing *edge; /**< [edges] mid-reference instants, rising and falling in turn; owned */
  size_t edges;
  int start;       /**< direction of the edge that leaves the state the signal rests in: it begins a cycle */
  double period_s; /**< mean; NaN: no two cycles */
  bool bursts;     /**< most of the time is not in cycles like the others: an oscillation counts as cycles */
  bool coil;       /**< the edges are those of a coil's charging pulses */
  int cylinders;   /**< 0: no dwell */
} plb_trace;

/** A run of finite samples of one channel: the whole or one cycle. */
typedef struct plb_stretch {
  const plb_trace *trace;
  const double *x;
  size_t n;
  double length_s;
} plb_stretch;

enum {
  PLB_NEEDS_STATES = 1 << 0,
  PLB_THINNED_TOO = 1 << 1, /**< also true of lowest/highest pairs */
  PLB_HARMONIC = 1 << 2     /**< the capture's value is the harmonic mean of the cycles' */
};

/** A row of the table of readings: exactly one of the three functions is set. NaN means: not there. */
typedef struct plb_reading_kind {
  const char *name;
  const char *unit;                                    /**< UCUM; "": the channel's; "/s": the channel's per second */
  double (*stretch)(const plb_stretch *stretch);       /**< from samples: for the capture and for each cycle */
  double (*edge)(const plb_trace *trace, size_t edge); /**< from one transition or the pulse or cycle it begins */
  double (*whole)(const plb_trace *trace);             /**< for the capture alone */
  double (*doubt)(const plb_trace *trace, double value, double length_s); /**< uncertainty; NULL: not known */
  unsigned flags;
} plb_reading_kind;

extern const plb_reading_kind plb_reading_kinds[];
extern const size_t plb_reading_kind_count;
/** Rows that are read from the product of a voltage and a current [W]. */
extern const plb_reading_kind plb_power_kinds[];
extern const size_t plb_power_kind_count;

/** Samples [first, first + n) of a channel. */
PLB_CHECKED plb_status plb_trace_load(plb_trace *out, const plb_capture *capture, size_t channel, size_t first,
                                      size_t n, plb_error *err);
void plb_trace_dispose(plb_trace *trace);
/** The first edge at or after `from` that begins a cycle which ends in the trace; trace->edges when there is none. */
size_t plb_trace_next_cycle(const plb_trace *trace, size_t from);

/** Mean length of the cycles, NaN when there is none. */
double plb_trace_period_s(const plb_trace *trace);
/** Take a voltage as that of an ignition coil's primary: only its charging pulses make edges. */
PLB_CHECKED plb_status plb_trace_as_coil(plb_trace *trace, plb_error *err);

/* level.c */
double plb_read_mean(const plb_stretch *s);
double plb_read_ac_rms(const plb_stretch *s);
double plb_read_true_rms(const plb_stretch *s);
double plb_read_lowest(const plb_stretch *s);
double plb_read_highest(const plb_stretch *s);
double plb_read_peak_to_peak(const plb_stretch *s);
double plb_read_crest_factor(const plb_stretch *s);
double plb_read_ripple(const plb_stretch *s);
double plb_read_charge(const plb_stretch *s);
double plb_read_integral(const plb_stretch *s);
double plb_read_low_level(const plb_trace *t);
double plb_read_high_level(const plb_trace *t);

/* pulse.c */
double plb_read_period(const plb_trace *t, size_t edge);
double plb_read_frequency(const plb_trace *t, size_t edge);
double plb_read_pulse_high(const plb_trace *t, size_t edge);
double plb_read_pulse_low(const plb_trace *t, size_t edge);
double plb_read_duty_high(const plb_trace *t, size_t edge);
double plb_read_duty_low(const plb_trace *t, size_t edge);
double plb_read_dwell_high(const plb_trace *t, size_t edge);
double plb_read_dwell_low(const plb_trace *t, size_t edge);
double plb_read_pulse_count(const plb_trace *t);
double plb_read_jitter(const plb_trace *t);

/* serial.c */
double plb_read_bit_time(const plb_trace *t);
double plb_read_sent_tick(const plb_trace *t);

/* transition.c */
double plb_read_rise_time(const plb_trace *t, size_t edge);
double plb_read_fall_time(const plb_trace *t, size_t edge);
double plb_read_rise_slew(const plb_trace *t, size_t edge);
double plb_read_fall_slew(const plb_trace *t, size_t edge);
double plb_read_overshoot(const plb_trace *t, size_t edge);
double plb_read_undershoot(const plb_trace *t, size_t edge);
double plb_read_settling(const plb_trace *t, size_t edge);

/** A list of readings that grows. */
typedef struct plb_reading_list {
  plb_readings *into;
  size_t room;
} plb_reading_list;

/** Append one; a value that is not finite is left out. */
PLB_CHECKED plb_status plb_reading_add(plb_reading_list *list, const plb_reading *reading, plb_error *err);
PLB_CHECKED plb_status plb_reading_note(plb_reading_list *list, const char *text, plb_error *err);
/** Append median, lowest and highest of `value`, which is reordered; nothing when count is 0. */
PLB_CHECKED plb_status plb_reading_add_cycles(plb_reading_list *list, plb_reading *like, double *value, size_t count,
                                              plb_error *err);
/** Everything that a row gives for one channel. */
PLB_CHECKED plb_status plb_reading_row(plb_reading_list *list, const plb_trace *trace, const plb_reading_kind *kind,
                                       plb_error *err);
/** The finite samples among x[first .. last), copied to `room` only where some are missing. */
plb_stretch plb_trace_cut(const plb_trace *trace, size_t first, size_t last, double *room);
/** The mean of values, harmonic for frequencies. */
double plb_reading_middle(const double *value, size_t count, bool harmonic);
/** The unit of a row for a channel's unit. @param out  [size: PLB_UNIT_SIZE] */
void plb_reading_unit(char *out, const char *unit, const char *channel_unit);
/** Samples between two times, either may be left out. */
PLB_CHECKED plb_status plb_measure_part(const plb_capture *capture, const plb_measure_options *options, size_t *first,
                                        size_t *last, plb_error *err);

/** One stretch between two teeth of a wheel. */
typedef struct plb_tooth {
  double from, to; /**< samples */
  double turns;    /**< of the wheel */
  bool gap;        /**< the missing teeth lie in it */
} plb_tooth;
/** The teeth of a wheel in the trace. @param out  malloc'ed; @param odd_out  turns that do not have as many teeth */
PLB_CHECKED plb_status plb_wheel_teeth(plb_tooth **out, size_t *count_out, size_t *odd_out, const plb_trace *trace,
                                       int teeth, int missing, plb_error *err);

/** Delay and phase of `trace` against `base`. */
PLB_CHECKED plb_status plb_reading_delay(plb_reading_list *list, const plb_trace *base, const plb_trace *trace,
                                         plb_error *err);
/** Power and energy of a voltage and a current. */
PLB_CHECKED plb_status plb_reading_energy(plb_reading_list *list, const plb_trace *volts, const plb_trace *amperes,
                                          plb_error *err);

#endif
