/*
 * What the child of quarantine.c does: fetch into a repository that borrows our objects, look at every new commit, tree and document,
 * sizes before contents, and put what has passed into our store as an undeltified pack of our own making.
 */
#include "collection/read/collection.h"
#include "collection/read/status.h"
#include "collection/store/store.h"
#include "reference/schema.h"

#include <stdio.h>
#include <string.h>

enum { COMMITS_MOST = 200000, OBJECTS_MOST = 4000000, TREE_MOST = 16 << 20, COMMIT_MOST = 1 << 20, DEPTH_MOST = 7 };
static const char refused[] = "refused, nothing was changed";

typedef struct version_author {
  char *path;
  char author[PLB_TEXT_SIZE];
} version_author;

typedef struct arrival {
  git_repository *repository; /**< quarantine, which sees our objects too */
  git_odb *odb;               /**< of the quarantine */
  plb_store *ours;
  git_oid *fresh; /**< objects we have not */
  git_object_t *fresh_type;
  size_t count, capacity, type_capacity;
  version_author *author; /**< of versions that arrive */
  size_t authors, author_capacity;
  bool own_allowed;       /**< our setting */
  plb_collection *known;  /**< our index; NULL: we have none */
  uint64_t bytes;
  plb_error *err;
} arrival;

static plb_status open_quarantine(arrival *a, const char *quarantine) {
  char path[2 * PLB_PATH_SIZE];
  git_oid head;
  git_reference *reference = NULL;
  if (git_repository_init(&a->repository, quarantine, 1) < 0)
    return plb_git_fail(a->err, PLB_EIO, "no place for what arrives");
  static const char borrow[] = "../../objects\n"; /* relative to the quarantine's objects folder, which lies inside our folder */
  snprintf(path, sizeof path, "%s/objects/info/alternates", quarantine);
  plb_status status = plb_file_write(path, borrow, sizeof borrow - 1, a->err);
  git_repository_free(a->repository);
  a->repository = NULL;
  if (status == PLB_OK && git_repository_open_bare(&a->repository, quarantine) < 0)
    status = plb_git_fail(a->err, PLB_EIO, "no place for what arrives");
  if (status == PLB_OK && git_repository_odb(&a->odb, a->repository) < 0)
    status = plb_git_fail(a->err, PLB_EIO, "no place for what arrives");
  if (status == PLB_OK && git_reference_name_to_id(&head, a->ours->repository, "refs/heads/main") == 0 &&
      git_reference_create(&reference, a->repository, "refs/heads/ours", &head, 1, NULL) < 0)
    status = plb_git_fail(a->err, PLB_EIO, "no place for what arrives");
  git_reference_free(reference);
  return status;
}

static plb_status fetch(arrival *a, const char *url, git_oid *incoming) {
  git_remote *remote = NULL;
  char spec[] = "+refs/heads/main:refs/incoming/main";
  char *specs[] = {spec};
  const git_strarray what = {specs, 1};
  git_fetch_options options;
  git_fetch_options_init(&options, GIT_FETCH_OPTIONS_VERSION);
  options.download_tags = GIT_REMOTE_DOWNLOAD_TAGS_NONE;
  options.update_fetchhead = 0;
  plb_status status = PLB_OK;
  if (git_remote_create_anonymous(&remote, a->repository, url) < 0)
    status = plb_git_fail(a->err, PLB_EUSAGE, "this is no address that git knows");
  else if (git_remote_fetch(remote, &what, &options, NULL) < 0)
    status = plb_git_fail(a->err, PLB_EUNAVAILABLE, "nothing could be fetched");
  else if (git_reference_name_to_id(incoming, a->repository, "refs/incoming/main") < 0)
    status = plb_fail(a->err, PLB_ENOINPUT, "there is no collection at that address: it has no branch main");
  git_remote_free(remote);
  return status;
}

