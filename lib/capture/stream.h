#ifndef PLB_CAPTURE_STREAM_H
#define PLB_CAPTURE_STREAM_H
/**
 * @file  A recording read piece by piece in bounded memory: bare samples, WAVE, delimited text. What kind it is and what
 * its head says comes from the first MiB; other formats are read as a whole, up to 16 MiB of file.
 */
#include "capture/capture.h"

enum { PLB_STREAM_HEAD = 1 << 20 };

typedef struct plb_stream plb_stream;

/** Bytes at hand, refilled from a descriptor. */
struct plb_stream {
  int fd; /**< -1: everything is in `bytes` or in `layout` */
  bool owns_fd, at_end;
  char *bytes; /**< [room + 1], a NUL behind what is held */
  size_t used, held, room;
  int64_t passed;       /**< bytes before bytes[0] */
  plb_capture *layout;  /**< channels as mapped, rate, start; holds the samples only when `whole` */
  bool whole;           /**< a format that is not read in pieces */
  size_t next;          /**< whole: the next sample */
  size_t columns;       /**< of the file */
  int *channel_of;      /**< [columns] channel that a column feeds, -1: none */
  size_t frame;         /**< bytes of one sample of every column; 0: text */
  unsigned bits;        /**< of a number */
  bool real;            /**< floating point */
  double scale, offset; /**< value = offset + scale * number */
  int64_t left;         /**< frames still to come, -1: up to the end */
  char separator, mark; /**< text */
  int64_t line;         /**< text: the next one, from 1 */
  /** Take whole frames or rows out of `bytes`. @param got  how many */
  plb_status (*take)(plb_stream *s, double *const *out, size_t most, size_t *got, plb_error *err);
};

/** @param path  "-" is standard input. @param options  NULL: defaults */
PLB_CHECKED plb_status plb_stream_open(plb_stream **out, const char *path, const plb_stream_options *options,
                                       plb_error *err);
/** Bare samples from a descriptor that stays the caller's; a read gives what has arrived. */
PLB_CHECKED plb_status plb_stream_open_fd(plb_stream **out, int fd, const plb_stream_options *options, plb_error *err);
void plb_stream_close(plb_stream *stream);

/** As plb_capture_assign(). Call it before the first read. */
PLB_CHECKED plb_status plb_stream_assign(plb_stream *stream, const plb_channel_map *maps, size_t count, plb_error *err);

/** Channels, roles, units, rate and start; no samples. Borrowed. */
const plb_capture *plb_stream_layout(const plb_stream *stream);

/**
 * The next samples, factor applied, missing ones NaN.
 * @param out  [channels][most]; @param got_out  0 only at the end
 * @return PLB_OK, PLB_EDATA, PLB_EIO
 */
PLB_CHECKED plb_status plb_stream_read(plb_stream *stream, double *const *out, size_t most, size_t *got_out,
                                       plb_error *err);

/** What the kinds of recording share: at least one more byte behind those held, or at_end. */
PLB_CHECKED plb_status plb_stream_fill(plb_stream *s, plb_error *err);
PLB_CHECKED plb_status plb_stream_take_frames(plb_stream *s, double *const *out, size_t most, size_t *got,
                                              plb_error *err);
PLB_CHECKED plb_status plb_stream_begin_wave(plb_stream *s, const plb_stream_options *options, plb_error *err);
PLB_CHECKED plb_status plb_stream_begin_text(plb_stream *s, const plb_stream_options *options, plb_error *err);

#endif
