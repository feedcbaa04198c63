/* Writing the index: whole, or by appending the rows and documents of one change. */
#include "collection/read/index_format.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

void plb_index_path(const char *folder, char *out) { snprintf(out, PLB_PATH_SIZE, "%s/plumbline.index", folder); }

/* Named after the folder's place in the file system, so that two paths to one folder share one index. */
bool plb_index_cache_path(const char *folder, char *out) {
  struct stat st;
  if (stat(folder, &st) != 0)
    return false;
  const char *cache = getenv("XDG_CACHE_HOME"), *home = getenv("HOME");
  const bool stated = cache && cache[0] == '/';
  if (!stated && !(home && home[0] == '/'))
    return false;
  return snprintf(out, PLB_PATH_SIZE, "%s%s/plumbline/%llx-%llx.index", stated ? cache : home, stated ? "" : "/.cache",
                  (unsigned long long)st.st_dev, (unsigned long long)st.st_ino) < PLB_PATH_SIZE;
}

/* A buffered writer with a sticky failure. */
typedef struct sink {
  int fd, error;
  uint64_t at;
  char *buffer;
  size_t used;
} sink;

enum { SINK_SIZE = 1 << 18 };

static void sink_flush(sink *s) {
  size_t done = 0;
  while (done < s->used && !s->error) {
    const ssize_t n = write(s->fd, s->buffer + done, s->used - done);
    if (n < 0 && errno != EINTR)
      s->error = errno;
    else if (n > 0)
      done += (size_t)n;
  }
  s->used = 0;
}

static void sink_put(sink *s, const void *data, size_t size) {
  const char *p = data;
  s->at += size;
  while (size > 0 && !s->error) {
    const size_t room = SINK_SIZE - s->used, n = size < room ? size : room;
    memcpy(s->buffer + s->used, p, n);
    s->used += n;
    p += n;
    size -= n;
    if (s->used == SINK_SIZE)
      sink_flush(s);
  }
}

static void sink_align(sink *s) {
  static const char zeros[8];
  sink_put(s, zeros, (size_t)(-s->at & 7u));
}

static int compare_rows(const void *a, const void *b) {
  const plb_row *x = a, *y = b;
  return plb_row_compare(x->kind, x->text[PLB_ROW_NAME], x->version, y->kind, y->text[PLB_ROW_NAME], y->version);
}

/* Documents first, so that their offsets are known; `kept` tells where a document already lies in this file (0: write it). */
static plb_status put_segment(sink *s, const plb_row *rows, size_t count, const uint64_t *kept, uint64_t previous, uint64_t *offset_out,
                              plb_error *err) {
  plb_packed_row *packed = plb_calloc(count + 1, sizeof *packed);
  plb_buffer strings;
  plb_buffer_init(&strings, UINT32_MAX / 2);
  plb_buffer_append(&strings, "", 1);
  for (size_t i = 0; packed && i < count; i++) {
    const plb_row *r = &rows[i];
    packed[i] = (plb_packed_row){.data = kept ? kept[i] : 0, .size = r->size, .kind = (uint32_t)r->kind, .version = r->version,
                                 .exemplars = (uint32_t)r->exemplars};
    if (packed[i].data == 0) {
      packed[i].data = s->at;
      sink_put(s, r->data, r->size);
    }
    for (int k = 0; k < PLB_ROW_TEXTS; k++)
      if (r->text[k] && r->text[k][0]) {
        packed[i].text[k] = (uint32_t)strings.size;
        plb_buffer_append(&strings, r->text[k], strlen(r->text[k]) + 1);
      }
  }
  plb_status status = packed && strings.status == PLB_OK ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK) {
    sink_align(s);
    *offset_out = s->at;
    plb_segment head = {.magic = PLB_SEGMENT_MAGIC, .rows = (uint32_t)count, .previous = previous, .strings = strings.size};
    head.crc = (uint32_t)crc32_z(crc32_z(0, (const Bytef *)packed, count * sizeof *packed), (const Bytef *)strings.data, strings.size);
    sink_put(s, &head, sizeof head);
    sink_put(s, packed, count * sizeof *packed);
    sink_put(s, strings.data, strings.size);
    sink_align(s);
    sink_flush(s);
  }
  plb_buffer_dispose(&strings);
  free(packed);
  return status;
}

/* The header goes last, after the rest has reached the disk: a header never speaks of bytes that are not there. */
static int put_header(int fd, plb_index_header *header, const char *commit) {
  memcpy(header->magic, "PLBINDEX", 8);
  header->format = PLB_INDEX_FORMAT;
  memset(header->commit, 0, sizeof header->commit);
  snprintf(header->commit, PLB_COMMIT_SIZE, "%s", commit);
  header->crc = plb_index_header_crc(header);
  if (fdatasync(fd) != 0)
    return errno;
  return pwrite(fd, header, sizeof *header, 0) == (ssize_t)sizeof *header ? 0 : EIO;
}

