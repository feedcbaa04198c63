#ifndef PLB_COLLECTION_PLAIN_H
#define PLB_COLLECTION_PLAIN_H
/** @file  A plain folder laid out like a collection: a clone, or the starter collection. Read file by file, nothing is kept. */
#include "collection/read/inspect.h"

typedef struct plb_plain {
  plb_inspection **file;
  size_t count, capacity;
} plb_plain;

/** @param only  a reference's "type/name": read its folder alone, and no others; NULL: everything */
PLB_CHECKED plb_status plb_plain_read(plb_plain *out, const char *folder, const char *only, plb_error *err);
void plb_plain_dispose(plb_plain *plain);

#endif
