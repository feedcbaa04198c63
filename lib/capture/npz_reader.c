#include "capture/capture.h"
#include "capture/text_header.h"
#include "capture/text_time.h"

#include <math.h>
#include <string.h>
#include <zip.h>

/*
 * NumPy .npz: a ZIP archive of .npy arrays, stored or deflated. Each array is a channel, or several, of the array's name; one that is called time
 * gives the time, and where none does, a single number that is called rate gives its rate; other single numbers are no signal. An archive of a
 * single array is read as that array alone would be.
 */

/* Deflate makes at most 1032 bytes of one (zlib's technical notes): what promises more is no archive but a trap. */
static const double most_expansion = 1040.0;
enum { MOST_ARRAYS = 1024 };

typedef struct archive {
  zip_t *zip;
  size_t size, most_bytes, taken;
  double rate_hz; /* told by a single number; 0: not told */
} archive;

static bool ends_in_npy(const char *name, size_t size) { return size > 4 && memcmp(name + size - 4, ".npy", 4) == 0; }

/* The first member's name stands in the local file header at byte 30, its length at byte 26 (PKWARE's application note, 4.3.7). */
static int probe_npz(const char *data, size_t size) {
  if (size < 30 || memcmp(data, "PK\x03\x04", 4) != 0)
    return 0;
  const size_t length = (size_t)(unsigned char)data[26] | (size_t)(unsigned char)data[27] << 8;
  return length <= size - 30 && ends_in_npy(data + 30, length) ? 2 : 0;
}

static plb_status open_archive(archive *out, const char *data, size_t size, plb_error *err) {
  zip_error_t why;
  zip_error_init(&why);
  zip_source_t *source = zip_source_buffer_create(data, size, 0, &why);
  out->zip = source ? zip_open_from_source(source, ZIP_RDONLY | ZIP_CHECKCONS, &why) : NULL;
  const plb_status status =
      out->zip ? PLB_OK
               : plb_fail_byte(err, PLB_EDATA, (int64_t)size, "the .npz archive is damaged or cut off (%.80s); copy or save it again",
                               zip_error_strerror(&why));
  if (!out->zip && source)
    zip_source_free(source);
  zip_error_fini(&why);
  return status;
}

static plb_status fail_member(plb_error *err, const char *name, const char *what) {
  return plb_fail_byte(err, PLB_EDATA, 0, "array %.80s of the .npz archive %s", name, what);
}

/* One member, unpacked, with a NUL behind it. @param out  free() */
static plb_status unpack(archive *a, zip_uint64_t index, const zip_stat_t *about, char **out, plb_error *err) {
  *out = NULL;
  if (about->encryption_method != ZIP_EM_NONE)
    return fail_member(err, about->name, "is encrypted; save it without a password");
  if ((double)about->size > most_expansion * (double)about->comp_size + 64.0)
    return fail_member(err, about->name, "promises more bytes than it can hold; the file is damaged or made to do harm");
  if (about->size > a->most_bytes - a->taken)
    return fail_member(err, about->name, "is too large once unpacked; save a shorter part of it");
  char *data = plb_resize(NULL, (size_t)about->size + 1, 1);
  if (!data)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  zip_file_t *file = zip_fopen_index(a->zip, index, 0);
  const zip_int64_t got = file ? zip_fread(file, data, about->size) : -1;
  char beyond;
  const bool whole = got >= 0 && (zip_uint64_t)got == about->size && zip_fread(file, &beyond, 1) == 0;
  if (file)
    zip_fclose(file);
  if (!whole) {
    free(data);
    return fail_member(err, about->name, "is damaged; copy or save the archive again");
  }
  data[about->size] = '\0';
  a->taken += (size_t)about->size;
  *out = data;
  return PLB_OK;
}

/* What an array's name says, as a column's header would: "crank [V]", "time_ms". @param stem  bytes of the name before ".npy" */
static plb_header read_name(const char *name, size_t stem) {
  plb_header h = {.too_long = stem >= sizeof h.header};
  if (!h.too_long) {
    memcpy(h.header, name, stem);
    plb_text_header_split(&h);
  }
  return h;
}

