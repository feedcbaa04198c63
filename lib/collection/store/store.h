/**
 * collection/store: changing a collection, through libgit2. It owns the lock, the objects, commits and the branch, sharing and checking.
 * Only the helper program plumb-store links it. It must not know how anything is scored.
 */
#ifndef PLB_COLLECTION_STORE_H
#define PLB_COLLECTION_STORE_H
#include "collection/read/inspect.h"
#include "core/core.h"
#include <git2.h>
#include <plumbline/store.h>

struct plb_store {
  char folder[PLB_PATH_SIZE];
  git_repository *repository;
  git_odb *odb;
  plb_store_options options;
  char author[PLB_TEXT_SIZE]; /**< "Name" or "Name <mail>" */
  int lock;                   /**< descriptor of the lock file while it is held, else -1 */
  bool after_crash;           /**< the writer before us did not finish */
};

/** Turn libgit2's last error into ours: "WHAT: libgit2's words". */
plb_status plb_git_fail(plb_error *err, plb_status status, const char *what);
/** Tell the caller one line. */
void plb_store_say(const plb_store *store, const char *format, ...) PLB_PRINTF(2, 3);
/** Start libgit2 with what a collection needs: flushing to disk, no look at who owns the folder. */
PLB_CHECKED plb_status plb_git_begin(plb_error *err);
/** Make an empty bare repository with everything in it flushed. */
PLB_CHECKED plb_status plb_store_make(const char *folder, plb_error *err);
/** Open a bare repository as a store; used for private.git too. */
PLB_CHECKED plb_status plb_store_open_at(plb_store **out, const char *folder, const plb_store_options *options, plb_error *err);

/* lock.c */
/** Hold the collection's lock: waits, and clears away what a killed writer left. @return PLB_OK, PLB_EBUSY, PLB_EIO */
PLB_CHECKED plb_status plb_store_lock(plb_store *store, plb_error *err);
void plb_store_unlock(plb_store *store);
/** Write down that a change is under way, so that the next writer knows what a stale lock file means. */
PLB_CHECKED plb_status plb_store_mark(plb_store *store, bool busy, plb_error *err);
/** Remove temporary files that are nobody's any more. @param age_s  younger ones are left alone */
void plb_store_sweep(plb_store *store, long age_s);

/* object.c */
/**
 * Deflate for the store. Documents hold base64, in which there is nothing to find but the six bits in eight: large ones get Huffman codes
 * alone, which is five times as fast and no larger.
 * @param head  goes first, may be empty
 */
PLB_CHECKED plb_status plb_deflate(const void *head, size_t head_size, const void *data, size_t size, unsigned char **out, size_t *size_out,
                                   plb_error *err);
/** Put one object into the store and onto the disk; one that is there already loose is written again, since nobody knows it was flushed. */
PLB_CHECKED plb_status plb_store_put(plb_store *store, git_object_t type, const void *data, size_t size, git_oid *out, plb_error *err);
/** Is it in a pack? Packs are flushed before they become visible; of a loose object nobody knows. */
bool plb_store_is_packed(const plb_store *store, const git_oid *id);
/** Flush a folder's entries. */
PLB_CHECKED plb_status plb_fsync_folder(const char *path, plb_error *err);
PLB_CHECKED plb_status plb_fsync_file(const char *path, plb_error *err);

/* author.c */
/** Find out who writes. @param out  [size: PLB_TEXT_SIZE] */
PLB_CHECKED plb_status plb_author_find(const char *stated, char *out, plb_error *err);
/** Two claims of the same person: same name or same mail, case and blanks aside. */
bool plb_author_same(const char *a, const char *b);
/** "Name <mail>", or the name alone where the mail is our placeholder. */
void plb_author_of(const git_signature *signature, char *out, size_t size);
PLB_CHECKED plb_status plb_author_signature(const char *author, git_signature **out, plb_error *err);
/** ISO 8601 in UTC. @param out  [size: PLB_NAME_SIZE] */
void plb_time_text(int64_t time, char *out);
/** Back again; false when the text is no such time. */
bool plb_time_parse(const char *text, int64_t *out);

