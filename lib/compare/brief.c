/*
 * A moment in a single event that is too brief for the grid: some samples far outside all that the good captures reach, and back again. The
 * average over a cell would hide it.
 */
#include "compare/explain.h"
#include <math.h>
#include <string.h>

static const double outside_share = 0.25; /* of the good captures' range, beyond it */

typedef struct moment {
  size_t count, first, longest; /* how often; sample of the first; samples of the longest */
  double level;                 /* furthest */
} moment;

static moment look(const double *x, size_t n, double low, double high, size_t cell) {
  moment m = {0, 0, 0, NAN};
  for (size_t i = 0; i < n;) {
    if (!(x[i] < low || x[i] > high)) {
      i++;
      continue;
    }
    size_t end = i;
    while (end < n && (x[end] < low || x[end] > high)) {
      if (isnan(m.level) || fabs(x[end] - 0.5 * (low + high)) > fabs(m.level - 0.5 * (low + high))) {
        m.level = x[end];
      }
      end++;
    }
    if (i > 0 && end < n && end - i >= 2 && end - i <= 2 * cell) {
      m.first = m.count == 0 ? i : m.first;
      m.longest = end - i > m.longest ? end - i : m.longest;
      m.count++;
    }
    i = end;
  }
  return m;
}

plb_status plb_find_brief(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, plb_error *err) {
  const plb_reference *ref = judge->reference;
  for (size_t c = 0; c < judge->plan.channels; c++) {
    const plb_reference_channel *ch = &ref->channel[c];
    const double reach = outside_share * (ch->range_high - ch->range_low);
    const moment m = look(tracks->x[c], tracks->samples, ch->range_low - reach, ch->range_high + reach,
                          tracks->samples / judge->fit->grid + 1);
    if (m.count == 0) {
      continue;
    }
    plb_finding *f = plb_finding_add(v);
    if (f == NULL) {
      return plb_fail(err, PLB_ENOMEM, "out of memory");
    }
    char level[64], lasts[64];
    f->kind = PLB_FINDING_STRUCTURAL;
    f->score = PLB_STRUCTURAL_STEP;
    f->pattern = PLB_INTERMITTENT;
    f->count = (unsigned)m.count;
    f->size = m.level;
    f->time_s = tracks->start_s + (double)m.first / tracks->rate_hz;
    plb_text_copy(f->unit, sizeof f->unit, ch->unit);
    plb_text_copy(f->channel, sizeof f->channel, ch->role);
    plb_text_copy(f->band, sizeof f->band, "excursion");
    plb_text_copy(f->direction, sizeof f->direction, m.level > ch->range_high ? "high" : "low");
    plb_say_size(level, sizeof level, m.level, ch->unit);
    plb_say_size(lasts, sizeof lasts, (double)m.longest / tracks->rate_hz, "s");
    if (m.count == 1) {
      plb_text_say(f->text, sizeof f->text, "%s goes to %s for %s and back at %.2f s", ch->role, level, lasts,
                   f->time_s);
    } else {
      plb_text_say(f->text, sizeof f->text, "%s goes to %s and back %zu times, for up to %s, first at %.2f s", ch->role,
                   level, m.count, lasts, f->time_s);
    }
    plb_advise(f, ref, NULL);
  }
  return PLB_OK;
}
