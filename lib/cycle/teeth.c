/*
 * Which crossing is which tooth.
 *
 * Every crossing is given a position, or none, so that the sum of these costs is least (the Viterbi recursion over crossing and position
 * in the turn; Forney, Proceedings of the IEEE 61, 1973):
 *   - a step of n positions that took d pitches: (d - n)^2 / 2 s^2 with s^2 = 0.12^2 + (0.03 n)^2, at most 12;
 *   - each tooth that was stepped over: MISS, a quarter of it behind the third of a run; each crossing in the gap: FILL; each crossing left without a position: SURPLUS;
 *   - beginning anew at any position, after a hole or a joint in the recording: LOST.
 * The pitch is local, so acceleration does no harm; the gap of every turn speaks, so a run of missing teeth elsewhere is not taken for it and
 * a filled one is found. Costs are in units of minus log likelihood; the constants say that a fault of the wheel is about as unlikely as an
 * interval three standard deviations off. A wheel without a fault is labelled without the recursion.
 */
#include "cycle/teeth.h"

#include <math.h>
#include <string.h>

static const double MISS = 4.0, FILL = 4.0, SURPLUS = 4.5, WORST = 12.0;
static const double LOST = 24.0; /* any position after any interval: a hole or a joint in the recording */
enum { AROUND = 5, SKIP_MOST = 8, BEAM = 128, SHORT_STEP = 16 };
static const float PRUNE = 40.0f;

void plb_teeth_dispose(plb_teeth *t) {
  free(t->at);
  free(t->pitch);
  free(t->position);
  *t = (plb_teeth){0};
}

static int real_teeth(const plb_teeth *t) { return t->positions - t->missing; }

static int64_t floor_div(int64_t a, int64_t b) { return a / b - (a % b < 0); }

static int residue_of(const plb_teeth *t, int64_t position) {
  return (int)(position - floor_div(position, t->positions) * t->positions);
}

bool plb_teeth_is_tooth(const plb_teeth *t, int64_t position) { return residue_of(t, position) < real_teeth(t); }

/** Teeth among the positions from `first` to before `last`. */
static int64_t teeth_between(const plb_teeth *t, int64_t first, int64_t last) {
  const int64_t n = real_teeth(t), p = t->positions;
  const int64_t a = floor_div(first, p), b = floor_div(last, p);
  const int64_t ra = first - a * p, rb = last - b * p;
  return (b - a) * n + (rb < n ? rb : n) - (ra < n ? ra : n);
}

static double timing_cost(double ratio, int64_t n) {
  const double deviation = ratio - (double)n, wide = 0.03 * (double)n;
  const double cost = deviation * deviation / (2.0 * (0.12 * 0.12 + wide * wide));
  return cost < WORST ? cost : WORST;
}

/* ---- pitch: among the intervals around each, the one at two fifths from below (the gap is long, so the middle would do only on wheels with
 * many teeth) */

static void insert_sorted(double *list, size_t count, double value) {
  size_t k = count;
  for (; k > 0 && list[k - 1] > value; k--)
    list[k] = list[k - 1];
  list[k] = value;
}

static double low_middle(const double *at, size_t first, size_t last) {
  double list[2 * AROUND + 2];
  size_t count = 0;
  for (size_t i = first; i < last; i++, count++)
    insert_sorted(list, count, at[i + 1] - at[i]);
  return list[2 * (count - 1) / 5];
}

static void find_pitch(plb_teeth *t) {
  const size_t intervals = t->count - 1;
  for (size_t i = 0; i < t->count; i++) {
    const size_t first = i > AROUND ? i - AROUND : 0;
    const size_t last = i + AROUND + 1 < intervals ? i + AROUND + 1 : intervals;
    t->pitch[i] = low_middle(t->at, first < intervals ? first : intervals - 1, last);
    if (real_teeth(t) == 2 && t->missing == 0)
      t->pitch[i] = (t->at[last] - t->at[first]) / (double)(last - first);
  }
}

/** Share of intervals close to one pitch or to the gap. */
static double regularity(const plb_teeth *t) {
  size_t good = 0;
  for (size_t i = 0; i + 1 < t->count; i++) {
    const double ratio = (t->at[i + 1] - t->at[i]) / t->pitch[i];
    good += fabs(ratio - 1.0) < 0.25 || fabs(ratio - (t->missing + 1.0)) < 0.4;
  }
  return (double)good / (double)(t->count - 1);
}

