/*
 * Three-way, reference by reference. A version never changes, so all that can collide is a number: two shops added 0004. Then the user
 * says which to keep: mine (theirs is left out), theirs (it becomes the newest version, as a draft), both (theirs gets another name).
 */
#include "collection/read/status.h"
#include "collection/store/store.h"

#include <stdio.h>
#include <string.h>

/** A file of theirs that we have not, or have otherwise. */
typedef struct arriving {
  char path[PLB_PATH_SIZE];
  plb_path where;
  git_oid id;
  bool collides; /**< we have another document at this path */
  bool decided;  /**< and somebody has said which to keep: theirs lies in our history */
} arriving;

typedef struct merging {
  plb_change *change;
  git_tree *base, *theirs;
  arriving *file;
  size_t count, capacity;
  const plb_store_keep *keep;
  const char *url;
  plb_error *err;
} merging;

static bool entry_id(const git_tree *tree, const char *path, git_oid *out) {
  git_tree_entry *e = NULL;
  const bool found = tree && git_tree_entry_bypath(&e, tree, path) == 0;
  if (found)
    *out = *git_tree_entry_id(e);
  git_tree_entry_free(e);
  return found;
}

/* Did this document stand at this path on a side that we once took in? Then it was asked about then. */
static bool was_decided(const merging *m, const char *path, const git_oid *id) {
  git_repository *r = m->change->store->repository;
  git_revwalk *history = NULL;
  git_oid at, entry;
  bool found = false;
  if (git_revwalk_new(&history, r) == 0 && git_revwalk_push(history, &m->change->base) == 0)
    while (!found && git_revwalk_next(&at, history) == 0) {
      git_commit *commit = NULL, *parent = NULL;
      git_tree *tree = NULL;
      if (git_commit_lookup(&commit, r, &at) == 0)
        for (unsigned k = 0; !found && git_commit_parentcount(commit) > 1 && k < git_commit_parentcount(commit); k++) {
          found = git_commit_parent(&parent, commit, k) == 0 && git_commit_tree(&tree, parent) == 0 && entry_id(tree, path, &entry) &&
                  git_oid_equal(&entry, id);
          git_tree_free(tree);
          git_commit_free(parent);
          tree = NULL;
          parent = NULL;
        }
      git_commit_free(commit);
    }
  git_revwalk_free(history);
  return found;
}

static plb_status note(merging *m, const char *path, const git_oid *id, const git_oid *ours) {
  git_oid before;
  arriving x = {.id = *id, .collides = ours != NULL};
  const bool same_as_base = entry_id(m->base, path, &before) && git_oid_equal(&before, id);
  if (plb_path_parse(path, &x.where) == PLB_PATH_NONE || x.where.kind == PLB_PATH_SETTINGS ||
      (ours && same_as_base && x.where.kind != PLB_PATH_REFERENCE) || !plb_text_copy(x.path, sizeof x.path, path))
    return PLB_OK; /* settings stay ours; what they have not changed stays as we have it */
  x.decided = ours && x.where.kind == PLB_PATH_REFERENCE && (same_as_base || was_decided(m, path, id));
  arriving *grown = plb_grow(m->file, m->count, &m->capacity, sizeof *grown);
  if (!grown)
    return plb_fail(m->err, PLB_ENOMEM, "out of memory");
  m->file = grown;
  grown[m->count++] = x;
  return PLB_OK;
}

/* Folders that are the same on both sides are not looked into. */
static plb_status walk(merging *m, const git_tree *ours, const git_tree *theirs, const char *inside) {
  git_repository *r = m->change->store->repository;
  plb_status status = PLB_OK;
  for (size_t i = 0; i < git_tree_entrycount(theirs) && status == PLB_OK; i++) {
    const git_tree_entry *e = git_tree_entry_byindex(theirs, i);
    const git_tree_entry *o = ours ? git_tree_entry_byname(ours, git_tree_entry_name(e)) : NULL;
    char path[PLB_PATH_SIZE];
    git_tree *sub = NULL, *own = NULL;
    if (o && git_oid_equal(git_tree_entry_id(o), git_tree_entry_id(e)))
      continue;
    snprintf(path, sizeof path, "%s%s%s", inside, inside[0] ? "/" : "", git_tree_entry_name(e));
    if (git_tree_entry_type(e) != GIT_OBJECT_TREE) {
      status = note(m, path, git_tree_entry_id(e), o ? git_tree_entry_id(o) : NULL);
      continue;
    }
    if (git_tree_lookup(&sub, r, git_tree_entry_id(e)) < 0 ||
        (o && git_tree_entry_type(o) == GIT_OBJECT_TREE && git_tree_lookup(&own, r, git_tree_entry_id(o)) < 0))
      status = plb_git_fail(m->err, PLB_EDATA, "a folder cannot be read");
    else
      status = walk(m, own, sub, path);
    git_tree_free(sub);
    git_tree_free(own);
  }
  return status;
}

