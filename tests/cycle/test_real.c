/* The wheel on captures of a running engine, against an independent count with NumPy. Skipped where the captures or Python are not there. */
#include "cycle_test.h"

static const char *folder;

/* Each file is read once and kept: tests share it and change copies only. */
static struct kept {
  char name[PLB_NAME_SIZE];
  plb_tracks *tracks;
} kept[32];

static plb_tracks *read_file(const char *name) {
  char path[2 * PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  plb_capture *capture = NULL;
  plb_tracks *tracks = NULL;
  plb_channel_map map[2] = {{"crank", 2, "", "V", 1.0}, {"pressure", 3, "", "V", 1.0}};
  snprintf(path, sizeof path, "%s/%s.txt", folder, name);
  if (plb_capture_read(&capture, path, NULL, &err) != PLB_OK || plb_capture_assign(capture, map, 2, &err) != PLB_OK ||
      plb_tracks_from_capture(&tracks, capture, NULL, 0, &err) != PLB_OK)
    fail_msg("%s: %s", path, err.message);
  plb_capture_free(capture);
  return tracks;
}

static plb_tracks *real(const char *name) {
  struct kept *k = kept;
  while (k->tracks && strcmp(k->name, name) != 0)
    k++;
  if (!k->tracks) {
    snprintf(k->name, sizeof k->name, "%s", name);
    k->tracks = read_file(name);
  }
  return k->tracks;
}

static int forget(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof kept / sizeof *kept; i++)
    plb_tracks_free(kept[i].tracks);
  return 0;
}

static plb_cycle_choice learn(const char *spec) {
  static const char *const name[] = {"setup-one/none-1", "setup-one/none-3", "setup-one/half-1",
                                     "setup-one/half-3", "setup-one/full-1", "setup-one/full-3"};
  enum { LEARNED = sizeof name / sizeof name[0] };
  plb_tracks *t[LEARNED];
  plb_cycle_choice choice;
  for (size_t i = 0; i < LEARNED; i++)
    t[i] = real(name[i]);
  choose_from(&choice, t, LEARNED, spec, 0);
  return choice;
}

typedef struct counted {
  int pulses, gaps, turns, fewest, most;
} counted;

/** What NumPy counts; false when it cannot be run. */
static bool count_outside(const char *const *name, size_t names, counted *out) {
  static char command[64 * PLB_PATH_SIZE];
  int used = snprintf(command, sizeof command, "/usr/bin/python3 '%s/tests/cycle/count_teeth.py'", PLB_SOURCE_DIR);
  for (size_t i = 0; i < names; i++)
    used += snprintf(command + used, sizeof command - (size_t)used, " '%s/%s.txt'", folder, name[i]);
  FILE *f = popen(command, "r");
  bool good = f != NULL;
  for (size_t i = 0; i < names && good; i++)
    good = fscanf(f, "%d %d %d %d %d", &out[i].pulses, &out[i].gaps, &out[i].turns, &out[i].fewest, &out[i].most) == 5;
  if (f)
    good = pclose(f) == 0 && good;
  return good;
}

static const char *const GOOD[] = {"setup-one/none-1", "setup-one/none-2", "setup-one/none-3", "setup-one/none-4",
                                   "setup-one/none-5", "setup-one/half-1", "setup-one/half-2", "setup-one/half-3",
                                   "setup-one/half-4", "setup-one/half-5", "setup-one/full-1", "setup-one/full-2",
                                   "setup-one/full-3", "setup-one/full-4", "setup-one/full-5"};
static const char *const DEFECTIVE[] = {"setup-two/none-1", "setup-two/none-2", "setup-two/none-3",
                                        "setup-two/half-1", "setup-two/half-2", "setup-two/half-3",
                                        "setup-two/full-1", "setup-two/full-2", "setup-two/full-3"};
enum { GOODS = sizeof GOOD / sizeof GOOD[0], DEFECTIVES = sizeof DEFECTIVE / sizeof DEFECTIVE[0] };

