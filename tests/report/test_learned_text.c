#include "tests/report/fixture.h"
#include "report/report.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static plb_reference_channel channels[1];
static plb_exemplar exemplars[6];
static double held_out[6] = {0.71, 0.9, 1.31, 0.8, 6.2, 1};
static char notes[2][PLB_TEXT_SIZE] = {"the rising edge shows the gap as three tooth times, so it is used",
                                       "amplitude is free: speeds differ by less than 10 %"};

static char *learned_text(plb_provenance provenance, size_t groups, const char *odd) {
  plb_reference reference;
  plb_learned learned = {
      .captures = 6, .groups = groups, .limit = 6.2, .guard = 8, .promise = 1.0 / 7, .promise_upper90 = 0.319};
  memset(&reference, 0, sizeof reference);
  reference.provenance = provenance;
  strcpy(reference.name, "crank-inductive/bench/60-2");
  strcpy(channels[0].role, "crank");
  strcpy(channels[0].unit, "V");
  reference.channel = channels;
  reference.channels = 1;
  assert_int_equal(plb_cycle_spec_parse("wheel:teeth=60,missing=2", &reference.choice.spec, NULL), PLB_OK);
  for (size_t i = 0; i < 6; i++) {
    strcpy(exemplars[i].name, "none-1.txt");
    exemplars[i].name[5] = (char)('1' + i);
  }
  reference.exemplar = exemplars;
  reference.exemplars = 6;
  strcpy(learned.odd, odd);
  learned.odd_ratio = 6.5;
  learned.held_out = held_out;
  learned.note = notes;
  learned.notes = 2;
  char *text = NULL;
  assert_int_equal(plb_report_learned_text(&text, &reference, &learned, NULL), PLB_OK);
  assert_true(longest_line(text, true) <= 80);
  return text;
}

static void test_learned_text__tells_what_was_chosen_and_what_it_promises(void **state) {
  (void)state;
  char *text = learned_text(PLB_MEASURED, 0, "");
  const char *first = "Learned crank-inductive/bench/60-2 from 6 good captures (groups not stated),\nmeasured.\n";
  assert_memory_equal(text, first, strlen(first));
  assert_says(text, "crank (V)");
  assert_says(text, "wheel:teeth=60,missing=2");
  assert_says(text, "- the rising edge shows the gap");
  assert_says(text, "3  none-3.txt     1.31");
  assert_says(text, "about 1 in 7 healthy captures");
  assert_says(text, "up to 32 %");
  assert_says_not(text, "Odd one");
  free(text);
}

static void test_learned_text__names_the_odd_one_and_the_single_vehicle(void **state) {
  (void)state;
  char *text = learned_text(PLB_MEASURED, 1, "none-5.txt");
  assert_says(text, "one vehicle only");
  assert_says(text, "vehicles may differ more");
  assert_says(text, "none-5.txt is unlike the others");
  free(text);
}

static void test_learned_text__says_that_a_model_is_one(void **state) {
  (void)state;
  char *text = learned_text(PLB_MODELLED, 0, "");
  assert_says(text, "This known-good is modelled");
  free(text);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_learned_text__tells_what_was_chosen_and_what_it_promises),
      cmocka_unit_test(test_learned_text__names_the_odd_one_and_the_single_vehicle),
      cmocka_unit_test(test_learned_text__says_that_a_model_is_one),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
