/* Adding references and captures as new versions and documents. */
#include "collection/read/small_xml.h"
#include "collection/read/status.h"
#include "collection/store/store.h"
#include "reference/capture_document.h"
#include "reference/identity.h"
#include "reference/schema.h"

#include <stdio.h>
#include <string.h>

static unsigned newest_version(const plb_change *c, const char *name) {
  unsigned newest = plb_tree_newest(c->store, c->tree, name);
  for (size_t i = 0; i < c->count; i++)
    if (c->file[i]->row.kind == PLB_PATH_REFERENCE && strcmp(c->file[i]->name, name) == 0 && c->file[i]->row.version > newest)
      newest = c->file[i]->row.version;
  return newest;
}

/* What a version says apart from its number: two versions with the same words are one. */
static plb_status same_as_before(const char *old, size_t old_size, const char *data, size_t size, const char *name, bool *same, plb_error *err) {
  plb_buffer a, b;
  plb_buffer_init(&a, PLB_DOCUMENT_MOST);
  plb_buffer_init(&b, PLB_DOCUMENT_MOST);
  plb_status status = plb_renumber(old, old_size, name, 0, NULL, &a, err);
  if (status == PLB_OK)
    status = plb_renumber(data, size, name, 0, NULL, &b, err);
  *same = status == PLB_OK && a.size == b.size && memcmp(a.data, b.data, a.size) == 0;
  plb_buffer_dispose(&a);
  plb_buffer_dispose(&b);
  return status;
}

static plb_status put_numbered(plb_change *c, const char *data, size_t size, const char *name, unsigned version, const char *predecessor,
                               plb_error *err) {
  char path[PLB_PATH_SIZE];
  plb_buffer out;
  plb_buffer_init(&out, PLB_DOCUMENT_MOST);
  plb_path_reference(name, version, path);
  plb_status status = plb_renumber(data, size, name, version, predecessor, &out, err);
  if (status == PLB_OK)
    status = plb_change_put(c, path, out.data, out.size, err);
  if (status == PLB_OK && !c->late)
    status = plb_schema_validate("schema/reference.xsd", out.data, out.size, path, err);
  plb_buffer_dispose(&out);
  return status;
}

/* What is wrong is told by the file's own lines, before it was numbered. */
static plb_status tell_in_file(const char *data, size_t size, const char *path, plb_status status, plb_error *err) {
  plb_reference *r = NULL;
  plb_error own = PLB_ERROR_INIT;
  if (status == PLB_EDATA && plb_reference_read_memory(&r, data, size, path, &own) != PLB_OK && err)
    *err = own;
  plb_reference_free(r);
  return plb_fail_path(err, status, path);
}

plb_status plb_add_reference(plb_change *c, const char *data, size_t size, const char *path, const char *new_name, char *selector_out,
                             plb_error *err) {
  char *old = NULL, old_path[PLB_PATH_SIZE], hash[PLB_HASH_SIZE], own_name[PLB_TEXT_SIZE];
  size_t old_size = 0;
  bool same = false;
  plb_status status = plb_name_of(data, size, own_name, err);
  const char *name = new_name ? new_name : own_name;
  if (status == PLB_OK && !plb_path_is_full_name(name))
    status = plb_fail(err, PLB_EDATA, "%.150s cannot be a reference's name in a collection; use type/name, no part ending in .xml", name);
  const unsigned newest = status == PLB_OK ? newest_version(c, name) : 0;
  if (status == PLB_OK && newest >= PLB_VERSION_MOST)
    status = plb_fail(err, PLB_EDATA, "%.150s has %u versions, the most there can be; use a new name", name, newest);
  if (status == PLB_OK && newest) {
    plb_path_reference(name, newest, old_path);
    status = plb_change_get(c, old_path, &old, &old_size, err);
    if (status == PLB_OK)
      status = same_as_before(old, old_size, data, size, name, &same, err);
    plb_sha256(old ? old : "", old_size, hash);
  }
  if (status == PLB_OK && !same)
    status = put_numbered(c, data, size, name, newest + 1, newest ? hash : NULL, err);
  if (status == PLB_OK)
    snprintf(selector_out, PLB_PATH_SIZE, "%s@%u", name, same ? newest : newest + 1);
  if (status == PLB_OK && same)
    plb_store_say(c->store, "%s is there already, as %s", path, selector_out);
  else if (status == PLB_OK)
    plb_store_say(c->store, "stored %s, a draft until somebody approves it", selector_out);
  free(old);
  return status == PLB_OK ? PLB_OK : tell_in_file(data, size, path, status, err);
}

