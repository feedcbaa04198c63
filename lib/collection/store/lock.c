/* One writer at a time. The kernel holds the lock for the writer's life, so a killed one never leaves it behind; what libgit2 leaves
 * behind (refs/heads/main.lock, temporary objects) is recognised under the lock and removed. */
#include "collection/store/folder.h"
#include "collection/store/store.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { FOREIGN_LOCK_S = 60, SWEEP_S = 3600 };

static const char *const git_locks[] = {"refs/heads/main.lock", "HEAD.lock", "config.lock", "packed-refs.lock"};
enum { GIT_LOCKS = sizeof git_locks / sizeof git_locks[0] };

static void pause_ms(long ms) {
  const struct timespec t = {ms / 1000, (ms % 1000) * 1000000};
  nanosleep(&t, NULL);
}

static long age_of(const char *path) {
  struct stat st;
  return lstat(path, &st) == 0 ? (long)(time(NULL) - st.st_mtime) : -1;
}

/* Our own writers say so before they start; without that word a lock file is another git client's, which gets time to finish. */
static plb_status clear_git_locks(plb_store *s, plb_error *err) {
  for (int i = 0; i < GIT_LOCKS; i++) {
    char path[PLB_PATH_SIZE + 32];
    snprintf(path, sizeof path, "%s/%s", s->folder, git_locks[i]);
    for (unsigned waited = 0; age_of(path) >= 0; waited += 50) {
      if (s->after_crash || age_of(path) > FOREIGN_LOCK_S)
        unlink(path);
      else if (waited >= s->options.wait_s * 1000)
        return plb_fail(err, PLB_EBUSY, "another git program holds the collection (%s); try again, or remove that file when none is running", path);
      else
        pause_ms(50);
    }
  }
  return PLB_OK;
}

static plb_status take_lock(plb_store *s, const char *path, plb_error *err) {
  s->lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
  if (s->lock < 0)
    return plb_fail(err, errno == EACCES || errno == EROFS || errno == EPERM ? PLB_ECREATE : PLB_EIO,
                    "the collection cannot be written: %s; nothing was changed", strerror(errno));
  const long most_ms = (long)s->options.wait_s * 1000;
  for (long waited = 0; flock(s->lock, LOCK_EX | LOCK_NB) != 0; waited += 5) {
    if (errno != EWOULDBLOCK && errno != EINTR)
      return plb_fail(err, PLB_EIO, "the collection cannot be locked: %s", strerror(errno));
    if (waited >= most_ms)
      return plb_fail(err, PLB_EBUSY, "another program has been writing to the collection for %u s; try again", s->options.wait_s);
    pause_ms(5);
  }
  return PLB_OK;
}

plb_status plb_store_lock(plb_store *s, plb_error *err) {
  if (s->lock >= 0)
    return PLB_OK;
  char path[PLB_PATH_SIZE + 32], word[8] = "";
  snprintf(path, sizeof path, "%s/plumbline.lock", s->folder);
  plb_status status = take_lock(s, path, err);
  if (status == PLB_OK) {
    s->after_crash = pread(s->lock, word, 4, 0) == 4 && memcmp(word, "busy", 4) == 0;
    status = clear_git_locks(s, err);
  }
  if (status == PLB_OK && s->after_crash)
    plb_store_sweep(s, 0);
  if (status != PLB_OK)
    plb_store_unlock(s);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, s->folder);
}

void plb_store_unlock(plb_store *s) {
  if (s->lock >= 0)
    close(s->lock);
  s->lock = -1;
}

plb_status plb_store_mark(plb_store *s, bool busy, plb_error *err) {
  const bool done = busy ? pwrite(s->lock, "busy", 4, 0) == 4 : ftruncate(s->lock, 0) == 0;
  if (done)
    return PLB_OK;
  return plb_fail(err, PLB_EIO, "the collection cannot be written: %s; nothing was changed", strerror(errno));
}

typedef struct sweep {
  long age_s;
} sweep;

static bool is_temporary(const char *name) {
  return strncmp(name, "tmp_", 4) == 0 || strncmp(name, "pack_git2_", 10) == 0 || strncmp(name, ".tmp", 4) == 0;
}

/* libgit2 puts a pack's index in place before the pack itself: killed in between, it leaves an index of nothing. */
static bool is_orphan(const char *path) {
  char pack[2 * PLB_PATH_SIZE];
  const size_t n = strlen(path);
  if (n < 4 || strcmp(path + n - 4, ".idx") != 0)
    return false;
  snprintf(pack, sizeof pack, "%.*s.pack", (int)(n - 4), path);
  return access(pack, F_OK) != 0;
}

static bool sweep_file(const char *path, void *payload) {
  const sweep *s = payload;
  const char *name = strrchr(path, '/');
  if (name && (is_temporary(name + 1) || is_orphan(path)) && age_of(path) >= s->age_s)
    unlink(path);
  return true;
}

/* Folders of fetches whose process is gone. */
static void sweep_quarantines(const plb_store *s, long age_s) {
  DIR *dir = opendir(s->folder);
  for (struct dirent *entry; dir && (entry = readdir(dir)) != NULL;) {
    char path[PLB_PATH_SIZE + 300];
    snprintf(path, sizeof path, "%s/%s", s->folder, entry->d_name);
    if (strncmp(entry->d_name, "quarantine-", 11) == 0 && age_of(path) >= age_s)
      plb_folder_remove(path);
    if (strncmp(entry->d_name, "plumbline.index.", 16) == 0 && age_of(path) >= age_s)
      unlink(path);
  }
  if (dir)
    closedir(dir);
}

void plb_store_sweep(plb_store *s, long age_s) {
  char path[PLB_PATH_SIZE + 32];
  sweep rule = {age_s};
  snprintf(path, sizeof path, "%s/objects", s->folder);
  plb_folder_walk(path, sweep_file, &rule);
  sweep_quarantines(s, age_s > SWEEP_S ? age_s : SWEEP_S);
}
