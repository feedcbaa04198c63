/* Types are exact names: "crank" and "crank-inductive" are two shelves. Who meant the other one should learn of it at once. */
#include "type_note.h"
#include "message.h"
#include "option.h"

#include <plumbline/collection.h>

#include <stdlib.h>
#include <string.h>

/* Names borrowed from the collection, ended by NULL; NULL: no memory. */
static const char **type_names(const plb_collection *collection) {
  const size_t count = plb_collection_count(collection);
  const char **name = calloc(count + 1, sizeof *name);
  for (size_t i = 0, n = 0; name && i < count; i++) {
    plb_entry e;
    if (plb_collection_entry(collection, i, &e) && e.kind == PLB_ENTRY_TYPE)
      name[n++] = e.name;
  }
  return name;
}

/* A word with dashes for an alias written with blanks, a slip of the pen, or the beginning of a type. */
const char *cli_near_type(const plb_collection *collection, const char *word) {
  char spaced[PLB_TEXT_SIZE];
  size_t n = 0;
  for (; word[n] && n + 1 < sizeof spaced; n++)
    spaced[n] = word[n] == '-' ? ' ' : word[n];
  spaced[n] = '\0';
  const char *near = plb_collection_type(collection, spaced);
  const char **name = near ? NULL : type_names(collection);
  if (name && !near)
    near = cli_nearest(word, name);
  for (size_t i = 0; name && !near && n >= 3 && name[i]; i++)
    near = strncmp(name[i], word, n) == 0 ? name[i] : NULL;
  free(name);
  return near;
}

static void note(const plb_collection *collection, const char *type) {
  const char *slug = plb_collection_type(collection, type);
  if (slug && strcmp(slug, type) == 0)
    return;
  if (slug) {
    cli_note("--type %s is kept as it stands: types are exact names, and the collection calls this one %s; say --type %s to keep the two together",
             type, slug, slug);
    return;
  }
  const char *near = cli_near_type(collection, type);
  if (near)
    cli_note("--type %s is no type of the collection and is kept as it stands; if you meant %s, learn again with --type %s", type, near, near);
  else
    cli_note("--type %s is no type of the collection and is kept as it stands; \"plumb collection list --types\" shows those it has", type);
}

void cli_note_type(const char *type, const char *named) {
  char folder[PLB_PATH_SIZE];
  plb_collection *collection = NULL;
  if (plb_collection_where(named, folder, NULL, NULL) == PLB_OK && plb_collection_open(&collection, folder, NULL) == PLB_OK)
    note(collection, type);
  plb_collection_free(collection);
}