/* A document of ours goes in as it is; any other file that is read becomes one. */
static plb_status capture_document(const char *path, const char *data, size_t size, plb_buffer *out, char *id_out, plb_error *err) {
  char root[PLB_NAME_SIZE], ns[PLB_NAME_SIZE];
  plb_capture *capture = NULL;
  plb_status status = PLB_OK;
  if (plb_small_root(data, size, root, ns) && strcmp(root, "capture") == 0) {
    plb_buffer_append(out, data, size);
    status = plb_identity_of(data, size, id_out, err);
    if (status == PLB_OK)
      status = plb_schema_validate("schema/capture.xsd", data, size, path, err);
    return status == PLB_OK ? out->status : status;
  }
  status = plb_capture_read_memory(&capture, data, size, path, NULL, err);
  if (status == PLB_OK)
    status = plb_capture_write_buffer(capture, NULL, out, id_out, err);
  plb_capture_free(capture);
  return status;
}

plb_status plb_add_capture(plb_change *c, const char *path, const char *data, size_t size, char *id_out, plb_error *err) {
  char where[PLB_PATH_SIZE], *old = NULL;
  size_t old_size = 0;
  plb_buffer document;
  plb_error none = PLB_ERROR_INIT;
  plb_buffer_init(&document, PLB_DOCUMENT_MOST);
  plb_status status = capture_document(path, data, size, &document, id_out, err);
  if (status == PLB_OK) {
    plb_path_capture(id_out, where);
    if (plb_change_get(c, where, &old, &old_size, &none) == PLB_OK)
      plb_store_say(c->store, "%s is there already, as capture %s", path, id_out);
    else {
      status = plb_change_put(c, where, document.data, document.size, err);
      if (status == PLB_OK)
        plb_store_say(c->store, "stored capture %s (%s)", id_out, path);
    }
  }
  free(old);
  plb_buffer_dispose(&document);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, path);
}

typedef struct counts {
  size_t references, captures;
  char last[PLB_PATH_SIZE];
} counts;

enum { CAPTURE_FILE_MOST = 1 << 30 };

static plb_status add_file(plb_change *c, const char *path, const plb_private_facts *facts, counts *n, plb_error *err) {
  char root[PLB_NAME_SIZE] = "", ns[PLB_NAME_SIZE] = "", *data = NULL, id[33];
  size_t size = 0;
  plb_status status = plb_file_read(path, CAPTURE_FILE_MOST, &data, &size, err);
  if (status != PLB_OK)
    return status;
  if (plb_small_root(data, size, root, ns) && strcmp(root, "reference") == 0) {
    n->references++;
    status = plb_add_reference(c, data, size, path, NULL, n->last, err);
  } else {
    const char *slash = strrchr(path, '/');
    n->captures++;
    status = facts ? plb_private_check(facts, slash ? slash + 1 : path, "the file's name", err) : PLB_OK;
    if (status == PLB_OK)
      status = plb_add_capture(c, path, data, size, id, err);
    if (status == PLB_OK && facts && (facts->vehicle || facts->job || facts->person))
      status = plb_private_put(c->store, id, facts, err);
  }
  free(data);
  return status;
}

plb_status plb_store_add(plb_store *s, const char *const *paths, size_t count, const plb_private_facts *facts, plb_error *err) {
  plb_change c = {0};
  counts n = {0};
  char message[2 * PLB_PATH_SIZE];
  plb_status status = facts ? plb_private_check(facts, s->options.why, "--why", err) : PLB_OK;
  if (status == PLB_OK)
    status = plb_change_begin(&c, s, err);
  for (size_t i = 0; i < count && status == PLB_OK; i++)
    status = add_file(&c, paths[i], facts, &n, err);
  if (status == PLB_OK) {
    if (s->options.why)
      snprintf(message, sizeof message, "%.1000s", s->options.why);
    else if (n.references == 1 && n.captures == 0)
      snprintf(message, sizeof message, "Add %s", n.last);
    else
      snprintf(message, sizeof message, "Add %zu known-good and %zu captures", n.references, n.captures);
    status = plb_change_commit(&c, message, err);
  }
  plb_change_end(&c);
  return status;
}

plb_status plb_store_restore(plb_store *s, const char *selector, plb_error *err) {
  plb_change c = {0};
  char name[PLB_TEXT_SIZE], path[PLB_PATH_SIZE], stored[PLB_PATH_SIZE], message[2 * PLB_PATH_SIZE], *data = NULL;
  unsigned version = 0;
  size_t size = 0;
  plb_status status = plb_selector_parse(selector, name, &version, err);
  if (status == PLB_OK && version == 0)
    status = plb_fail(err, PLB_EUSAGE, "say which version to bring back: %.150s@2, for example", name);
  if (status == PLB_OK)
    status = plb_change_begin(&c, s, err);
  if (status == PLB_OK) {
    plb_path_reference(name, version, path);
    status = plb_change_get(&c, path, &data, &size, err);
  }
  if (status == PLB_OK)
    status = plb_add_reference(&c, data, size, selector, NULL, stored, err);
  if (status == PLB_OK) {
    snprintf(message, sizeof message, "restore %s as %s%s%s", selector, stored, s->options.why ? ": " : "", s->options.why ? s->options.why : "");
    status = plb_change_commit(&c, message, err);
  }
  plb_change_end(&c);
  free(data);
  return status;
}
