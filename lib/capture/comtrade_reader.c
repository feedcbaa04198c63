#include "capture/comtrade.h"
#include <stdio.h>
#include <string.h>

/* COMTRADE: which files and sections a recording is made of, and what its channels are called. */

static const char *line_end(const char *p, const char *end) {
  while (p < end && *p != '\n' && *p != '\r')
    p++;
  return p;
}

static const char *line_next(const char *p, const char *end) {
  p = line_end(p, end);
  p += p < end && *p == '\r';
  p += p < end && *p == '\n';
  return p;
}

/* "--- file type: DAT BINARY: 702 ---" */
static bool is_section(const char *p, const char *end, char out[64]) {
  const size_t size = (size_t)(line_end(p, end) - p);
  if (size < 10 || size >= 64 || memcmp(p, "---", 3) != 0)
    return false;
  memcpy(out, p, size);
  out[size] = '\0';
  plb_text_lower(out);
  return strstr(out, "file type") != NULL;
}

/* "12,6A,6D": nothing else begins like that in its second line. */
static bool is_counts(const char *p, const char *end) {
  static const char order[] = "#,#a,#d";
  for (const char *o = order; *o; o++) {
    while (p < end && *p == ' ')
      p++;
    if (*o == '#') {
      if (p >= end || (unsigned char)(*p - '0') > 9)
        return false;
      while (p < end && (unsigned char)(*p - '0') < 10)
        p++;
    } else if (p >= end || (*p | 0x20) != (*o | 0x20)) {
      return false;
    } else {
      p++;
    }
  }
  return true;
}

static int probe(const char *data, size_t size) {
  const char *end = data + size;
  char section[64];
  if (is_section(data, end, section))
    return 2;
  const char *second = line_next(data, end);
  return memchr(data, ',', (size_t)(second - data)) && is_counts(second, end) ? 2 : 0;
}

/* ---- the parts ---- */

typedef struct parts {
  const char *config, *rows;
  size_t config_size, rows_size;
  int64_t config_line, rows_line;
  size_t rows_at;
  plb_comtrade_kind kind; /* as the section's heading says */
  bool kind_told;
} parts;

/* The size that stands behind the last colon of a heading; 0 when none does. */
static size_t told_size(const char *heading) {
  const char *colon = strrchr(heading, ':');
  size_t size = 0;
  for (const char *at = colon ? colon + 1 : ""; *at; at++)
    if ((unsigned char)(*at - '0') < 10 && size < SIZE_MAX / 100)
      size = size * 10 + (size_t)(*at - '0');
  return size;
}

static plb_status take_rows(parts *out, const char *heading, const char *data, size_t size, const char *body, int64_t line, plb_error *err) {
  static const char *const words[] = {"dat ascii", "dat binary", "dat binary32", "dat float32"};
  for (int k = 0; k < 4; k++) {
    const char *at = strstr(heading, words[k]);
    const char after = at ? at[strlen(words[k])] : '\0';
    if (at && (after < '0' || after > '9')) {
      out->kind = (plb_comtrade_kind)k;
      out->kind_told = true;
    }
  }
  const size_t there = size - (size_t)(body - data), told = told_size(heading);
  out->rows = body;
  out->rows_at = (size_t)(body - data);
  out->rows_line = line;
  out->rows_size = there;
  if (out->kind == PLB_COMTRADE_ASCII || told == 0)
    return PLB_OK;
  if (told > there)
    return plb_fail_byte(err, PLB_EDATA, (int64_t)size, "the data is cut off: %zu bytes are promised, %zu are there; copy or export the file again",
                         told, there);
  out->rows_size = told;
  return PLB_OK;
}

