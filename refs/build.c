/*
 * Makes the starter collection from its sheets: build-references REFS OUT [TYPE/NAME...]. For each sheet of REFS/sheets it
 * draws good captures of different modelled vehicles with fixed seeds, learns from them as `plumb learn` would, and writes
 * OUT/references/TYPE/NAME/0001.xml and status.xml. The same machine and build gives the same bytes.
 */
#include "sheet.h"
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

/* Learning draws these seeds and no other; evaluation on fresh draws must leave them out. */
static const uint64_t first_seed = 40001;
static const char date[] = "2026-11-25T00:00:00Z";
static const char status_text[] =
    "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
    "<status xmlns=\"urn:plumbline:status:1\">\n"
    "  <act kind=\"approve\" version=\"1\" when=\"2026-11-25T00:00:00Z\" who=\"starter collection\">Shipped with the program; "
    "replace it by your own good captures.</act>\n"
    "</status>\n";

static plb_status draw_good(plb_capture **out, const sheet *s, unsigned index, plb_error *err) {
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = first_seed + index;
  request.state = s->state;
  request.rate_hz = s->rate_hz;
  request.duration_s = s->duration_s;
  return plb_model_draw(out, s->family, &request, NULL, err);
}

/* A recording that its own check finds too coarse or cut off is none to learn from, in a model as in a workshop. */
static plb_status is_fit(const plb_capture *capture, bool *out, plb_error *err) {
  plb_reason *reason = NULL;
  size_t count = 0;
  const plb_status status = plb_capture_check(capture, &reason, &count, err);
  *out = true;
  for (size_t i = 0; status == PLB_OK && i < count; i++)
    *out = *out && !reason[i].blocks && strcmp(reason[i].code, "coarse") != 0 && strcmp(reason[i].code, "clipped") != 0;
  free(reason);
  return status;
}

enum { UNFIT_MOST = 100 };

/* The next fit recording from seed `*next` on. */
static plb_status draw_fit(plb_capture **out, const sheet *s, unsigned *next, plb_error *err) {
  bool fit = false;
  plb_status status = PLB_OK;
  for (unsigned tries = 0; status == PLB_OK && !fit; tries++) {
    if (tries == UNFIT_MOST)
      return plb_fail(err, PLB_EDATA, "%d recordings in a row do not pass the recording check; look at the model", UNFIT_MOST);
    plb_capture_free(*out);
    *out = NULL;
    status = draw_good(out, s, (*next)++, err);
    if (status == PLB_OK)
      status = is_fit(*out, &fit, err);
  }
  return status;
}

static plb_status replace_text(plb_string *text, plb_error *err, const char *format, ...) PLB_PRINTF(3, 4);
static plb_status replace_text(plb_string *text, plb_error *err, const char *format, ...) {
  char line[2048];
  va_list values;
  va_start(values, format);
  plb_text_vprint(line, sizeof line, format, values);
  va_end(values);
  free(*text);
  *text = plb_strdup(line);
  return *text != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
}

/* Whatever learning found, a landmark keeps the name that people know it by. */
static plb_status name_marks(plb_reference *r, const sheet *s, plb_error *err) {
  for (size_t i = 0; i < s->marks; i++) {
    if (s->mark[i].number > r->choice.landmarks)
      return plb_fail(err, PLB_EDATA, "mark %zu has a name, but there are %zu marks", s->mark[i].number, r->choice.landmarks);
    plb_landmark *m = &r->choice.landmark[s->mark[i].number - 1];
    plb_text_copy(m->name, sizeof m->name, s->mark[i].name);
  }
  return PLB_OK;
}

static plb_status tell_origin(plb_reference *r, const sheet *s, unsigned seeds, plb_error *err) {
  plb_status status = replace_text(&r->method, err,
                                   "learned from %u drawn captures of the model %s, seeds %llu to %llu, one for each modelled vehicle, %u passed "
                                   "over by the recording check; every score by leaving the capture out",
                                   s->exemplars, s->family->name, (unsigned long long)first_seed,
                                   (unsigned long long)(first_seed + seeds - 1), seeds - s->exemplars);
  if (status == PLB_OK)
    status = replace_text(&r->sources, err, "%s",
                          s->words->sources != NULL ? s->words->sources
                                                    : "the formulas named in the model's source; part values are common practice or from memory");
  r->version = 1;
  return status == PLB_OK ? name_marks(r, s, err) : status;
}

