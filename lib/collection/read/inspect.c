/* Every document is read by the reader of its kind; what it says of itself must fit where it lies. */
#include "collection/read/inspect.h"
#include "collection/read/small_xml.h"
#include "collection/read/status.h"
#include "reference/capture_document.h"
#include "reference/identity.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { TEXT_MOST = 1 << 20 };

static plb_status inspect_status(plb_inspection *out, const void *data, size_t size, plb_error *err) {
  plb_acts acts = {0};
  const plb_status status = plb_acts_read(&acts, data, size, err);
  if (status == PLB_OK)
    plb_acts_pack(&acts, &out->acts);
  plb_acts_dispose(&acts);
  return status;
}

/* An open end is written as a number beyond all measuring, so that ranges are searched in one way. */
static void put_condition(plb_buffer *out, const plb_condition *c) {
  static const double beyond = 1e99;
  const double low = isnan(c->low) ? -beyond : c->low, high = isnan(c->high) ? beyond : c->high;
  if (c->word[0])
    plb_buffer_printf(out, "%s=%s\n", c->name, c->word);
  else if (low == high)
    plb_buffer_printf(out, "%s=%.9g%s\n", c->name, low, c->unit);
  else
    plb_buffer_printf(out, "%s=%.9g..%.9g%s\n", c->name, low, high, c->unit);
}

/* A document whose id is not that of its content was tampered with, or edited by hand and not added again. */
static plb_status check_identity(const char *said, const void *data, size_t size, plb_error *err) {
  char id[33];
  const plb_status status = plb_identity_of(data, size, id, err);
  if (status == PLB_OK && strcmp(id, said) != 0)
    return plb_fail(err, PLB_EDATA, "the document's content has the id %s, but it says %.40s; get an undamaged copy", id, said);
  return status;
}

static plb_status inspect_reference(plb_inspection *out, const plb_path *path, const void *data, size_t size, plb_error *err) {
  plb_reference *r = NULL;
  plb_status status = plb_reference_read_memory(&r, data, size, out->path, err);
  if (status != PLB_OK)
    return status;
  if (strcmp(r->name, path->name) != 0 || strcmp(r->type, path->type) != 0 || r->version != path->version)
    status = plb_fail(err, PLB_EDATA, "the document calls itself %.150s@%u of type %s, which is not where it lies", r->name, r->version, r->type);
  if (status == PLB_OK)
    status = check_identity(r->id, data, size, err);
  plb_text_copy(out->id, sizeof out->id, r->id);
  plb_buffer_puts(&out->title, r->title ? r->title : "");
  out->row.text[PLB_ROW_PROVENANCE] = plb_provenance_name(r->provenance);
  out->row.exemplars = r->exemplars;
  for (size_t i = 0; i < r->conditions; i++)
    put_condition(&out->conditions, &r->condition[i]);
  for (size_t i = 0; i < r->exemplars; i++)
    if (r->exemplar[i].sha256[0])
      plb_buffer_printf(&out->captures, "%s\n", r->exemplar[i].sha256);
  plb_reference_free(r);
  return status;
}

static plb_status inspect_capture(plb_inspection *out, const plb_path *path, const void *data, size_t size, plb_error *err) {
  plb_capture *c = NULL;
  plb_capture_about about = {.id = ""};
  plb_status status = plb_capture_read_about(&c, &about, data, size, out->path, err);
  if (status == PLB_OK && strcmp(about.id, path->name) != 0)
    status = plb_fail(err, PLB_EDATA, "the capture's own id, %s, is not the one it lies under", about.id);
  if (status == PLB_OK)
    status = check_identity(about.id, data, size, err);
  if (status == PLB_OK) {
    plb_text_copy(out->id, sizeof out->id, about.id);
    plb_buffer_puts(&out->title, about.source);
    plb_buffer_printf(&out->captures, "%s\n", plb_capture_sha256(c));
    for (size_t i = 0; i < about.conditions; i++)
      put_condition(&out->conditions, &about.condition[i]);
  }
  plb_capture_about_dispose(&about);
  plb_capture_free(c);
  return status;
}

