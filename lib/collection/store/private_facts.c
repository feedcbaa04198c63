/* Vehicle tags, job numbers and people: in a repository of their own that nothing here ever sends. */
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

plb_status plb_private_put(plb_store *s, const char *id, const plb_private_facts *facts, plb_error *err) {
  char folder[PLB_PATH_SIZE], path[PLB_PATH_SIZE];
  if (snprintf(folder, sizeof folder, "%s/private.git", s->folder) >= (int)sizeof folder)
    return plb_fail(err, PLB_EUSAGE, "the collection's path is too long");
  plb_store *store = NULL;
  plb_change c = {0};
  plb_buffer b;
  plb_buffer_init(&b, PLB_SMALL_MOST);
  plb_buffer_printf(&b, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<private xmlns=\"" PLB_NS_PRIVATE "\" of=\"%s\">\n", id);
  put_fact(&b, "vehicle", facts->vehicle);
  put_fact(&b, "job", facts->job);
  put_fact(&b, "person", facts->person);
  plb_buffer_puts(&b, "</private>\n");
  snprintf(path, sizeof path, "facts/%.2s/%s.xml", id, id);
  plb_status status = make_private(folder, err);
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
