#ifndef PLB_COLLECTION_TYPES_H
#define PLB_COLLECTION_TYPES_H
/** @file  types.xml, the list of sensor types that comes with the program, split into one document a type. */
#include "core/core.h"

/** Called with each type's path ("types/SLUG.xml") and document; not PLB_OK stops. */
typedef plb_status (*plb_type_sink)(const char *path, const char *data, size_t size, void *payload, plb_error *err);

PLB_CHECKED plb_status plb_types_split(const void *data, size_t size, plb_type_sink sink, void *payload, plb_error *err);

#endif
