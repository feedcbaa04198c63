/*
 * Like units inside one capture: the cylinders of a starter current, the bars of a pump. A cycle found may hold all of them, some, or be one
 * of them (when all are alike the shortest period is one unit): it is cut into as many pieces as are like one another, and the pieces are the
 * units, taken in turn.
 */
#include "cycle/draft.h"
#include "peer/likes.h"
#include <math.h>
#include <string.h>

static const double alike = 0.5; /* correlation of neighbouring pieces, middle value, from which they are taken for units */

/* Is the typical cycle made of `pieces` that are like one another? */
static bool made_of(const plb_likes *l, unsigned count) {
  const plb_profile *p = l->profile[0];
  const size_t width = p->grid / count;
  const float *curve = plb_profile_curve(p, l->shell->choice.channel);
  double r[16];
  for (unsigned k = 0; k < count; k++) {
    r[k] = plb_curve_correlation(curve + k * width, curve + (k + 1) % count * width, width);
  }
  return width >= 8 && plb_median(r, count) > alike;
}

/* How many of the units a found cycle holds: all, a part of them, or one. */
static unsigned held_units(const plb_likes *l, unsigned units) {
  for (unsigned held = units; held > 1; held--) {
    if (units % held == 0 && made_of(l, held)) {
      return held;
    }
  }
  return 1;
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

/* One unit of the capture in order of time: which cells of the frame hold it, and its number from the first one seen. */
typedef struct piece {
  size_t row, first, number;
} piece;

typedef struct pieces {
  piece *at;
  size_t count, width;
  unsigned units;
} pieces;

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

static void list_pieces(pieces *out, const plb_frame *f, const size_t *number, unsigned each) {
  out->width = f->grid / each;
  for (size_t r = 0; r < f->mapped; r++) {
    for (unsigned k = 0; k < each; k++) {
      out->at[out->count++] = (piece){r, k * out->width, number[r] * each + k};
    }
  }
}

/*
 * The cycle's seam lies anywhere, so a unit may be cut in two. Like units differ most in their middles and least where one passes into the
 * next: they are cut where the mean curves of the units differ least.
 */
static plb_status find_cut(size_t *cut_out, const pieces *p, const plb_frame *f, size_t channel, plb_error *err) {
  const size_t w = p->width, reach = w / 16 + 1;
  double *mean = plb_calloc(p->units * w, sizeof *mean), *apart = plb_calloc(w, sizeof *apart);
  double *count = plb_calloc(p->units, sizeof *count);
  plb_status status = PLB_OK;
  if (mean == NULL || apart == NULL || count == NULL) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
    goto done;
  }
  for (size_t i = 0; i < p->count; i++) {
    const unsigned unit = (unsigned)(p->at[i].number % p->units);
    const float *curve = plb_frame_curve(f, p->at[i].row, channel) + p->at[i].first;
    count[unit]++;
    for (size_t g = 0; g < w; g++) {
      mean[unit * w + g] += (double)curve[g];
    }
  }
  for (size_t g = 0; g < w; g++) {
    double sum = 0.0, square = 0.0;
    for (unsigned u = 0; u < p->units; u++) {
      const double m = count[u] > 0.0 ? mean[u * w + g] / count[u] : 0.0;
      sum += m;
      square += m * m;
    }
    apart[g] = square - sum * sum / p->units;
  }
  double best = INFINITY;
  for (size_t g = 0; g < w; g++) { /* over a neighbourhood: a single point may agree by chance */
    double around = 0.0;
    for (size_t k = 0; k <= 2 * reach; k++) {
      around += apart[(g + w + k - reach) % w];
    }
    if (around < best) {
      best = around;
      *cut_out = g;
    }
  }
done:
  free(mean);
  free(apart);
  free(count);
  return status;
}

/* A unit from the cut of its piece to the cut of the next one, which must follow it in time. */
static bool whole_unit(const pieces *p, size_t i, size_t cut) {
  return cut == 0 || (i + 1 < p->count && p->at[i + 1].number == p->at[i].number + 1);
}

