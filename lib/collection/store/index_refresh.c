/* Bringing the derived index up to date: what the commits since its own have changed, or everything. */
#include "collection/store/store.h"
#include "collection/read/collection.h"

#include <stdio.h>
#include <string.h>

/** Who brought a path in, and when. */
typedef struct origin {
  char *path;
  git_oid commit;
} origin;

typedef struct origins {
  origin *slot;
  size_t count, capacity; /**< capacity is a power of two */
} origins;

static size_t hash_path(const char *path) {
  uint64_t h = 14695981039346656037u; /* FNV-1a */
  for (; *path; path++)
    h = (h ^ (unsigned char)*path) * 1099511628211u;
  return (size_t)(h ^ (h >> 32));
}

static origin *find_origin(const origins *o, const char *path) {
  size_t i = hash_path(path) & (o->capacity - 1);
  while (o->slot[i].path && strcmp(o->slot[i].path, path) != 0)
    i = (i + 1) & (o->capacity - 1);
  return &o->slot[i];
}

static bool grow_origins(origins *o) {
  origins bigger = {.capacity = o->capacity ? 2 * o->capacity : 1024};
  bigger.slot = plb_calloc(bigger.capacity, sizeof *bigger.slot);
  if (!bigger.slot)
    return false;
  for (size_t i = 0; i < o->capacity; i++)
    if (o->slot[i].path)
      *find_origin(&bigger, o->slot[i].path) = o->slot[i];
  bigger.count = o->count;
  free(o->slot);
  *o = bigger;
  return true;
}

/* A document belongs to the first commit that brought it in; a status file to the last that changed it. */
static bool note_origin(origins *o, const char *path, const git_oid *commit) {
  plb_path where;
  const plb_path_kind kind = plb_path_parse(path, &where);
  if (kind == PLB_PATH_NONE)
    return true;
  if (2 * (o->count + 1) > o->capacity && !grow_origins(o))
    return false;
  origin *at = find_origin(o, path);
  if (!at->path) {
    at->path = plb_strdup(path);
    o->count += at->path != NULL;
    at->commit = *commit;
  } else if (kind == PLB_PATH_STATUS || kind == PLB_PATH_CAPTURE_STATUS || kind == PLB_PATH_TYPE || kind == PLB_PATH_SETTINGS) {
    at->commit = *commit;
  }
  return at->path != NULL;
}

static void dispose_origins(origins *o) {
  for (size_t i = 0; i < o->capacity; i++)
    free(o->slot[i].path);
  free(o->slot);
}

typedef struct noting {
  origins *origins;
  git_oid commit;
  bool well;
} noting;

static int note_delta(const git_diff_delta *delta, float progress, void *payload) {
  (void)progress;
  noting *n = payload;
  if (delta->status == GIT_DELTA_ADDED || delta->status == GIT_DELTA_MODIFIED)
    n->well = n->well && note_origin(n->origins, delta->new_file.path, &n->commit);
  return n->well ? 0 : -1;
}

static plb_status note_commit(plb_store *s, origins *o, const git_oid *id, plb_error *err) {
  git_commit *commit = NULL, *parent = NULL;
  git_tree *tree = NULL, *before = NULL;
  git_diff *diff = NULL;
  noting n = {o, *id, true};
  plb_status status = PLB_OK;
  git_diff_options options;
  git_diff_options_init(&options, GIT_DIFF_OPTIONS_VERSION);
  options.flags = GIT_DIFF_SKIP_BINARY_CHECK;
  if (git_commit_lookup(&commit, s->repository, id) < 0 || git_commit_tree(&tree, commit) < 0 ||
      (git_commit_parentcount(commit) > 0 && (git_commit_parent(&parent, commit, 0) < 0 || git_commit_tree(&before, parent) < 0)) ||
      git_diff_tree_to_tree(&diff, s->repository, before, tree, &options) < 0)
    status = plb_git_fail(err, PLB_EDATA, "the collection's history cannot be read; \"plumb collection check\" tells more");
  else if (git_diff_foreach(diff, note_delta, NULL, NULL, NULL, &n) < 0 || !n.well)
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  git_diff_free(diff);
  git_tree_free(before);
  git_tree_free(tree);
  git_commit_free(parent);
  git_commit_free(commit);
  return status;
}

