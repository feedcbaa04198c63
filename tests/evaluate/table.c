/* The tables, and what they say about the promises. */
#include "evaluate.h"
#include "signal/signal.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* What is promised. */
static const double found_share = 0.97, right_share = 0.95, fault_share = 0.9, code_share = 0.99;
enum { ENOUGH = 20 }; /* from so many tries on a share is taken as it is; below, only what is significantly too low fails */

static double percent(uint64_t k, uint64_t n) { return n ? 100.0 * (double)k / (double)n : 0.0; }

/*
 * Clopper and Pearson for captures of which ten at a time are judged against the same known-good: one unlucky draw of exemplars
 * makes several false alarms. The design effect (Kish, Survey Sampling, 1965: variance between redraws over that of as many
 * single draws) says how many single draws they are worth. Below five redraws it cannot be told and is taken as 1.
 */
static void interval(const eval_good_row *g, double alpha, double *low, double *high) {
  const double redraws = (double)g->learned, each = (double)g->judged / redraws;
  const double share = (double)g->departs / (double)g->judged, mean = (double)g->departs / redraws;
  double effect = 1.0;
  if (g->learned >= 5 && share > 0.0 && share < 1.0) {
    const double variance = ((double)g->squares - redraws * mean * mean) / (redraws - 1.0);
    effect = fmax(variance / (each * share * (1.0 - share)), 1.0);
  }
  plb_clopper_pearson((uint64_t)((double)g->departs / effect + 0.5), (uint64_t)((double)g->judged / effect + 0.5), alpha, low,
                      high);
}

void eval_print_head(const eval_options *o) {
  printf("%s, seed %llu, %u redraws, %u fresh good captures each%s\n", o->folder ? o->folder : "modelled",
         (unsigned long long)o->seed, o->redraws, o->fresh, o->sessions ? ", exemplars in sessions of one vehicle" : "");
  printf("%-30s %3s %8s %28s  %4s %4s %4s  %6s %6s %6s %6s\n", "family", "n", "promise", "false alarms (95 % interval)",
         ".25", ".5", "1", "place", "unjud.", "learn", "judge");
}

/* Over all sizes: how many captures of this severity were found. */
static void sum_faults(const eval_tally *t, double severity, eval_fault_row *out) {
  *out = (eval_fault_row){0};
  for (size_t i = 0; i < t->faults; i++) {
    const eval_fault_row *f = &t->fault[i];
    if (f->severity == severity || (isnan(f->severity) && severity >= 1.0)) {
      out->tried += f->tried;
      out->found += f->found;
      out->placed += f->placed;
      out->right += f->right;
      out->unworthy += f->unworthy;
      out->unjudged += f->unjudged;
      out->agrees += f->agrees;
    }
  }
}

static void print_share(char out[8], uint64_t k, uint64_t n) {
  if (n == 0)
    snprintf(out, 8, "-");
  else
    snprintf(out, 8, "%.0f", percent(k, n));
}

static void print_good(const eval_tally *t, const eval_options *o, size_t k) {
  const eval_good_row *g = &t->good[k];
  double low = 0.0, high = 1.0;
  if (g->learned == 0)
    return;
  interval(g, 0.05, &low, &high);
  printf("%-30s %3zu %7.1f%% %4llu/%-5llu %4.1f%% (%4.1f..%4.1f)", k == 0 ? t->family : "", o->size[k],
         100.0 * g->promise / (double)g->learned, (unsigned long long)g->departs, (unsigned long long)g->judged,
         percent(g->departs, g->judged), 100.0 * low, 100.0 * high);
  char share[4][8];
  const double severity[] = {0.25, 0.5, 1.0};
  for (int s = 0; s < 3; s++) {
    eval_fault_row f;
    sum_faults(t, severity[s], &f);
    print_share(share[s], f.found, f.tried);
    print_share(share[3], f.right, f.placed);
  }
  if (k > 0)
    for (int s = 0; s < 4; s++)
      share[s][0] = '\0';
  printf("  %4s %4s %4s  %6s %5.1f%% %5.2fs %4.1fms\n", share[0], share[1], share[2], share[3],
         percent(g->unjudged, g->judged), g->learn_s / (double)(g->learned + g->refused),
         1000.0 * g->judge_s / (double)(g->judgements ? g->judgements : 1));
}