/* Every object is asked for its size before it is read, and remembered when we have it not. */
static plb_status admit(arrival *a, const git_oid *id, git_object_t want, size_t most, const char *what) {
  size_t size = 0;
  git_object_t type = GIT_OBJECT_INVALID;
  if (git_odb_read_header(&size, &type, a->odb, id) < 0)
    return plb_fail(a->err, PLB_EDATA, "%.200s cannot be read; %s", what, refused);
  if (type != want || size > most)
    return plb_fail(a->err, PLB_EDATA, "%.200s has %zu bytes, more than the %zu allowed, or is of another kind; %s", what, size, most, refused);
  if (git_odb_exists_ext(a->ours->odb, id, GIT_ODB_LOOKUP_NO_REFRESH))
    return PLB_OK;
  const size_t before = a->count;
  git_oid *ids = before < OBJECTS_MOST ? plb_grow(a->fresh, before, &a->capacity, sizeof *ids) : NULL;
  if (ids)
    a->fresh = ids;
  git_object_t *types = ids ? plb_grow(a->fresh_type, before, &a->type_capacity, sizeof *types) : NULL;
  if (!types)
    return plb_fail(a->err, PLB_ENOMEM, "more arrives than there is memory for; %s", refused);
  a->fresh_type = types;
  ids[before] = *id;
  types[before] = type;
  a->count++;
  a->bytes += size;
  return PLB_OK;
}

static version_author *find_author(const arrival *a, const char *path) {
  for (size_t i = a->authors; i-- > 0;)
    if (strcmp(a->author[i].path, path) == 0)
      return &a->author[i];
  return NULL;
}

static plb_status note_author(arrival *a, const char *path, const git_commit *commit) {
  if (find_author(a, path))
    return PLB_OK;
  version_author *grown = plb_grow(a->author, a->authors, &a->author_capacity, sizeof *grown);
  char *copy = plb_strdup(path);
  if (grown)
    a->author = grown;
  if (!grown || !copy) {
    free(copy);
    return plb_fail(a->err, PLB_ENOMEM, "more arrives than there is memory for; %s", refused);
  }
  grown[a->authors].path = copy;
  plb_author_of(git_commit_author(commit), grown[a->authors++].author, PLB_TEXT_SIZE);
  return PLB_OK;
}

static bool author_of(const arrival *a, const char *name, unsigned version, char *out) {
  char path[PLB_PATH_SIZE];
  plb_path_reference(name, version, path);
  const version_author *arrives = find_author(a, path);
  bool equal = false;
  plb_row row;
  if (a->known) {
    const size_t at = plb_collection_search(a->known, PLB_PATH_REFERENCE, name, version, &equal);
    if (equal)
      plb_collection_row(a->known, at, &row);
  }
  if (equal)
    snprintf(out, PLB_TEXT_SIZE, "%s", row.text[PLB_ROW_AUTHOR]);
  else if (arrives)
    snprintf(out, PLB_TEXT_SIZE, "%s", arrives->author);
  return equal || arrives;
}

/* The acts a parent had at this path. */
static plb_status read_acts(arrival *a, const git_tree *tree, const char *path, plb_acts *acts) {
  git_tree_entry *entry = NULL;
  git_odb_object *object = NULL;
  plb_status status = PLB_OK;
  if (tree && git_tree_entry_bypath(&entry, tree, path) == 0 && git_odb_read(&object, a->odb, git_tree_entry_id(entry)) == 0)
    status = plb_acts_read(acts, git_odb_object_data(object), git_odb_object_size(object), a->err);
  git_odb_object_free(object);
  git_tree_entry_free(entry);
  return status;
}

static plb_status judge_act(arrival *a, const plb_act *act, const char *name, const char *who_committed) {
  char author[PLB_TEXT_SIZE];
  if (!plb_author_same(act->who, who_committed))
    return plb_fail(a->err, PLB_EREFUSED, "%.150s@%u was said to be done (%s) by %.80s, but %.80s put that in; %s", name, act->version, act->kind, act->who, who_committed, refused);
  if (strcmp(act->kind, "approve") != 0)
    return PLB_OK;
  if (!author_of(a, name, act->version, author))
    return plb_fail(a->err, PLB_EDATA, "%.150s@%u is approved but is not there; %s", name, act->version, refused);
  if (plb_author_same(author, act->who) && !a->own_allowed)
    return plb_fail(a->err, PLB_EREFUSED, "%.150s@%u was approved by its own author, %.80s, which this collection does not allow; %s", name, act->version, author, refused);
  return PLB_OK;
}

