#ifndef PLB_CAPTURE_H
#define PLB_CAPTURE_H
/**
 * @file  A recording: channels over one uniform time base, and whether it is usable ("recording check").
 * A capture is not changed by any other module; different captures may be used from different threads.
 */
#include <plumbline/error.h>
#include <plumbline/types.h>
PLB_BEGIN_DECLS

typedef struct plb_capture plb_capture;

/** What a file does not say. Start from PLB_READ_OPTIONS_INIT. */
typedef struct plb_read_options {
  unsigned version; /**< 1 */
  double rate_hz;   /**< > 0: there is no time column, samples are this far apart [Hz]; 0: find the time column. Default 0 */
  size_t most_bytes; /**< refuse larger files; 0: 4 GiB */
} plb_read_options;
#define PLB_READ_OPTIONS_INIT {1, 0.0, 0}

/**
 * Read a capture: delimited text, RIFF WAVE, NumPy .npy and .npz, COMTRADE; the format is told from the content, not from the name.
 * A COMTRADE recording in two files is found by either name. plb_capture_open() reads our own capture documents too.
 * Every column that holds numbers becomes a channel; its role is the header's name, or "c2" for the second column where there is none.
 * @return PLB_OK, PLB_ENOINPUT, PLB_EDATA (err has path and line, column or byte), PLB_EIO, PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_capture_read(plb_capture **out, const char *path, const plb_read_options *options, plb_error *err);
/** The same from memory; `name` stands for the path. */
PLB_API PLB_CHECKED plb_status plb_capture_read_memory(plb_capture **out, const void *data, size_t size, const char *name,
                                                       const plb_read_options *options, plb_error *err);
PLB_API void plb_capture_free(plb_capture *capture); /**< NULL is fine */

/** `--channel ROLE=COLUMN[:UNIT[:FACTOR]]`. */
typedef struct plb_channel_map {
  char role[PLB_NAME_SIZE];
  int column;                 /**< from 1, the time column included; 0: by header name */
  char header[PLB_NAME_SIZE]; /**< used when column is 0 */
  char unit[PLB_UNIT_SIZE];   /**< UCUM; empty: as the file says, else "1" */
  double factor;              /**< the samples are multiplied by this (probe factor); default 1 */
} plb_channel_map;

/** Parse the text behind --channel. All digits is a column number, else a header name. */
PLB_API PLB_CHECKED plb_status plb_channel_map_parse(const char *text, plb_channel_map *out, plb_error *err);

/**
 * Keep only the mapped channels, in the order of the maps, with their roles, units and factors.
 * @return PLB_OK, PLB_EDATA (no such column or header; the message lists what there is), PLB_EUSAGE (a role twice, a bad unit)
 */
PLB_API PLB_CHECKED plb_status plb_capture_assign(plb_capture *capture, const plb_channel_map *maps, size_t count, plb_error *err);

/** What may be done to a recording before it is looked at. They are applied in this order. */
typedef enum plb_conditioning_kind {
  PLB_CONDITION_RATED,     /**< count the samples at or beyond the rated range */
  PLB_CONDITION_ZERO,      /**< take off the mean of a section in which the truth is nought */
  PLB_CONDITION_SCALE,     /**< a probe's size for one unit, or an attenuator */
  PLB_CONDITION_INVERT,
  PLB_CONDITION_AC_COUPLE, /**< a high pass of one pole, or the average taken off */
  PLB_CONDITION_FILTER     /**< Butterworth, forwards and backwards */
} plb_conditioning_kind;

typedef struct plb_conditioning {
  plb_conditioning_kind kind;
  char role[PLB_NAME_SIZE]; /**< empty: every channel */
  double low, high;         /**< rated: range; zero: section [s]; scale: size of one unit, and the level at nought [unit], or the
                                 attenuator's ratio; ac-couple, filter: corners [Hz] */
  char unit[PLB_UNIT_SIZE], per[PLB_UNIT_SIZE]; /**< scale: of the size, and of what it stands for; empty: an attenuator */
  int shape;                /**< filter: 0 low, 1 high, 2 band pass, 3 band stop */
  unsigned order;           /**< filter: 1..8 */
  bool mean;                /**< ac-couple: the average instead of a high pass */
  char text[PLB_TEXT_SIZE]; /**< as it was asked for */
} plb_conditioning;

/**
 * Parse what stands behind --rated, --zero, --scale, --invert, --ac-couple or --filter: "-10..10", "pump=0s..0.5s", "pump=100mV/A",
 * "map=1V/bar@0.5V", "coil=20:1", "crank", "ripple=5Hz", "map=low-pass:1kHz,order=2".
 * @return PLB_OK, PLB_EUSAGE
 */
PLB_API PLB_CHECKED plb_status plb_conditioning_parse(plb_conditioning_kind kind, const char *text, plb_conditioning *out, plb_error *err);
/**
 * Apply steps; each leaves a sentence. After a failure the capture is only good for plb_capture_free().
 * @return PLB_OK, PLB_EUSAGE (no such channel, a section outside, a corner too high, another kind of unit), PLB_EDATA (missing samples), PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_capture_condition(plb_capture *capture, const plb_conditioning *list, size_t count, plb_error *err);
/** What was done to the recording, one sentence each: "zero, pump: 0.12 A taken off, ...". */
PLB_API size_t plb_capture_applieds(const plb_capture *capture);
PLB_API const char *plb_capture_applied(const plb_capture *capture, size_t index);

