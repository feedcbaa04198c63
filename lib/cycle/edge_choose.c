/* Levels from the two states, slope and pulses by evidence, landmarks from the typical cycle, and for each span whether its time is kept. */
#include "cycle/edge.h"
#include "cycle/kind.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

typedef struct learning {
  plb_cycle_choice *out;
  const plb_tracks *const *tracks;
  size_t count;
  unsigned pulses_each;
} learning;

static plb_status no_memory(plb_error *err) {
  return plb_fail(err, PLB_ENOMEM, "no memory to learn cycles; free some memory");
}

/* ---- levels */

/** Median over captures of the two states, and how the time is shared between them. */
static plb_status typical_states(const learning *l, plb_states *out, plb_error *err) {
  double *value = plb_calloc(4 * l->count, sizeof(double));
  plb_status status = value ? PLB_OK : no_memory(err);
  for (size_t t = 0; t < l->count && status == PLB_OK; t++) {
    plb_states s;
    status = plb_state_levels(l->tracks[t]->x[l->out->channel], l->tracks[t]->samples, 0, &s, err);
    if (status == PLB_OK && !(s.high > s.low))
      status = plb_fail(err, PLB_EDATA,
                        "good capture %zu of %zu has no two states on channel %s; leave it out, or use --cycle repeat",
                        t + 1, l->count, l->tracks[t]->role[l->out->channel]);
    value[t] = s.low;
    value[l->count + t] = s.high;
    value[2 * l->count + t] = s.low_share;
    value[3 * l->count + t] = s.high_share;
  }
  if (status == PLB_OK)
    *out = (plb_states){.low = plb_median(value, l->count),
                        .high = plb_median(value + l->count, l->count),
                        .low_share = plb_median(value + 2 * l->count, l->count),
                        .high_share = plb_median(value + 3 * l->count, l->count),
                        .two = true};
  free(value);
  return status;
}

/** The level in the channel's unit. */
static plb_status level_of(const learning *l, const plb_states *states, double *out, plb_error *err) {
  plb_level *level = &l->out->spec.level;
  const plb_tracks *first = l->tracks[0];
  if (isnan(level->value))
    *level = (plb_level){.value = 50.0, .of = PLB_LEVEL_STATES};
  if (level->of == PLB_LEVEL_STATES) {
    *out = plb_reference_level(states->low, states->high, level->value);
  } else if (level->of == PLB_LEVEL_UNIT) {
    const char *unit = first->unit ? first->unit[l->out->channel] : "1";
    double converted = level->value;
    if (*level->unit && strcmp(unit, "1") != 0 && !plb_unit_convert(level->value, level->unit, unit, &converted))
      return plb_fail(err, PLB_EUSAGE, "--cycle: the level is in %s, the channel %s in %s; state the level in %s",
                      level->unit, first->role[l->out->channel], unit, unit);
    *out = level->value = converted;
    *level->unit = '\0';
  } else {
    double sum = 0;
    for (size_t t = 0; t < l->count; t++) {
      double supply = 0;
      const plb_status status = plb_edge_supply(l->tracks[t], &supply, err);
      if (status != PLB_OK)
        return status;
      sum += supply / (double)l->count;
    }
    *out = 0.01 * level->value * sum;
  }
  return PLB_OK;
}

static plb_status choose_levels(const learning *l, plb_states *states, plb_error *err) {
  double level = 0;
  plb_status status = typical_states(l, states, err);
  if (status == PLB_OK)
    status = level_of(l, states, &level, err);
  if (status != PLB_OK)
    return status;
  const double half = plb_edge_half(level, states->low, states->high);
  l->out->level_low = level - half;
  l->out->level_high = level + half;
  return PLB_OK;
}

/* ---- short pulses */

/** Logarithms of how long the pulses of all captures last [s]. free() */
static plb_status pulse_lengths(const learning *l, double **out, size_t *count_out, plb_error *err) {
  size_t capacity = 0;
  *out = NULL;
  *count_out = 0;
  for (size_t t = 0; t < l->count; t++) {
    plb_pulses p;
    double low = 0, high = 0;
    plb_status status = plb_edge_levels(l->out, l->tracks[t], &low, &high, err);
    if (status == PLB_OK)
      status = plb_pulses_find(&p, l->tracks[t]->x[l->out->channel], l->tracks[t]->samples, low, high, l->out->edge, 1, 0.0, err);
    if (status != PLB_OK)
      return status;
    for (size_t i = 0; i < p.starts && p.start[i] + 1 < p.count; i++) {
      double *grown = plb_grow(*out, *count_out, &capacity, sizeof **out);
      if (!grown) {
        plb_pulses_dispose(&p);
        return no_memory(err);
      }
      *out = grown;
      (*out)[(*count_out)++] = log((p.crossing[p.start[i] + 1].at - p.crossing[p.start[i]].at) / l->tracks[t]->rate_hz);
    }
    plb_pulses_dispose(&p);
  }
  return PLB_OK;
}

