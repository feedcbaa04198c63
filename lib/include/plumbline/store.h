#ifndef PLB_STORE_H
#define PLB_STORE_H
/**
 * @file  Writing to a collection: a bare git repository. A library of its own (libplumbline_store), linked by the helper program
 * plumb-store alone. One writer at a time holds a lock of the kernel; every change is one commit, and a call that returns PLB_OK has put
 * it on the disk. A store is used from one thread.
 */
#include <plumbline/collection.h>
PLB_BEGIN_DECLS

typedef struct plb_store plb_store;

/** Start from PLB_STORE_OPTIONS_INIT. */
typedef struct plb_store_options {
  unsigned version;   /**< 1 */
  const char *author; /**< "Name" or "Name <mail>", a claim; NULL: PLUMBLINE_AUTHOR, git's user.name, the login name */
  const char *why;    /**< said in the commit and in status.xml; NULL: a sentence of ours */
  unsigned wait_s;    /**< how long to wait for another writer [s], default 60 */
  void (*say)(const char *line, void *payload); /**< what was done, a line at a time; NULL: nobody listens */
  void *payload;
} plb_store_options;
#define PLB_STORE_OPTIONS_INIT {1, NULL, NULL, 60, NULL, NULL}

/**
 * Make a collection. The folder must not exist or be empty.
 * @param from  a plain folder laid out like a collection, copied into it; NULL: empty but for the types known to the program
 * @return PLB_OK, PLB_ECREATE, PLB_EDATA (something in `from` is no document of a collection), PLB_EIO
 */
PLB_API PLB_CHECKED plb_status plb_store_init(const char *folder, const char *from, const plb_store_options *options, plb_error *err);

/** @return PLB_OK, PLB_ENOINPUT (no collection there) */
PLB_API PLB_CHECKED plb_status plb_store_open(plb_store **out, const char *folder, const plb_store_options *options, plb_error *err);
PLB_API void plb_store_free(plb_store *store);

/** What belongs to the shop alone: kept in private.git, never sent. NULL: not stated. */
typedef struct plb_private_facts {
  const char *vehicle, *job, *person;
} plb_private_facts;

/** Add references (their XML) and captures (any format that is read), all of them in one commit. */
PLB_API PLB_CHECKED plb_status plb_store_add(plb_store *store, const char *const *paths, size_t count, const plb_private_facts *facts,
                                             plb_error *err);
/** Many references at once, into one pack. Folders are searched for .xml files. */
PLB_API PLB_CHECKED plb_status plb_store_import(plb_store *store, const char *const *paths, size_t count, plb_error *err);

/** @return PLB_OK, PLB_EREFUSED (the author approves their own, and the collection's settings do not allow it) */
PLB_API PLB_CHECKED plb_status plb_store_approve(plb_store *store, const char *selector, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_store_retire(plb_store *store, const char *selector, plb_error *err);
/** A reference or the id of a capture; says everything that rests on it. */
PLB_API PLB_CHECKED plb_status plb_store_withdraw(plb_store *store, const char *selector, plb_error *err);
/** Make an old version the newest one, as a draft. */
PLB_API PLB_CHECKED plb_status plb_store_restore(plb_store *store, const char *selector, plb_error *err);
/** Change a setting: "author-approves" yes|no. */
/**
 * Say the private facts of captures and cases, one a line.
 * @param word  the beginning of an id, or a vehicle tag, job number or person; NULL: all
 * @return PLB_OK, PLB_ENOINPUT (none of it), PLB_EDATA
 */
PLB_API PLB_CHECKED plb_status plb_store_tell_facts(plb_store *store, const char *word, plb_error *err);
/** Say what the setting `name` is now, or every setting where it is NULL. */
PLB_API PLB_CHECKED plb_status plb_store_tell_setting(plb_store *store, const char *name, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_store_set(plb_store *store, const char *name, const char *value, plb_error *err);

/** A proved fault. */
typedef struct plb_case {
  const char *type;   /**< slug or alias, required */
  const char *cause;  /**< required */
  const char *proof;  /**< how it was proved, required */
  const char *repair; /**< may be NULL */
  const char *before; /**< path or id of the faulty capture, required */
  const char *after;  /**< path or id of a capture after the repair; may be NULL */
  const char *departed; /**< selector of the reference it departed from; may be NULL */
  const char *verdict; /**< path of the verdict's JSON; may be NULL */
} plb_case;
/** Store a proved fault; its id is random. @return PLB_OK, PLB_EDATA, PLB_EBUSY, PLB_EIO */
PLB_API PLB_CHECKED plb_status plb_store_add_case(plb_store *store, const plb_case *input, const plb_private_facts *facts, plb_error *err);

/** Which side of a conflict is kept: the user's word, "mine", "theirs", "both" for all, or "type/name=mine" for one. */
typedef struct plb_store_keep {
  const char *const *words;
  size_t count;
} plb_store_keep;

/**
 * Take what another collection has (a path or any git URL). What arrives is checked in a child process before anything becomes visible.
 * @param conflicts_out  references changed on both sides for which nothing was said; then nothing is changed
 */
PLB_API PLB_CHECKED plb_status plb_store_fetch(plb_store *store, const char *url, const plb_store_keep *keep, size_t *conflicts_out,
                                               plb_error *err);
/**
 * Send the branch to another collection.
 * @param keep_mine  where it holds another document under a number of ours, ours takes its place (theirs stays in its history)
 * @return PLB_OK, PLB_EREFUSED (it has something we have not: fetch first; or another document under a number of ours), PLB_EUNAVAILABLE
 */
PLB_API PLB_CHECKED plb_status plb_store_send(plb_store *store, const char *url, bool keep_mine, plb_error *err);

typedef struct plb_store_check_result {
  size_t objects, packs, documents; /**< looked at */
  size_t damaged;                   /**< said, one line each */
} plb_store_check_result;
/** Read everything to its end. @return PLB_OK also with damage, PLB_EIO */
PLB_API PLB_CHECKED plb_status plb_store_check(plb_store *store, plb_store_check_result *out, plb_error *err);
/** Put loose objects into one pack. */
PLB_API PLB_CHECKED plb_status plb_store_pack(plb_store *store, plb_error *err);

/** Bring the derived index up to date; needs no author. */
PLB_API PLB_CHECKED plb_status plb_store_refresh_index(const char *folder, plb_error *err);

PLB_END_DECLS
#endif
