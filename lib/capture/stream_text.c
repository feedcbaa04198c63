/* Delimited text of any length: the head tells the layout, as for a file that is read whole; then row by row. */
#include "capture/number.h"
#include "capture/stream.h"
#include "capture/text_encoding.h"
#include "capture/text_layout.h"

#include <math.h>
#include <string.h>

static bool value_of(const plb_stream *s, const plb_cell *cell, double *out) {
  if (plb_number_value(cell->text, cell->size, s->mark, out))
    return true;
  *out = (double)NAN;
  return plb_cell_is_missing(cell) || plb_cell_is_infinite(cell);
}

/* The plain case: blanks, a number, and the separator or the end of the row. @return NULL: none */
static const char *plain_cell(const plb_stream *s, const char *p, double *out, bool *last) {
  plb_decimal decimal;
  while (plb_is_blank(*p) && (*p != s->separator || s->separator == PLB_BLANKS))
    p++;
  p = plb_decimal_scan(p, s->mark, &decimal);
  if (!p || !plb_decimal_value(&decimal, out))
    return NULL;
  *last = plb_is_line_end(*p) || *p == '\0';
  if (*last)
    return p;
  if (s->separator != PLB_BLANKS)
    return *p == s->separator ? p + 1 : NULL;
  const char *behind = p;
  while (plb_is_blank(*p))
    p++;
  *last = plb_is_line_end(*p) || *p == '\0';
  return p > behind ? p : NULL;
}

static plb_status read_row(plb_stream *s, const char *p, const char *end, double *const *out, size_t row,
                           plb_error *err) {
  bool last = false;
  for (size_t j = 0; j < s->columns; j++) {
    if (last)
      return plb_fail_line(err, PLB_EDATA, s->line, 0, "%zu values, %zu are needed; repair or remove this row", j,
                           s->columns);
    double value = 0;
    const int to = s->channel_of[j];
    const char *next = plain_cell(s, p, &value, &last);
    if (!next) {
      plb_cell cell;
      next = plb_cell_read(p, end, s->separator, &cell);
      last = cell.last;
      if (to >= 0 && !value_of(s, &cell, &value))
        return plb_text_fail_cell(&cell, s->separator, s->mark, s->line, (int64_t)j + 1, err);
    }
    if (to >= 0)
      out[to][row] = value;
    p = next;
  }
  return PLB_OK;
}

static bool holds_row(const char *p, const char *end, char separator) {
  while (p < end && plb_is_blank(*p))
    p++;
  return p < end && !plb_is_line_end(*p) && !plb_text_is_comment(p, separator);
}

static plb_status take_rows(plb_stream *s, double *const *out, size_t most, size_t *got, plb_error *err) {
  size_t rows = 0;
  while (rows < most && s->used < s->held) {
    const char *p = s->bytes + s->used;
    const char *end = memchr(p, '\n', s->held - s->used);
    if (!end && !s->at_end) {
      if (s->used == 0 && s->held == s->room)
        return plb_fail_line(err, PLB_EDATA, s->line, 0, "a line longer than 1 MiB; this is no table of samples");
      break;
    }
    if (!end)
      end = s->bytes + s->held;
    if (holds_row(p, end, s->separator)) {
      const plb_status status = read_row(s, p, end, out, rows, err);
      if (status != PLB_OK)
        return status;
      rows++;
    }
    s->used = (size_t)(end - s->bytes) + (end < s->bytes + s->held);
    s->line++;
  }
  *got = rows;
  return PLB_OK;
}

plb_status plb_stream_begin_text(plb_stream *s, const plb_stream_options *o, plb_error *err) {
  const plb_encoding encoding = plb_encoding_tell(s->bytes, s->held);
  if (encoding == PLB_ENCODING_UTF16_LE || encoding == PLB_ENCODING_UTF16_BE)
    return plb_fail(err, PLB_EDATA, "text in UTF-16 of this length is not read in pieces; save it as UTF-8 or as WAVE");
  const size_t mark = encoding == PLB_ENCODING_UTF8_MARK ? 3 : 0;
  size_t size = s->held;
  while (size > 0 && s->bytes[size - 1] != '\n')
    size--;
  if (size == 0)
    return plb_fail_line(err, PLB_EDATA, 1, 0, "a line longer than 1 MiB; this is no table of samples");
  plb_read_options reading = PLB_READ_OPTIONS_INIT;
  reading.rate_hz = o->rate_hz;
  plb_status status = plb_capture_read_memory(&s->layout, s->bytes, size, "", &reading, err);
  if (status != PLB_OK)
    return status;
  const char kept = s->bytes[size];
  s->bytes[size] = '\0'; /* the layout is that of whole lines */
  plb_text_layout layout;
  status = plb_text_layout_find(&layout, s->bytes + mark, size - mark, err);
  if (status == PLB_OK) {
    s->columns = layout.columns;
    s->separator = layout.separator;
    s->mark = layout.mark;
    s->line = layout.body_line;
    s->used = (size_t)(layout.body - s->bytes);
    plb_text_layout_dispose(&layout);
  }
  s->bytes[size] = kept;
  s->take = take_rows;
  s->left = -1;
  for (size_t c = 0; c < s->layout->channels; c++) { /* the head's samples come again */
    free(s->layout->channel[c].samples.code);
    free(s->layout->channel[c].samples.real);
    s->layout->channel[c].samples = (plb_samples){.scale = 1};
  }
  s->layout->samples = 0;
  return status;
}