/** The least number of pulses longer than `seconds` in any capture. */
static plb_status fewest_longer(const learning *l, double seconds, size_t *out, plb_error *err) {
  *out = SIZE_MAX;
  for (size_t t = 0; t < l->count; t++) {
    plb_pulses p;
    double low = 0, high = 0;
    plb_status status = plb_edge_levels(l->out, l->tracks[t], &low, &high, err);
    if (status == PLB_OK)
      status = plb_pulses_find(&p, l->tracks[t]->x[l->out->channel], l->tracks[t]->samples, low, high, l->out->edge, 1,
                               seconds * l->tracks[t]->rate_hz, err);
    if (status != PLB_OK)
      return status;
    *out = p.starts < *out ? p.starts : *out;
    plb_pulses_dispose(&p);
  }
  return PLB_OK;
}

/**
 * Ringing that crosses the level makes pulses far shorter than those of the circuit: a step of more than five times between neighbours in the
 * sorted lengths, with nothing but short ones below it, and at least three long ones in every capture.
 */
static plb_status choose_shortest(const learning *l, plb_buffer *notes, plb_error *err) {
  enum { FEWEST_LONG = 3 };
  double *list = NULL, step = log(5.0), at = NAN;
  size_t count = 0, longer = 0, below = 0;
  plb_status status = pulse_lengths(l, &list, &count, err);
  if (status == PLB_OK && count > 0) {
    qsort(list, count, sizeof *list, plb_compare_double);
    for (size_t i = 1; i < count; i++)
      if (list[i] - list[i - 1] > step) {
        step = list[i] - list[i - 1];
        at = 0.5 * (list[i] + list[i - 1]);
        below = i;
      }
  }
  free(list);
  if (status == PLB_OK && isfinite(at))
    status = fewest_longer(l, exp(at), &longer, err);
  if (status != PLB_OK || isnan(at) || longer < FEWEST_LONG)
    return status;
  l->out->shortest_pulse_s = exp(at);
  if (notes)
    plb_buffer_printf(notes, "Pulses under %.3g ms are ringing across the level and left out: %zu of %zu.\n", 1e3 * exp(at), below, count);
  return PLB_OK;
}

/** The longest cycle of a good capture over its neighbours. */
static plb_status choose_longest(learning *l, plb_error *err) {
  for (size_t t = 0; t < l->count; t++) {
    plb_pulses p;
    double low = 0, high = 0, near = 0;
    plb_status status = plb_edge_levels(l->out, l->tracks[t], &low, &high, err);
    if (status == PLB_OK)
      status = plb_pulses_find(&p, l->tracks[t]->x[l->out->channel], l->tracks[t]->samples, low, high, l->out->edge,
                               l->pulses_each, l->out->shortest_pulse_s * l->tracks[t]->rate_hz, err);
    if (status != PLB_OK)
      return status;
    for (size_t i = 0; i + 1 < p.starts; i++)
      l->out->longest_ratio = fmax(l->out->longest_ratio, plb_pulses_ratio(&p, i, &near));
    plb_pulses_dispose(&p);
  }
  return PLB_OK;
}

/* ---- slope and pulses */

/** Distances between crossings of one direction. free() */
static plb_status intervals(const learning *l, size_t t, int edge, double **out, size_t *count_out, plb_error *err) {
  plb_pulses p;
  double low = 0, high = 0;
  *out = NULL;
  *count_out = 0;
  plb_status status = plb_edge_levels(l->out, l->tracks[t], &low, &high, err);
  if (status == PLB_OK)
    status = plb_pulses_find(&p, l->tracks[t]->x[l->out->channel], l->tracks[t]->samples, low, high, edge, 1,
                             l->out->shortest_pulse_s * l->tracks[t]->rate_hz, err);
  if (status != PLB_OK)
    return status;
  *out = plb_calloc(p.starts, sizeof(double));
  for (size_t i = 1; i < p.starts && *out; i++)
    (*out)[(*count_out)++] = p.crossing[p.start[i]].at - p.crossing[p.start[i - 1]].at;
  plb_pulses_dispose(&p);
  return *out ? PLB_OK : no_memory(err);
}

