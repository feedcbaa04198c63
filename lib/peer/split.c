/*
 * Like units inside one capture: the cylinders of a starter current, the bars of a pump. A cycle found may hold all of them, or be one of
 * them (when all are alike the shortest period is one unit): the cycle is cut into pieces, and where the pieces are not like one another
 * the found cycles themselves are the units, taken in turn.
 */
#include "cycle/draft.h"
#include "peer/likes.h"
#include <math.h>
#include <string.h>

static const double alike = 0.5; /* correlation of neighbouring pieces, middle value, from which a cycle is taken to hold all units */

/* Is the typical cycle made of `units` pieces that are like one another? */
static bool holds_all(const plb_likes *l, unsigned units) {
  const plb_profile *p = l->profile[0];
  const size_t width = p->grid / units;
  const float *curve = plb_profile_curve(p, l->shell->choice.channel);
  double r[16];
  for (unsigned k = 0; k < units; k++) {
    r[k] = plb_curve_correlation(curve + k * width, curve + (k + 1) % units * width, width);
  }
  return plb_median(r, units) > alike;
}

static plb_frame *frame_of(size_t rows, size_t channels, size_t grid) {
  plb_frame *f = plb_calloc(1, sizeof *f);
  if (f == NULL) {
    return NULL;
  }
  f->grid = grid;
  f->channels = channels;
  f->found = f->mapped = rows;
  f->structure = true;
  f->cycle = plb_calloc(rows, sizeof *f->cycle);
  f->value = plb_calloc(rows * channels * grid, sizeof *f->value);
  f->edge_at = plb_calloc(rows * (grid + 1), sizeof *f->edge_at);
  if (f->cycle == NULL || f->value == NULL || f->edge_at == NULL) {
    plb_frame_free(f);
    return NULL;
  }
  return f;
}

/* Row `row` of `to` is cells [first, first + to->grid) of row `from_row` of `from`. */
static void copy_row(plb_frame *to, size_t row, const plb_frame *from, size_t from_row, size_t first) {
  for (size_t c = 0; c < to->channels; c++) {
    memcpy(to->value + (row * to->channels + c) * to->grid, plb_frame_curve(from, from_row, c) + first, to->grid * sizeof *to->value);
  }
  memcpy(to->edge_at + row * (to->grid + 1), from->edge_at + from_row * (from->grid + 1) + first, (to->grid + 1) * sizeof *to->edge_at);
  to->cycle[row] = (plb_cycle_found){.first = to->edge_at[row * (to->grid + 1)],
                                     .last = to->edge_at[row * (to->grid + 1) + to->grid],
                                     .state = PLB_MAPPED,
                                     .row = row,
                                     .surplus_phase = NAN,
                                     .correlation = 1.0};
}

/* Which cycle in time each row is, counted in whole typical lengths, so that one that could not be mapped still counts. */
static void number_rows(const plb_frame *f, size_t *number, double *scratch) {
  size_t n = 0;
  double first = NAN;
  for (size_t i = 0; i < f->found; i++) {
    if (f->cycle[i].state == PLB_MAPPED) {
      scratch[n++] = f->cycle[i].last - f->cycle[i].first;
      first = isfinite(first) ? first : f->cycle[i].first;
    }
  }
  const double typical = plb_median(scratch, n);
  for (size_t i = 0; i < f->found; i++) {
    if (f->cycle[i].state == PLB_MAPPED) {
      number[f->cycle[i].row] = (size_t)fmax(0.0, round((f->cycle[i].first - first) / typical));
    }
  }
}

static plb_frame *unit_by_turn(const plb_frame *whole, const size_t *number, unsigned unit, unsigned units) {
  size_t rows = 0;
  for (size_t r = 0; r < whole->mapped; r++) {
    rows += number[r] % units == unit;
  }
  plb_frame *f = frame_of(rows, whole->channels, whole->grid);
  for (size_t r = 0, to = 0; f != NULL && r < whole->mapped; r++) {
    if (number[r] % units == unit) {
      copy_row(f, to++, whole, r, 0);
    }
  }
  return f;
}

static plb_frame *unit_by_piece(const plb_frame *whole, unsigned unit, unsigned units) {
  const size_t grid = whole->grid / units;
  plb_frame *f = frame_of(whole->mapped, whole->channels, grid);
  for (size_t r = 0; f != NULL && r < whole->mapped; r++) {
    copy_row(f, r, whole, r, unit * grid);
  }
  return f;
}

/* Units have no marks or stretches of their own. */
static void plain_cycle(plb_cycle_choice *choice, size_t grid) {
  free(choice->template_);
  free(choice->landmark);
  free(choice->span);
  free(choice->stroke);
  choice->template_ = choice->stroke = NULL;
  choice->landmark = NULL;
  choice->span = NULL;
  choice->landmarks = choice->spans = 0;
  choice->grid = grid;
  choice->spec.kind = PLB_CYCLE_REPEAT;
}

static plb_status room_for(plb_likes *l, unsigned units, plb_error *err) {
  char(*name)[PLB_TEXT_SIZE] = plb_calloc(units, sizeof *name);
  plb_laid *laid = plb_calloc(units, sizeof *laid);
  plb_profile **profile = plb_calloc(units, sizeof(plb_profile *));
  if (name == NULL || laid == NULL || profile == NULL) {
    free(name);
    free(laid);
    free(profile);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  free(l->name);
  free(l->laid);
  free(l->profile);
  l->name = name;
  l->laid = laid;
  l->profile = profile;
  l->n = units;
  for (unsigned k = 0; k < units; k++) {
    plb_text_print(name[k], sizeof name[k], "cycle/%u", k + 1);
  }
  return PLB_OK;
}

plb_status plb_likes_split(plb_likes *l, unsigned units, plb_error *err) {
  plb_profile *whole = l->profile[0];
  if (whole == NULL || l->n != 1) {
    return plb_fail(err, PLB_EDATA, "no cycle was found to be split; check --cycle");
  }
  const plb_frame *f = whole->frame;
  const bool pieces = holds_all(l, units);
  if ((pieces && f->grid / units < 8) || (!pieces && f->mapped < 2 * (size_t)units)) {
    return plb_fail(err, PLB_EDATA, "%zu cycles are too few to be taken in turn as %u like units; record at least %u", f->mapped, units,
                    2 * units);
  }
  size_t *number = plb_calloc(f->mapped, sizeof *number);
  double *scratch = plb_calloc(f->found, sizeof *scratch);
  l->profile[0] = NULL;
  plb_status status = number != NULL && scratch != NULL ? room_for(l, units, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status != PLB_OK) {
    goto done;
  }
  number_rows(f, number, scratch);
  plain_cycle(&l->shell->choice, pieces ? f->grid / units : f->grid);
  for (unsigned k = 0; status == PLB_OK && k < units; k++) {
    plb_frame *unit = pieces ? unit_by_piece(f, k, units) : unit_by_turn(f, number, k, units);
    if (unit == NULL) {
      status = plb_fail(err, PLB_ENOMEM, "out of memory");
    } else if (unit->mapped == 0) {
      plb_frame_free(unit);
      l->laid[k] = PLB_NO_CYCLE;
    } else {
      unit->rate_hz = pieces ? f->rate_hz * units : f->rate_hz;
      status = plb_profile_new(&l->profile[k], unit, &l->shell->choice, l->decimals, err);
    }
  }
  status = status == PLB_OK ? plb_likes_plan(l, err) : status;
done:
  plb_profile_free(whole);
  free(number);
  free(scratch);
  return status;
}
