#ifndef PLB_CORE_ALLOC_H
#define PLB_CORE_ALLOC_H
/** @file  Memory with checked sizes. Everything is freed with free(). */
#include <plumbline/types.h>
#include <stdlib.h>

/** `count` zeroed elements of `size` bytes; NULL when the product overflows or memory is short. count 0 gives a valid pointer. */
void *plb_calloc(size_t count, size_t size);

/** Like realloc for `count` elements of `size` bytes, with the product checked; NULL leaves `old` valid. */
void *plb_resize(void *old, size_t count, size_t size);

/**
 * Make room for one more element in a growable array: doubles `*capacity` when `used` has reached it.
 * @return the array, moved if need be; NULL when memory is short (`array` stays valid)
 */
void *plb_grow(void *array, size_t used, size_t *capacity, size_t size);

/** A copy of `text`, NULL when memory is short or text is NULL. */
char *plb_strdup(const char *text);

#endif