/* tree.c */
/** One file of a change. */
typedef struct plb_put_file {
  const char *path;
  git_oid id;
} plb_put_file;
typedef struct plb_made_tree {
  git_oid id;
  char *data;
  size_t size;
} plb_made_tree;
/** Trees that were made and are not yet in the store, each once. */
typedef struct plb_made_trees {
  plb_made_tree *tree;
  size_t count, capacity;
} plb_made_trees;
void plb_made_trees_dispose(plb_made_trees *made);
/**
 * The tree that results from putting files into `base` (NULL: empty). Sorts `files`.
 * @param made  takes the new trees; NULL: they are stored at once
 */
PLB_CHECKED plb_status plb_tree_apply(plb_store *store, const git_tree *base, plb_put_file *files, size_t count, plb_made_trees *made,
                                      git_oid *out, plb_error *err);
/** Read a file out of a tree. @param data_out  malloc'ed, NUL behind it @return PLB_OK, PLB_ENOINPUT (not there), PLB_EDATA */
PLB_CHECKED plb_status plb_tree_read(plb_store *store, const git_tree *tree, const char *path, char **data_out, size_t *size_out, plb_error *err);
/** Highest version of a reference in a tree, 0: none. */
unsigned plb_tree_newest(plb_store *store, const git_tree *tree, const char *name);

/* change.c */
typedef struct plb_change {
  plb_store *store;
  git_oid base;       /**< the branch when the change began */
  bool unborn;        /**< there was none */
  git_tree *tree;     /**< of base; NULL: none */
  const git_oid *second; /**< second parent, NULL: none */
  bool late;          /**< import: documents are inspected all together, in parallel, by plb_change_inspect() */
  const char *source; /**< late: the file that is being put; outlives the change */
  bool raw;           /**< private.git: documents are not inspected, and there is no index */
  plb_inspection **file;
  const char **from;  /**< [count] the file each came from, for messages; NULL: none */
  size_t count, capacity, from_capacity;
} plb_change;

/** Take the lock and read the branch. Always end with plb_change_end(). */
PLB_CHECKED plb_status plb_change_begin(plb_change *change, plb_store *store, plb_error *err);
/** Put a document (copied) at a path, after the strict reader of its kind has passed it. */
PLB_CHECKED plb_status plb_change_put(plb_change *change, const char *path, const void *data, size_t size, plb_error *err);
/** Inspect what was put late, and hold references and captures against their schemas. */
PLB_CHECKED plb_status plb_change_inspect(plb_change *change, plb_error *err);
/** What a path holds, this change included. @return PLB_OK, PLB_ENOINPUT */
PLB_CHECKED plb_status plb_change_get(const plb_change *change, const char *path, char **data_out, size_t *size_out, plb_error *err);
/** Write objects, commit and branch, flush everything, and append to the index. Nothing to do without files. */
PLB_CHECKED plb_status plb_change_commit(plb_change *change, const char *message, plb_error *err);
/** Move the branch to a commit that has everything ours has. */
PLB_CHECKED plb_status plb_change_forward(plb_change *change, const git_oid *to, plb_error *err);
void plb_change_end(plb_change *change);

/* change_pack.c */
/** Put documents and folders of a change into one pack. Sorts `files`, whose paths are set and whose ids are found here. */
PLB_CHECKED plb_status plb_change_pack(plb_change *change, plb_put_file *files, git_oid *tree_out, plb_error *err);

/* private_facts.c */
/** Keep what is the shop's alone beside a capture's or case's id, in private.git. */
PLB_CHECKED plb_status plb_private_put(plb_store *store, const char *id, const plb_private_facts *facts, plb_error *err);

