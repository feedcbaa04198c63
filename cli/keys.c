#include "keys.h"

#include <fcntl.h>
#include <signal.h>
#include <stddef.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

static struct termios before;
static volatile sig_atomic_t interrupted, resumed;

static void note_interrupt(int number) {
  (void)number;
  interrupted = 1;
}

static void note_resume(int number) {
  (void)number;
  resumed = 1;
}

static void catch(int number, void (*handler)(int)) {
  struct sigaction action;
  memset(&action, 0, sizeof action);
  action.sa_handler = handler; /* without SA_RESTART: a wait for samples must end */
  sigaction(number, &action, NULL);
}

/* Key by key and unseen; interrupts stay. */
static bool single(int fd) {
  struct termios now = before;
  now.c_lflag &= ~(tcflag_t)(ICANON | ECHO);
  now.c_cc[VMIN] = 0;
  now.c_cc[VTIME] = 0;
  return tcsetattr(fd, TCSANOW, &now) == 0;
}

void cli_keys_open(cli_keys *keys) {
  interrupted = resumed = 0;
  catch(SIGINT, note_interrupt);
  catch(SIGTERM, note_interrupt);
  catch(SIGHUP, note_interrupt);
  catch(SIGCONT, note_resume);
  keys->fd = open("/dev/tty", O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (keys->fd < 0)
    return;
  /* a command in the background must leave the terminal alone */
  if (tcgetpgrp(keys->fd) != getpgrp() || tcgetattr(keys->fd, &before) != 0 || !single(keys->fd)) {
    close(keys->fd);
    keys->fd = -1;
  }
}

void cli_keys_close(cli_keys *keys) {
  if (keys->fd >= 0) {
    tcsetattr(keys->fd, TCSANOW, &before);
    close(keys->fd);
  }
  keys->fd = -1;
}

char cli_keys_read(cli_keys *keys) {
  char key = 0;
  if (keys->fd >= 0 && resumed) {
    resumed = 0; /* the shell has put the terminal back meanwhile */
    single(keys->fd);
  }
  return keys->fd >= 0 && read(keys->fd, &key, 1) == 1 ? key : (char)0;
}

bool cli_keys_interrupted(void) { return interrupted != 0; }

void cli_keys_bell(const cli_keys *keys) {
  const int fd = keys->fd >= 0 ? keys->fd : isatty(STDERR_FILENO) ? STDERR_FILENO : -1;
  if (fd >= 0 && write(fd, "\a", 1) != 1)
    return; /* a bell that does not sound is no reason to stop */
}