/* Acts that no parent had are this commit's: whoever made it must have done them. */
static plb_status judge_acts(arrival *a, const git_commit *commit, const char *path, const char *name, const void *data, size_t size) {
  plb_acts before = {0}, after = {0};
  char who[PLB_TEXT_SIZE];
  plb_author_of(git_commit_author(commit), who, sizeof who);
  plb_status status = plb_acts_read(&after, data, size, a->err);
  for (unsigned i = 0; i < git_commit_parentcount(commit) && status == PLB_OK; i++) {
    git_commit *parent = NULL;
    git_tree *tree = NULL;
    if (git_commit_parent(&parent, commit, i) == 0 && git_commit_tree(&tree, parent) == 0)
      status = read_acts(a, tree, path, &before);
    git_tree_free(tree);
    git_commit_free(parent);
  }
  for (size_t i = 0; i < after.count && status == PLB_OK; i++) {
    bool old = false;
    for (size_t k = 0; k < before.count && !old; k++)
      old = before.act[k].version == after.act[i].version && strcmp(before.act[k].kind, after.act[i].kind) == 0 &&
            strcmp(before.act[k].who, after.act[i].who) == 0 && strcmp(before.act[k].when, after.act[i].when) == 0;
    if (!old)
      status = judge_act(a, &after.act[i], name, who);
  }
  plb_acts_dispose(&before);
  plb_acts_dispose(&after);
  return status;
}

static plb_status judge_document(arrival *a, const git_commit *commit, const char *path, const git_oid *id) {
  plb_path where;
  plb_inspection x;
  git_odb_object *object = NULL;
  const plb_path_kind kind = plb_path_parse(path, &where);
  const bool small = kind != PLB_PATH_REFERENCE && kind != PLB_PATH_CAPTURE;
  if (kind == PLB_PATH_NONE)
    return plb_fail(a->err, PLB_EDATA, "%.200s is no place where a collection keeps anything; %s", path, refused);
  plb_status status = admit(a, id, GIT_OBJECT_BLOB, small ? PLB_SMALL_MOST : PLB_DOCUMENT_MOST, path);
  if (status != PLB_OK)
    return status;
  if (git_odb_read(&object, a->odb, id) < 0)
    return plb_fail(a->err, PLB_EDATA, "%.200s cannot be read, or needs too much memory; %s", path, refused);
  const void *data = git_odb_object_data(object);
  const size_t size = git_odb_object_size(object);
  status = plb_inspect(&x, path, data, size, a->err);
  if (status == PLB_OK && kind == PLB_PATH_REFERENCE)
    status = plb_schema_validate("schema/reference.xsd", data, size, path, a->err);
  if (status == PLB_OK && kind == PLB_PATH_CAPTURE)
    status = plb_schema_validate("schema/capture.xsd", data, size, path, a->err);
  if (status == PLB_OK && kind == PLB_PATH_REFERENCE)
    status = note_author(a, path, commit);
  if (status == PLB_OK && kind == PLB_PATH_STATUS)
    status = judge_acts(a, commit, path, where.name, data, size);
  plb_inspection_dispose(&x);
  git_odb_object_free(object);
  return status;
}

