#ifndef PLB_REFERENCE_SCHEMA_H
#define PLB_REFERENCE_SCHEMA_H
/**
 * @file  The compiled schemas. They are used on writing, on arrival from elsewhere and in `check`, never on an
 * ordinary read: the strict reader refuses whatever they refuse.
 */
#include <plumbline/error.h>

/**
 * @param schema  "schema/reference.xsd" or "schema/capture.xsd"
 * @param name  stands for the path in messages
 * @return PLB_OK, PLB_EDATA (not valid, with line), PLB_ENOINPUT (the schema is not installed), PLB_EINTERNAL (the
 * schema is broken)
 */
PLB_CHECKED plb_status plb_schema_validate(const char *schema, const void *data, size_t size, const char *name,
                                           plb_error *err);

#endif
