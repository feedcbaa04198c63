#ifndef PLB_COLLECTION_INSPECT_H
#define PLB_COLLECTION_INSPECT_H
/** @file  From a document's bytes to its row in the index, through the strict readers: what does not fit its path is refused. */
#include "collection/read/index.h"

/** A row that owns its texts. `row.data` is borrowed from the caller. */
typedef struct plb_inspection {
  plb_row row;
  char path[PLB_PATH_SIZE], type[PLB_NAME_SIZE + 1], name[PLB_TEXT_SIZE], id[33], sha256[PLB_HASH_SIZE];
  plb_buffer title, conditions, captures, acts;
  /* set by whoever knows the commit */
  char author[PLB_TEXT_SIZE], when[PLB_NAME_SIZE], why[PLB_TEXT_SIZE], commit[PLB_COMMIT_SIZE];
} plb_inspection;

/**
 * @param out  dispose it after success or failure
 * @return PLB_OK, PLB_EDATA (not what the path says, malformed; err->path is the path), PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_inspect(plb_inspection *out, const char *path, const void *data, size_t size, plb_error *err);
/** Point the row at its texts; call it when the commit is known. The inspection must not move in memory afterwards. */
void plb_inspection_finish(plb_inspection *inspection);
void plb_inspection_dispose(plb_inspection *inspection);

#endif
