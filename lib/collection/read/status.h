#ifndef PLB_COLLECTION_STATUS_H
#define PLB_COLLECTION_STATUS_H
/** @file  The acts on a reference or capture: what status.xml says. Acts are only ever added; two copies merge by union. */
#include "core/core.h"
#include <plumbline/collection.h>

typedef struct plb_acts {
  plb_act *act;
  size_t count, capacity;
} plb_acts;

void plb_acts_dispose(plb_acts *acts);
/** Add one act unless the same is there; kept in order of time. @return PLB_OK, PLB_ENOMEM */
PLB_CHECKED plb_status plb_acts_add(plb_acts *acts, const plb_act *act, plb_error *err);
/** Read status.xml. `acts` must be initialised; what is read is added to it (union). */
PLB_CHECKED plb_status plb_acts_read(plb_acts *acts, const void *data, size_t size, plb_error *err);
/** Write status.xml. */
void plb_acts_write(const plb_acts *acts, plb_buffer *out);
/** One line an act, fields parted by tabs: how the index keeps them. */
void plb_acts_pack(const plb_acts *acts, plb_buffer *out);
PLB_CHECKED plb_status plb_acts_unpack(plb_acts *acts, const char *packed, plb_error *err);
/** What holds for a version after all acts; `last_out` (may be NULL) is the act that decided, NULL: none. */
plb_entry_status plb_acts_status(const plb_acts *acts, unsigned version, const plb_act **last_out);
/** The same straight from the packed lines, without allocating. */
plb_entry_status plb_packed_status(const char *packed, unsigned version);

#endif