bool plb_teeth_are_regular(const plb_teeth *t) { return t->count >= 4 && t->regular >= 0.7 && t->median_pitch >= 2.0; }

/* ---- the wheel without a fault: every interval one pitch or the gap, and the gaps one turn apart */

static bool label_faultless(plb_teeth *t) {
  const int gap = t->missing + 1;
  int64_t position = 0;
  size_t gap_at = t->count;
  for (size_t i = 0; i < t->count; i++) {
    if (i > 0) {
      const double ratio = (t->at[i] - t->at[i - 1]) / t->pitch[i - 1];
      const bool is_gap = t->missing > 0 && ratio > 1.5;
      if (fabs(ratio - (is_gap ? gap : 1)) > 0.35)
        return false;
      position += is_gap ? gap : 1;
      if (is_gap && gap_at < t->count && (position - t->position[gap_at]) != t->positions)
        return false;
      if (is_gap)
        gap_at = i;
    }
    t->position[i] = position;
  }
  if (t->missing > 0 && gap_at == t->count)
    return false;
  if (t->missing > 0 && (t->position[t->count - 1] - t->position[gap_at] >= real_teeth(t)))
    return false;
  if (t->missing > 0)
    plb_teeth_shift(t, t->positions - residue_of(t, t->position[gap_at]));
  return t->missing == 0 || teeth_between(t, t->position[0], t->position[t->count - 1] + 1) == (int64_t)t->count;
}

/* ---- the recursion */

typedef struct state {
  float cost;
  int32_t residue;
  int32_t step; /* positions from the state before */
  int32_t from; /* index of the state before; -1: the first crossing */
} state;

typedef struct trellis {
  state *state;
  size_t states, capacity;
  size_t *first; /* [crossings + 1] states of crossing i are first[i] .. first[i + 1] */
  state *dense;  /* [positions] the best way into each residue of the crossing at hand */
  float *wheel;  /* [SHORT_STEP][positions] what a step of n = 1 .. SHORT_STEP from each residue costs by the wheel */
} trellis;

/** A run of missing teeth is one fault: behind the third a further tooth adds little. */
static double run_cost(int64_t missing) {
  return missing <= 3 ? MISS * (double)missing : 3.0 * MISS + 0.25 * MISS * (double)(missing - 3);
}

static double wheel_cost(const plb_teeth *t, int64_t residue, int64_t n) {
  return run_cost(teeth_between(t, residue + 1, residue + n)) + (plb_teeth_is_tooth(t, residue + n) ? 0.0 : FILL);
}

static void tabulate(const plb_teeth *t, float *wheel) {
  for (int n = 1; n <= SHORT_STEP; n++)
    for (int r = 0; r < t->positions; r++)
      wheel[(n - 1) * t->positions + r] = (float)wheel_cost(t, r, n);
}

/** All states of crossing i moved on by n positions. */
static void step_all(const plb_teeth *t, trellis *w, size_t i, int64_t n, float timing) {
  const float *table = n <= SHORT_STEP ? w->wheel + (n - 1) * t->positions : NULL;
  const int32_t turn = (int32_t)(n % t->positions);
  for (size_t s = w->first[i]; s < w->first[i + 1]; s++) {
    const int32_t r = w->state[s].residue;
    const int32_t residue = r + turn < t->positions ? r + turn : r + turn - t->positions;
    const float cost = w->state[s].cost + timing + (table ? table[r] : (float)wheel_cost(t, r, n));
    if (cost < w->dense[residue].cost)
      w->dense[residue] = (state){cost, residue, (int32_t)n, (int32_t)s};
  }
}

static void extend(const plb_teeth *t, trellis *w, size_t i, size_t j) {
  const double ratio = (t->at[j] - t->at[i]) / (0.5 * (t->pitch[i] + t->pitch[j - 1]));
  const double skipped = SURPLUS * (double)(j - i - 1);
  const int64_t middle = (int64_t)(ratio < 1e6 ? ratio + 0.5 : 1e6);
  int64_t around = 1 + (int64_t)(0.06 * ratio);
  if (around > t->positions / 2)
    around = t->positions / 2;
  for (int64_t n = middle - around > 1 ? middle - around : 1; n <= middle + around; n++)
    step_all(t, w, i, n, (float)(timing_cost(ratio, n) + skipped));
}