/* The lowest number both sides gave to different documents, 0: none. */
static unsigned first_collision(const merging *m, const char *name) {
  unsigned first = 0;
  for (size_t i = 0; i < m->count; i++)
    if (m->file[i].where.kind == PLB_PATH_REFERENCE && m->file[i].collides && strcmp(m->file[i].where.name, name) == 0 &&
        (!first || m->file[i].where.version < first))
      first = m->file[i].where.version;
  return first;
}

typedef enum side { SIDE_UNSAID, SIDE_MINE, SIDE_THEIRS, SIDE_BOTH } side;

static side side_of(const char *word) {
  return strcmp(word, "mine") == 0 ? SIDE_MINE : strcmp(word, "theirs") == 0 ? SIDE_THEIRS : strcmp(word, "both") == 0 ? SIDE_BOTH : SIDE_UNSAID;
}

static plb_status check_keep(const plb_store_keep *keep, plb_error *err) {
  for (size_t i = 0; i < keep->count; i++) {
    const char *equals = strrchr(keep->words[i], '=');
    if (side_of(equals ? equals + 1 : keep->words[i]) == SIDE_UNSAID)
      return plb_fail(err, PLB_EUSAGE, "%.100s: keep mine, theirs or both, or type/name=mine", keep->words[i]);
  }
  return PLB_OK;
}

/* What was said for one reference wins over what was said for all. */
static side kept_side(const merging *m, const char *name) {
  side all = SIDE_UNSAID;
  const size_t n = strlen(name);
  for (size_t i = 0; i < m->keep->count; i++) {
    const char *word = m->keep->words[i], *equals = strrchr(word, '=');
    if (!equals)
      all = side_of(word);
    else if ((size_t)(equals - word) == n && strncmp(word, name, n) == 0)
      return side_of(equals + 1);
  }
  return all;
}

/* A version that needs a word: its number, or one before it, is another document here, and nobody has decided on it yet. */
static bool is_pending(const merging *m, size_t i) {
  const arriving *x = &m->file[i];
  const unsigned first = x->where.kind == PLB_PATH_REFERENCE && !x->decided ? first_collision(m, x->where.name) : 0;
  return first && x->where.version >= first;
}

static bool first_of_name(const merging *m, size_t i) {
  for (size_t k = 0; k < i; k++)
    if (strcmp(m->file[k].where.name, m->file[i].where.name) == 0 && is_pending(m, k))
      return false;
  return true;
}

static size_t list_conflicts(const merging *m) {
  size_t n = 0;
  for (size_t i = 0; i < m->count; i++) {
    const arriving *x = &m->file[i];
    if (!is_pending(m, i) || !first_of_name(m, i) || kept_side(m, x->where.name) != SIDE_UNSAID)
      continue;
    const unsigned ours = plb_tree_newest(m->change->store, m->change->tree, x->where.name);
    const unsigned theirs = plb_tree_newest(m->change->store, m->theirs, x->where.name);
    plb_store_say(m->change->store, "changed on both sides: %s: mine up to @%u, theirs up to @%u, different from @%u on", x->where.name, ours, theirs,
                  first_collision(m, x->where.name));
    n++;
  }
  return n;
}

static plb_status read_theirs(const merging *m, const char *path, char **data, size_t *size) {
  return plb_tree_read(m->change->store, m->theirs, path, data, size, m->err);
}

static plb_status take(const merging *m, const arriving *x) {
  char *data = NULL;
  size_t size = 0;
  plb_status status = read_theirs(m, x->path, &data, &size);
  if (status == PLB_OK)
    status = plb_change_put(m->change, x->path, data, size, m->err);
  free(data);
  return status;
}

