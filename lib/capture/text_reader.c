#include "capture/text_date.h"
#include "capture/text_edges.h"
#include "capture/text_encoding.h"
#include "capture/text_table.h"
#include <string.h>

/*
 * Delimited text, step by step: encoding (text_encoding.c), layout (text_layout.c), names and units (text_header.c),
 * columns and time (text_rate.c), rows (text_body.c); then the columns become channels.
 */

/* Roles are names without their unit; a name that is missing, too long or taken gives way to the column's number. */
static void name_channel(const plb_capture *capture, const plb_header *h, size_t column, plb_channel *out) {
  memcpy(out->header, h->header, sizeof out->header);
  plb_text_copy(out->role, sizeof out->role, h->name);
  if (out->role[0] == '\0' || &capture->channel[plb_capture_find(capture, out->role)] != out)
    plb_text_print(out->role, sizeof out->role, "c%zu", column + 1);
  plb_text_copy(out->unit, sizeof out->unit, h->unit[0] ? h->unit : "1");
  out->column = (int)column + 1;
  out->factor = 1.0;
}

static plb_status make_channels(plb_text_table *r, plb_capture *out, plb_error *err) {
  const size_t columns = r->layout.columns;
  for (size_t j = 0; j < columns; j++) {
    if (r->column[j].kind == PLB_COLUMN_SKIP)
      continue;
    plb_channel *channel = plb_capture_add_channel(out);
    if (!channel)
      return plb_text_fail_memory(err);
    name_channel(out, &r->header[j], j, channel);
    plb_column_release(&r->column[j], r->rows, r->room, &channel->samples);
  }
  out->samples = r->rows;
  if (out->channels == 0)
    return plb_fail_line(
        err, PLB_EDATA, r->layout.body_line, 0,
        "there is a time column and nothing else; export the signal too, or give --rate if column 1 is the signal");
  return PLB_OK;
}

/* "CH1 min" beside "CH1 max": what is left of a longer recording. */
static bool is_pair(const char *lowest, const char *highest) {
  char low[PLB_NAME_SIZE], high[PLB_NAME_SIZE];
  plb_text_copy(low, sizeof low, lowest);
  plb_text_copy(high, sizeof high, highest);
  plb_text_lower(low);
  plb_text_lower(high);
  char *at = strstr(low, "min");
  if (!at || strlen(low) != strlen(high))
    return false;
  memcpy(at, "max", 3);
  return strcmp(low, high) == 0;
}

static bool holds_pairs(const plb_text_table *r) {
  for (size_t i = 0; i < r->layout.columns; i++)
    for (size_t j = 0; j < r->layout.columns; j++)
      if (i != j && r->layout.numeric[i] && r->layout.numeric[j] && is_pair(r->header[i].name, r->header[j].name))
        return true;
  return false;
}

static void note_layout(const plb_text_table *r, plb_capture *out) {
  const plb_text_layout *t = &r->layout;
  if (t->mark == ',')
    plb_capture_add_note(out, "decimal comma");
  if (t->names_unused)
    plb_capture_add_note(out, "the header is not used: it does not have %zu names", t->columns);
  for (size_t j = 0; j < t->columns; j++) {
    if (r->header[j].too_long)
      plb_capture_add_note(out, "the name of column %zu is too long and is not used", j + 1);
    if (r->header[j].unknown_unit[0])
      plb_capture_add_note(out, "the unit \"%s\" of column %zu is not known", r->header[j].unknown_unit, j + 1);
    if (!t->numeric[j])
      plb_capture_add_note(out, "column %zu holds no numbers and is left out", j + 1);
  }
  if (r->missing > 0)
    plb_capture_add_note(out, "missing samples (empty cells): %zu", r->missing);
  if (r->beyond > 0)
    plb_capture_add_note(out, "samples marked as beyond the recorder's range, counted as missing: %zu", r->beyond);
  if (r->empty_lines > 0)
    plb_capture_add_note(out, "empty lines between rows, left out: %zu", r->empty_lines);
}

static plb_status read_columns(plb_text_table *r, plb_capture *out, double rate_hz, plb_error *err) {
  plb_status status = plb_text_learn_columns(r, err);
  if (status != PLB_OK)
    return status;
  plb_text_headers_read(&r->layout, r->header);
  out->rate_hz = rate_hz;
  if (rate_hz == 0.0)
    status = plb_text_find_rate(r, out, &out->rate_hz, err);
  if (status != PLB_OK)
    return status;
  if (r->time != PLB_TEXT_NO_TIME)
    plb_text_start_clock(r);
  status = plb_text_read_body(r, err);
  if (status == PLB_OK && r->time != PLB_TEXT_NO_TIME)
    status = plb_text_finish_clock(r, out, err);
  if (status != PLB_OK)
    return status;
  out->pairs = holds_pairs(r);
  note_layout(r, out);
  status = make_channels(r, out, err);
  return status == PLB_OK && plb_text_is_edge_list(r, out) ? plb_text_hold_edges(r, out, err) : status;
}

static plb_status read_text(plb_capture *out, const char *text, size_t size, double rate_hz, plb_error *err) {
  plb_text_table r = {.time = PLB_TEXT_NO_TIME};
  char *rewritten = NULL;
  plb_status status = plb_text_rewrite_dates(text, size, &rewritten, err);
  if (status == PLB_OK)
    status = plb_text_layout_find(&r.layout, rewritten ? rewritten : text, size, err);
  if (status != PLB_OK)
    goto done;
  if (rewritten)
    plb_capture_add_note(out, "times of day are read as seconds since midnight of the first day");
  r.column = plb_calloc(r.layout.columns, sizeof *r.column);
  r.header = plb_calloc(r.layout.columns, sizeof *r.header);
  status = r.column && r.header ? read_columns(&r, out, rate_hz, err) : plb_text_fail_memory(err);
done:
  for (size_t j = 0; r.column && j < r.layout.columns; j++)
    plb_column_dispose(&r.column[j]);
  free(r.column);
  free(r.header);
  plb_text_layout_dispose(&r.layout);
  free(rewritten);
  return status;
}

static plb_status read_any_text(plb_capture *out, const char *data, size_t size, const plb_read_options *options,
                                plb_error *err) {
  char *converted = NULL;
  const plb_encoding encoding = plb_encoding_tell(data, size);
  plb_status status = PLB_OK;
  if (encoding == PLB_ENCODING_UTF16_LE || encoding == PLB_ENCODING_UTF16_BE) {
    status = plb_encoding_to_utf8(data, size, encoding, &converted, &size, err);
    data = converted;
  } else if (encoding == PLB_ENCODING_UTF8_MARK) {
    data += 3;
    size -= 3;
  }
  if (status == PLB_OK)
    status = read_text(out, data, size, options->rate_hz, err);
  free(converted);
  return status;
}

/* Text has no control characters but blanks; one of them tells a binary file. */
static int probe_text(const char *data, size_t size) {
  const plb_encoding encoding = plb_encoding_tell(data, size);
  if (encoding != PLB_ENCODING_PLAIN)
    return 1;
  for (size_t i = 0; i < size; i++)
    if ((unsigned char)data[i] < ' ' && (data[i] == '\0' || !strchr("\t\n\r\f", data[i])))
      return 0;
  return 1;
}

const plb_format plb_format_text = {"delimited text", probe_text, read_any_text, NULL};