/** An interval that is neither a whole number of pitches nor short of a hole. */
static bool is_odd(const plb_teeth *t, size_t i, size_t j) {
  const double ratio = (t->at[j] - t->at[i]) / t->pitch[i];
  return ratio > 4.0 * (t->missing + 1) || timing_cost(ratio, (int64_t)(ratio + 0.5)) > 0.8;
}

/**
 * From the best state of crossing i to every residue of crossing j, by the step nearest to the time that passed; after an ordinary gap only to
 * tooth 1.
 */
static void begin_anew(const plb_teeth *t, trellis *w, size_t i, size_t j) {
  size_t best = w->first[i];
  for (size_t s = best + 1; s < w->first[i + 1]; s++)
    if (w->state[s].cost < w->state[best].cost)
      best = s;
  if (best == w->first[i + 1])
    return;
  const double ratio = (t->at[j] - t->at[i]) / t->pitch[i];
  const int64_t passed = (int64_t)(ratio < 1e6 ? ratio + 0.5 : 1e6), p = t->positions;
  const int64_t residues = is_odd(t, i, j) ? p : ratio > 1.5 ? 1 : 0;
  for (int64_t residue = 0; residue < residues; residue++) {
    int64_t off = (residue - w->state[best].residue - passed) % p;
    off += off < 0 ? p : 0;
    off -= off > p / 2 ? p : 0;
    const int64_t step = passed + off < 1 ? passed + off + p : passed + off;
    const float cost = w->state[best].cost + (float)(LOST + (residue < real_teeth(t) ? 0.0 : FILL));
    if (cost < w->dense[residue].cost)
      w->dense[residue] = (state){cost, (int32_t)residue, (int32_t)step, (int32_t)best};
  }
}

static int compare_state(const void *a, const void *b) {
  const float x = ((const state *)a)->cost, y = ((const state *)b)->cost;
  return x < y ? -1 : x > y;
}

/** Keep the states that may still win; after the first turns only a few. */
static bool keep(trellis *w, const plb_teeth *t, size_t j) {
  float best = INFINITY;
  for (int r = 0; r < t->positions; r++)
    best = fminf(best, w->dense[r].cost);
  const size_t begin = w->states;
  for (int r = 0; r < t->positions; r++)
    if (w->dense[r].cost <= best + PRUNE) {
      state *grown = plb_grow(w->state, w->states, &w->capacity, sizeof *grown);
      if (!grown)
        return false;
      w->state = grown;
      w->state[w->states++] = w->dense[r];
    }
  if (j > 3 * (size_t)t->positions && w->states - begin > BEAM) {
    qsort(w->state + begin, w->states - begin, sizeof *w->state, compare_state);
    w->states = begin + BEAM;
  }
  w->first[j + 1] = w->states;
  return true;
}

static bool run_trellis(const plb_teeth *t, trellis *w) {
  for (size_t j = 0; j < t->count; j++) {
    for (int r = 0; r < t->positions; r++) {
      const double start = SURPLUS * (double)j + (r < real_teeth(t) ? 0.0 : FILL);
      w->dense[r] = (state){j <= SKIP_MOST ? (float)start : INFINITY, r, 0, -1};
    }
    for (size_t back = 1; back <= SKIP_MOST + 1 && back <= j; back++) {
      if (back > 1 && t->at[j] - t->at[j - back] > (t->missing + 2.5) * t->pitch[j])
        break;
      extend(t, w, j - back, j);
    }
    if (j > 0)
      begin_anew(t, w, j - 1, j);
    if (!keep(w, t, j))
      return false;
  }
  return true;
}

/** The cheapest last state, with the crossings behind it counted as surplus. */
static size_t best_end(const plb_teeth *t, const trellis *w, size_t *crossing_out, double *cost_out) {
  size_t best = w->states;
  *cost_out = INFINITY;
  for (size_t j = t->count; j-- > 0 && t->count - 1 - j <= SKIP_MOST;)
    for (size_t s = w->first[j]; s < w->first[j + 1]; s++) {
      const double cost = (double)w->state[s].cost + SURPLUS * (double)(t->count - 1 - j);
      if (cost < *cost_out) {
        *cost_out = cost;
        *crossing_out = j;
        best = s;
      }
    }
  return best;
}

