#include "sheet.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SHEET_MOST = 1 << 20, LINE_MOST = 8192 };

/* ---- lines: "key rest"; a line that starts with a space goes on from the one before it ---- */

typedef struct lines {
  const char *at;
  int number;              /* of the line returned last, its first */
  int next;                /* of the line at `at` */
  char key[PLB_NAME_SIZE];
  char rest[LINE_MOST];
} lines;

static bool goes_on(const char *at) { return *at == ' ' && at[strspn(at, " ")] != '\n' && at[strspn(at, " ")] != '\0'; }

static bool append(lines *l, const char *from, size_t size) {
  const size_t used = strlen(l->rest);
  if (used + size + 2 > sizeof l->rest)
    return false;
  if (used > 0)
    l->rest[used] = ' ';
  memcpy(l->rest + used + (used > 0), from, size);
  l->rest[used + (used > 0) + size] = '\0';
  return true;
}

/* 1: a line, 0: the end, -1: too long */
static int next_line(lines *l) {
  while (*l->at == '#' || *l->at == '\n') {
    l->at += strcspn(l->at, "\n");
    l->at += *l->at == '\n';
    l->next++;
  }
  if (*l->at == '\0')
    return 0;
  l->number = l->next;
  const size_t word = strcspn(l->at, " \n");
  if (word >= sizeof l->key)
    return -1;
  memcpy(l->key, l->at, word);
  l->key[word] = '\0';
  l->rest[0] = '\0';
  l->at += word;
  do {
    l->at += strspn(l->at, " ");
    const size_t n = strcspn(l->at, "\n");
    if (n > 0 && !append(l, l->at, n))
      return -1;
    l->at += n;
    l->at += *l->at == '\n';
    l->next++;
  } while (goes_on(l->at));
  return 1;
}

/* ---- cautions ---- */

plb_status sheet_cautions_read(sheet_cautions *out, const char *path, plb_error *err) {
  *out = (sheet_cautions){NULL, 0, 0};
  char *data = NULL;
  size_t size = 0;
  plb_status status = plb_file_read(path, SHEET_MOST, &data, &size, err);
  if (status != PLB_OK)
    return status;
  lines l = {.at = data, .next = 1};
  int got = 0;
  while ((got = next_line(&l)) > 0) {
    void *grown = plb_grow(out->caution, out->count, &out->capacity, sizeof *out->caution);
    if (grown == NULL)
      break;
    out->caution = grown;
    struct sheet_caution *c = &out->caution[out->count++];
    plb_text_copy(c->name, sizeof c->name, l.key);
    c->text = plb_strdup(l.rest);
  }
  free(data);
  if (got != 0)
    status = plb_fail_path(err, plb_fail(err, PLB_EDATA, "line %d cannot be taken; shorten it", l.next), path);
  return status;
}

void sheet_cautions_dispose(sheet_cautions *cautions) {
  for (size_t i = 0; i < cautions->count; i++)
    free(cautions->caution[i].text);
  free(cautions->caution);
  *cautions = (sheet_cautions){NULL, 0, 0};
}

/* ---- one sheet ---- */

typedef struct reader {
  sheet *s;
  const sheet_cautions *cautions;
  const lines *l;
  size_t conditions, bands; /* capacities */
  plb_error *err;
} reader;

static plb_status wrong(const reader *r, const char *what) {
  return plb_fail(r->err, PLB_EDATA, "line %d, \"%s\": %s", r->l->number, r->l->key, what);
}

static plb_status set_text(const reader *r, plb_string *out) {
  if (*out != NULL)
    return wrong(r, "given twice");
  *out = plb_strdup(r->l->rest);
  return *out != NULL ? PLB_OK : wrong(r, "out of memory");
}

static plb_status take_model(reader *r) {
  char name[PLB_NAME_SIZE] = "";
  const size_t word = strcspn(r->l->rest, " ");
  if (word < sizeof name)
    memcpy(name, r->l->rest, word);
  r->s->family = plb_model_find(name);
  if (r->s->family == NULL)
    return wrong(r, "there is no such family of models");
  if (r->l->rest[word] == ' ')
    r->s->state = plb_strdup(r->l->rest + word + 1);
  return PLB_OK;
}

static plb_status take_cycle(reader *r) {
  r->s->own_cycle = true;
  return plb_cycle_spec_parse(r->l->rest, &r->s->words->choice.spec, r->err);
}

static plb_status take_number(const reader *r, double *out) {
  return plb_text_number(r->l->rest, strlen(r->l->rest), out) ? PLB_OK : wrong(r, "no number");
}