/** What goes into what is shared must not tell what is private. @param what  of what, for the message @return PLB_OK, PLB_EREFUSED */
PLB_CHECKED plb_status plb_private_check(const plb_private_facts *facts, const char *text, const char *what, plb_error *err);

/* add.c */
/** Store a capture file as a document of ours in a change. @param id_out  [size: 33] */
PLB_CHECKED plb_status plb_add_capture(plb_change *change, const char *path, const char *data, size_t size, char *id_out, plb_error *err);
/** Give a reference its name's next number and predecessor, and put it into the change. @param data  its XML @return as plb_change_put() */
PLB_CHECKED plb_status plb_add_reference(plb_change *change, const char *data, size_t size, const char *path, const char *new_name,
                                         char *selector_out, plb_error *err);

/** The name attribute of a document's first element. @param out  [size: PLB_TEXT_SIZE] */
PLB_CHECKED plb_status plb_name_of(const char *data, size_t size, char *out, plb_error *err);
/** The hash that a reference document names as its predecessor's; empty: none. @param out  [PLB_HASH_SIZE] */
void plb_predecessor_of(const char *data, size_t size, char *out);
/**
 * Set a reference document's name (NULL: keep), version and predecessor (NULL: none), leaving every other byte as it is, and its id.
 * @param out  initialised
 */
PLB_CHECKED plb_status plb_renumber(const char *data, size_t size, const char *name, unsigned version, const char *predecessor,
                                    plb_buffer *out, plb_error *err);

/* index_refresh.c */
PLB_CHECKED plb_status plb_index_refresh(plb_store *store, plb_error *err);
/** Who put a version in, as the commit says that added it. @return PLB_OK, PLB_EDATA */
PLB_CHECKED plb_status plb_version_author(plb_store *store, const char *path, char *out, plb_error *err);

/* quarantine.c */
enum {
  PLB_ARRIVAL_MEMORY_MIB = 768, /**< address space of the child process in which arrivals are checked */
  PLB_ARRIVAL_CPU_S = 600,
  PLB_ARRIVAL_FILE_MIB = 2048   /**< the largest pack */
};
/**
 * Get another collection's branch and check all that is new in it, in a child process with limits; only then its objects are put into
 * the store, where nothing names them yet.
 * @param incoming  the commit its branch is at
 */
PLB_CHECKED plb_status plb_quarantine(plb_store *store, const char *url, git_oid *incoming, plb_error *err);

/* arrival.c: what the child does. */
PLB_CHECKED plb_status plb_arrival(const char *folder, const char *quarantine, const char *url, git_oid *incoming, plb_error *err);

/* merge.c */
PLB_CHECKED plb_status plb_merge(plb_store *store, const git_oid *incoming, const char *url, const plb_store_keep *keep,
                                 size_t *conflicts_out, plb_error *err);

/* send.c */
/** A path, and nothing is there. */
bool plb_url_is_missing_folder(const char *url);

/* act.c */
/** May the author of a version approve it here? */
bool plb_setting_author_approves(const plb_change *change);

/* pack_writer.c: one undeltified pack, written through libgit2's indexer. */
typedef struct plb_pack_writer plb_pack_writer;
PLB_CHECKED plb_status plb_pack_begin(plb_pack_writer **out, plb_store *store, size_t objects, plb_error *err);
PLB_CHECKED plb_status plb_pack_add(plb_pack_writer *pack, git_object_t type, const void *data, size_t size, git_oid *out, plb_error *err);
/** The same for content that plb_deflate() has deflated already. @param size  of the content itself */
PLB_CHECKED plb_status plb_pack_add_deflated(plb_pack_writer *pack, git_object_t type, size_t size, const void *deflated,
                                             size_t deflated_size, plb_error *err);
/** Finish, flush to disk, make visible. */
PLB_CHECKED plb_status plb_pack_finish(plb_pack_writer *pack, plb_error *err);
void plb_pack_free(plb_pack_writer *pack);

#endif
