/*
 * A heart with extra beats and a wandering base line: the electrocardiogram that SciPy carries. Its cycles differ in length and shape, so it shows
 * whether one bad cycle pulls others off. Beats are counted independently by scipy.signal.find_peaks (prominence 0.8 mV, distance 0.33 s).
 */
#include "cycle_test.h"

#include <unistd.h>

enum { RATE = 360, WINDOW = 20 * RATE, WINDOWS = 15 };

static double trace[WINDOWS * WINDOW];
static int beats[WINDOWS];

static bool load(void) {
  char path[PLB_PATH_SIZE], command[3 * PLB_PATH_SIZE];
  snprintf(path, sizeof path, "%s/test_ecg.%ld.raw", PLB_BINARY_DIR, (long)getpid());
  snprintf(command, sizeof command, "/usr/bin/python3 '%s/tests/cycle/ecg_peaks.py' '%s'", PLB_SOURCE_DIR, path);
  FILE *f = popen(command, "r");
  bool good = f != NULL;
  for (size_t i = 0; i < WINDOWS && good; i++)
    good = fscanf(f, "%d", &beats[i]) == 1;
  if (f)
    good = pclose(f) == 0 && good;
  f = good ? fopen(path, "rb") : NULL;
  good = f && fread(trace, sizeof *trace, WINDOWS * WINDOW, f) == WINDOWS * WINDOW;
  if (f)
    fclose(f);
  unlink(path);
  return good;
}

static plb_tracks *window(size_t index) {
  plb_tracks *t = new_tracks(1, WINDOW, RATE);
  name_track(t, 0, "heart");
  memcpy(t->x[0], trace + index * WINDOW, WINDOW * sizeof *trace);
  return t;
}

/*
 * What is compared: cycles wholly inside the window, mapped or not, and cycles cut off by its ends of which a landmark is seen. find_peaks counts a beat
 * by its peak alone; at 260 s it has one 8 samples behind the window's begin and one 4 samples before its end, whose cycles are not inside.
 */
/** Learn from three windows, count in all; the two stated ones must be right. */
static void count_with(const size_t learn[3], const char *spec) {
  plb_tracks *t[3];
  plb_cycle_choice c;
  for (size_t i = 0; i < 3; i++)
    t[i] = window(learn[i]);
  choose_from(&c, t, 3, spec, 0);
  print_message("%s learned at %zu, %zu and %zu s: %.3f to %.3f s a beat\n", spec, 20 * learn[0], 20 * learn[1],
                20 * learn[2], 1.0 / c.rate_high_hz, 1.0 / c.rate_low_hz);
  for (size_t i = 0; i < WINDOWS; i++) {
    plb_tracks *w = window(i);
    plb_frame *f = build(w, &c);
    const int off = (int)(f->found + f->cut) - beats[i];
    print_message("  %3zu s: find_peaks %d; %zu mapped + %zu unmapped + %u cut off at the ends, differs by %+d\n",
                  20 * i, beats[i], f->mapped, f->found - f->mapped, f->cut, off);
    if (i == 1 || i == 13)
      assert_in_range(off + 1, 0, 2);
    if (i == 1)
      assert_true(f->mapped >= 34);
    plb_frame_free(f);
    plb_tracks_free(w);
  }
  for (size_t i = 0; i < 3; i++)
    plb_tracks_free(t[i]);
  plb_cycle_choice_dispose(&c);
}

static void test_ecg__beats_are_counted_as_by_find_peaks(void **state) {
  (void)state;
  assert_int_equal(beats[1], 37);
  assert_int_equal(beats[13], 34);
  count_with((const size_t[]){1, 5, 13}, "repeat");
}

static void test_ecg__whatever_it_was_learned_from(void **state) {
  (void)state;
  count_with((const size_t[]){1, 2, 3}, "repeat");
  count_with((const size_t[]){0, 7, 10}, "repeat");
  count_with((const size_t[]){12, 13, 14}, "repeat:period=0.6s");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_ecg__beats_are_counted_as_by_find_peaks),
      cmocka_unit_test(test_ecg__whatever_it_was_learned_from),
  };
  if (!load()) {
    print_message("skipped: SciPy and its electrocardiogram cannot be had from /usr/bin/python3\n");
    return 77;
  }
  return cmocka_run_group_tests(tests, NULL, NULL);
}
