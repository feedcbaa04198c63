#include "core/file.h"
#include "core/fail.h"
#include "core/text.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum {
  LONGEST = 4096, /* the longest path handled [bytes] */
  MOST_LINKS = 40, /* as many symbolic links in a row as Linux follows */
  MOST_NAMES = 100, /* tries for a free temporary name */
  FIRST_ROOM = 65536 /* first allocation for input of unknown length [bytes] */
};

typedef struct reason {
  int code;
  const char *text;
} reason;

static const reason reasons[] = {
    {ENOENT, "no such file or folder; check the name"},
    {ENOTDIR, "a part of the path is not a folder; check the name"},
    {EISDIR, "it is a folder; name a file"},
    {EACCES, "no permission; change the permissions or choose another place"},
    {EPERM, "no permission; change the permissions or choose another place"},
    {EROFS, "the disk is read-only; choose another place"},
    {ENOSPC, "the disk is full; free some space"},
    {EDQUOT, "the disk quota is used up; free some space"},
    {EFBIG, "the file would be too large for this disk; choose another place"},
    {ENAMETOOLONG, "the name is too long; choose a shorter one"},
    {ELOOP, "the links lead in a circle; name the file itself"},
    {EMFILE, "too many files are open; close some"},
    {ENFILE, "too many files are open; close some"},
    {EPIPE, "the reader has gone; start it again"},
};

static plb_status fail_system(plb_error *err, plb_status status, const char *path, const char *verb, int code) {
  const char *text = NULL;
  for (size_t i = 0; i < sizeof reasons / sizeof reasons[0] && !text; i++)
    if (reasons[i].code == code)
      text = reasons[i].text;
  char other[128] = "";
  if (text) {
    plb_fail(err, status, "cannot %s it: %s", verb, text);
  } else {
    if (strerror_r(code, other, sizeof other) != 0)
      plb_text_print(other, sizeof other, "system error %d", code);
    plb_fail(err, status, "cannot %s it: %s; try again or choose another place", verb, other);
  }
  return plb_fail_path(err, status, path);
}

/* /dev/stdout and its like stand for descriptors this process holds: the number, -1 for any other path. */
static int held_descriptor(const char *path) {
  static const char *const names[] = {"/dev/stdin", "/dev/stdout", "/dev/stderr"};
  static const char *const folders[] = {"/dev/fd/", "/proc/self/fd/"};
  for (int i = 0; i < 3; i++)
    if (strcmp(path, names[i]) == 0)
      return i;
  for (size_t i = 0; i < 2; i++) {
    const size_t n = strlen(folders[i]);
    const size_t digits = strncmp(path, folders[i], n) == 0 ? strspn(path + n, "0123456789") : 0;
    if (digits > 0 && digits < 7 && path[n + digits] == '\0')
      return (int)strtol(path + n, NULL, 10);
  }
  return -1;
}

static int open_input(const char *path) {
  int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
  /* A socket as standard input has a name but cannot be opened by it. */
  if (fd < 0 && errno == ENXIO && held_descriptor(path) >= 0)
    fd = dup(held_descriptor(path));
  return fd;
}

static plb_status fail_too_large(plb_error *err, const char *path, size_t most) {
  plb_fail(err, PLB_EDATA, "the file is larger than %zu bytes, the most that is read here; give a shorter one", most);
  return plb_fail_path(err, PLB_EDATA, path);
}

/* Double the room, but never past `most` bytes, one to notice that there are more, and the NUL. */
static size_t larger_room(size_t room, size_t most) {
  const size_t limit = most > SIZE_MAX - 2 ? SIZE_MAX : most + 2;
  return room > limit / 2 ? limit : room * 2;
}

/* Reads to the end rather than trusting the size of the file: pipes have none, and a file may still be growing. */
static plb_status read_all(int fd, const char *path, size_t most, size_t room, char **data, size_t *size,
                           plb_error *err) {
  *data = malloc(room);
  if (!*data)
    return plb_fail_path(err, plb_fail(err, PLB_ENOMEM, "memory is short; give a shorter file"), path);
  for (*size = 0;;) {
    if (room - *size < 2) {
      const size_t wanted = larger_room(room, most);
      char *moved = wanted > room ? realloc(*data, wanted) : NULL;
      if (!moved)
        return plb_fail_path(err, plb_fail(err, PLB_ENOMEM, "memory is short; give a shorter file"), path);
      *data = moved;
      room = wanted;
    }
    const ssize_t got = read(fd, *data + *size, room - *size - 1);
    if (got < 0 && errno == EINTR)
      continue;
    if (got < 0)
      return fail_system(err, PLB_EIO, path, "read", errno);
    if (got == 0)
      break;
    *size += (size_t)got;
    if (*size > most)
      return fail_too_large(err, path, most);
  }
  (*data)[*size] = '\0';
  return PLB_OK;
}

