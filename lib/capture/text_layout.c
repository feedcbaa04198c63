#include "capture/text_sample.h"
#include <string.h>

enum { SURE_ROWS = 3 };

/* The ways to read a line, the likelier first: of equal evidence the first one wins. */
static const plb_text_way ways[] = {{'\t', '.'}, {';', '.'}, {',', '.'},        {PLB_BLANKS, '.'},
                                    {'\t', ','}, {';', ','}, {PLB_BLANKS, ','}, {',', ','}};
enum { WAYS = sizeof ways / sizeof ways[0] };

/* The most frequent number of cells among lines that hold a number, and how well this way of reading explains them. */
static double weigh(const plb_text_sample *s, const char *end, plb_text_way way, size_t *columns_out) {
  uint16_t lines[PLB_TEXT_MOST_COLUMNS + 2] = {0};
  float weight[PLB_TEXT_MOST_COLUMNS + 2] = {0};
  for (size_t i = 0; i < s->count; i++) {
    if (plb_text_is_comment(s->line[i], way.separator))
      continue;
    const plb_text_row_count n = plb_text_count_row(s->line[i], end, way);
    if (n.numbers == 0)
      continue;
    lines[n.cells]++;
    weight[n.cells] += (float)n.numbers - 0.4f * (float)n.texts;
  }
  size_t best = 0;
  for (size_t n = 1; n <= PLB_TEXT_MOST_COLUMNS; n++)
    if (lines[n] > lines[best] || (lines[n] == lines[best] && lines[n] > 0 && weight[n] > weight[best]))
      best = n;
  *columns_out = best;
  return best == 0 ? -1e9 : (double)weight[best];
}

static bool choose_way(const plb_text_sample *s, plb_text_layout *out) {
  double best = -1e9;
  for (size_t i = 0; i < WAYS; i++) {
    size_t columns;
    const double weight = weigh(s, out->end, ways[i], &columns);
    if (weight > best + 1e-3) {
      best = weight;
      out->separator = ways[i].separator;
      out->mark = ways[i].mark;
      out->columns = columns;
    }
  }
  return best > -1e9;
}

/* Which columns hold numbers: those with at least as many numbers as texts. */
static plb_status tell_kinds(const plb_text_sample *s, plb_text_layout *out, plb_error *err) {
  const plb_text_way way = {out->separator, out->mark};
  int *votes = plb_calloc(out->columns, sizeof *votes);
  out->numeric = plb_calloc(out->columns, sizeof *out->numeric);
  if (!votes || !out->numeric) {
    free(votes);
    return plb_fail(err, PLB_ENOMEM, "not enough memory; close other programs");
  }
  bool ends_empty = out->columns > 1;
  for (size_t i = 0; i < s->count; i++) {
    if (plb_text_is_comment(s->line[i], way.separator))
      continue;
    const plb_text_row_count n = plb_text_count_row(s->line[i], out->end, way);
    if (n.cells != out->columns || n.numbers == 0)
      continue;
    ends_empty = ends_empty && n.ends_empty;
    const char *p = s->line[i];
    for (size_t j = 0; j < out->columns; j++) {
      plb_cell cell;
      p = plb_cell_read(p, out->end, way.separator, &cell);
      if (plb_cell_is_number(&cell, way.mark))
        votes[j]++;
      else if (!plb_cell_is_missing(&cell) && !plb_cell_is_infinite(&cell))
        votes[j]--;
    }
  }
  for (size_t j = 0; j < out->columns; j++)
    out->numeric[j] = votes[j] > 0;
  free(votes);
  out->trailing = ends_empty;
  out->columns -= ends_empty;
  return PLB_OK;
}

typedef enum line_kind { LINE_ROW, LINE_WORDS, LINE_OTHER } line_kind;

/* A row has the right number of cells and a number or nothing in every numeric column; words have no number in any of
 * them. */
