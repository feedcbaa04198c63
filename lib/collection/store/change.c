/* One change is one commit: objects first, each flushed; then the branch, by compare-and-swap under the lock; then the index. */
#include "collection/store/store.h"
#include "reference/schema.h"

#include <libxml/parser.h>
#include <stdio.h>
#include <string.h>

static const char branch[] = "refs/heads/main";

static plb_status read_branch(plb_store *s, git_oid *out, bool *unborn, plb_error *err) {
  const int found = git_reference_name_to_id(out, s->repository, branch);
  *unborn = found == GIT_ENOTFOUND;
  return found == 0 || *unborn ? PLB_OK : plb_git_fail(err, PLB_EDATA, "the branch cannot be read; \"plumb collection check\" tells more");
}

static plb_status read_tree(plb_store *s, const git_oid *commit_id, git_tree **out, plb_error *err) {
  git_commit *commit = NULL;
  plb_status status = PLB_OK;
  if (git_commit_lookup(&commit, s->repository, commit_id) < 0 || git_commit_tree(out, commit) < 0)
    status = plb_git_fail(err, PLB_EDATA, "the newest state of the collection cannot be read; \"plumb collection check\" tells more");
  git_commit_free(commit);
  return status;
}

plb_status plb_change_begin(plb_change *c, plb_store *store, plb_error *err) {
  *c = (plb_change){.store = store};
  plb_status status = plb_store_lock(store, err);
  if (status == PLB_OK)
    status = read_branch(store, &c->base, &c->unborn, err);
  if (status == PLB_OK && !c->unborn)
    status = read_tree(store, &c->base, &c->tree, err);
  if (status == PLB_OK)
    status = plb_store_mark(store, true, err);
  return status;
}

void plb_change_end(plb_change *c) {
  for (size_t i = 0; i < c->count; i++) {
    free((void *)(uintptr_t)c->file[i]->row.data);
    plb_inspection_dispose(c->file[i]);
    free(c->file[i]);
  }
  free(c->file);
  free(c->from);
  git_tree_free(c->tree);
  if (c->store && c->store->lock >= 0) {
    plb_error ignored = PLB_ERROR_INIT;
    if (plb_store_mark(c->store, false, &ignored) != PLB_OK)
      plb_store_say(c->store, "the lock file could not be written: %s", ignored.message);
    plb_store_unlock(c->store);
  }
  *c = (plb_change){0};
}

static plb_inspection *find_file(const plb_change *c, const char *path) {
  for (size_t i = c->count; i-- > 0;) /* what was put last is asked for first */
    if (strcmp(c->file[i]->path, path) == 0)
      return c->file[i];
  return NULL;
}

static plb_status append_file(plb_change *c, plb_inspection *x, plb_error *err) {
  plb_inspection **grown = plb_grow(c->file, c->count, &c->capacity, sizeof(plb_inspection *));
  if (!grown)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  c->file = grown;
  const char **from = plb_grow(c->from, c->count, &c->from_capacity, sizeof *from);
  if (!from)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  c->from = from;
  from[c->count] = c->source;
  c->file[c->count++] = x;
  return PLB_OK;
}

static plb_status inspect(const plb_change *c, plb_inspection *x, const char *path, char *data, size_t size, plb_error *err) {
  plb_path where;
  if (!c->raw && !c->late)
    return plb_inspect(x, path, data, size, err);
  *x = (plb_inspection){.row = {.data = data, .size = size}};
  if (!plb_text_copy(x->path, sizeof x->path, path))
    return plb_fail(err, PLB_EUSAGE, "a path is too long");
  if (plb_path_parse(path, &where) != PLB_PATH_NONE) {
    x->row.kind = where.kind;
    x->row.version = where.version;
    plb_text_copy(x->name, sizeof x->name, where.name);
  }
  return PLB_OK;
}

static plb_status inspect_late(plb_inspection *x, plb_error *err) {
  char path[PLB_PATH_SIZE];
  const void *data = x->row.data;
  const size_t size = x->row.size;
  snprintf(path, sizeof path, "%s", x->path);
  plb_status status = plb_inspect(x, path, data, size, err);
  if (status == PLB_OK && x->row.kind == PLB_PATH_REFERENCE)
    status = plb_schema_validate("schema/reference.xsd", data, size, path, err);
  if (status == PLB_OK && x->row.kind == PLB_PATH_CAPTURE)
    status = plb_schema_validate("schema/capture.xsd", data, size, path, err);
  return status;
}

