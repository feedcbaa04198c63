/*
 * How small a fault each shipped reference finds: evaluate-references REFS DRAWS [TYPE/NAME...]. For every modelled reference and every own
 * fault of its model it judges DRAWS fresh draws at full severity; where at least 95 % depart, it halves its way through the smaller steps
 * to the smallest of which 95 % depart too, taking for granted that what is found at one step is found at all above it. It prints them as a
 * table, with the false alarms among as many good fresh draws. A step is given up as soon as too many of its draws do not depart.
 * Everything is modelled. Seeds: from 8800001, which no reference learned.
 */
#include "model/model.h"
#include "reference/model.h"
#include <dirent.h>
#include <math.h>
#include <plumbline/compare.h>
#include <stdio.h>
#include <string.h>

static const uint64_t fresh_seed = 8800001;
static const double severities[] = {1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1};
enum { SEVERITIES = sizeof severities / sizeof severities[0] };
static const double enough = 0.95;

typedef struct counts {
  unsigned departs, doubtful, unjudged, agrees;
} counts;

static void add(counts *c, plb_word word) {
  c->departs += word == PLB_DEPARTS;
  c->doubtful += word == PLB_BORDERLINE;
  c->unjudged += word == PLB_UNJUDGED;
  c->agrees += word == PLB_AGREES;
}

/* Gives up, with fewer draws counted, once more than `most_missed` of them do not depart. */
static counts judge_draws(const plb_judge *judge, const plb_model_family *f, const char *fault, double severity, unsigned draws,
                          unsigned most_missed) {
  counts c = {0};
#pragma omp parallel for schedule(dynamic)
  for (unsigned i = 0; i < draws; i++) {
    unsigned missed;
#pragma omp critical(add)
    missed = c.doubtful + c.unjudged + c.agrees;
    if (missed > most_missed)
      continue;
    plb_error err = PLB_ERROR_INIT;
    plb_model_request request = PLB_MODEL_REQUEST_INIT;
    plb_capture *capture = NULL;
    plb_verdict *v = NULL;
    plb_compare_options options = PLB_COMPARE_OPTIONS_INIT;
    options.connected = true;
    options.drawing = false;
    request.seed = fresh_seed + i;
    request.fault = fault;
    request.severity = severity;
    plb_word word = PLB_UNJUDGED;
    if (plb_model_draw(&capture, f, &request, NULL, &err) == PLB_OK && plb_judge_capture(&v, judge, capture, &options, &err) == PLB_OK)
      word = v->word;
#pragma omp critical(add)
    add(&c, word);
    plb_verdict_free(v);
    plb_capture_free(capture);
  }
  return c;
}

static const plb_model_family *family_of(const plb_reference *r) {
  for (size_t i = 0; i < plb_model_count(); i++) {
    char word[160];
    plb_text_print(word, sizeof word, "of the model %s,", plb_model_at(i)->name);
    if (r->method != NULL && strstr(r->method, word) != NULL)
      return plb_model_at(i);
  }
  return NULL;
}

static void try_fault(const plb_judge *judge, const plb_model_family *f, const plb_model_fault *fault, unsigned draws) {
  const unsigned most_missed = draws - (unsigned)ceil(enough * draws - 1e-9);
  const counts full = judge_draws(judge, f, fault->name, severities[0], draws, draws);
  int found = 0, not_found = SEVERITIES; /* steps; between them it is not known yet */
  while (full.departs + most_missed >= draws && not_found - found > 1) {
    const int k = (found + not_found) / 2;
    const counts c = judge_draws(judge, f, fault->name, severities[k], draws, most_missed);
    if (c.departs + most_missed >= draws)
      found = k;
    else
      not_found = k;
  }
  if (full.departs + most_missed >= draws)
    printf("| %s | %.2g | |\n", fault->name, severities[found]);
  else
    printf("| %s | not at full severity | %u of %u depart, %u doubtful, %u cannot tell, %u agree |\n", fault->name, full.departs, draws, full.doubtful,
           full.unjudged, full.agrees);
  fflush(stdout);
}

static int evaluate(const char *path, const char *name, unsigned draws) {
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = NULL;
  plb_judge *judge = NULL;
  int status = 0;
  const plb_model_family *f = NULL;
  if (plb_reference_read(&r, path, &err) != PLB_OK) {
    fprintf(stderr, "evaluate-references: %s: %s\n", path, err.message);
    return 65;
  }
  if (r->provenance != PLB_MODELLED)
    goto done;
  f = family_of(r);
  if (f == NULL || plb_judge_new(&judge, r, &err) != PLB_OK) {
    fprintf(stderr, "evaluate-references: %s: %s\n", name, f ? err.message : "names no model");
    status = 65;
    goto done;
  }
  const counts good = judge_draws(judge, f, NULL, 0, draws, draws);
  printf("\n**%s**: %u of %u good draws depart, %u doubtful, %u cannot tell\n\n| fault | smallest severity found | at full severity |\n|---|---|---|\n",
         name, good.departs, draws, good.doubtful, good.unjudged);
  for (size_t k = 0; k < f->faults; k++)
    try_fault(judge, f, &f->fault[k], draws);
done:
  plb_judge_free(judge);
  plb_reference_free(r);
  return status;
}

/* One or all entries of a folder, in the order of their names. */
static int by_name(const struct dirent **a, const struct dirent **b) { return strcmp((*a)->d_name, (*b)->d_name); }
static int seen(const struct dirent *e) { return e->d_name[0] != '.'; }

static bool asked_for(const char *name, int count, char **words) {
  for (int i = 0; i < count; i++)
    if (strncmp(name, words[i], strlen(words[i])) == 0)
      return true;
  return count == 0;
}

static int evaluate_type(const char *refs, const char *type, unsigned draws, int count, char **words) {
  char folder[PLB_PATH_SIZE];
  struct dirent **entry = NULL;
  int status = 0;
  plb_text_print(folder, sizeof folder, "%s/references/%s", refs, type);
  const int n = scandir(folder, &entry, seen, by_name);
  for (int i = 0; i < n; i++) {
    char name[PLB_TEXT_SIZE], path[2 * PLB_PATH_SIZE];
    plb_text_print(name, sizeof name, "%s/%s", type, entry[i]->d_name);
    plb_text_print(path, sizeof path, "%s/%s/0001.xml", folder, entry[i]->d_name);
    if (status == 0 && asked_for(name, count, words))
      status = evaluate(path, name, draws);
    free(entry[i]);
  }
  free(entry);
  return status;
}

int main(int count, char **words) {
  const unsigned draws = count > 2 ? (unsigned)strtoul(words[2], NULL, 10) : 0;
  if (draws == 0) {
    fputs("usage: evaluate-references REFS DRAWS [TYPE/NAME...]\n", stderr);
    return 64;
  }
  char folder[PLB_PATH_SIZE];
  struct dirent **entry = NULL;
  int status = 0;
  plb_text_print(folder, sizeof folder, "%s/references", words[1]);
  const int n = scandir(folder, &entry, seen, by_name);
  for (int i = 0; i < n; i++) {
    if (status == 0)
      status = evaluate_type(words[1], entry[i]->d_name, draws, count - 3, words + 3);
    free(entry[i]);
  }
  free(entry);
  return n < 0 ? 66 : status;
}