static bool is_too_low(uint64_t k, uint64_t n, double share) {
  double low, high;
  if (n == 0)
    return false;
  plb_clopper_pearson(k, n, 0.05, &low, &high);
  return n >= ENOUGH ? (double)k < share * (double)n : high < share;
}

void eval_print_family(const eval_tally *t, const eval_options *o) {
  uint64_t refused = 0;
  for (size_t k = 0; k < o->sizes; k++) {
    print_good(t, o, k);
    refused += t->good[k].refused;
  }
  if (refused)
    printf("%-30s not learned in %llu draws: %s\n", t->family, (unsigned long long)refused, t->refusal);
  for (size_t i = 0; i < t->faults; i++) {
    const eval_fault_row *f = &t->fault[i];
    const bool full = f->severity >= 1.0 || isnan(f->severity);
    const bool weak = full && (is_too_low(f->found, f->tried, fault_share) || is_too_low(f->right, f->placed, fault_share));
    if (o->faults || weak)
      printf("    %-26s %4.2f: %3llu of %-3llu found (%llu doubtful, %llu cannot tell, %llu agree)%s, place right %llu of "
             "%llu\n",
             f->name, f->severity, (unsigned long long)f->found, (unsigned long long)f->tried,
             (unsigned long long)f->borderline, (unsigned long long)f->unjudged, (unsigned long long)f->agrees,
             f->none ? ", some without any effect" : "", (unsigned long long)f->right, (unsigned long long)f->placed);
  }
  for (size_t i = 0; i < t->codes; i++) {
    const eval_code_row *c = &t->code[i];
    if (o->faults || c->agrees || is_too_low(c->coded, c->tried, code_share))
      printf("    %-26s unsuitable: %llu of %llu with the right reason, %llu cannot tell, %llu agree\n", c->name,
             (unsigned long long)c->coded, (unsigned long long)c->tried, (unsigned long long)c->unjudged,
             (unsigned long long)c->agrees);
  }
  fflush(stdout);
}

typedef struct score {
  size_t passed, failed;
  const char *word; /* printed before what is not kept */
} score;

static void count(score *s, bool good, const char *family, const char *what) {
  s->passed += good;
  s->failed += !good;
  if (!good)
    printf("%s %s: %s\n", s->word, family, what);
}

static void check_family(score *s, const eval_tally *t, const eval_options *o) {
  char what[128];
  for (size_t k = 0; k < o->sizes; k++) {
    const eval_good_row *g = &t->good[k];
    if (g->refused) {
      snprintf(what, sizeof what, "n = %zu: not learned in %llu of %u draws", o->size[k], (unsigned long long)g->refused,
               o->redraws);
      count(s, false, t->family, what);
    }
    if (g->learned == 0)
      continue;
    double low, high;
    interval(g, 0.01, &low, &high);
    const double promise = g->promise / (double)g->learned;
    snprintf(what, sizeof what, "n = %zu: %llu false alarms in %llu, promised %.1f %%", o->size[k],
             (unsigned long long)g->departs, (unsigned long long)g->judged, 100.0 * promise);
    count(s, low <= promise, t->family, what);
  }
  for (size_t i = 0; i < t->faults; i++) {
    const eval_fault_row *f = &t->fault[i];
    if (f->severity < 1.0)
      continue;
    snprintf(what, sizeof what, "%s: %llu of %llu found at full severity", f->name, (unsigned long long)f->found,
             (unsigned long long)f->tried);
    count(s, !is_too_low(f->found, f->tried, fault_share), t->family, what);
  }
  for (size_t i = 0; i < t->codes; i++) {
    const eval_code_row *c = &t->code[i];
    snprintf(what, sizeof what, "%s: %llu of %llu agree", c->name, (unsigned long long)c->agrees,
             (unsigned long long)c->tried);
    count(s, c->agrees == 0, t->family, what);
  }
}