static line_kind tell_line(const plb_text_layout *t, const char *p) {
  size_t numbers = 0, wrong = 0, cells = 0, words = 0;
  plb_cell cell;
  do {
    p = plb_cell_read(p, t->end, t->separator, &cell);
    const bool numeric = cells < t->columns && t->numeric[cells];
    const bool number = plb_cell_is_number(&cell, t->mark);
    const bool nothing = plb_cell_is_missing(&cell) || plb_cell_is_infinite(&cell);
    numbers += number && numeric;
    wrong += numeric && !number && !nothing;
    words += !number && cell.size > 0;
    cells++;
  } while (!cell.last && cells <= t->columns + 1);
  const bool fits = cells == t->columns || (t->trailing && cells == t->columns + 1 && cell.size == 0);
  if (fits && wrong == 0 && numbers > 0)
    return LINE_ROW;
  return numbers == 0 && words > 0 ? LINE_WORDS : LINE_OTHER;
}

/*
 * The body begins at the first row. One or two rows followed by a line of words belong to a preamble; a row that is
 * wrong in one cell only does not: it is left to the reader, which names it.
 */
static bool find_body(plb_text_layout *t) {
  const char *candidate = NULL;
  int64_t line = 1, candidate_line = 0;
  int run = 0;
  for (const char *p = t->begin; p < t->end && run < SURE_ROWS; p = plb_line_next(p, t->end), line++) {
    if (plb_text_is_empty_line(p, t->end) || plb_text_is_comment(p, t->separator))
      continue;
    const line_kind kind = tell_line(t, p);
    if (kind == LINE_ROW) {
      if (!candidate) {
        candidate = p;
        candidate_line = line;
      }
      run++;
    } else if (candidate && kind == LINE_WORDS) {
      candidate = NULL;
      run = 0;
    } else if (candidate) {
      break;
    }
  }
  t->body = candidate;
  t->body_line = candidate_line;
  return candidate != NULL;
}

static size_t count_cells(const plb_text_layout *t, const char *p) {
  size_t cells = 0;
  plb_cell cell;
  do {
    p = plb_cell_read(p, t->end, t->separator, &cell);
    cells++;
  } while (!cell.last && cells <= PLB_TEXT_MOST_COLUMNS);
  return cells - (t->trailing && cells == t->columns + 1 && cell.size == 0);
}

/* Every cell that is not empty names a unit. */
static bool is_units_row(const plb_text_layout *t, const char *p) {
  size_t units = 0;
  plb_cell cell;
  do {
    p = plb_cell_read(p, t->end, t->separator, &cell);
    char label[PLB_NAME_SIZE];
    if (cell.size == 0)
      continue;
    if (!plb_cell_copy(&cell, label, sizeof label))
      return false;
    const bool bracketed = label[0] == '(' || label[0] == '[';
    if (!bracketed && !plb_unit_from_label(label))
      return false;
    units++;
  } while (!cell.last);
  return units > 0;
}

/* The text of a header line behind the mark of a comment. */
static const char *behind_comment(const plb_text_layout *t, const char *line) {
  if (!plb_text_is_comment(line, t->separator))
    return line;
  while (plb_is_blank(*line))
    line++;
  while (*line == '#' || *line == '%' || *line == ';')
    line++;
  return line;
}

static bool fits_header(const plb_text_layout *t, const char *line) {
  return line && count_cells(t, line) == t->columns && tell_line(t, line) != LINE_ROW;
}

/* Between blanks "Time (s)" looks like two cells. */
static bool fits_joined(const plb_text_layout *t, const char *line) {
  if (!line || t->separator != PLB_BLANKS)
    return false;
  size_t cells = 0;
  plb_cell cell;
  do {
    line = plb_cell_read_name(line, t->end, &cell);
    cells++;
  } while (!cell.last && cells <= t->columns);
  return cells == t->columns;
}

