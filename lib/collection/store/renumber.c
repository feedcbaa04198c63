/* Giving a document its number: only the root's attributes and the predecessor change, so that a person's own layout stays. */
#include "collection/store/store.h"
#include "reference/identity.h"

#include <stdio.h>
#include <string.h>

typedef struct span {
  size_t from, to;
} span;

static bool find_root(const char *data, size_t size, span *out) {
  size_t i = 0;
  while (i + 1 < size && !(data[i] == '<' && data[i + 1] >= 'a' && data[i + 1] <= 'z'))
    i++;
  const char *end = i + 1 < size ? memchr(data + i, '>', size - i) : NULL;
  if (!end)
    return false;
  *out = (span){i, (size_t)(end - data) + 1};
  return true;
}

/* The value between the quotes of an attribute of the tag. */
static bool find_value(const char *data, span tag, const char *name, span *out) {
  const size_t n = strlen(name);
  for (size_t i = tag.from + 1; i + n + 2 < tag.to; i++) {
    if (!strchr(" \t\r\n", data[i - 1]) || memcmp(data + i, name, n) != 0 || data[i + n] != '=' || data[i + n + 1] != '"')
      continue;
    const char *end = memchr(data + i + n + 2, '"', tag.to - (i + n + 2));
    *out = (span){i + n + 2, end ? (size_t)(end - data) : 0};
    return end != NULL;
  }
  return false;
}

static const char *find_text(const char *data, size_t size, const char *text) {
  const size_t n = strlen(text);
  for (const char *p = data; size >= n && p <= data + size - n; p++) {
    p = memchr(p, text[0], (size_t)(data + size - p) - n + 1);
    if (!p)
      return NULL;
    if (memcmp(p, text, n) == 0)
      return p;
  }
  return NULL;
}

/* Copy the body up to `<provenance`, without an old predecessor and with the new one in its place. */
static bool put_body(plb_buffer *out, const char *body, size_t size, const char *predecessor) {
  const char *provenance = find_text(body, size, "<provenance");
  if (!provenance)
    return false;
  const size_t head = (size_t)(provenance - body);
  const char *old = find_text(body, head, "<predecessor>"), *end = old ? find_text(body, head, "</predecessor>") : NULL;
  if (old && end) {
    const char *rest = end + strlen("</predecessor>");
    while (rest < provenance && strchr(" \t\r\n", *rest))
      rest++;
    plb_buffer_append(out, body, (size_t)(old - body));
    plb_buffer_append(out, rest, (size_t)(provenance - rest));
  } else {
    plb_buffer_append(out, body, head);
  }
  if (predecessor)
    plb_buffer_printf(out, "<predecessor>%s</predecessor>\n  ", predecessor);
  plb_buffer_append(out, provenance, size - head);
  return true;
}

void plb_predecessor_of(const char *data, size_t size, char *out) {
  const char *provenance = find_text(data, size, "<provenance"), *old = NULL, *end = NULL;
  out[0] = '\0';
  if (provenance)
    old = find_text(data, (size_t)(provenance - data), "<predecessor>");
  if (old)
    end = find_text(old, (size_t)(provenance - old), "</predecessor>");
  const char *first = old ? old + strlen("<predecessor>") : NULL;
  if (end && end - first < PLB_HASH_SIZE) {
    memcpy(out, first, (size_t)(end - first));
    out[end - first] = '\0';
  }
}

plb_status plb_name_of(const char *data, size_t size, char *out, plb_error *err) {
  span tag, at;
  if (!find_root(data, size, &tag) || !find_value(data, tag, "name", &at) || at.to - at.from >= PLB_TEXT_SIZE)
    return plb_fail(err, PLB_EDATA, "the document's first element has no name; get an undamaged copy");
  memcpy(out, data + at.from, at.to - at.from);
  out[at.to - at.from] = '\0';
  return PLB_OK;
}

plb_status plb_renumber(const char *data, size_t size, const char *name, unsigned version, const char *predecessor, plb_buffer *out,
                        plb_error *err) {
  span tag, at_version, at_name;
  char number[16], id[33];
  if (!find_root(data, size, &tag) || !find_value(data, tag, "version", &at_version) || !find_value(data, tag, "name", &at_name))
    return plb_fail(err, PLB_EDATA, "the document's first element has no name or no version; get an undamaged copy");
  const int digits = snprintf(number, sizeof number, "%u", version);
  const bool name_first = at_name.from < at_version.from;
  const span first = name_first ? at_name : at_version, second = name_first ? at_version : at_name;
  const char *kept = data + at_name.from;
  const char *new_name = name ? name : kept;
  const size_t name_size = name ? strlen(name) : at_name.to - at_name.from;
  plb_buffer_append(out, data, first.from);
  plb_buffer_append(out, name_first ? new_name : number, name_first ? name_size : (size_t)digits);
  plb_buffer_append(out, data + first.to, second.from - first.to);
  plb_buffer_append(out, name_first ? number : new_name, name_first ? (size_t)digits : name_size);
  plb_buffer_append(out, data + second.to, tag.to - second.to);
  if (!put_body(out, data + tag.to, size - tag.to, predecessor))
    return plb_fail(err, PLB_EDATA, "the document does not say where it comes from (provenance); get an undamaged copy");
  if (out->status != PLB_OK)
    return plb_fail(err, PLB_ENOMEM, "out of memory, or the document is larger than %d bytes", PLB_DOCUMENT_MOST);
  return plb_identity_set(out->data, out->size, id, err);
}