static void copy_unit(plb_frame *to, size_t row, const plb_frame *from, const pieces *p, size_t i, size_t cut) {
  double *edge = to->edge_at + row * (to->grid + 1);
  for (size_t g = 0; g < to->grid; g++) {
    const bool next = g + cut >= p->width;
    const piece *at = &p->at[next ? i + 1 : i];
    const size_t cell = at->first + (g + cut) % p->width;
    for (size_t c = 0; c < to->channels; c++) {
      to->value[(row * to->channels + c) * to->grid + g] = plb_frame_curve(from, at->row, c)[cell];
    }
    edge[g] = from->edge_at[at->row * (from->grid + 1) + cell];
    edge[g + 1] = from->edge_at[at->row * (from->grid + 1) + cell + 1];
  }
  to->cycle[row] = (plb_cycle_found){.first = edge[0],
                                     .last = edge[to->grid],
                                     .state = PLB_MAPPED,
                                     .row = row,
                                     .surplus_phase = NAN,
                                     .correlation = 1.0};
}

static plb_frame *unit_frame(const plb_frame *whole, const pieces *p, unsigned unit, size_t cut) {
  size_t rows = 0;
  for (size_t i = 0; i < p->count; i++) {
    rows += p->at[i].number % p->units == unit && whole_unit(p, i, cut);
  }
  plb_frame *f = frame_of(rows, whole->channels, p->width);
  for (size_t i = 0, to = 0; f != NULL && i < p->count; i++) {
    if (p->at[i].number % p->units == unit && whole_unit(p, i, cut)) {
      copy_unit(f, to++, whole, p, i, cut);
    }
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

static plb_status lay_units(plb_likes *l, const plb_frame *f, const pieces *p, size_t cut, plb_error *err) {
  plb_status status = PLB_OK;
  for (unsigned k = 0; status == PLB_OK && k < p->units; k++) {
    plb_frame *unit = unit_frame(f, p, k, cut);
    if (unit == NULL) {
      status = plb_fail(err, PLB_ENOMEM, "out of memory");
    } else if (unit->mapped == 0) {
      plb_frame_free(unit);
      l->laid[k] = PLB_NO_CYCLE;
    } else {
      unit->rate_hz = f->rate_hz * (double)f->grid / (double)p->width;
      status = plb_profile_new(&l->profile[k], unit, &l->shell->choice, l->decimals, err);
    }
  }
  return status;
}

plb_status plb_likes_split(plb_likes *l, unsigned units, plb_error *err) {
  plb_profile *whole = l->profile[0];
  if (whole == NULL || l->n != 1) {
    return plb_fail(err, PLB_EDATA, "no cycle was found to be split; check --cycle");
  }
  const plb_frame *f = whole->frame;
  const unsigned held = held_units(l, units);
  if (f->mapped * held < 2 * (size_t)units) {
    return plb_fail(err, PLB_EDATA, "%zu cycles are too few to be taken in turn as %u like units; record at least %u", f->mapped, units,
                    2 * units / held);
  }
  pieces p = {.at = plb_calloc(f->mapped * units, sizeof *p.at), .units = units};
  size_t *number = plb_calloc(f->mapped, sizeof *number), cut = 0;
  double *scratch = plb_calloc(f->found, sizeof *scratch);
  l->profile[0] = NULL;
  plb_status status = p.at != NULL && number != NULL && scratch != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK) {
    number_rows(f, number, scratch);
    list_pieces(&p, f, number, held);
    status = find_cut(&cut, &p, f, l->shell->choice.channel, err);
  }
  status = status == PLB_OK ? room_for(l, units, err) : status;
  if (status == PLB_OK) {
    plain_cycle(&l->shell->choice, p.width);
    status = lay_units(l, f, &p, cut, err);
  }
  status = status == PLB_OK ? plb_likes_plan(l, err) : status;
  plb_profile_free(whole);
  free(p.at);
  free(number);
  free(scratch);
  return status;
}
