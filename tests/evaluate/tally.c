/* Counting: rows by name, added up over redraws. */
#include "evaluate.h"
#include "core/core.h"
#include <math.h>
#include <string.h>

eval_fault_row *eval_fault_row_of(eval_tally *tally, const char *name, double severity) {
  for (size_t i = 0; i < tally->faults; i++) {
    const bool same = tally->fault[i].severity == severity || (isnan(severity) && isnan(tally->fault[i].severity));
    if (same && strcmp(tally->fault[i].name, name) == 0)
      return &tally->fault[i];
  }
  eval_fault_row *list = plb_resize(tally->fault, tally->faults + 1, sizeof *list);
  if (!list)
    return NULL;
  tally->fault = list;
  list += tally->faults++;
  *list = (eval_fault_row){.severity = severity};
  plb_text_copy(list->name, sizeof list->name, name);
  return list;
}

eval_code_row *eval_code_row_of(eval_tally *tally, const char *name) {
  for (size_t i = 0; i < tally->codes; i++)
    if (strcmp(tally->code[i].name, name) == 0)
      return &tally->code[i];
  eval_code_row *list = plb_resize(tally->code, tally->codes + 1, sizeof *list);
  if (!list)
    return NULL;
  tally->code = list;
  list += tally->codes++;
  *list = (eval_code_row){0};
  plb_text_copy(list->name, sizeof list->name, name);
  return list;
}

static void add_good(eval_good_row *to, const eval_good_row *from) {
  to->judged += from->judged;
  to->departs += from->departs;
  to->squares += from->squares;
  to->borderline += from->borderline;
  to->unjudged += from->unjudged;
  to->promise += from->promise;
  to->learned += from->learned;
  to->refused += from->refused;
  to->learn_s += from->learn_s;
  to->judge_s += from->judge_s;
  to->judgements += from->judgements;
}

void eval_tally_add(eval_tally *to, const eval_tally *from) {
  if (from->family)
    to->family = from->family;
  to->draw_s += from->draw_s;
  if (from->refusal[0] && !to->refusal[0])
    plb_text_copy(to->refusal, sizeof to->refusal, from->refusal);
  for (size_t k = 0; k < EVAL_SIZES; k++)
    add_good(&to->good[k], &from->good[k]);
  for (size_t i = 0; i < from->faults; i++) {
    const eval_fault_row *f = &from->fault[i];
    eval_fault_row *t = eval_fault_row_of(to, f->name, f->severity);
    if (!t)
      continue;
    t->tried += f->tried;
    t->found += f->found;
    t->borderline += f->borderline;
    t->unjudged += f->unjudged;
    t->agrees += f->agrees;
    t->placed += f->placed;
    t->right += f->right;
    t->unworthy += f->unworthy;
    t->none += f->none;
  }
  for (size_t i = 0; i < from->codes; i++) {
    const eval_code_row *f = &from->code[i];
    eval_code_row *t = eval_code_row_of(to, f->name);
    if (!t)
      continue;
    t->tried += f->tried;
    t->coded += f->coded;
    t->agrees += f->agrees;
    t->unjudged += f->unjudged;
    t->none += f->none;
  }
}

void eval_tally_dispose(eval_tally *tally) {
  free(tally->fault);
  free(tally->code);
  *tally = (eval_tally){0};
}
