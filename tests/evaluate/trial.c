/* One redraw: learn from the first n exemplars, for each n, and judge everything else. */
#include "evaluate.h"
#include "core/core.h"
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

static double now_s(void) {
  struct timespec t;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* What one learning is judged with. */
typedef struct bench {
  eval_tally *tally;
  eval_good_row *row;
  const eval_set *set;
  const eval_options *options;
  const plb_judge *judge;
  size_t n;
} bench;

static plb_status learn(plb_reference **out, const eval_set *set, size_t n, plb_error *err) {
  plb_good *good = plb_calloc(n, sizeof *good);
  char(*name)[PLB_NAME_SIZE] = plb_calloc(n, sizeof *name);
  plb_learn_options o = PLB_LEARN_OPTIONS_INIT;
  plb_status status = good && name ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t i = 0; i < n && !status; i++) {
    plb_text_print(name[i], sizeof *name, "good-%zu", i);
    good[i] = (plb_good){set->exemplar[i].capture, set->exemplar[i].group[0] ? set->exemplar[i].group : NULL, name[i]};
  }
  o.type = set->type;
  o.name = "evaluated";
  o.provenance = set->provenance;
  if (!status)
    status = plb_cycle_spec_parse(set->cycle, &o.cycle, err);
  if (!status)
    status = plb_learn(out, NULL, good, n, &o, err);
  free(good);
  free(name);
  return status;
}

static plb_status judge_one(plb_verdict **out, const bench *b, const plb_capture *capture, bool connected,
                            plb_error *err) {
  plb_compare_options o = PLB_COMPARE_OPTIONS_INIT;
  o.drawing = false;
  o.connected = connected;
  const double start = now_s();
  const plb_status status = plb_judge_capture(out, b->judge, capture, &o, err);
  b->row->judge_s += now_s() - start;
  b->row->judgements++;
  return status;
}

static void say_miss(const bench *b, const eval_specimen *s, const plb_verdict *v, const char *what) {
  if (!b->options->misses)
    return;
  char reasons[PLB_TEXT_SIZE] = "";
  for (size_t i = 0; i < v->reasons && strlen(reasons) < 200; i++)
    plb_text_print(reasons + strlen(reasons), sizeof reasons - strlen(reasons), "%s%s", i ? "," : "",
                   v->reason[i].code);
#pragma omp critical(eval_print)
  printf("#  %s: %s n=%zu seed=%llu %s %.2f: %s, score %.2f limit %.2f guard %.2f [%s] %s\n", what, b->set->family, b->n,
         (unsigned long long)s->seed, s->fault[0] ? s->fault : "good", s->severity, plb_word_name(v->word), v->score,
         v->limit, v->guard, reasons, v->sentence);
}

static bool has_code(const plb_verdict *v, const char *code) {
  for (size_t i = 0; i < v->reasons; i++)
    if (strcmp(v->reason[i].code, code) == 0)
      return true;
  return false;
}

static plb_status judge_fresh(const bench *b, plb_verdict **twin_out, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t i = 0; i < b->set->freshes && !status; i++) {
    plb_verdict *v = NULL;
    status = judge_one(&v, b, b->set->fresh[i].capture, true, err);
    if (status)
      return status;
    b->row->judged++;
    b->row->departs += v->word == PLB_DEPARTS;
    b->row->borderline += v->word == PLB_BORDERLINE;
    b->row->unjudged += v->word == PLB_UNJUDGED;
    if (i == 0)
      b->row->promise += v->promise;
    if (v->word == PLB_DEPARTS || v->word == PLB_UNJUDGED)
      say_miss(b, &b->set->fresh[i], v, v->word == PLB_DEPARTS ? "false alarm" : "good unjudged");
    if (i == 0 && b->set->twins)
      *twin_out = v;
    else
      plb_verdict_free(v);
  }
  return status;
}

static bool is_full(const eval_specimen *s) { return isnan(s->severity) || s->severity >= 1.0; }

/* Crossed wires look like a swapped lead in the only channel there is: then the lead is the right first answer. */
static bool is_found(const eval_specimen *s, const plb_verdict *v) {
  if (v->word == PLB_DEPARTS)
    return true;
  return strcmp(s->fault, "reversed-leads") == 0 && v->word == PLB_UNJUDGED && has_code(v, "lead-inverted");
}

static void read_words(const bench *b, const eval_specimen *s, const plb_verdict *v, bool right, eval_fault_row *row) {
  const char *wrong = eval_words_wrong(v);
  row->unworthy += wrong != NULL;
  if (!wrong && !b->options->sentences)
    return;
#pragma omp critical(eval_print)
  printf("%s %s %s: %s%s%s\n", wrong ? "!" : right ? "." : "?", b->set->family, s->fault, wrong ? wrong : "", wrong ? ": " : "", v->sentence);
}