static void trace_back(plb_teeth *t, const trellis *w, size_t s, size_t crossing) {
  for (size_t i = 0; i < t->count; i++)
    t->position[i] = PLB_NO_POSITION;
  /* From the end, far enough up that every position is positive. */
  int64_t position = 0, total = 0;
  for (int32_t k = (int32_t)s; k >= 0; k = w->state[k].from)
    total += w->state[k].step;
  const int64_t last = w->state[s].residue;
  position = last + (total / t->positions + 1) * t->positions;
  for (int32_t k = (int32_t)s; k >= 0; k = w->state[k].from) {
    while ((size_t)k < w->first[crossing])
      crossing--;
    t->position[crossing] = position;
    position -= w->state[k].step;
  }
}

static plb_status label_by_trellis(plb_teeth *t, double *cost_out, plb_error *err) {
  plb_status status = PLB_OK;
  const size_t positions = (size_t)t->positions;
  trellis w = {.first = plb_calloc(t->count + 1, sizeof(size_t)),
               .dense = plb_calloc(positions, sizeof(state)),
               .wheel = plb_calloc(positions, SHORT_STEP * sizeof(float))};
  size_t crossing = 0;
  if (w.wheel)
    tabulate(t, w.wheel);
  if (!w.first || !w.dense || !w.wheel || !run_trellis(t, &w)) {
    status = plb_fail(err, PLB_ENOMEM, "no memory to label %zu teeth; free some memory", t->count);
    goto done;
  }
  const size_t end = best_end(t, &w, &crossing, cost_out);
  if (end < w.states)
    trace_back(t, &w, end, crossing);
done:
  free(w.state);
  free(w.first);
  free(w.dense);
  free(w.wheel);
  return status;
}

/* ---- what a labelling costs */

static double timing_sum(const plb_teeth *t) {
  double sum = 0;
  for (size_t i = 1; i < t->count; i++)
    sum += timing_cost((t->at[i] - t->at[i - 1]) / t->pitch[i - 1], t->position[i] - t->position[i - 1]);
  return sum;
}

static void span_of(const plb_teeth *t, int64_t *first_out, int64_t *last_out) {
  *first_out = *last_out = PLB_NO_POSITION;
  for (size_t i = 0; i < t->count; i++)
    if (t->position[i] != PLB_NO_POSITION) {
      if (*first_out == PLB_NO_POSITION)
        *first_out = t->position[i];
      *last_out = t->position[i];
    }
}

/** How often each residue was passed, and how often it held a crossing; crossings without a position are counted apart. */
typedef struct census {
  int32_t passed[PLB_TEETH_MOST], held[PLB_TEETH_MOST];
  size_t surplus;
  double turns;
} census;

static void count_residues(const plb_teeth *t, census *c) {
  int64_t first = 0, last = 0;
  *c = (census){0};
  span_of(t, &first, &last);
  if (first == PLB_NO_POSITION)
    return;
  const int64_t length = last - first + 1;
  for (int k = 0; k < t->positions; k++)
    c->passed[residue_of(t, first + k)] = (int32_t)((length - k + t->positions - 1) / t->positions);
  for (size_t i = 0; i < t->count; i++)
    if (t->position[i] == PLB_NO_POSITION)
      c->surplus++;
    else
      c->held[residue_of(t, t->position[i])]++;
  c->turns = (double)(length - 1) / t->positions;
}

void plb_teeth_shift_costs(const plb_teeth *t, double *cost) {
  census c;
  count_residues(t, &c);
  for (int shift = 0; shift < t->positions; shift++) {
    double sum = SURPLUS * (double)c.surplus;
    for (int r = 0; r < t->positions; r++)
      sum += (r + shift) % t->positions < real_teeth(t) ? MISS * (c.passed[r] - c.held[r]) : FILL * c.held[r];
    cost[shift] = c.turns > 0 ? sum / c.turns : sum;
  }
}

void plb_teeth_shift(plb_teeth *t, int shift) {
  for (size_t i = 0; i < t->count; i++)
    if (t->position[i] != PLB_NO_POSITION)
      t->position[i] += shift;
}

