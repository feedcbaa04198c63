#include "model/draw.h"
#include "model/families.h"
#include "model/meter.h"
#include <math.h>
#include <string.h>

double plb_fault(const plb_draw *draw, const char *name) {
  return draw->fault && strcmp(draw->fault->name, name) == 0 ? draw->severity : 0.0;
}

bool plb_in_state(const plb_draw *draw, const char *state) { return draw->state && strcmp(draw->state, state) == 0; }

double plb_between(plb_draw *draw, double low, double high) {
  return low + (high - low) * plb_random_uniform(&draw->part);
}

double plb_normal(plb_draw *draw) {
  const double z = plb_random_normal(&draw->part);
  return fmax(-2.5, fmin(2.5, z));
}

double plb_part(plb_draw *draw, double nominal, double share) { return nominal * (1.0 + share * plb_normal(draw)); }

double plb_joint_ohm(double severity, double worst_ohm) {
  /* from a two-hundredth of the worst upwards, less that start, so that 0 gives exactly 0 */
  return worst_ohm / 200.0 * (pow(201.0, severity) - 1.0);
}

double plb_scaled(double severity, double worst) { return severity > 0.0 ? pow(worst, severity) : 1.0; }

size_t plb_model_count(void) {
  size_t n = 0;
  while (plb_model_families[n])
    n++;
  return n;
}

const plb_model_family *plb_model_at(size_t index) { return plb_model_families[index]; }

const plb_model_family *plb_model_find(const char *name) {
  for (size_t i = 0; plb_model_families[i]; i++)
    if (strcmp(plb_model_families[i]->name, name) == 0)
      return plb_model_families[i];
  return NULL;
}

size_t plb_model_fault_count(const plb_model_family *family) {
  size_t n = family->faults;
  for (size_t i = 0; i < plb_mistake_count(); i++)
    n += plb_mistake_possible(family, plb_mistake_at(i)->kind) ? 1 : 0;
  return n;
}

const plb_model_fault *plb_model_fault_at(const plb_model_family *family, size_t index) {
  if (index < family->faults)
    return &family->fault[index];
  size_t left = index - family->faults;
  for (size_t i = 0; i < plb_mistake_count(); i++)
    if (plb_mistake_possible(family, plb_mistake_at(i)->kind) && left-- == 0)
      return plb_mistake_at(i);
  return NULL;
}

const plb_model_fault *plb_model_fault_find(const plb_model_family *family, const char *name) {
  const size_t n = plb_model_fault_count(family);
  for (size_t i = 0; i < n; i++)
    if (strcmp(plb_model_fault_at(family, i)->name, name) == 0)
      return plb_model_fault_at(family, i);
  for (size_t i = 0; i < family->unseens; i++)
    if (strcmp(family->unseen[i].fault.name, name) == 0)
      return &family->unseen[i].fault;
  return NULL;
}

static bool has_state(const plb_model_family *family, const char *state) {
  for (size_t i = 0; family->state && family->state[i]; i++)
    if (strcmp(family->state[i], state) == 0)
      return true;
  return false;
}

static void list_faults(const plb_model_family *family, char *out, size_t size) {
  size_t used = 0;
  out[0] = 0;
  for (size_t i = 0; i < plb_model_fault_count(family) && used < size; i++) {
    const int wrote =
        plb_text_print(out + used, size - used, "%s%s", i ? ", " : "", plb_model_fault_at(family, i)->name);
    used += wrote > 0 ? (size_t)wrote : 0;
  }
}

static plb_status check_request(const plb_model_family *family, const plb_model_request *request, plb_error *err) {
  char names[400];
  if (!(request->severity >= 0.0 && request->severity <= 1.0))
    return plb_fail(err, PLB_EUSAGE, "a severity must lie between 0 and 1; give such a number");
  if (request->fault && !plb_model_fault_find(family, request->fault)) {
    list_faults(family, names, sizeof names);
    return plb_fail(err, PLB_EUSAGE, "%s has no fault \"%s\"; it has %s", family->name, request->fault, names);
  }
  if (request->state && !has_state(family, request->state))
    return plb_fail(err, PLB_EUSAGE, "%s has no state \"%s\"; leave it out for the usual one", family->name,
                    request->state);
  if (!(request->rate_hz >= 0.0 && request->duration_s >= 0.0 && request->speed_per_min >= 0.0))
    return plb_fail(err, PLB_EUSAGE, "rate, duration and speed must not be negative; 0 means the family's own");
  return PLB_OK;
}

