#include "core/alloc.h"

#include <string.h>

static bool product_fits(size_t count, size_t size) { return size == 0 || count <= SIZE_MAX / size; }

void *plb_calloc(size_t count, size_t size) {
  if (!product_fits(count, size))
    return NULL;
  return count == 0 || size == 0 ? calloc(1, 1) : calloc(count, size);
}

void *plb_resize(void *old, size_t count, size_t size) {
  if (!product_fits(count, size))
    return NULL;
  const size_t bytes = count * size;
  return realloc(old, bytes > 0 ? bytes : 1);
}

void *plb_grow(void *array, size_t used, size_t *capacity, size_t size) {
  if (array && used < *capacity)
    return array;
  const size_t first = 8;
  if (*capacity > SIZE_MAX / 2)
    return NULL;
  const size_t wanted = *capacity < first / 2 ? first : *capacity * 2;
  void *moved = plb_resize(array, wanted, size);
  if (moved)
    *capacity = wanted;
  return moved;
}

char *plb_strdup(const char *text) {
  if (!text)
    return NULL;
  const size_t size = strlen(text) + 1;
  char *copy = malloc(size);
  if (copy)
    memcpy(copy, text, size);
  return copy;
}
