#include "learn/calibrate.h"
#include "learn/frequency.h"
#include "learn/like.h"
#include "learn/rules.h"
#include <math.h>
#include <string.h>

static const double default_alpha = 0.05, BLUNT = 10.0;
enum { FEWEST = 3, DEFAULT_BANDS = 12, MOST_BANDS = 256 };

/* What one call of plb_learn() works on. */
typedef struct lesson {
  const plb_good *good;
  size_t n;
  const plb_learn_options *options;
  plb_tracks **tracks;    /* [n] */
  plb_profile **profile;  /* [n] */
  double *held_out, *scale;
  int *decimals;          /* [channels] */
  plb_units units;
  plb_plan plan;
  plb_terms terms;
  plb_reference *reference;
  plb_buffer notes;
} lesson;

/* A reference to be like gives type and name where none is stated. */
static plb_learn_options settle(const plb_learn_options *options) {
  plb_learn_options o = *options;
  if (o.like != NULL) {
    o.type = o.type != NULL ? o.type : o.like->type;
    o.name = o.name != NULL ? o.name : o.like->name;
  }
  return o;
}

static plb_status check_request(const plb_good *good, size_t n, const plb_learn_options *o, plb_error *err) {
  if (n < FEWEST) {
    return plb_fail(err, PLB_EDATA, "%zu good capture%s, but learning needs at least %d; add more good captures of this sensor", n,
                    n == 1 ? "" : "s", FEWEST);
  }
  if (o->type == NULL || !plb_text_is_slug(o->type)) {
    return plb_fail(err, PLB_EUSAGE, "the type must be a word of a-z, 0-9 and '-'; for example --type crank-inductive");
  }
  if (o->name == NULL || !plb_text_is_name(o->name)) {
    return plb_fail(err, PLB_EUSAGE, "the name must be 1 to 3 words joined by '/'; for example --name bench/60-2");
  }
  if (o->bands > MOST_BANDS) {
    return plb_fail(err, PLB_EUSAGE, "%u sections are too many; at most %d", o->bands, MOST_BANDS);
  }
  for (size_t i = 0; i < n; i++) {
    if (plb_capture_channels(good[i].capture) == 0) {
      plb_status status = plb_fail(err, PLB_EDATA, "no channel of numbers; name one with --channel ROLE=COLUMN:UNIT");
      return plb_fail_path(err, status, plb_capture_path(good[i].capture));
    }
  }
  return PLB_OK;
}

/* The same recording twice is one piece of evidence, and would promise more than there is. */
static plb_status check_twice(const plb_good *good, size_t n, plb_error *err) {
  for (size_t i = 1; i < n; i++) {
    const char *hash = plb_capture_sha256(good[i].capture);
    for (size_t k = 0; k < i && hash[0] != '\0'; k++) {
      if (strcmp(hash, plb_capture_sha256(good[k].capture)) == 0) {
        const plb_status status =
            plb_fail(err, PLB_EDATA, "the same recording as %s; name each good capture once", plb_capture_path(good[k].capture));
        return plb_fail_path(err, status, plb_capture_path(good[i].capture));
      }
    }
  }
  return PLB_OK;
}

/* Every capture has the first one's channels, with the same units. */
static plb_status check_channels(const plb_good *good, size_t n, plb_error *err) {
  const plb_capture *first = good[0].capture;
  for (size_t i = 1; i < n; i++) {
    const plb_capture *c = good[i].capture;
    for (size_t k = 0; k < plb_capture_channels(first); k++) {
      const char *role = plb_capture_role(first, k);
      const int at = plb_capture_find(c, role);
      plb_status status = PLB_OK;
      if (at < 0) {
        status = plb_fail(err, PLB_EDATA, "no channel '%s', which %s has; name it with --channel %s=COLUMN", role,
                          plb_capture_path(first), role);
      } else if (strcmp(plb_capture_unit(c, (size_t)at), plb_capture_unit(first, k)) != 0) {
        status = plb_fail(err, PLB_EDATA, "channel '%s' is in %s here and in %s in %s; give the same unit with --channel", role,
                          plb_capture_unit(c, (size_t)at), plb_capture_unit(first, k), plb_capture_path(first));
      }
      if (status != PLB_OK) {
        return plb_fail_path(err, status, plb_capture_path(c));
      }
    }
  }
  return PLB_OK;
}