/** Typical change from one interval to the next, as a share; mean over captures. */
static plb_status unevenness(const learning *l, int edge, double *out, plb_error *err) {
  *out = 0;
  for (size_t t = 0; t < l->count; t++) {
    double *list = NULL;
    size_t count = 0;
    const plb_status status = intervals(l, t, edge, &list, &count, err);
    if (status != PLB_OK)
      return status;
    for (size_t i = 0; i + 1 < count; i++)
      list[i] = fabs(log(list[i + 1] / list[i]));
    *out += (count > 1 ? plb_median(list, count - 1) : 0.0) / (double)l->count;
    free(list);
  }
  return PLB_OK;
}

static plb_status choose_slope(const learning *l, const plb_states *states, plb_buffer *notes, plb_error *err) {
  double rising = 0, falling = 0;
  if (l->out->spec.slope != 0) {
    l->out->edge = l->out->spec.slope;
    return PLB_OK;
  }
  plb_status status = unevenness(l, 1, &rising, err);
  if (status == PLB_OK)
    status = unevenness(l, -1, &falling, err);
  if (status != PLB_OK)
    return status;
  const bool alike = fabs(rising - falling) <= 0.2 * fmax(rising, falling) + 1e-3;
  if (alike)
    l->out->edge = states->low_share > states->high_share ? 1 : -1;
  else
    l->out->edge = falling < rising ? -1 : 1;
  if (notes && alike)
    plb_buffer_printf(notes, "Slope: %s, away from the state that lasts longer (both slopes are equally regular).\n",
                      l->out->edge > 0 ? "rising" : "falling");
  else if (notes)
    plb_buffer_printf(
        notes, "Slope: %s, the more regular one (intervals change by %.2g %%, those of the other by %.2g %%).\n",
        l->out->edge > 0 ? "rising" : "falling", 100.0 * fmin(rising, falling), 100.0 * fmax(rising, falling));
  return PLB_OK;
}

/** Share of groups of k intervals, begun at `from`, that hold exactly one long one, and that at their end. */
static double grouped(const double *list, size_t count, unsigned k, unsigned from) {
  size_t groups = 0, good = 0;
  for (size_t i = from; i + k <= count; i += k) {
    double others = 0;
    for (unsigned j = 0; j + 1 < k; j++)
      others = fmax(others, list[i + j]);
    groups++;
    good += list[i + k - 1] > 1.62 * others;
  }
  return groups ? (double)good / (double)groups : 0.0;
}

/** Pulses in a cycle: the smallest number after which a long pause comes again and again, in every capture; 1 when there is none. */
static plb_status choose_pulses(learning *l, plb_error *err) {
  l->pulses_each = 1;
  for (unsigned k = 2; k <= PLB_PULSES_MOST; k++) {
    bool all = true;
    for (size_t t = 0; t < l->count && all; t++) {
      double *list = NULL, best = 0;
      size_t count = 0;
      const plb_status status = intervals(l, t, l->out->edge, &list, &count, err);
      if (status != PLB_OK)
        return status;
      for (unsigned from = 0; from < k; from++)
        best = fmax(best, grouped(list, count, k, from));
      all = count >= 2 * k && best >= 0.9;
      free(list);
    }
    if (all) {
      l->pulses_each = k;
      return PLB_OK;
    }
  }
  return PLB_OK;
}

/* ---- landmarks */

static void name_landmarks(plb_cycle_choice *out, unsigned pulses_each) {
  for (unsigned k = 0; k < 2 * pulses_each; k++) {
    plb_landmark *mark = &out->landmark[k];
    mark->direction = k % 2 ? -out->edge : out->edge;
    mark->level = 0.5 * (out->level_low + out->level_high);
    snprintf(mark->name, sizeof mark->name, "%s %u", mark->direction > 0 ? "rise" : "fall", k / 2 + 1);
  }
  for (size_t k = 0; k < out->spans; k++) {
    plb_span *span = &out->span[k];
    *span = (plb_span){.from = k, .to = k + 1};
    const char *to = k + 1 < out->landmarks ? out->landmark[k + 1].name : "the end";
    snprintf(span->name, sizeof span->name, "%.28s to %.28s", out->landmark[k].name, to);
  }
}

/** Every cycle's lengths: to the 2nd, 3rd ... crossing and to the next start, in samples times 1 / rate. */
typedef struct lengths {
  double *value; /* [cycles][spans] seconds */
  size_t cycles, spans, capacity;
} lengths;

