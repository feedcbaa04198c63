/*
 * One pack without deltas, streamed through libgit2's indexer: our documents hold deflated samples, which deltas do not shrink, and
 * looking for deltas takes longer than everything else. Pack format: git's Documentation/gitformat-pack.
 */
#include "collection/store/store.h"

#include <stdio.h>
#include <string.h>
#include <nettle/sha1.h>

struct plb_pack_writer {
  plb_store *store;
  git_indexer *indexer;
  git_indexer_progress progress;
  struct sha1_ctx sha;
  char folder[PLB_PATH_SIZE + 16];
};

static plb_status put(plb_pack_writer *p, const void *data, size_t size, plb_error *err) {
  sha1_update(&p->sha, size, data);
  if (git_indexer_append(p->indexer, data, size, &p->progress) < 0)
    return plb_git_fail(err, PLB_EIO, "the pack cannot be written; nothing was changed");
  return PLB_OK;
}

plb_status plb_pack_begin(plb_pack_writer **out, plb_store *store, size_t objects, plb_error *err) {
  *out = NULL;
  plb_pack_writer *p = plb_calloc(1, sizeof *p);
  if (!p)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  p->store = store;
  sha1_init(&p->sha);
  snprintf(p->folder, sizeof p->folder, "%s/objects/pack", store->folder);
  plb_status status = git_indexer_new(&p->indexer, p->folder, 0, NULL, NULL) < 0 ? plb_git_fail(err, PLB_EIO, "the pack cannot be begun") : PLB_OK;
  const unsigned char head[12] = {'P', 'A', 'C', 'K', 0, 0, 0, 2, (unsigned char)(objects >> 24), (unsigned char)(objects >> 16),
                                  (unsigned char)(objects >> 8), (unsigned char)objects};
  if (status == PLB_OK)
    status = put(p, head, sizeof head, err);
  if (status == PLB_OK)
    *out = p;
  else
    plb_pack_free(p);
  return status;
}

/* Type and size, seven bits a byte after the first four. */
static size_t object_head(git_object_t type, size_t size, unsigned char *out) {
  size_t n = 0;
  unsigned char byte = (unsigned char)(((unsigned)type << 4) | (size & 15));
  for (size >>= 4; size; size >>= 7) {
    out[n++] = byte | 0x80;
    byte = size & 0x7f;
  }
  out[n++] = byte;
  return n;
}

plb_status plb_pack_add_deflated(plb_pack_writer *p, git_object_t type, size_t size, const void *deflated, size_t deflated_size,
                                 plb_error *err) {
  unsigned char head[16];
  const plb_status status = put(p, head, object_head(type, size, head), err);
  return status == PLB_OK ? put(p, deflated, deflated_size, err) : status;
}

plb_status plb_pack_add(plb_pack_writer *p, git_object_t type, const void *data, size_t size, git_oid *out, plb_error *err) {
  if (git_odb_hash(out, data, size, type) < 0)
    return plb_git_fail(err, PLB_EINTERNAL, "no hash");
  unsigned char *deflated = NULL;
  size_t deflated_size = 0;
  plb_status status = plb_deflate(NULL, 0, data, size, &deflated, &deflated_size, err);
  if (status == PLB_OK)
    status = plb_pack_add_deflated(p, type, size, deflated, deflated_size, err);
  free(deflated);
  return status;
}

static plb_status flush_pack(const plb_pack_writer *p, plb_error *err) {
  static const char *const ends[] = {"pack", "idx"};
  char path[PLB_PATH_SIZE + 128];
  plb_status status = PLB_OK;
  for (int i = 0; i < 2 && status == PLB_OK; i++) {
    snprintf(path, sizeof path, "%s/pack-%s.%s", p->folder, git_indexer_name(p->indexer), ends[i]);
    status = plb_fsync_file(path, err);
  }
  return status == PLB_OK ? plb_fsync_folder(p->folder, err) : status;
}

plb_status plb_pack_finish(plb_pack_writer *p, plb_error *err) {
  unsigned char trailer[SHA1_DIGEST_SIZE];
  sha1_digest(&p->sha, sizeof trailer, trailer);
  if (git_indexer_append(p->indexer, trailer, sizeof trailer, &p->progress) < 0 || git_indexer_commit(p->indexer, &p->progress) < 0)
    return plb_git_fail(err, PLB_EIO, "the pack cannot be finished; nothing was changed");
  const plb_status status = flush_pack(p, err);
  if (status == PLB_OK && git_odb_refresh(p->store->odb) < 0)
    return plb_git_fail(err, PLB_EIO, "the pack cannot be opened");
  return status;
}

void plb_pack_free(plb_pack_writer *p) {
  if (!p)
    return;
  git_indexer_free(p->indexer);
  free(p);
}