static void find_names(plb_text_layout *t) {
  const char *above[2] = {NULL, NULL}; /* the nearest lines above the body, [0] the nearest */
  for (const char *p = t->begin; p < t->body; p = plb_line_next(p, t->end)) {
    const char *line = behind_comment(t, p);
    if (plb_text_is_empty_line(p, t->end) || (line != p && !fits_header(t, line) && !fits_joined(t, line)))
      continue;
    above[1] = above[0];
    above[0] = line;
  }
  const bool fits = fits_header(t, above[0]), fits_above = fits_header(t, above[1]);
  if (fits && is_units_row(t, above[0])) {
    t->units = above[0];
    t->names = fits_above ? above[1] : NULL;
  } else if (fits) {
    t->names = above[0];
  } else if (fits_joined(t, above[0])) {
    t->names = above[0];
    t->names_joined = true;
  } else {
    t->names_unused = above[0] != NULL;
  }
}

/* A column that looks like numbers and is none, such as 1,234.5: better refused than left out. */
static plb_status check_unread_columns(const plb_text_layout *t, plb_error *err) {
  const char *p = t->body;
  for (size_t j = 0; j < t->columns; j++) {
    plb_cell cell;
    p = plb_cell_read(p, t->end, t->separator, &cell);
    if (!t->numeric[j] && !plb_cell_is_missing(&cell) && plb_text_is_like_number(&cell))
      return plb_text_fail_cell(&cell, t->separator, t->mark, t->body_line, cell.text - t->body + 1, err);
  }
  return PLB_OK;
}

/* A line of numbers right above the body that does not fit is a damaged row, not a header. */
static plb_status check_line_above(const plb_text_layout *t, plb_error *err) {
  const char *above = NULL;
  for (const char *p = t->begin; p < t->body; p = plb_line_next(p, t->end))
    above = p;
  if (!above || plb_text_is_empty_line(above, t->end) || plb_text_is_comment(above, t->separator))
    return PLB_OK;
  const plb_text_row_count n = plb_text_count_row(above, t->end, (plb_text_way){t->separator, t->mark});
  plb_cell first;
  plb_cell_read(above, t->end, t->separator, &first);
  if (n.numbers < 1 || t->columns < 2 || !plb_cell_is_number(&first, t->mark))
    return PLB_OK;
  const size_t cells = count_cells(t, above);
  if (cells != t->columns && n.texts == 0 && n.numbers > 1)
    return plb_fail_line(err, PLB_EDATA, t->body_line - 1, 0,
                         "this row has %zu columns, the others have %zu; correct or remove it", cells, t->columns);
  if (cells != t->columns)
    return PLB_OK;
  const char *p = above;
  for (size_t j = 0; j < t->columns; j++) {
    plb_cell cell;
    p = plb_cell_read(p, t->end, t->separator, &cell);
    const bool good = plb_cell_is_number(&cell, t->mark) || plb_cell_is_missing(&cell) || plb_cell_is_infinite(&cell);
    if (t->numeric[j] && !good)
      return plb_text_fail_cell(&cell, t->separator, t->mark, t->body_line - 1, cell.text - above + 1, err);
  }
  return PLB_OK;
}

static void keep_row(plb_text_layout *t, const char *line, size_t *bytes) {
  if (plb_text_is_comment(line, t->separator) || plb_text_is_empty_line(line, t->end) || tell_line(t, line) != LINE_ROW)
    return;
  t->row[t->rows++] = line;
  *bytes += (size_t)(plb_line_next(line, t->end) - line);
}