static plb_status take_tracks(lesson *l, plb_error *err) {
  const plb_capture *first = l->good[0].capture;
  const size_t channels = plb_capture_channels(first);
  char(*role)[PLB_NAME_SIZE] = plb_calloc(channels, sizeof *role);
  if (role == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t c = 0; c < channels; c++) {
    plb_text_copy(role[c], sizeof role[c], plb_capture_role(first, c));
  }
  plb_status status = PLB_OK;
  for (size_t i = 0; status == PLB_OK && i < l->n; i++) {
    status = plb_tracks_from_capture(&l->tracks[i], l->good[i].capture, (const char(*)[PLB_NAME_SIZE])role, channels, err);
  }
  free(role);
  return status;
}

static double median_over_captures(const lesson *l, size_t channel, double (*of)(const plb_capture *, size_t), double *scratch) {
  size_t n = 0;
  const char *role = plb_capture_role(l->good[0].capture, channel);
  for (size_t i = 0; i < l->n; i++) {
    const int at = plb_capture_find(l->good[i].capture, role);
    if (at >= 0) {
      scratch[n++] = of(l->good[i].capture, (size_t)at);
    }
  }
  return n > 0 ? plb_median(scratch, n) : 0.0;
}

static plb_status describe_channels(lesson *l, plb_error *err) {
  plb_reference *r = l->reference;
  const plb_capture *first = l->good[0].capture;
  r->channels = plb_capture_channels(first);
  r->channel = plb_calloc(r->channels, sizeof *r->channel);
  l->decimals = plb_calloc(r->channels, sizeof *l->decimals);
  double *scratch = plb_calloc(l->n, sizeof *scratch);
  if (r->channel == NULL || l->decimals == NULL || scratch == NULL) {
    free(scratch);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t c = 0; c < r->channels; c++) {
    plb_reference_channel *ch = &r->channel[c];
    plb_text_copy(ch->role, sizeof ch->role, plb_capture_role(first, c));
    plb_text_copy(ch->unit, sizeof ch->unit, plb_capture_unit(first, c));
    ch->column = plb_capture_column(first, c);
    ch->amplitude = PLB_RULE_ABSOLUTE;
    ch->offset = PLB_RULE_FIXED;
    ch->step = median_over_captures(l, c, plb_capture_step, scratch);
    ch->range_low = INFINITY;
    ch->range_high = -INFINITY;
    for (size_t i = 0; i < l->n; i++) {
      double low, high;
      plb_extremes(l->tracks[i]->x[c], l->tracks[i]->samples, &low, &high);
      ch->range_low = fmin(ch->range_low, low);
      ch->range_high = fmax(ch->range_high, high);
    }
    if (!(ch->range_high > ch->range_low)) {
      free(scratch);
      return plb_fail(err, PLB_EDATA, "channel '%s' is flat in every good capture; there is nothing to learn from it", ch->role);
    }
    ch->peak_to_peak = ch->range_high - ch->range_low;
    l->decimals[c] = plb_decimals_for(ch->peak_to_peak);
  }
  free(scratch);
  return PLB_OK;
}

static plb_status frame_captures(lesson *l, plb_error *err) {
  plb_status status = PLB_OK;
#pragma omp parallel for schedule(dynamic)
  for (size_t i = 0; i < l->n; i++) {
    plb_error own = PLB_ERROR_INIT;
    plb_frame *frame = NULL;
    plb_status one = plb_frame_build(&frame, l->tracks[i], &l->reference->choice, &own);
    if (one == PLB_OK && frame->mapped == 0) {
      plb_frame_free(frame);
      one = plb_fail(&own, PLB_EDATA, "no whole cycle could be laid over the others; leave this capture out or check --cycle");
    } else if (one == PLB_OK) {
      one = plb_profile_new(&l->profile[i], frame, &l->reference->choice, l->decimals, &own);
    }
    if (one != PLB_OK) {
#pragma omp critical(plb_frame_captures)
      {
        status = one;
        plb_fail_path(&own, one, plb_capture_path(l->good[i].capture));
        if (err != NULL) {
          *err = own;
        }
      }
    }
  }
  return status;
}