/* Captures of a shop differ in sample rate too. */
static double draw_rate(plb_draw *draw, double asked_hz) {
  static const double factor[] = {1.0, 1.0, 1.0, 0.8, 1.25};
  const double drawn = draw->family->rate_hz * factor[plb_random_below(&draw->meter, 5)];
  return asked_hz > 0.0 ? asked_hz : drawn;
}

static void begin(plb_draw *draw, const plb_model_family *family, const plb_model_request *request,
                  uint64_t recording) {
  *draw = (plb_draw){.family = family, .severity = request->severity, .state = request->state};
  draw->fault = request->fault ? plb_model_fault_find(family, request->fault) : NULL;
  plb_random_seed(&draw->part, request->seed * 3);
  plb_random_seed(&draw->event, recording * 3 + 1);
  plb_random_seed(&draw->meter, recording * 3 + 2);
  draw->rate_hz = draw_rate(draw, request->rate_hz);
  draw->n = (size_t)(draw->rate_hz * (request->duration_s > 0.0 ? request->duration_s : family->duration_s));
  draw->supply_v = NAN;
  draw->temperature_cel = NAN;
  const double speed = plb_between(draw, family->low_per_min, family->high_per_min);
  draw->speed_per_min = request->speed_per_min > 0.0 ? request->speed_per_min : speed;
}

static void add_notes(plb_capture *capture, const plb_draw *draw, const plb_model_request *request) {
  plb_capture_add_note(capture, "modelled, not measured: %s, seed %llu", draw->family->name,
                       (unsigned long long)request->seed);
  if (draw->fault && draw->severity > 0.0)
    plb_capture_add_note(capture, "modelled fault: %s, severity %.3g", draw->fault->name, draw->severity);
  if (draw->state)
    plb_capture_add_note(capture, "modelled state: %s", draw->state);
}

plb_status plb_model_draw(plb_capture **out, const plb_model_family *family, const plb_model_request *request,
                          plb_model_conditions *conditions_out, plb_error *err) {
  return plb_model_draw_again(out, family, request, request->seed, conditions_out, err);
}

plb_status plb_model_draw_again(plb_capture **out, const plb_model_family *family, const plb_model_request *request,
                                uint64_t recording, plb_model_conditions *conditions_out, plb_error *err) {
  *out = NULL;
  plb_status status = check_request(family, request, err);
  if (status)
    return status;
  plb_draw draw;
  begin(&draw, family, request, recording);
  plb_capture *capture = plb_capture_new();
  for (size_t c = 0; c < family->channels; c++)
    draw.x[c] = plb_calloc(draw.n, sizeof(double));
  bool whole = capture != NULL;
  for (size_t c = 0; c < family->channels; c++)
    whole = whole && draw.x[c];
  status = whole ? family->simulate(&draw, err)
                 : plb_fail(err, PLB_ENOMEM, "not enough memory to draw a recording; close other programs");
  if (!status)
    status = plb_meter_record(&draw, capture, err);
  if (status)
    goto done;
  plb_text_copy(capture->format, sizeof capture->format, "model");
  plb_text_copy(capture->path, sizeof capture->path, family->name);
  add_notes(capture, &draw, request);
  const double speed = family->high_per_min > 0.0 ? draw.speed_per_min : NAN;
  if (conditions_out)
    *conditions_out = (plb_model_conditions){speed, draw.supply_v, draw.temperature_cel};
  *out = capture;
  capture = NULL;
done:
  plb_capture_free(capture);
  for (size_t c = 0; c < family->channels; c++)
    free(draw.x[c]);
  return status;
}