static void make_folder_of(const char *path) {
  char folder[PLB_PATH_SIZE];
  snprintf(folder, sizeof folder, "%s", path);
  for (char *slash = strchr(folder + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
    *slash = '\0';
    mkdir(folder, 0777);
    *slash = '/';
  }
}

plb_status plb_index_write(const char *path, const char *commit, const plb_row *rows, size_t count, plb_error *err) {
  char temporary[PLB_PATH_SIZE + 16];
  snprintf(temporary, sizeof temporary, "%s.%ld", path, (long)getpid());
  make_folder_of(path);
  plb_row *sorted = plb_calloc(count + 1, sizeof *sorted);
  sink s = {.fd = -1, .buffer = malloc(SINK_SIZE)};
  plb_index_header header = {.dead = 0};
  plb_status status = sorted && s.buffer ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status != PLB_OK)
    goto done;
  if (count)
    memcpy(sorted, rows, count * sizeof *sorted);
  qsort(sorted, count, sizeof *sorted, compare_rows);
  s.fd = open(temporary, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (s.fd < 0) {
    status = plb_fail(err, PLB_ECREATE, "the index cannot be written: %s", strerror(errno));
    goto done;
  }
  sink_put(&s, &header, sizeof header);
  status = put_segment(&s, sorted, count, NULL, 0, &header.tail, err);
  header.used = s.at;
  if (status == PLB_OK && !s.error)
    s.error = put_header(s.fd, &header, commit);
  if (status == PLB_OK && !s.error && rename(temporary, path) != 0)
    s.error = errno;
  if (status == PLB_OK && s.error)
    status = plb_fail(err, PLB_EIO, "the index cannot be written: %s", strerror(s.error));
  if (status != PLB_OK)
    unlink(temporary);
done:
  if (s.fd >= 0)
    close(s.fd);
  free(s.buffer);
  free(sorted);
  return status;
}

/* All rows of the old index with the new ones in their place. @param kept_out  where each document lies already, 0: nowhere */
static plb_row *merge_rows(const plb_index *old, const plb_row *rows, size_t count, const char *map, size_t *count_out, uint64_t **kept_out) {
  const size_t most = plb_index_count(old) + count;
  plb_row *all = plb_calloc(most + 1, sizeof *all);
  uint64_t *kept = plb_calloc(most + 1, sizeof *kept);
  size_t n = 0, j = 0;
  for (size_t i = 0; all && kept && (i < plb_index_count(old) || j < count);) {
    plb_row row;
    int c = 1;
    if (i < plb_index_count(old)) {
      plb_index_row(old, i, &row);
      c = j < count ? compare_rows(&row, &rows[j]) : -1;
    }
    if (c < 0 && row.data)
      kept[n] = (uint64_t)((const char *)row.data - map);
    all[n++] = c < 0 ? row : rows[j];
    i += c <= 0;
    j += c >= 0;
  }
  *count_out = n;
  *kept_out = kept;
  if (!all || !kept) {
    free(all);
    free(kept);
    *kept_out = NULL;
    return NULL;
  }
  return all;
}

static uint64_t dead_bytes(const plb_index *old, const plb_row *rows, size_t count) {
  uint64_t dead = 0;
  for (size_t i = 0; i < count; i++) {
    bool equal = false;
    const size_t at = plb_index_search(old, rows[i].kind, rows[i].text[PLB_ROW_NAME], rows[i].version, &equal);
    plb_row row;
    if (equal) {
      plb_index_row(old, at, &row);
      dead += row.size;
    }
  }
  return dead;
}

static plb_status append_to(sink *s, const plb_index *old, plb_index_header *header, const plb_row *rows, size_t count, plb_error *err) {
  if (plb_index_delta_rows(old) + count <= PLB_DELTA_ROWS_MOST)
    return put_segment(s, rows, count, NULL, header->tail, &header->tail, err);
  /* Too many small segments: write the table anew, leaving the documents where they are. */
  size_t n = 0;
  uint64_t *kept = NULL;
  plb_row *all = merge_rows(old, rows, count, plb_index_map(old), &n, &kept);
  if (!all)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  header->dead += n * (sizeof(plb_packed_row) + 300); /* about what the older tables took */
  const plb_status status = put_segment(s, all, n, kept, 0, &header->tail, err);
  free(all);
  free(kept);
  return status;
}

static plb_status compact(const char *path, const plb_index *old, const char *commit, const plb_row *rows, size_t count, plb_error *err) {
  size_t n = 0;
  uint64_t *kept = NULL;
  plb_row *all = merge_rows(old, rows, count, plb_index_map(old), &n, &kept);
  free(kept);
  const plb_status status = all ? plb_index_write(path, commit, all, n, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  free(all);
  return status;
}

plb_status plb_index_append(const char *path, const plb_index *old, const char *commit, const plb_row *rows, size_t count, plb_error *err) {
  plb_index_header header = *plb_index_get_header(old);
  plb_row *sorted = plb_calloc(count + 1, sizeof *sorted);
  sink s = {.fd = -1, .at = header.used, .buffer = malloc(SINK_SIZE)};
  plb_status status = sorted && s.buffer ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status != PLB_OK)
    goto done;
  if (count)
    memcpy(sorted, rows, count * sizeof *sorted);
  qsort(sorted, count, sizeof *sorted, compare_rows);
  header.dead += dead_bytes(old, sorted, count);
  if (header.dead > header.used / 2 && header.used > (1 << 20)) {
    status = compact(path, old, commit, sorted, count, err);
    goto done;
  }
  s.fd = open(path, O_WRONLY | O_CLOEXEC);
  if (s.fd < 0 || lseek(s.fd, (off_t)header.used, SEEK_SET) < 0) {
    status = plb_fail(err, PLB_EIO, "the index cannot be written: %s", strerror(errno));
    goto done;
  }
  status = append_to(&s, old, &header, sorted, count, err);
  header.used = s.at;
  if (status == PLB_OK && !s.error)
    s.error = put_header(s.fd, &header, commit);
  if (status == PLB_OK && s.error)
    status = plb_fail(err, PLB_EIO, "the index cannot be written: %s", strerror(s.error));
done:
  if (s.fd >= 0)
    close(s.fd);
  free(s.buffer);
  free(sorted);
  return status;
}
