/* Reading everything to its end: every loose object inflated and hashed, every pack indexed again and compared, every document read. */
#include "collection/read/collection.h"
#include "collection/store/folder.h"
#include "collection/store/store.h"
#include "reference/schema.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

typedef struct damage_list {
  git_oid *id;
  size_t count, capacity;
} damage_list;

/** The version that was read last: folders are walked in the order of their names, so the next one of the same reference follows it. */
typedef struct version_seen {
  char name[PLB_TEXT_SIZE], sha256[PLB_HASH_SIZE];
  unsigned version;
} version_seen;

typedef struct checking {
  plb_store *store;
  plb_store_check_result *result;
  version_seen last;
  damage_list damage; /**< objects that cannot be read */
  char objects[PLB_PATH_SIZE + 16];
} checking;

static void say_damage(checking *c, const char *what, const char *why) {
  c->result->damaged++;
  plb_store_say(c->store, "damaged: %s: %s", what, why);
}

static void note_object(checking *c, const git_oid *id) {
  git_oid *grown = plb_grow(c->damage.id, c->damage.count, &c->damage.capacity, sizeof *grown);
  if (!grown)
    return;
  c->damage.id = grown;
  grown[c->damage.count++] = *id;
}

/* Inflate to the end of the file: the checksum must fit and nothing may follow. @return NULL when all is well, else why not */
static const char *inflate_all(const char *data, size_t size, plb_buffer *out) {
  z_stream z = {0};
  unsigned char chunk[65536];
  int state = inflateInit(&z);
  z.next_in = (Bytef *)(uintptr_t)data;
  z.avail_in = (uInt)size;
  while (state == Z_OK) {
    z.next_out = chunk;
    z.avail_out = sizeof chunk;
    state = inflate(&z, Z_NO_FLUSH);
    plb_buffer_append(out, chunk, sizeof chunk - z.avail_out);
    if (state == Z_OK && z.avail_out == sizeof chunk)
      break;
  }
  const bool whole = state == Z_STREAM_END && z.avail_in == 0;
  inflateEnd(&z);
  if (out->status != PLB_OK)
    return "larger than anything a collection holds";
  return whole ? NULL : state == Z_STREAM_END ? "something follows behind its end" : "it cannot be inflated to its end";
}

static const char *check_bytes(const plb_buffer *b, const git_oid *id) {
  const char *end = b->size ? memchr(b->data, 0, b->size < 64 ? b->size : 64) : NULL;
  char type[16], head[64];
  size_t size = 0;
  git_oid hash;
  if (!end || sscanf(b->data, "%15s %zu", type, &size) != 2 || size != b->size - (size_t)(end + 1 - b->data))
    return "its head does not fit its content";
  snprintf(head, sizeof head, "%s %zu", type, size);
  if (strcmp(head, b->data) != 0 || git_odb_hash(&hash, end + 1, size, git_object_string2type(type)) < 0 || !git_oid_equal(&hash, id))
    return "its content does not have the hash it is named by";
  return NULL;
}

static const char *check_loose(const char *path, const git_oid *id) {
  char *data = NULL;
  size_t size = 0;
  plb_error ignored = PLB_ERROR_INIT;
  if (plb_file_read(path, 1 << 30, &data, &size, &ignored) != PLB_OK)
    return "it cannot be read";
  plb_buffer b;
  plb_buffer_init(&b, (size_t)1 << 30);
  const char *why = inflate_all(data, size, &b);
  if (!why)
    why = check_bytes(&b, id);
  plb_buffer_dispose(&b);
  free(data);
  return why;
}

static bool visit_object(const char *path, void *payload) {
  checking *c = payload;
  char hex[64];
  git_oid id;
  const size_t head = strlen(c->objects) + 1;
  const char *inside = path + head;
  if (strncmp(inside, "pack/", 5) == 0 || strncmp(inside, "info/", 5) == 0 || strstr(inside, "/tmp_"))
    return true;
  snprintf(hex, sizeof hex, "%.2s%.41s", inside, strlen(inside) > 3 ? inside + 3 : "");
  c->result->objects++;
  if (strlen(inside) != 41 || !plb_is_hex(hex, GIT_OID_HEXSZ) || git_oid_fromstr(&id, hex) < 0) {
    say_damage(c, path, "no object is called like that");
    return true;
  }
  const char *why = check_loose(path, &id);
  if (why) {
    say_damage(c, path, why);
    note_object(c, &id);
  }
  return true;
}

