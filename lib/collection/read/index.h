#ifndef PLB_COLLECTION_INDEX_H
#define PLB_COLLECTION_INDEX_H
/**
 * @file  The derived index: one mapped file with a row for every path of the branch's newest commit and the documents' bytes. It can be
 * deleted at any time; plumb-store makes it again. Numbers are in the machine's own byte order: the file never travels.
 *
 * header (128 bytes)   1 magic "PLBINDEX"  2 byte-order mark and format  3 CRC-32 of the header with this field zero
 *                      4 bytes in use  5 offset of the newest segment  6 dead bytes  7 commit of the branch
 * segment              1 magic  2 number of rows  3 offset of the segment before it, 0: this one is complete by itself
 *                      4 bytes of strings  5 CRC-32 of rows and strings;  rows (sorted);  strings, each ended by NUL
 * documents            lie before the segment that mentions them
 * A newer segment's row replaces an older one's of the same key.
 */
#include "collection/read/layout.h"
#include "core/core.h"

typedef enum plb_row_text {
  PLB_ROW_PATH, PLB_ROW_TYPE, PLB_ROW_NAME, PLB_ROW_TITLE, PLB_ROW_ID, PLB_ROW_SHA256, PLB_ROW_PROVENANCE, PLB_ROW_CONDITIONS,
  PLB_ROW_CAPTURES, PLB_ROW_ACTS, PLB_ROW_AUTHOR, PLB_ROW_WHEN, PLB_ROW_WHY, PLB_ROW_COMMIT, PLB_ROW_TEXTS
} plb_row_text;

/** What the index keeps about one path. Texts and data are borrowed. */
typedef struct plb_row {
  plb_path_kind kind;
  unsigned version;
  size_t exemplars;
  const char *text[PLB_ROW_TEXTS];
  const void *data;
  size_t size;
} plb_row;

typedef struct plb_index plb_index;

/** Where the index of a collection lies. @param out  [size: PLB_PATH_SIZE] */
void plb_index_path(const char *folder, char *out);
/** Where it lies when the folder cannot be written: the user's cache. @return false when there is no such place */
bool plb_index_cache_path(const char *folder, char *out);

/** @return PLB_OK, PLB_ENOINPUT (no index, or one of another format), PLB_EDATA (damaged), PLB_ENOMEM */
PLB_CHECKED plb_status plb_index_open(plb_index **out, const char *path, plb_error *err);
void plb_index_free(plb_index *index);
const char *plb_index_commit(const plb_index *index);
size_t plb_index_count(const plb_index *index);
/** Rows come in the order of plb_row_compare(). */
void plb_index_row(const plb_index *index, size_t i, plb_row *out);
/** First row not before the key; equal_out tells whether it is the key. */
size_t plb_index_search(const plb_index *index, plb_path_kind kind, const char *name, unsigned version, bool *equal_out);
/** Every CRC and every document's SHA-256. @return PLB_OK or PLB_EDATA */
PLB_CHECKED plb_status plb_index_verify(const plb_index *index, plb_error *err);

/** References (versions, then status, name by name), captures, cases, types, settings. */
int plb_row_compare(plb_path_kind kind_a, const char *name_a, unsigned version_a, plb_path_kind kind_b, const char *name_b, unsigned version_b);

/** Write a whole new index beside and rename. Rows need not be sorted. */
PLB_CHECKED plb_status plb_index_write(const char *path, const char *commit, const plb_row *rows, size_t count, plb_error *err);
/** Add rows for a newer commit; compacts when half is dead. `old` is the index at `path`, as open. */
PLB_CHECKED plb_status plb_index_append(const char *path, const plb_index *old, const char *commit, const plb_row *rows, size_t count,
                                        plb_error *err);

#endif
