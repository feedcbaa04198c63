#ifndef PLB_COLLECTION_H
#define PLB_COLLECTION_H
/**
 * @file  The versioned store of references, captures and cases, as one reads it: through a derived index, without libgit2. Writing
 * is in <plumbline/store.h>. An open collection is a snapshot: it is not changed by writers and may be read from several threads.
 */
#include <plumbline/error.h>
#include <plumbline/reference.h>
PLB_BEGIN_DECLS

typedef struct plb_collection plb_collection;

typedef enum plb_entry_kind {
  PLB_ENTRY_REFERENCE, /**< one version of a reference */
  PLB_ENTRY_CAPTURE,
  PLB_ENTRY_CASE,
  PLB_ENTRY_TYPE
} plb_entry_kind;

typedef enum plb_entry_status { PLB_DRAFT, PLB_APPROVED, PLB_RETIRED, PLB_WITHDRAWN } plb_entry_status;
PLB_API const char *plb_entry_status_name(plb_entry_status status); /**< "draft", "approved", "retired", "withdrawn" */

/** One document. The texts live as long as the collection; none is NULL. */
typedef struct plb_entry {
  plb_entry_kind kind;
  const char *path;       /**< inside the collection: "references/crank-inductive/idle/0003.xml" */
  const char *type;       /**< slug */
  const char *name;       /**< "type/name" of a reference, else the id or slug */
  unsigned version;       /**< from 1; 0 where there are no versions */
  const char *title;
  const char *id;
  const char *sha256;     /**< of the document's bytes */
  const char *provenance; /**< "measured", "modelled", "standard"; empty where it does not apply */
  const char *conditions; /**< one a line: "speed=600..900/min", "state=hot-idle" */
  const char *captures;   /**< SHA-256 of the captures it rests on, one a line; of a capture: of the file it was read from */
  size_t exemplars;
  plb_entry_status status;
  const char *author;     /**< who put it in, as they said themselves */
  const char *when;       /**< ISO 8601, UTC */
  const char *why;        /**< the message it was put in with */
  const char *commit;     /**< hexadecimal; empty in a plain folder */
  const void *data;       /**< the document */
  size_t size;            /**< [bytes] */
} plb_entry;

/**
 * Which folder is meant: `named` (may be NULL), else PLUMBLINE_COLLECTION, else plumbline/collection in the XDG data folder, else the
 * starter collection that came with the program.
 * @param out  [size: PLB_PATH_SIZE]
 * @param starter_out  may be NULL; true: the starter collection, which is read only
 * @return PLB_OK, PLB_ENOINPUT (what was named is not there)
 */
PLB_API PLB_CHECKED plb_status plb_collection_where(const char *named, char *out, bool *starter_out, plb_error *err);

/** Where a first write goes: as above, but the user's own folder instead of the starter collection; it need not exist. */
PLB_API PLB_CHECKED plb_status plb_collection_where_to_write(const char *named, char *out, plb_error *err);

/**
 * Open a collection for reading: a bare repository made by `init`, or a plain folder laid out like one (a clone, the starter
 * collection). A stale index is brought up to date by the helper program plumb-store.
 * @return PLB_OK, PLB_ENOINPUT (no collection there), PLB_EDATA (damaged), PLB_EUNAVAILABLE (the helper program is missing), PLB_EIO
 */
PLB_API PLB_CHECKED plb_status plb_collection_open(plb_collection **out, const char *folder, plb_error *err);
PLB_API void plb_collection_free(plb_collection *collection);
PLB_API const char *plb_collection_folder(const plb_collection *collection);

/** Entries are ordered by kind, name and version. @return false past the end */
PLB_API size_t plb_collection_count(const plb_collection *collection);
PLB_API bool plb_collection_entry(const plb_collection *collection, size_t index, plb_entry *out);

/** What to list. Start from PLB_COLLECTION_FILTER_INIT; NULL fields do not filter. */
typedef struct plb_collection_filter {
  unsigned version;         /**< 1 */
  const char *type;         /**< slug or alias ("crank") */
  const char *text;         /**< every word must occur in name, title, type or conditions, case aside */
  const char *const *conditions; /**< [condition_count] "speed=800/min": the stated range must overlap it */
  size_t condition_count;
  const char *provenance;
  const char *status;
  bool all_versions;        /**< false: of each reference the version a selector without "@" means */
  bool captures, cases, types; /**< list these instead of references */
} plb_collection_filter;
#define PLB_COLLECTION_FILTER_INIT {1, NULL, NULL, NULL, 0, NULL, NULL, false, false, false, false}

/** @param out  malloc'ed, free(); [count_out] */
PLB_API PLB_CHECKED plb_status plb_collection_find(const plb_collection *collection, const plb_collection_filter *filter,
                                                   plb_entry **out, size_t *count_out, plb_error *err);