/* A combined file: headings with lines, or bytes, below them. */
static plb_status cut_sections(parts *out, const char *data, size_t size, plb_error *err) {
  const char *end = data + size, *p = data;
  char heading[64], next[64];
  int64_t line = 1;
  while (p < end) {
    if (!is_section(p, end, heading)) {
      p = line_next(p, end);
      line++;
      continue;
    }
    const char *body = line_next(p, end);
    line++;
    if (strstr(heading, "dat")) {
      const plb_status status = take_rows(out, heading, data, size, body, line, err);
      if (status != PLB_OK || out->kind != PLB_COMTRADE_ASCII)
        return status; /* bytes: nothing behind them is read */
    }
    const int64_t first = line;
    for (p = body; p < end && !is_section(p, end, next); line++)
      p = line_next(p, end);
    if (strstr(heading, "cfg")) {
      out->config = body;
      out->config_size = (size_t)(p - body);
      out->config_line = first;
    } else if (strstr(heading, "dat")) {
      out->rows_size = (size_t)(p - body);
    }
  }
  return PLB_OK;
}

/* ---- channels ---- */

static plb_status make_channels(const plb_comtrade *c, plb_capture *out, plb_error *err) {
  for (size_t i = 0; i < c->analogs + c->states; i++) {
    const plb_comtrade_channel *from = &c->channel[i];
    plb_channel *channel = plb_capture_add_channel(out);
    if (!channel)
      return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
    const char *unit = from->unit[0] ? plb_unit_known(from->unit) ? from->unit : plb_unit_from_label(from->unit) : NULL;
    memcpy(channel->header, from->name, sizeof channel->header);
    if (from->name[0] && plb_capture_find(out, from->name) < 0)
      memcpy(channel->role, from->name, sizeof channel->role);
    else if (i < c->analogs)
      plb_text_print(channel->role, sizeof channel->role, "A%zu", i + 1);
    else
      plb_text_print(channel->role, sizeof channel->role, "D%zu", i + 1 - c->analogs);
    plb_text_copy(channel->unit, sizeof channel->unit, unit ? unit : "1");
    channel->column = (int)i + 3;
    if (from->unit[0] && !unit)
      plb_capture_add_note(out, "the unit \"%s\" of column %d is not known", from->unit, channel->column);
  }
  return PLB_OK;
}

static void note_times(const plb_comtrade *c, plb_capture *out) {
  plb_capture_add_note(out, "COMTRADE of %d, %s", c->year, plb_comtrade_kind_name[c->kind]);
  if (!c->first.known || !c->trigger.known)
    return;
  const double delay = (double)(c->trigger.day - c->first.day) * 86400.0 + (double)(c->trigger.ns - c->first.ns) * 1e-9;
  if (delay != 0.0)
    plb_capture_add_note(out, "the trigger came %.9g s after the first sample", delay);
}

static plb_status read_parts(const parts *p, plb_capture *out, plb_error *err) {
  plb_comtrade c;
  plb_status status = plb_comtrade_parse(&c, p->config, p->config_size, p->config_line, err);
  if (status != PLB_OK)
    return status;
  if (p->kind_told && (p->kind == PLB_COMTRADE_ASCII) != (c.kind == PLB_COMTRADE_ASCII))
    status = plb_fail_line(err, PLB_EDATA, p->kind == PLB_COMTRADE_ASCII ? p->rows_line - 1 : 0, 0,
                           "the configuration says %s, the heading above the data %s; export the file again",
                           plb_comtrade_kind_name[c.kind], plb_comtrade_kind_name[p->kind]);
  if (status == PLB_OK)
    status = make_channels(&c, out, err);
  if (status == PLB_OK && c.kind == PLB_COMTRADE_ASCII)
    status = plb_comtrade_read_text(&c, out, p->rows, p->rows_size, p->rows_line, err);
  else if (status == PLB_OK)
    status = plb_comtrade_read_binary(&c, out, p->rows, p->rows_size, p->rows_at, err);
  if (status == PLB_OK)
    note_times(&c, out);
  plb_comtrade_dispose(&c);
  return status;
}

/* ---- two files ---- */