static plb_status take_exemplars(reader *r) {
  double n = 0;
  const plb_status status = take_number(r, &n);
  r->s->exemplars = (unsigned)n;
  return status;
}
static plb_status take_rate(reader *r) { return plb_text_quantity(r->l->rest, "Hz", &r->s->rate_hz, r->err); }
static plb_status take_duration(reader *r) { return plb_text_quantity(r->l->rest, "s", &r->s->duration_s, r->err); }
static plb_status take_title(reader *r) { return set_text(r, &r->s->words->title); }
static plb_status take_why(reader *r) { return set_text(r, &r->s->words->why); }
static plb_status take_sources(reader *r) { return set_text(r, &r->s->words->sources); }
static plb_status take_system(reader *r) { return set_text(r, &r->s->words->system); }
static plb_status take_test_point(reader *r) { return set_text(r, &r->s->words->connection.test_point); }
static plb_status take_place(reader *r) { return set_text(r, &r->s->words->connection.place); }
static plb_status take_ground(reader *r) { return set_text(r, &r->s->words->connection.ground); }
static plb_status take_never(reader *r) { return set_text(r, &r->s->words->connection.never); }
static plb_status take_probe(reader *r) { return set_text(r, &r->s->words->connection.probe); }
static plb_status take_range(reader *r) { return set_text(r, &r->s->words->connection.range); }
static plb_status take_coupling(reader *r) { return set_text(r, &r->s->words->connection.coupling); }
static plb_status take_trigger(reader *r) { return set_text(r, &r->s->words->connection.trigger); }

static plb_status take_cylinders(reader *r) {
  double n = 0;
  const plb_status status = take_number(r, &n);
  r->s->words->cylinders = (int)n;
  return status;
}
static plb_status take_supply(reader *r) { return plb_text_quantity(r->l->rest, "V", &r->s->words->supply_nominal_v, r->err); }

static plb_status take_connected(reader *r) {
  r->s->words->connection.connected = strcmp(r->l->rest, "yes") == 0;
  return r->s->words->connection.connected || strcmp(r->l->rest, "no") == 0 ? PLB_OK : wrong(r, "write yes or no");
}

static plb_status take_condition(reader *r) {
  plb_reference *w = r->s->words;
  plb_stated stated;
  plb_status status = plb_stated_parse(r->l->rest, &stated, r->err);
  plb_condition *grown = status == PLB_OK ? plb_grow(w->condition, w->conditions, &r->conditions, sizeof *grown) : NULL;
  if (grown == NULL)
    return status != PLB_OK ? status : wrong(r, "out of memory");
  w->condition = grown;
  plb_condition *c = &w->condition[w->conditions++];
  *c = (plb_condition){.low = stated.low, .high = stated.high, .stated = true};
  plb_text_copy(c->name, sizeof c->name, stated.name);
  plb_text_copy(c->word, sizeof c->word, stated.word);
  plb_text_copy(c->unit, sizeof c->unit, stated.unit);
  return PLB_OK;
}

static plb_status add_caution(reader *r, const char *name, size_t size) {
  plb_reference *w = r->s->words;
  for (size_t i = 0; i < r->cautions->count; i++) {
    const struct sheet_caution *c = &r->cautions->caution[i];
    if (strlen(c->name) == size && strncmp(c->name, name, size) == 0) {
      plb_string *grown = plb_resize(w->connection.caution, w->connection.cautions + 1, sizeof *grown);
      if (grown == NULL)
        return wrong(r, "out of memory");
      w->connection.caution = grown;
      w->connection.caution[w->connection.cautions++] = plb_strdup(c->text);
      return PLB_OK;
    }
  }
  return wrong(r, "a caution that refs/cautions.txt does not have");
}

static plb_status take_cautions(reader *r) {
  plb_status status = PLB_OK;
  for (const char *at = r->l->rest; status == PLB_OK && *at != '\0';) {
    const size_t n = strcspn(at, " ");
    status = add_caution(r, at, n);
    at += n;
    at += strspn(at, " ");
  }
  return status;
}

static plb_status take_mark(reader *r) {
  char *end = NULL;
  const unsigned long number = strtoul(r->l->rest, &end, 10);
  if (r->s->marks == SHEET_MARKS_MOST || number == 0 || *end != ' ')
    return wrong(r, "write the number of the mark and its name");
  sheet_mark *m = &r->s->mark[r->s->marks++];
  m->number = number;
  return plb_text_copy(m->name, sizeof m->name, end + 1) ? PLB_OK : wrong(r, "the name is too long");
}

