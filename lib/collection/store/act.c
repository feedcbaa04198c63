/* Acts on a version: approve, retire, withdraw; and the collection's settings. */
#include "collection/read/collection.h"
#include "collection/read/small_xml.h"
#include "collection/read/status.h"
#include "collection/store/store.h"

#include <stdio.h>
#include <string.h>

static const char setting_name[] = "author-approves";

bool plb_setting_author_approves(const plb_change *c) {
  char *data = NULL;
  size_t size = 0;
  plb_small *small = NULL;
  plb_error ignored = PLB_ERROR_INIT;
  bool may = false;
  if (plb_change_get(c, "settings.xml", &data, &size, &ignored) == PLB_OK &&
      plb_small_read(&small, data, size, "settings", PLB_NS_SETTINGS, &ignored) == PLB_OK)
    for (size_t i = 1; i < plb_small_count(small); i++)
      if (strcmp(plb_small_attribute(plb_small_at(small, i), "name"), setting_name) == 0)
        may = strcmp(plb_small_attribute(plb_small_at(small, i), "value"), "yes") == 0;
  plb_small_free(small);
  free(data);
  return may;
}

static void fill_act(plb_act *act, const plb_store *s, const char *kind, unsigned version) {
  *act = (plb_act){.version = version};
  git_signature *now = NULL;
  plb_error ignored = PLB_ERROR_INIT;
  snprintf(act->kind, sizeof act->kind, "%s", kind);
  snprintf(act->who, sizeof act->who, "%s", s->author);
  snprintf(act->why, sizeof act->why, "%s", s->options.why ? s->options.why : "");
  if (plb_author_signature(s->author, &now, &ignored) == PLB_OK)
    plb_time_text(now->when.time, act->when);
  git_signature_free(now);
}

/* Two acts in one second must still stand in the order they were done. */
static void step_time(plb_act *act, const plb_acts *acts) {
  int64_t last = 0;
  if (acts->count > 0 && strcmp(act->when, acts->act[acts->count - 1].when) <= 0 && plb_time_parse(acts->act[acts->count - 1].when, &last))
    plb_time_text(last + 1, act->when);
}

static plb_status put_act(plb_change *c, const char *path, plb_act *act, plb_error *err) {
  plb_acts acts = {0};
  char *data = NULL;
  size_t size = 0;
  plb_buffer out;
  plb_buffer_init(&out, PLB_SMALL_MOST);
  plb_error none = PLB_ERROR_INIT;
  plb_status status = plb_change_get(c, path, &data, &size, &none);
  if (status == PLB_OK)
    status = plb_acts_read(&acts, data, size, err);
  else
    status = status == PLB_ENOINPUT ? PLB_OK : plb_fail(err, status, "%s", none.message);
  if (status == PLB_OK) {
    step_time(act, &acts);
    status = plb_acts_add(&acts, act, err);
  }
  if (status == PLB_OK) {
    plb_acts_write(&acts, &out);
    status = out.status == PLB_OK ? plb_change_put(c, path, out.data, out.size, err) : plb_fail(err, PLB_EDATA, "too many acts on one reference");
  }
  plb_buffer_dispose(&out);
  plb_acts_dispose(&acts);
  free(data);
  return status;
}

static plb_status two_persons(plb_change *c, const plb_path *at, const char *path, plb_act *act, plb_error *err) {
  char author[PLB_TEXT_SIZE];
  const plb_status status = plb_version_author(c->store, path, author, err);
  if (status != PLB_OK)
    return status;
  act->own = plb_author_same(author, c->store->author);
  if (!act->own || plb_setting_author_approves(c))
    return PLB_OK;
  return plb_fail(err, PLB_EREFUSED,
                  "%.150s@%u was put in by %.100s, who cannot approve it; let a second person do it, or allow it with \"plumb collection set %s yes\"",
                  at->name, at->version, author, setting_name);
}

