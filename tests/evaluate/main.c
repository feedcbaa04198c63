/* Evaluate: see README.md beside this file. */
#include "evaluate.h"
#include "core/core.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static const char usage[] =
    "usage: run [--family F]... [--redraws R] [--fresh K] [--n 6,10,20,30] [--seed S] [--cycle SPEC]\n"
    "           [--sessions] [--faults] [--misses] [--words] [--sentences] [--full-only] [--unsuitable] [--quick] [--least SHARE]\n"
    "           [--into FILE] [--table]\n"
    "           [FOLDER...]\n"
    "Learns from good captures of the models (or of FOLDERs with good-*.csv and fault-NAME-*.csv), judges others, counts.\n"
    "  --quick      seven families, two redraws, n = 6 and 20\n"
    "  --sessions   exemplars in groups: four recordings of each vehicle\n"
    "  --faults     print each fault, not only the weak ones\n"
    "  --misses     print each judgement that is not the right one\n"
    "  --words      read the sentence about each fault found; print those that say too little, fail on nothing else\n"
    "  --sentences  print all of them: ! says too little, ? names a place that the fault does not change\n"
    "  --full-only  faults at full severity only\n"
    "  --unsuitable only the captures that no one should judge: no fresh good ones, no faults\n"
    "  --least      fail only on false alarms above the promise, and when less than SHARE percent of the faults at full\n"
    "               severity are found; the other promises are printed\n"
    "  --into FILE  keep what each redraw of a family counted in FILE; a rerun takes up where the last one was stopped\n"
    "  --table      run nothing: print the table of what stands in the file of --into\n";

static bool parse_sizes(eval_options *o, const char *text) {
  o->sizes = 0;
  while (*text && o->sizes < EVAL_SIZES) {
    char *end;
    const unsigned long n = strtoul(text, &end, 10);
    if (end == text || n < 3 || (o->sizes && n <= o->size[o->sizes - 1]))
      return false;
    o->size[o->sizes++] = n;
    text = *end == ',' ? end + 1 : end;
    if (*end && *end != ',')
      return false;
  }
  return o->sizes > 0 && !*text;
}

static void take_quick(eval_options *o) {
  o->redraws = 2;
  o->quick = true;
  o->sizes = 2;
  o->size[0] = 6;
  o->size[1] = 20;
  for (size_t i = 0; i < plb_model_count(); i++)
    if (eval_is_quick_family(plb_model_at(i)->name))
      o->family[o->families++] = plb_model_at(i)->name;
}

/* @return the number of folders, -1: usage */
static int parse(eval_options *o, int argc, char **argv, const char **folder) {
  int folders = 0;
  for (int i = 1; i < argc; i++) {
    const char *a = argv[i], *value = i + 1 < argc ? argv[i + 1] : NULL;
    const bool takes = strcmp(a, "--family") == 0 || strcmp(a, "--redraws") == 0 || strcmp(a, "--n") == 0 ||
                       strcmp(a, "--seed") == 0 || strcmp(a, "--cycle") == 0 || strcmp(a, "--fresh") == 0 || strcmp(a, "--least") == 0 ||
                       strcmp(a, "--into") == 0;
    if (takes && !value)
      return -1;
    i += takes;
    if (strcmp(a, "--family") == 0 && o->families < EVAL_FAMILIES)
      o->family[o->families++] = value;
    else if (strcmp(a, "--redraws") == 0)
      o->redraws = (unsigned)strtoul(value, NULL, 10);
    else if (strcmp(a, "--fresh") == 0)
      o->fresh = (unsigned)strtoul(value, NULL, 10);
    else if (strcmp(a, "--least") == 0)
      o->least = strtod(value, NULL) / 100.0;
    else if (strcmp(a, "--seed") == 0)
      o->seed = strtoull(value, NULL, 10);
    else if (strcmp(a, "--cycle") == 0)
      o->cycle = value;
    else if (strcmp(a, "--into") == 0)
      o->into = value;
    else if (strcmp(a, "--table") == 0)
      o->table = true;
    else if (strcmp(a, "--n") == 0) {
      if (!parse_sizes(o, value))
        return -1;
    } else if (strcmp(a, "--sessions") == 0)
      o->sessions = true;
    else if (strcmp(a, "--faults") == 0)
      o->faults = true;
    else if (strcmp(a, "--words") == 0)
      o->words = true;
    else if (strcmp(a, "--sentences") == 0)
      o->words = o->sentences = true;
    else if (strcmp(a, "--misses") == 0)
      o->misses = true;
    else if (strcmp(a, "--full-only") == 0)
      o->quick = true;
    else if (strcmp(a, "--unsuitable") == 0)
      o->unsuitable = true;
    else if (strcmp(a, "--quick") == 0)
      take_quick(o);
    else if (a[0] == '-' || folders >= EVAL_FAMILIES)
      return -1;
    else
      folder[folders++] = a;
  }
  if (o->into ? folders > 0 : o->table) /* a folder's names may hold blanks, and it is soon done */
    return -1;
  return o->redraws > 0 && o->fresh > 0 ? folders : -1;
}

