/* Arrivals are untrusted: a child process with limits on memory, time and file size gets them into a repository of their own. */
#include "collection/store/folder.h"
#include "collection/store/store.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#ifdef __linux__
#include <sys/prctl.h>
#endif
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { WALL_S = 3600 };

#if defined(__SANITIZE_ADDRESS__)
enum { LIMIT_MEMORY = 0 }; /* the sanitizer reserves terabytes of address space */
#else
enum { LIMIT_MEMORY = 1 };
#endif

static void limit(int what, rlim_t value) {
  const struct rlimit r = {value, value};
  setrlimit(what, &r);
}

static void set_limits(void) {
  const rlim_t mib = (rlim_t)1 << 20;
  if (LIMIT_MEMORY)
    limit(RLIMIT_AS, PLB_ARRIVAL_MEMORY_MIB * mib);
  limit(RLIMIT_CPU, PLB_ARRIVAL_CPU_S);
  limit(RLIMIT_FSIZE, PLB_ARRIVAL_FILE_MIB * mib);
  limit(RLIMIT_CORE, 0);
  signal(SIGXFSZ, SIG_IGN); /* a write that is too long fails instead */
  git_libgit2_opts(GIT_OPT_SET_MWINDOW_SIZE, (size_t)16 << 20);
  git_libgit2_opts(GIT_OPT_SET_MWINDOW_MAPPED_LIMIT, (size_t)128 << 20);
  git_libgit2_opts(GIT_OPT_SET_CACHE_MAX_SIZE, (ssize_t)16 << 20);
}

/** What the child answers with. */
typedef struct report {
  plb_status status;
  git_oid incoming;
  char message[512];
} report;

/* The child dies with its parent, also when that was killed before the child could ask for it. */
static void follow_parent(pid_t parent) {
#ifdef __linux__
  prctl(PR_SET_PDEATHSIG, SIGKILL);
#endif
  if (getppid() != parent)
    _exit(1);
}

static void child(const char *folder, const char *quarantine, const char *url, pid_t parent, int answer) {
  plb_error err = PLB_ERROR_INIT;
  report r = {PLB_OK, {{0}}, ""};
  follow_parent(parent);
  set_limits();
  r.status = plb_arrival(folder, quarantine, url, &r.incoming, &err);
  if (r.status != PLB_OK)
    plb_error_format(&err, r.message, sizeof r.message);
  const ssize_t n = write(answer, &r, sizeof r);
  _exit(n == (ssize_t)sizeof r ? 0 : 1);
}

static bool read_answer(int fd, pid_t pid, report *out) {
  size_t done = 0;
  while (done < sizeof *out) {
    struct pollfd p = {fd, POLLIN, 0};
    const int ready = poll(&p, 1, WALL_S * 1000);
    if (ready < 0 && errno == EINTR)
      continue;
    if (ready <= 0) {
      kill(pid, SIGKILL);
      return false;
    }
    const ssize_t n = read(fd, (char *)out + done, sizeof *out - done);
    if (n < 0 && errno == EINTR)
      continue;
    if (n <= 0)
      return false;
    done += (size_t)n;
  }
  return true;
}

plb_status plb_quarantine(plb_store *s, const char *url, git_oid *incoming, plb_error *err) {
  char quarantine[PLB_PATH_SIZE + 32];
  int ends[2];
  snprintf(quarantine, sizeof quarantine, "%s/quarantine-%ld", s->folder, (long)getpid());
  plb_folder_remove(quarantine);
  if (mkdir(quarantine, 0700) != 0)
    return plb_fail(err, PLB_ECREATE, "the collection cannot be written: %s; nothing was changed", strerror(errno));
  if (pipe(ends) != 0)
    return plb_fail(err, PLB_EIO, "no pipe: %s", strerror(errno));
  const pid_t parent = getpid(), pid = fork();
  if (pid == 0) {
    close(ends[0]);
    child(s->folder, quarantine, url, parent, ends[1]);
  }
  close(ends[1]);
  report r = {PLB_OK, {{0}}, ""};
  const bool answered = pid > 0 && read_answer(ends[0], pid, &r);
  close(ends[0]);
  int state = 0;
  while (pid > 0 && waitpid(pid, &state, 0) < 0 && errno == EINTR) {
  }
  plb_folder_remove(quarantine);
  if (!answered)
    return plb_fail(err, PLB_EDATA, "what arrives from %.200s needs more than the %d MiB and %d s it is given; refused, nothing was changed", url,
                    PLB_ARRIVAL_MEMORY_MIB, PLB_ARRIVAL_CPU_S);
  *incoming = r.incoming;
  r.message[sizeof r.message - 1] = '\0';
  return r.status == PLB_OK ? PLB_OK : plb_fail(err, r.status, "%s", r.message);
}