static plb_status make_bands(plb_reference *r, const plb_learn_options *o, plb_error *err) {
  const size_t wanted = o->bands > 0 ? o->bands : DEFAULT_BANDS;
  const size_t count = wanted < r->choice.grid ? wanted : r->choice.grid;
  r->band = plb_calloc(count, sizeof *r->band);
  if (r->band == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  r->bands = count;
  for (size_t b = 0; b < count; b++) {
    plb_text_print(r->band[b].name, sizeof r->band[b].name, count < 100 ? "b%02zu" : "b%03zu", b + 1);
    r->band[b].domain = PLB_BAND_CYCLE;
    r->band[b].from = (double)b / (double)count;
    r->band[b].to = (double)(b + 1) / (double)count;
    r->band[b].tolerance = 1.0;
  }
  return PLB_OK;
}

static const char *file_name(const char *path) {
  const char *slash = strrchr(path, '/');
  return slash != NULL ? slash + 1 : path;
}

static const char *name_of(const plb_good *good) { return good->name != NULL ? good->name : file_name(plb_capture_path(good->capture)); }

static plb_status keep_exemplars(lesson *l, plb_error *err) {
  plb_reference *r = l->reference;
  r->exemplar = plb_calloc(l->n, sizeof *r->exemplar);
  if (r->exemplar == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  r->exemplars = l->n;
  const size_t points = r->channels * r->choice.grid;
  for (size_t i = 0; i < l->n; i++) {
    plb_exemplar *e = &r->exemplar[i];
    const plb_profile *p = l->profile[i];
    plb_text_copy(e->name, sizeof e->name, name_of(&l->good[i]));
    plb_text_copy(e->sha256, sizeof e->sha256, plb_capture_sha256(l->good[i].capture));
    plb_text_copy(e->group, sizeof e->group, l->good[i].group != NULL ? l->good[i].group : "");
    e->held_out = l->held_out[i];
    e->rate_hz = p->rate_hz;
    e->cycles = p->cycles;
    e->unmapped = p->unmapped;
    e->supply_v = p->supply_v;
    e->load = p->load;
    e->median = plb_calloc(points, sizeof *e->median);
    e->spread = plb_calloc(points, sizeof *e->spread);
    e->reading = plb_calloc(p->readings, sizeof *e->reading);
    if (e->median == NULL || e->spread == NULL || e->reading == NULL) {
      return plb_fail(err, PLB_ENOMEM, "out of memory");
    }
    memcpy(e->median, p->median, points * sizeof *e->median);
    memcpy(e->spread, p->spread, points * sizeof *e->spread);
    memcpy(e->reading, p->reading, p->readings * sizeof *e->reading);
    if (p->levels > 0) {
      e->level = plb_calloc(p->levels, sizeof *e->level);
      if (e->level == NULL) {
        return plb_fail(err, PLB_ENOMEM, "out of memory");
      }
      memcpy(e->level, p->level, p->levels * sizeof *e->level);
    }
  }
  return PLB_OK;
}

static plb_status keep_scales(lesson *l, plb_error *err) {
  plb_reference *r = l->reference;
  plb_calibration *c = &r->calibration;
  c->scale = plb_calloc(l->terms.count, sizeof *c->scale);
  if (c->scale == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  c->scales = l->terms.count;
  for (size_t j = 0; j < l->terms.count; j++) {
    const plb_term *t = &l->terms.term[j];
    plb_scale *s = &c->scale[j];
    plb_text_copy(s->kind, sizeof s->kind, plb_distance_kind_name(t->kind));
    if (t->channel != SIZE_MAX) {
      plb_text_copy(s->channel, sizeof s->channel, r->channel[t->channel].role);
    }
    if (t->kind <= PLB_D_NOISE) {
      plb_text_copy(s->name, sizeof s->name, r->band[l->plan.slices.band[t->index]].name);
    } else if (t->kind == PLB_D_READING) {
      plb_text_copy(s->name, sizeof s->name, r->reading[t->index].name);
    } else if (t->kind == PLB_D_FREQUENCY) {
      plb_text_copy(s->name, sizeof s->name, r->band[l->plan.levels.place[t->index].band].name);
    }
    s->value = l->scale[j];
  }
  return PLB_OK;
}

/* The good range as drawn: three half-widths around the centre; and how typical good captures scatter. */
static plb_status draw_corridor(lesson *l, plb_error *err) {
  plb_reference *r = l->reference;
  plb_fit *fit = NULL;
  plb_status status = plb_fit_new(&fit, &l->plan, (const plb_profile *const *)l->profile, l->n, err);
  if (status != PLB_OK) {
    return status;
  }
  const size_t grid = r->choice.grid, points = r->channels * grid;
  plb_corridor *c = &r->corridor;
  c->centre = plb_calloc(points, sizeof *c->centre);
  c->lower = plb_calloc(points, sizeof *c->lower);
  c->upper = plb_calloc(points, sizeof *c->upper);
  c->jitter = plb_calloc(grid, sizeof *c->jitter);
  double *scratch = plb_calloc(l->n, sizeof *scratch);
  if (c->centre == NULL || c->lower == NULL || c->upper == NULL || c->jitter == NULL || scratch == NULL) {
    free(scratch);
    plb_fit_free(fit);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  plb_timing_jitter(fit, &l->plan, c->jitter);
  for (size_t k = 0; k < r->channels; k++) {
    plb_corridor_limits(fit, k, c->centre + k * grid, c->lower + k * grid, c->upper + k * grid);
    plb_round_decimals(c->centre + k * grid, grid, l->decimals[k]);
    plb_round_decimals(c->lower + k * grid, grid, l->decimals[k]);
    plb_round_decimals(c->upper + k * grid, grid, l->decimals[k]);
    for (size_t i = 0; i < l->n; i++) {
      scratch[i] = plb_profile_noise(l->profile[i], l->tracks[i]->x[k], l->tracks[i]->samples, k);
    }
    r->channel[k].noise = plb_median(scratch, l->n);
    for (size_t i = 0; i < l->n; i++) {
      scratch[i] = plb_sample_noise(l->tracks[i]->x[k], l->tracks[i]->samples);
    }
    r->channel[k].sample_noise = plb_median(scratch, l->n);
  }
  free(scratch);
  plb_fit_free(fit);
  return PLB_OK;
}

static plb_status keep_readings(lesson *l, plb_error *err) {
  plb_reference *r = l->reference;
  for (size_t k = 0; k < r->readings; k++) {
    plb_reading_limit *limit = &r->reading[k];
    limit->low = INFINITY;
    limit->high = -INFINITY;
    for (size_t i = 0; i < l->n; i++) {
      const double v = l->profile[i]->reading[k];
      if (isfinite(v)) {
        limit->low = fmin(limit->low, v);
        limit->high = fmax(limit->high, v);
      }
    }
    if (!(limit->low <= limit->high)) {
      limit->low = limit->high = NAN;
    }
    free(limit->source);
    limit->source = plb_strdup("exemplars");
    if (limit->source == NULL) {
      return plb_fail(err, PLB_ENOMEM, "out of memory");
    }
  }
  return PLB_OK;
}

static plb_status keep_conditions(plb_reference *r, const plb_learn_options *o, plb_error *err) {
  r->condition = plb_calloc(o->stated_count, sizeof *r->condition);
  if (r->condition == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  r->conditions = o->stated_count;
  for (size_t i = 0; i < o->stated_count; i++) {
    plb_condition *c = &r->condition[i];
    plb_text_copy(c->name, sizeof c->name, o->stated[i].name);
    plb_text_copy(c->word, sizeof c->word, o->stated[i].word);
    plb_text_copy(c->unit, sizeof c->unit, o->stated[i].unit);
    c->low = o->stated[i].low;
    c->high = o->stated[i].high;
    c->stated = true;
  }
  return PLB_OK;
}

/* The sample rate that later captures need: the lowest of the good ones. */
static void need_rate(plb_reference *r, const plb_good *good, size_t n) {
  r->connection.rate_needed_hz = plb_capture_rate_hz(good[0].capture);
  for (size_t i = 1; i < n; i++) {
    r->connection.rate_needed_hz = fmin(r->connection.rate_needed_hz, plb_capture_rate_hz(good[i].capture));
  }
}

/* How it was learned, and what was done to the recordings first. */
static char *method_of(const plb_good *good, const plb_units *units) {
  plb_buffer b;
  plb_buffer_init(&b, 64 * 1024);
  plb_buffer_puts(&b, units->two ? "learned from good captures of two groups only; every score by leaving the capture's group out"
                                 : "learned from good captures; every score by leaving the capture, its group where three or more are stated, or its fold out");
  for (size_t i = 0; i < plb_capture_applieds(good[0].capture); i++) {
    plb_buffer_printf(&b, "%s%s", i == 0 ? "; done to each recording first, here to the first one: " : "; ", plb_capture_applied(good[0].capture, i));
  }
  char *text = plb_strdup(b.data);
  plb_buffer_dispose(&b);
  return text;
}

static plb_status name_reference(const lesson *l, plb_error *err) {
  plb_reference *r = l->reference;
  const plb_learn_options *o = l->options;
  const size_t type_size = strlen(o->type);
  const bool full = strncmp(o->name, o->type, type_size) == 0 && o->name[type_size] == '/';
  char name[PLB_TEXT_SIZE], title[2 * PLB_TEXT_SIZE];
  const int length = full ? plb_text_print(name, sizeof name, "%s", o->name) : plb_text_print(name, sizeof name, "%s/%s", o->type, o->name);
  if (length < 0 || (size_t)length >= sizeof name || !plb_text_copy(r->type, sizeof r->type, o->type)) {
    return plb_fail(err, PLB_EUSAGE, "the name is too long; use at most 180 characters");
  }
  plb_text_copy(r->name, sizeof r->name, name);
  plb_text_print(title, sizeof title, "%s, known-good", name);
  r->title = plb_strdup(o->title != NULL ? o->title : title);
  r->date = plb_strdup(o->date);
  r->method = method_of(l->good, &l->units);
  r->provenance = o->provenance;
  r->connection.connected = true;
  return r->title != NULL && r->method != NULL && (o->date == NULL || r->date != NULL) ? PLB_OK
                                                                                       : plb_fail(err, PLB_ENOMEM, "out of memory");
}

/* An exemplar far from the others sets the limit and makes the reference insensitive: said, never dropped. */
static void find_odd(lesson *l, double *scratch) {
  plb_calibration *c = &l->reference->calibration;
  size_t worst = 0;
  for (size_t i = 0; i < l->n; i++) {
    scratch[i] = l->held_out[i];
    worst = l->held_out[i] > l->held_out[worst] ? i : worst;
  }
  const double median = plb_median(scratch, l->n);
  c->odd_ratio = l->held_out[worst] / median;
  c->odd[0] = '\0';
  if (c->odd_ratio > 4.0) {
    plb_text_copy(c->odd, sizeof c->odd, name_of(&l->good[worst]));
  }
}

static plb_status group_captures(lesson *l, plb_error *err) {
  plb_calibration *c = &l->reference->calibration;
  const char **group = plb_calloc(l->n, sizeof *group);
  if (group == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  for (size_t i = 0; i < l->n; i++) {
    group[i] = l->good[i].group;
  }
  const plb_status status = plb_units_init(&l->units, group, l->n, &c->groups_stated, &c->one_group, err);
  free(group);
  return status;
}

/* What it takes to be called a fault, where it takes too much to be of use. */
static void note_blunt(lesson *l) {
  const plb_calibration *c = &l->reference->calibration;
  const double taken = fmax(c->limit, c->guard);
  if (taken > BLUNT) {
    plb_buffer_printf(&l->notes, "Only gross faults will be found: one must lie %.0f times as far off as the more unusual good captures; bring more good captures%s.\n",
                      taken, l->units.two ? " and a third vehicle" : "");
  }
}

static plb_status calibrate(lesson *l, plb_error *err) {
  plb_calibration *c = &l->reference->calibration;
  double *scratch = plb_calloc(l->n, sizeof *scratch);
  plb_status status = scratch != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  l->held_out = plb_calloc(l->n, sizeof *l->held_out);
  l->scale = plb_calloc(l->terms.count, sizeof *l->scale);
  if (status == PLB_OK && (l->held_out == NULL || l->scale == NULL)) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  if (status == PLB_OK) {
    const double alpha = l->options->alpha > 0.0 ? l->options->alpha : default_alpha;
    status = plb_calibrate(c, l->held_out, l->scale, &l->plan, &l->terms, (const plb_profile *const *)l->profile, &l->units, alpha, err);
  }
  if (status == PLB_OK) {
    find_odd(l, scratch);
    note_blunt(l);
  }
  free(scratch);
  return status;
}

static plb_status note_lines(plb_learned *out, const plb_buffer *notes, plb_error *err) {
  const char *text = notes->data != NULL ? notes->data : "";
  size_t lines = 0;
  for (const char *p = text; *p != '\0'; p++) {
    lines += *p == '\n' || p[1] == '\0';
  }
  out->note = plb_calloc(lines, sizeof *out->note);
  if (out->note == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  while (*text != '\0' && out->notes < lines) {
    const size_t length = strcspn(text, "\n");
    const size_t kept = length < PLB_TEXT_SIZE - 1 ? length : PLB_TEXT_SIZE - 1;
    memcpy(out->note[out->notes], text, kept);
    out->notes += kept > 0;
    text += length + (text[length] == '\n');
  }
  return PLB_OK;
}

static plb_status tell(plb_learned **out, lesson *l, plb_error *err) {
  const plb_calibration *c = &l->reference->calibration;
  plb_learned *t = plb_calloc(1, sizeof *t);
  if (t == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  t->captures = l->n;
  t->groups = c->groups_stated ? (c->one_group ? 1 : l->units.independents) : 0;
  t->limit = c->limit;
  t->guard = c->guard;
  t->promise = c->promise;
  t->promise_upper90 = c->promise_upper90;
  t->odd_ratio = c->odd_ratio;
  plb_text_copy(t->odd, sizeof t->odd, c->odd);
  t->held_out = l->held_out;
  l->held_out = NULL;
  const plb_status status = note_lines(t, &l->notes, err);
  if (status != PLB_OK) {
    plb_learned_free(t);
    return status;
  }
  *out = t;
  return PLB_OK;
}

void plb_learned_free(plb_learned *learned) {
  if (learned != NULL) {
    free(learned->held_out);
    free(learned->note);
    free(learned);
  }
}

static void lesson_dispose(lesson *l) {
  for (size_t i = 0; i < l->n; i++) {
    if (l->tracks != NULL) {
      plb_tracks_free(l->tracks[i]);
    }
    if (l->profile != NULL) {
      plb_profile_free(l->profile[i]);
    }
  }
  free(l->tracks);
  free(l->profile);
  free(l->held_out);
  free(l->scale);
  free(l->decimals);
  plb_units_dispose(&l->units);
  plb_plan_dispose(&l->plan);
  plb_terms_dispose(&l->terms);
  plb_buffer_dispose(&l->notes);
  plb_reference_free(l->reference);
}

/* The straight line from captures to profiles, under choices made once over all of them. */
static plb_status choose_and_frame(lesson *l, plb_error *err) {
  plb_reference *r = l->reference;
  plb_status status = take_tracks(l, err);
  if (status == PLB_OK) {
    status = describe_channels(l, err);
  }
  if (status == PLB_OK) {
    status = plb_cycle_choose(&r->choice, (const plb_tracks *const *)l->tracks, l->n, l->options->like != NULL ? &l->options->like->choice.spec : &l->options->cycle, 0,
                              &l->notes, err);
  }
  if (status == PLB_OK) {
    status = frame_captures(l, err);
  }
  for (size_t i = 0; status == PLB_OK && i < l->n; i++) {
    l->profile[i]->supply_v = l->tracks[i]->supply_v;
    l->profile[i]->load = l->tracks[i]->load;
  }
  if (status == PLB_OK) {
    status = plb_learn_rules(r, l->options, (const plb_profile *const *)l->profile, l->n, &l->notes, err);
  }
  if (status == PLB_OK) {
    status = plb_profile_readings(&r->reading, &r->readings, &r->choice, err);
  }
  if (status == PLB_OK) {
    status = keep_conditions(r, l->options, err);
  }
  if (status == PLB_OK && l->options->like != NULL) {
    return plb_annotate_like(r, l->options->like, err);
  }
  if (status == PLB_OK) {
    status = make_bands(r, l->options, err);
  }
  return status == PLB_OK ? plb_learn_bands(r, l->options, (const plb_profile *const *)l->profile, (const plb_tracks *const *)l->tracks,
                                            l->n, &l->notes, err)
                          : status;
}

plb_status plb_learn(plb_reference **out, plb_learned **learned_out, const plb_good *good, size_t count,
                     const plb_learn_options *options, plb_error *err) {
  const plb_learn_options settled = settle(options);
  lesson l = {.good = good, .n = count, .options = &settled};
  *out = NULL;
  if (learned_out != NULL) {
    *learned_out = NULL;
  }
  plb_buffer_init(&l.notes, 64 * 1024);
  plb_status status = check_request(good, count, &settled, err);
  if (status == PLB_OK) {
    status = check_twice(good, count, err);
  }
  if (status == PLB_OK) {
    status = check_channels(good, count, err);
  }
  if (status != PLB_OK) {
    l.n = 0;
    goto done;
  }
  l.reference = plb_reference_new();
  l.tracks = plb_calloc(count, sizeof *l.tracks);
  l.profile = plb_calloc(count, sizeof *l.profile);
  if (l.reference == NULL || l.tracks == NULL || l.profile == NULL) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory for %zu captures", count);
    goto done;
  }
  status = group_captures(&l, err);
  if (status == PLB_OK) {
    status = name_reference(&l, err);
  }
  if (status == PLB_OK) {
    status = choose_and_frame(&l, err);
  }
  if (status == PLB_OK) {
    need_rate(l.reference, good, count);
  }
  if (status == PLB_OK) {
    status = plb_plan_init(&l.plan, l.reference, err);
  }
  if (status == PLB_OK) {
    status = plb_learn_levels(l.profile, &l.plan, (const plb_tracks *const *)l.tracks, count, err);
  }
  if (status == PLB_OK) {
    status = plb_terms_new(&l.terms, &l.plan, err);
  }
  if (status == PLB_OK) {
    status = calibrate(&l, err);
  }
  if (status == PLB_OK) {
    status = draw_corridor(&l, err);
  }
  if (status == PLB_OK) {
    status = keep_readings(&l, err);
  }
  if (status == PLB_OK) {
    status = keep_exemplars(&l, err);
  }
  if (status == PLB_OK) {
    status = keep_scales(&l, err);
  }
  if (status == PLB_OK) {
    plb_keep_levels(l.reference, (const plb_profile *const *)l.profile, count);
  }
  if (status == PLB_OK && learned_out != NULL) {
    status = tell(learned_out, &l, err);
  }
  if (status == PLB_OK) {
    *out = l.reference;
    l.reference = NULL;
  }
done:
  lesson_dispose(&l);
  return status;
}
