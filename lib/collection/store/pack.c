/* Tidying: loose objects go into one pack; only when that is on the disk are they removed. */
#include "collection/store/folder.h"
#include "collection/store/store.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { FEW = 2, LOOSE_MOST = 4000000 };

typedef struct loose_list {
  git_oid *id;
  size_t count, capacity;
  const char *objects;
} loose_list;

static bool take_loose(const char *path, void *payload) {
  loose_list *list = payload;
  char hex[GIT_OID_HEXSZ + 1];
  const size_t n = strlen(path), head = strlen(list->objects) + 1;
  if (n != head + 41 || path[head + 2] != '/')
    return true;
  snprintf(hex, sizeof hex, "%.2s%s", path + head, path + head + 3);
  git_oid *grown = list->count < LOOSE_MOST ? plb_grow(list->id, list->count, &list->capacity, sizeof *grown) : NULL;
  if (!grown)
    return false;
  list->id = grown;
  if (plb_is_hex(hex, GIT_OID_HEXSZ) && git_oid_fromstr(&grown[list->count], hex) == 0)
    list->count++;
  return true;
}

static plb_status pack_loose(plb_store *s, const loose_list *list, plb_error *err) {
  plb_pack_writer *pack = NULL;
  plb_status status = plb_pack_begin(&pack, s, list->count, err);
  for (size_t i = 0; i < list->count && status == PLB_OK; i++) {
    git_odb_object *object = NULL;
    git_oid written;
    char hex[GIT_OID_HEXSZ + 1];
    if (git_odb_read(&object, s->odb, &list->id[i]) < 0)
      status = plb_fail(err, PLB_EDATA, "object %s is damaged, so nothing is packed; \"plumb collection check\" tells more", git_oid_tostr(hex, sizeof hex, &list->id[i]));
    else
      status = plb_pack_add(pack, git_odb_object_type(object), git_odb_object_data(object), git_odb_object_size(object), &written, err);
    git_odb_object_free(object);
  }
  if (status == PLB_OK)
    status = plb_pack_finish(pack, err);
  plb_pack_free(pack);
  return status;
}

static void remove_loose(const plb_store *s, const loose_list *list) {
  for (size_t i = 0; i < list->count; i++) {
    char hex[GIT_OID_HEXSZ + 1], path[PLB_PATH_SIZE + 64];
    git_oid_tostr(hex, sizeof hex, &list->id[i]);
    snprintf(path, sizeof path, "%s/objects/%.2s/%s", s->folder, hex, hex + 2);
    unlink(path);
  }
}

plb_status plb_store_pack(plb_store *s, plb_error *err) {
  char objects[PLB_PATH_SIZE + 16];
  snprintf(objects, sizeof objects, "%s/objects", s->folder);
  loose_list list = {.objects = objects};
  plb_status status = plb_store_lock(s, err);
  if (status == PLB_OK)
    status = plb_store_mark(s, true, err);
  if (status == PLB_OK && !plb_folder_walk(objects, take_loose, &list))
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK && list.count >= FEW)
    status = pack_loose(s, &list, err);
  if (status == PLB_OK && list.count >= FEW)
    remove_loose(s, &list);
  if (status == PLB_OK) {
    plb_store_sweep(s, 3600);
    status = plb_store_mark(s, false, err);
    plb_store_say(s, "%zu loose objects went into one pack", list.count >= FEW ? list.count : 0);
  }
  plb_store_unlock(s);
  free(list.id);
  return status;
}
