#include "compare/explain.h"
#include <math.h>

static const double lasting_share = 0.9;
static const double by_chance = 1e-3; /* after allowing for every k and phase that was looked at */
enum { MOST_EVERY = 16, FEWEST_HITS = 3 };

/* Chance that at least `hits` of `shown` random cycles fall into one class of `size` of n (hypergeometric tail). */
static double chance_of(size_t hits, size_t shown, size_t size, size_t n) {
  double p = 0.0;
  for (size_t h = hits; h <= shown && h <= size; h++) {
    if (shown - h > n - size) {
      continue;
    }
    const double log_p = lgamma((double)size + 1) - lgamma((double)h + 1) - lgamma((double)(size - h) + 1) +
                         lgamma((double)(n - size) + 1) - lgamma((double)(shown - h) + 1) -
                         lgamma((double)(n - size - shown + h) + 1) - lgamma((double)n + 1) + lgamma((double)shown + 1) +
                         lgamma((double)(n - shown) + 1);
    p += exp(log_p);
  }
  return p;
}

/* Whether a cycle belongs to the class: `wide` neighbouring places of k, from `phase` on. */
static bool is_of(size_t i, size_t k, size_t phase, size_t wide) { return (i + k - phase) % k < wide; }

/* Every k-th cycle, or a few neighbours of k: most of the class shows it, and most that show it are of the class. */
static void look_for_every(const bool *shown, size_t n, plb_pattern_found *f) {
  double tried = 0.0, best = 1.0;
  for (size_t wide = 1; wide <= MOST_EVERY / 4 && f->every == 0; wide++) { /* the narrowest class that explains it */
    for (size_t k = 2 * wide + (wide > 1); k <= MOST_EVERY && k * FEWEST_HITS <= n; k++) {
      for (size_t phase = 0; phase < k; phase++) {
        size_t hits = 0, size = 0;
        for (size_t i = 0; i < n; i++) {
          const bool of = is_of(i, k, phase, wide);
          hits += of && shown[i];
          size += of;
        }
        tried += 1.0;
        if (hits < FEWEST_HITS || (double)hits < 0.8 * (double)size || (double)hits < 0.8 * (double)f->count) {
          continue;
        }
        const double p = chance_of(hits, f->count, size, n);
        if (p < best) {
          best = p;
          f->every = (unsigned)k;
          f->phase = (unsigned)phase + 1;
        }
      }
    }
  }
  f->p_chance = fmin(1.0, best * fmax(tried, 1.0));
  if (f->every == 0 || f->p_chance > by_chance) {
    f->every = f->phase = 0;
    return;
  }
  f->pattern = PLB_RECURRING;
}

/*
 * An odd part can spoil the count of its neighbours, but not the time from one of its turns to the next. `at` are the times at which a group of
 * odd cycles begins. Intervals of random groups are spread like exp(-t); 0.8 to 1.2 of their median holds under 0.21 of them.
 */
void plb_pattern_by_time(plb_pattern_found *f, const double *at, size_t groups, double cycle, double *scratch) {
  const double by_luck = 0.21;
  if (f->pattern != PLB_INTERMITTENT || groups < 6 || !(cycle > 0.0)) {
    return;
  }
  const size_t n = groups - 1;
  for (size_t i = 0; i < n; i++) {
    scratch[i] = at[i + 1] - at[i];
  }
  const double typical = plb_median(scratch, n);
  size_t hits = 0;
  for (size_t i = 0; i < n; i++) {
    hits += fabs(at[i + 1] - at[i] - typical) <= 0.2 * typical;
  }
  const double every = round(typical / cycle);
  double p = 0.0;
  for (size_t h = hits; h <= n; h++) {
    p += exp(lgamma((double)n + 1) - lgamma((double)h + 1) - lgamma((double)(n - h) + 1) + (double)h * log(by_luck) +
             (double)(n - h) * log(1.0 - by_luck));
  }
  if (every >= 2.0 && every <= 2.0 * MOST_EVERY && (double)hits >= 0.7 * (double)n && p < by_chance) {
    f->pattern = PLB_RECURRING;
    f->every = (unsigned)every;
    f->phase = 1;
    f->p_chance = p;
  }
}

plb_pattern_found plb_pattern_of(const bool *shown, size_t n) {
  plb_pattern_found f = {PLB_PATTERN_NONE, 0, (unsigned)n, 0, 0, NAN};
  for (size_t i = 0; i < n; i++) {
    f.count += shown[i];
  }
  if (f.count == 0) {
    return f;
  }
  f.pattern = (double)f.count >= lasting_share * (double)n ? PLB_LASTING : PLB_INTERMITTENT;
  if (f.pattern == PLB_INTERMITTENT) {
    look_for_every(shown, n, &f);
  }
  return f;
}

const char *plb_pattern_name(plb_pattern pattern) {
  static const char *const name[] = {"", "lasting", "intermittent", "recurring"};
  return name[pattern];
}