double plb_teeth_gap_filled(const plb_teeth *t) {
  census c;
  int32_t filled = 0, gap = 0;
  count_residues(t, &c);
  for (int r = real_teeth(t); r < t->positions; r++) {
    filled += c.held[r];
    gap += c.passed[r];
  }
  return gap > 0 ? (double)filled / gap : 1.0;
}

static plb_status label(plb_teeth *t, plb_error *err) {
  double cost = 0;
  int64_t first = 0, last = 0;
  if (label_faultless(t)) {
    cost = timing_sum(t);
  } else {
    const plb_status status = label_by_trellis(t, &cost, err);
    if (status != PLB_OK)
      return status;
  }
  span_of(t, &first, &last);
  t->turns = (double)(last - first) / t->positions;
  t->cost = t->turns > 0 ? cost / t->turns : INFINITY;
  return PLB_OK;
}

/* ---- crossings */

static plb_status find_crossings(plb_teeth *t, const double *x, size_t n, double low, double high, int edge,
                                 plb_error *err) {
  plb_crossing *crossing = NULL;
  size_t count = 0;
  const plb_status status = plb_crossings(x, n, low, high, &crossing, &count, err);
  if (status != PLB_OK)
    return status;
  t->at = plb_calloc(count + 1, sizeof(double));
  t->pitch = plb_calloc(count + 1, sizeof(double));
  t->position = plb_calloc(count + 1, sizeof(int64_t));
  for (size_t i = 0; i < count && t->at; i++)
    if (crossing[i].direction == edge)
      t->at[t->count++] = crossing[i].at;
  free(crossing);
  if (!t->at || !t->pitch || !t->position)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu crossings; free some memory", count);
  return PLB_OK;
}

static plb_status find_median_pitch(plb_teeth *t, plb_error *err) {
  double *copy = plb_calloc(t->count, sizeof(double));
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "no memory for %zu teeth; free some memory", t->count);
  memcpy(copy, t->pitch, t->count * sizeof(double));
  t->median_pitch = plb_median(copy, t->count);
  free(copy);
  return PLB_OK;
}

plb_status plb_teeth_cross(plb_teeth *out, const double *x, size_t n, double low, double high, int edge, int positions,
                           int missing, plb_error *err) {
  *out = (plb_teeth){.positions = positions, .missing = missing, .median_pitch = NAN, .cost = INFINITY};
  plb_status status = find_crossings(out, x, n, low, high, edge, err);
  if (status == PLB_OK && out->count >= 2) {
    find_pitch(out);
    out->regular = regularity(out);
    status = find_median_pitch(out, err);
  }
  if (status != PLB_OK)
    plb_teeth_dispose(out);
  return status;
}

plb_status plb_teeth_label(plb_teeth *t, plb_error *err) { return plb_teeth_are_regular(t) ? label(t, err) : PLB_OK; }

plb_status plb_teeth_find(plb_teeth *out, const double *x, size_t n, double low, double high, int edge, int positions,
                          int missing, plb_error *err) {
  plb_status status = plb_teeth_cross(out, x, n, low, high, edge, positions, missing, err);
  if (status != PLB_OK)
    return status;
  status = plb_teeth_label(out, err);
  if (status != PLB_OK)
    plb_teeth_dispose(out);
  return status;
}

bool plb_teeth_time(const plb_teeth *t, double position, size_t *hint, double *at_out) {
  size_t i = *hint < t->count ? *hint : 0, before = t->count;
  if (i > 0 && !((double)t->position[i] <= position))
    i = 0;
  for (; i < t->count; i++) {
    if (t->position[i] == PLB_NO_POSITION || !plb_teeth_is_tooth(t, t->position[i]))
      continue;
    if ((double)t->position[i] > position)
      break;
    before = i;
  }
  if (before == t->count)
    return false;
  *hint = before;
  if ((double)t->position[before] == position) {
    *at_out = t->at[before];
    return true;
  }
  if (i == t->count)
    return false;
  const double share = (position - (double)t->position[before]) / (double)(t->position[i] - t->position[before]);
  *at_out = t->at[before] + share * (t->at[i] - t->at[before]);
  return true;
}
