#include "cycle_test.h"

plb_tracks *new_tracks(size_t channels, size_t samples, double rate_hz) {
  plb_tracks *t = plb_calloc(1, sizeof *t);
  assert_non_null(t);
  t->channels = channels;
  t->samples = samples;
  t->rate_hz = rate_hz;
  t->role = plb_calloc(channels, sizeof *t->role);
  t->unit = plb_calloc(channels, sizeof *t->unit);
  t->x = plb_calloc(channels, sizeof *t->x);
  for (size_t c = 0; c < channels; c++) {
    t->role[c][0] = (char)('a' + (char)c);
    t->unit[c][0] = 'V';
    t->x[c] = plb_calloc(samples, sizeof(double));
  }
  return t;
}

void name_track(plb_tracks *tracks, size_t channel, const char *role) {
  snprintf(tracks->role[channel], PLB_NAME_SIZE, "%s", role);
}

plb_tracks *copy_tracks(const plb_tracks *from) {
  plb_tracks *t = new_tracks(from->channels, from->samples, from->rate_hz);
  for (size_t c = 0; c < from->channels; c++) {
    memcpy(t->role[c], from->role[c], PLB_NAME_SIZE);
    memcpy(t->x[c], from->x[c], from->samples * sizeof(double));
  }
  return t;
}

void add_noise(plb_tracks *tracks, size_t channel, double sd, uint64_t seed) {
  plb_random r;
  plb_random_seed(&r, seed);
  for (size_t i = 0; i < tracks->samples; i++)
    tracks->x[channel][i] += sd * plb_random_normal(&r);
}

void scale_track(plb_tracks *tracks, size_t channel, double gain, double offset) {
  for (size_t i = 0; i < tracks->samples; i++)
    tracks->x[channel][i] = gain * tracks->x[channel][i] + offset;
}

const wheel_model WHEEL_60_2 = {
    .teeth = 60, .missing = 2, .rate_hz = 1e5, .samples = 20000, .turns_per_s = 50.0, .start = 0.3};

double wheel_turns_at(const wheel_model *m, double sample) {
  const double t = sample / m->rate_hz, pi = acos(-1.0);
  const double turns = m->start + m->turns_per_s * t + 0.5 * m->acceleration * t * t;
  return turns + m->ripple / (4.0 * pi) * sin(4.0 * pi * turns) + m->stroke_ripple / pi * sin(pi * turns);
}

double wheel_sample_at(const wheel_model *m, double turns) {
  double low = -1000.0,
         high = (double)m->samples + 1000.0; /* inside which the model only speeds up or slows down, never turns back */
  for (int i = 0; i < 80; i++) {
    const double middle = 0.5 * (low + high);
    if (wheel_turns_at(m, middle) < turns)
      low = middle;
    else
      high = middle;
  }
  return 0.5 * (low + high);
}

static double height_at(const wheel_model *m, int turn, int position) {
  for (size_t k = 0; k < m->faults; k++)
    if (m->fault[k].tooth == position + 1 && (m->fault[k].turn == turn || m->fault[k].turn < 0))
      return m->fault[k].height;
  return position < m->teeth - m->missing ? 1.0 : 0.0;
}

/** Flat-topped pulse whose middle of the rise is at 0 and of the fall at `width` [pitches]. */
static double pulse(double at, double width) {
  const double edge = 0.12;
  const double rise = fmin(1.0, fmax(0.0, at / edge + 0.5)), fall = fmin(1.0, fmax(0.0, (width - at) / edge + 0.5));
  return fmin(rise, fall);
}

static double wheel_value(const wheel_model *m, double turns) {
  const double pitches = turns * m->teeth;
  double value = 0;
  for (int back = -1; back <= 3; back++) {
    const double position = floor(pitches) - back;
    const int turn = (int)floor(position / m->teeth), residue = (int)(position - (double)turn * m->teeth);
    const bool is_last = m->missing > 0 && residue == m->teeth - m->missing - 1;
    value =
        fmax(value, height_at(m, turn, residue) * pulse(pitches - position, is_last ? 0.5 + 0.5 * m->missing : 0.5));
  }
  return -0.8 + 5.3 * value;
}

static double hump(double at, double centre, double width) { return exp(-0.5 * pow((at - centre) / width, 2)); }

plb_tracks *model_wheel(const wheel_model *m) {
  plb_tracks *t = new_tracks(m->pressure ? 2 : 1, m->samples, m->rate_hz);
  name_track(t, 0, "crank");
  for (size_t i = 0; i < m->samples; i++) {
    const double turns = wheel_turns_at(m, (double)i), stroke = turns - 2.0 * floor(turns / 2.0);
    t->x[0][i] = wheel_value(m, turns);
    if (m->pressure)
      t->x[1][i] = 3.0 * hump(stroke, 0.4, 0.06) + 0.75 * hump(stroke, 1.4, 0.06);
  }
  if (m->pressure)
    name_track(t, 1, "pressure");
  return t;
}

void choose_from(plb_cycle_choice *out, plb_tracks *const *tracks, size_t count, const char *text, size_t grid) {
  plb_cycle_spec spec;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_cycle_spec_parse(text, &spec, &err), PLB_OK);
  if (plb_cycle_choose(out, (const plb_tracks *const *)tracks, count, &spec, grid, NULL, &err) != PLB_OK)
    fail_msg("%s", err.message);
}

plb_frame *build(const plb_tracks *tracks, const plb_cycle_choice *choice) {
  plb_frame *frame = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (plb_frame_build(&frame, tracks, choice, &err) != PLB_OK)
    fail_msg("%s", err.message);
  size_t mapped = 0;
  for (size_t i = 0; i < frame->found; i++) {
    mapped += frame->cycle[i].state == PLB_MAPPED;
    assert_true(frame->cycle[i].last > frame->cycle[i].first);
    assert_true(i == 0 || frame->cycle[i].first >= frame->cycle[i - 1].first);
    if (frame->cycle[i].state == PLB_MAPPED)
      assert_true(frame->cycle[i].row < frame->mapped);
  }
  assert_int_equal(mapped, frame->mapped);
  for (size_t k = 0; k < frame->mapped * frame->channels * frame->grid; k++)
    assert_true(frame->partial || isfinite(frame->value[k]));
  return frame;
}

const char *real_data(void) {
  static char path[PLB_PATH_SIZE];
  const char *given = getenv("PLUMBLINE_TEST_DATA");
  snprintf(path, sizeof path, "%s/engine/setup-one/none-1.txt", given ? given : PLB_SOURCE_DIR "/../shared/data");
  FILE *f = fopen(path, "r");
  if (!f) {
    print_message("skipped: the real captures are not at %s\n", path);
    return NULL;
  }
  fclose(f);
  snprintf(path, sizeof path, "%s/engine", given ? given : PLB_SOURCE_DIR "/../shared/data");
  return path;
}