/* band NAME FROM TO [UNIT] [CHANNEL [TOLERANCE]]: phases without a unit, Hz or "order" with it */
static plb_status take_band(reader *r) {
  plb_reference *w = r->s->words;
  char name[PLB_NAME_SIZE], from[PLB_NAME_SIZE], to[PLB_NAME_SIZE], word[2][PLB_NAME_SIZE] = {"", ""};
  const int got = sscanf(r->l->rest, "%63s %63s %63s %63s %63s", name, from, to, word[0], word[1]);
  plb_band *grown = got >= 3 && w->bands < SHEET_BANDS_MOST ? plb_grow(w->band, w->bands, &r->bands, sizeof *grown) : NULL;
  if (grown == NULL)
    return wrong(r, "write NAME FROM TO [Hz|order] [CHANNEL]");
  w->band = grown;
  plb_text_copy(r->s->bound[w->bands].from, sizeof r->s->bound[0].from, from);
  plb_text_copy(r->s->bound[w->bands].to, sizeof r->s->bound[0].to, to);
  plb_band *b = &w->band[w->bands++];
  *b = (plb_band){.domain = PLB_BAND_CYCLE, .tolerance = 1.0};
  plb_text_copy(b->name, sizeof b->name, name);
  const bool hertz = strcmp(word[0], "Hz") == 0, order = strcmp(word[0], "order") == 0;
  b->domain = hertz ? PLB_BAND_FREQUENCY : order ? PLB_BAND_ORDER : PLB_BAND_CYCLE;
  plb_text_copy(b->channel, sizeof b->channel, hertz || order ? word[1] : word[0]);
  if (b->domain == PLB_BAND_CYCLE)
    return PLB_OK; /* placed when the marks are known */
  return plb_text_number(from, strlen(from), &b->from) && plb_text_number(to, strlen(to), &b->to) ? PLB_OK : wrong(r, "no numbers");
}

static plb_band *last_band(const reader *r) { return r->s->words->bands > 0 ? &r->s->words->band[r->s->words->bands - 1] : NULL; }

/* "of residual": the level of what the capture's own median cycle leaves, so that neither teeth nor humps count as hash */
static plb_status take_of(reader *r) {
  plb_band *b = last_band(r);
  if (b == NULL || b->domain == PLB_BAND_CYCLE || strcmp(r->l->rest, "residual") != 0)
    return wrong(r, "write residual, below a frequency band");
  b->residual = true;
  return PLB_OK;
}

static plb_status take_good(reader *r) {
  plb_band *b = last_band(r);
  return b != NULL ? set_text(r, &b->good) : wrong(r, "it must stand below a band");
}

/* "low: this first; then that": one pointer for each, the cheapest first */
static plb_status take_pointers(reader *r) {
  plb_band *b = last_band(r);
  if (b == NULL)
    return wrong(r, "it must stand below a band");
  for (const char *at = r->l->rest; *at != '\0';) {
    const size_t n = strcspn(at, ";");
    plb_pointer *grown = plb_resize(b->pointer, b->pointers + 1, sizeof *grown);
    if (grown == NULL || n >= PLB_TEXT_SIZE)
      return wrong(r, "a pointer is too long");
    b->pointer = grown;
    plb_pointer *p = &b->pointer[b->pointers++];
    plb_text_copy(p->direction, sizeof p->direction, r->l->key);
    p->text = plb_calloc(n + 1, 1);
    if (p->text == NULL)
      return wrong(r, "out of memory");
    memcpy(p->text, at, n);
    at += n;
    at += strspn(at, "; ");
  }
  return PLB_OK;
}

/* One word "key=value" of a limit. */
static bool set_limit(plb_reading_limit *m, const char *key, const char *value) {
  const size_t n = strlen(value);
  if (strcmp(key, "channel") == 0)
    return plb_text_copy(m->channel, sizeof m->channel, value);
  if (strcmp(key, "unit") == 0)
    return plb_text_copy(m->unit, sizeof m->unit, value);
  if (strcmp(key, "minus") == 0 || strcmp(key, "plus") == 0) {
    m->combine = key[0] == 'm' ? PLB_COMBINE_DIFFERENCE : PLB_COMBINE_SUM;
    return plb_text_copy(m->against, sizeof m->against, value);
  }
  if (strcmp(key, "share-of") == 0)
    return m->of_supply = strcmp(value, "supply") == 0;
  if (strcmp(key, "low") == 0)
    return plb_text_number(value, n, &m->low);
  if (strcmp(key, "high") == 0)
    return plb_text_number(value, n, &m->high);
  if (strcmp(key, "uncertainty") == 0)
    return plb_text_number(value, n, &m->uncertainty);
  for (plb_limit_statistic k = PLB_LIMIT_VALUE; strcmp(key, "statistic") == 0 && k <= PLB_LIMIT_EACH; k++)
    if (strcmp(value, plb_limit_statistic_name(k)) == 0) {
      m->statistic = k;
      return true;
    }
  return false;
}