/* Parents first, so that a path's first commit is met first. */
static plb_status note_commits(plb_store *s, origins *o, const git_oid *head, const git_oid *known, plb_error *err) {
  git_revwalk *walk = NULL;
  git_oid id;
  plb_status status = PLB_OK;
  if (!grow_origins(o))
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  if (git_revwalk_new(&walk, s->repository) < 0 || git_revwalk_sorting(walk, GIT_SORT_TOPOLOGICAL | GIT_SORT_REVERSE) < 0 ||
      git_revwalk_push(walk, head) < 0 || (known && git_revwalk_hide(walk, known) < 0))
    status = plb_git_fail(err, PLB_EDATA, "the collection's history cannot be read; \"plumb collection check\" tells more");
  int next = 0;
  while (status == PLB_OK && (next = git_revwalk_next(&id, walk)) == 0)
    status = note_commit(s, o, &id, err);
  if (status == PLB_OK && next != GIT_ITEROVER)
    status = plb_git_fail(err, PLB_EDATA, "the collection's history cannot be read; \"plumb collection check\" tells more");
  git_revwalk_free(walk);
  return status;
}

static void set_origin(plb_store *s, plb_inspection *x, const git_oid *id) {
  git_commit *commit = NULL;
  git_oid_tostr(x->commit, sizeof x->commit, id);
  if (git_commit_lookup(&commit, s->repository, id) == 0) {
    plb_author_of(git_commit_author(commit), x->author, sizeof x->author);
    plb_time_text(git_commit_author(commit)->when.time, x->when);
    const char *summary = git_commit_summary(commit);
    snprintf(x->why, sizeof x->why, "%.*s", (int)strcspn(summary ? summary : "", "\n"), summary ? summary : "");
  }
  git_commit_free(commit);
}

/* Documents are held until the index is written; a damaged one is left out, so that the others stay usable. */
static plb_inspection *inspect_origin(plb_store *s, const git_tree *tree, const origin *o) {
  plb_inspection *x = plb_calloc(1, sizeof *x);
  char *data = NULL;
  size_t size = 0;
  plb_error trouble = PLB_ERROR_INIT;
  if (!x)
    return NULL;
  plb_status status = plb_tree_read(s, tree, o->path, &data, &size, &trouble);
  if (status == PLB_OK)
    status = plb_inspect(x, o->path, data, size, &trouble);
  if (status != PLB_OK) {
    if (status != PLB_ENOINPUT)
      plb_store_say(s, "left out of the index: %s: %s", o->path, trouble.message);
    plb_inspection_dispose(x);
    free(data);
    free(x);
    return NULL;
  }
  set_origin(s, x, &o->commit);
  plb_inspection_finish(x);
  return x;
}

static plb_status write_index(const char *folder, const plb_index *old, const char *old_path, const char *commit, const plb_row *rows,
                              size_t count, plb_error *err) {
  char path[PLB_PATH_SIZE], cache[PLB_PATH_SIZE];
  plb_index_path(folder, path);
  if (old && strcmp(old_path, path) == 0 && plb_index_append(path, old, commit, rows, count, err) == PLB_OK)
    return PLB_OK;
  if (old)
    return plb_fail(err, PLB_EIO, "the index cannot be added to");
  const plb_status status = plb_index_write(path, commit, rows, count, err);
  if (status == PLB_OK || !plb_index_cache_path(folder, cache))
    return status;
  return plb_index_write(cache, commit, rows, count, err);
}

/* The same document, brought in on both sides: whoever brought it in here first stays named. */
static void keep_origin(const plb_index *old, plb_inspection *x) {
  bool equal = false;
  plb_row row;
  if (!old || x->row.kind == PLB_PATH_STATUS || x->row.kind == PLB_PATH_CAPTURE_STATUS)
    return;
  const size_t at = plb_index_search(old, x->row.kind, x->name, x->row.version, &equal);
  if (!equal)
    return;
  plb_index_row(old, at, &row);
  if (strcmp(row.text[PLB_ROW_SHA256], x->sha256) != 0)
    return;
  for (int k = PLB_ROW_AUTHOR; k <= PLB_ROW_COMMIT; k++)
    x->row.text[k] = row.text[k];
}

static plb_status refresh(plb_store *s, const git_tree *tree, const git_oid *head, const plb_index *old, const char *old_path, plb_error *err) {
  origins o = {0};
  git_oid known;
  char hex[PLB_COMMIT_SIZE];
  git_oid_tostr(hex, sizeof hex, head);
  if (old && (git_oid_fromstr(&known, plb_index_commit(old)) < 0 || git_graph_descendant_of(s->repository, head, &known) != 1))
    return plb_fail(err, PLB_EDATA, "the index is of another history");
  plb_status status = note_commits(s, &o, head, old ? &known : NULL, err);
  plb_row *rows = plb_calloc(o.count + 1, sizeof *rows);
  plb_inspection **all = plb_calloc(o.count + 1, sizeof(plb_inspection *));
  size_t n = 0;
  if (status == PLB_OK && (!rows || !all))
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t i = 0; status == PLB_OK && i < o.capacity; i++) {
    plb_inspection *x = o.slot[i].path ? inspect_origin(s, tree, &o.slot[i]) : NULL;
    if (!x)
      continue;
    keep_origin(old, x);
    all[n] = x;
    rows[n++] = x->row;
  }
  if (status == PLB_OK)
    status = write_index(s->folder, old, old_path, hex, rows, n, err);
  for (size_t i = 0; i < n; i++) {
    free((void *)(uintptr_t)all[i]->row.data);
    plb_inspection_dispose(all[i]);
    free(all[i]);
  }
  free(all);
  free(rows);
  dispose_origins(&o);
  return status;
}

