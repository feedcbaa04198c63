/**
 * evaluate: does a known-good, learned from a few good captures, tell good captures from faulty ones, and does it name
 * the right place? It draws (or reads) exemplars, learns, judges what it has not seen, and counts. Run it by `run`.
 */
#ifndef PLB_TESTS_EVALUATE_H
#define PLB_TESTS_EVALUATE_H
#include "model/model.h"
#include <plumbline/compare.h>
#include <plumbline/learn.h>

enum { EVAL_SIZES = 6, EVAL_FAMILIES = 96 };

typedef struct eval_options {
  const char *family[EVAL_FAMILIES]; /* empty: all */
  size_t families;
  size_t size[EVAL_SIZES]; /* exemplars to learn from, rising */
  size_t sizes;
  unsigned redraws, fresh; /* fresh: good captures judged after each learning */
  uint64_t seed;
  bool sessions;  /* exemplars in groups: several recordings of one vehicle */
  bool faults;    /* print every fault, not only the weak ones */
  bool words;     /* read every sentence about a fault that was found; print those that say too little or nonsense, and nothing but them can fail */
  bool sentences; /* print all of them */
  bool misses;    /* print every judgement that is not the right one, with what draws it again */
  bool quick;         /* full severity only */
  bool unsuitable;    /* only the captures that no one should judge */
  double least;       /* > 0: only false alarms and this share of faults found can fail */
  const char *cycle;  /* NULL: the family's own */
  const char *folder; /* NULL: the models */
  const char *into;   /* NULL, or the file that keeps what each redraw counted; a rerun skips what stands there */
  bool table;         /* run nothing, print what the file holds */
} eval_options;

/* One capture with what is known about it. */
typedef struct eval_specimen {
  plb_capture *capture;
  char group[PLB_NAME_SIZE]; /* empty: its own */
  char fault[PLB_NAME_SIZE]; /* empty: good */
  double severity;           /* NaN: not known, counts as full */
  const char *code;          /* unsuitable: the reason that must be given */
  uint64_t seed;
} eval_specimen;

/* What one redraw works on. */
typedef struct eval_set {
  const char *family, *type;
  char cycle[PLB_TEXT_SIZE];
  plb_provenance provenance;
  eval_specimen *exemplar, *fresh, *faulty, *unsuitable;
  size_t exemplars, freshes, faulties, unsuitables;
  bool twins; /* fresh[0] is every faulty capture without its fault */
} eval_set;

/* A row of the table of one family, at one number of exemplars. */
typedef struct eval_good_row {
  uint64_t judged, departs, borderline, unjudged;
  uint64_t squares; /* sum over redraws of departs^2 */
  double promise;   /* sum over redraws */
  uint64_t learned, refused;
  double learn_s, judge_s;
  uint64_t judgements;
} eval_good_row;

typedef struct eval_fault_row {
  char name[PLB_NAME_SIZE];
  double severity;
  uint64_t tried, found, borderline, unjudged, agrees;
  uint64_t placed, right; /* findings that could be checked, and those in the right place */
  uint64_t unworthy;      /* sentences that say too little, or nonsense */
  uint64_t none;          /* captures in which the fault changes nothing that could be seen: not counted as tried */
} eval_fault_row;

typedef struct eval_code_row {
  char name[PLB_NAME_SIZE];
  uint64_t tried, coded, agrees, unjudged, none;
} eval_code_row;

typedef struct eval_tally {
  const char *family;
  char refusal[PLB_TEXT_SIZE]; /* why learning failed, once */
  eval_good_row good[EVAL_SIZES];
  eval_fault_row *fault;
  size_t faults;
  eval_code_row *code;
  size_t codes;
  double draw_s;
} eval_tally;

/* The table of families: cycle and options where they differ from the model's own. */
const char *eval_cycle_of(const plb_model_family *family);
bool eval_is_quick_family(const char *name);

plb_status eval_set_from_model(eval_set *out, const plb_model_family *family, const eval_options *options,
                               unsigned redraw, plb_error *err);
/* Folder FAMILY with good-*.csv and fault-NAME-*.csv; each redraw takes other good ones to learn from. */
plb_status eval_set_from_folder(eval_set *out, const char *folder, const eval_options *options, unsigned redraw,
                                plb_error *err);
void eval_set_dispose(eval_set *set);

/* Captures that no one should judge. @param out  the good capture `good` spoiled; code: the reason to be given */
enum { EVAL_SPOILS = 6 };
const char *eval_spoil_name(size_t spoil);
plb_status eval_spoil(plb_capture **out, const char **code, const plb_model_family *family, size_t spoil,
                      uint64_t seed, plb_error *err); /* PLB_OK with *out NULL: cannot be had in this family */

/* The good draw that every fault of a redraw is laid against, taken apart once for each judge. Takes the verdict. */
typedef struct eval_twin eval_twin;
plb_status eval_twin_new(eval_twin **out, const plb_judge *judge, const plb_capture *capture, plb_verdict *verdict,
                         plb_error *err);
void eval_twin_free(eval_twin *twin);

/* Where does a fault show? Made from the faulty capture and the same draw without the fault. */
typedef struct eval_truth eval_truth;
plb_status eval_truth_new(eval_truth **out, const eval_twin *twin, const plb_capture *faulty, plb_error *err);
bool eval_truth_shows(const eval_truth *truth); /* does the fault change anything beyond the recorder's steps? */
/* Is the finding right? Takes the faulty capture apart when first asked. */
plb_status eval_truth_fits(bool *out, eval_truth *truth, const plb_verdict *verdict, const plb_finding *finding,
                           plb_error *err);
void eval_truth_free(eval_truth *truth);

/* What is wrong with the sentence of a verdict that departs, as a reader without the picture would say; NULL: nothing. */
const char *eval_words_wrong(const plb_verdict *verdict);

plb_status eval_run(eval_tally *tally, const eval_set *set, const eval_options *options, plb_error *err);
eval_fault_row *eval_fault_row_of(eval_tally *tally, const char *name, double severity); /* NULL: no memory */
eval_code_row *eval_code_row_of(eval_tally *tally, const char *name);
void eval_tally_add(eval_tally *to, const eval_tally *from);
void eval_tally_dispose(eval_tally *tally);

/* The file of results: what each redraw of each family counted, so that a long run can be taken up again. */
typedef struct eval_ledger eval_ledger;
plb_status eval_ledger_open(eval_ledger **out, const char *path, const eval_options *options, plb_error *err);
void eval_ledger_close(eval_ledger *ledger);
const eval_tally *eval_ledger_find(const eval_ledger *ledger, const char *family, unsigned redraw); /* NULL: to do */
plb_status eval_ledger_add(eval_ledger *ledger, const char *family, unsigned redraw, const eval_tally *tally,
                           const eval_options *options, plb_error *err);

/* Where faults are judged: at full severity with the fewest exemplars and with 20 (or the most below); smaller ones and
   unsuitable captures with 20 only. False alarms are counted everywhere. */
bool eval_judges_full(const eval_options *options, size_t k);
bool eval_judges_small(const eval_options *options, size_t k);

void eval_print_head(const eval_options *options);
void eval_print_family(const eval_tally *tally, const eval_options *options);
/* @return how many promises are broken; prints them and "N passed, N failed" */
size_t eval_print_words(const eval_tally *tally, size_t families); /* @return sentences that say too little; +1: too few right places */
size_t eval_print_sum(const eval_tally *tally, size_t families, const eval_options *options);
#endif
