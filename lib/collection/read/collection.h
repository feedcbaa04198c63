#ifndef PLB_COLLECTION_COLLECTION_H
#define PLB_COLLECTION_COLLECTION_H
/** @file  An open collection: rows from the index or from a plain folder, seen as entries. */
#include "collection/read/index.h"
#include "collection/read/plain.h"

struct plb_collection {
  char folder[PLB_PATH_SIZE];
  plb_index *index; /**< NULL: a plain folder */
  plb_plain plain;
  size_t *entry;    /**< [entries] rows that are documents, not status */
  size_t entries;
};

/** Like plb_collection_open(); of a plain folder only one reference is read when `only` is not NULL. */
PLB_CHECKED plb_status plb_collection_open_part(plb_collection **out, const char *folder, const char *only, plb_error *err);

/** The commit the branch `main` of a bare repository is at, without libgit2; empty when there is none. @return false: no repository here */
bool plb_branch_commit(const char *folder, char out[PLB_COMMIT_SIZE]);

size_t plb_collection_rows(const plb_collection *c);
void plb_collection_row(const plb_collection *c, size_t i, plb_row *out);
size_t plb_collection_search(const plb_collection *c, plb_path_kind kind, const char *name, unsigned version, bool *equal_out);
/** The packed acts on a reference or capture, "" when there are none. */
const char *plb_collection_acts(const plb_collection *c, plb_path_kind status_kind, const char *name);

#endif