/* Resolve a selector under the lock: the version named, else the newest one. */
static plb_status find_version(plb_change *c, const char *selector, plb_path *out, char *path, plb_error *err) {
  *out = (plb_path){.kind = PLB_PATH_REFERENCE};
  plb_status status = plb_selector_parse(selector, out->name, &out->version, err);
  if (status != PLB_OK)
    return status;
  const unsigned newest = plb_tree_newest(c->store, c->tree, out->name);
  if (newest == 0)
    return plb_fail(err, PLB_ENOINPUT, "there is no known-good %.150s in the collection; \"plumb collection list\" shows what there is", out->name);
  if (out->version > newest)
    return plb_fail(err, PLB_ENOINPUT, "%.150s has no version %u; its newest is %u", out->name, out->version, newest);
  if (out->version == 0)
    out->version = newest;
  plb_path_reference(out->name, out->version, path);
  return PLB_OK;
}

static plb_status act_on(plb_store *s, const char *selector, const char *kind, const char *done, plb_error *err) {
  plb_change c = {0};
  plb_path at;
  plb_act act;
  char path[PLB_PATH_SIZE], message[PLB_PATH_SIZE];
  plb_status status = plb_change_begin(&c, s, err);
  if (status == PLB_OK)
    status = find_version(&c, selector, &at, path, err);
  if (status == PLB_OK) {
    fill_act(&act, s, kind, at.version);
    if (strcmp(kind, "approve") == 0)
      status = two_persons(&c, &at, path, &act, err);
  }
  if (status == PLB_OK) {
    plb_path_status(at.name, path);
    status = put_act(&c, path, &act, err);
  }
  if (status == PLB_OK) {
    snprintf(message, sizeof message, "%s %s@%u%s%s%s", kind, at.name, at.version, act.own ? " (own, by the collection's setting)" : "",
             act.why[0] ? ": " : "", act.why);
    status = plb_change_commit(&c, message, err);
  }
  if (status == PLB_OK)
    plb_store_say(s, "%s %s@%u, by %s%s", done, at.name, at.version, s->author, act.own ? ", its own author (the collection allows it)" : "");
  plb_change_end(&c);
  return status;
}

plb_status plb_store_approve(plb_store *s, const char *selector, plb_error *err) { return act_on(s, selector, "approve", "approved", err); }

/* Without a version, what serves is meant: the newest approved one, not a draft that waits beside it. */
plb_status plb_store_retire(plb_store *s, const char *selector, plb_error *err) {
  char exact[PLB_TEXT_SIZE + 16];
  plb_collection *c = NULL;
  plb_entry e;
  plb_status status = plb_store_refresh_index(s->folder, err);
  if (status == PLB_OK)
    status = plb_collection_open(&c, s->folder, err);
  if (status == PLB_OK)
    status = plb_collection_select(c, selector, &e, err);
  if (status == PLB_OK && e.kind != PLB_ENTRY_REFERENCE)
    status = plb_fail(err, PLB_EUSAGE, "only a known-good is retired, as type/name; a capture is withdrawn");
  if (status == PLB_OK) {
    snprintf(exact, sizeof exact, "%s@%u", e.name, e.version);
    status = act_on(s, exact, "retire", "retired", err);
  }
  plb_collection_free(c);
  return status;
}

/* A reference rests on a capture, and a case with its verdict on the reference: each is said once. */
static plb_status say_resting(plb_store *s, const plb_collection *c, const plb_entry *e, bool *said, size_t *count_out, plb_error *err) {
  size_t *list = NULL, count = 0;
  plb_status status = plb_collection_rests_on(c, e, &list, &count, err);
  for (size_t i = 0; i < count && status == PLB_OK; i++) {
    plb_entry on;
    if (said[list[i]] || !plb_collection_entry(c, list[i], &on))
      continue;
    said[list[i]] = true;
    ++*count_out;
    if (on.kind == PLB_ENTRY_CASE)
      plb_store_say(s, "rests on it: case %s (%s), with its verdict", on.name, on.title);
    else
      plb_store_say(s, "rests on it: %s@%u, %s", on.name, on.version, plb_entry_status_name(on.status));
    if (on.kind == PLB_ENTRY_REFERENCE)
      status = say_resting(s, c, &on, said, count_out, err);
  }
  free(list);
  return status;
}

