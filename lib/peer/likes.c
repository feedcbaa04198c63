#include "peer/likes.h"
#include "compare/explain.h"
#include <math.h>
#include <string.h>

enum { SECTIONS = 12 };
static const double silent_share = 0.1; /* of the others' swing: DEVELOPERS.md, the rule of `compare` for a silent channel */

void plb_likes_free(plb_likes *likes) {
  if (likes == NULL) {
    return;
  }
  for (size_t i = 0; likes->profile != NULL && i < likes->n; i++) {
    plb_profile_free(likes->profile[i]);
  }
  for (size_t i = 0; likes->tracks != NULL && i < likes->tracked; i++) {
    plb_tracks_free(likes->tracks[i]);
  }
  free(likes->name);
  free(likes->tracks);
  free(likes->laid);
  free(likes->profile);
  free(likes->decimals);
  plb_plan_dispose(&likes->plan);
  plb_terms_dispose(&likes->terms);
  plb_reference_free(likes->shell);
  free(likes);
}

/* One part as tracks; a part that is one channel is called "part" whatever its role, so that all are alike. */
static plb_status take_part(plb_likes *l, size_t i, const plb_part *part, plb_error *err) {
  char role[1][PLB_NAME_SIZE] = {""};
  plb_text_copy(l->name[i], sizeof l->name[i], part->name != NULL ? part->name : plb_capture_path(part->capture));
  if (part->role != NULL) {
    plb_text_copy(role[0], sizeof role[0], part->role);
  }
  const plb_status status = plb_tracks_from_capture(&l->tracks[i], part->capture, (const char(*)[PLB_NAME_SIZE])role, part->role != NULL, err);
  if (status == PLB_OK && part->role != NULL) {
    plb_text_copy(l->tracks[i]->role[0], PLB_NAME_SIZE, "part");
  }
  return status;
}

static plb_status check_alike(const plb_likes *l, size_t i, plb_error *err) {
  const plb_tracks *a = l->tracks[0], *b = l->tracks[i];
  if (a->channels != b->channels) {
    return plb_fail(err, PLB_EDATA, "%s has %zu channels and %s %zu; name the same ones in each with --channel ROLE=COLUMN", l->name[0],
                    a->channels, l->name[i], b->channels);
  }
  for (size_t c = 0; c < a->channels; c++) {
    if (strcmp(a->role[c], b->role[c]) != 0) {
      return plb_fail(err, PLB_EDATA, "channel %zu is '%s' in %s and '%s' in %s; name the same ones in each with --channel", c + 1, a->role[c],
                      l->name[0], b->role[c], l->name[i]);
    }
    if (strcmp(a->unit[c], b->unit[c]) != 0) {
      return plb_fail(err, PLB_EDATA, "'%s' is in %s and '%s' in %s; compare like with like, or give the unit with --channel", l->name[0],
                      a->unit[c], l->name[i], b->unit[c]);
    }
  }
  return PLB_OK;
}

/* Swing of a channel without its rarest samples, so that one spike on a dead wire is no signal. */
static double swing_of(const plb_tracks *t, size_t channel, double *scratch) {
  size_t n = 0;
  for (size_t i = 0; i < t->samples; i++) {
    if (isfinite(t->x[channel][i])) {
      scratch[n++] = t->x[channel][i];
    }
  }
  if (n < 2) {
    return 0.0;
  }
  qsort(scratch, n, sizeof *scratch, plb_compare_double);
  const size_t rare = n / 1000;
  return scratch[n - 1 - rare] - scratch[rare];
}

/* Which parts carry no signal where the others do. */
static plb_status find_silent(plb_likes *l, plb_error *err) {
  size_t most = 0;
  for (size_t i = 0; i < l->n; i++) {
    most = l->tracks[i]->samples > most ? l->tracks[i]->samples : most;
  }
  double *scratch = plb_calloc(most + 2 * l->n, sizeof *scratch), *swing = scratch != NULL ? scratch + most : NULL;
  if (scratch == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t c = 0; c < l->tracks[0]->channels; c++) {
    for (size_t i = 0; i < l->n; i++) {
      swing[i] = swing[l->n + i] = swing_of(l->tracks[i], c, scratch);
    }
    /* of two the larger one tells what a signal is; of more the middle one */
    const double typical = l->n == 2 ? fmax(swing[0], swing[1]) : plb_median(swing + l->n, l->n);
    for (size_t i = 0; i < l->n; i++) {
      if (!(swing[i] > silent_share * typical)) {
        l->laid[i] = PLB_SILENT;
      }
    }
  }
  free(scratch);
  return PLB_OK;
}

static plb_status choose_kind(plb_likes *l, const plb_tracks *const *live, size_t n, const plb_cycle_spec *spec, plb_error *err) {
  plb_cycle_choice choice = {0};
  const plb_status status = plb_cycle_choose(&choice, live, n, spec, 0, NULL, err);
  if (status == PLB_OK) {
    l->shell->choice = choice;
  } else {
    plb_cycle_choice_dispose(&choice);
  }
  return status;
}

