/* The helper program is started with its standard output and error in one pipe; what it says last is handed on. */
#include "collection/read/helper.h"

#include <errno.h>
#include <spawn.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

extern char **environ;

plb_status plb_collection_helper(char *out, plb_error *err) {
  static const char *const places[] = {"", "../libexec/plumbline/", "../bin/"};
  char self[PLB_PATH_SIZE];
  const ssize_t n = readlink("/proc/self/exe", self, sizeof self - 1);
  if (n > 0) {
    self[n] = '\0';
    char *slash = strrchr(self, '/');
    if (slash)
      slash[1] = '\0';
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++)
      if (snprintf(out, PLB_PATH_SIZE, "%s%splumb-store", self, places[i]) < PLB_PATH_SIZE && access(out, X_OK) == 0)
        return PLB_OK;
  }
  return plb_fail(err, PLB_EUNAVAILABLE, "the helper program plumb-store is missing; install it beside this program");
}

static void keep_last_line(char *text, char *out, size_t size) {
  size_t n = strlen(text);
  while (n > 0 && text[n - 1] == '\n')
    text[--n] = '\0';
  const char *line = strrchr(text, '\n');
  snprintf(out, size, "%s", line ? line + 1 : text);
}

/* Read to the end; only the last 4 KiB are kept. */
static void drain(int fd, char *said, size_t size) {
  char text[4096];
  size_t n = 0;
  for (;;) {
    if (n > sizeof text / 2) {
      memmove(text, text + n / 2, n - n / 2);
      n -= n / 2;
    }
    const ssize_t got = read(fd, text + n, sizeof text - 1 - n);
    if (got < 0 && errno == EINTR)
      continue;
    if (got <= 0)
      break;
    n += (size_t)got;
  }
  text[n] = '\0';
  if (said)
    keep_last_line(text, said, size);
}

plb_status plb_helper_run(const char *const *words, char *said_out, size_t size, int *exit_out, plb_error *err) {
  char path[PLB_PATH_SIZE];
  const plb_status found = plb_collection_helper(path, err);
  if (found != PLB_OK)
    return found;
  size_t count = 0;
  while (words[count])
    count++;
  char **argv = plb_calloc(count + 2, sizeof *argv);
  int ends[2];
  if (!argv || pipe(ends) != 0) {
    free(argv);
    return plb_fail(err, PLB_EIO, "no pipe to the helper program");
  }
  argv[0] = path;
  for (size_t i = 0; i < count; i++)
    argv[i + 1] = (char *)(uintptr_t)words[i];
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_adddup2(&actions, ends[1], 1);
  posix_spawn_file_actions_adddup2(&actions, ends[1], 2);
  posix_spawn_file_actions_addclose(&actions, ends[0]);
  posix_spawn_file_actions_addclose(&actions, ends[1]);
  pid_t child = 0;
  const int failed = posix_spawn(&child, path, &actions, NULL, argv, environ);
  posix_spawn_file_actions_destroy(&actions);
  close(ends[1]);
  free(argv);
  if (failed) {
    close(ends[0]);
    return plb_fail(err, PLB_EUNAVAILABLE, "the helper program %s cannot be started: %s", path, strerror(failed));
  }
  drain(ends[0], said_out, size);
  close(ends[0]);
  int state = 0;
  while (waitpid(child, &state, 0) < 0 && errno == EINTR) {
  }
  *exit_out = WIFEXITED(state) ? WEXITSTATUS(state) : 70;
  return PLB_OK;
}