/* limit NAME key=value ... : SOURCE */
static plb_status take_limit(reader *r) {
  char words[LINE_MOST];
  const char *colon = strstr(r->l->rest, " : ");
  if (r->s->limits == SHEET_LIMITS_MOST || colon == NULL)
    return wrong(r, "write NAME key=value ... : SOURCE");
  plb_reading_limit *m = &r->s->limit[r->s->limits];
  *m = (plb_reading_limit){.low = NAN, .high = NAN};
  memcpy(words, r->l->rest, (size_t)(colon - r->l->rest));
  words[colon - r->l->rest] = '\0';
  char *rest = NULL;
  const char *name = strtok_r(words, " ", &rest);
  bool good = name != NULL && plb_text_copy(m->name, sizeof m->name, name);
  for (char *word = good ? strtok_r(NULL, " ", &rest) : NULL; good && word != NULL; word = strtok_r(NULL, " ", &rest)) {
    char *equals = strchr(word, '=');
    good = equals != NULL;
    if (good) {
      *equals = '\0';
      good = set_limit(m, word, equals + 1);
    }
  }
  if (!good)
    return wrong(r, "write NAME key=value ... : SOURCE");
  m->source = plb_strdup(colon + 3);
  r->s->limits++;
  return m->source != NULL ? PLB_OK : wrong(r, "out of memory");
}

/* channel ROLE UNIT: of a reference that a standard sets */
static plb_status take_channel(reader *r) {
  plb_reference *w = r->s->words;
  plb_reference_channel *grown = plb_resize(w->channel, w->channels + 1, sizeof *grown);
  if (grown == NULL)
    return wrong(r, "out of memory");
  w->channel = grown;
  plb_reference_channel *c = &w->channel[w->channels++];
  *c = (plb_reference_channel){.amplitude = PLB_RULE_ABSOLUTE, .offset = PLB_RULE_FIXED};
  return sscanf(r->l->rest, "%63s %31s", c->role, c->unit) == 2 ? PLB_OK : wrong(r, "write ROLE UNIT");
}

static plb_status take_standard(reader *r) {
  r->s->standard = true;
  return plb_text_quantity(r->l->rest, "Hz", &r->s->words->connection.rate_needed_hz, r->err);
}

static const struct {
  const char *key;
  plb_status (*take)(reader *);
} keys[] = {{"model", take_model},       {"cycle", take_cycle},         {"exemplars", take_exemplars}, {"draw-rate", take_rate},
            {"draw-duration", take_duration}, {"title", take_title},    {"why", take_why},             {"sources", take_sources},
            {"system", take_system},     {"cylinders", take_cylinders}, {"supply", take_supply},       {"condition", take_condition},
            {"connected", take_connected}, {"test-point", take_test_point}, {"place", take_place},     {"ground", take_ground},
            {"never", take_never},       {"probe", take_probe},         {"range", take_range},         {"coupling", take_coupling},
            {"trigger", take_trigger},   {"cautions", take_cautions},   {"mark", take_mark},           {"band", take_band},
            {"good", take_good},         {"of", take_of},
            {"low", take_pointers},        {"high", take_pointers},       {"early", take_pointers},
            {"late", take_pointers},     {"noisy", take_pointers},      {"missing", take_pointers},    {"limit", take_limit},
            {"channel", take_channel},   {"standard", take_standard}};

static plb_status take_line(reader *r) {
  for (size_t k = 0; k < sizeof keys / sizeof *keys; k++)
    if (strcmp(r->l->key, keys[k].key) == 0)
      return keys[k].take(r);
  return wrong(r, "no such line; refs/README.md lists them");
}

static plb_status finish(sheet *s, const char *name, plb_error *err) {
  plb_reference *w = s->words;
  const size_t type = strcspn(name, "/");
  if (type >= sizeof w->type || !plb_text_copy(w->name, sizeof w->name, name))
    return plb_fail(err, PLB_EDATA, "the name is too long");
  memcpy(w->type, name, type);
  w->type[type] = '\0';
  if (s->family == NULL && !s->standard)
    return plb_fail(err, PLB_EDATA, "no model is named; add a line \"model FAMILY\", or \"standard RATE\"");
  if (s->standard)
    return plb_cycle_spec_parse("steady", &w->choice.spec, err);
  return s->own_cycle ? PLB_OK : plb_cycle_spec_parse(s->family->cycle, &w->choice.spec, err);
}

