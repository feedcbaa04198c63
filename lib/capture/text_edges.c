#include "capture/text_edges.h"

#include <math.h>
#include <string.h>

enum { SAMPLES_MOST = 1 << 24, FINER_MOST = 1 << 22, SHORTEST_SAMPLES = 16 };

/* Samples of a logic channel with a pause between them repeat their state; rows that stand at edges do not, but for the last. */
static bool changes_mostly(const plb_capture *capture) {
  size_t changes = 0;
  for (size_t i = 1; i < capture->samples; i++) {
    bool changed = false;
    for (size_t c = 0; c < capture->channels; c++)
      changed = changed || capture->channel[c].samples.code[i] != capture->channel[c].samples.code[i - 1];
    changes += changed;
  }
  return 2 * changes >= capture->samples - 1;
}

bool plb_text_is_edge_list(const plb_text_table *r, const plb_capture *capture) {
  if (r->time == PLB_TEXT_NO_TIME || !(capture->uneven > 0.05) || capture->channels == 0 || r->missing > 0)
    return false;
  for (size_t c = 0; c < capture->channels; c++) {
    const plb_samples *s = &capture->channel[c].samples;
    if (!s->code || s->decimals != 0)
      return false;
    for (size_t i = 0; i < capture->samples; i++)
      if (s->code[i] != 0 && s->code[i] != 1)
        return false;
  }
  return changes_mostly(capture);
}

/* The stamps once more: the reader only watched them. @param out  [capture->samples], in the file's unit */
static plb_status read_times(const plb_text_table *r, size_t rows, double *out, plb_error *err) {
  const plb_text_layout *t = &r->layout;
  size_t n = 0;
  for (const char *p = t->body; p < t->end && n < rows; p = plb_line_next(p, t->end)) {
    plb_cell cell = {0};
    const char *q = p;
    while (plb_is_blank(*q))
      q++;
    if (q == t->end || plb_is_line_end(*q) || plb_text_is_comment(p, t->separator))
      continue;
    q = p;
    for (int j = 0; j <= r->time; j++)
      q = plb_cell_read(q, t->end, t->separator, &cell);
    if (!plb_number_value(cell.text, cell.size, t->mark, &out[n++]))
      return plb_fail(err, PLB_EINTERNAL, "a time that was read cannot be read again");
  }
  return n == rows ? PLB_OK : plb_fail(err, PLB_EINTERNAL, "rows that were read cannot be read again");
}

static uint64_t common_divisor(uint64_t a, uint64_t b) {
  while (b) {
    const uint64_t rest = a % b;
    a = b;
    b = rest;
  }
  return a;
}

/*
 * Samples one apart in the file's unit: a whole part of what divides all stamps, so fine that the shortest state has several samples as long as
 * the list does not grow too long for it; or coarser than the stamps, where they have no common measure.
 */
static plb_status choose_step(const plb_text_table *r, const double *time, size_t n, double *step, bool *exact, plb_error *err) {
  const double grain = r->clock.least_grain, span = time[n - 1] - time[0];
  double shortest = INFINITY;
  uint64_t divisor = 0;
  for (size_t i = 1; i < n; i++) {
    const double lasts = time[i] - time[i - 1];
    shortest = lasts > 0.0 ? fmin(shortest, lasts) : shortest;
    divisor = common_divisor((uint64_t)llround((time[i] - time[0]) / grain), divisor);
  }
  *exact = span / grain < 9e15 && divisor > 0 && span / (grain * (double)divisor) < SAMPLES_MOST;
  *step = *exact ? grain * (double)divisor : shortest / SHORTEST_SAMPLES;
  if (*exact && shortest / *step < SHORTEST_SAMPLES) {
    const double finer = ceil(SHORTEST_SAMPLES / round(shortest / *step));
    *step /= span * finer / *step < FINER_MOST ? finer : 1.0;
  }
  return span / *step < SAMPLES_MOST
             ? PLB_OK
             : plb_fail_line(err, PLB_EDATA, r->layout.body_line, 0,
                             "the shortest state lasts %.3g of %.3g in all: held so that it is seen, the list would be %.3g samples; cut it into parts",
                             shortest, span, span / *step);
}

static plb_status hold(plb_samples *s, const double *time, size_t n, double step, size_t samples, plb_error *err) {
  int32_t *code = plb_resize(NULL, samples, sizeof *code);
  if (!code)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  size_t row = 0;
  for (size_t i = 0; i < samples; i++) {
    while (row + 1 < n && llround((time[row + 1] - time[0]) / step) <= (long long)i)
      row++;
    code[i] = s->code[row];
  }
  free(s->code);
  s->code = code;
  return PLB_OK;
}

plb_status plb_text_hold_edges(const plb_text_table *r, plb_capture *capture, plb_error *err) {
  const plb_header *h = &r->header[r->time];
  const size_t n = capture->samples;
  double second = 1.0, step = 0.0, *time = plb_resize(NULL, n, sizeof *time);
  bool exact = false;
  if (!time)
    return plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
  plb_status status = read_times(r, n, time, err);
  if (status == PLB_OK)
    status = choose_step(r, time, n, &step, &exact, err);
  const size_t samples = status == PLB_OK ? (size_t)llround((time[n - 1] - time[0]) / step) + 1 : 0;
  for (size_t c = 0; c < capture->channels && status == PLB_OK; c++)
    status = hold(&capture->channel[c].samples, time, n, step, samples, err);
  free(time);
  if (status != PLB_OK)
    return status;
  if (h->unit[0] && !plb_unit_convert(1.0, h->unit, "s", &second))
    second = 1.0; /* refused before */
  capture->samples = samples;
  capture->rate_hz = second < 1.0 ? round(1.0 / second) / step : 1.0 / (step * second);
  if (fabs(capture->rate_hz - round(capture->rate_hz)) < 1e-9 * capture->rate_hz)
    capture->rate_hz = round(capture->rate_hz);
  capture->uneven = 0.0;
  capture->gap_row = 0;
  plb_capture_add_note(capture, "a list of %zu edges: each state is held until the next row, at %.10g Hz", n, capture->rate_hz);
  if (!exact)
    plb_capture_add_note(capture, "edges are rounded to the nearest sample, by up to %.3g s", 0.5 * step * second);
  return PLB_OK;
}