/* The common cycle of the parts that carry a signal; where one of them spoils it, of the others. */
static plb_status choose_cycle(plb_likes *l, const plb_cycle_spec *spec, plb_error *err) {
  const plb_tracks **live = plb_calloc(l->n, sizeof *live);
  if (live == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  size_t n = 0;
  for (size_t i = 0; i < l->n; i++) {
    if (l->laid[i] == PLB_LAID) {
      live[n++] = l->tracks[i];
    }
  }
  plb_status status = n > 0 ? choose_kind(l, live, n, spec, err) : plb_fail(err, PLB_EDATA, "no part carries a signal");
  for (size_t skip = 0; status == PLB_EDATA && n > 1 && skip < n; skip++) {
    const plb_tracks *spoiler = live[skip];
    live[skip] = live[n - 1];
    plb_error own = PLB_ERROR_INIT;
    if (choose_kind(l, live, n - 1, spec, &own) == PLB_OK) {
      status = PLB_OK;
    }
    live[n - 1] = live[skip];
    live[skip] = spoiler;
  }
  free(live);
  return status;
}

static plb_status choose(plb_likes *l, const plb_cycle_spec *spec, plb_error *err) {
  if (spec != NULL) {
    return choose_cycle(l, spec, err);
  }
  const plb_cycle_spec repeat = {.kind = PLB_CYCLE_REPEAT}, once = {.kind = PLB_CYCLE_ONCE};
  plb_error own = PLB_ERROR_INIT;
  const plb_status status = choose_cycle(l, &repeat, &own);
  return status == PLB_EDATA ? choose_cycle(l, &once, err) : status == PLB_OK ? status : plb_fail(err, status, "%s", own.message);
}

static plb_status describe(plb_likes *l, plb_error *err) {
  plb_reference *r = l->shell;
  const plb_tracks *first = l->tracks[0];
  r->channels = first->channels;
  r->channel = plb_calloc(r->channels, sizeof *r->channel);
  l->decimals = plb_calloc(r->channels, sizeof *l->decimals);
  if (r->channel == NULL || l->decimals == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t c = 0; c < r->channels; c++) {
    plb_reference_channel *ch = &r->channel[c];
    plb_text_copy(ch->role, sizeof ch->role, first->role[c]);
    plb_text_copy(ch->unit, sizeof ch->unit, first->unit[c]);
    ch->amplitude = PLB_RULE_ABSOLUTE;
    ch->offset = PLB_RULE_FIXED;
    ch->range_low = INFINITY;
    ch->range_high = -INFINITY;
    for (size_t i = 0; i < l->n; i++) {
      double low, high;
      plb_extremes(l->tracks[i]->x[c], l->tracks[i]->samples, &low, &high);
      ch->range_low = fmin(ch->range_low, low);
      ch->range_high = fmax(ch->range_high, high);
    }
    ch->peak_to_peak = ch->range_high > ch->range_low ? ch->range_high - ch->range_low : 1.0;
    l->decimals[c] = plb_decimals_for(ch->peak_to_peak);
  }
  return PLB_OK;
}

/*
 * Of two, one may lie so much higher or be so much smaller that levels chosen on the other do not cross it: its levels are then chosen on it
 * alone, on the same grid, so that what differs can be told.
 */
static plb_status lay_by_itself(plb_frame **frame, const plb_likes *l, size_t i, plb_error *err) {
  const plb_cycle_choice *common = &l->shell->choice;
  const plb_tracks *own[1] = {l->tracks[i]};
  plb_cycle_choice choice = {0};
  plb_error ignored = PLB_ERROR_INIT;
  plb_status status = plb_cycle_choose(&choice, own, 1, &common->spec, common->grid, NULL, &ignored);
  if (status == PLB_OK && choice.landmarks == common->landmarks && choice.spans == common->spans && choice.grid == common->grid) {
    status = plb_frame_build(frame, l->tracks[i], &choice, err);
  } else if (status == PLB_EDATA || status == PLB_OK) {
    status = PLB_OK; /* it stays without a cycle like the other */
  }
  plb_cycle_choice_dispose(&choice);
  return status;
}

static plb_status lay(plb_likes *l, plb_error *err) {
  for (size_t i = 0; i < l->n; i++) {
    if (l->laid[i] != PLB_LAID) {
      continue;
    }
    plb_frame *frame = NULL;
    plb_status status = plb_frame_build(&frame, l->tracks[i], &l->shell->choice, err);
    if (status != PLB_OK) {
      return status;
    }
    if (frame->mapped == 0 && l->n == 2) {
      plb_frame_free(frame);
      frame = NULL;
      status = lay_by_itself(&frame, l, i, err);
      if (status != PLB_OK) {
        return status;
      }
    }
    if (frame == NULL || frame->mapped == 0) {
      plb_frame_free(frame);
      l->laid[i] = PLB_NO_CYCLE;
      continue;
    }
    status = plb_profile_new(&l->profile[i], frame, &l->shell->choice, l->decimals, err);
    if (status != PLB_OK) {
      return status;
    }
  }
  return PLB_OK;
}

plb_status plb_likes_plan(plb_likes *l, plb_error *err) {
  plb_reference *r = l->shell;
  plb_plan_dispose(&l->plan);
  plb_terms_dispose(&l->terms);
  free(r->band);
  free(r->reading);
  r->reading = NULL;
  r->bands = r->choice.grid < SECTIONS ? r->choice.grid : SECTIONS;
  r->band = plb_calloc(r->bands, sizeof *r->band);
  if (r->band == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t b = 0; b < r->bands; b++) {
    plb_text_print(r->band[b].name, sizeof r->band[b].name, "b%02zu", b + 1);
    r->band[b].domain = PLB_BAND_CYCLE;
    r->band[b].from = (double)b / (double)r->bands;
    r->band[b].to = (double)(b + 1) / (double)r->bands;
    r->band[b].tolerance = 1.0;
  }
  plb_status status = plb_profile_readings(&r->reading, &r->readings, &r->choice, err);
  if (status == PLB_OK) {
    status = plb_plan_init(&l->plan, r, err);
  }
  return status == PLB_OK ? plb_terms_new(&l->terms, &l->plan, err) : status;
}

plb_status plb_likes_new(plb_likes **out, const plb_part *part, size_t count, const plb_peer_options *options, plb_error *err) {
  *out = NULL;
  plb_likes *l = plb_calloc(1, sizeof *l);
  if (l == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  l->n = l->tracked = count;
  l->name = plb_calloc(count, sizeof *l->name);
  l->tracks = plb_calloc(count, sizeof(plb_tracks *));
  l->laid = plb_calloc(count, sizeof *l->laid);
  l->profile = plb_calloc(count, sizeof(plb_profile *));
  l->shell = plb_reference_new();
  plb_status status = PLB_OK;
  if (l->name == NULL || l->tracks == NULL || l->laid == NULL || l->profile == NULL || l->shell == NULL) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory for %zu parts", count);
  }
  for (size_t i = 0; status == PLB_OK && i < count; i++) {
    status = take_part(l, i, &part[i], err);
    status = status == PLB_OK ? check_alike(l, i, err) : status;
  }
  status = status == PLB_OK ? find_silent(l, err) : status;
  status = status == PLB_OK ? describe(l, err) : status;
  status = status == PLB_OK ? choose(l, options->cycle, err) : status;
  status = status == PLB_OK ? lay(l, err) : status;
  status = status == PLB_OK ? plb_likes_plan(l, err) : status;
  if (status != PLB_OK) {
    plb_likes_free(l);
    return status;
  }
  *out = l;
  return PLB_OK;
}

void plb_peer_say_section(char *out, size_t size, double from, double to) {
  plb_text_print(out, size, "from %.0f to %.0f %% of the cycle", 100.0 * from, 100.0 * to);
}

plb_status plb_likes_tell_unlaid(const plb_likes *l, size_t i, bool blocks, plb_reason **list, size_t *count,
                                 char text_out[PLB_TEXT_SIZE], plb_error *err) {
  const bool silent = l->laid[i] == PLB_SILENT;
  plb_text_print(text_out, PLB_TEXT_SIZE, silent ? "%s carries no signal" : "%s has no cycle like the others", l->name[i]);
  const plb_status status = plb_reason_add(list, count, silent ? PLB_REASON_MEASURING : PLB_REASON_RECORDING, silent ? "no-signal" : "short",
                                           l->name[i], blocks, text_out,
                                           silent ? "prove the connection of this channel first" : "look at the trace; record more of it");
  return status == PLB_OK ? status : plb_fail(err, status, "out of memory");
}

void plb_peer_look(plb_peer_band *band, const plb_likes *l, size_t slice, const float *curve, const float *centre, double cycle_s,
                   double floor) {
  const plb_slices *s = &l->plan.slices;
  const size_t from = s->from[slice], to = s->to[slice], grid = l->plan.slices.grid;
  const plb_reference *r = l->shell;
  plb_text_copy(band->channel, sizeof band->channel, r->channel[s->channel[slice]].role);
  plb_text_copy(band->name, sizeof band->name, r->band[s->band[slice]].name);
  band->from = r->band[s->band[slice]].from;
  band->to = r->band[s->band[slice]].to;
  double sum = 0.0, square = 0.0, explained = 0.0;
  for (size_t g = from; g < to; g++) {
    const double d = (double)curve[g] - (double)centre[g];
    if (isfinite(d)) {
      sum += d;
      square += d * d;
    }
  }
  const double width = (double)(to - from), rms = sqrt(square / width);
  band->deviation = sum / width;
  const double lag = plb_local_lag(curve, centre, grid, from, to, (to - from) / 2, &explained);
  const bool moved = isfinite(lag) && explained > 0.8 && rms > 2.0 * floor;
  band->lag_s = moved && cycle_s > 0.0 ? lag / (double)grid * cycle_s : NAN;
  const char *way = moved ? (lag > 0.0 ? "late" : "early") : fabs(band->deviation) > 0.5 * rms ? (band->deviation > 0.0 ? "high" : "low") : "shape";
  plb_text_copy(band->direction, sizeof band->direction, way);
}