/* The same path with another ending, in the case of letters it is found in. */
static bool find_beside(const char *path, const char *const endings[3], char out[PLB_PATH_SIZE]) {
  const char *dot = strrchr(path, '.');
  if (!dot || strchr(dot, '/') || (size_t)(dot - path) + 5 > PLB_PATH_SIZE)
    return false;
  for (int i = 0; i < 3; i++) {
    memcpy(out, path, (size_t)(dot - path));
    memcpy(out + (dot - path), endings[i], 5);
    FILE *file = fopen(out, "rb");
    if (file)
      fclose(file);
    if (file)
      return true;
  }
  memcpy(out + (dot - path), endings[0], 5);
  return false;
}

static bool config_of(const char *path, char out[PLB_PATH_SIZE]) {
  static const char *const endings[] = {".cfg", ".CFG", ".Cfg"};
  const char *dot = strrchr(path, '.');
  char ending[8] = "";
  if (dot)
    plb_text_copy(ending, sizeof ending, dot);
  plb_text_lower(ending);
  return strcmp(ending, ".dat") == 0 && find_beside(path, endings, out);
}

static plb_status read_rows_file(parts *p, plb_capture *out, size_t most, char **both_out, plb_error *err) {
  static const char *const endings[] = {".dat", ".DAT", ".Dat"};
  char path[PLB_PATH_SIZE] = "", *rows = NULL;
  size_t size = 0;
  if (!out->on_disk)
    return plb_fail(err, PLB_EDATA, "the configuration of a COMTRADE recording without its data; give the .cfg and .dat files as files, or a .cff file");
  if (!find_beside(out->path, endings, path))
    return plb_fail(err, PLB_ENOINPUT, "the data of this COMTRADE recording is not beside it; copy the .dat file of the same name too");
  plb_status status = plb_file_read(path, most, &rows, &size, err);
  char *both = status == PLB_OK ? plb_resize(NULL, p->config_size + size + 2, 1) : NULL;
  if (status == PLB_OK && !both)
    status = plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  if (status == PLB_OK) { /* one after the other, as their hash is taken */
    memcpy(both, p->config, p->config_size);
    memcpy(both + p->config_size, rows, size + 1);
    plb_sha256(both, p->config_size + size, out->sha256);
    p->rows = both + p->config_size;
    p->rows_size = size;
    p->rows_line = 1;
    *both_out = both;
  }
  free(rows);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, path);
}

static plb_status read_pair(parts *p, plb_capture *out, size_t most, plb_error *err) {
  char *both = NULL, data_path[PLB_PATH_SIZE];
  static const char *const endings[] = {".dat", ".DAT", ".Dat"};
  plb_comtrade c; /* first alone, so that its mistakes are told before those of the data */
  plb_status status = plb_comtrade_parse(&c, p->config, p->config_size, 1, err);
  if (status != PLB_OK)
    return status;
  plb_comtrade_dispose(&c);
  status = read_rows_file(p, out, most, &both, err);
  if (status == PLB_OK) {
    (void)find_beside(out->path, endings, data_path);
    status = read_parts(p, out, err);
    if (status != PLB_OK)
      plb_fail_path(err, status, data_path);
  }
  free(both);
  return status;
}

static plb_status read_comtrade(plb_capture *out, const char *data, size_t size, const plb_read_options *options, plb_error *err) {
  char heading[64];
  parts p = {.config = data, .config_size = size, .config_line = 1};
  plb_status status;
  if (!is_section(data, data + size, heading)) {
    status = read_pair(&p, out, options->most_bytes > 0 ? options->most_bytes : (size_t)4 << 30, err);
  } else {
    p.config = NULL;
    status = cut_sections(&p, data, size, err);
    if (status == PLB_OK && (!p.config || !p.rows))
      status = plb_fail_byte(err, PLB_EDATA, (int64_t)size, "the combined file has no %s section; copy or export it again", p.config ? "DAT" : "CFG");
    if (status == PLB_OK)
      status = read_parts(&p, out, err);
  }
  if (status == PLB_OK && options->rate_hz > 0.0 && options->rate_hz != out->rate_hz) {
    plb_capture_add_note(out, "the file says %.10g Hz; the rate given holds", out->rate_hz);
    out->rate_hz = options->rate_hz;
  }
  return status;
}

const plb_format plb_format_comtrade = {"COMTRADE", probe, read_comtrade, config_of};