static plb_status run_redraw(eval_tally *tally, const plb_model_family *family, const char *folder,
                             const eval_options *o, unsigned redraw, plb_error *err) {
  eval_set set = {0};
  plb_status status = family ? eval_set_from_model(&set, family, o, redraw, err)
                             : eval_set_from_folder(&set, folder, o, redraw, err);
  if (!status)
    status = eval_run(tally, &set, o, err);
  eval_set_dispose(&set);
  return status;
}

/* What is evaluated: families of models, or folders. */
typedef struct subject {
  const plb_model_family *family; /* NULL: a folder */
  const char *name;
} subject;

static void run_job(eval_tally *tally, eval_ledger *ledger, const subject *s, const eval_options *o, unsigned redraw,
                    int *code) {
  eval_tally own = {0};
  plb_error err = PLB_ERROR_INIT;
  const plb_status status = run_redraw(&own, s->family, s->name, o, redraw, &err);
#pragma omp critical(eval_add)
  {
    plb_status kept = PLB_OK;
    if (!status) {
      eval_tally_add(tally, &own);
      kept = ledger ? eval_ledger_add(ledger, s->name, redraw, &own, o, &err) : PLB_OK;
    }
    if (status || kept) {
      fprintf(stderr, "evaluate: %s: redraw %u: %s\n", s->name, redraw, err.message);
      *code = plb_status_exit(status ? status : kept);
    }
  }
  eval_tally_dispose(&own);
}

/*
 * Redraws run side by side, first one of every family, then the next: a run that is stopped has looked at all of them.
 * What is counted does not depend on the order.
 * @return exit status; `done`: redraws counted
 */
static int run_all(eval_tally *tally, eval_ledger *ledger, const subject *list, size_t count, const eval_options *o,
                   size_t *done) {
  int code = 0;
  *done = 0;
#pragma omp parallel for schedule(dynamic)
  for (size_t job = 0; job < count * o->redraws; job++) {
    const size_t i = job % count;
    const unsigned redraw = (unsigned)(job / count);
    const eval_tally *old = NULL;
#pragma omp critical(eval_add)
    {
      old = ledger ? eval_ledger_find(ledger, list[i].name, redraw) : NULL;
      if (old)
        eval_tally_add(&tally[i], old);
      *done += old || !o->table;
    }
    if (!old && !o->table)
      run_job(&tally[i], ledger, &list[i], o, redraw, &code);
  }
  return code;
}

static plb_status list_subjects(subject *list, size_t *count, const char *const *folder, size_t folders,
                                const eval_options *o, plb_error *err) {
  *count = folders ? folders : o->families ? o->families : plb_model_count();
  if (*count > EVAL_FAMILIES)
    return plb_fail(err, PLB_EINTERNAL, "more families than the table has room for");
  for (size_t i = 0; i < *count; i++) {
    if (folders) {
      list[i] = (subject){NULL, folder[i]};
      continue;
    }
    list[i].family = o->families ? plb_model_find(o->family[i]) : plb_model_at(i);
    if (!list[i].family)
      return plb_fail(err, PLB_EUSAGE, "no family \"%s\"; the names are those of the models", o->family[i]);
    list[i].name = list[i].family->name;
  }
  return PLB_OK;
}

int main(int argc, char **argv) {
  eval_options o = {.size = {6, 10, 20, 30}, .sizes = 4, .redraws = 20, .fresh = 10, .seed = 20261125};
  static const char *folder[EVAL_FAMILIES];
  static eval_tally tally[EVAL_FAMILIES];
  static subject list[EVAL_FAMILIES];
  const time_t start = time(NULL);
  const int folders = parse(&o, argc, argv, folder);
  if (folders < 0) {
    fputs(usage, stderr);
    return 64;
  }
  eval_ledger *ledger = NULL;
  plb_error err = PLB_ERROR_INIT;
  size_t count = 0, done = 0;
  plb_status status = list_subjects(list, &count, folder, (size_t)folders, &o, &err);
  if (!status && o.into)
    status = eval_ledger_open(&ledger, o.into, &o, &err);
  if (status) {
    fprintf(stderr, "evaluate: %s\n", err.message);
    return plb_status_exit(status);
  }
  o.folder = folders ? "files" : NULL;
  if (!o.words)
    eval_print_head(&o);
  const int code = run_all(tally, ledger, list, count, &o, &done);
  for (size_t i = 0; i < count; i++) {
    tally[i].family = tally[i].family ? tally[i].family : list[i].name;
    if (!o.words)
      eval_print_family(&tally[i], &o);
  }
  if (done < count * o.redraws)
    printf("\n%zu of %zu redraws stand in the file: the table is of those\n", done, count * o.redraws);
  const size_t failed = o.words ? eval_print_words(tally, count) : eval_print_sum(tally, count, &o);
  fprintf(stderr, "%.0f s\n", difftime(time(NULL), start));
  for (size_t i = 0; i < count; i++)
    eval_tally_dispose(&tally[i]);
  eval_ledger_close(ledger);
  return code ? code : failed ? 1 : 0;
}
