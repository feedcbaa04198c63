/*
 * The usual shape of the halves of a pulse, from edge to edge, and what each sample is away from it. A half is laid over
 * the same cells whatever its length, so that duty and speed do not matter. The middle and the spread in each cell come
 * from halves spread over the window. Where a cell has no usual value (an edge, a pulse of changing form) only what lies
 * outside all that was seen there counts.
 */
#include "event/event.h"

#include "signal/statistic.h"

#include <math.h>

enum { CELLS = 64, KEPT = 256, GUARD = 2, LEAST = 40 };

typedef struct cell {
  double middle, spread, low, high;
  bool loose, known;
} cell;

typedef struct shape {
  double *kept; /* [2][CELLS][KEPT] */
  size_t count[2][CELLS];
  cell cell[2][CELLS];
} shape;

static size_t place_in(const plb_crossing *edge, size_t e, size_t i) {
  const double share = ((double)i - edge[e].at) / (edge[e + 1].at - edge[e].at);
  const double k = share * CELLS;
  return k < 0 ? 0 : k >= CELLS ? CELLS - 1 : (size_t)k;
}

/* Samples of a half that are clear of its edges. */
static void inner(const plb_crossing *edge, size_t e, size_t *first, size_t *last) {
  *first = (size_t)ceil(edge[e].at) + GUARD;
  const size_t end = (size_t)ceil(edge[e + 1].at);
  *last = end > *first + GUARD ? end - GUARD : *first;
}

static void gather(shape *s, const plb_trains *p, const double *x, const bool *odd) {
  size_t samples = p->edge[p->edges - 1].at > 0 ? (size_t)(p->edge[p->edges - 1].at - p->edge[0].at) : 1;
  size_t stride = samples / (2 * CELLS * KEPT);
  stride = stride < 1 ? 1 : stride;
  for (size_t e = 0; e + 1 < p->edges; e++) {
    size_t first, last;
    if (odd[e] || (e / 2) % stride != 0)
      continue;
    inner(p->edge, e, &first, &last);
    const int half = p->edge[e].direction > 0;
    for (size_t i = first; i < last; i++) {
      const size_t k = place_in(p->edge, e, i);
      if (s->count[half][k] < KEPT)
        s->kept[((size_t)half * CELLS + k) * KEPT + s->count[half][k]++] = x[i];
    }
  }
}

static void learn_cell(cell *c, double *kept, size_t count, double floor) {
  *c = (cell){.known = count >= LEAST};
  if (!c->known)
    return;
  c->low = plb_quantile(kept, count, 0.01);
  c->high = plb_quantile(kept, count, 0.99);
  c->middle = plb_median(kept, count);
  c->spread = fmax(plb_mad(kept, count, c->middle), floor);
  c->loose = c->high - c->low > 6.5 * c->spread;
}

static double tight_spread(shape *s, double floor) {
  double all[2 * CELLS];
  size_t count = 0;
  for (int h = 0; h < 2; h++)
    for (size_t k = 0; k < CELLS; k++)
      if (s->cell[h][k].known && !s->cell[h][k].loose)
        all[count++] = s->cell[h][k].spread;
  return count > 0 ? plb_median(all, count) : floor;
}

/* Between the middles of cells the shape is a straight line; where it bends, the line is off by up to so much. */
static void learn(shape *s, double floor) {
  for (int h = 0; h < 2; h++)
    for (size_t k = 0; k < CELLS; k++)
      learn_cell(&s->cell[h][k], s->kept + ((size_t)h * CELLS + k) * KEPT, s->count[h][k], floor);
  const double spread = tight_spread(s, floor);
  for (int h = 0; h < 2; h++)
    for (size_t k = 0; k < CELLS; k++) {
      cell *c = &s->cell[h][k];
      c->spread = c->loose ? spread : fmax(c->spread, 0.95 * spread); /* few samples show too little by chance */
      if (k > 0 && k + 1 < CELLS && c[-1].known && c[1].known)
        c->spread = hypot(c->spread, 0.25 * fabs(c[-1].middle - 2 * c->middle + c[1].middle));
    }
}

static double usual_at(const cell *cells, double place) {
  const double at = place - 0.5;
  const size_t k = at < 0 ? 0 : at >= CELLS - 1 ? CELLS - 1 : (size_t)at, next = k + 1 < CELLS ? k + 1 : k;
  if (!cells[k].known || !cells[next].known)
    return cells[place >= CELLS ? CELLS - 1 : (size_t)place].middle;
  const double share = at < 0 ? 0 : at - (double)k;
  return cells[k].middle + (share > 1 ? 1 : share) * (cells[next].middle - cells[k].middle);
}

static void remove_half(const shape *s, const plb_trains *p, size_t e, const double *x, float *deviation, float *r) {
  size_t first, last;
  inner(p->edge, e, &first, &last);
  const cell *cells = s->cell[p->edge[e].direction > 0];
  const double per_sample = CELLS / (p->edge[e + 1].at - p->edge[e].at);
  for (size_t i = first; i < last; i++) {
    const double place = ((double)i - p->edge[e].at) * per_sample;
    const cell *c = &cells[place >= CELLS ? CELLS - 1 : (size_t)place];
    if (!c->known)
      continue;
    double off = x[i] - usual_at(cells, place);
    if (c->loose)
      off = x[i] > c->high ? x[i] - c->high : x[i] < c->low ? x[i] - c->low : 0;
    deviation[i] = (float)off;
    r[i] = (float)(off / c->spread);
  }
}

plb_status plb_shape_remove(const plb_trains *p, const double *x, size_t n, const bool *odd, double floor,
                            float *deviation, float *r, plb_error *err) {
  for (size_t i = 0; i < n; i++)
    deviation[i] = r[i] = 0;
  shape *s = plb_calloc(1, sizeof *s);
  if (s)
    s->kept = plb_calloc((size_t)2 * CELLS * KEPT, sizeof *s->kept);
  if (!s || !s->kept) {
    free(s);
    return plb_fail(err, PLB_ENOMEM, "no memory for the search; search fewer channels at once");
  }
  gather(s, p, x, odd);
  learn(s, floor);
  for (size_t e = 0; e + 1 < p->edges; e++)
    if (!odd[e])
      remove_half(s, p, e, x, deviation, r);
  free(s->kept);
  free(s);
  return PLB_OK;
}
