/* Vehicle tags, job numbers and people: kept in a repository of their own that nothing here ever sends, and told on request. */
#include "collection/read/small_xml.h"
#include "collection/store/folder.h"
#include "collection/store/store.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

static plb_status make_private(const char *folder, plb_error *err) {
  char making[PLB_PATH_SIZE + 32];
  if (access(folder, F_OK) == 0)
    return PLB_OK;
  snprintf(making, sizeof making, "%s.making", folder);
  plb_folder_remove(making); /* a killed one; we hold the collection's lock */
  plb_status status = plb_store_make(making, err);
  if (status == PLB_OK && rename(making, folder) != 0)
    status = plb_fail(err, PLB_ECREATE, "the private repository cannot be made");
  return status;
}

static void put_fact(plb_buffer *b, const char *name, const char *value) {
  if (!value)
    return;
  plb_buffer_printf(b, "  <%s>", name);
  plb_buffer_escape(b, value);
  plb_buffer_printf(b, "</%s>\n", name);
}

static bool is_part_of_word(char c) { return isalnum((unsigned char)c) || (unsigned char)c >= 0x80; }

/* As a word of its own, capitals aside: job 47 does not stand in 1470. */
static bool tells(const char *text, const char *fact) {
  enum { SHORTEST = 3 };
  const size_t n = strlen(fact);
  if (n < SHORTEST)
    return false;
  for (const char *at = text; *at; at++)
    if (strncasecmp(at, fact, n) == 0 && (at == text || !is_part_of_word(at[-1])) && !is_part_of_word(at[n]))
      return true;
  return false;
}

plb_status plb_private_check(const plb_private_facts *facts, const char *text, const char *what, plb_error *err) {
  const struct {
    const char *name, *value;
  } fact[] = {{"vehicle tag", facts->vehicle}, {"job number", facts->job}, {"person", facts->person}};
  for (size_t i = 0; text && i < sizeof fact / sizeof fact[0]; i++)
    if (fact[i].value && tells(text, fact[i].value))
      return plb_fail(err, PLB_EREFUSED, "%s tells the %s, which is private, and would go along when the collection is sent: %.120s; give it other words",
                      what, fact[i].name, text);
  return PLB_OK;
}

static plb_status private_folder(const plb_store *s, char folder[PLB_PATH_SIZE], plb_error *err) {
  return snprintf(folder, PLB_PATH_SIZE, "%s/private.git", s->folder) < PLB_PATH_SIZE
             ? PLB_OK
             : plb_fail(err, PLB_EUSAGE, "the collection's path is too long");
}

plb_status plb_private_put(plb_store *s, const char *id, const plb_private_facts *facts, plb_error *err) {
  char folder[PLB_PATH_SIZE], path[PLB_PATH_SIZE];
  plb_store *store = NULL;
  plb_change c = {0};
  plb_buffer b;
  plb_status status = private_folder(s, folder, err);
  if (status != PLB_OK)
    return status;
  plb_buffer_init(&b, PLB_SMALL_MOST);
  plb_buffer_printf(&b, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<private xmlns=\"" PLB_NS_PRIVATE "\" of=\"%s\">\n", id);
  put_fact(&b, "vehicle", facts->vehicle);
  put_fact(&b, "job", facts->job);
  put_fact(&b, "person", facts->person);
  plb_buffer_puts(&b, "</private>\n");
  snprintf(path, sizeof path, "facts/%.2s/%s.xml", id, id);
  status = make_private(folder, err);
  if (status == PLB_OK)
    status = plb_store_open_at(&store, folder, &s->options, err);
  if (status == PLB_OK) {
    plb_text_copy(store->author, sizeof store->author, s->author);
    status = plb_change_begin(&c, store, err);
    c.raw = true;
  }
  if (status == PLB_OK)
    status = plb_change_put(&c, path, b.data, b.size, err);
  if (status == PLB_OK)
    status = plb_change_commit(&c, "Keep what belongs to the shop alone", err);
  if (store)
    plb_change_end(&c);
  plb_store_free(store);
  plb_buffer_dispose(&b);
  return status;
}

typedef struct asked {
  plb_store *ours, *store; /**< the collection, which speaks; its private repository */
  const git_tree *tree;
  const char *word; /**< NULL: all */
  size_t told;
  plb_error *err;
} asked;

static void tell(asked *a, const plb_small *small) {
  const char *id = plb_small_attribute(plb_small_at(small, 0), "of");
  const char *vehicle = plb_small_text(small, "vehicle"), *job = plb_small_text(small, "job"), *person = plb_small_text(small, "person");
  if (a->word && strncmp(id, a->word, strlen(a->word)) != 0 && strcasecmp(vehicle, a->word) != 0 && strcasecmp(job, a->word) != 0 &&
      strcasecmp(person, a->word) != 0)
    return;
  a->told++;
  plb_store_say(a->ours, "%s%s%s%s%s%s%s", id, *vehicle ? "  vehicle " : "", vehicle, *job ? "  job " : "", job, *person ? "  person " : "",
                person);
}

static int tell_file(const char *folder, const git_tree_entry *entry, void *payload) {
  asked *a = payload;
  char path[PLB_PATH_SIZE];
  char *data = NULL;
  size_t size = 0;
  plb_small *small = NULL;
  if (git_tree_entry_type(entry) != GIT_OBJECT_BLOB)
    return 0;
  plb_status status = snprintf(path, sizeof path, "%s%s", folder, git_tree_entry_name(entry)) < (int)sizeof path
                          ? plb_tree_read(a->store, a->tree, path, &data, &size, a->err)
                          : plb_fail(a->err, PLB_EDATA, "a path in the private repository is too long");
  if (status == PLB_OK)
    status = plb_small_read(&small, data, size, "private", PLB_NS_PRIVATE, a->err);
  if (status == PLB_OK)
    tell(a, small);
  plb_small_free(small);
  free(data);
  return status == PLB_OK ? 0 : GIT_EUSER;
}

plb_status plb_store_tell_facts(plb_store *s, const char *word, plb_error *err) {
  char folder[PLB_PATH_SIZE];
  plb_store *store = NULL;
  plb_change c = {0};
  plb_status status = private_folder(s, folder, err);
  if (status == PLB_OK && access(folder, F_OK) != 0) {
    plb_store_say(s, "nothing private is kept here");
    return PLB_OK;
  }
  if (status == PLB_OK)
    status = plb_store_open_at(&store, folder, &s->options, err);
  if (status == PLB_OK)
    status = plb_change_begin(&c, store, err);
  asked a = {s, store, c.tree, word, 0, err};
  if (status == PLB_OK && c.tree && git_tree_walk(c.tree, GIT_TREEWALK_PRE, tell_file, &a) != 0)
    status = err->status != PLB_OK ? err->status : plb_fail(err, PLB_EDATA, "the private repository cannot be read");
  if (status == PLB_OK && a.told == 0)
    status = plb_fail(err, PLB_ENOINPUT, "nothing private is kept of %.100s; say a capture's or case's id, a vehicle tag, a job number or a person",
                      word ? word : "anything");
  if (store)
    plb_change_end(&c);
  plb_store_free(store);
  return status;
}
