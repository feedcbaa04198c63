/* Trees: git's folders. They are written by the durable writer of object.c, so they are put together here. */
#include "collection/store/store.h"

#include <stdio.h>
#include <string.h>

typedef struct tree_item {
  char name[PLB_NAME_SIZE + 16];
  git_filemode_t mode;
  git_oid id;
} tree_item;

typedef struct tree_list {
  tree_item *item;
  size_t count, capacity;
} tree_list;

/** Where trees go: into the store at once, or onto a list. */
typedef struct tree_maker {
  plb_store *store;
  plb_made_trees *made; /**< NULL: into the store */
} tree_maker;

/* Git sorts a folder as if its name ended in a slash. */
static int compare_items(const void *a, const void *b) {
  const tree_item *x = a, *y = b;
  const size_t n = strlen(x->name), m = strlen(y->name), least = n < m ? n : m;
  const int c = memcmp(x->name, y->name, least);
  if (c)
    return c;
  const int end_x = n > least ? (unsigned char)x->name[least] : x->mode == GIT_FILEMODE_TREE ? '/' : 0;
  const int end_y = m > least ? (unsigned char)y->name[least] : y->mode == GIT_FILEMODE_TREE ? '/' : 0;
  return end_x - end_y;
}

static plb_status list_tree(tree_list *list, const git_tree *base, size_t more, plb_error *err) {
  const size_t n = base ? git_tree_entrycount(base) : 0;
  list->capacity = n + more;
  list->item = plb_calloc(list->capacity + 1, sizeof *list->item);
  if (!list->item)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t i = 0; i < n; i++) {
    const git_tree_entry *e = git_tree_entry_byindex(base, i);
    tree_item *item = &list->item[list->count++];
    if (!plb_text_copy(item->name, sizeof item->name, git_tree_entry_name(e)))
      return plb_fail(err, PLB_EDATA, "the collection holds a name that is too long; \"plumb collection check\" tells more");
    item->mode = git_tree_entry_filemode(e);
    item->id = *git_tree_entry_id(e);
  }
  return PLB_OK;
}

/* Items from the base are sorted, what is new stands behind them. */
static tree_item *find_item(tree_list *list, size_t sorted, const char *name, size_t size) {
  for (size_t i = sorted; i < list->count; i++)
    if (strncmp(list->item[i].name, name, size) == 0 && list->item[i].name[size] == '\0')
      return &list->item[i];
  for (int folder = 0; folder < 2; folder++) { /* the same name sorts elsewhere as a folder */
    tree_item key = {.mode = folder ? GIT_FILEMODE_TREE : GIT_FILEMODE_BLOB};
    snprintf(key.name, sizeof key.name, "%.*s", (int)size, name);
    tree_item *found = bsearch(&key, list->item, sorted, sizeof key, compare_items);
    if (found)
      return found;
  }
  return NULL;
}

/* @param b  moves into the list */
static plb_status keep_tree(plb_made_trees *made, plb_buffer *b, git_oid *out, plb_error *err) {
  plb_made_tree *grown = plb_grow(made->tree, made->count, &made->capacity, sizeof *grown);
  if (!grown)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  made->tree = grown;
  if (git_odb_hash(out, b->data, b->size, GIT_OBJECT_TREE) < 0)
    return plb_git_fail(err, PLB_EINTERNAL, "no hash");
  grown[made->count++] = (plb_made_tree){*out, b->data, b->size};
  b->data = NULL;
  return PLB_OK;
}

static plb_status put_tree(const tree_maker *m, plb_buffer *b, git_oid *out, plb_error *err) {
  if (b->status != PLB_OK)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  if (m->made && b->data)
    return keep_tree(m->made, b, out, err);
  return plb_store_put(m->store, GIT_OBJECT_TREE, b->data ? b->data : "", b->size, out, err);
}

static int compare_trees(const void *a, const void *b) { return git_oid_cmp(&((const plb_made_tree *)a)->id, &((const plb_made_tree *)b)->id); }

/* A pack holds each object once. */
static void drop_doubles(plb_made_trees *made) {
  size_t kept = 0;
  qsort(made->tree, made->count, sizeof *made->tree, compare_trees);
  for (size_t i = 0; i < made->count; i++)
    if (kept && git_oid_equal(&made->tree[kept - 1].id, &made->tree[i].id))
      free(made->tree[i].data);
    else
      made->tree[kept++] = made->tree[i];
  made->count = kept;
}

void plb_made_trees_dispose(plb_made_trees *made) {
  for (size_t i = 0; i < made->count; i++)
    free(made->tree[i].data);
  free(made->tree);
  *made = (plb_made_trees){0};
}

static plb_status store_list(const tree_maker *m, tree_list *list, git_oid *out, plb_error *err) {
  qsort(list->item, list->count, sizeof *list->item, compare_items);
  plb_buffer b;
  plb_buffer_init(&b, SIZE_MAX / 2);
  for (size_t i = 0; i < list->count; i++) {
    plb_buffer_printf(&b, "%o %s", (unsigned)list->item[i].mode, list->item[i].name);
    plb_buffer_append(&b, "", 1);
    plb_buffer_append(&b, list->item[i].id.id, GIT_OID_RAWSZ);
  }
  const plb_status status = put_tree(m, &b, out, err);
  plb_buffer_dispose(&b);
  return status;
}

