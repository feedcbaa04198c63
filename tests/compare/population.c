#include "tests/compare/population.h"
#include "tests/core/cmocka_all.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 64 };

plb_capture *population_draw(const char *family, const plb_model_request *request) {
  plb_capture *capture = NULL;
  plb_error err = PLB_ERROR_INIT;
  const plb_model_family *f = plb_model_find(family);
  if (f == NULL || plb_model_draw(&capture, f, request, NULL, &err) != PLB_OK) {
    fail_msg("%s: %s", family, f == NULL ? "no such family" : err.message);
  }
  return capture;
}

plb_capture *population_draw_case(const char *name, uint64_t seed) {
  plb_capture *capture = NULL;
  plb_error err = PLB_ERROR_INIT;
  const plb_model_case *c = plb_model_case_find(name);
  if (c == NULL || plb_model_draw_case(&capture, c, seed, &err) != PLB_OK) {
    fail_msg("%s: %s", name, c == NULL ? "no such case" : err.message);
  }
  return capture;
}

plb_reference *population_learn(const lesson_plan *plan) {
  plb_capture *capture[MOST] = {NULL};
  plb_good good[MOST] = {{0}};
  char name[MOST][PLB_NAME_SIZE];
  plb_stated stated[4];
  plb_error err = PLB_ERROR_INIT;
  plb_learn_options options = PLB_LEARN_OPTIONS_INIT;
  const plb_model_family *family = plb_model_find(plan->family);
  const size_t n = plan->captures > 0 ? plan->captures : 8;
  plb_reference *reference = NULL;
  assert_non_null(family);
  assert_true(n <= MOST);
  options.type = family->type;
  options.name = family->name;
  options.provenance = PLB_MODELLED;
  options.stated = stated;
  while (options.stated_count < 4 && plan->condition[options.stated_count] != NULL) {
    assert_int_equal(plb_stated_parse(plan->condition[options.stated_count], &stated[options.stated_count], &err),
                     PLB_OK);
    options.stated_count++;
  }
  if (plb_cycle_spec_parse(plan->cycle != NULL ? plan->cycle : family->cycle, &options.cycle, &err) != PLB_OK) {
    fail_msg("%s", err.message);
  }
  for (size_t i = 0; i < n; i++) {
    plb_model_request r = PLB_MODEL_REQUEST_INIT;
    r.seed = (plan->seed > 0 ? plan->seed : 1000) + i;
    r.speed_per_min = plan->speed_per_min + (double)i * plan->speed_step_per_min;
    r.duration_s = plan->duration_s;
    r.rate_hz = plan->rate_hz;
    r.state = i % 2 == 1 && plan->second_state != NULL ? plan->second_state : plan->state;
    good[i].capture = capture[i] = population_draw(plan->family, &r);
    snprintf(name[i], sizeof name[i], "good-%02zu", i);
    good[i].name = name[i];
  }
  if (plb_learn(&reference, NULL, good, n, &options, &err) != PLB_OK) {
    fprintf(stderr, "# %s: %s\n", plan->family, err.message);
  }
  for (size_t i = 0; i < n; i++) {
    plb_capture_free(capture[i]);
  }
  return reference;
}

plb_verdict *population_judge(const plb_reference *reference, const plb_capture *capture, const char *condition,
                              bool connected) {
  plb_verdict *verdict = NULL;
  plb_stated stated;
  plb_error err = PLB_ERROR_INIT;
  plb_compare_options options = PLB_COMPARE_OPTIONS_INIT;
  options.connected = connected;
  options.drawing = false;
  if (condition != NULL) {
    assert_int_equal(plb_stated_parse(condition, &stated, &err), PLB_OK);
    options.stated = &stated;
    options.stated_count = 1;
  }
  if (plb_compare(&verdict, capture, reference, &options, &err) != PLB_OK) {
    fail_msg("%s: %s", err.path, err.message);
  }
  return verdict;
}

void population_print(const char *what, const plb_verdict *v) {
  printf("# %s: %s: %s\n", what, plb_word_name(v->word), v->sentence);
  printf("#   score %.2f limit %.2f guard %.2f, cycles %u judged %u unmapped %u departing %u, every %u phase %u\n",
         v->score, v->limit, v->guard, v->cycles.found, v->cycles.judged, v->cycles.unmapped, v->cycles.departing,
         v->cycles.every, v->cycles.phase);
  for (size_t i = 0; i < v->findings && i < 5; i++) {
    const plb_finding *f = &v->finding[i];
    printf("#   finding %.1f %s/%s %s %u of %u %s: %s; check %s\n", f->score, f->channel, f->band, f->direction,
           f->count, f->of, plb_pattern_name(f->pattern), f->text, f->check_first[0]);
  }
  for (size_t i = 0; i < v->reasons; i++) {
    printf("#   reason %s%s: %s; %s\n", v->reason[i].code, v->reason[i].blocks ? " (blocks)" : "", v->reason[i].text,
           v->reason[i].action);
  }
  for (size_t i = 0; i < v->fitnesses; i++) {
    printf("#   fitness %s%s: %s; %s\n", v->fitness[i].code, v->fitness[i].blocks ? " (blocks)" : "",
           v->fitness[i].text, v->fitness[i].action);
  }
  for (size_t i = 0; i < v->condition_notes; i++) {
    printf("#   condition: %s\n", v->condition_note[i]);
  }
}

const plb_reason *population_reason(const plb_verdict *v, const char *code) {
  for (size_t i = 0; i < v->reasons; i++) {
    if (strcmp(v->reason[i].code, code) == 0) {
      return &v->reason[i];
    }
  }
  for (size_t i = 0; i < v->fitnesses; i++) {
    if (strcmp(v->fitness[i].code, code) == 0) {
      return &v->fitness[i];
    }
  }
  return NULL;
}

bool says_all(const char *text, const char *words) {
  char word[PLB_TEXT_SIZE];
  while (*words != '\0') {
    const size_t length = strcspn(words, "|");
    snprintf(word, sizeof word, "%.*s", (int)length, words);
    if (strstr(text, word) == NULL) {
      return false;
    }
    words += length + (words[length] == '|');
  }
  return true;
}