static bool same_file(const char *a, const char *b) {
  char *x = NULL, *y = NULL;
  size_t n = 0, m = 0;
  plb_error ignored = PLB_ERROR_INIT;
  const bool same = plb_file_read(a, (size_t)1 << 32, &x, &n, &ignored) == PLB_OK && plb_file_read(b, (size_t)1 << 32, &y, &m, &ignored) == PLB_OK &&
                    n == m && memcmp(x, y, n) == 0;
  free(x);
  free(y);
  return same;
}

/* Put the index that was just made in the place of one that says something else: it is derived from the pack. */
static bool heal_index(const char *made, const char *had) {
  char *data = NULL;
  size_t size = 0;
  plb_error ignored = PLB_ERROR_INIT;
  const bool well = plb_file_read(made, (size_t)1 << 32, &data, &size, &ignored) == PLB_OK && plb_file_write(had, data, size, &ignored) == PLB_OK;
  free(data);
  return well;
}

/** What came of indexing a pack again. */
typedef struct pack_answer {
  const char *why;   /**< NULL: all is well */
  bool unreadable;   /**< its index is wrong and could not be made again: libgit2 must not look at it */
  bool lost;         /**< bytes of the pack itself are wrong */
} pack_answer;

static pack_answer compare_index(const char *pack, const char *scratch, const char *name) {
  char made[2 * PLB_PATH_SIZE], had[2 * PLB_PATH_SIZE];
  snprintf(made, sizeof made, "%s/pack-%s.idx", scratch, name);
  snprintf(had, sizeof had, "%.*s.idx", (int)(strlen(pack) - 5), pack);
  if (!same_file(made, had)) {
    const bool healed = heal_index(made, had);
    return (pack_answer){healed ? "its index said something else, and was made again; nothing is lost" : "its index says something else", !healed, false};
  }
  snprintf(had, sizeof had, "/pack-%s.pack", name);
  const char *leaf = strrchr(pack, '/');
  return (pack_answer){leaf && strcmp(leaf, had) != 0 ? "it is not called by its content" : NULL, false, false};
}

/* Index the pack again from its own bytes, which hashes every object, and compare with the index that is there. */
static pack_answer check_pack(const char *pack, const char *scratch, git_indexer_progress *progress) {
  git_indexer *indexer = NULL;
  FILE *f = fopen(pack, "rb");
  bool well = f && git_indexer_new(&indexer, scratch, 0, NULL, NULL) == 0;
  char chunk[65536];
  for (size_t n; well && (n = fread(chunk, 1, sizeof chunk, f)) > 0;)
    well = git_indexer_append(indexer, chunk, n, progress) == 0;
  well = well && git_indexer_commit(indexer, progress) == 0;
  const pack_answer answer = well ? compare_index(pack, scratch, git_indexer_name(indexer))
                                  : (pack_answer){"it cannot be indexed again: bytes in it are wrong", false, true};
  git_indexer_free(indexer);
  if (f)
    fclose(f);
  return answer;
}

/* The copy that the indexer writes may not fit beside the collection: then it goes where temporary files go. */
static pack_answer check_pack_somewhere(const checking *c, const char *pack, git_indexer_progress *progress) {
  const char *temporary = getenv("TMPDIR");
  const char *places[2] = {c->store->folder, temporary && temporary[0] ? temporary : "/tmp"};
  pack_answer answer = {"there is no place to index it again", false, true};
  for (int i = 0; i < 2 && answer.lost; i++) {
    char scratch[PLB_PATH_SIZE + 64];
    snprintf(scratch, sizeof scratch, "%s/quarantine-check-%ld", places[i], (long)getpid());
    memset(progress, 0, sizeof *progress);
    if (mkdir(scratch, 0700) != 0)
      continue;
    answer = check_pack(pack, scratch, progress);
    plb_folder_remove(scratch);
  }
  return answer;
}