static void test_real__good_captures_have_every_tooth_in_every_turn(void **state) {
  (void)state;
  counted outside[GOODS];
  const bool counted_outside = count_outside(GOOD, GOODS, outside);
  plb_cycle_choice c = learn("wheel:teeth=60,missing=2");
  assert_int_equal(c.edge, 1); /* the falling edge splits the gap */
  if (!counted_outside)
    print_message("NumPy cannot be run: counts are not compared\n");
  for (size_t i = 0; i < GOODS; i++) {
    plb_tracks *t = real(GOOD[i]);
    plb_frame *f = build(t, &c);
    unsigned wrong = 0;
    for (size_t k = 0; k < f->found; k++)
      wrong += f->cycle[k].missing + f->cycle[k].surplus;
    print_message("%s: %zu whole turns, %zu mapped, %u teeth wrong, %.0f/min, correlation %.4f", GOOD[i], f->found,
                  f->mapped, wrong, 60.0 * f->rate_hz, f->correlation);
    assert_int_equal(f->landmarks, 58);
    assert_int_equal(f->mapped, f->found);
    assert_int_equal(wrong, 0);
    assert_false(f->inverted);
    if (counted_outside) {
      print_message("; NumPy: %d pulses, %d turns of %d to %d pulses", outside[i].pulses, outside[i].turns,
                    outside[i].fewest, outside[i].most);
      assert_int_equal(f->found, outside[i].turns);
      assert_int_equal(outside[i].fewest, 58);
      assert_int_equal(outside[i].most, 58);
    }
    print_message("\n");
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

/* Coasting down from 756 to 596/min within the capture: the speed is read, the turns are laid out. */
static void test_real__a_coasting_capture_is_laid_out(void **state) {
  (void)state;
  plb_cycle_choice c = learn("wheel:teeth=60,missing=2");
  plb_tracks *t = real("setup-one/full-5");
  plb_frame *f = build(t, &c);
  assert_int_equal(f->mapped, 4);
  assert_true(60.0 * f->rate_hz > 596.0 && 60.0 * f->rate_hz < 756.0);
  assert_true(fabs(f->revolutions - 5.5) < 0.1);
  assert_true(f->correlation > 0.98);
  plb_frame_free(f);
  plb_cycle_choice_dispose(&c);
}

static void test_real__the_defective_wheel_misses_its_first_tooth_in_every_turn(void **state) {
  (void)state;
  counted outside[DEFECTIVES];
  const bool counted_outside = count_outside(DEFECTIVE, DEFECTIVES, outside);
  plb_cycle_choice c = learn("wheel:teeth=60,missing=2");
  for (size_t i = 0; i < DEFECTIVES; i++) {
    plb_tracks *t = real(DEFECTIVE[i]);
    plb_frame *f = build(t, &c);
    assert_int_equal(f->mapped, f->found);
    for (size_t k = 0; k < f->found; k++) {
      assert_int_equal(f->cycle[k].missing, 1);
      assert_int_equal(f->cycle[k].surplus, 0);
      assert_true(isnan(f->landmark_phase[f->cycle[k].row * f->landmarks]));
    }
    print_message("%s: tooth 1 missing in %zu of %zu whole turns", DEFECTIVE[i], f->mapped, f->found);
    if (counted_outside) {
      print_message("; NumPy: %d turns from gap to gap, of %d to %d pulses", outside[i].turns, outside[i].fewest,
                    outside[i].most);
      /* A turn begins in the middle of the gap: between two long gaps NumPy may see one turn fewer at an end. */
      assert_in_range(f->found, outside[i].turns, outside[i].turns + 1);
      assert_int_equal(outside[i].most, 57);
    }
    print_message("\n");
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_real__captures_without_a_signal_have_no_structure(void **state) {
  (void)state;
  static const char *const SILENT[] = {"setup-one/silent-1", "setup-one/silent-2"};
  plb_cycle_choice c = learn("wheel:teeth=60,missing=2");
  for (size_t i = 0; i < 2; i++) {
    plb_tracks *t = real(SILENT[i]);
    plb_frame *f = build(t, &c);
    assert_false(f->structure);
    assert_int_equal(f->found, 0);
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

/* The pressure peaks once in 720 degrees: in the first turn of every cycle. In setup-two it lies 8 teeth later; the stroke is told all the same. */
static void test_real__pressure_peaks_once_in_two_turns(void **state) {
  (void)state;
  static const char *const name[] = {"setup-one/none-2", "setup-one/half-2", "setup-one/full-2",
                                     "setup-one/full-5", "setup-two/none-1", "setup-two/full-1"};
  plb_cycle_choice c = learn("wheel:teeth=60,missing=2,revs=2");
  assert_int_equal(c.stroke_channel, 1);
  for (size_t i = 0; i < sizeof name / sizeof *name; i++) {
    plb_tracks *t = real(name[i]);
    plb_frame *f = build(t, &c);
    assert_true(f->stroke_known);
    assert_true(f->mapped >= 2);
    for (size_t row = 0; row < f->mapped; row++) {
      const float *pressure = f->value + (row * 2 + 1) * f->grid;
      float first = pressure[0], second = pressure[f->grid / 2];
      for (size_t k = 0; k < f->grid; k++)
        if (k < f->grid / 2)
          first = fmaxf(first, pressure[k]);
        else
          second = fmaxf(second, pressure[k]);
      assert_true(first > second);
    }
    plb_frame_free(f);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_real__one_tooth_removed_in_three_turns_is_named(void **state) {
  (void)state;
  static const int tooth[] = {1, 30, 58};
  plb_cycle_choice c = learn("wheel:teeth=60,missing=2");
  for (size_t i = 0; i < 3; i++) {
    plb_tracks *t = copy_tracks(real("setup-one/half-2"));
    plb_frame *whole = build(t, &c);
    for (size_t turn = 4; turn <= 14; turn += 5) {
      const plb_cycle_found *cycle = &whole->cycle[turn];
      const double *phase = whole->landmark_phase + cycle->row * whole->landmarks;
      const double length = cycle->last - cycle->first;
      const double from = cycle->first + phase[tooth[i] - 1] * length - 6.0;
      const double to = tooth[i] < 58 ? cycle->first + phase[tooth[i]] * length - 6.0 : from + 66.0;
      for (size_t k = (size_t)from; k < (size_t)to; k++)
        t->x[0][k] = -0.77;
    }
    plb_frame *f = build(t, &c);
    assert_int_equal(f->mapped, whole->mapped);
    for (size_t k = 0; k < f->found; k++) {
      const bool hit = k == 4 || k == 9 || k == 14;
      assert_int_equal(f->cycle[k].missing, hit);
      assert_int_equal(isnan(f->landmark_phase[f->cycle[k].row * 58 + (size_t)tooth[i] - 1]), hit);
    }
    plb_frame_free(whole);
    plb_frame_free(f);
    plb_tracks_free(t);
  }
  plb_cycle_choice_dispose(&c);
}

static void test_real__the_wheel_is_guessed(void **state) {
  (void)state;
  for (size_t i = 0; i < GOODS; i++) {
    plb_tracks *t = real(GOOD[i]);
    plb_wheel_guess crank, pressure;
    assert_int_equal(plb_wheel_guess_from(t->x[0], t->samples, t->rate_hz, &crank, NULL), PLB_OK);
    assert_int_equal(plb_wheel_guess_from(t->x[1], t->samples, t->rate_hz, &pressure, NULL), PLB_OK);
    assert_int_equal(crank.teeth, 60);
    assert_int_equal(crank.missing, 2);
    assert_true(crank.confidence > 0.6 && pressure.confidence < 0.3);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_real__good_captures_have_every_tooth_in_every_turn),
      cmocka_unit_test(test_real__a_coasting_capture_is_laid_out),
      cmocka_unit_test(test_real__the_defective_wheel_misses_its_first_tooth_in_every_turn),
      cmocka_unit_test(test_real__captures_without_a_signal_have_no_structure),
      cmocka_unit_test(test_real__pressure_peaks_once_in_two_turns),
      cmocka_unit_test(test_real__one_tooth_removed_in_three_turns_is_named),
      cmocka_unit_test(test_real__the_wheel_is_guessed),
  };
  folder = real_data();
  return folder ? cmocka_run_group_tests(tests, NULL, forget) : 77;
}