/* Acts on versions that were not taken over under their number are left out. */
static plb_status unite_status(const merging *m, const arriving *x) {
  const unsigned first = first_collision(m, x->where.name);
  plb_acts all = {0}, theirs = {0};
  char *data = NULL, *own = NULL;
  size_t size = 0, own_size = 0;
  plb_error none = PLB_ERROR_INIT;
  plb_buffer out;
  plb_buffer_init(&out, PLB_SMALL_MOST);
  plb_status status = read_theirs(m, x->path, &data, &size);
  if (status == PLB_OK)
    status = plb_acts_read(&theirs, data, size, m->err);
  if (status == PLB_OK && plb_change_get(m->change, x->path, &own, &own_size, &none) == PLB_OK)
    status = plb_acts_read(&all, own, own_size, m->err);
  for (size_t i = 0; i < theirs.count && status == PLB_OK; i++)
    if (!first || theirs.act[i].version < first)
      status = plb_acts_add(&all, &theirs.act[i], m->err);
  plb_acts_write(&all, &out);
  if (status == PLB_OK)
    status = out.status == PLB_OK ? PLB_OK : plb_fail(m->err, PLB_ENOMEM, "too many acts");
  if (status == PLB_OK && all.count && !(own && own_size == out.size && memcmp(own, out.data, out.size) == 0))
    status = plb_change_put(m->change, x->path, out.data, out.size, m->err);
  plb_buffer_dispose(&out);
  plb_acts_dispose(&all);
  plb_acts_dispose(&theirs);
  free(data);
  free(own);
  return status;
}

static plb_status take_reference(const merging *m, const arriving *x) {
  const unsigned first = first_collision(m, x->where.name);
  if (!first || x->where.version < first)
    return take(m, x);
  if (x->decided)
    return PLB_OK;
  const side kept = kept_side(m, x->where.name);
  if (kept == SIDE_MINE)
    return PLB_OK;
  char *data = NULL, stored[PLB_PATH_SIZE], name[PLB_TEXT_SIZE];
  size_t size = 0;
  if (snprintf(name, sizeof name, "%s-theirs", x->where.name) >= (int)sizeof name)
    return plb_fail(m->err, PLB_EDATA, "%.150s: the name is too long to keep both", x->where.name);
  plb_status status = read_theirs(m, x->path, &data, &size);
  if (status == PLB_OK)
    status = plb_add_reference(m->change, data, size, x->path, kept == SIDE_BOTH ? name : NULL, stored, m->err);
  free(data);
  return status;
}

static plb_status take_other(const merging *m, const arriving *x) {
  git_oid ours, before;
  if (!x->collides)
    return take(m, x);
  if (x->where.kind == PLB_PATH_TYPE && entry_id(m->base, x->path, &before) && entry_id(m->change->tree, x->path, &ours) &&
      git_oid_equal(&before, &ours))
    return take(m, x);
  plb_store_say(m->change->store, "different on both sides, mine is kept: %s", x->path);
  return PLB_OK;
}

static plb_status take_all(const merging *m) {
  plb_status status = PLB_OK;
  for (size_t i = 0; i < m->count && status == PLB_OK; i++) {
    const arriving *x = &m->file[i];
    if (x->where.kind == PLB_PATH_REFERENCE)
      status = take_reference(m, x);
    else if (x->where.kind == PLB_PATH_STATUS || x->where.kind == PLB_PATH_CAPTURE_STATUS)
      status = unite_status(m, x);
    else
      status = take_other(m, x);
  }
  return status;
}

static plb_status read_trees(merging *m, const git_oid *incoming) {
  git_repository *r = m->change->store->repository;
  git_commit *commit = NULL, *base = NULL;
  git_oid id;
  plb_status status = PLB_OK;
  if (git_commit_lookup(&commit, r, incoming) < 0 || git_commit_tree(&m->theirs, commit) < 0)
    status = plb_git_fail(m->err, PLB_EDATA, "what arrived cannot be read");
  else if (git_merge_base(&id, r, &m->change->base, incoming) == 0 &&
           (git_commit_lookup(&base, r, &id) < 0 || git_commit_tree(&m->base, base) < 0))
    status = plb_git_fail(m->err, PLB_EDATA, "our own history cannot be read");
  git_commit_free(commit);
  git_commit_free(base);
  return status;
}