plb_status sheet_read(sheet *out, const char *path, const char *name, const sheet_cautions *cautions, plb_error *err) {
  *out = (sheet){.words = plb_reference_new(), .exemplars = 24};
  plb_text_copy(out->path, sizeof out->path, path);
  char *data = NULL;
  size_t size = 0;
  plb_status status = out->words != NULL ? plb_file_read(path, SHEET_MOST, &data, &size, err) : PLB_ENOMEM;
  if (status != PLB_OK)
    return status;
  lines l = {.at = data, .next = 1};
  reader r = {.s = out, .cautions = cautions, .l = &l, .err = err};
  int got = 0;
  while (status == PLB_OK && (got = next_line(&l)) > 0)
    status = take_line(&r);
  free(data);
  if (status == PLB_OK && got < 0)
    status = wrong(&r, "the line is too long");
  if (status == PLB_OK)
    status = finish(out, name, err);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, path);
}

void sheet_dispose(sheet *s) {
  plb_reference_free(s->words);
  free((char *)(uintptr_t)s->state);
  for (size_t i = 0; i < s->limits; i++)
    free(s->limit[i].source);
  *s = (sheet){.words = NULL};
}

/* ---- bounds ---- */

/* "rise-1" is the mark "rise 1"; -1: none. Sets `used` to what was read. */
static int find_mark(const plb_cycle_choice *choice, const char *text, size_t *used) {
  int best = -1;
  *used = 0;
  for (size_t k = 0; k < choice->landmarks; k++) {
    const char *name = choice->landmark[k].name;
    size_t n = 0;
    while (name[n] != '\0' && (text[n] == name[n] || (text[n] == '-' && name[n] == ' ')))
      n++;
    if (name[n] == '\0' && n > *used) {
      best = (int)k;
      *used = n;
    }
  }
  return best;
}

/* Phases from a mark to `seconds` behind (or before) it: by the stretch there where stretches are laid out, else by the typical rate. */
static double phases_of(const plb_cycle_choice *c, int mark, bool behind, double seconds) {
  for (size_t k = 0; k < c->spans; k++) {
    const plb_span *span = &c->span[k];
    if (span->duration_s > 0 && (int)(behind ? span->from : span->to) == mark)
      return behind ? plb_span_phase(c, k, seconds)
                    : plb_span_phase(c, k, span->duration_s) - plb_span_phase(c, k, span->duration_s - seconds);
  }
  return seconds * sqrt(c->rate_low_hz * c->rate_high_hz);
}

static bool place(const plb_cycle_choice *c, const char *text, double *out) {
  size_t used = 0;
  if (plb_text_number(text, strlen(text), out))
    return *out >= 0 && *out <= 1;
  const int mark = find_mark(c, text, &used);
  if (mark < 0)
    return false;
  *out = c->landmark[mark].phase;
  const char *offset = text + used;
  double shift = 0;
  plb_error none = PLB_ERROR_INIT;
  if (*offset == '\0')
    return true;
  const bool behind = *offset == '+', seconds = offset[strlen(offset) - 1] == 's';
  if (*offset != '+' && *offset != '-')
    return false;
  if (!seconds && !plb_text_number(offset + 1, strlen(offset + 1), &shift))
    return false;
  if (seconds && plb_text_quantity(offset + 1, "s", &shift, &none) != PLB_OK)
    return false;
  shift = seconds ? phases_of(c, mark, behind, shift) : shift;
  *out = fmax(0.0, fmin(1.0, *out + (behind ? shift : -shift)));
  return true;
}

plb_status sheet_place_bands(sheet *s, const plb_cycle_choice *choice, plb_error *err) {
  for (size_t b = 0; b < s->words->bands; b++) {
    plb_band *band = &s->words->band[b];
    if (band->domain != PLB_BAND_CYCLE)
      continue;
    if (!place(choice, s->bound[b].from, &band->from) || !place(choice, s->bound[b].to, &band->to) || !(band->to > band->from)) {
      char marks[160] = "";
      for (size_t k = 0, n = 0; k < choice->landmarks && n < 120; k++)
        n += (size_t)plb_text_print(marks + n, sizeof marks - n, " \"%.20s\" %.3f", choice->landmark[k].name, choice->landmark[k].phase);
      return plb_fail(err, PLB_EDATA, "section %s cannot lie from %s to %s (%.3f to %.3f); the marks are%s", band->name, s->bound[b].from,
                      s->bound[b].to, band->from, band->to, marks);
    }
  }
  return PLB_OK;
}