/* Where the sections lie is written by marks, so the cycle is chosen once beforehand, from the same captures. */
static plb_status place_sections(sheet *s, plb_capture *const *capture, plb_error *err) {
  plb_tracks **tracks = plb_calloc(s->exemplars, sizeof *tracks);
  plb_cycle_choice choice = {.landmarks = 0};
  plb_status status = tracks ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  for (unsigned i = 0; status == PLB_OK && i < s->exemplars; i++)
    status = plb_tracks_from_capture(&tracks[i], capture[i], NULL, 0, err);
  if (status == PLB_OK)
    status = plb_cycle_choose(&choice, (const plb_tracks *const *)tracks, s->exemplars, &s->words->choice.spec, 0, NULL, err);
  if (status == PLB_OK)
    status = sheet_place_bands(s, &choice, err);
  for (unsigned i = 0; tracks && i < s->exemplars; i++)
    plb_tracks_free(tracks[i]);
  free(tracks);
  plb_cycle_choice_dispose(&choice);
  return status;
}

static plb_status learn(plb_reference **out, plb_learned **learned, sheet *s, plb_error *err) {
  plb_capture **capture = plb_calloc(s->exemplars, sizeof *capture);
  plb_good *good = plb_calloc(s->exemplars, sizeof *good);
  char(*name)[PLB_NAME_SIZE] = plb_calloc(s->exemplars, sizeof *name);
  plb_status status = capture && good && name ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  unsigned seeds = 0;
  for (unsigned i = 0; status == PLB_OK && i < s->exemplars; i++) {
    status = draw_fit(&capture[i], s, &seeds, err);
    plb_text_print(name[i], sizeof name[i], "vehicle %02u", seeds);
    good[i] = (plb_good){capture[i], name[i], name[i]};
  }
  plb_learn_options options = PLB_LEARN_OPTIONS_INIT;
  options.like = s->words;
  options.date = date;
  options.provenance = PLB_MODELLED;
  if (status == PLB_OK)
    status = place_sections(s, capture, err);
  if (status == PLB_OK)
    status = plb_learn(out, learned, good, s->exemplars, &options, err);
  if (status == PLB_OK)
    status = tell_origin(*out, s, seeds, err);
  for (unsigned i = 0; capture && i < s->exemplars; i++)
    plb_capture_free(capture[i]);
  free(capture);
  free(good);
  free(name);
  return status;
}

/* A standard's limits need no captures: what the sheet says is the reference. */
static plb_status set_by_standard(plb_reference **out, sheet *s, plb_error *err) {
  plb_reference *r = s->words;
  plb_status status = PLB_OK;
  for (size_t b = 0; b < r->bands; b++) {
    r->band[b].from = 0;
    r->band[b].to = 1;
  }
  r->reading = plb_calloc(s->limits, sizeof *r->reading);
  if (r->reading == NULL)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  r->readings = s->limits;
  for (size_t i = 0; i < s->limits; i++) {
    r->reading[i] = s->limit[i];
    s->limit[i].source = NULL;
  }
  r->provenance = PLB_STANDARD;
  r->version = 1;
  r->date = plb_strdup(date);
  status = replace_text(&r->method, err, "set from the published limits named beside each reading; no captures");
  r->choice.grid = 2;
  s->words = NULL;
  *out = r;
  return status;
}

