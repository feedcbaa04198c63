#ifndef COLLECTION_FIXTURE_H
#define COLLECTION_FIXTURE_H
/** @file  References and captures to fill collections with; what they say depends on `seed` alone. */
#include "core/core.h"
#include "reference/model.h"

/** A whole, valid reference. @param exemplars  0: as the fixture has; more make the document larger (about 2 kB each) */
plb_reference *fixture_reference(const char *name, unsigned seed, size_t exemplars);
/** Its document, malloc'ed. */
char *fixture_document(const char *name, unsigned seed, size_t exemplars, size_t *size_out);
/** Write it to a file. */
void fixture_write(const char *path, const char *name, unsigned seed, size_t exemplars);

#endif