plb_status plb_file_read(const char *path, size_t most, char **data_out, size_t *size_out, plb_error *err) {
  plb_status status = PLB_OK;
  char *data = NULL;
  size_t size = 0;
  struct stat about;
  const int fd = open_input(path);
  if (fd < 0)
    return fail_system(err, PLB_ENOINPUT, path, "read", errno);
  if (fstat(fd, &about) != 0) {
    status = fail_system(err, PLB_EIO, path, "read", errno);
    goto done;
  }
  if (S_ISDIR(about.st_mode)) {
    status = fail_system(err, PLB_ENOINPUT, path, "read", EISDIR);
    goto done;
  }
  size_t room = FIRST_ROOM;
  if (S_ISREG(about.st_mode) && about.st_size > 0) {
    if ((uintmax_t)about.st_size > most) {
      status = fail_too_large(err, path, most);
      goto done;
    }
    room = (size_t)about.st_size + 2; /* the NUL, and a byte so that the end is met without growing */
  } else if (room > most) {
    room = most + 2;
  }
  status = read_all(fd, path, most, room, &data, &size, err);
  if (status == PLB_OK) {
    *data_out = data;
    *size_out = size;
    data = NULL;
  }
done:
  free(data);
  close(fd);
  return status;
}

/* Follow links at the end of the path, so that the file changes and the link stays. A link to nowhere is followed
 * too: the file is then made where it points. 0 or an errno. */
static int follow_links(const char *path, char out[LONGEST]) {
  if (!plb_text_copy(out, LONGEST, path))
    return ENAMETOOLONG;
  for (int links = 0; links < MOST_LINKS; links++) {
    char target[LONGEST];
    if (held_descriptor(out) >= 0)
      return 0;
    const ssize_t length = readlink(out, target, sizeof target - 1);
    if (length < 0)
      return 0; /* not a link, or not there: whoever opens it will say why */
    target[length] = '\0';
    const char *slash = strrchr(out, '/');
    const size_t keep = target[0] == '/' || !slash ? 0 : (size_t)(slash - out) + 1;
    if (keep + (size_t)length >= LONGEST)
      return ENAMETOOLONG;
    memcpy(out + keep, target, (size_t)length + 1);
  }
  return ELOOP;
}

/* 0 or an errno. */
static int write_all(int fd, const char *data, size_t size) {
  while (size > 0) {
    const ssize_t put = write(fd, data, size);
    if (put < 0 && errno == EINTR)
      continue;
    if (put < 0)
      return errno;
    data += put;
    size -= (size_t)put;
  }
  return 0;
}

/* 0 or an errno; some file systems have nothing to flush and say EINVAL. */
static int flush_to_disk(int fd) {
  if (fsync(fd) == 0 || errno == EINVAL || errno == ENOTSUP)
    return 0;
  return errno;
}

/* Devices, pipes and held descriptors cannot be replaced: they are written to as they are. */
static plb_status write_in_place(const char *path, const char *target, const void *data, size_t size, plb_error *err) {
  const int held = held_descriptor(target);
  const int fd = held >= 0 ? dup(held) : open(target, O_WRONLY | O_CLOEXEC | O_NOCTTY);
  if (fd < 0)
    return fail_system(err, PLB_ECREATE, path, "create", errno);
  int code = write_all(fd, data, size);
  if (close(fd) != 0 && code == 0 && errno != EINTR)
    code = errno;
  return code ? fail_system(err, PLB_EIO, path, "write", code) : PLB_OK;
}

/* Bytes of `path` up to and with its last slash. */
static size_t folder_length(const char *path) {
  const char *slash = strrchr(path, '/');
  return slash ? (size_t)(slash - path) + 1 : 0;
}

/* Create a file of a new name in the target's folder. mkstemp would ignore the umask; `mode` passed to open does
 * not, and O_EXCL makes a guessed name safe. The descriptor, or -1 and errno. */
static int open_temporary(const char *target, mode_t mode, char name[LONGEST]) {
  struct timespec now = {0, 0};
  clock_gettime(CLOCK_REALTIME, &now);
  const size_t folder = folder_length(target);
  for (unsigned i = 0; i < MOST_NAMES; i++) {
    const int length = plb_text_print(name, LONGEST, "%.*s.plumbline-%ld-%ld-%u.part", (int)folder, target,
                                      (long)getpid(), now.tv_nsec, i);
    if (length < 0 || length >= LONGEST) {
      errno = ENAMETOOLONG;
      return -1;
    }
    const int fd = open(name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, mode);
    if (fd >= 0 || errno != EEXIST)
      return fd;
  }
  return -1;
}

