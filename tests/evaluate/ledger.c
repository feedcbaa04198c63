/*
 * The file of results: one block of lines for each redraw of a family, ended by a line "done". A block without that line
 * (the run was stopped while writing) counts for nothing and its redraw is made again. Fields are parted by blanks; the
 * first line holds the options, so that what was counted otherwise is never mixed in.
 */
#include "evaluate.h"
#include "core/core.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

typedef struct entry {
  char family[PLB_NAME_SIZE];
  unsigned redraw;
  eval_tally tally;
  bool done;
} entry;

struct eval_ledger {
  FILE *file;
  entry *list;
  size_t count;
};

/* What must be the same for counts to be added: everything but the families and the number of redraws. */
static void say_options(char *out, size_t size, const eval_options *o) {
  plb_text_print(out, size, "evaluation seed %llu fresh %u sessions %d full-only %d unsuitable %d cycle %s n", (unsigned long long)o->seed,
                 o->fresh, o->sessions, o->quick, o->unsuitable, o->cycle ? o->cycle : "-");
  for (size_t k = 0; k < o->sizes; k++)
    plb_text_print(out + strlen(out), size - strlen(out), " %zu", o->size[k]);
}

static entry *entry_of(eval_ledger *l, const char *family, unsigned redraw) {
  for (size_t i = 0; i < l->count; i++)
    if (l->list[i].redraw == redraw && strcmp(l->list[i].family, family) == 0)
      return &l->list[i];
  entry *list = plb_resize(l->list, l->count + 1, sizeof *list);
  if (!list)
    return NULL;
  l->list = list;
  list += l->count++;
  *list = (entry){.redraw = redraw};
  plb_text_copy(list->family, sizeof list->family, family);
  return list;
}

static bool read_good(eval_tally *t, const char *text) {
  eval_good_row g = {0};
  unsigned long long v[7];
  size_t k;
  if (sscanf(text, "%zu %llu %llu %llu %llu %lf %llu %llu %lf %lf %llu", &k, &v[0], &v[1], &v[2], &v[3], &g.promise, &v[4],
             &v[5], &g.learn_s, &g.judge_s, &v[6]) != 11 || k >= EVAL_SIZES)
    return false;
  g.judged = v[0], g.departs = v[1], g.squares = v[1] * v[1], g.borderline = v[2], g.unjudged = v[3];
  g.learned = v[4], g.refused = v[5], g.judgements = v[6];
  t->good[k] = g;
  return true;
}

static bool read_fault(eval_tally *t, const char *text) {
  char name[PLB_NAME_SIZE];
  double severity;
  unsigned long long v[8];
  if (sscanf(text, "%63s %lf %llu %llu %llu %llu %llu %llu %llu %llu", name, &severity, &v[0], &v[1], &v[2], &v[3], &v[4],
             &v[5], &v[6], &v[7]) != 10)
    return false;
  eval_fault_row *f = eval_fault_row_of(t, name, severity);
  if (!f)
    return false;
  f->tried = v[0], f->found = v[1], f->borderline = v[2], f->unjudged = v[3];
  f->agrees = v[4], f->placed = v[5], f->right = v[6], f->none = v[7];
  return true;
}

static bool read_code(eval_tally *t, const char *text) {
  char name[PLB_NAME_SIZE];
  unsigned long long v[5];
  if (sscanf(text, "%63s %llu %llu %llu %llu %llu", name, &v[0], &v[1], &v[2], &v[3], &v[4]) != 6)
    return false;
  eval_code_row *c = eval_code_row_of(t, name);
  if (!c)
    return false;
  c->tried = v[0], c->coded = v[1], c->agrees = v[2], c->unjudged = v[3], c->none = v[4];
  return true;
}

/* @return false: the line is not one of ours; a line that the end of a run cut is one of them */
static bool read_line(eval_ledger *l, const char *line) {
  char kind[16], family[PLB_NAME_SIZE];
  unsigned redraw;
  int at = 0;
  if (sscanf(line, "%15s %63s %u %n", kind, family, &redraw, &at) != 3)
    return false;
  entry *e = entry_of(l, family, redraw);
  if (!e)
    return false;
  const char *rest = line + at;
  if (strcmp(kind, "begin") == 0) {
    eval_tally_dispose(&e->tally);
    e->done = false;
    return true;
  }
  if (strcmp(kind, "done") == 0) {
    e->done = true;
    return true;
  }
  if (strcmp(kind, "refusal") == 0) {
    plb_text_copy(e->tally.refusal, sizeof e->tally.refusal, rest);
    return true;
  }
  return strcmp(kind, "good") == 0    ? read_good(&e->tally, rest)
         : strcmp(kind, "fault") == 0 ? read_fault(&e->tally, rest)
         : strcmp(kind, "code") == 0  ? read_code(&e->tally, rest)
                                      : false;
}