/* Which objects of a damaged pack are lost: each is read by its name. */
static int read_packed(const git_oid *id, void *payload) {
  checking *c = payload;
  git_odb_object *object = NULL;
  git_oid hash;
  c->result->objects++;
  if (git_odb_read(&object, c->store->odb, id) < 0 ||
      git_odb_hash(&hash, git_odb_object_data(object), git_odb_object_size(object), git_odb_object_type(object)) < 0 || !git_oid_equal(&hash, id))
    note_object(c, id);
  git_odb_object_free(object);
  return 0;
}

typedef struct pack_visit {
  checking *c;
  bool lost, unreadable;
} pack_visit;

static bool visit_pack(const char *path, void *payload) {
  pack_visit *v = payload;
  const size_t n = strlen(path);
  git_indexer_progress progress = {0};
  char pack[2 * PLB_PATH_SIZE];
  if (n > 4 && strcmp(path + n - 4, ".idx") == 0) {
    snprintf(pack, sizeof pack, "%.*s.pack", (int)(n - 4), path);
    if (access(pack, F_OK) != 0)
      say_damage(v->c, path, "an index without its pack");
    return true;
  }
  if (n < 5 || strcmp(path + n - 5, ".pack") != 0)
    return true;
  v->c->result->packs++;
  const pack_answer answer = check_pack_somewhere(v->c, path, &progress);
  v->c->result->objects += progress.indexed_objects;
  v->lost = v->lost || answer.lost;
  v->unreadable = v->unreadable || answer.unreadable;
  if (answer.why)
    say_damage(v->c, path, answer.why);
  return true;
}

/* @return false: libgit2 reads beyond a wrong index, so nothing more can be looked at */
static bool check_packs(checking *c) {
  pack_visit v = {.c = c};
  char packs[PLB_PATH_SIZE + 32];
  snprintf(packs, sizeof packs, "%s/pack", c->objects);
  plb_folder_walk(packs, visit_pack, &v);
  if (v.unreadable) {
    plb_store_say(c->store, "the documents were not read: let somebody who may write here run check, which makes that index again");
    return false;
  }
  if (v.lost)
    git_odb_foreach(c->store->odb, read_packed, c);
  return true;
}

static bool is_damaged(const checking *c, const git_oid *id) {
  for (size_t i = 0; i < c->damage.count; i++)
    if (git_oid_equal(&c->damage.id[i], id))
      return true;
  return false;
}

/* Each version names its predecessor by its hash, so nobody can put another text under an old number unseen. */
static void check_predecessor(checking *c, const char *path, const void *bytes, size_t size) {
  plb_path where;
  char named[PLB_HASH_SIZE] = "", why[PLB_TEXT_SIZE];
  if (plb_path_parse(path, &where) != PLB_PATH_REFERENCE)
    return;
  const bool follows = strcmp(c->last.name, where.name) == 0 && c->last.version + 1 == where.version;
  plb_predecessor_of(bytes, size, named);
  if (follows && strcmp(named, c->last.sha256) != 0) {
    snprintf(why, sizeof why, "it names %s as what came before, and version %u is another text", named[0] ? named : "nothing", c->last.version);
    say_damage(c, path, why);
  } else if (where.version == 1 && named[0]) {
    say_damage(c, path, "the first version names a version before it");
  } else if (where.version > 1 && !follows) {
    say_damage(c, path, "the version before it is not there, or cannot be read");
  }
  plb_text_copy(c->last.name, sizeof c->last.name, where.name);
  c->last.version = where.version;
  plb_sha256(bytes, size, c->last.sha256);
}