/* Make the new name itself survive a power cut. 0 or an errno; a folder that may be written but not read cannot be
 * opened, and is left to the system. */
static int flush_folder(const char *target) {
  char folder[LONGEST];
  const size_t length = folder_length(target);
  memcpy(folder, target, length);
  memcpy(folder + length, ".", 2); /* "dir/." or "." */
  const int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0)
    return errno == EACCES ? 0 : errno;
  const int code = flush_to_disk(fd);
  close(fd);
  return code;
}

/* `kept` is the mode of the file to be replaced, NULL when there is none. */
static plb_status write_beside(const char *path, const char *target, const mode_t *kept, const void *data, size_t size,
                               plb_error *err) {
  char name[LONGEST];
  plb_status status = PLB_EIO;
  int code = 0;
  bool there = true;
  int fd = open_temporary(target, kept ? *kept : 0666, name);
  if (fd < 0)
    return fail_system(err, PLB_ECREATE, path, "create", errno);
  if (kept && fchmod(fd, *kept) != 0) /* what the umask took away */
    code = errno;
  if (code == 0)
    code = write_all(fd, data, size);
  if (code == 0)
    code = flush_to_disk(fd);
  if (close(fd) != 0 && code == 0)
    code = errno;
  if (code != 0)
    goto done;
  if (rename(name, target) != 0) {
    code = errno;
    status = PLB_ECREATE;
    goto done;
  }
  there = false;
  code = flush_folder(target);
done:
  if (there)
    unlink(name);
  if (code == 0)
    return PLB_OK;
  return fail_system(err, status, path, status == PLB_ECREATE ? "create" : "write", code);
}

plb_status plb_file_write(const char *path, const void *data, size_t size, plb_error *err) {
  char target[LONGEST];
  struct stat about;
  const int code = follow_links(path, target);
  if (code != 0)
    return fail_system(err, PLB_ECREATE, path, "create", code);
  if (held_descriptor(target) >= 0)
    return write_in_place(path, target, data, size, err);
  if (target[folder_length(target)] == '\0')
    return fail_system(err, PLB_ECREATE, path, "create", target[0] ? EISDIR : ENOENT);
  if (stat(target, &about) != 0) {
    if (errno != ENOENT)
      return fail_system(err, PLB_ECREATE, path, "create", errno);
    return write_beside(path, target, NULL, data, size, err);
  }
  if (S_ISDIR(about.st_mode))
    return fail_system(err, PLB_ECREATE, path, "create", EISDIR);
  if (!S_ISREG(about.st_mode))
    return write_in_place(path, target, data, size, err);
  /* Renaming would replace a write-protected file without a word. */
  if (faccessat(AT_FDCWD, target, W_OK, AT_EACCESS) != 0)
    return fail_system(err, PLB_ECREATE, path, "create", errno);
  const mode_t kept = about.st_mode & 0777;
  return write_beside(path, target, &kept, data, size, err);
}

/* True when FOLDER + MIDDLE + NAME fits and is there. */
static bool try_data(const char *folder, const char *middle, const char *name, char *out) {
  const int length = plb_text_print(out, PLB_PATH_SIZE, "%s%s%s", folder, middle, name);
  return length > 0 && length < PLB_PATH_SIZE && access(out, R_OK) == 0;
}

/* A data file's name stays below the data folder. */
static bool name_stays_inside(const char *name) {
  if (name[0] == '\0' || name[0] == '/')
    return false;
  for (const char *part = name; part; part = strchr(part, '/')) {
    part += *part == '/';
    if (strncmp(part, "..", 2) == 0 && (part[2] == '\0' || part[2] == '/'))
      return false;
  }
  return true;
}

plb_status plb_file_find_data(const char *name, char *out, plb_error *err) {
  if (!name_stays_inside(name)) {
    out[0] = '\0';
    return plb_fail(err, PLB_EINVAL, "\"%s\" does not name a data file; give a name below the data folder", name);
  }
  const char *told = getenv("PLUMBLINE_DATA");
  if (told && told[0] && try_data(told, "/", name, out))
    return PLB_OK;
  char program[PLB_PATH_SIZE];
  const ssize_t length = readlink("/proc/self/exe", program, sizeof program - 1);
  if (length > 0) {
    program[length] = '\0';
    program[folder_length(program)] = '\0';
    if (try_data(program, "../share/plumbline/", name, out))
      return PLB_OK;
  }
  if (try_data(PLB_SOURCE_DATA, "/", name, out))
    return PLB_OK;
  out[0] = '\0';
  return plb_fail(err, PLB_ENOINPUT,
                  "the data file \"%s\" is not installed; set PLUMBLINE_DATA to the folder that holds it", name);
}
