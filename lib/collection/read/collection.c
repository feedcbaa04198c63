/* Opening a collection for reading, and its entries. */
#include "collection/read/collection.h"
#include "collection/read/helper.h"
#include "collection/read/status.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static bool read_text(const char *folder, const char *name, char *out, size_t size) {
  char path[PLB_PATH_SIZE + 64], *data = NULL;
  size_t n = 0;
  plb_error ignored = PLB_ERROR_INIT;
  snprintf(path, sizeof path, "%s/%s", folder, name);
  if (plb_file_read(path, size - 1, &data, &n, &ignored) != PLB_OK)
    return false;
  memcpy(out, data, n + 1);
  free(data);
  return true;
}

static bool packed_commit(const char *folder, char out[PLB_COMMIT_SIZE]) {
  char *text = malloc(1 << 20);
  bool found = false;
  if (text && read_text(folder, "packed-refs", text, 1 << 20))
    for (const char *line = text; line && !found; line = strchr(line, '\n'), line = line ? line + 1 : NULL)
      if (strlen(line) > 56 && strncmp(line + 40, " refs/heads/main", 16) == 0 && (line[56] == '\n' || line[56] == '\0')) {
        memcpy(out, line, 40);
        out[40] = '\0';
        found = plb_is_hex(out, 40);
      }
  free(text);
  return found;
}

bool plb_branch_commit(const char *folder, char out[PLB_COMMIT_SIZE]) {
  char path[PLB_PATH_SIZE + 16], text[128];
  snprintf(path, sizeof path, "%s/objects", folder);
  out[0] = '\0';
  if (access(path, F_OK) != 0)
    return false;
  if (read_text(folder, "refs/heads/main", text, sizeof text)) {
    text[strcspn(text, "\r\n")] = '\0';
    if (plb_is_hex(text, 40))
      memcpy(out, text, PLB_COMMIT_SIZE);
    return true;
  }
  if (!packed_commit(folder, out))
    out[0] = '\0';
  return true;
}

static bool open_fresh(plb_collection *c, const char *commit) {
  char path[PLB_PATH_SIZE];
  plb_error ignored = PLB_ERROR_INIT;
  for (int cached = 0; cached < 2; cached++) {
    if (cached == 0)
      plb_index_path(c->folder, path);
    else if (!plb_index_cache_path(c->folder, path))
      return false;
    if (plb_index_open(&c->index, path, &ignored) == PLB_OK && strcmp(plb_index_commit(c->index), commit) == 0)
      return true;
    plb_index_free(c->index);
    c->index = NULL;
  }
  return false;
}

/* A stale index is brought up to date by the helper; a writer may be at work meanwhile, so the branch is read again. */
static plb_status open_repository(plb_collection *c, char *commit, plb_error *err) {
  enum { TRIES = 5 };
  for (int i = 0; i < TRIES; i++) {
    if (commit[0] == '\0')
      return plb_fail(err, PLB_EDATA, "this repository has no branch main to read; \"plumb collection check\" tells more");
    if (open_fresh(c, commit))
      return PLB_OK;
    const char *const words[] = {"--refresh-index", c->folder, NULL};
    char said[512] = "";
    int status = 0;
    const plb_status ran = plb_helper_run(words, said, sizeof said, &status, err);
    if (ran != PLB_OK)
      return ran;
    if (status != 0)
      return plb_fail(err, PLB_EIO, "the index of the collection cannot be made: %.300s", said);
    plb_branch_commit(c->folder, commit);
  }
  return plb_fail(err, PLB_EBUSY, "the collection changes faster than it can be read; try again");
}

size_t plb_collection_rows(const plb_collection *c) { return c->index ? plb_index_count(c->index) : c->plain.count; }

void plb_collection_row(const plb_collection *c, size_t i, plb_row *out) {
  if (c->index)
    plb_index_row(c->index, i, out);
  else
    *out = c->plain.file[i]->row;
}

size_t plb_collection_search(const plb_collection *c, plb_path_kind kind, const char *name, unsigned version, bool *equal_out) {
  if (c->index)
    return plb_index_search(c->index, kind, name, version, equal_out);
  *equal_out = false;
  for (size_t i = 0; i < c->plain.count; i++) {
    const plb_row *row = &c->plain.file[i]->row;
    const int order = plb_row_compare(row->kind, row->text[PLB_ROW_NAME], row->version, kind, name, version);
    *equal_out = order == 0;
    if (order >= 0)
      return i;
  }
  return c->plain.count;
}

const char *plb_collection_acts(const plb_collection *c, plb_path_kind status_kind, const char *name) {
  bool equal = false;
  const size_t at = plb_collection_search(c, status_kind, name, 0, &equal);
  plb_row row;
  if (!equal)
    return "";
  plb_collection_row(c, at, &row);
  return row.text[PLB_ROW_ACTS];
}