PLB_API const char *plb_capture_path(const plb_capture *capture); /**< as given to the reader */
PLB_API const char *plb_capture_sha256(const plb_capture *capture); /**< of the bytes that were read */
PLB_API const char *plb_capture_format(const plb_capture *capture); /**< "delimited text", "RIFF WAVE", ... */
PLB_API size_t plb_capture_samples(const plb_capture *capture);     /**< per channel */
PLB_API double plb_capture_rate_hz(const plb_capture *capture); /**< samples per second and channel */
PLB_API double plb_capture_start_s(const plb_capture *capture); /**< time of the first sample as the file says */
PLB_API size_t plb_capture_channels(const plb_capture *capture); /**< how many there are */
PLB_API const char *plb_capture_role(const plb_capture *capture, size_t channel); /**< borrowed */
PLB_API const char *plb_capture_unit(const plb_capture *capture, size_t channel); /**< UCUM, "1" if unknown */
PLB_API int plb_capture_column(const plb_capture *capture, size_t channel);       /**< in the file, from 1 */
PLB_API double plb_capture_factor(const plb_capture *capture, size_t channel); /**< probe factor, already applied to the values */
/** @return the channel with this role, or -1 */
PLB_API int plb_capture_find(const plb_capture *capture, const char *role);
/** Samples [first, first + count) in the channel's unit, factor applied. Missing samples are NaN. */
PLB_API void plb_capture_values(const plb_capture *capture, size_t channel, size_t first, size_t count, double *out);
/** Smallest step between different values [channel unit]; 0 if the samples show none. */
PLB_API double plb_capture_step(const plb_capture *capture, size_t channel);
/** Notes made while reading ("time column: 1", "decimal comma"), one sentence each. */
PLB_API size_t plb_capture_notes(const plb_capture *capture);
PLB_API const char *plb_capture_note(const plb_capture *capture, size_t index);

/**
 * Write as delimited text: the sample rate in a comment, a header with roles and units, the time, one column per channel (factor applied).
 * plb_capture_read() gives the same rate, start, roles, units and values back, bit for bit; missing samples are empty cells.
 * @return PLB_OK, PLB_ECREATE, PLB_EIO, PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_capture_write_text(const plb_capture *capture, const char *path, plb_error *err);
/**
 * Write as RIFF WAVE: the integers of a WAVE file as they came, else floating point of 32 bits where that holds every value, else of 64.
 * Values come back bit for bit; names, units and the time of the first sample do not. Only whole rates: PLB_EDATA for others.
 */
PLB_API PLB_CHECKED plb_status plb_capture_write_wave(const plb_capture *capture, const char *path, plb_error *err);
/** Write as NumPy .npy: a row for each sample, the time [s] in the first column, doubles. Names and units have no place in it. */
PLB_API PLB_CHECKED plb_status plb_capture_write_npy(const plb_capture *capture, const char *path, plb_error *err);
/**
 * Write as COMTRADE of 2013 (IEEE C37.111). Whole numbers behind the values stay what they are: BINARY, or BINARY32 where 16 bits are too few;
 * other values are FLOAT32 where each of them is a float, else one of 2^32 steps in BINARY32, which loses. The date, which a capture does not
 * have, is written as 1 January 1970; a time of the first sample before nought is written as nought.
 * @param path  ends in .cff: one file; in .cfg: the data go into the .dat beside it
 * @param text  rows in text, with every digit
 */
PLB_API PLB_CHECKED plb_status plb_capture_write_comtrade(const plb_capture *capture, const char *path, bool text, plb_error *err);

/** Why a recording, a measurement or its conditions cannot be judged, or must be judged with care. */
typedef enum plb_reason_class { PLB_REASON_RECORDING, PLB_REASON_MEASURING, PLB_REASON_CONDITIONS } plb_reason_class;
typedef struct plb_reason {
  plb_reason_class kind;
  char code[PLB_NAME_SIZE];    /**< clipped coarse sparse short uneven flat non-finite thinned; no-signal lead-inverted factor ... */
  char channel[PLB_NAME_SIZE]; /**< empty: the whole capture */
  bool blocks;                 /**< true: no verdict is possible */
  char text[PLB_TEXT_SIZE];    /**< what was seen, with numbers */
  char action[PLB_TEXT_SIZE];  /**< what to do next */
} plb_reason;

/**
 * Check the recording by itself: clipped by the recorder, coarse, sparse, short, uneven, flat, non-finite, thinned. A flat top or bottom that the
 * circuit makes (soft corners, noise on it) is not clipping.
 * @param out  malloc'ed, free(); NULL when there is nothing to say
 */
PLB_API PLB_CHECKED plb_status plb_capture_check(const plb_capture *capture, plb_reason **out, size_t *count_out, plb_error *err);

/** How a sample is stored in a recording that is nothing but samples, or what its head says. All little-endian. */
typedef enum plb_sample_type {
  PLB_SAMPLE_TOLD, /**< the file's own head says it */
  PLB_SAMPLE_INT16,
  PLB_SAMPLE_INT32,
  PLB_SAMPLE_FLOAT32,
  PLB_SAMPLE_FLOAT64
} plb_sample_type;

/** A recording that is read piece by piece. Start from PLB_STREAM_OPTIONS_INIT. */
typedef struct plb_stream_options {
  unsigned version;     /**< 1 */
  plb_sample_type type; /**< PLB_SAMPLE_TOLD: WAVE or delimited text; else bare samples, channel by channel in turn */
  size_t channels;      /**< of bare samples, 1..1024; default 1 */
  double rate_hz;       /**< of bare samples, and of text without a time column [Hz] */
  double scale, offset; /**< of bare samples: value = offset + scale * number; default 1 and 0 */
} plb_stream_options;
#define PLB_STREAM_OPTIONS_INIT {1, PLB_SAMPLE_TOLD, 1, 0.0, 1.0, 0.0}

/** "int16", "int32", "float32", "float64". @return false for anything else */
PLB_API bool plb_sample_type_parse(const char *text, plb_sample_type *out);

PLB_END_DECLS
#endif
