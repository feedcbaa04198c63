/* The captures that a reference was learned from, as they lie in the collection. */
#include "collection/read/collection.h"
#include "reference/model.h"

#include <stdio.h>
#include <string.h>

static bool find_capture(const plb_collection *c, const char *sha256, plb_entry *out) {
  for (size_t i = 0; sha256[0] && plb_collection_entry(c, i, out); i++)
    if (out->kind == PLB_ENTRY_CAPTURE && strncmp(out->captures, sha256, PLB_HASH_SIZE - 1) == 0)
      return true;
  return false;
}

/* By the column the exemplars' files had, else by header, else by role. */
static plb_status assign_roles(plb_capture *capture, const plb_reference *r, plb_error *err) {
  plb_channel_map *maps = plb_calloc(r->channels + 1, sizeof *maps);
  if (!maps)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t i = 0; i < r->channels; i++) {
    const plb_reference_channel *channel = &r->channel[i];
    maps[i] = (plb_channel_map){.column = channel->column, .factor = 1};
    snprintf(maps[i].role, sizeof maps[i].role, "%s", channel->role);
    snprintf(maps[i].unit, sizeof maps[i].unit, "%s", channel->unit);
    snprintf(maps[i].header, sizeof maps[i].header, "%s", channel->header[0] ? channel->header : channel->role);
  }
  const plb_status status = plb_capture_assign(capture, maps, r->channels, err);
  free(maps);
  return status;
}

plb_status plb_collection_exemplar(const plb_collection *c, const plb_reference *reference, size_t exemplar, plb_capture **out,
                                   const char **group_out, plb_error *err) {
  *out = NULL;
  if (exemplar >= reference->exemplars)
    return plb_fail(err, PLB_EINVAL, "there is no such good capture");
  const plb_exemplar *e = &reference->exemplar[exemplar];
  plb_entry entry;
  if (!find_capture(c, e->sha256, &entry))
    return plb_fail(err, PLB_ENOINPUT, "the good capture %.150s is not stored in the collection; add its file with \"plumb collection add\"", e->name);
  if (entry.status == PLB_WITHDRAWN)
    return plb_fail(err, PLB_EREFUSED, "the good capture %.150s (%s) was withdrawn; leave it out", e->name, entry.name);
  plb_status status = plb_entry_verify(&entry, err);
  if (status == PLB_OK)
    status = plb_capture_read_document(out, entry.data, entry.size, entry.path, err);
  if (status == PLB_OK)
    status = assign_roles(*out, reference, err);
  if (status != PLB_OK) {
    plb_capture_free(*out);
    *out = NULL;
  }
  if (group_out)
    *group_out = e->group[0] ? e->group : NULL;
  return status;
}
