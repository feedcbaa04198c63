#ifndef PLB_TESTS_COMPARE_POPULATION_H
#define PLB_TESTS_COMPARE_POPULATION_H
/** @file  Known-goods learned from modelled good captures, and what is said of modelled captures against them. Everything here is modelled. */
#include "model/model.h"
#include <plumbline/learn.h>

/** What to learn from. Zero: the family's own cycle, eight captures, seeds from 1000 on, no stated conditions. */
typedef struct lesson_plan {
  const char *family;
  const char *cycle;         /**< as --cycle takes it; NULL: the family's */
  size_t captures;           /**< 0: 8 */
  uint64_t seed;             /**< 0: 1000 */
  const char *condition[4];  /**< as --condition takes them */
  double speed_per_min;      /**< 0: drawn */
  double speed_step_per_min; /**< added from capture to capture */
  double duration_s;         /**< 0: the family's */
  double rate_hz;            /**< 0: drawn */
  const char *state;         /**< NULL: the usual one */
  const char *second_state;  /**< every other capture is drawn in this state */
} lesson_plan;

/** NULL with a message on standard error when it cannot be learned. */
plb_reference *population_learn(const lesson_plan *plan);
plb_capture *population_draw(const char *family, const plb_model_request *request);
plb_capture *population_draw_case(const char *name, uint64_t seed);
/** @param condition  as --condition takes it, may be NULL */
plb_verdict *population_judge(const plb_reference *reference, const plb_capture *capture, const char *condition, bool connected);
/** Everything that is said, for a reader of the test's output. */
void population_print(const char *what, const plb_verdict *v);

/** A reason or recording note with this code; NULL: none. */
const plb_reason *population_reason(const plb_verdict *v, const char *code);
/** Every word, separated by '|', is in the text. */
bool says_all(const char *text, const char *words);
#endif