plb_status plb_change_inspect(plb_change *c, plb_error *err) {
  size_t first_bad = c->count;
  plb_error first = PLB_ERROR_INIT;
  xmlInitParser();
#pragma omp parallel for schedule(dynamic, 16)
  for (size_t i = 0; i < c->count; i++) {
    plb_error own = PLB_ERROR_INIT;
    if (inspect_late(c->file[i], &own) == PLB_OK)
      continue;
#pragma omp critical
    if (i < first_bad) {
      first_bad = i;
      first = own;
    }
  }
  if (first_bad == c->count)
    return PLB_OK;
  if (c->from[first_bad])
    plb_text_copy(first.path, sizeof first.path, c->from[first_bad]);
  if (err)
    *err = first;
  return first.status;
}

plb_status plb_change_put(plb_change *c, const char *path, const void *data, size_t size, plb_error *err) {
  plb_inspection *old = c->count < 4096 ? find_file(c, path) : NULL;
  plb_inspection *x = old ? old : plb_calloc(1, sizeof *x);
  char *copy = malloc(size + 1);
  if (!x || !copy) {
    free(copy);
    if (!old)
      free(x);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  memcpy(copy, data, size);
  copy[size] = '\0';
  if (old) {
    free((void *)(uintptr_t)old->row.data);
    plb_inspection_dispose(old);
  }
  plb_status status = inspect(c, x, path, copy, size, err);
  if (!old && status == PLB_OK)
    status = append_file(c, x, err);
  if (status != PLB_OK && !old) {
    free(copy);
    plb_inspection_dispose(x);
    free(x);
  }
  return status;
}

plb_status plb_change_get(const plb_change *c, const char *path, char **data_out, size_t *size_out, plb_error *err) {
  const plb_inspection *x = find_file(c, path);
  if (!x)
    return plb_tree_read(c->store, c->tree, path, data_out, size_out, err);
  *data_out = malloc(x->row.size + 1);
  if (!*data_out)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  memcpy(*data_out, x->row.data, x->row.size);
  (*data_out)[x->row.size] = '\0';
  *size_out = x->row.size;
  return PLB_OK;
}

/* Documents, then the folders that hold them. Sorts `files`. */
static plb_status put_content(plb_change *c, plb_put_file *files, git_oid *tree_out, plb_error *err) {
  enum { FEW = 20 };
  plb_status status = PLB_OK;
  for (size_t i = 0; i < c->count; i++)
    files[i].path = c->file[i]->path;
  if (c->count > FEW)
    return plb_change_pack(c, files, tree_out, err);
  for (size_t i = 0; i < c->count && status == PLB_OK; i++)
    status = plb_store_put(c->store, GIT_OBJECT_BLOB, c->file[i]->row.data, c->file[i]->row.size, &files[i].id, err);
  return status == PLB_OK ? plb_tree_apply(c->store, c->tree, files, c->count, NULL, tree_out, err) : status;
}

/* git_commit_create() says all is well even when the commit was not written; making the bytes and writing them ourselves does not. */
static plb_status put_commit(plb_change *c, const git_oid *tree_id, const git_signature *who, const char *message, git_oid *out, plb_error *err) {
  git_repository *r = c->store->repository;
  git_tree *tree = NULL;
  git_commit *first = NULL, *second = NULL;
  git_buf text = {0};
  plb_status status = PLB_OK;
  if (git_tree_lookup(&tree, r, tree_id) < 0 || (!c->unborn && git_commit_lookup(&first, r, &c->base) < 0) ||
      (c->second && git_commit_lookup(&second, r, c->second) < 0)) {
    status = plb_git_fail(err, PLB_EIO, "what was just written cannot be read back; nothing was changed");
  } else {
    const git_commit *parents[2] = {first, second};
    const size_t count = c->second ? 2 : c->unborn ? 0 : 1;
    if (git_commit_create_buffer(&text, r, who, who, NULL, message, tree, count, parents) < 0)
      status = plb_git_fail(err, PLB_EINTERNAL, "the commit cannot be made");
  }
  if (status == PLB_OK)
    status = plb_store_put(c->store, GIT_OBJECT_COMMIT, text.ptr, text.size, out, err);
  git_buf_dispose(&text);
  git_commit_free(first);
  git_commit_free(second);
  git_tree_free(tree);
  return status;
}

static plb_status flush_branch(plb_store *s, plb_error *err) {
  char path[PLB_PATH_SIZE + 32];
  snprintf(path, sizeof path, "%s/refs/heads/main", s->folder);
  plb_status status = plb_fsync_file(path, err);
  snprintf(path, sizeof path, "%s/refs/heads", s->folder);
  return status == PLB_OK ? plb_fsync_folder(path, err) : status;
}

/* After a failure the branch is read: the last flush may have failed when the branch had moved already. */
static plb_status after_failed_move(plb_store *s, const git_oid *to, plb_error *err) {
  git_oid now;
  plb_error cause = PLB_ERROR_INIT;
  plb_git_fail(&cause, PLB_EIO, "the branch cannot be moved");
  if (git_reference_name_to_id(&now, s->repository, branch) != 0 || !git_oid_equal(&now, to))
    return plb_fail(err, PLB_EIO, "%.300s; nothing was changed", cause.message);
  plb_error again = PLB_ERROR_INIT;
  if (flush_branch(s, &again) == PLB_OK)
    return PLB_OK;
  return plb_fail(err, PLB_EIO, "stored, not yet certain: the disk did not confirm it (%.200s); look at the disk, then run \"plumb collection check\"", cause.message);
}

static plb_status move_branch(plb_change *c, const git_oid *to, plb_error *err) {
  git_reference *moved = NULL;
  const int failed = c->unborn ? git_reference_create(&moved, c->store->repository, branch, to, 0, NULL)
                               : git_reference_create_matching(&moved, c->store->repository, branch, to, 1, &c->base, NULL);
  git_reference_free(moved);
  return failed ? after_failed_move(c->store, to, err) : PLB_OK;
}

/* The index is derived: when it cannot be written, the next reader has it made again. */
static void append_index(plb_change *c, const git_oid *commit, const git_signature *who, const char *message) {
  char path[PLB_PATH_SIZE], hex[PLB_COMMIT_SIZE], base[PLB_COMMIT_SIZE];
  plb_error ignored = PLB_ERROR_INIT;
  plb_index *old = NULL;
  git_oid_tostr(hex, sizeof hex, commit);
  git_oid_tostr(base, sizeof base, &c->base);
  plb_row *rows = plb_calloc(c->count + 1, sizeof *rows);
  for (size_t i = 0; rows && i < c->count; i++) {
    plb_inspection *x = c->file[i];
    plb_author_of(who, x->author, sizeof x->author);
    plb_time_text(who->when.time, x->when);
    snprintf(x->why, sizeof x->why, "%.*s", (int)strcspn(message, "\n"), message);
    snprintf(x->commit, sizeof x->commit, "%s", hex);
    plb_inspection_finish(x);
    rows[i] = x->row;
  }
  plb_index_path(c->store->folder, path);
  plb_status status = PLB_EIO;
  if (rows && c->unborn)
    status = plb_index_write(path, hex, rows, c->count, &ignored);
  else if (rows && plb_index_open(&old, path, &ignored) == PLB_OK && strcmp(plb_index_commit(old), base) == 0)
    status = plb_index_append(path, old, hex, rows, c->count, &ignored);
  plb_index_free(old);
  free(rows);
  (void)status;
}

plb_status plb_change_commit(plb_change *c, const char *message, plb_error *err) {
  if (c->count == 0 && !c->second)
    return PLB_OK;
  git_oid tree, commit;
  git_signature *who = NULL;
  plb_put_file *files = plb_calloc(c->count + 1, sizeof *files);
  plb_status status = files ? plb_author_signature(c->store->author, &who, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK)
    status = put_content(c, files, &tree, err);
  if (status == PLB_OK)
    status = put_commit(c, &tree, who, message, &commit, err);
  if (status == PLB_OK)
    status = move_branch(c, &commit, err);
  if (status == PLB_OK && !c->second && !c->raw)
    append_index(c, &commit, who, message);
  git_signature_free(who);
  free(files);
  return status;
}

plb_status plb_change_forward(plb_change *c, const git_oid *to, plb_error *err) { return move_branch(c, to, err); }
