/* Mapping the index and finding rows in it. A row is trusted only as far as its offsets stay inside the file. */
#include "collection/read/index_format.h"

#include <fcntl.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

typedef struct row_at {
  const plb_packed_row *row;
  const plb_segment *segment;
} row_at;

struct plb_index {
  const char *map;
  size_t size; /**< mapped bytes */
  plb_index_header header;
  row_at *row;
  size_t count;
  size_t delta_rows; /**< rows in segments that are not complete by themselves */
};

uint32_t plb_index_header_crc(const plb_index_header *header) {
  plb_index_header copy = *header;
  copy.crc = 0;
  return (uint32_t)crc32(0, (const Bytef *)&copy, sizeof copy);
}

static int rank(plb_path_kind kind) {
  switch (kind) {
  case PLB_PATH_REFERENCE:
  case PLB_PATH_STATUS: return 0;
  case PLB_PATH_CAPTURE:
  case PLB_PATH_CAPTURE_STATUS: return 1;
  default: return (int)kind;
  }
}

int plb_row_compare(plb_path_kind kind_a, const char *name_a, unsigned version_a, plb_path_kind kind_b, const char *name_b, unsigned version_b) {
  const int ra = rank(kind_a), rb = rank(kind_b);
  if (ra != rb)
    return ra < rb ? -1 : 1;
  const int c = strcmp(name_a, name_b);
  if (c)
    return c;
  if (kind_a != kind_b)
    return kind_a < kind_b ? -1 : 1;
  return (version_a > version_b) - (version_a < version_b);
}

static const plb_packed_row *rows_of(const plb_segment *s) { return (const plb_packed_row *)(s + 1); }

static const char *text_of(row_at at, plb_row_text which) {
  const uint32_t offset = at.row->text[which];
  const char *strings = (const char *)(rows_of(at.segment) + at.segment->rows);
  return offset < at.segment->strings ? strings + offset : strings;
}

static int compare_at(row_at at, plb_path_kind kind, const char *name, unsigned version) {
  return plb_row_compare((plb_path_kind)at.row->kind, text_of(at, PLB_ROW_NAME), at.row->version, kind, name, version);
}

/* The segment at an offset, NULL when it does not lie whole inside the file. */
static const plb_segment *segment_at(const plb_index *x, uint64_t offset) {
  if (offset % 8 != 0 || offset < sizeof(plb_index_header) || offset > x->header.used - sizeof(plb_segment))
    return NULL;
  const plb_segment *s = (const void *)(x->map + offset);
  const uint64_t room = x->header.used - offset - sizeof *s;
  if (s->magic != PLB_SEGMENT_MAGIC || s->rows > room / sizeof(plb_packed_row) || s->strings == 0 ||
      s->strings > room - s->rows * sizeof(plb_packed_row) || s->previous >= offset)
    return NULL;
  const char *strings = (const char *)(rows_of(s) + s->rows);
  return strings[s->strings - 1] == '\0' ? s : NULL;
}

static size_t search(const row_at *rows, size_t count, plb_path_kind kind, const char *name, unsigned version, bool *equal_out) {
  size_t low = 0, high = count;
  *equal_out = false;
  while (low < high) {
    const size_t middle = low + (high - low) / 2;
    const int c = compare_at(rows[middle], kind, name, version);
    if (c == 0)
      *equal_out = true;
    if (c < 0)
      low = middle + 1;
    else
      high = middle;
  }
  return low;
}

/* Lay newer rows over older ones. Both are sorted, so this is a merge. */
static row_at *overlay(const row_at *old, size_t old_count, const row_at *newer, size_t newer_count, size_t *count_out) {
  row_at *out = plb_calloc(old_count + newer_count + 1, sizeof *out);
  size_t n = 0, i = 0;
  for (size_t k = 0; out && k < newer_count; k++) {
    bool equal = false;
    const row_at at = newer[k];
    const size_t stop =
        i + search(old + i, old_count - i, (plb_path_kind)at.row->kind, text_of(at, PLB_ROW_NAME), at.row->version, &equal);
    memcpy(out + n, old + i, (stop - i) * sizeof *out);
    n += stop - i;
    i = equal ? stop + 1 : stop;
    out[n++] = at;
  }
  if (out) {
    memcpy(out + n, old + i, (old_count - i) * sizeof *out);
    *count_out = n + old_count - i;
  }
  return out;
}

static row_at *list_segment(const plb_segment *s) {
  row_at *out = plb_calloc((size_t)s->rows + 1, sizeof *out);
  for (uint32_t i = 0; out && i < s->rows; i++)
    out[i] = (row_at){&rows_of(s)[i], s};
  return out;
}

/* Lay one more segment over the rows so far. `rows` is replaced. */
static bool lay_segment(row_at **rows, size_t *count, const plb_segment *s) {
  row_at *newer = list_segment(s);
  row_at *laid = newer ? overlay(*rows, *count, newer, s->rows, count) : NULL;
  free(newer);
  free(*rows);
  *rows = laid;
  return laid != NULL;
}