/* Only what differs from the parent's tree is new here; that one has been looked at, or is ours. */
static plb_status judge_tree(arrival *a, const git_commit *commit, const git_tree *before, const git_oid *id, const char *inside, int depth) {
  git_tree *tree = NULL;
  plb_status status = depth > DEPTH_MOST ? plb_fail(a->err, PLB_EDATA, "%.200s is nested too deep; %s", inside, refused)
                                         : admit(a, id, GIT_OBJECT_TREE, TREE_MOST, inside[0] ? inside : "the top folder");
  if (status == PLB_OK && git_tree_lookup(&tree, a->repository, id) < 0)
    status = plb_fail(a->err, PLB_EDATA, "the folder %.200s cannot be read; %s", inside, refused);
  const char *last = "";
  for (size_t i = 0; status == PLB_OK && i < git_tree_entrycount(tree); i++) {
    const git_tree_entry *e = git_tree_entry_byindex(tree, i);
    const char *name = git_tree_entry_name(e);
    const git_tree_entry *old = before ? git_tree_entry_byname(before, name) : NULL;
    char path[PLB_PATH_SIZE];
    git_tree *old_tree = NULL;
    if (strcmp(name, last) == 0)
      status = plb_fail(a->err, PLB_EDATA, "the folder %.200s names %.60s twice; %s", inside, name, refused);
    else if (name[0] == '.' || strchr(name, '/') || snprintf(path, sizeof path, "%s%s%s", inside, inside[0] ? "/" : "", name) >= (int)sizeof path)
      status = plb_fail(a->err, PLB_EDATA, "the folder %.200s has a name that does not belong there: %.60s; %s", inside, name, refused);
    last = name;
    if (status != PLB_OK || (old && git_oid_equal(git_tree_entry_id(old), git_tree_entry_id(e)) && git_tree_entry_filemode(old) == git_tree_entry_filemode(e)))
      continue;
    if (git_tree_entry_filemode_raw(e) == GIT_FILEMODE_TREE) {
      if (old && git_tree_entry_type(old) == GIT_OBJECT_TREE && git_tree_lookup(&old_tree, a->repository, git_tree_entry_id(old)) < 0)
        old_tree = NULL;
      status = judge_tree(a, commit, old_tree, git_tree_entry_id(e), path, depth + 1);
    } else if (git_tree_entry_filemode_raw(e) == GIT_FILEMODE_BLOB) {
      status = judge_document(a, commit, path, git_tree_entry_id(e));
    } else {
      status = plb_fail(a->err, PLB_EDATA, "%.200s is no plain file (mode %o); %s", path, (unsigned)git_tree_entry_filemode_raw(e), refused);
    }
    git_tree_free(old_tree);
  }
  git_tree_free(tree);
  return status;
}

static plb_status judge_commit(arrival *a, const git_oid *id) {
  git_commit *commit = NULL, *parent = NULL;
  git_tree *before = NULL;
  plb_status status = admit(a, id, GIT_OBJECT_COMMIT, COMMIT_MOST, "a commit");
  if (status == PLB_OK && git_commit_lookup(&commit, a->repository, id) < 0)
    status = plb_fail(a->err, PLB_EDATA, "a commit cannot be read; %s", refused);
  if (status == PLB_OK && git_commit_parentcount(commit) > 0 &&
      (git_commit_parent(&parent, commit, 0) < 0 || git_commit_tree(&before, parent) < 0))
    status = plb_fail(a->err, PLB_EDATA, "history is missing; %s", refused);
  if (status == PLB_OK)
    status = judge_tree(a, commit, before, git_commit_tree_id(commit), "", 0);
  git_tree_free(before);
  git_commit_free(parent);
  git_commit_free(commit);
  return status;
}

static plb_status judge_all(arrival *a, const git_oid *incoming) {
  git_revwalk *walk = NULL;
  git_oid id, head;
  plb_status status = admit(a, incoming, GIT_OBJECT_COMMIT, COMMIT_MOST, "the newest commit");
  a->count = 0; /* it comes again below */
  if (status != PLB_OK)
    return status;
  git_revwalk_new(&walk, a->repository);
  git_revwalk_sorting(walk, GIT_SORT_TOPOLOGICAL | GIT_SORT_REVERSE);
  if (git_revwalk_push(walk, incoming) < 0)
    status = plb_fail(a->err, PLB_EDATA, "what arrives is no history; %s", refused);
  if (status == PLB_OK && git_reference_name_to_id(&head, a->ours->repository, "refs/heads/main") == 0 && git_revwalk_hide(walk, &head) < 0)
    status = plb_git_fail(a->err, PLB_EDATA, "our own history cannot be read");
  int next = 0;
  for (size_t n = 0; status == PLB_OK && (next = git_revwalk_next(&id, walk)) == 0; n++)
    status = n < COMMITS_MOST ? judge_commit(a, &id) : plb_fail(a->err, PLB_EDATA, "more than %d commits; %s", COMMITS_MOST, refused);
  if (status == PLB_OK && next != GIT_ITEROVER)
    status = plb_fail(a->err, PLB_EDATA, "history cannot be read to its beginning; %s", refused);
  git_revwalk_free(walk);
  return status;
}

