/*
 * Captures that no one should judge, made from good ones: clipped by the recorder, sampled too slowly, with the factor
 * forgotten, from the wrong channel, from the wrong sensor.
 */
#include "evaluate.h"
#include "core/fail.h"
#include <string.h>

static const struct {
  const char *name, *code;
} spoils[EVAL_SPOILS] = {{"clipped", "clipped"},           {"undersampled", "sparse"},
                         {"factor-forgotten", "factor"},   {"factor-twice", "factor"},
                         {"wrong-channel", "wrong-channel"}, {"wrong-sensor", "wrong-channel"}};

const char *eval_spoil_name(size_t spoil) { return spoils[spoil].name; }

static plb_status draw(plb_capture **out, const plb_model_family *family, uint64_t seed, const char *fault,
                       plb_error *err) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = seed;
  request.fault = fault;
  request.severity = fault ? 1.0 : 0.0;
  return plb_model_draw(out, family, &request, NULL, err);
}

/*
 * A range that ends below the peak by 0.3 of the swing: codes beyond it stand at the rail. A swing of a few codes cannot be cut so that
 * anything is missing.
 */
static bool clip(plb_capture *capture, size_t channel) {
  plb_samples *s = &capture->channel[channel].samples;
  int32_t low = s->code[0], high = s->code[0];
  for (size_t i = 0; i < capture->samples; i++) {
    low = s->code[i] < low ? s->code[i] : low;
    high = s->code[i] > high ? s->code[i] : high;
  }
  if (high - low < 10)
    return false;
  const int32_t far = high > -low ? high : -low;
  s->code_high = far - (int32_t)(0.3 * (high - low));
  s->code_low = -s->code_high - 1;
  for (size_t i = 0; i < capture->samples; i++)
    s->code[i] = s->code[i] > s->code_high ? s->code_high : s->code[i] < s->code_low ? s->code_low : s->code[i];
  return true;
}

static void take_place(plb_capture *capture, const plb_model_family *family) {
  for (size_t c = 0; c < family->channels; c++) {
    plb_text_copy(capture->channel[c].role, PLB_NAME_SIZE, family->channel[c].role);
    plb_text_copy(capture->channel[c].unit, PLB_UNIT_SIZE, family->channel[c].unit);
  }
  for (size_t c = family->channels; c < capture->channels; c++)
    plb_text_print(capture->channel[c].role, PLB_NAME_SIZE, "other-%zu", c);
}

/*
 * Two tracks of which one falls from where the other begins and both end alike: what one says at any value of the other is the same with the
 * leads swapped. A known-good along another channel holds that relation and no time, so nothing in it tells, and no one is asked to.
 */
static bool mirrors_itself(const plb_model_family *family) { return strcmp(family->type, "throttle-dual") == 0; }

static void swap_channels(plb_capture *capture) {
  const plb_samples first = capture->channel[0].samples;
  capture->channel[0].samples = capture->channel[1].samples;
  capture->channel[1].samples = first;
}

/*
 * The same circuit under another type's name: the current of an ignition coil with or without its command, and loads that the same kind of driver
 * switches to ground at about the same frequency, which differ only by the share of the time that the control unit chooses.
 */
static bool are_sisters(const char *a, const char *b) {
  static const char *const pair[][2] = {{"coil-primary-current", "coil-command"}, {"pwm-valve", "cooling-fan-pwm"}};
  bool sisters = false;
  for (size_t i = 0; i < sizeof pair / sizeof *pair; i++)
    sisters = sisters || (strcmp(a, pair[i][0]) == 0 && strcmp(b, pair[i][1]) == 0) || (strcmp(a, pair[i][1]) == 0 && strcmp(b, pair[i][0]) == 0);
  return sisters;
}

/*
 * Another sensor whose first channel has the same unit: the mistake that no unit gives away. One that hardly moves at this range is passed
 * over: "no signal" is then the right word.
 */
static const plb_model_family *other_sensor(const plb_model_family *family, uint64_t seed) {
  const size_t n = plb_model_count();
  for (size_t i = 0; i < n; i++) {
    const plb_model_family *other = plb_model_at((seed * 7 + i) % n);
    if (strcmp(other->type, family->type) != 0 && !are_sisters(other->type, family->type) &&
        other->channels >= family->channels &&
        other->channel[0].range >= 0.5 * family->channel[0].range && strcmp(other->channel[0].unit, family->channel[0].unit) == 0)
      return other;
  }
  return NULL;
}

plb_status eval_spoil(plb_capture **out, const char **code, const plb_model_family *family, size_t spoil,
                      uint64_t seed, plb_error *err) {
  const char *name = spoils[spoil].name;
  const bool once = strncmp(family->cycle, "once", 4) == 0;
  plb_status status = PLB_OK;
  *out = NULL;
  *code = spoils[spoil].code;
  if (strcmp(name, "clipped") == 0) {
    status = draw(out, family, seed, NULL, err);
    if (!status && !clip(*out, 0)) {
      plb_capture_free(*out);
      *out = NULL;
    }
  } else if (strcmp(name, "undersampled") == 0 && !once) {
    status = draw(out, family, seed, "alias", err);
  } else if (strcmp(name, "factor-forgotten") == 0 && plb_model_fault_find(family, "attenuator-forgotten")) {
    status = draw(out, family, seed, "attenuator-forgotten", err);
  } else if (strcmp(name, "factor-twice") == 0 && plb_model_fault_find(family, "attenuator-forgotten")) {
    status = draw(out, family, seed, NULL, err);
    if (!status)
      (*out)->channel[0].samples.scale *= 10.0;
  } else if (strcmp(name, "wrong-channel") == 0 && family->channels > 1 && !mirrors_itself(family)) {
    status = draw(out, family, seed, NULL, err);
    if (!status)
      swap_channels(*out);
  } else if (strcmp(name, "wrong-sensor") == 0 && other_sensor(family, seed)) {
    status = draw(out, other_sensor(family, seed), seed, NULL, err);
    if (!status)
      take_place(*out, family);
  }
  return status;
}