static plb_status place_finding(const bench *b, const eval_specimen *s, const plb_verdict *v, const eval_twin *twin,
                                eval_fault_row *row, plb_error *err) {
  eval_truth *truth = NULL;
  plb_status status = eval_truth_new(&truth, twin, s->capture, err);
  if (status)
    return status;
  if (!eval_truth_shows(truth)) {
    row->tried--;
    row->none++;
  } else if (v->word == PLB_DEPARTS && (v->findings > 0 || b->options->words)) {
    bool right = false;
    if (v->findings > 0)
      status = eval_truth_fits(&right, truth, v, &v->finding[0], err);
    row->placed++;
    row->right += right;
    if (!right)
      say_miss(b, s, v, "wrong place");
    if (b->options->words)
      read_words(b, s, v, right, row);
  }
  if (eval_truth_shows(truth)) {
    row->found += is_found(s, v);
    row->borderline += v->word == PLB_BORDERLINE;
    row->unjudged += v->word == PLB_UNJUDGED;
    row->agrees += v->word == PLB_AGREES;
    if (!is_found(s, v) && is_full(s))
      say_miss(b, s, v, "missed");
    if (is_found(s, v) && is_full(s) && has_code(v, "wrong-channel"))
      say_miss(b, s, v, "circuit doubted");
  }
  eval_truth_free(truth);
  return status;
}

bool eval_judges_small(const eval_options *o, size_t k) {
  return o->size[k] <= 20 ? k + 1 == o->sizes || o->size[k + 1] > 20 : k == 0;
}

bool eval_judges_full(const eval_options *o, size_t k) { return k == 0 || eval_judges_small(o, k); }

static plb_status judge_faulty(const bench *b, size_t k, const eval_twin *twin, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t i = 0; i < b->set->faulties && !status; i++) {
    const eval_specimen *s = &b->set->faulty[i];
    plb_verdict *v = NULL;
    if (!(is_full(s) ? eval_judges_full(b->options, k) : eval_judges_small(b->options, k)))
      continue;
    eval_fault_row *row = eval_fault_row_of(b->tally, s->fault, s->severity);
    status = row ? judge_one(&v, b, s->capture, true, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
    if (!status) {
      row->tried++;
      if (twin) {
        status = place_finding(b, s, v, twin, row, err);
      } else {
        row->found += is_found(s, v);
        row->borderline += v->word == PLB_BORDERLINE;
        row->unjudged += v->word == PLB_UNJUDGED;
        row->agrees += v->word == PLB_AGREES;
        if (!is_found(s, v))
          say_miss(b, s, v, "missed");
      }
    }
    plb_verdict_free(v);
  }
  return status;
}

static plb_status judge_unsuitable(const bench *b, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t i = 0; i < b->set->unsuitables && !status; i++) {
    const eval_specimen *s = &b->set->unsuitable[i];
    plb_verdict *v = NULL;
    eval_code_row *row = eval_code_row_of(b->tally, s->fault);
    status = row ? judge_one(&v, b, s->capture, false, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
    if (!status) {
      row->tried++;
      row->coded += has_code(v, s->code);
      row->agrees += v->word == PLB_AGREES;
      row->unjudged += v->word == PLB_UNJUDGED;
      if (!has_code(v, s->code) || v->word == PLB_AGREES)
        say_miss(b, s, v, "unsuitable");
    }
    plb_verdict_free(v);
  }
  return status;
}

static plb_status run_size(eval_tally *tally, const eval_set *set, const eval_options *options, size_t k,
                           plb_error *err) {
  bench b = {.tally = tally, .row = &tally->good[k], .set = set, .options = options, .n = options->size[k]};
  plb_reference *reference = NULL;
  plb_judge *judge = NULL;
  plb_verdict *twin_verdict = NULL;
  eval_twin *twin = NULL;
  const double start = now_s();
  plb_status status = learn(&reference, set, b.n, err);
  b.row->learn_s += now_s() - start;
  if (status == PLB_EDATA || status == PLB_EUSAGE) { /* it cannot be learned: counted, and said once */
    b.row->refused++;
    if (!tally->refusal[0])
      plb_text_say(tally->refusal, sizeof tally->refusal, "%s", err->message);
    return PLB_OK;
  }
  if (!status)
    status = plb_judge_new(&judge, reference, err);
  b.judge = judge;
  if (!status) {
    b.row->learned++;
    status = judge_fresh(&b, &twin_verdict, err);
    b.row->squares = b.row->departs * b.row->departs;
  }
  if (!status && twin_verdict && eval_judges_full(options, k))
    status = eval_twin_new(&twin, judge, set->fresh[0].capture, twin_verdict, err);
  else
    plb_verdict_free(twin_verdict);
  if (!status)
    status = judge_faulty(&b, k, twin, err);
  if (!status && !options->words && eval_judges_small(options, k))
    status = judge_unsuitable(&b, err);
  eval_twin_free(twin);
  plb_judge_free(judge);
  plb_reference_free(reference);
  return status;
}

plb_status eval_run(eval_tally *tally, const eval_set *set, const eval_options *options, plb_error *err) {
  plb_status status = PLB_OK;
  tally->family = set->family;
  for (size_t k = 0; k < options->sizes && !status; k++)
    if (options->size[k] <= set->exemplars)
      status = run_size(tally, set, options, k, err);
  return status;
}