static plb_status say_what_rests(plb_store *s, const plb_collection *c, const plb_entry *e, plb_error *err) {
  size_t entries = 0, count = 0;
  for (plb_entry each; plb_collection_entry(c, entries, &each);)
    entries++;
  bool *said = plb_calloc(entries + 1, sizeof *said);
  const plb_status status = said ? say_resting(s, c, e, said, &count, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK && count == 0)
    plb_store_say(s, "nothing in the collection rests on it");
  free(said);
  return status;
}

static plb_status withdraw_capture(plb_store *s, const plb_entry *e, plb_error *err) {
  plb_change c = {0};
  plb_act act;
  char path[PLB_PATH_SIZE], message[PLB_PATH_SIZE];
  plb_status status = plb_change_begin(&c, s, err);
  if (status == PLB_OK) {
    fill_act(&act, s, "withdraw", 0);
    plb_path_capture_status(e->name, path);
    status = put_act(&c, path, &act, err);
  }
  if (status == PLB_OK) {
    snprintf(message, sizeof message, "withdraw capture %s%s%s", e->name, act.why[0] ? ": " : "", act.why);
    status = plb_change_commit(&c, message, err);
  }
  plb_change_end(&c);
  if (status == PLB_OK)
    plb_store_say(s, "withdrawn capture %s, by %s", e->name, s->author);
  return status;
}

plb_status plb_store_withdraw(plb_store *s, const char *selector, plb_error *err) {
  plb_collection *c = NULL;
  plb_entry e;
  plb_status status = plb_store_refresh_index(s->folder, err);
  if (status == PLB_OK)
    status = plb_collection_open(&c, s->folder, err);
  if (status == PLB_OK)
    status = plb_collection_select(c, selector, &e, err);
  if (status == PLB_OK && e.kind == PLB_ENTRY_CASE)
    status = plb_fail(err, PLB_EUSAGE, "a case is kept for good; withdraw the capture or the reference it speaks of");
  if (status == PLB_OK && e.kind == PLB_ENTRY_CAPTURE)
    status = withdraw_capture(s, &e, err);
  else if (status == PLB_OK) {
    char exact[PLB_TEXT_SIZE + 16];
    snprintf(exact, sizeof exact, "%s@%u", e.name, e.version);
    status = act_on(s, exact, "withdraw", "withdrawn", err);
  }
  if (status == PLB_OK)
    status = say_what_rests(s, c, &e, err);
  plb_collection_free(c);
  return status;
}

static plb_status check_setting(const char *name, plb_error *err) {
  return strcmp(name, setting_name) == 0 ? PLB_OK
                                         : plb_fail(err, PLB_EUSAGE, "there is no setting %.60s; the only one is %s", name, setting_name);
}

plb_status plb_store_tell_setting(plb_store *s, const char *name, plb_error *err) {
  plb_change c = {0};
  plb_status status = check_setting(name ? name : setting_name, err);
  if (status != PLB_OK)
    return status;
  status = plb_change_begin(&c, s, err);
  if (status == PLB_OK)
    plb_store_say(s, "%s is %s", setting_name, plb_setting_author_approves(&c) ? "yes" : "no");
  plb_change_end(&c);
  return status;
}

plb_status plb_store_set(plb_store *s, const char *name, const char *value, plb_error *err) {
  plb_status status = check_setting(name, err);
  if (status != PLB_OK)
    return status;
  if (strcmp(value, "yes") != 0 && strcmp(value, "no") != 0)
    return plb_fail(err, PLB_EUSAGE, "%s is yes or no, not %.60s", setting_name, value);
  char text[512], message[128];
  snprintf(text, sizeof text, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<settings xmlns=\"" PLB_NS_SETTINGS "\">\n  <setting name=\"%s\" value=\"%s\"/>\n</settings>\n", name, value);
  snprintf(message, sizeof message, "set %s to %s", name, value);
  plb_change c = {0};
  status = plb_change_begin(&c, s, err);
  if (status == PLB_OK)
    status = plb_change_put(&c, "settings.xml", text, strlen(text), err);
  if (status == PLB_OK)
    status = plb_change_commit(&c, message, err);
  plb_change_end(&c);
  if (status == PLB_OK)
    plb_store_say(s, "%s is now %s", name, value);
  return status;
}
