/*
 * Writing one loose object durably. libgit2's own writer retries in silence after a failed fsync and leaves an object that is "there
 * already" unflushed; here every object of a change is written beside, flushed, renamed, and its folder flushed, each time.
 */
#include "collection/store/store.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

static plb_status flush(const char *path, int flags, plb_error *err) {
  const int fd = open(path, flags | O_CLOEXEC);
  if (fd < 0)
    return plb_fail(err, PLB_EIO, "%.200s: %s", path, strerror(errno));
  const int failed = fsync(fd) != 0 ? errno : 0;
  close(fd);
  return failed ? plb_fail(err, PLB_EIO, "%.200s could not be flushed to the disk: %s", path, strerror(failed)) : PLB_OK;
}

plb_status plb_fsync_folder(const char *path, plb_error *err) { return flush(path, O_RDONLY | O_DIRECTORY, err); }
plb_status plb_fsync_file(const char *path, plb_error *err) { return flush(path, O_RDONLY, err); }

plb_status plb_deflate(const void *head, size_t head_size, const void *data, size_t size, unsigned char **out, size_t *size_out,
                       plb_error *err) {
  enum { LARGE = 8192 };
  z_stream z = {0};
  *out = NULL;
  if (size > UINT32_MAX / 2 || deflateInit2(&z, 1, Z_DEFLATED, 15, 9, size > LARGE ? Z_HUFFMAN_ONLY : Z_DEFAULT_STRATEGY) != Z_OK)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  const size_t most = deflateBound(&z, (uLong)(size + head_size));
  *out = malloc(most);
  z.next_out = *out;
  z.avail_out = (uInt)most;
  z.next_in = (Bytef *)(uintptr_t)head;
  z.avail_in = (uInt)head_size;
  bool well = *out && (head_size == 0 || deflate(&z, Z_NO_FLUSH) == Z_OK);
  z.next_in = (Bytef *)(uintptr_t)data;
  z.avail_in = (uInt)size;
  well = well && deflate(&z, Z_FINISH) == Z_STREAM_END;
  *size_out = z.total_out;
  deflateEnd(&z);
  return well ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
}

static int write_flushed(int fd, const unsigned char *data, size_t size) {
  while (size > 0) {
    const ssize_t n = write(fd, data, size);
    if (n < 0 && errno == EINTR)
      continue;
    if (n <= 0)
      return n < 0 ? errno : EIO;
    data += n;
    size -= (size_t)n;
  }
  return fsync(fd) != 0 ? errno : 0;
}

static plb_status make_fan_out(const plb_store *s, const char *folder, plb_error *err) {
  char objects[PLB_PATH_SIZE + 16];
  snprintf(objects, sizeof objects, "%s/objects", s->folder);
  if (mkdir(folder, 0777) != 0 && errno != EEXIST)
    return plb_fail(err, PLB_EIO, "%.200s: %s", folder, strerror(errno));
  return plb_fsync_folder(objects, err);
}

static plb_status write_loose(plb_store *s, const git_oid *id, const unsigned char *data, size_t size, plb_error *err) {
  char hex[GIT_OID_HEXSZ + 1], folder[PLB_PATH_SIZE + 16], path[PLB_PATH_SIZE + 80], temporary[PLB_PATH_SIZE + 80];
  git_oid_tostr(hex, sizeof hex, id);
  snprintf(folder, sizeof folder, "%s/objects/%.2s", s->folder, hex);
  snprintf(path, sizeof path, "%s/%s", folder, hex + 2);
  snprintf(temporary, sizeof temporary, "%s/tmp_%ld_%s", folder, (long)getpid(), hex + 32);
  plb_status status = access(folder, F_OK) == 0 ? PLB_OK : make_fan_out(s, folder, err);
  if (status != PLB_OK)
    return status;
  const int fd = open(temporary, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0444);
  if (fd < 0)
    return plb_fail(err, PLB_EIO, "the collection cannot be written: %s; nothing was changed", strerror(errno));
  int failed = write_flushed(fd, data, size);
  if (close(fd) != 0 && !failed)
    failed = errno;
  if (!failed && rename(temporary, path) != 0)
    failed = errno;
  if (!failed)
    return plb_fsync_folder(folder, err);
  unlink(temporary);
  return plb_fail(err, PLB_EIO, "the collection cannot be written: %s; nothing was changed", strerror(failed));
}

static bool is_loose(const plb_store *s, const git_oid *id) {
  char hex[GIT_OID_HEXSZ + 1], path[PLB_PATH_SIZE + 80];
  git_oid_tostr(hex, sizeof hex, id);
  snprintf(path, sizeof path, "%s/objects/%.2s/%s", s->folder, hex, hex + 2);
  return access(path, F_OK) == 0;
}

bool plb_store_is_packed(const plb_store *s, const git_oid *id) {
  return !is_loose(s, id) && git_odb_exists_ext(s->odb, id, GIT_ODB_LOOKUP_NO_REFRESH);
}

plb_status plb_store_put(plb_store *s, git_object_t type, const void *data, size_t size, git_oid *out, plb_error *err) {
  if (git_odb_hash(out, data, size, type) < 0)
    return plb_git_fail(err, PLB_EINTERNAL, "no hash");
  if (plb_store_is_packed(s, out))
    return PLB_OK;
  unsigned char *deflated = NULL;
  size_t deflated_size = 0;
  char head[64]; /* "blob 1234" NUL and the content, deflated: the loose format every git reads */
  const int head_size = snprintf(head, sizeof head, "%s %zu", git_object_type2string(type), size) + 1;
  plb_status status = plb_deflate(head, (size_t)head_size, data, size, &deflated, &deflated_size, err);
  if (status == PLB_OK)
    status = write_loose(s, out, deflated, deflated_size, err);
  free(deflated);
  return status;
}