/* Names of the documents that damaged objects hold, and the strict reader and the schema for all the others. */
static void check_document(checking *c, const char *path, const git_oid *id) {
  char *data = NULL;
  git_odb_object *object = NULL;
  plb_error trouble = PLB_ERROR_INIT;
  plb_inspection x;
  plb_path where;
  c->result->documents++;
  if (is_damaged(c, id) || git_odb_read(&object, c->store->odb, id) < 0) {
    if (plb_path_parse(path, &where) == PLB_PATH_REFERENCE)
      plb_store_say(c->store, "lost with it: %s@%u (%s)", where.name, where.version, path);
    else
      plb_store_say(c->store, "lost with it: %s", path);
    if (!is_damaged(c, id))
      say_damage(c, path, "its object is missing or cannot be read");
    return;
  }
  const void *bytes = git_odb_object_data(object);
  const size_t size = git_odb_object_size(object);
  plb_status status = plb_inspect(&x, path, bytes, size, &trouble);
  if (status == PLB_OK && x.row.kind == PLB_PATH_REFERENCE)
    status = plb_schema_validate("schema/reference.xsd", bytes, size, path, &trouble);
  if (status == PLB_OK && x.row.kind == PLB_PATH_CAPTURE)
    status = plb_schema_validate("schema/capture.xsd", bytes, size, path, &trouble);
  if (status != PLB_OK)
    say_damage(c, path, trouble.message);
  check_predecessor(c, path, bytes, size);
  plb_inspection_dispose(&x);
  git_odb_object_free(object);
  free(data);
}

static void check_tree(checking *c, const git_oid *id, const char *inside) {
  git_tree *tree = NULL;
  if (is_damaged(c, id) || git_tree_lookup(&tree, c->store->repository, id) < 0) {
    say_damage(c, inside[0] ? inside : "(top folder)", "this folder cannot be read");
    return;
  }
  for (size_t i = 0; i < git_tree_entrycount(tree); i++) {
    const git_tree_entry *e = git_tree_entry_byindex(tree, i);
    char path[PLB_PATH_SIZE];
    plb_path where;
    if (snprintf(path, sizeof path, "%s%s%s", inside, inside[0] ? "/" : "", git_tree_entry_name(e)) >= (int)sizeof path)
      say_damage(c, inside, "a name that is too long");
    else if (git_tree_entry_type(e) == GIT_OBJECT_TREE) {
      const version_seen here = c->last; /* a folder may stand between two versions */
      check_tree(c, git_tree_entry_id(e), path);
      c->last = here;
    }
    else if (git_tree_entry_filemode(e) != GIT_FILEMODE_BLOB || plb_path_parse(path, &where) == PLB_PATH_NONE)
      say_damage(c, path, "no place where a collection keeps anything");
    else
      check_document(c, path, git_tree_entry_id(e));
  }
  git_tree_free(tree);
}

/* Every commit's own object and its tree objects were hashed; here the chain must lead back to a beginning. */
static void check_history(checking *c, const git_oid *head) {
  git_revwalk *walk = NULL;
  git_oid id;
  int next = -1;
  if (git_revwalk_new(&walk, c->store->repository) == 0 && git_revwalk_push(walk, head) == 0)
    while ((next = git_revwalk_next(&id, walk)) == 0) {
    }
  if (next != GIT_ITEROVER)
    say_damage(c, "history", "it does not lead back to the beginning");
  git_revwalk_free(walk);
}

static void check_branch(checking *c) {
  git_oid head;
  git_commit *commit = NULL;
  git_reference *symbolic = NULL;
  plb_store *s = c->store;
  if (git_reference_lookup(&symbolic, s->repository, "HEAD") < 0 || git_reference_type(symbolic) != GIT_REFERENCE_SYMBOLIC ||
      strcmp(git_reference_symbolic_target(symbolic), "refs/heads/main") != 0)
    say_damage(c, "HEAD", "it does not name the branch main");
  git_reference_free(symbolic);
  if (git_reference_name_to_id(&head, s->repository, "refs/heads/main") < 0 || git_commit_lookup(&commit, s->repository, &head) < 0) {
    say_damage(c, "refs/heads/main", "it does not name a commit that is there");
    return;
  }
  check_history(c, &head);
  check_tree(c, git_commit_tree_id(commit), "");
  git_commit_free(commit);
}