/* A single number among arrays: the rate, or nothing of a signal. */
static void take_number(archive *a, plb_capture *out, const char *name, double value) {
  static const char *const rate[] = {"rate", "rate_hz", "sample_rate", "sample_rate_hz", "samplerate", "sampling_rate", "fs"};
  const size_t stem = strlen(name) - 4;
  for (size_t i = 0; i < sizeof rate / sizeof *rate; i++)
    if (strlen(rate[i]) == stem && strncmp(name, rate[i], stem) == 0 && value > 0.0 && isfinite(value)) {
      a->rate_hz = value;
      return;
    }
  plb_capture_add_note(out, "array %.80s holds one number and is left out", name);
}

/* The channels of one array, named after it, without a time of their own. */
static plb_status take_array(archive *a, plb_capture *out, const char *name, const char *data, size_t size, plb_error *err) {
  const plb_read_options no_time = {1, 1.0, 0};
  plb_capture *one = plb_capture_new();
  char role[PLB_NAME_SIZE];
  if (!one)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  plb_status status = plb_format_npy.probe(data, size) ? plb_format_npy.read(one, data, size, &no_time, err)
                                                       : fail_member(err, name, "is no .npy array; save it again");
  if (status == PLB_OK && one->samples == 1) {
    double value = NAN;
    plb_capture_values(one, 0, 0, 1, &value);
    take_number(a, out, name, value);
    plb_capture_free(one);
    return PLB_OK;
  }
  if (status == PLB_OK && out->channels > 0 && one->samples != out->samples)
    status = plb_fail_byte(err, PLB_EDATA, 0, "array %.80s has %zu samples, the ones before it %zu; save them in archives of their own", name,
                           one->samples, out->samples);
  for (size_t c = 0; c < one->channels && status == PLB_OK; c++) {
    plb_channel *channel = plb_capture_add_channel(out);
    const size_t stem = strlen(name) - 4;
    const plb_header h = read_name(name, stem);
    if (!channel) {
      status = plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
      break;
    }
    const int n = one->channels > 1 ? plb_text_print(role, sizeof role, "%s-%zu", h.name, c + 1) : plb_text_print(role, sizeof role, "%s", h.name);
    const bool fits = n > 0 && (size_t)n < sizeof role && !h.too_long && plb_capture_find(out, role) < 0;
    if (fits)
      plb_text_copy(channel->role, sizeof channel->role, role);
    else
      plb_text_print(channel->role, sizeof channel->role, "c%zu", out->channels);
    plb_text_copy(channel->header, sizeof channel->header, h.too_long ? channel->role : h.header);
    if (h.unit[0])
      plb_text_copy(channel->unit, sizeof channel->unit, h.unit);
    channel->samples = one->channel[c].samples;
    one->channel[c].samples = (plb_samples){.code = NULL};
    out->samples = one->samples;
  }
  plb_capture_free(one);
  return status;
}

static void drop_channel(plb_capture *out, size_t c) {
  free(out->channel[c].samples.code);
  free(out->channel[c].samples.real);
  memmove(&out->channel[c], &out->channel[c + 1], (out->channels - c - 1) * sizeof *out->channel);
  out->channels--;
}

