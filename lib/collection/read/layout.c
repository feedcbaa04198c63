/* Where everything lies inside a collection, and which paths are ours at all. */
#include "collection/read/layout.h"
#include "core/core.h"

#include <stdio.h>
#include <string.h>

enum { ID_DIGITS = 32 };

bool plb_is_hex(const char *text, size_t digits) {
  return strlen(text) == digits && strspn(text, "0123456789abcdef") == digits;
}

static bool ends_with(const char *text, const char *end) {
  const size_t n = strlen(text), m = strlen(end);
  return n >= m && strcmp(text + n - m, end) == 0;
}

/* A segment that looks like one of our files would hide it: ".xml" at the end of a segment is kept for files. */
bool plb_path_is_full_name(const char *name) {
  char copy[PLB_TEXT_SIZE];
  if (!plb_text_copy(copy, sizeof copy, name))
    return false;
  char *rest = strchr(copy, '/');
  if (!rest)
    return false;
  *rest++ = '\0';
  if (!plb_text_is_slug(copy) || !plb_text_is_name(rest))
    return false;
  for (char *segment = rest; segment;) {
    char *next = strchr(segment, '/');
    if (next)
      *next++ = '\0';
    if (ends_with(segment, ".xml") || ends_with(segment, ".lock"))
      return false;
    segment = next;
  }
  return true;
}

static bool take_name(plb_path *out, const char *from, size_t size) {
  if (size == 0 || size >= sizeof out->name)
    return false;
  memcpy(out->name, from, size);
  out->name[size] = '\0';
  return true;
}

static plb_path_kind parse_reference(const char *rest, plb_path *out) {
  const char *leaf = strrchr(rest, '/');
  if (!leaf || !take_name(out, rest, (size_t)(leaf - rest)) || !plb_path_is_full_name(out->name))
    return PLB_PATH_NONE;
  const size_t type = strcspn(out->name, "/");
  memcpy(out->type, out->name, type);
  out->type[type] = '\0';
  leaf++;
  if (strcmp(leaf, "status.xml") == 0)
    return PLB_PATH_STATUS;
  if (strlen(leaf) != 8 || strspn(leaf, "0123456789") != 4 || strcmp(leaf + 4, ".xml") != 0)
    return PLB_PATH_NONE;
  for (int i = 0; i < 4; i++)
    out->version = out->version * 10 + (unsigned)(leaf[i] - '0');
  return out->version > 0 ? PLB_PATH_REFERENCE : PLB_PATH_NONE;
}

static plb_path_kind parse_capture(const char *rest, plb_path *out) {
  const char *leaf = strchr(rest, '/');
  if (!leaf || leaf - rest != 2)
    return PLB_PATH_NONE;
  leaf++;
  const size_t id = strcspn(leaf, ".");
  if (id != ID_DIGITS || !take_name(out, leaf, id) || !plb_is_hex(out->name, ID_DIGITS) || strncmp(rest, leaf, 2) != 0)
    return PLB_PATH_NONE;
  if (strcmp(leaf + id, ".xml") == 0)
    return PLB_PATH_CAPTURE;
  return strcmp(leaf + id, ".status.xml") == 0 ? PLB_PATH_CAPTURE_STATUS : PLB_PATH_NONE;
}

static plb_path_kind parse_plain(const char *rest, plb_path *out, plb_path_kind kind) {
  if (!ends_with(rest, ".xml") || !take_name(out, rest, strlen(rest) - 4))
    return PLB_PATH_NONE;
  if (kind == PLB_PATH_CASE)
    return plb_is_hex(out->name, ID_DIGITS) ? kind : PLB_PATH_NONE;
  if (!plb_text_is_slug(out->name))
    return PLB_PATH_NONE;
  return plb_text_copy(out->type, sizeof out->type, out->name) ? kind : PLB_PATH_NONE;
}

plb_path_kind plb_path_parse(const char *path, plb_path *out) {
  memset(out, 0, sizeof *out);
  if (strncmp(path, "references/", 11) == 0)
    out->kind = parse_reference(path + 11, out);
  else if (strncmp(path, "captures/", 9) == 0)
    out->kind = parse_capture(path + 9, out);
  else if (strncmp(path, "cases/", 6) == 0)
    out->kind = parse_plain(path + 6, out, PLB_PATH_CASE);
  else if (strncmp(path, "types/", 6) == 0)
    out->kind = parse_plain(path + 6, out, PLB_PATH_TYPE);
  else if (strcmp(path, "settings.xml") == 0)
    out->kind = PLB_PATH_SETTINGS;
  return out->kind;
}

void plb_path_reference(const char *name, unsigned version, char *out) {
  snprintf(out, PLB_PATH_SIZE, "references/%s/%04u.xml", name, version);
}

void plb_path_status(const char *name, char *out) { snprintf(out, PLB_PATH_SIZE, "references/%s/status.xml", name); }

void plb_path_capture(const char *id, char *out) { snprintf(out, PLB_PATH_SIZE, "captures/%.2s/%s.xml", id, id); }

void plb_path_capture_status(const char *id, char *out) { snprintf(out, PLB_PATH_SIZE, "captures/%.2s/%s.status.xml", id, id); }

plb_status plb_selector_parse(const char *text, char name_out[PLB_TEXT_SIZE], unsigned *version_out, plb_error *err) {
  *version_out = 0;
  const char *at = strchr(text, '@');
  const size_t size = at ? (size_t)(at - text) : strlen(text);
  if (size < PLB_TEXT_SIZE) {
    memcpy(name_out, text, size);
    name_out[size] = '\0';
  }
  if (size >= PLB_TEXT_SIZE || !plb_path_is_full_name(name_out))
    return plb_fail(err, PLB_EUSAGE, "%.80s is no selector; write type/name or type/name@3, as \"plumb collection list\" shows them", text);
  if (!at)
    return PLB_OK;
  const size_t digits = strspn(at + 1, "0123456789");
  if (digits == 0 || digits > 4 || at[1 + digits] != '\0')
    return plb_fail(err, PLB_EUSAGE, "%.80s: the version behind @ is a number from 1 to %d", text, PLB_VERSION_MOST);
  for (size_t i = 1; i <= digits; i++)
    *version_out = *version_out * 10 + (unsigned)(at[i] - '0');
  return *version_out ? PLB_OK : plb_fail(err, PLB_EUSAGE, "%.80s: versions count from 1", text);
}