static plb_status inspect_type(plb_inspection *out, const plb_path *path, const void *data, size_t size, plb_error *err) {
  plb_small *small = NULL;
  plb_status status = plb_small_read(&small, data, size, "type", PLB_NS_TYPE, err);
  if (status == PLB_OK && strcmp(plb_small_attribute(plb_small_at(small, 0), "slug"), path->name) != 0)
    status = plb_fail(err, PLB_EDATA, "the type calls itself %.64s, which is not where it lies", plb_small_attribute(plb_small_at(small, 0), "slug"));
  if (status == PLB_OK && plb_small_text(small, "title")[0] == '\0')
    status = plb_fail(err, PLB_EDATA, "the type has no title");
  for (size_t i = 1; status == PLB_OK && i < plb_small_count(small); i++) {
    const plb_small_element *e = plb_small_at(small, i);
    if (strcmp(e->name, "alias") == 0)
      plb_buffer_printf(&out->conditions, "%s\n", e->text);
    else if (strcmp(e->name, "title") == 0)
      plb_buffer_puts(&out->title, e->text);
    else if (strcmp(e->name, "summary") != 0)
      status = plb_fail(err, PLB_EDATA, "a type has no %.40s", e->name);
  }
  plb_small_free(small);
  return status;
}

static plb_status inspect_case(plb_inspection *out, const plb_path *path, const void *data, size_t size, plb_error *err) {
  static const char *const known[] = {"title", "cause", "proof", "repair", "before", "after", "departed", "verdict"};
  plb_small *small = NULL;
  plb_status status = plb_small_read(&small, data, size, "case", PLB_NS_CASE, err);
  if (status != PLB_OK)
    return status;
  const plb_small_element *top = plb_small_at(small, 0);
  if (strcmp(plb_small_attribute(top, "id"), path->name) != 0 || !plb_text_is_slug(plb_small_attribute(top, "type")))
    status = plb_fail(err, PLB_EDATA, "the case's own id is not the one it lies under, or it names no type");
  else
    plb_text_copy(out->type, sizeof out->type, plb_small_attribute(top, "type"));
  for (size_t i = 1; status == PLB_OK && i < plb_small_count(small); i++) {
    const plb_small_element *e = plb_small_at(small, i);
    bool found = false;
    for (size_t k = 0; k < sizeof known / sizeof known[0]; k++)
      found = found || strcmp(known[k], e->name) == 0;
    if (!found)
      status = plb_fail(err, PLB_EDATA, "a case has no %.40s", e->name);
    else if (strcmp(e->name, "before") == 0 || strcmp(e->name, "after") == 0)
      plb_buffer_printf(&out->captures, "%s\n", plb_small_attribute(e, "capture"));
    else if (strcmp(e->name, "departed") == 0)
      plb_buffer_printf(&out->conditions, "departed=%s@%s\n", plb_small_attribute(e, "reference"), plb_small_attribute(e, "version"));
  }
  if (status == PLB_OK && (plb_small_text(small, "cause")[0] == '\0' || plb_small_text(small, "proof")[0] == '\0'))
    status = plb_fail(err, PLB_EDATA, "a case needs its cause and how it was proved");
  plb_text_copy(out->id, sizeof out->id, path->name);
  plb_buffer_puts(&out->title, plb_small_text(small, "cause"));
  plb_small_free(small);
  return status;
}

static plb_status inspect_settings(const void *data, size_t size, plb_error *err) {
  plb_small *small = NULL;
  plb_status status = plb_small_read(&small, data, size, "settings", PLB_NS_SETTINGS, err);
  for (size_t i = 1; status == PLB_OK && i < plb_small_count(small); i++) {
    const plb_small_element *e = plb_small_at(small, i);
    const char *value = plb_small_attribute(e, "value");
    if (strcmp(e->name, "setting") != 0 || strcmp(plb_small_attribute(e, "name"), "author-approves") != 0 ||
        (strcmp(value, "yes") != 0 && strcmp(value, "no") != 0))
      status = plb_fail(err, PLB_EDATA, "a setting that is not known, or with a value that is not; the one there is, author-approves, is yes or no");
  }
  plb_small_free(small);
  return status;
}