static plb_status read_all(eval_ledger *l, FILE *f, const char *path, const eval_options *o, plb_error *err) {
  char line[1024], head[512];
  say_options(head, sizeof head, o);
  for (unsigned number = 1; fgets(line, sizeof line, f); number++) {
    const size_t length = strcspn(line, "\n");
    line[length] = '\0';
    if (number == 1 && strcmp(line, head) != 0)
      return plb_fail(err, PLB_EDATA, "%s: was made with other options (\"%s\"); name another file", path, line);
    if (number > 1 && length)
      read_line(l, line);
  }
  return PLB_OK;
}

plb_status eval_ledger_open(eval_ledger **out, const char *path, const eval_options *o, plb_error *err) {
  eval_ledger *l = plb_calloc(1, sizeof *l);
  plb_status status = l ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  FILE *old = l ? fopen(path, "r") : NULL;
  char head[512];
  *out = NULL;
  if (old) {
    status = read_all(l, old, path, o, err);
    fclose(old);
  }
  if (!status)
    l->file = fopen(path, "a");
  if (!status && !l->file)
    status = plb_fail(err, PLB_ECREATE, "%s cannot be written; name another file", path);
  if (!status) {
    say_options(head, sizeof head, o);
    fprintf(l->file, "%s\n", old ? "" : head); /* a cut line is ended */
    fflush(l->file);
    *out = l;
    return PLB_OK;
  }
  eval_ledger_close(l);
  return status;
}

void eval_ledger_close(eval_ledger *l) {
  if (!l)
    return;
  for (size_t i = 0; i < l->count; i++)
    eval_tally_dispose(&l->list[i].tally);
  free(l->list);
  if (l->file)
    fclose(l->file);
  free(l);
}

const eval_tally *eval_ledger_find(const eval_ledger *l, const char *family, unsigned redraw) {
  for (size_t i = 0; i < l->count; i++)
    if (l->list[i].done && l->list[i].redraw == redraw && strcmp(l->list[i].family, family) == 0)
      return &l->list[i].tally;
  return NULL;
}

plb_status eval_ledger_add(eval_ledger *l, const char *family, unsigned redraw, const eval_tally *t, const eval_options *o,
                           plb_error *err) {
  fprintf(l->file, "begin %s %u\n", family, redraw);
  if (t->refusal[0])
    fprintf(l->file, "refusal %s %u %s\n", family, redraw, t->refusal);
  for (size_t k = 0; k < o->sizes; k++) {
    const eval_good_row *g = &t->good[k];
    fprintf(l->file, "good %s %u %zu %llu %llu %llu %llu %.9g %llu %llu %.6g %.6g %llu\n", family, redraw, k,
            (unsigned long long)g->judged, (unsigned long long)g->departs, (unsigned long long)g->borderline,
            (unsigned long long)g->unjudged, g->promise, (unsigned long long)g->learned, (unsigned long long)g->refused,
            g->learn_s, g->judge_s, (unsigned long long)g->judgements);
  }
  for (size_t i = 0; i < t->faults; i++) {
    const eval_fault_row *f = &t->fault[i];
    fprintf(l->file, "fault %s %u %s %g %llu %llu %llu %llu %llu %llu %llu %llu\n", family, redraw, f->name, f->severity,
            (unsigned long long)f->tried, (unsigned long long)f->found, (unsigned long long)f->borderline,
            (unsigned long long)f->unjudged, (unsigned long long)f->agrees, (unsigned long long)f->placed,
            (unsigned long long)f->right, (unsigned long long)f->none);
  }
  for (size_t i = 0; i < t->codes; i++) {
    const eval_code_row *c = &t->code[i];
    fprintf(l->file, "code %s %u %s %llu %llu %llu %llu %llu\n", family, redraw, c->name, (unsigned long long)c->tried,
            (unsigned long long)c->coded, (unsigned long long)c->agrees, (unsigned long long)c->unjudged,
            (unsigned long long)c->none);
  }
  fprintf(l->file, "done %s %u\n", family, redraw);
  return fflush(l->file) == 0 ? PLB_OK : plb_fail(err, PLB_EIO, "the file of results cannot be written; make room");
}
