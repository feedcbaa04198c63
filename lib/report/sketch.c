#include "report/sketch.h"
#include "report/say.h"
#include "signal/signal.h"

#include <math.h>
#include <string.h>

enum { PARTS = 3, COLUMNS_MOST = 200, WAVES = 6, WAVES_ENOUGH = 20 };

/* One column of the picture in thirds of a row, counted from the top; none: a column without a number. */
typedef struct span {
  int top, bottom;
  bool none;
} span;

static span span_of(const double *x, size_t count, double low, double high, int rows) {
  double lowest = 0, highest = 0;
  plb_extremes(x, count, &lowest, &highest);
  if (!isfinite(lowest))
    return (span){0, 0, true};
  const double parts = rows * PARTS, range = high > low ? high - low : 1;
  const int top = (int)fmin(fmax((high - highest) / range * parts, 0), parts - 1);
  const int bottom = (int)fmin(fmax((high - lowest) / range * parts, 0), parts - 1);
  return (span){top, bottom, false};
}

/* Where in its row a short stroke lies: high, in the middle, low; a longer one is a bar. */
static char stroke(span s, int row) {
  const int first = row * PARTS, last = first + PARTS - 1;
  if (s.none || s.bottom < first || s.top > last)
    return ' ';
  const int top = s.top > first ? s.top - first : 0, bottom = s.bottom < last ? s.bottom - first : PARTS - 1;
  if (top == bottom)
    return "'-."[top];
  return top > 0 && s.top == s.bottom ? '-' : '|';
}

static void put_label(plb_page *page, double value, double largest, const char *unit) {
  char text[PLB_SAY_SIZE];
  plb_say_beside(value, largest, unit, 3, text);
  plb_buffer_printf(&page->out, "%*.*s ", PLB_SKETCH_MARGIN - 2, PLB_SKETCH_MARGIN - 2, text);
}

static void put_times(plb_page *page, int columns, double from_s, double to_s) {
  char from[PLB_SAY_SIZE], to[PLB_SAY_SIZE];
  plb_say_quantity(from_s, "s", 4, from);
  plb_say_quantity(to_s, "s", 4, to);
  const int gap = columns - (int)strlen(from) - (int)strlen(to);
  plb_page_blanks(page, PLB_SKETCH_MARGIN);
  plb_buffer_puts(&page->out, from);
  plb_page_blanks(page, gap > 1 ? gap : 1);
  plb_buffer_puts(&page->out, to);
  plb_buffer_puts(&page->out, "\n");
}

void plb_sketch(plb_page *page, const double *x, size_t first, size_t count, double rate_hz, double start_s,
                const char *unit) {
  span spans[COLUMNS_MOST];
  double low = 0, high = 0;
  const int room = page->width - PLB_SKETCH_MARGIN < COLUMNS_MOST ? page->width - PLB_SKETCH_MARGIN : COLUMNS_MOST;
  const size_t columns = count < (size_t)room ? count : (size_t)room;
  plb_extremes(x + first, count, &low, &high);
  if (columns == 0 || !isfinite(low))
    return;
  for (size_t c = 0; c < columns; c++) {
    const size_t from = count * c / columns, to = count * (c + 1) / columns;
    const size_t join = to < count ? 1 : 0; /* also the next sample, so that neighbouring columns touch */
    spans[c] = span_of(x + first + from, to - from + join, low, high, PLB_SKETCH_ROWS);
  }
  for (int row = 0; row < PLB_SKETCH_ROWS; row++) {
    if (row == 0 || row == PLB_SKETCH_ROWS - 1)
      put_label(page, row == 0 ? high : low, fmax(fabs(low), fabs(high)), unit);
    else
      plb_page_blanks(page, PLB_SKETCH_MARGIN - 1);
    char line[COLUMNS_MOST + 2] = "|";
    for (size_t c = 0; c < columns; c++)
      line[c + 1] = stroke(spans[c], row);
    size_t end = columns + 1;
    while (line[end - 1] == ' ')
      end--;
    plb_buffer_append(&page->out, line, end);
    plb_buffer_puts(&page->out, "\n");
  }
  put_times(page, (int)columns, start_s, start_s + (double)count / rate_hz);
}

plb_status plb_sketch_closer(const double *x, size_t n, size_t *first_out, size_t *count_out, plb_error *err) {
  double low = 0, high = 0;
  plb_crossing *crossing = NULL;
  size_t count = 0;
  *count_out = 0;
  plb_extremes(x, n, &low, &high);
  if (!(high > low))
    return PLB_OK;
  const plb_status status =
      plb_crossings(x, n, low + 0.4 * (high - low), low + 0.6 * (high - low), &crossing, &count, err);
  if (status != PLB_OK || count < 2 * WAVES_ENOUGH) {
    free(crossing);
    return status;
  }
  size_t longest = 1;
  for (size_t i = 2; i < count; i++)
    if (crossing[i].at - crossing[i - 1].at > crossing[longest].at - crossing[longest - 1].at)
      longest = i;
  const size_t before = longest > WAVES ? longest - WAVES : 0,
               after = longest + WAVES < count ? longest + WAVES : count - 1;
  *first_out = (size_t)fmax(0, floor(crossing[before].at));
  const size_t end = (size_t)ceil(crossing[after].at) + 1;
  *count_out = (end < n ? end : n) - *first_out;
  free(crossing);
  return PLB_OK;
}
