/* What a selector means, and loading it. */
#include "collection/read/collection.h"
#include "collection/read/status.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* First entry not before the key. */
static size_t lower_bound(const plb_collection *c, plb_path_kind kind, const char *name, unsigned version) {
  bool equal = false;
  const size_t row = plb_collection_search(c, kind, name, version, &equal);
  size_t low = 0, high = c->entries;
  while (low < high) {
    const size_t middle = low + (high - low) / 2;
    if (c->entry[middle] < row)
      low = middle + 1;
    else
      high = middle;
  }
  return low;
}

static size_t nearest_name(const plb_collection *c, const char *name, char *out, size_t size) {
  size_t best = 8;
  plb_entry e;
  for (size_t i = 0; plb_collection_entry(c, i, &e) && e.kind == PLB_ENTRY_REFERENCE; i++) {
    const size_t d = plb_text_distance(name, e.name);
    if (d < best) {
      best = d;
      snprintf(out, size, "%s", e.name);
    }
  }
  return best;
}

static plb_status no_such(const plb_collection *c, const char *name, plb_error *err) {
  char near[PLB_TEXT_SIZE] = "";
  nearest_name(c, name, near, sizeof near);
  if (near[0])
    return plb_fail(err, PLB_ENOINPUT, "there is no known-good %.120s in the collection; did you mean %.120s?", name, near);
  return plb_fail(err, PLB_ENOINPUT, "there is no known-good %.120s in the collection; \"plumb collection list\" shows what there is", name);
}

static plb_status select_reference(const plb_collection *c, const char *selector, plb_entry *out, plb_error *err) {
  char name[PLB_TEXT_SIZE];
  unsigned version = 0;
  const plb_status status = plb_selector_parse(selector, name, &version, err);
  if (status != PLB_OK)
    return status;
  plb_entry e, draft = {.version = 0}, approved = {.version = 0};
  bool any = false;
  for (size_t i = lower_bound(c, PLB_PATH_REFERENCE, name, 0); plb_collection_entry(c, i, &e); i++) {
    if (e.kind != PLB_ENTRY_REFERENCE || strcmp(e.name, name) != 0)
      break;
    any = true;
    if (version && e.version == version) {
      *out = e;
      return PLB_OK;
    }
    if (e.status == PLB_APPROVED)
      approved = e;
    else if (e.status == PLB_DRAFT)
      draft = e;
  }
  if (!any)
    return no_such(c, name, err);
  if (version)
    return plb_fail(err, PLB_ENOINPUT, "%.150s has no version %u; \"plumb collection history %.150s\" lists them", name, version, name);
  if (!approved.version && !draft.version)
    return plb_fail(err, PLB_ENOINPUT, "every version of %.150s is retired or withdrawn; name one with @ to use it all the same", name);
  *out = approved.version ? approved : draft;
  return PLB_OK;
}

static plb_status select_id(const plb_collection *c, const char *id, plb_entry *out, plb_error *err) {
  const size_t digits = strlen(id);
  size_t found = 0;
  plb_entry e;
  for (int k = 0; k < 2; k++)
    for (size_t i = lower_bound(c, k ? PLB_PATH_CASE : PLB_PATH_CAPTURE, id, 0); plb_collection_entry(c, i, &e); i++) {
      if (e.kind != (k ? PLB_ENTRY_CASE : PLB_ENTRY_CAPTURE) || strncmp(e.name, id, digits) != 0)
        break;
      if (found++ == 0)
        *out = e;
    }
  if (found == 1)
    return PLB_OK;
  return found ? plb_fail(err, PLB_EUSAGE, "more than one id begins with %.40s; give more digits", id)
               : plb_fail(err, PLB_ENOINPUT, "no capture and no case has the id %.40s", id);
}

static bool is_id(const char *text) {
  const size_t n = strlen(text);
  return n >= 8 && n <= 32 && plb_is_hex(text, n);
}

plb_status plb_collection_select(const plb_collection *c, const char *selector, plb_entry *out, plb_error *err) {
  return is_id(selector) ? select_id(c, selector, out, err) : select_reference(c, selector, out, err);
}

plb_status plb_entry_verify(const plb_entry *e, plb_error *err) {
  char hash[PLB_HASH_SIZE];
  plb_sha256(e->data ? e->data : "", e->size, hash);
  if (strcmp(hash, e->sha256) == 0)
    return PLB_OK;
  return plb_fail(err, PLB_EDATA, "the index has damaged bytes for %.300s; delete plumbline.index, it is made again", e->path);
}

static plb_status read_entry(plb_reference **out, const plb_entry *e, plb_error *err) {
  char shown[PLB_TEXT_SIZE + 16];
  snprintf(shown, sizeof shown, "%s@%u", e->name, e->version);
  const plb_status status = plb_entry_verify(e, err);
  return status == PLB_OK ? plb_reference_read_memory(out, e->data, e->size, shown, err) : status;
}

plb_status plb_collection_load(plb_reference **out, const char *selector, const char *named, char *status_out, plb_error *err) {
  *out = NULL;
  if (access(selector, F_OK) == 0) {
    if (status_out)
      snprintf(status_out, PLB_NAME_SIZE, "file");
    return plb_reference_read(out, selector, err);
  }
  char folder[PLB_PATH_SIZE], name[PLB_TEXT_SIZE];
  unsigned version = 0;
  plb_collection *c = NULL;
  plb_entry e;
  plb_status status = plb_selector_parse(selector, name, &version, err);
  if (status != PLB_OK && strstr(selector, ".xml"))
    return plb_fail_path(err, plb_fail(err, PLB_ENOINPUT, "there is no such file"), selector);
  if (status == PLB_OK)
    status = plb_collection_where(named, folder, NULL, err);
  if (status == PLB_OK)
    status = plb_collection_open_part(&c, folder, name, err);
  if (status == PLB_OK && c->entries == 0 && !c->index) { /* name the nearest one */
    plb_collection_free(c);
    status = plb_collection_open(&c, folder, err);
  }
  if (status == PLB_OK)
    status = select_reference(c, selector, &e, err);
  if (status == PLB_OK)
    status = read_entry(out, &e, err);
  if (status == PLB_OK && status_out)
    snprintf(status_out, PLB_NAME_SIZE, "%s", plb_entry_status_name(e.status));
  plb_collection_free(c);
  return status;
}
