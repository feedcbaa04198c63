/* The captures of one redraw: from the models, or from a folder of files. */
#include "evaluate.h"
#include "core/core.h"
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { VEHICLE_CAPTURES = 4, SEEDS = 100000 };

void eval_set_dispose(eval_set *set) {
  eval_specimen *const list[] = {set->exemplar, set->fresh, set->faulty, set->unsuitable};
  const size_t count[] = {set->exemplars, set->freshes, set->faulties, set->unsuitables};
  for (size_t k = 0; k < 4; k++) {
    for (size_t i = 0; list[k] && i < count[k]; i++)
      plb_capture_free(list[k][i].capture);
    free(list[k]);
  }
  *set = (eval_set){0};
}

/* --- models --- */

static plb_status draw(eval_specimen *out, const plb_model_family *family, uint64_t seed, const char *fault,
                       double severity, plb_error *err) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = out->seed = seed;
  request.fault = fault;
  request.severity = out->severity = severity;
  plb_text_copy(out->fault, sizeof out->fault, fault ? fault : "");
  return plb_model_draw(&out->capture, family, &request, NULL, err);
}

/* A session: the same vehicle, recorded again at another speed with another set-up. */
static plb_status draw_in_session(eval_specimen *out, const plb_model_family *family, uint64_t vehicle, uint64_t again,
                                  plb_error *err) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  plb_random random;
  plb_random_seed(&random, vehicle * 31 + again);
  request.seed = out->seed = vehicle;
  if (family->high_per_min > 0.0)
    request.speed_per_min =
        family->low_per_min + (family->high_per_min - family->low_per_min) * plb_random_uniform(&random);
  plb_text_print(out->group, sizeof out->group, "vehicle-%llu", (unsigned long long)vehicle);
  return plb_model_draw_again(&out->capture, family, &request, vehicle * 1000 + again, NULL, err);
}

static bool make_room(eval_set *set, size_t exemplars, size_t freshes, size_t faulties, size_t unsuitables) {
  set->exemplar = plb_calloc(exemplars, sizeof *set->exemplar);
  set->fresh = plb_calloc(freshes, sizeof *set->fresh);
  set->faulty = plb_calloc(faulties, sizeof *set->faulty);
  set->unsuitable = plb_calloc(unsuitables, sizeof *set->unsuitable);
  return set->exemplar && set->fresh && set->faulty && set->unsuitable;
}

static plb_status draw_good(eval_set *set, const plb_model_family *family, const eval_options *o, uint64_t seed,
                            plb_error *err) {
  const size_t exemplars = o->size[o->sizes - 1];
  plb_status status = PLB_OK;
  for (size_t i = 0; i < exemplars && !status; i++) {
    eval_specimen *e = &set->exemplar[set->exemplars++];
    status = o->sessions ? draw_in_session(e, family, seed + i / VEHICLE_CAPTURES, i % VEHICLE_CAPTURES, err)
                         : draw(e, family, seed + i, NULL, 0.0, err);
  }
  for (size_t i = 0; i < o->fresh && !status && !o->unsuitable; i++)
    status = draw(&set->fresh[set->freshes++], family, seed + SEEDS / 2 + i, NULL, 0.0, err);
  return status;
}

/* Faults of the same vehicle and recording as fresh[0], so that what differs is the fault alone. */
static plb_status draw_faulty(eval_set *set, const plb_model_family *family, const eval_options *o, uint64_t seed,
                              plb_error *err) {
  static const double severity[] = {1.0, 0.5, 0.25};
  const size_t severities = o->quick ? 1 : 3;
  plb_status status = PLB_OK;
  for (size_t f = 0; f < family->faults; f++)
    for (size_t s = 0; s < severities && !status; s++)
      status = draw(&set->faulty[set->faulties++], family, seed + SEEDS / 2, family->fault[f].name, severity[s], err);
  return status;
}

static plb_status draw_unsuitable(eval_set *set, const plb_model_family *family, uint64_t seed, plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t k = 0; k < EVAL_SPOILS && !status; k++) {
    eval_specimen *u = &set->unsuitable[set->unsuitables];
    u->seed = seed + SEEDS / 2 + 1 + k;
    status = eval_spoil(&u->capture, &u->code, family, k, u->seed, err);
    plb_text_copy(u->fault, sizeof u->fault, eval_spoil_name(k));
    set->unsuitables += u->capture != NULL;
  }
  return status;
}

