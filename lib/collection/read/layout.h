/**
 * collection/read: what is in a collection, read through a derived index, without libgit2. It knows paths, ids, versions, status and
 * the documents' bytes; it must not know how anything is scored, nor write anything but the index.
 */
#ifndef PLB_COLLECTION_LAYOUT_H
#define PLB_COLLECTION_LAYOUT_H
#include "reference/limits.h"
#include <plumbline/collection.h>

enum {
  PLB_SMALL_MOST = 1 << 20,     /**< [bytes] the largest status, case, type or settings file */
  PLB_VERSION_MOST = 9999,
  PLB_COMMIT_SIZE = 41
};

/** What a path inside a collection holds. */
typedef enum plb_path_kind {
  PLB_PATH_NONE, /**< no path of ours */
  PLB_PATH_REFERENCE, PLB_PATH_STATUS, PLB_PATH_CAPTURE, PLB_PATH_CAPTURE_STATUS, PLB_PATH_CASE, PLB_PATH_TYPE, PLB_PATH_SETTINGS
} plb_path_kind;

typedef struct plb_path {
  plb_path_kind kind;
  char type[PLB_NAME_SIZE + 1];
  char name[PLB_TEXT_SIZE]; /**< "type/name", an id, or a slug */
  unsigned version;
} plb_path;

/** Sort a path by its pattern; anything else is PLB_PATH_NONE. */
plb_path_kind plb_path_parse(const char *path, plb_path *out);
/** The path of one version. @param out  [size: PLB_PATH_SIZE] */
void plb_path_reference(const char *name, unsigned version, char *out);
void plb_path_status(const char *name, char *out);
void plb_path_capture(const char *id, char *out);
void plb_path_capture_status(const char *id, char *out);

/** "type/name[@version]"; version_out 0: none given. The name has a type and 1 to 3 further segments, none ending in ".xml". */
PLB_CHECKED plb_status plb_selector_parse(const char *text, char name_out[PLB_TEXT_SIZE], unsigned *version_out, plb_error *err);
/** True for a full name, "type/rest". */
bool plb_path_is_full_name(const char *name);
/** True for `digits` lower-case hexadecimal digits and nothing else. */
bool plb_is_hex(const char *text, size_t digits);

#endif
