#include "reference/identity.h"
#include "core/core.h"

#include <stdlib.h>
#include <string.h>

typedef struct range {
  size_t from, to;
} range;

/* The root's tag: from its '<' to behind its '>'. Quoted '>' inside values is escaped in what we write, and a
   document in which it is not * only gets an id of its own. */
static bool find_root(const char *data, size_t size, range *out) {
  size_t i = 0;
  while (i + 1 < size && !(data[i] == '<' && data[i + 1] >= 'a' && data[i + 1] <= 'z'))
    i++;
  const char *end = i + 1 < size ? memchr(data + i, '>', size - i) : NULL;
  if (!end)
    return false;
  *out = (range){i, (size_t)(end - data) + 1};
  return true;
}

static bool is_blank(char c) { return c == ' ' || c == '\n' || c == '\t' || c == '\r'; }

/* An attribute of the tag: from the first blank before its name to behind its closing quote. */
static bool find_attribute(const char *data, range tag, const char *name, range *out) {
  const size_t n = strlen(name);
  for (size_t i = tag.from + 1; i + n + 2 < tag.to; i++) {
    if (!is_blank(data[i - 1]) || memcmp(data + i, name, n) != 0 || data[i + n] != '=' || data[i + n + 1] != '"')
      continue;
    const char *end = memchr(data + i + n + 2, '"', tag.to - (i + n + 2));
    size_t from = i;
    while (is_blank(data[from - 1]))
      from--;
    if (end)
      *out = (range){from, (size_t)(end - data) + 1};
    return end != NULL;
  }
  return false;
}

/* The bytes without both attributes, hashed. */
static plb_status hash_without(const char *data, size_t size, range first, range second, char out[33], plb_error *err) {
  char hash[PLB_HASH_SIZE];
  if (second.from < first.from) {
    const range other = first;
    first = second;
    second = other;
  }
  char *rest = malloc(size + 1);
  if (!rest)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  size_t n = 0;
  memcpy(rest, data, first.from);
  n += first.from;
  memcpy(rest + n, data + first.to, second.from - first.to);
  n += second.from - first.to;
  memcpy(rest + n, data + second.to, size - second.to);
  n += size - second.to;
  plb_sha256(rest, n, hash);
  free(rest);
  memcpy(out, hash, 32);
  out[32] = '\0';
  return PLB_OK;
}

static plb_status locate(const char *data, size_t size, range *id, range *date, plb_error *err) {
  range tag;
  if (!find_root(data, size, &tag) || !find_attribute(data, tag, "id", id))
    return plb_fail(err, PLB_EDATA, "the document's first element has no id; get an undamaged copy");
  if (!find_attribute(data, tag, "date", date))
    *date = (range){id->to, id->to};
  return PLB_OK;
}

plb_status plb_identity_of(const char *data, size_t size, char *out, plb_error *err) {
  range id, date;
  const plb_status status = locate(data, size, &id, &date, err);
  return status == PLB_OK ? hash_without(data, size, id, date, out, err) : status;
}

plb_status plb_identity_set(char *data, size_t size, char *out, plb_error *err) {
  range id, date;
  plb_status status = locate(data, size, &id, &date, err);
  if (status == PLB_OK && id.to - id.from < 32 + 2)
    status = plb_fail(err, PLB_EINTERNAL, "no room for the document's id");
  if (status == PLB_OK)
    status = hash_without(data, size, id, date, out, err);
  if (status == PLB_OK)
    memcpy(data + id.to - 33, out, 32);
  return status;
}