/* History goes wherever the collection goes: no password out of an address, no folder of this machine. */
static void address_for_history(const char *url, char *out, size_t size) {
  const char *scheme = strstr(url, "://");
  if (!scheme ? strchr(url, ':') == NULL : strncmp(url, "file://", 7) == 0) {
    const char *slash = strrchr(url, '/');
    snprintf(out, size, "%.900s", !slash ? url : slash[1] ? slash + 1 : "another folder");
    return;
  }
  const char *host = scheme ? scheme + 3 : url, *at = host;
  for (const char *c = host; scheme && *c && *c != '/'; c++)
    at = *c == '@' ? c + 1 : at;
  snprintf(out, size, "%.*s%.900s", (int)(host - url), url, at);
}

/* When what results is exactly what they have, our branch moves on to their commit, and histories do not leapfrog for ever. */
static plb_status finish(merging *m, const git_oid *incoming) {
  plb_change *c = m->change;
  char message[PLB_PATH_SIZE + 64], address[PLB_PATH_SIZE];
  const bool behind = git_graph_descendant_of(c->store->repository, incoming, &c->base) == 1;
  git_oid tree = {{0}};
  plb_status status = PLB_OK;
  if (behind) {
    plb_put_file *files = plb_calloc(c->count + 1, sizeof *files);
    for (size_t i = 0; files && i < c->count && status == PLB_OK; i++) {
      files[i].path = c->file[i]->path;
      status = plb_store_put(c->store, GIT_OBJECT_BLOB, c->file[i]->row.data, c->file[i]->row.size, &files[i].id, m->err);
    }
    if (!files)
      status = plb_fail(m->err, PLB_ENOMEM, "out of memory");
    if (status == PLB_OK)
      status = plb_tree_apply(c->store, c->tree, files, c->count, NULL, &tree, m->err);
    free(files);
  }
  if (status != PLB_OK)
    return status;
  if (behind && git_oid_equal(&tree, git_tree_id(m->theirs)))
    return plb_change_forward(c, incoming, m->err);
  c->second = incoming;
  address_for_history(m->url, address, sizeof address);
  snprintf(message, sizeof message, "Fetch from %.900s", address);
  return plb_change_commit(c, message, m->err);
}

plb_status plb_merge(plb_store *s, const git_oid *incoming, const char *url, const plb_store_keep *keep, size_t *conflicts_out, plb_error *err) {
  plb_change c = {0};
  merging m = {.change = &c, .keep = keep, .url = url, .err = err};
  plb_status status = check_keep(keep, err);
  if (status == PLB_OK)
    status = plb_change_begin(&c, s, err);
  if (status == PLB_OK && (git_oid_equal(&c.base, incoming) || git_graph_descendant_of(s->repository, &c.base, incoming) == 1)) {
    plb_store_say(s, "nothing new at %s", url);
    plb_change_end(&c);
    return PLB_OK;
  }
  if (status == PLB_OK)
    status = read_trees(&m, incoming);
  if (status == PLB_OK)
    status = walk(&m, c.tree, m.theirs, "");
  if (status == PLB_OK)
    *conflicts_out = list_conflicts(&m);
  size_t fresh = 0;
  for (size_t i = 0; i < m.count; i++)
    fresh += !m.file[i].decided;
  if (status == PLB_OK && *conflicts_out == 0) {
    status = take_all(&m);
    if (status == PLB_OK)
      status = finish(&m, incoming);
    if (status == PLB_OK)
      plb_store_say(s, "fetched from %s: %zu document%s new or changed", url, fresh, fresh == 1 ? " is" : "s are");
    plb_error none = PLB_ERROR_INIT;
    if (status == PLB_OK && plb_index_refresh(s, &none) != PLB_OK)
      plb_store_say(s, "the index is made again when it is next needed");
  }
  git_tree_free(m.base);
  git_tree_free(m.theirs);
  free(m.file);
  plb_change_end(&c);
  return status;
}

plb_status plb_store_fetch(plb_store *s, const char *url, const plb_store_keep *keep, size_t *conflicts_out, plb_error *err) {
  git_oid incoming;
  *conflicts_out = 0;
  plb_status status = check_keep(keep, err);
  if (status == PLB_OK && plb_url_is_missing_folder(url))
    status = plb_fail(err, PLB_EUNAVAILABLE, "%.200s: there is no such folder; nothing was changed", url);
  if (status == PLB_OK)
    status = plb_store_refresh_index(s->folder, err); /* the child asks it who put in what */
  if (status == PLB_OK)
    status = plb_quarantine(s, url, &incoming, err);
  if (status != PLB_OK)
    return status;
  git_odb_refresh(s->odb);
  return plb_merge(s, &incoming, url, keep, conflicts_out, err);
}