/* Quotes in pairs, and only the escapes that git knows: libgit2 lets others pass. */
static bool is_config_value(const char *value, size_t size) {
  bool quoted = false;
  for (size_t i = 0; i < size; i++) {
    if (value[i] == '"')
      quoted = !quoted;
    else if (value[i] == '\\' && (++i >= size || !strchr("\\\"ntb", value[i])))
      return false;
    else if ((unsigned char)value[i] < 0x20 && value[i] != '\t')
      return false;
  }
  return !quoted;
}

static bool is_config_line(const char *line, size_t size) {
  while (size && (*line == ' ' || *line == '\t')) {
    line++;
    size--;
  }
  if (size == 0 || *line == '#' || *line == ';')
    return true;
  if (*line == '[')
    return memchr(line, ']', size) != NULL;
  size_t n = 0;
  while (n < size && ((line[n] >= 'a' && line[n] <= 'z') || (line[n] >= 'A' && line[n] <= 'Z') || (n && (line[n] == '-' || (line[n] >= '0' && line[n] <= '9')))))
    n++;
  while (n && n < size && (line[n] == ' ' || line[n] == '\t'))
    n++;
  return n && (n == size || (line[n] == '=' && is_config_value(line + n + 1, size - n - 1)));
}

/* libgit2 reads lines that git itself refuses. */
static bool is_config(const char *path) {
  char *data = NULL;
  size_t size = 0;
  plb_error ignored = PLB_ERROR_INIT;
  bool well = plb_file_read(path, PLB_SMALL_MOST, &data, &size, &ignored) == PLB_OK && !memchr(data, 0, size);
  for (const char *line = data; well && *line; line += strcspn(line, "\n"), line += *line == '\n')
    well = is_config_line(line, strcspn(line, "\n"));
  free(data);
  return well;
}

/* The configuration is small and made by us: anything that changes what git does with the folder is said. */
static void check_config(checking *c) {
  git_config *config = NULL;
  char path[PLB_PATH_SIZE + 16];
  int bare = 0, version = -1, modes = 0;
  snprintf(path, sizeof path, "%s/config", c->store->folder);
  if (!is_config(path) || git_config_open_ondisk(&config, path) < 0 || git_config_get_bool(&bare, config, "core.bare") < 0 || !bare ||
      git_config_get_int32(&version, config, "core.repositoryformatversion") < 0 || version != 0)
    say_damage(c, "config", "it does not say that this is a bare repository of format 0");
  else {
    const int found = git_config_get_bool(&modes, config, "core.filemode");
    if (found < 0 && found != GIT_ENOTFOUND)
      say_damage(c, "config", "core.filemode is neither true nor false");
  }
  git_config_free(config);
}

static void check_index(checking *c) {
  char path[PLB_PATH_SIZE];
  plb_index *index = NULL;
  plb_error trouble = PLB_ERROR_INIT;
  plb_index_path(c->store->folder, path);
  if (access(path, F_OK) != 0)
    return;
  plb_status status = plb_index_open(&index, path, &trouble);
  if (status == PLB_OK)
    status = plb_index_verify(index, &trouble);
  if (status != PLB_OK && status != PLB_ENOINPUT)
    say_damage(c, "plumbline.index", trouble.message);
  plb_index_free(index);
}

plb_status plb_store_check(plb_store *s, plb_store_check_result *out, plb_error *err) {
  *out = (plb_store_check_result){0};
  checking c = {.store = s, .result = out};
  snprintf(c.objects, sizeof c.objects, "%s/objects", s->folder);
  plb_error ignored = PLB_ERROR_INIT;
  const bool locked = plb_store_lock(s, &ignored) == PLB_OK; /* somebody else's folder is checked without */
  plb_folder_walk(c.objects, visit_object, &c);
  if (check_packs(&c)) {
    check_config(&c);
    check_branch(&c);
    check_index(&c);
  }
  if (locked)
    plb_store_unlock(s);
  free(c.damage.id);
  (void)err;
  return PLB_OK;
}