static plb_status inspect_kind(plb_inspection *out, const plb_path *path, const void *data, size_t size, plb_error *err) {
  switch (path->kind) {
  case PLB_PATH_REFERENCE: return inspect_reference(out, path, data, size, err);
  case PLB_PATH_STATUS:
  case PLB_PATH_CAPTURE_STATUS: return inspect_status(out, data, size, err);
  case PLB_PATH_CAPTURE: return inspect_capture(out, path, data, size, err);
  case PLB_PATH_CASE: return inspect_case(out, path, data, size, err);
  case PLB_PATH_TYPE: return inspect_type(out, path, data, size, err);
  case PLB_PATH_SETTINGS: return inspect_settings(data, size, err);
  case PLB_PATH_NONE: break;
  }
  return plb_fail(err, PLB_EDATA, "no place where a collection keeps anything");
}

plb_status plb_inspect(plb_inspection *out, const char *path, const void *data, size_t size, plb_error *err) {
  *out = (plb_inspection){.row = {.data = data, .size = size}};
  plb_buffer_init(&out->title, TEXT_MOST);
  plb_buffer_init(&out->conditions, TEXT_MOST);
  plb_buffer_init(&out->captures, TEXT_MOST);
  plb_buffer_init(&out->acts, 8 * TEXT_MOST);
  plb_path where;
  plb_status status = plb_path_parse(path, &where) != PLB_PATH_NONE && plb_text_copy(out->path, sizeof out->path, path)
                          ? PLB_OK
                          : plb_fail(err, PLB_EDATA, "%.200s is no place where a collection keeps anything", path);
  if (status == PLB_OK && size > PLB_DOCUMENT_MOST)
    status = plb_fail(err, PLB_EDATA, "larger than %d bytes", PLB_DOCUMENT_MOST);
  if (status != PLB_OK)
    return plb_fail_path(err, status, path);
  out->row.kind = where.kind;
  out->row.version = where.version;
  plb_text_copy(out->type, sizeof out->type, where.type);
  plb_text_copy(out->name, sizeof out->name, where.name);
  plb_sha256(data, size, out->sha256);
  status = inspect_kind(out, &where, data, size, err);
  if (status == PLB_OK && (out->title.status != PLB_OK || out->conditions.status != PLB_OK || out->captures.status != PLB_OK || out->acts.status != PLB_OK))
    status = plb_fail(err, PLB_ENOMEM, "out of memory, or texts beyond a mebibyte");
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, path);
}

/* The texts move into the row only now: the buffers have stopped growing. */
void plb_inspection_finish(plb_inspection *x) {
  const char *const texts[PLB_ROW_TEXTS] = {
      [PLB_ROW_PATH] = x->path, [PLB_ROW_TYPE] = x->type, [PLB_ROW_NAME] = x->name, [PLB_ROW_TITLE] = x->title.data,
      [PLB_ROW_ID] = x->id, [PLB_ROW_SHA256] = x->sha256, [PLB_ROW_PROVENANCE] = x->row.text[PLB_ROW_PROVENANCE],
      [PLB_ROW_CONDITIONS] = x->conditions.data, [PLB_ROW_CAPTURES] = x->captures.data, [PLB_ROW_ACTS] = x->acts.data,
      [PLB_ROW_AUTHOR] = x->author, [PLB_ROW_WHEN] = x->when, [PLB_ROW_WHY] = x->why, [PLB_ROW_COMMIT] = x->commit};
  memcpy(x->row.text, texts, sizeof texts);
  for (int i = 0; i < PLB_ROW_TEXTS; i++)
    if (!x->row.text[i])
      x->row.text[i] = "";
}

void plb_inspection_dispose(plb_inspection *x) {
  plb_buffer_dispose(&x->title);
  plb_buffer_dispose(&x->conditions);
  plb_buffer_dispose(&x->captures);
  plb_buffer_dispose(&x->acts);
}
