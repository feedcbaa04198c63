#include "capture/capture.h"
#include <math.h>
#include <string.h>

/* The table of formats. Those that are told by a magic number come first; text, which is told by nothing, is the last.
 */
static const plb_format *const formats[] = {&plb_format_wave, &plb_format_npy, &plb_format_npz, &plb_format_comtrade, &plb_format_text};
enum { FORMATS = sizeof formats / sizeof formats[0] };

enum { PROBED = 65536 };
static const size_t most_bytes_default = (size_t)4 << 30;

static plb_status check_options(const plb_read_options *options, plb_error *err) {
  if (options->version != 1)
    return plb_fail(err, PLB_EINVAL, "read options of version %u; this library knows version 1", options->version);
  if (!(options->rate_hz >= 0.0) || isinf(options->rate_hz))
    return plb_fail(err, PLB_EUSAGE, "a sample rate of %g Hz makes no sense; give one above nought", options->rate_hz);
  return PLB_OK;
}

static const plb_format *find_format(const char *data, size_t size, const plb_format *also) {
  if (also && also->probe(data, size < PROBED ? size : PROBED) > 0)
    return also;
  const plb_format *best = NULL;
  int likeliest = 0;
  for (size_t i = 0; i < FORMATS; i++) {
    const int likely = formats[i]->probe(data, size < PROBED ? size : PROBED);
    if (likely > likeliest) {
      likeliest = likely;
      best = formats[i];
    }
  }
  return best;
}

/* Files that come by mistake, by their first bytes. */
static const struct mistaken {
  const char *magic;
  size_t size;
  const char *what;
} mistaken[] = {
    {"PK\x03\x04", 4, "a ZIP archive or a spreadsheet; unpack it, or export the table as delimited text"},
    {"\x1F\x8B", 2, "a compressed file; unpack it first"},
    {"BZh", 3, "a compressed file; unpack it first"},
    {"\xFD"
     "7zXZ",
     5, "a compressed file; unpack it first"},
    {"\x28\xB5\x2F\xFD", 4, "a compressed file; unpack it first"},
    {"\x89PNG", 4, "a picture; export the samples, not the screen"},
    {"\xFF\xD8\xFF", 3, "a picture; export the samples, not the screen"},
    {"BM", 2, "a picture; export the samples, not the screen"},
    {"GIF8", 4, "a picture; export the samples, not the screen"},
    {"%PDF", 4, "a printed page; export the samples, not the report"},
};

static plb_status fail_unknown(const char *data, size_t size, plb_error *err) {
  for (size_t i = 0; i < sizeof mistaken / sizeof mistaken[0]; i++)
    if (size >= mistaken[i].size && memcmp(data, mistaken[i].magic, mistaken[i].size) == 0)
      return plb_fail_byte(err, PLB_EDATA, 0, "this is %s", mistaken[i].what);
  size_t at = 0;
  while (at < size && ((unsigned char)data[at] >= ' ' || (data[at] != '\0' && strchr("\t\n\r\f", data[at]))))
    at++;
  return plb_fail_byte(err, PLB_EDATA, (int64_t)at,
                       "not a recording this program reads; export it as delimited text, WAVE or .npy");
}

static void copy_path(plb_capture *capture, const char *path) {
  const size_t n = strlen(path);
  /* of a path that is too long the end tells more */
  plb_text_copy(capture->path, sizeof capture->path,
                n < sizeof capture->path ? path : path + (n - sizeof capture->path + 1));
}

/* What is to be read, and how. */
typedef struct request {
  const char *name;
  bool on_disk;
  const plb_read_options *options;
  const plb_format *also;
} request;

/* `data` ends in a NUL that is not counted. */
static plb_status read_bytes(plb_capture **out, const char *data, size_t size, const request *r, plb_error *err) {
  if (size == 0)
    return plb_fail_line(err, PLB_EDATA, 1, 0, "the file is empty; record or export it again");
  const plb_format *format = find_format(data, size, r->also);
  if (!format)
    return fail_unknown(data, size, err);
  plb_capture *capture = plb_capture_new();
  if (!capture)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  copy_path(capture, r->name);
  capture->on_disk = r->on_disk && strlen(r->name) < sizeof capture->path;
  plb_text_copy(capture->format, sizeof capture->format, format->name);
  const plb_status status = format->read(capture, data, size, r->options, err);
  if (status != PLB_OK) {
    plb_capture_free(capture);
    return status;
  }
  if (capture->sha256[0] == '\0')
    plb_sha256(data, size, capture->sha256);
  *out = capture;
  return PLB_OK;
}

plb_status plb_capture_read_also(plb_capture **out, const char *path, const plb_read_options *options,
                                 const plb_format *also, plb_error *err) {
  const plb_read_options defaults = PLB_READ_OPTIONS_INIT;
  char other[PLB_PATH_SIZE];
  *out = NULL;
  options = options ? options : &defaults;
  plb_status status = check_options(options, err);
  if (status != PLB_OK)
    return status;
  for (size_t i = 0; i < FORMATS; i++)
    if (formats[i]->stands_for && formats[i]->stands_for(path, other))
      path = other;
  char *data = NULL;
  size_t size = 0;
  const request r = {path, true, options, also};
  status = plb_file_read(path, options->most_bytes > 0 ? options->most_bytes : most_bytes_default, &data, &size, err);
  if (status == PLB_OK)
    status = read_bytes(out, data, size, &r, err);
  free(data);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, path);
}

plb_status plb_capture_read(plb_capture **out, const char *path, const plb_read_options *options, plb_error *err) {
  return plb_capture_read_also(out, path, options, NULL, err);
}

plb_status plb_capture_read_memory(plb_capture **out, const void *data, size_t size, const char *name,
                                   const plb_read_options *options, plb_error *err) {
  const plb_read_options defaults = PLB_READ_OPTIONS_INIT;
  *out = NULL;
  options = options ? options : &defaults;
  plb_status status = check_options(options, err);
  if (status != PLB_OK)
    return status;
  if (size > (options->most_bytes > 0 ? options->most_bytes : most_bytes_default)) {
    status = plb_fail(err, PLB_EDATA, "the recording is too large; export a shorter part of it");
    return plb_fail_path(err, status, name);
  }
  char *copy = plb_resize(NULL, size + 1, 1);
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  if (size > 0)
    memcpy(copy, data, size);
  copy[size] = '\0';
  const request r = {name, false, options, NULL};
  status = read_bytes(out, copy, size, &r, err);
  free(copy);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, name);
}
