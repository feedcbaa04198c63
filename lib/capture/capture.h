/**
 * capture: recordings. It owns the sample store, the table of file formats, the mapping of columns to roles and the
 * check of a recording by itself. It must not know cycles, references or verdicts.
 */
#ifndef PLB_CAPTURE_CAPTURE_H
#define PLB_CAPTURE_CAPTURE_H
#include "core/core.h"
#include <plumbline/capture.h>

/**
 * Samples of one channel as they came: exact where the file was exact.
 * value = (offset + scale * code) or code / 10^decimals, or real.
 */
typedef struct plb_samples {
  int32_t *code;   /**< [size: n] or NULL */
  double *real;    /**< [size: n] or NULL; NaN: missing */
  int decimals;    /**< >= 0: value = code / 10^decimals, exactly what strtod gives; -1: use scale and offset */
  double scale;    /**< unit per code */
  double offset;   /**< value of code 0 */
  int32_t code_low, code_high; /**< the recorder's range in codes where the format fixes it (WAVE), else both 0 */
} plb_samples;

typedef struct plb_channel {
  char role[PLB_NAME_SIZE];
  char header[PLB_NAME_SIZE]; /**< as the file has it, empty if none */
  char unit[PLB_UNIT_SIZE];
  int column;
  double factor;
  size_t at_rail; /**< samples at or beyond the rated range, where one was given */
  plb_samples samples;
} plb_channel;

struct plb_capture {
  char path[PLB_PATH_SIZE];
  char sha256[PLB_HASH_SIZE];
  char format[PLB_NAME_SIZE];
  size_t samples;
  double rate_hz;
  double start_s;
  double uneven;     /**< largest deviation of a time step from the mean step, as a share of it; 0 when the rate was given */
  size_t gap_row;    /**< sample behind the widest time step */
  bool pairs;        /**< the file holds lowest/highest pairs (thinned) */
  bool on_disk;      /**< being read from `path`: files beside it may belong to it */
  plb_channel *channel;
  size_t channels;
  char (*note)[PLB_TEXT_SIZE];
  size_t notes;
  char (*applied)[PLB_TEXT_SIZE]; /**< what was done to it, in order */
  size_t applieds;
  char columns[PLB_TEXT_SIZE]; /**< every column of the file, before some were chosen: `2 "CH A", 3 "CH B"`; empty: none were chosen */
};

/** One file format: told from the first bytes, then read. Adding a format is one file and one row in format.c. */
typedef struct plb_format {
  const char *name;
  /** 0: surely not; 1: possibly (text); 2: surely (magic). @param size  bytes at hand, the file's first 64 KiB at most */
  int (*probe)(const char *data, size_t size);
  plb_status (*read)(plb_capture *out, const char *data, size_t size, const plb_read_options *options, plb_error *err);
  /** May be NULL. True when `path` names a part of a recording that is read by way of another file, which is there. */
  bool (*stands_for)(const char *path, char out[PLB_PATH_SIZE]);
} plb_format;

extern const plb_format plb_format_text, plb_format_wave, plb_format_npy, plb_format_npz, plb_format_comtrade;

/** plb_capture_read() with one more format, of a later module. @param also  may be NULL */
PLB_CHECKED plb_status plb_capture_read_also(plb_capture **out, const char *path, const plb_read_options *options,
                                             const plb_format *also, plb_error *err);

/** An empty capture to be filled by a reader or a model. */
plb_capture *plb_capture_new(void);
/** `2 "CH A", 3 "CH B"`: every column of the file, also those that were not chosen; cut with ", ..." where it does not fit. */
void plb_capture_list_columns(const plb_capture *capture, char *out, size_t size);
/** Append an empty channel, column = its number, unit "1", factor 1; NULL when memory is short. */
plb_channel *plb_capture_add_channel(plb_capture *capture);
/** Append a channel of n real samples (copied). */
PLB_CHECKED plb_status plb_capture_add_real(plb_capture *capture, const char *role, const char *unit,
                                            const double *values, size_t n, plb_error *err);
void plb_capture_add_note(plb_capture *capture, const char *format, ...) PLB_PRINTF(2, 3);

/** The same for what was done to the recording. */
void plb_capture_add_applied(plb_capture *capture, const char *format, ...) PLB_PRINTF(2, 3);

/** The whole channel as double, malloc'ed; NULL when memory is short. */
double *plb_capture_copy_values(const plb_capture *capture, size_t channel);

/** Append a reason to a growable list (used by later modules too). */
PLB_CHECKED plb_status plb_reason_add(plb_reason **list, size_t *count, plb_reason_class kind, const char *code, const char *channel,
                                      bool blocks, const char *text, const char *action);
#endif
