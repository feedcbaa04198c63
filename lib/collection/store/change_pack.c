/* Documents and folders of a large change go into one pack: three flushes in all instead of two for each. */
#include "collection/store/store.h"

/** A document on its way into the pack. */
typedef struct deflated {
  unsigned char *data;
  size_t size;
  plb_status status;
} deflated;

/** A document that no pack of the store has. */
typedef struct needed {
  git_oid id;
  size_t at; /**< in the change */
} needed;

typedef struct packing {
  plb_change *change;
  needed *need; /**< each content once */
  size_t count;
  plb_pack_writer *pack;
} packing;

enum { BATCH = 128 };

static int compare_ids(const void *a, const void *b) { return git_oid_cmp(&((const needed *)a)->id, &((const needed *)b)->id); }

/* Two files may say the same; a pack holds each object once. */
static void drop_doubles(packing *p) {
  size_t kept = 0;
  if (p->count)
    qsort(p->need, p->count, sizeof *p->need, compare_ids);
  for (size_t i = 0; i < p->count; i++)
    if (!kept || !git_oid_equal(&p->need[kept - 1].id, &p->need[i].id))
      p->need[kept++] = p->need[i];
  p->count = kept;
}

static plb_status hash_documents(packing *p, plb_put_file *files, plb_error *err) {
  const plb_change *c = p->change;
  bool well = true;
#pragma omp parallel for schedule(dynamic, 16) reduction(&& : well)
  for (size_t i = 0; i < c->count; i++)
    well = git_odb_hash(&files[i].id, c->file[i]->row.data, c->file[i]->row.size, GIT_OBJECT_BLOB) == 0 && well;
  for (size_t i = 0; well && i < c->count; i++)
    if (!plb_store_is_packed(c->store, &files[i].id))
      p->need[p->count++] = (needed){files[i].id, i};
  drop_doubles(p);
  return well ? PLB_OK : plb_fail(err, PLB_EINTERNAL, "no hash");
}

static const plb_row *row_at(const packing *p, size_t i) { return &p->change->file[p->need[i].at]->row; }

static void deflate_document(const packing *p, size_t i, deflated *out) {
  const plb_row *row = row_at(p, i);
  plb_error ignored = PLB_ERROR_INIT;
  out->status = plb_deflate(NULL, 0, row->data, row->size, &out->data, &out->size, &ignored);
}

static plb_status add_batch(packing *p, deflated *batch, size_t first, size_t count, plb_status status, plb_error *err) {
  for (size_t i = 0; i < count; i++) {
    if (status == PLB_OK)
      status = batch[i].status == PLB_OK ? plb_pack_add_deflated(p->pack, GIT_OBJECT_BLOB, row_at(p, first + i)->size, batch[i].data, batch[i].size, err)
                                         : plb_fail(err, batch[i].status, "out of memory");
    free(batch[i].data);
  }
  return status;
}

/* One thread feeds the pack while the others deflate the next batch; two batches bound the memory. */
static plb_status add_documents(packing *p, plb_error *err) {
  deflated batch[2][BATCH];
  plb_status status = PLB_OK;
#pragma omp parallel
#pragma omp single
  for (size_t first = 0, turn = 0; first < p->count + BATCH; first += BATCH, turn ^= 1) {
    const size_t last = first + BATCH < p->count ? first + BATCH : p->count;
    for (size_t i = first; i < last; i++) {
      deflated *out = &batch[turn][i - first];
#pragma omp task firstprivate(i, out)
      deflate_document(p, i, out);
    }
    if (first > 0)
      status = add_batch(p, batch[turn ^ 1], first - BATCH, (first < p->count ? first : p->count) - (first - BATCH), status, err);
#pragma omp taskwait
  }
  return status;
}

static plb_status add_trees(packing *p, const plb_made_trees *made, plb_error *err) {
  plb_status status = PLB_OK;
  git_oid same;
  for (size_t i = 0; i < made->count && status == PLB_OK; i++)
    status = plb_pack_add(p->pack, GIT_OBJECT_TREE, made->tree[i].data, made->tree[i].size, &same, err);
  return status;
}

plb_status plb_change_pack(plb_change *c, plb_put_file *files, git_oid *tree_out, plb_error *err) {
  packing p = {.change = c, .need = plb_calloc(c->count + 1, sizeof *p.need)};
  plb_made_trees made = {0};
  plb_status status = p.need ? hash_documents(&p, files, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK)
    status = plb_tree_apply(c->store, c->tree, files, c->count, &made, tree_out, err);
  if (status == PLB_OK)
    status = plb_pack_begin(&p.pack, c->store, p.count + made.count, err);
  if (status == PLB_OK)
    status = add_documents(&p, err);
  if (status == PLB_OK)
    status = add_trees(&p, &made, err);
  if (status == PLB_OK)
    status = plb_pack_finish(p.pack, err);
  plb_pack_free(p.pack);
  plb_made_trees_dispose(&made);
  free(p.need);
  return status;
}
