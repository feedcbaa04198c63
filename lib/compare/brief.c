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
  size_t brief, long_lasting;   /* samples outside in such moments, and in stretches too long for one */
} moment;

static moment look(const double *x, size_t n, double low, double high, size_t cell) {
  moment m = {.level = NAN};
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
    m.long_lasting += end - i > 2 * cell ? end - i : 0;
    if (i > 0 && end < n && end - i >= 2 && end - i <= 2 * cell) {
      m.brief += end - i;
      m.first = m.count == 0 ? i : m.first;
      m.longest = end - i > m.longest ? end - i : m.longest;
      m.count++;
    }
    i = end;
  }
  return m;
}

/* Noise on a level that lies at the limit for long crosses it many times: that is told as the level, where it departs by itself. */
static bool is_fringe(const moment *m, const plb_reference_channel *ch, double reach) {
  const double beyond = fmax(m->level - ch->range_high, ch->range_low - m->level);
  return m->long_lasting > m->brief && beyond < 2.0 * reach;
}

plb_status plb_find_brief(plb_verdict *v, const plb_judge *judge, const plb_tracks *tracks, plb_error *err) {
  const plb_reference *ref = judge->reference;
  for (size_t c = 0; c < judge->plan.channels; c++) {
    const plb_reference_channel *ch = &ref->channel[c];
    const double reach = outside_share * (ch->range_high - ch->range_low);
    const moment m = look(tracks->x[c], tracks->samples, ch->range_low - reach, ch->range_high + reach,
                          tracks->samples / judge->fit->grid + 1);
    if (m.count == 0 || (v->word == PLB_DEPARTS && is_fringe(&m, ch, reach))) {
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
    const char *way = m.level > ch->range_high ? "up" : "down";
    if (m.count == 1) {
      plb_text_say(f->text, sizeof f->text, "%s goes %s to %s for %s and back at %.3f s", ch->role, way, level, lasts, f->time_s);
    } else {
      plb_text_say(f->text, sizeof f->text, "%s goes %s to %s and back %zu times, for up to %s, first at %.3f s", ch->role, way, level,
                   m.count, lasts, f->time_s);
    }
    plb_advise(f, ref, NULL);
  }
  return PLB_OK;
}
