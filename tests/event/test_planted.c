/*
 * Events planted into modelled recordings: which are found, and how many are told that are not there. A minute with 60
 * events by default; `test_event_planted hour [SEED]`: an hour with 1,000. Source of the promise (all from 10 standard
 * deviations on, at most one false in the hour): the project's own aim; what is expected is COMPUTED by planting.
 */
#include "tests/event/planted.h"

#include "core/core.h"
#include "tests/core/cmocka_all.h"
#include <plumbline/event.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static bool hour;
static uint64_t seed = 20240611;

typedef struct tally {
  planted *list;
  size_t count;
  size_t false_ones;
} tally;

static bool matches(const planted *p, const plb_event *e) {
  const double first = (double)p->first / 1e4, last = (double)p->last / 1e4;
  const bool channel = strcmp(e->channel, p->kind == PLANTED_PULSE ? "c2" : "c1") == 0;
  /* a missing pulse is told from the edge before it on; noise may lengthen a weak event. The next one is seconds away */
  return channel && e->time_s < last + 0.001 && e->time_s + e->duration_s > first - 1e-4 && e->time_s > first - 0.011 - (last - first);
}

static bool check_event(const plb_event *e, void *payload) {
  tally *t = payload;
  for (size_t i = 0; i < t->count; i++)
    if (matches(&t->list[i], e)) {
      t->list[i].found++;
      return true;
    }
  t->false_ones++;
  if (t->false_ones <= 20)
    print_message("false: %s %s at %.4f s, %g long, size %g, %g sigma\n", plb_event_kind_name(e->kind), e->channel, e->time_s,
                e->duration_s, e->size, e->sigma);
  return true;
}

static void print_sizes(const tally *t) {
  static const char *const names[] = {"dropouts", "spikes", "pulses"};
  print_message("size    %-18s%-18s%s\n", names[0], names[1], names[2]);
  for (size_t s = 0; s < PLANTED_SIZES; s++) {
    print_message("%-8g", planted_size[s]);
    for (int k = 0; k < 3; k++) {
      size_t there = 0, found = 0;
      for (size_t i = 0; i < t->count; i++)
        if ((int)t->list[i].kind == k && t->list[i].size == s) {
          there++;
          found += t->list[i].found > 0;
        }
      print_message("%3zu of %-11zu", found, there);
    }
    print_message("\n");
  }
  print_message("false: %zu\n", t->false_ones);
}

static void test_planted__all_large_ones_are_found(void **state) {
  (void)state;
  const char *folder = getenv("TMPDIR");
  char path[512];
  snprintf(path, sizeof path, "%s/planted-%ld.raw", folder ? folder : "/tmp", (long)getpid());
  tally t = {.count = hour ? 1000 : 60};
  t.list = planted_write(path, hour ? 36000000 : 1200000, t.count, seed);
  plb_search_options o = PLB_SEARCH_OPTIONS_INIT;
  o.stream = (plb_stream_options){1, PLB_SAMPLE_INT16, 2, 1e4, 1e-3, 0};
  const plb_event_listener listener = {.on_event = check_event, .payload = &t};
  plb_search_summary summary;
  plb_error err = PLB_ERROR_INIT;
  const plb_status status = plb_search(path, &o, &listener, &summary, &err);
  remove(path);
  if (status != PLB_OK)
    fail_msg("%s", err.message);
  print_sizes(&t);
  size_t missed = 0;
  for (size_t i = 0; i < t.count; i++)
    if (planted_size[t.list[i].size] >= 10 && t.list[i].found == 0) {
      print_message("missed: kind %d size %g at %.4f s, %llu samples\n", (int)t.list[i].kind, planted_size[t.list[i].size],
                    (double)t.list[i].first / 1e4, (unsigned long long)(t.list[i].last - t.list[i].first));
      missed++;
    }
  assert_int_equal(missed, 0);
  assert_true(t.false_ones <= 1);
  assert_int_equal(summary.samples, hour ? 36000000 : 1200000);
  assert_true(summary.memory_bytes < (size_t)64 << 20);
  free(t.list);
}

int main(int count, char **words) {
  hour = count > 1 && strcmp(words[1], "hour") == 0;
  seed = count > 2 ? strtoull(words[2], NULL, 10) : seed;
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_planted__all_large_ones_are_found)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
