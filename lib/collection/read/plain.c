/* Walking a plain folder. Files that are not ours by name are passed over; one of ours that cannot be read is a failure. */
#include "collection/read/plain.h"
#include "collection/read/types.h"

#include <dirent.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

enum { DEPTH_MOST = 6 };

/* Takes over `data`. */
static plb_status take(plb_plain *out, const char *path, char *data, size_t size, plb_error *err) {
  plb_inspection **grown = plb_grow(out->file, out->count, &out->capacity, sizeof(plb_inspection *));
  plb_inspection *x = plb_calloc(1, sizeof *x);
  if (grown)
    out->file = grown;
  if (!grown || !x) {
    free(data);
    free(x);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  const plb_status status = plb_inspect(x, path, data, size, err);
  plb_inspection_finish(x);
  out->file[out->count++] = x;
  return status;
}

static plb_status take_file(plb_plain *out, const char *folder, const char *path, plb_error *err) {
  char full[2 * PLB_PATH_SIZE], *data = NULL;
  size_t size = 0;
  snprintf(full, sizeof full, "%s/%s", folder, path);
  plb_status status = plb_file_read(full, PLB_DOCUMENT_MOST, &data, &size, err);
  if (status == PLB_OK)
    status = take(out, path, data, size, err);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, full);
}

static plb_status take_type(const char *path, const char *data, size_t size, void *payload, plb_error *err) {
  char *copy = malloc(size + 1);
  if (!copy)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  memcpy(copy, data, size);
  return take(payload, path, copy, size, err);
}

/* The starter collection keeps its types in one file. */
static plb_status take_types(plb_plain *out, const char *folder, plb_error *err) {
  char full[2 * PLB_PATH_SIZE], *data = NULL;
  size_t size = 0;
  snprintf(full, sizeof full, "%s/types.xml", folder);
  plb_error none = PLB_ERROR_INIT;
  if (plb_file_read(full, PLB_SMALL_MOST, &data, &size, &none) != PLB_OK)
    return PLB_OK;
  const plb_status status = plb_types_split(data, size, take_type, out, err);
  free(data);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, full);
}

static plb_status walk(plb_plain *out, const char *folder, const char *inside, int depth, plb_error *err) {
  char full[2 * PLB_PATH_SIZE];
  snprintf(full, sizeof full, "%s/%s", folder, inside);
  DIR *dir = depth <= DEPTH_MOST ? opendir(full) : NULL;
  plb_status status = PLB_OK;
  for (struct dirent *entry; dir && status == PLB_OK && (entry = readdir(dir)) != NULL;) {
    char path[PLB_PATH_SIZE], file[3 * PLB_PATH_SIZE];
    struct stat st;
    plb_path where;
    if (entry->d_name[0] == '.' || snprintf(path, sizeof path, "%s/%s", inside, entry->d_name) >= (int)sizeof path)
      continue;
    snprintf(file, sizeof file, "%s/%s", folder, path);
    if (lstat(file, &st) != 0)
      continue;
    if (S_ISDIR(st.st_mode))
      status = walk(out, folder, path, depth + 1, err);
    else if (S_ISREG(st.st_mode) && plb_path_parse(path, &where) != PLB_PATH_NONE)
      status = take_file(out, folder, path, err);
  }
  if (dir)
    closedir(dir);
  return status;
}

static int compare_files(const void *a, const void *b) {
  const plb_row *x = &(*(plb_inspection *const *)a)->row, *y = &(*(plb_inspection *const *)b)->row;
  return plb_row_compare(x->kind, x->text[PLB_ROW_NAME], x->version, y->kind, y->text[PLB_ROW_NAME], y->version);
}

plb_status plb_plain_read(plb_plain *out, const char *folder, const char *only, plb_error *err) {
  static const char *const parts[] = {"references", "captures", "cases", "types"};
  plb_status status = PLB_OK;
  if (only) {
    char inside[PLB_PATH_SIZE];
    snprintf(inside, sizeof inside, "references/%s", only);
    status = walk(out, folder, inside, DEPTH_MOST, err);
  }
  for (size_t i = 0; !only && i < sizeof parts / sizeof parts[0] && status == PLB_OK; i++)
    status = walk(out, folder, parts[i], 0, err);
  if (!only && status == PLB_OK)
    status = take_types(out, folder, err);
  if (out->count > 1)
    qsort(out->file, out->count, sizeof(plb_inspection *), compare_files);
  return status;
}

void plb_plain_dispose(plb_plain *plain) {
  for (size_t i = 0; i < plain->count; i++) {
    free((void *)(uintptr_t)plain->file[i]->row.data);
    plb_inspection_dispose(plain->file[i]);
    free(plain->file[i]);
  }
  free(plain->file);
  *plain = (plb_plain){0};
}