static bool add_lengths(lengths *all, const plb_pulses *p, double rate_hz) {
  for (size_t i = 0; i + 1 < p->starts; i++) {
    if (p->start[i + 1] - p->start[i] != all->spans)
      continue;
    double *grown = plb_grow(all->value, all->cycles, &all->capacity, all->spans * sizeof(double));
    if (!grown)
      return false;
    all->value = grown;
    for (size_t k = 0; k < all->spans; k++)
      all->value[all->cycles * all->spans + k] =
          (p->crossing[p->start[i] + k + 1].at - p->crossing[p->start[i] + k].at) / rate_hz;
    all->cycles++;
  }
  return true;
}

static plb_status collect_lengths(const learning *l, lengths *all, plb_error *err) {
  *all = (lengths){.spans = 2 * l->pulses_each};
  for (size_t t = 0; t < l->count; t++) {
    plb_pulses p;
    double low = 0, high = 0;
    const size_t before = all->cycles;
    plb_status status = plb_edge_levels(l->out, l->tracks[t], &low, &high, err);
    if (status == PLB_OK)
      status = plb_pulses_find(&p, l->tracks[t]->x[l->out->channel], l->tracks[t]->samples, low, high, l->out->edge,
                               l->pulses_each, l->out->shortest_pulse_s * l->tracks[t]->rate_hz, err);
    if (status != PLB_OK)
      return status;
    const bool memory = add_lengths(all, &p, l->tracks[t]->rate_hz);
    plb_pulses_dispose(&p);
    if (!memory)
      return no_memory(err);
    if (all->cycles == before)
      return plb_fail(err, PLB_EDATA,
                      "good capture %zu of %zu holds no whole cycle at the level %.4g; state another level (--cycle "
                      "edge:level=50%%states), or leave it out",
                      t + 1, l->count, 0.5 * (low + high));
  }
  return PLB_OK;
}

static double median_of(const lengths *all, size_t span, double *column, double *shortest) {
  *shortest = INFINITY;
  for (size_t i = 0; i < all->cycles; i++) {
    column[i] = all->value[i * all->spans + span];
    *shortest = fmin(*shortest, column[i]);
  }
  return plb_median(column, all->cycles);
}

/**
 * Phases from the median lengths. A stretch that is short against the cycle (an injector's on-time) still gets a fair share of the grid, but no
 * more cells than it has samples: half of what each stretch would have if all were alike.
 * @param share  [spans] in: seconds; out: phases, together 1 - seam
 */
static void share_grid(double *share, size_t spans, double seam, double grid, double rate_hz) {
  double total = 0, given = 0, rest = 0, least[2 * PLB_PULSES_MOST];
  for (size_t k = 0; k < spans; k++)
    total += share[k];
  for (size_t k = 0; k < spans; k++) {
    least[k] = fmin(0.5 / (double)spans, share[k] * rate_hz / grid);
    share[k] *= (1.0 - seam) / total;
    if (share[k] < least[k])
      given += least[k];
    else
      rest += share[k];
  }
  for (size_t k = 0; k < spans && rest > 0; k++)
    share[k] = share[k] < least[k] ? least[k] : share[k] * (1.0 - seam - given) / rest;
}

/** Landmarks and spans with their typical lengths. @param shortest  [spans] seconds */
static plb_status choose_landmarks(const learning *l, const lengths *all, double *median, double *shortest,
                                   plb_error *err) {
  plb_cycle_choice *out = l->out;
  double *column = plb_calloc(all->cycles, sizeof(double)), total = 0;
  out->landmarks = out->spans = all->spans;
  out->landmark = plb_calloc(out->landmarks, sizeof *out->landmark);
  out->span = plb_calloc(out->spans, sizeof *out->span);
  if (!column || !out->landmark || !out->span) {
    free(column);
    return no_memory(err);
  }
  for (size_t k = 0; k < all->spans; k++) {
    median[k] = median_of(all, k, column, &shortest[k]);
    total += median[k];
  }
  free(column);
  out->seam = fmin(0.1, 0.5 * shortest[all->spans - 1] / total);
  name_landmarks(out, l->pulses_each);
  /* The last span is cut by the seam of the next cycle; its template is what is left of it. */
  median[all->spans - 1] -= out->seam * total;
  shortest[all->spans - 1] -= out->seam * total;
  double at = out->seam, share[2 * PLB_PULSES_MOST], rate_hz = INFINITY;
  for (size_t t = 0; t < l->count; t++)
    rate_hz = fmin(rate_hz, l->tracks[t]->rate_hz);
  memcpy(share, median, all->spans * sizeof *share);
  share_grid(share, all->spans, out->seam, (double)out->grid, rate_hz);
  for (size_t k = 0; k < all->spans; k++) {
    out->landmark[k].phase = at;
    out->span[k].duration_s = median[k];
    at += share[k];
  }
  return PLB_OK;
}

/* ---- spans */

