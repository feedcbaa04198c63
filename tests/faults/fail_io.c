/*
 * A library to be preloaded: makes the n-th call of one kind fail, once or from then on.
 *   FAIL_CALL   write | fsync | rename
 *   FAIL_AT     n, from 1
 *   FAIL_ONWARD set: every later call fails as well
 *   FAIL_ERRNO  5 (input/output error) or 28 (disk full); default 28 for write, 5 for the others
 *   FAIL_KILL   set: instead of failing, the whole process group is killed (SIGKILL) right before that call
 *   FAIL_COUNT  a file into which the number of calls is written at the end, so that the caller knows when to stop
 * Standard output and error are left alone: they are where the program says what went wrong.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static long calls;

static int fails(const char *kind, int usual) {
  const char *call = getenv("FAIL_CALL"), *at = getenv("FAIL_AT"), *number = getenv("FAIL_ERRNO");
  if (!call || !at || strcmp(call, kind) != 0)
    return 0;
  calls++;
  if (calls != atol(at) && !(calls > atol(at) && getenv("FAIL_ONWARD")))
    return 0;
  if (getenv("FAIL_KILL"))
    kill(0, SIGKILL);
  errno = number ? atoi(number) : usual;
  return 1;
}

ssize_t write(int fd, const void *data, size_t size) {
  static ssize_t (*real)(int, const void *, size_t);
  if (!real)
    *(void **)&real = dlsym(RTLD_NEXT, "write");
  return fd > 2 && fails("write", ENOSPC) ? -1 : real(fd, data, size);
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t at) {
  static ssize_t (*real)(int, const void *, size_t, off_t);
  if (!real)
    *(void **)&real = dlsym(RTLD_NEXT, "pwrite");
  return fails("write", ENOSPC) ? -1 : real(fd, data, size, at);
}

ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at);
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
  static ssize_t (*real)(int, const void *, size_t, off64_t);
  if (!real)
    *(void **)&real = dlsym(RTLD_NEXT, "pwrite64");
  return fails("write", ENOSPC) ? -1 : real(fd, data, size, at);
}

int fsync(int fd) {
  static int (*real)(int);
  if (!real)
    *(void **)&real = dlsym(RTLD_NEXT, "fsync");
  return fails("fsync", EIO) ? -1 : real(fd);
}

int fdatasync(int fd) {
  static int (*real)(int);
  if (!real)
    *(void **)&real = dlsym(RTLD_NEXT, "fdatasync");
  return fails("fsync", EIO) ? -1 : real(fd);
}

int rename(const char *from, const char *to) {
  static int (*real)(const char *, const char *);
  if (!real)
    *(void **)&real = dlsym(RTLD_NEXT, "rename");
  return fails("rename", EIO) ? -1 : real(from, to);
}

__attribute__((destructor)) static void report(void) {
  const char *path = getenv("FAIL_COUNT");
  FILE *f = path ? fopen(path, "w") : NULL;
  if (!f)
    return;
  fprintf(f, "%ld\n", calls);
  fclose(f);
}
