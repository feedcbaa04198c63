#ifndef PLB_COLLECTION_HELPER_H
#define PLB_COLLECTION_HELPER_H
/** @file  Running plumb-store, the program that writes to collections. */
#include "core/core.h"
#include <plumbline/collection.h>

/**
 * Run the helper and wait for it.
 * @param words  behind the program's name, ended by NULL
 * @param said_out  [size] the last line of its standard output and, after a failure, of its standard error; may be NULL
 * @param exit_out  its exit status
 */
PLB_CHECKED plb_status plb_helper_run(const char *const *words, char *said_out, size_t size, int *exit_out, plb_error *err);

#endif