static plb_status make_folders(char *path, plb_error *err) {
  for (char *slash = strchr(path + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
    *slash = '\0';
    const bool made = mkdir(path, 0777) == 0 || errno == EEXIST;
    *slash = '/';
    if (!made)
      return plb_fail(err, PLB_ECREATE, "its folder cannot be made; choose another place");
  }
  return PLB_OK;
}

static plb_status write_files(plb_reference *r, const char *folder, long *size_out, plb_error *err) {
  char path[2 * PLB_PATH_SIZE];
  plb_text_print(path, sizeof path, "%s/references/%s/status.xml", folder, r->name);
  plb_status status = make_folders(path, err);
  if (status == PLB_OK)
    status = plb_file_write(path, status_text, sizeof status_text - 1, err);
  plb_text_print(path, sizeof path, "%s/references/%s/0001.xml", folder, r->name);
  if (status == PLB_OK)
    status = plb_reference_write(r, path, err);
  struct stat st;
  *size_out = stat(path, &st) == 0 ? (long)st.st_size : 0;
  return status;
}

static void tell(const plb_reference *r, const plb_learned *learned, long size, double seconds) {
  if (learned == NULL) {
    printf("%-52s %4ld kB %6.1f s  %zu limits of a standard\n", r->name, size / 1000, seconds, r->readings);
    return;
  }
  printf("%-52s %4ld kB %6.1f s  grid %4zu  marks %3zu  limit %.3g  guard %.3g", r->name, size / 1000, seconds, r->choice.grid,
         r->choice.landmarks, r->calibration.limit, r->calibration.guard);
  if (learned->odd[0] != '\0')
    printf("  odd: %s (%.3g)", learned->odd, learned->odd_ratio);
  printf("\n");
  fflush(stdout);
}

static double seconds_now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int build(const char *sheets, const char *folder, const char *name, const sheet_cautions *cautions) {
  char path[2 * PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  sheet s = {.words = NULL};
  plb_reference *reference = NULL;
  plb_learned *learned = NULL;
  long size = 0;
  const double start = seconds_now();
  plb_text_print(path, sizeof path, "%s/%s.sheet", sheets, name);
  plb_status status = sheet_read(&s, path, name, cautions, &err);
  if (status == PLB_OK)
    status = s.standard ? set_by_standard(&reference, &s, &err) : learn(&reference, &learned, &s, &err);
  if (status == PLB_OK)
    status = write_files(reference, folder, &size, &err);
  if (status == PLB_OK)
    tell(reference, learned, size, seconds_now() - start);
  else
    fprintf(stderr, "build-references: %s: %s: %s\n", name, err.path, err.message);
  plb_learned_free(learned);
  plb_reference_free(reference);
  sheet_dispose(&s);
  return status == PLB_OK ? 0 : plb_status_exit(status);
}

/* ---- which sheets there are ---- */

typedef struct names {
  char (*name)[PLB_TEXT_SIZE];
  size_t count, capacity;
} names;

static int by_name(const void *a, const void *b) { return strcmp(a, b); }

static bool list(names *out, const char *sheets, const char *inside, int depth) {
  char path[2 * PLB_PATH_SIZE];
  plb_text_print(path, sizeof path, "%s/%s", sheets, inside);
  DIR *dir = opendir(path);
  bool whole = dir != NULL;
  for (struct dirent *e; whole && (e = readdir(dir)) != NULL;) {
    const size_t n = strlen(e->d_name);
    char name[PLB_TEXT_SIZE];
    if (e->d_name[0] == '.' || plb_text_print(name, sizeof name, "%s%s%s", inside, *inside ? "/" : "", e->d_name) >= (int)sizeof name)
      continue;
    if (n > 6 && strcmp(e->d_name + n - 6, ".sheet") == 0) {
      void *grown = plb_grow(out->name, out->count, &out->capacity, sizeof *out->name);
      whole = grown != NULL;
      out->name = grown ? grown : out->name;
      name[strlen(name) - 6] = '\0';
      if (whole)
        plb_text_copy(out->name[out->count++], PLB_TEXT_SIZE, name);
    } else if (depth < 4) {
      list(out, sheets, name, depth + 1); /* a file that is no folder lists nothing */
    }
  }
  if (dir)
    closedir(dir);
  return whole;
}

static bool asked_for(const char *name, int count, char **words) {
  for (int i = 0; i < count; i++)
    if (strncmp(name, words[i], strlen(words[i])) == 0)
      return true;
  return count == 0;
}

int main(int count, char **words) {
  if (count < 3) {
    fputs("usage: build-references REFS OUT [TYPE/NAME...]\n", stderr);
    return 64;
  }
  char sheets[PLB_PATH_SIZE], path[PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  names all = {NULL, 0, 0};
  sheet_cautions cautions;
  plb_text_print(sheets, sizeof sheets, "%s/sheets", words[1]);
  plb_text_print(path, sizeof path, "%s/cautions.txt", words[1]);
  int status = sheet_cautions_read(&cautions, path, &err) == PLB_OK && list(&all, sheets, "", 0) ? 0 : 66;
  if (status != 0)
    fprintf(stderr, "build-references: %s: no sheets and cautions can be read here\n", words[1]);
  if (all.count > 0)
    qsort(all.name, all.count, sizeof *all.name, by_name);
  for (size_t i = 0; status == 0 && i < all.count; i++)
    if (asked_for(all.name[i], count - 3, words + 3))
      status = build(sheets, words[2], all.name[i], &cautions);
  sheet_cautions_dispose(&cautions);
  free(all.name);
  return status;
}
