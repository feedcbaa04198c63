#include "capture/number.h"
#include "capture/text_sample.h"
#include <string.h>

/* What a comma stands for. */

typedef struct comma_evidence {
  size_t rows, points, signs, padded, headers, grouped, decimal;
  bool even_steps;   /* the first cells count up evenly */
  const char *first; /* row */
} comma_evidence;

static bool begins_with_sign(const plb_cell *cell) {
  return cell->size > 0 && (cell->text[0] == '-' || cell->text[0] == '+');
}

/* "1,234": one to three digits that do not begin with nought, a comma, three digits: thousands or thousandths. */
static bool may_be_grouped(const plb_cell *cell) {
  const char *comma = memchr(cell->text, ',', cell->size);
  const char *first = cell->text + begins_with_sign(cell);
  return comma && comma > first && comma - first <= 3 && *first != '0' && cell->text + cell->size - comma == 4;
}

static void weigh_comma(const plb_text_layout *t, const char *line, bool follows, comma_evidence *e, double *before) {
  const plb_text_way way = {t->separator, t->mark};
  const plb_text_row_count n = plb_text_count_row(line, t->end, way);
  e->headers += n.cells == t->columns && n.texts > 0;
  if (n.cells != t->columns || n.numbers != n.cells)
    return;
  const char *p = line;
  e->first = e->first ? e->first : line;
  for (size_t j = 0; j < t->columns; j++) {
    plb_cell cell;
    p = plb_cell_read(p, t->end, t->separator, &cell);
    double value = 0.0;
    e->points += memchr(cell.text, '.', cell.size) != NULL || cell.quoted;
    e->signs += j % 2 == 1 && begins_with_sign(&cell);
    e->padded += j % 2 == 1 && cell.size > 1 && cell.text[0] == '0';
    e->grouped += may_be_grouped(&cell);
    e->decimal += memchr(cell.text, ',', cell.size) != NULL && !may_be_grouped(&cell);
    if (j == 0 && follows && plb_number_value(cell.text, cell.size, t->mark, &value)) {
      const double step = value - before[0];
      if (e->rows == 1)
        before[1] = step;
      e->even_steps = e->rows == 0 || (e->even_steps && step > 0.0 && step == before[1]);
      before[0] = value;
    }
  }
  e->rows++;
}

/*
 * A comma can stand between columns, in front of decimals or between thousands. "0,5" on every line is one column with
 * a decimal comma or two columns of whole numbers; only evidence decides, and without any the file is refused.
 */
plb_status plb_text_check_comma(const plb_text_sample *s, plb_text_layout *t, plb_error *err) {
  if (t->separator != ',' && t->mark != ',')
    return PLB_OK;
  comma_evidence e = {0};
  double before[2] = {0.0, 0.0};
  for (size_t i = 0; i < s->count; i++)
    if (!plb_text_is_comment(s->line[i], t->separator))
      weigh_comma(t, s->line[i], i < PLB_TEXT_HEAD_LINES, &e, before);
  if (t->mark == ',' && t->separator != ',') {
    if (e.grouped > 0 && e.decimal == 0)
      return plb_fail_line(
          err, PLB_EDATA, plb_text_line_of(t, e.first), 0,
          "a number such as 1,234 may have a decimal comma or a mark between thousands; export with a decimal point");
    return PLB_OK;
  }
  if (t->mark == ',' || e.points > 0 || t->columns % 2 != 0)
    return PLB_OK;
  const bool separates = e.signs > 0 || e.headers > 0 || (e.rows > 2 && e.even_steps);
  if (e.padded == 0 && (separates || t->columns > 2))
    return PLB_OK;
  if (e.padded > 0 && !separates && t->columns == 2) {
    t->separator = ';';
    t->mark = ',';
    t->columns = 1;
    return PLB_OK;
  }
  return plb_fail_line(
      err, PLB_EDATA, plb_text_line_of(t, e.first), 0,
      "the comma may be the decimal mark or stand between columns; export with semicolons or with a decimal point");
}
