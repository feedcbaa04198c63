#ifndef PLB_COLLECTION_SMALL_XML_H
#define PLB_COLLECTION_SMALL_XML_H
/**
 * @file  The collection's small documents (status, types, cases, settings) and how they are read: from bytes, at most 1 MiB, no
 * DOCTYPE, no network, one known root element in one known namespace, attributes and plain text only.
 */
#include "core/core.h"

#define PLB_NS_STATUS "urn:plumbline:status:1"
#define PLB_NS_TYPE "urn:plumbline:type:1"
#define PLB_NS_CASE "urn:plumbline:case:1"
#define PLB_NS_SETTINGS "urn:plumbline:settings:1"
#define PLB_NS_PRIVATE "urn:plumbline:private:1"

/** One element with its attributes and text, flat: depth tells the nesting. */
typedef struct plb_small_element {
  const char *name;
  unsigned depth; /**< root 0 */
  const char *text; /**< of an element without children, never NULL */
  const char *attribute[8][2]; /**< name, value; name NULL ends */
} plb_small_element;

typedef struct plb_small plb_small;

/** @return PLB_OK, PLB_EDATA, PLB_ENOMEM */
PLB_CHECKED plb_status plb_small_read(plb_small **out, const void *data, size_t size, const char *root, const char *ns, plb_error *err);
void plb_small_free(plb_small *small);
size_t plb_small_count(const plb_small *small);
const plb_small_element *plb_small_at(const plb_small *small, size_t index);
/** @return the attribute's value, "" when it is not there */
const char *plb_small_attribute(const plb_small_element *element, const char *name);
/** The text of the first element of this name, "" when there is none. */
const char *plb_small_text(const plb_small *small, const char *name);

/** Namespace and local name of a document's root element, without parsing further; false: no XML of ours. */
bool plb_small_root(const void *data, size_t size, char root[PLB_NAME_SIZE], char ns[PLB_NAME_SIZE]);

#endif
