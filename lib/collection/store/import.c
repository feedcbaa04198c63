/* Many references at once: one pack, one commit. Documents that carry the right name and number go in as they are. */
#include "collection/read/small_xml.h"
#include "collection/store/folder.h"
#include "collection/store/store.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

enum { FILES_MOST = 1000000 };

typedef struct path_list {
  char **path;
  size_t count, capacity;
  bool well;
} path_list;

static bool add_path(const char *path, void *payload) {
  path_list *list = payload;
  const size_t n = strlen(path);
  if (n < 4 || strcmp(path + n - 4, ".xml") != 0 || strcmp(path + (n > 10 ? n - 10 : 0), "status.xml") == 0)
    return true;
  char **grown = list->count < FILES_MOST ? plb_grow(list->path, list->count, &list->capacity, sizeof(char *)) : NULL;
  if (grown)
    list->path = grown;
  list->well = grown && (list->path[list->count++] = plb_strdup(path)) != NULL;
  return list->well;
}

static int compare_paths(const void *a, const void *b) { return strcmp(*(char *const *)a, *(char *const *)b); }

static plb_status gather(path_list *list, const char *const *paths, size_t count, plb_error *err) {
  list->well = true;
  for (size_t i = 0; i < count && list->well; i++) {
    struct stat st;
    if (stat(paths[i], &st) != 0)
      return plb_fail_path(err, plb_fail(err, PLB_ENOINPUT, "there is no such file or folder"), paths[i]);
    if (S_ISDIR(st.st_mode))
      plb_folder_walk(paths[i], add_path, list);
    else
      add_path(paths[i], list);
  }
  if (!list->well)
    return plb_fail(err, PLB_ENOMEM, "out of memory, or more than %d files", FILES_MOST);
  if (list->count == 0)
    return plb_fail(err, PLB_ENOINPUT, "no .xml file is there to import");
  qsort(list->path, list->count, sizeof(char *), compare_paths); /* the same order, and so the same numbers, on every machine */
  return PLB_OK;
}

static plb_status take_file(plb_change *c, const char *path, plb_error *err) {
  char root[PLB_NAME_SIZE] = "", ns[PLB_NAME_SIZE] = "", stored[PLB_PATH_SIZE], *data = NULL, id[33];
  size_t size = 0;
  plb_status status = plb_file_read(path, PLB_DOCUMENT_MOST, &data, &size, err);
  if (status != PLB_OK)
    return status;
  if (plb_small_root(data, size, root, ns) && strcmp(root, "reference") == 0)
    status = plb_add_reference(c, data, size, path, NULL, stored, err);
  else if (strcmp(root, "capture") == 0)
    status = plb_add_capture(c, path, data, size, id, err);
  else
    plb_store_say(c->store, "passed over, neither a reference nor a capture: %s", path);
  free(data);
  return status;
}

/* A line for each of thousands of files helps nobody. */
static void silence(const char *line, void *payload) {
  (void)line;
  (void)payload;
}

plb_status plb_store_import(plb_store *s, const char *const *paths, size_t count, plb_error *err) {
  path_list list = {0};
  plb_change c = {0};
  char message[PLB_PATH_SIZE + 64];
  const plb_store_options options = s->options;
  plb_status status = gather(&list, paths, count, err);
  if (status == PLB_OK)
    status = plb_change_begin(&c, s, err);
  s->options.say = list.count > 20 ? silence : options.say;
  c.late = true;
  for (size_t i = 0; i < list.count && status == PLB_OK; i++) {
    c.source = list.path[i];
    status = take_file(&c, list.path[i], err);
  }
  s->options = options;
  if (status == PLB_OK)
    status = plb_change_inspect(&c, err);
  if (status == PLB_OK) {
    snprintf(message, sizeof message, "Import %zu documents%s%.900s", c.count, options.why ? ": " : "", options.why ? options.why : "");
    plb_store_say(s, "imported %zu documents from %zu files", c.count, list.count);
    status = plb_change_commit(&c, message, err);
  }
  plb_change_end(&c);
  for (size_t i = 0; i < list.count; i++)
    free(list.path[i]);
  free(list.path);
  return status;
}