/* The array that is called time becomes the rate and is no channel. */
static plb_status take_time(const archive *a, plb_capture *out, const plb_read_options *options, plb_error *err) {
  size_t c = 0;
  double second = 1.0;
  while (c < out->channels && !plb_time_is_name(out->channel[c].header))
    c++;
  if (options->rate_hz > 0.0 || c == out->channels) {
    out->rate_hz = options->rate_hz > 0.0 ? options->rate_hz : a->rate_hz;
    return out->rate_hz > 0.0 ? PLB_OK : plb_fail_byte(err, PLB_EDATA, 0, "no array is called time; give --rate");
  }
  const char *unit = strcmp(out->channel[c].unit, "1") == 0 ? "s" : out->channel[c].unit;
  if (!plb_unit_convert(1.0, unit, "s", &second))
    return plb_fail_byte(err, PLB_EDATA, 0, "the array %s is in %s, which is no time; name it otherwise, or give --rate", out->channel[c].header, unit);
  plb_clock clock;
  double *time = plb_capture_copy_values(out, c);
  if (!time)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  plb_clock_start(&clock, 300, 15);
  plb_status status = PLB_OK;
  for (size_t i = 0; i < out->samples && status == PLB_OK; i++)
    if (!isfinite(time[i]) || !plb_clock_tick(&clock, time[i]))
      status = plb_fail_byte(err, PLB_EDATA, 0, "time goes back or is missing at sample %zu of the array %s; correct it, or give --rate", i + 1,
                             out->channel[c].role);
  free(time);
  if (status == PLB_OK && !(plb_clock_rate(&clock) > 0.0))
    status = plb_fail_byte(err, PLB_EDATA, 0, "time stands still in the array %s; correct it, or give --rate", out->channel[c].role);
  if (status != PLB_OK)
    return status;
  out->rate_hz = plb_clock_rate(&clock) / second;
  if (fabs(out->rate_hz - round(out->rate_hz)) < 1e-9 * out->rate_hz)
    out->rate_hz = round(out->rate_hz);
  out->start_s = clock.first * second;
  out->uneven = plb_clock_uneven(&clock);
  out->gap_row = clock.widest_row;
  plb_capture_add_note(out, "time: the array %s (%s)", out->channel[c].header, unit);
  drop_channel(out, c);
  return out->channels > 0 ? PLB_OK : plb_fail_byte(err, PLB_EDATA, 0, "there is a time and nothing else; save the signal too");
}

static plb_status read_members(archive *a, plb_capture *out, const plb_read_options *options, plb_error *err) {
  const zip_int64_t count = zip_get_num_entries(a->zip, 0);
  plb_status status = PLB_OK;
  if (count < 1 || count > MOST_ARRAYS)
    return plb_fail_byte(err, PLB_EDATA, 0, "an archive of %lld arrays; save 1 to %d in it", (long long)count, MOST_ARRAYS);
  for (zip_int64_t i = 0; i < count && status == PLB_OK; i++) {
    zip_stat_t about;
    char *data = NULL;
    const zip_uint64_t wanted = ZIP_STAT_NAME | ZIP_STAT_SIZE | ZIP_STAT_COMP_SIZE | ZIP_STAT_ENCRYPTION_METHOD;
    if (zip_stat_index(a->zip, (zip_uint64_t)i, 0, &about) != 0 || (about.valid & wanted) != wanted)
      return plb_fail_byte(err, PLB_EDATA, 0, "the list of the .npz archive is damaged; copy or save it again");
    if (!ends_in_npy(about.name, strlen(about.name)))
      return fail_member(err, about.name, "is no .npy array; save arrays only");
    status = unpack(a, (zip_uint64_t)i, &about, &data, err);
    if (status == PLB_OK && count == 1)
      status = plb_format_npy.probe(data, about.size) ? plb_format_npy.read(out, data, about.size, options, err)
                                                      : fail_member(err, about.name, "is no .npy array; save it again");
    else if (status == PLB_OK)
      status = take_array(a, out, about.name, data, about.size, err);
    free(data);
  }
  if (status == PLB_OK && out->channels == 0)
    return plb_fail_byte(err, PLB_EDATA, 0, "the archive holds single numbers and no signal; save the signal too");
  return status == PLB_OK && count > 1 ? take_time(a, out, options, err) : status;
}

static plb_status read_npz(plb_capture *out, const char *data, size_t size, const plb_read_options *options, plb_error *err) {
  archive a = {.size = size, .most_bytes = options->most_bytes > 0 ? options->most_bytes : (size_t)4 << 30};
  plb_status status = open_archive(&a, data, size, err);
  if (status == PLB_OK)
    status = read_members(&a, out, options, err);
  if (a.zip)
    zip_discard(a.zip);
  return status;
}

const plb_format plb_format_npz = {"NumPy archive", probe_npz, read_npz, NULL};