/**
 * "type/name", "type/name@3", the id of a capture or case, or the first 8 or more digits of one. Without a version: the newest
 * approved one, else the newest draft; never a withdrawn one.
 * @return PLB_OK, PLB_ENOINPUT (nothing by that name; the message names the nearest), PLB_EUSAGE (malformed, or more than one id fits)
 */
PLB_API PLB_CHECKED plb_status plb_collection_select(const plb_collection *collection, const char *selector, plb_entry *out, plb_error *err);

/**
 * The reference a selector or the path of an XML file means; a path wins when the file exists. `named` as in plb_collection_where().
 * @param status_out  [size: PLB_NAME_SIZE], may be NULL: "file", "approved", "draft" ...
 */
PLB_API PLB_CHECKED plb_status plb_collection_load(plb_reference **out, const char *selector, const char *named, char *status_out,
                                                   plb_error *err);

/** One act on a reference. */
typedef struct plb_act {
  char kind[PLB_NAME_SIZE]; /**< add, approve, retire, withdraw */
  unsigned version;
  char who[PLB_TEXT_SIZE], when[PLB_NAME_SIZE], why[PLB_TEXT_SIZE];
  bool own;                 /**< approved by its own author: the collection's setting allowed it */
} plb_act;

/** Check an entry's bytes against their hash before using them: the index is derived and may be damaged. @return PLB_OK, PLB_EDATA */
PLB_API PLB_CHECKED plb_status plb_entry_verify(const plb_entry *entry, plb_error *err);

/** Everything that was done to one reference, in order of time. @param out  malloc'ed, free() */
PLB_API PLB_CHECKED plb_status plb_collection_history(const plb_collection *collection, const char *name, plb_act **out, size_t *count_out,
                                                      plb_error *err);

/** Every reference (all versions) and case that rests on an entry, as indices for plb_collection_entry(). @param out  malloc'ed, free() */
PLB_API PLB_CHECKED plb_status plb_collection_rests_on(const plb_collection *collection, const plb_entry *entry, size_t **out,
                                                       size_t *count_out, plb_error *err);

/**
 * One of the good captures a reference was learned from, as it is stored, with the reference's roles: what `learn --relearn` learns again.
 * @param exemplar  < plb_reference_exemplars()
 * @param group_out  may be NULL; vehicle or session as the reference has it, NULL: not stated; lives as long as the reference
 * @return PLB_OK, PLB_ENOINPUT (not stored; the message names the file), PLB_EREFUSED (withdrawn), PLB_EDATA
 */
PLB_API PLB_CHECKED plb_status plb_collection_exemplar(const plb_collection *collection, const plb_reference *reference, size_t exemplar,
                                                       plb_capture **out, const char **group_out, plb_error *err);

/** The type's slug for a slug or an alias, as the collection's types say; NULL: not known. */
PLB_API const char *plb_collection_type(const plb_collection *collection, const char *word);

/** One difference between two versions. */
typedef struct plb_difference {
  char what[PLB_NAME_SIZE];    /**< "good range", "reading", "condition", "channel", "section", "good capture", "cycle", "text", "provenance" */
  char where[PLB_TEXT_SIZE];   /**< channel, section, name */
  char text[2 * PLB_TEXT_SIZE]; /**< one sentence with both values */
  double size;                 /**< how far, in `unit`; NaN: not a number */
  char unit[PLB_UNIT_SIZE];
} plb_difference;

/** What changed from `a` to `b`, in the trade's terms. @param out  malloc'ed, free() */
PLB_API PLB_CHECKED plb_status plb_reference_difference(const plb_reference *a, const plb_reference *b, plb_difference **out,
                                                        size_t *count_out, plb_error *err);
/** listing/1, history as listing/1 with acts, difference/1. @param out  malloc'ed, free() */
PLB_API PLB_CHECKED plb_status plb_listing_json(char **out, const plb_entry *list, size_t count, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_history_json(char **out, const char *name, const plb_act *acts, size_t count, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_difference_json(char **out, const plb_difference *list, size_t count, plb_error *err);

/** What goes into the collection as a draft version. */
typedef struct plb_draft {
  const char *collection;      /**< its folder; NULL: the one that is found without a name */
  const char *path;            /**< the reference document */
  const char *const *captures; /**< [count], paths of what it was learned from; may be NULL when count is 0 */
  size_t count;
  const char *author, *why; /**< a claim and a sentence for the history; NULL: as for every other write */
} plb_draft;

/**
 * Put a new reference into the collection as a draft version, with the captures it was learned from, by running plumb-store.
 * @param said_out  [size], what the helper said ("stored crank-inductive/idle@4, a draft")
 * @return PLB_OK, PLB_EUNAVAILABLE (no helper program), or the helper's failure
 */
PLB_API PLB_CHECKED plb_status plb_collection_add_draft(const plb_draft *draft, char *said_out, size_t size, plb_error *err);

/** Where the helper program is: beside the running program, or ../libexec/plumbline. @param out  [size: PLB_PATH_SIZE] */
PLB_API PLB_CHECKED plb_status plb_collection_helper(char *out, plb_error *err);

PLB_END_DECLS
#endif