/* An object may have been met twice: under two names, or in two commits. */
static void drop_doubles(arrival *a) {
  size_t kept = 0;
  size_t capacity = 16;
  while (capacity < 2 * a->count)
    capacity *= 2;
  uint32_t *slot = plb_calloc(capacity, sizeof *slot);
  for (size_t i = 0; slot && i < a->count; i++) {
    size_t h = 0;
    memcpy(&h, a->fresh[i].id, sizeof h);
    for (h &= capacity - 1; slot[h] && !git_oid_equal(&a->fresh[slot[h] - 1], &a->fresh[i]);)
      h = (h + 1) & (capacity - 1);
    if (slot[h])
      continue;
    a->fresh[kept] = a->fresh[i];
    a->fresh_type[kept] = a->fresh_type[i];
    slot[h] = (uint32_t)++kept;
  }
  if (slot)
    a->count = kept;
  free(slot);
}

static plb_status hand_over_kind(arrival *a, git_object_t kind, plb_pack_writer *pack) {
  plb_status status = PLB_OK;
  for (size_t i = 0; i < a->count && status == PLB_OK; i++) {
    git_odb_object *object = NULL;
    git_oid id;
    if (a->fresh_type[i] != kind)
      continue;
    if (git_odb_read(&object, a->odb, &a->fresh[i]) < 0)
      status = plb_fail(a->err, PLB_EDATA, "an object cannot be read again; %s", refused);
    else if (pack)
      status = plb_pack_add(pack, kind, git_odb_object_data(object), git_odb_object_size(object), &id, a->err);
    else
      status = plb_store_put(a->ours, kind, git_odb_object_data(object), git_odb_object_size(object), &id, a->err);
    git_odb_object_free(object);
  }
  return status;
}

/*
 * Commits go last, parents first: a commit that is there has everything it names. A fetch that is killed here and tried again asks the
 * other side for nothing when it finds the newest commit in our store, so a commit without its folders would be refused for ever.
 */
static plb_status hand_over(arrival *a) {
  enum { FEW = 200 };
  static const git_object_t order[] = {GIT_OBJECT_BLOB, GIT_OBJECT_TREE, GIT_OBJECT_COMMIT};
  plb_pack_writer *pack = NULL;
  drop_doubles(a);
  plb_status status = plb_store_lock(a->ours, a->err);
  if (status == PLB_OK)
    status = plb_store_mark(a->ours, true, a->err);
  if (status == PLB_OK && a->count > FEW)
    status = plb_pack_begin(&pack, a->ours, a->count, a->err);
  for (size_t k = 0; k < sizeof order / sizeof order[0] && status == PLB_OK; k++)
    status = hand_over_kind(a, order[k], pack);
  if (status == PLB_OK && pack)
    status = plb_pack_finish(pack, a->err);
  plb_pack_free(pack);
  plb_error ignored = PLB_ERROR_INIT;
  if (status == PLB_OK)
    status = plb_store_mark(a->ours, false, a->err);
  else if (a->ours->lock >= 0 && plb_store_mark(a->ours, false, &ignored) != PLB_OK)
    plb_store_sweep(a->ours, 0);
  plb_store_unlock(a->ours);
  return status;
}

static void read_own_rule(arrival *a) {
  git_oid head;
  git_commit *commit = NULL;
  plb_change c = {.store = a->ours};
  if (git_reference_name_to_id(&head, a->ours->repository, "refs/heads/main") == 0 && git_commit_lookup(&commit, a->ours->repository, &head) == 0 &&
      git_commit_tree(&c.tree, commit) == 0)
    a->own_allowed = plb_setting_author_approves(&c);
  git_tree_free(c.tree);
  git_commit_free(commit);
}

plb_status plb_arrival(const char *folder, const char *quarantine, const char *url, git_oid *incoming, plb_error *err) {
  arrival a = {.err = err};
  plb_error none = PLB_ERROR_INIT;
  plb_status status = plb_store_open_at(&a.ours, folder, NULL, err);
  if (status == PLB_OK && plb_collection_open(&a.known, folder, &none) != PLB_OK)
    a.known = NULL;
  if (status == PLB_OK) {
    read_own_rule(&a);
    status = open_quarantine(&a, quarantine);
  }
  if (status == PLB_OK)
    status = fetch(&a, url, incoming);
  if (status == PLB_OK)
    status = judge_all(&a, incoming);
  if (status == PLB_OK)
    status = hand_over(&a);
  /* the process ends here: nothing is freed, so that a poisoned heap is not walked */
  return status;
}
