#include "output.h"
#include "message.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

static int failed; /* errno of the first write that failed, 0: none */

bool cli_output_begin(void) {
  /* A closed descriptor would be given to the next file that is opened, and a message would land in a capture. */
  for (;;) {
    const int fd = open("/dev/null", O_RDONLY);
    if (fd < 0)
      return false;
    if (fd > STDERR_FILENO) {
      close(fd);
      break;
    }
  }
  static char page[1 << 16]; /* a page of help goes out in one piece, so that the reason of a failure is not lost */
  if (!isatty(STDOUT_FILENO))
    setvbuf(stdout, page, _IOFBF, sizeof page);
  struct sigaction ignore;
  memset(&ignore, 0, sizeof ignore);
  ignore.sa_handler = SIG_IGN;
  return sigaction(SIGPIPE, &ignore, NULL) == 0;
}

void cli_output_text(const char *text) {
  errno = 0;
  if (fputs(text, stdout) == EOF && !failed)
    failed = errno ? errno : EIO;
}

int cli_output_finish(int status) {
  errno = 0;
  const bool flushed = fflush(stdout) == 0;
  if (!flushed && !failed)
    failed = errno ? errno : EIO;
  if (!failed && ferror(stdout))
    failed = EIO;
  if (!failed)
    return status;
  if (failed == EPIPE)
    return status; /* the reader has seen enough: what was found does not change */
  cli_note("standard output: cannot write it: %s; free some space or write elsewhere", strerror(failed));
  return status >= CLI_USAGE ? status : CLI_IO;
}

bool cli_output_coloured(void) {
  const char *refused = getenv("NO_COLOR");
  const char *terminal = getenv("TERM");
  if (refused && *refused)
    return false;
  return terminal && strcmp(terminal, "dumb") != 0 && isatty(STDOUT_FILENO);
}

int cli_output_width(void) {
  struct winsize size = {0};
  if (isatty(STDOUT_FILENO) && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col >= 24)
    return size.ws_col;
  const char *columns = getenv("COLUMNS");
  const long stated = columns ? strtol(columns, NULL, 10) : 0;
  return stated >= 24 && stated <= 1000 ? (int)stated : 80;
}

bool cli_same_file(const char *a, const char *b) {
  struct stat one;
  struct stat other;
  return stat(a, &one) == 0 && stat(b, &other) == 0 && one.st_dev == other.st_dev && one.st_ino == other.st_ino;
}

static int cannot_create(const char *path, const char *why) {
  plb_error err = PLB_ERROR_INIT;
  err.status = PLB_ECREATE;
  snprintf(err.path, sizeof err.path, "%s", path);
  snprintf(err.message, sizeof err.message, "cannot create it: %s", why);
  return cli_fail(&err);
}

int cli_output_possible(const char *path) {
  struct stat about;
  if (stat(path, &about) == 0) {
    if (S_ISDIR(about.st_mode))
      return cannot_create(path, "it is a folder; name a file");
    return access(path, W_OK) == 0 ? 0 : cannot_create(path, "it may not be written; choose another name");
  }
  char folder[4096];
  const char *slash = strrchr(path, '/');
  if (!slash)
    snprintf(folder, sizeof folder, ".");
  else
    snprintf(folder, sizeof folder, "%.*s", (int)(slash - path) + 1, path);
  if (stat(folder, &about) != 0 || !S_ISDIR(about.st_mode))
    return cannot_create(path, "there is no such folder; make it first or choose another");
  return access(folder, W_OK | X_OK) == 0 ? 0 : cannot_create(path, "its folder may not be written; choose another");
}