/** Mean over the cells of a span of the spread over all cycles of all captures. */
static plb_status spread_in_span(const learning *l, size_t span, double *out, plb_error *err) {
  const plb_cycle_choice *choice = l->out;
  const size_t grid = choice->grid;
  const double to = span + 1 < choice->landmarks ? choice->landmark[span + 1].phase : 1.0;
  const size_t first = (size_t)(choice->landmark[span].phase * (double)grid), last = (size_t)(to * (double)grid);
  double *sum = plb_calloc(grid, 2 * sizeof(double)), count = 0;
  plb_status status = sum ? PLB_OK : no_memory(err);
  for (size_t t = 0; t < l->count && status == PLB_OK; t++) {
    plb_frame *f = NULL;
    status = plb_frame_build(&f, l->tracks[t], choice, err);
    for (size_t i = 0; status == PLB_OK && i < f->mapped; i++, count++)
      for (size_t k = first; k < last; k++) {
        const double v = (double)f->value[(i * f->channels + choice->channel) * grid + k];
        sum[k] += v;
        sum[grid + k] += v * v;
      }
    plb_frame_free(f);
  }
  *out = 0;
  for (size_t k = first; k < last && status == PLB_OK && count > 0; k++)
    *out += sqrt(fmax(0.0, sum[grid + k] / count - sum[k] / count * (sum[k] / count))) / (double)(last - first);
  free(sum);
  return status;
}

static plb_status choose_spans(const learning *l, const double *median, const double *shortest, plb_buffer *notes,
                               plb_error *err) {
  plb_cycle_choice *out = l->out;
  for (size_t k = 0; k < out->spans; k++) {
    plb_span *span = &out->span[k];
    double scaled = 0, absolute = 0;
    /* Where the length hardly changes the two are the same. */
    if (!(shortest[k] > 0) || shortest[k] > 0.98 * median[k])
      continue;
    plb_status status = spread_in_span(l, k, &scaled, err);
    span->absolute = true;
    span->duration_s = shortest[k];
    if (status == PLB_OK)
      status = spread_in_span(l, k, &absolute, err);
    if (status != PLB_OK)
      return status;
    /* The stretch in which the circuit is driven is commanded: unless the evidence is clear, it is scaled. */
    if (!(absolute < (k % 2 == 0 ? 0.95 : 1.0) * scaled)) {
      span->absolute = false;
      span->duration_s = median[k];
    }
    if (notes)
      plb_buffer_printf(notes,
                        "Stretch \"%s\" (%.4g ms, at least %.4g ms): time %s (spread %.3g, the other way %.3g).\n",
                        span->name, 1e3 * median[k], 1e3 * shortest[k], span->absolute ? "kept" : "scaled",
                        fmin(scaled, absolute), fmax(scaled, absolute));
  }
  return PLB_OK;
}

static size_t default_grid(const lengths *all, double rate_hz) {
  double total = 0;
  for (size_t i = 0; i < all->cycles * all->spans; i++)
    total += all->value[i];
  return (size_t)fmax(32.0, fmin(1024.0, floor(total / (double)all->cycles * rate_hz)));
}

plb_status plb_edge_choose(plb_cycle_choice *out, const plb_tracks *const *tracks, size_t count, size_t grid,
                           plb_buffer *notes, plb_error *err) {
  learning l = {out, tracks, count, 1};
  plb_states states;
  lengths all = {0};
  double median[2 * PLB_PULSES_MOST], shortest[2 * PLB_PULSES_MOST];
  plb_status status = choose_levels(&l, &states, err);
  if (status == PLB_OK)
    status = choose_slope(&l, &states, notes, err);
  if (status == PLB_OK)
    status = choose_shortest(&l, notes, err);
  if (status == PLB_OK)
    status = choose_pulses(&l, err);
  if (status == PLB_OK)
    status = choose_longest(&l, err);
  if (status == PLB_OK)
    status = collect_lengths(&l, &all, err);
  if (status == PLB_OK) {
    out->grid = grid ? grid : default_grid(&all, tracks[0]->rate_hz);
    status = choose_landmarks(&l, &all, median, shortest, err);
  }
  if (status == PLB_OK) {
    if (notes)
      plb_buffer_printf(notes, "Level: %.4g to %.4g, between the states %.4g and %.4g; %u pulse%s to a cycle.\n",
                        out->level_low, out->level_high, states.low, states.high, l.pulses_each,
                        l.pulses_each > 1 ? "s" : "");
    status = choose_spans(&l, median, shortest, notes, err);
  }
  if (status == PLB_OK)
    status = plb_choose_template(out, tracks, count, err);
  free(all.value);
  return status;
}