plb_status eval_set_from_model(eval_set *out, const plb_model_family *family, const eval_options *o, unsigned redraw,
                               plb_error *err) {
  const uint64_t seed = (o->seed * 1000 + redraw) * SEEDS;
  *out = (eval_set){.family = family->name, .type = family->type, .provenance = PLB_MODELLED, .twins = true};
  plb_text_copy(out->cycle, sizeof out->cycle, o->cycle ? o->cycle : eval_cycle_of(family));
  if (!make_room(out, o->size[o->sizes - 1], o->fresh, family->faults * 3, EVAL_SPOILS))
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  plb_status status = draw_good(out, family, o, seed, err);
  if (!status && !o->unsuitable)
    status = draw_faulty(out, family, o, seed, err);
  return status || o->words ? status : draw_unsuitable(out, family, seed, err);
}

/* --- folders --- */

static int by_name(const void *a, const void *b) { return strcmp(a, b); }

typedef struct listing {
  char (*name)[256];
  size_t count, room;
} listing;

static plb_status list_folder(listing *out, const char *folder, plb_error *err) {
  DIR *d = opendir(folder);
  if (!d)
    return plb_fail(err, PLB_ENOINPUT, "%s cannot be opened; give a folder with good-*.csv and fault-NAME-*.csv", folder);
  const struct dirent *entry;
  while ((entry = readdir(d)) != NULL) {
    if (strncmp(entry->d_name, "good-", 5) != 0 && strncmp(entry->d_name, "fault-", 6) != 0)
      continue;
    void *grown = plb_grow(out->name, out->count, &out->room, sizeof *out->name);
    if (!grown) {
      closedir(d);
      return plb_fail(err, PLB_ENOMEM, "out of memory");
    }
    out->name = grown;
    plb_text_copy(out->name[out->count++], sizeof *out->name, entry->d_name);
  }
  closedir(d);
  if (out->count)
    qsort(out->name, out->count, sizeof *out->name, by_name);
  return PLB_OK;
}

static plb_status read_file(eval_specimen *out, const char *folder, const char *name, plb_error *err) {
  char path[PLB_PATH_SIZE];
  plb_text_print(path, sizeof path, "%s/%s", folder, name);
  out->severity = NAN;
  if (strncmp(name, "fault-", 6) == 0) { /* fault-NAME-NUMBER.csv: NAME may hold hyphens */
    plb_text_copy(out->fault, sizeof out->fault, name + 6);
    char *last = strrchr(out->fault, '-');
    if (!last)
      last = strrchr(out->fault, '.');
    if (last)
      *last = '\0';
  }
  const plb_read_options options = PLB_READ_OPTIONS_INIT;
  return plb_capture_read(&out->capture, path, &options, err);
}

plb_status eval_set_from_folder(eval_set *out, const char *folder, const eval_options *o, unsigned redraw,
                                plb_error *err) {
  listing list = {0};
  const char *slash = strrchr(folder, '/');
  *out = (eval_set){.family = slash && slash[1] ? slash + 1 : folder, .type = "evaluated", .provenance = PLB_MEASURED};
  plb_text_copy(out->cycle, sizeof out->cycle, o->cycle ? o->cycle : "once");
  plb_status status = list_folder(&list, folder, err);
  if (!status && !make_room(out, list.count, list.count, list.count, 1))
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  size_t goods = 0;
  while (goods < list.count && strncmp(list.name[list.count - 1 - goods], "good-", 5) == 0)
    goods++;
  plb_random random;
  plb_random_seed(&random, o->seed * 1000 + redraw);
  const size_t most = o->size[o->sizes - 1], taught = most < goods ? most : goods;
  for (size_t i = 0, left = goods, need = taught; i < list.count && !status; i++) {
    const char *name = list.name[i];
    if (strncmp(name, "good-", 5) != 0) {
      status = read_file(&out->faulty[out->faulties++], folder, name, err);
    } else if (plb_random_below(&random, left--) < need) { /* selection sampling (Knuth, TAOCP 2, 3.4.2, S) */
      need--;
      status = read_file(&out->exemplar[out->exemplars++], folder, name, err);
    } else {
      status = read_file(&out->fresh[out->freshes++], folder, name, err);
    }
  }
  free(list.name);
  /* the first n of a sorted sample would be neighbours */
  for (size_t i = out->exemplars; i > 1 && !status; i--) {
    const size_t k = (size_t)plb_random_below(&random, i);
    const eval_specimen swap = out->exemplar[i - 1];
    out->exemplar[i - 1] = out->exemplar[k];
    out->exemplar[k] = swap;
  }
  return status;
}