/* The small segments are laid over each other first: the large one is copied once. chain[n - 1] is complete by itself. */
static plb_status lay_chain(plb_index *x, const plb_segment *const *chain, size_t n, plb_error *err) {
  row_at *small = plb_calloc(1, sizeof *small), *base = list_segment(chain[n - 1]);
  size_t count = 0;
  bool well = small && base;
  for (size_t i = n - 1; i-- > 0 && well;) {
    x->delta_rows += chain[i]->rows;
    well = lay_segment(&small, &count, chain[i]);
  }
  if (well)
    x->row = overlay(base, chain[n - 1]->rows, small, count, &x->count);
  free(small);
  free(base);
  return x->row ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
}

static plb_status load_segments(plb_index *x, plb_error *err) {
  const plb_segment *chain[PLB_DELTA_ROWS_MOST + 2];
  size_t n = 0;
  for (uint64_t offset = x->header.tail; offset || n == 0; offset = chain[n++]->previous) {
    const plb_segment *s = n < sizeof chain / sizeof chain[0] ? segment_at(x, offset) : NULL;
    if (!s)
      return plb_fail(err, PLB_EDATA, "the index is damaged; delete it, it is made again");
    chain[n] = s;
  }
  return lay_chain(x, chain, n, err);
}

static plb_status map_file(plb_index *x, int fd, plb_error *err) {
  struct stat st;
  if (fstat(fd, &st) != 0 || st.st_size < (off_t)sizeof x->header ||
      pread(fd, &x->header, sizeof x->header, 0) != (ssize_t)sizeof x->header)
    return plb_fail(err, PLB_ENOINPUT, "no index");
  if (memcmp(x->header.magic, "PLBINDEX", 8) != 0 || x->header.format != PLB_INDEX_FORMAT)
    return plb_fail(err, PLB_ENOINPUT, "an index of another version");
  if (x->header.crc != plb_index_header_crc(&x->header) || x->header.used > (uint64_t)st.st_size || x->header.used < sizeof x->header + sizeof(plb_segment))
    return plb_fail(err, PLB_EDATA, "the index is damaged; delete it, it is made again");
  x->size = (size_t)x->header.used;
  void *map = mmap(NULL, x->size, PROT_READ, MAP_SHARED, fd, 0);
  if (map == MAP_FAILED)
    return plb_fail(err, PLB_EIO, "the index cannot be mapped");
  x->map = map;
  return load_segments(x, err);
}

plb_status plb_index_open(plb_index **out, const char *path, plb_error *err) {
  *out = NULL;
  const int fd = open(path, O_RDONLY | O_CLOEXEC);
  if (fd < 0)
    return plb_fail(err, PLB_ENOINPUT, "no index");
  plb_index *x = plb_calloc(1, sizeof *x);
  plb_status status = x ? map_file(x, fd, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  close(fd);
  if (status == PLB_OK)
    *out = x;
  else
    plb_index_free(x);
  return status;
}

void plb_index_free(plb_index *x) {
  if (!x)
    return;
  if (x->map)
    munmap((void *)(uintptr_t)x->map, x->size);
  free(x->row);
  free(x);
}

const char *plb_index_commit(const plb_index *x) { return x->header.commit; }
size_t plb_index_count(const plb_index *x) { return x->count; }
size_t plb_index_delta_rows(const plb_index *x) { return x->delta_rows; }
const plb_index_header *plb_index_get_header(const plb_index *x) { return &x->header; }
const char *plb_index_map(const plb_index *x) { return x->map; }

void plb_index_row(const plb_index *x, size_t i, plb_row *out) {
  const row_at at = x->row[i];
  *out = (plb_row){.kind = (plb_path_kind)at.row->kind, .version = at.row->version, .exemplars = at.row->exemplars};
  for (int k = 0; k < PLB_ROW_TEXTS; k++)
    out->text[k] = text_of(at, (plb_row_text)k);
  if (at.row->data <= x->size && at.row->size <= x->size - at.row->data) {
    out->data = x->map + at.row->data;
    out->size = (size_t)at.row->size;
  }
}

size_t plb_index_search(const plb_index *x, plb_path_kind kind, const char *name, unsigned version, bool *equal_out) {
  return search(x->row, x->count, kind, name, version, equal_out);
}

plb_status plb_index_verify(const plb_index *x, plb_error *err) {
  for (uint64_t offset = x->header.tail; offset;) {
    const plb_segment *s = segment_at(x, offset);
    const size_t bytes = s ? s->rows * sizeof(plb_packed_row) + (size_t)s->strings : 0;
    if (!s || s->crc != crc32_z(0, (const Bytef *)rows_of(s), bytes))
      return plb_fail(err, PLB_EDATA, "the index is damaged; delete it, it is made again");
    offset = s->previous;
  }
  for (size_t i = 0; i < x->count; i++) {
    plb_row row;
    char hash[PLB_HASH_SIZE];
    plb_index_row(x, i, &row);
    plb_sha256(row.data ? row.data : "", row.size, hash);
    if (strcmp(hash, row.text[PLB_ROW_SHA256]) != 0)
      return plb_fail(err, PLB_EDATA, "the index has other bytes for %s; delete it, it is made again", row.text[PLB_ROW_PATH]);
  }
  return PLB_OK;
}