/* The sentences of the faults found, and nothing else. */
size_t eval_print_words(const eval_tally *tally, size_t families) {
  eval_fault_row all = {0};
  for (size_t i = 0; i < families; i++) {
    eval_fault_row f;
    sum_faults(&tally[i], 1.0, &f);
    all.placed += f.placed;
    all.right += f.right;
    all.unworthy += f.unworthy;
  }
  const bool places = percent(all.right, all.placed) >= 90.0; /* a guard; the promise of the whole run is 95 % */
  printf("%llu sentences read, %llu of them say too little; %.1f %% name a place that the fault changes%s\n", (unsigned long long)all.placed,
         (unsigned long long)all.unworthy, percent(all.right, all.placed), places ? "" : ": too few");
  return all.placed > 0 && places ? (size_t)all.unworthy : (size_t)all.unworthy + 1;
}

size_t eval_print_sum(const eval_tally *tally, size_t families, const eval_options *o) {
  score s = {.word = o->least > 0.0 ? "not yet" : "FAILED"}, alarms = {.word = "FAILED"};
  eval_fault_row all = {0};
  uint64_t coded = 0, tried = 0, agrees = 0, judged = 0, unjudged = 0;
  char what[128];
  printf("\n");
  for (size_t i = 0; i < families; i++) {
    eval_fault_row f;
    check_family(&s, &tally[i], o);
    sum_faults(&tally[i], 1.0, &f);
    all.tried += f.tried;
    all.found += f.found;
    all.placed += f.placed;
    all.right += f.right;
    for (size_t k = 0; k < tally[i].codes; k++) {
      tried += tally[i].code[k].tried;
      coded += tally[i].code[k].coded;
      agrees += tally[i].code[k].agrees;
    }
  }
  for (size_t k = 0; k < o->sizes; k++) {
    eval_good_row g = {0};
    double low, high;
    for (size_t i = 0; i < families; i++) {
      g.judged += tally[i].good[k].judged;
      g.departs += tally[i].good[k].departs;
      g.squares += tally[i].good[k].squares;
      g.unjudged += tally[i].good[k].unjudged;
      g.learned += tally[i].good[k].learned;
      g.promise += tally[i].good[k].promise;
    }
    if (!g.judged)
      continue;
    judged += g.judged;
    unjudged += g.unjudged;
    interval(&g, 0.05, &low, &high);
    const double promise = g.promise / (double)g.learned;
    printf("all, n = %-3zu false alarms %llu of %llu, %.1f %% (%.1f..%.1f), promised %.1f %%\n", o->size[k],
           (unsigned long long)g.departs, (unsigned long long)g.judged, percent(g.departs, g.judged), 100.0 * low,
           100.0 * high, 100.0 * promise);
    snprintf(what, sizeof what, "n = %zu: more false alarms than promised", o->size[k]);
    count(&s, low <= promise, "all", what);
    alarms.passed += low <= promise;
    alarms.failed += !(low <= promise);
  }
  printf("all, good captures unjudged: %llu of %llu, %.1f %%\n", (unsigned long long)unjudged, (unsigned long long)judged,
         percent(unjudged, judged));
  printf("all, full severity: %llu of %llu found, %.1f %%; place right %llu of %llu, %.1f %%\n",
         (unsigned long long)all.found, (unsigned long long)all.tried, percent(all.found, all.tried),
         (unsigned long long)all.right, (unsigned long long)all.placed, percent(all.right, all.placed));
  count(&s, !is_too_low(all.found, all.tried, found_share), "all", "too few faults found at full severity");
  count(&s, !is_too_low(all.right, all.placed, right_share), "all", "too often the wrong place");
  if (tried) {
    printf("all, unsuitable: %llu of %llu with the right reason, %.1f %%; %llu agree\n", (unsigned long long)coded,
           (unsigned long long)tried, percent(coded, tried), (unsigned long long)agrees);
    count(&s, !is_too_low(coded, tried, code_share), "all", "too often the wrong reason for unsuitable captures");
    count(&s, agrees == 0, "all", "unsuitable captures called good");
  }
  if (o->least > 0.0) {
    s = alarms;
    snprintf(what, sizeof what, "less than %.0f %% of the faults found at full severity", 100.0 * o->least);
    count(&s, (double)all.found >= o->least * (double)all.tried, "gate", what);
  }
  printf("%zu passed, %zu failed\n", s.passed, s.failed);
  return s.failed;
}