static bool is_entry(plb_path_kind kind) {
  return kind == PLB_PATH_REFERENCE || kind == PLB_PATH_CAPTURE || kind == PLB_PATH_CASE || kind == PLB_PATH_TYPE;
}

static plb_status list_entries(plb_collection *c, plb_error *err) {
  const size_t rows = plb_collection_rows(c);
  c->entry = plb_calloc(rows + 1, sizeof *c->entry);
  if (!c->entry)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t i = 0; i < rows; i++) {
    plb_row row;
    plb_collection_row(c, i, &row);
    if (is_entry(row.kind))
      c->entry[c->entries++] = i;
  }
  return PLB_OK;
}

static bool has_references(const char *folder) {
  char path[PLB_PATH_SIZE + 16];
  snprintf(path, sizeof path, "%s/references", folder);
  return access(path, F_OK) == 0;
}

plb_status plb_collection_open_part(plb_collection **out, const char *folder, const char *only, plb_error *err) {
  *out = NULL;
  plb_collection *c = plb_calloc(1, sizeof *c);
  if (!c)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  char commit[PLB_COMMIT_SIZE];
  plb_status status = PLB_OK;
  if (!plb_text_copy(c->folder, sizeof c->folder, folder))
    status = plb_fail(err, PLB_EUSAGE, "the collection's path is too long");
  else if (has_references(folder))
    status = plb_plain_read(&c->plain, folder, only, err);
  else if (plb_branch_commit(folder, commit))
    status = open_repository(c, commit, err);
  else
    status = plb_fail(err, PLB_ENOINPUT, "this folder is no collection; make one with \"plumb collection init --collection DIR\"");
  if (status == PLB_OK)
    status = list_entries(c, err);
  if (status == PLB_OK) {
    *out = c;
    return PLB_OK;
  }
  plb_collection_free(c);
  return plb_fail_path(err, status, folder);
}

plb_status plb_collection_open(plb_collection **out, const char *folder, plb_error *err) {
  return plb_collection_open_part(out, folder, NULL, err);
}

void plb_collection_free(plb_collection *c) {
  if (!c)
    return;
  plb_index_free(c->index);
  plb_plain_dispose(&c->plain);
  free(c->entry);
  free(c);
}

const char *plb_collection_folder(const plb_collection *c) { return c->folder; }
size_t plb_collection_count(const plb_collection *c) { return c->entries; }

static plb_entry_kind entry_kind(plb_path_kind kind) {
  switch (kind) {
  case PLB_PATH_CAPTURE: return PLB_ENTRY_CAPTURE;
  case PLB_PATH_CASE: return PLB_ENTRY_CASE;
  case PLB_PATH_TYPE: return PLB_ENTRY_TYPE;
  default: return PLB_ENTRY_REFERENCE;
  }
}

/* Status rows stand right behind the versions of their reference, but a search is as quick and needs no luck. */
static plb_entry_status entry_status(const plb_collection *c, const plb_row *row) {
  if (row->kind == PLB_PATH_REFERENCE)
    return plb_packed_status(plb_collection_acts(c, PLB_PATH_STATUS, row->text[PLB_ROW_NAME]), row->version);
  if (row->kind == PLB_PATH_CAPTURE)
    return plb_packed_status(plb_collection_acts(c, PLB_PATH_CAPTURE_STATUS, row->text[PLB_ROW_NAME]), 0);
  return PLB_APPROVED;
}

bool plb_collection_entry(const plb_collection *c, size_t index, plb_entry *out) {
  if (index >= c->entries)
    return false;
  plb_row r;
  plb_collection_row(c, c->entry[index], &r);
  *out = (plb_entry){.kind = entry_kind(r.kind), .path = r.text[PLB_ROW_PATH], .type = r.text[PLB_ROW_TYPE], .name = r.text[PLB_ROW_NAME],
                     .version = r.version, .title = r.text[PLB_ROW_TITLE], .id = r.text[PLB_ROW_ID], .sha256 = r.text[PLB_ROW_SHA256],
                     .provenance = r.text[PLB_ROW_PROVENANCE], .conditions = r.text[PLB_ROW_CONDITIONS],
                     .captures = r.text[PLB_ROW_CAPTURES], .exemplars = r.exemplars, .status = entry_status(c, &r),
                     .author = r.text[PLB_ROW_AUTHOR], .when = r.text[PLB_ROW_WHEN], .why = r.text[PLB_ROW_WHY],
                     .commit = r.text[PLB_ROW_COMMIT], .data = r.data, .size = r.size};
  return true;
}