/* The rows the later steps learn from: the first ones, then those spread over the file. */
static plb_status keep_rows(const plb_text_sample *s, plb_text_layout *t, plb_error *err) {
  t->row = plb_calloc(PLB_TEXT_HEAD_LINES + s->count, sizeof *t->row);
  if (!t->row)
    return plb_fail(err, PLB_ENOMEM, "not enough memory; close other programs");
  size_t bytes = 0;
  const char *p = t->body;
  for (size_t i = 0; i < PLB_TEXT_HEAD_LINES && p < t->end; i++, p = plb_line_next(p, t->end))
    keep_row(t, p, &bytes);
  t->head_rows = t->rows;
  for (size_t i = 0; i < s->count; i++)
    if (s->line[i] >= p)
      keep_row(t, s->line[i], &bytes);
  t->row_bytes = t->rows > 0 ? (double)bytes / (double)t->rows : 1.0;
  return PLB_OK;
}

/* More columns than a recorder has channels. */
static plb_status check_width(const plb_text_sample *s, const plb_text_layout *t, plb_error *err) {
  for (size_t i = 0; i < s->count; i++)
    for (size_t w = 0; w < WAYS; w++)
      if (plb_text_count_row(s->line[i], t->end, ways[w]).numbers > PLB_TEXT_MOST_COLUMNS)
        return plb_fail_line(err, PLB_EDATA, plb_text_line_of(t, s->line[i]), 0, "there are more than %d columns; export the channels in parts",
                        PLB_TEXT_MOST_COLUMNS);
  return PLB_OK;
}

static plb_status fail_without_rows(const plb_text_sample *s, const plb_text_layout *t, plb_error *err) {
  if (s->count == 0)
    return plb_fail_line(err, PLB_EDATA, 1, 0, "the file is empty; record or export it again");
  const char *first = s->line[0] + strspn(s->line[0], " \t");
  if (*first == '<' || *first == '{')
    return plb_fail_line(err, PLB_EDATA, 1, 0,
                         "this is %s, not a table of numbers; export the recording as delimited text",
                         *first == '<' ? "an XML or HTML document" : "a JSON document");
  /* the last line is the likeliest row: say what is wrong with its first cell that begins like a number */
  const char *p = s->line[s->count - 1];
  const char *line = p;
  const int64_t number = plb_text_line_of(t, line);
  static const char separators[] = {'\t', ';', ',', PLB_BLANKS};
  for (size_t i = 0; i < sizeof separators; i++) {
    plb_cell cell;
    plb_cell_read(line, t->end, separators[i], &cell);
    const bool starts = cell.size > 0 && strchr("+-.0123456789", cell.text[0]) != NULL;
    if (starts && (!cell.last || i == sizeof separators - 1))
      return plb_text_fail_cell(&cell, separators[i], '.', number, cell.text - line + 1, err);
  }
  return plb_fail_line(err, PLB_EDATA, number, 0, "no row of numbers follows the header; record or export it again");
}

plb_status plb_text_layout_find(plb_text_layout *out, const char *text, size_t size, plb_error *err) {
  *out = (plb_text_layout){.begin = text, .end = text + size};
  plb_text_sample *s = plb_calloc(1, sizeof *s);
  if (!s)
    return plb_fail(err, PLB_ENOMEM, "not enough memory; close other programs");
  plb_text_take_sample(s, text, out->end);
  plb_status status = PLB_OK;
  if (!choose_way(s, out)) {
    status = check_width(s, out, err);
    status = status == PLB_OK ? fail_without_rows(s, out, err) : status;
  }
  if (status == PLB_OK)
    status = plb_text_check_comma(s, out, err);
  if (status == PLB_OK)
    status = tell_kinds(s, out, err);
  if (status == PLB_OK && !find_body(out))
    status = fail_without_rows(s, out, err);
  if (status == PLB_OK)
    status = check_line_above(out, err);
  if (status == PLB_OK)
    status = check_unread_columns(out, err);
  if (status == PLB_OK) {
    find_names(out);
    status = keep_rows(s, out, err);
  }
  free(s);
  return status;
}

void plb_text_layout_dispose(plb_text_layout *layout) {
  free(layout->numeric);
  free(layout->row);
  layout->numeric = NULL;
  layout->row = NULL;
}