static plb_status apply(const tree_maker *m, const git_tree *base, const plb_put_file *files, size_t count, size_t skip, git_oid *out, plb_error *err);

static plb_status apply_folder(const tree_maker *m, const tree_item *old, const plb_put_file *files, size_t count, size_t skip, git_oid *out,
                               plb_error *err) {
  git_tree *tree = NULL;
  if (old && old->mode == GIT_FILEMODE_TREE && git_tree_lookup(&tree, m->store->repository, &old->id) < 0)
    return plb_git_fail(err, PLB_EDATA, "a folder of the collection cannot be read; \"plumb collection check\" tells more");
  const plb_status status = apply(m, tree, files, count, skip, out, err);
  git_tree_free(tree);
  return status;
}

/* All files share their first `skip` bytes; sorted, so that those of one folder stand together. */
static plb_status apply(const tree_maker *m, const git_tree *base, const plb_put_file *files, size_t count, size_t skip, git_oid *out, plb_error *err) {
  tree_list list = {0};
  plb_status status = list_tree(&list, base, count, err);
  const size_t sorted = list.count;
  for (size_t first = 0, last; first < count && status == PLB_OK; first = last) {
    const char *name = files[first].path + skip;
    const size_t size = strcspn(name, "/");
    for (last = first + 1; last < count && strncmp(files[last].path + skip, name, size) == 0 && strcspn(files[last].path + skip, "/") == size;)
      last++;
    tree_item *item = find_item(&list, sorted, name, size);
    git_oid id = files[first].id;
    if (size >= sizeof item->name)
      status = plb_fail(err, PLB_EUSAGE, "a name is too long");
    else if (name[size] == '/')
      status = apply_folder(m, item, files + first, last - first, skip + size + 1, &id, err);
    if (status != PLB_OK)
      break;
    if (!item)
      item = &list.item[list.count++];
    snprintf(item->name, sizeof item->name, "%.*s", (int)size, name);
    item->mode = name[size] == '/' ? GIT_FILEMODE_TREE : GIT_FILEMODE_BLOB;
    item->id = id;
  }
  if (status == PLB_OK)
    status = store_list(m, &list, out, err);
  free(list.item);
  return status;
}

/* '/' must sort before everything else, or "a/b" and "a-c" would tear a folder apart. */
static int compare_paths(const void *a, const void *b) {
  const char *x = ((const plb_put_file *)a)->path, *y = ((const plb_put_file *)b)->path;
  while (*x && *x == *y) {
    x++;
    y++;
  }
  return (*x == '/' ? 1 : (unsigned char)*x) - (*y == '/' ? 1 : (unsigned char)*y);
}

plb_status plb_tree_apply(plb_store *s, const git_tree *base, plb_put_file *files, size_t count, plb_made_trees *made, git_oid *out,
                          plb_error *err) {
  const tree_maker m = {s, made};
  qsort(files, count, sizeof *files, compare_paths);
  const plb_status status = apply(&m, base, files, count, 0, out, err);
  if (made && made->count)
    drop_doubles(made);
  return status;
}

plb_status plb_tree_read(plb_store *s, const git_tree *tree, const char *path, char **data_out, size_t *size_out, plb_error *err) {
  *data_out = NULL;
  *size_out = 0;
  git_tree_entry *entry = NULL;
  if (!tree || git_tree_entry_bypath(&entry, tree, path) < 0)
    return plb_fail(err, PLB_ENOINPUT, "%.200s is not in the collection", path);
  size_t size = 0;
  git_object_t type = GIT_OBJECT_INVALID;
  git_odb_object *object = NULL;
  plb_status status = PLB_OK;
  if (git_odb_read_header(&size, &type, s->odb, git_tree_entry_id(entry)) < 0 || type != GIT_OBJECT_BLOB || size > PLB_DOCUMENT_MOST ||
      git_odb_read(&object, s->odb, git_tree_entry_id(entry)) < 0)
    status = plb_fail(err, PLB_EDATA, "%.200s is damaged; \"plumb collection check\" tells more", path);
  char *copy = status == PLB_OK ? malloc(size + 1) : NULL;
  if (copy) {
    memcpy(copy, git_odb_object_data(object), size);
    copy[size] = '\0';
    *data_out = copy;
    *size_out = size;
  } else if (status == PLB_OK) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  git_odb_object_free(object);
  git_tree_entry_free(entry);
  return status;
}

unsigned plb_tree_newest(plb_store *s, const git_tree *tree, const char *name) {
  char path[PLB_PATH_SIZE];
  git_tree_entry *entry = NULL;
  git_tree *folder = NULL;
  unsigned newest = 0;
  snprintf(path, sizeof path, "references/%s", name);
  if (tree && git_tree_entry_bypath(&entry, tree, path) == 0 && git_tree_lookup(&folder, s->repository, git_tree_entry_id(entry)) == 0)
    for (size_t i = 0; i < git_tree_entrycount(folder); i++) {
      plb_path where;
      snprintf(path, sizeof path, "references/%s/%s", name, git_tree_entry_name(git_tree_entry_byindex(folder, i)));
      if (plb_path_parse(path, &where) == PLB_PATH_REFERENCE && where.version > newest)
        newest = where.version;
    }
  git_tree_free(folder);
  git_tree_entry_free(entry);
  return newest;
}