plb_status plb_index_refresh(plb_store *s, plb_error *err) {
  git_oid head;
  git_commit *commit = NULL;
  git_tree *tree = NULL;
  plb_index *old = NULL;
  char path[PLB_PATH_SIZE], hex[PLB_COMMIT_SIZE];
  plb_error ignored = PLB_ERROR_INIT;
  plb_status status = PLB_OK;
  if (git_reference_name_to_id(&head, s->repository, "refs/heads/main") < 0 || git_commit_lookup(&commit, s->repository, &head) < 0 ||
      git_commit_tree(&tree, commit) < 0)
    status = plb_git_fail(err, PLB_EDATA, "the newest state of the collection cannot be read; \"plumb collection check\" tells more");
  if (status == PLB_OK) {
    git_oid_tostr(hex, sizeof hex, &head);
    plb_index_path(s->folder, path);
    const bool have = plb_index_open(&old, path, &ignored) == PLB_OK;
    if (!have || strcmp(plb_index_commit(old), hex) != 0) {
      status = have ? refresh(s, tree, &head, old, path, &ignored) : PLB_EDATA;
      if (status != PLB_OK) /* from the beginning */
        status = refresh(s, tree, &head, NULL, "", err);
    }
  }
  plb_index_free(old);
  git_tree_free(tree);
  git_commit_free(commit);
  return status;
}

/* Under the lock where we may write; a reader of somebody else's collection writes into its own cache without. */
plb_status plb_store_refresh_index(const char *folder, plb_error *err) {
  plb_store *s = NULL;
  plb_error ignored = PLB_ERROR_INIT;
  plb_status status = plb_store_open_at(&s, folder, NULL, err);
  if (status != PLB_OK)
    return status;
  const plb_status locked = plb_store_lock(s, &ignored);
  status = locked == PLB_EBUSY ? plb_fail(err, locked, "%s", ignored.message) : plb_index_refresh(s, err);
  plb_store_free(s);
  return status;
}

static bool brings(plb_store *s, const git_commit *commit, const char *path, bool in_parent) {
  git_tree *tree = NULL;
  git_tree_entry *entry = NULL;
  git_commit *parent = NULL;
  bool has = false;
  if (in_parent && (git_commit_parentcount(commit) == 0 || git_commit_parent(&parent, commit, 0) < 0))
    return false;
  (void)s;
  if (git_commit_tree(&tree, parent ? parent : commit) == 0)
    has = git_tree_entry_bypath(&entry, tree, path) == 0;
  git_tree_entry_free(entry);
  git_tree_free(tree);
  git_commit_free(parent);
  return has;
}

/* The index says which commit; the commit itself is asked, so that a doctored index cannot name another author. */
plb_status plb_version_author(plb_store *s, const char *path, char *out, plb_error *err) {
  plb_index *index = NULL;
  plb_path where;
  char index_path[PLB_PATH_SIZE];
  git_oid id;
  git_commit *commit = NULL;
  plb_status status = plb_index_refresh(s, err);
  plb_index_path(s->folder, index_path);
  if (status == PLB_OK)
    status = plb_index_open(&index, index_path, err);
  if (status == PLB_OK) {
    bool equal = false;
    plb_row row;
    plb_path_parse(path, &where);
    const size_t at = plb_index_search(index, where.kind, where.name, where.version, &equal);
    if (equal)
      plb_index_row(index, at, &row);
    if (!equal || git_oid_fromstr(&id, row.text[PLB_ROW_COMMIT]) < 0 || git_commit_lookup(&commit, s->repository, &id) < 0 ||
        !brings(s, commit, path, false) || brings(s, commit, path, true))
      status = plb_fail(err, PLB_EDATA, "it cannot be told who put in %.200s; delete plumbline.index and try again", path);
    else
      plb_author_of(git_commit_author(commit), out, PLB_TEXT_SIZE);
  }
  git_commit_free(commit);
  plb_index_free(index);
  return status;
}
