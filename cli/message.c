#include "message.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

int cli_exit_worst(int so_far, int next) {
  static const int rank_of_word[] = {[CLI_OK] = 0, [CLI_UNJUDGED] = 1, [CLI_BORDERLINE] = 2, [CLI_DEPARTS] = 3};
  const int a = so_far > CLI_UNJUDGED ? 4 : rank_of_word[so_far];
  const int b = next > CLI_UNJUDGED ? 4 : rank_of_word[next];
  return b > a ? next : so_far;
}

/* One message is one line, whatever a file is called: control characters could also steer the terminal. */
static void say(const char *text) {
  char line[2048];
  size_t length = 0;
  for (const char *c = text; *c && length < sizeof line - 1; c++)
    line[length++] = (unsigned char)*c < 0x20 || *c == 0x7f ? '?' : *c;
  line[length] = '\0';
  fprintf(stderr, "plumb: %s\n", line);
}

int cli_fail(const plb_error *err) {
  char text[2048];
  plb_error_format(err, text, sizeof text);
  say(text);
  const int status = plb_status_exit(err->status);
  return status ? status : CLI_INTERNAL;
}

int cli_usage(const char *command, const char *format, ...) {
  char text[1536];
  char line[2048];
  va_list values;
  va_start(values, format);
  vsnprintf(text, sizeof text, format, values);
  va_end(values);
  snprintf(line, sizeof line, "%s; see \"plumb %s%s--help\"", text, command ? command : "", command ? " " : "");
  say(line);
  return CLI_USAGE;
}

int cli_out_of_memory(void) {
  say("memory is short; give fewer or shorter captures");
  return CLI_INTERNAL;
}

void cli_note(const char *format, ...) {
  char text[2048];
  va_list values;
  va_start(values, format);
  vsnprintf(text, sizeof text, format, values);
  va_end(values);
  say(text);
}

static double now_s(void) {
  struct timespec now = {0, 0};
  clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

void cli_progress(const char *what, size_t done, size_t total) {
  static double begun_s = 0;
  static double shown_s = 0;
  static int terminal = -1;
  if (terminal < 0)
    terminal = isatty(STDERR_FILENO);
  if (!terminal)
    return;
  const double at_s = now_s();
  if (begun_s <= 0)
    begun_s = at_s;
  if (done == total) {
    if (shown_s > 0)
      fputs("\r\033[K", stderr);
    begun_s = shown_s = 0;
    return;
  }
  if (at_s - begun_s < 1 || at_s - shown_s < 1.0 / 6)
    return;
  shown_s = at_s;
  fprintf(stderr, "\r\033[K%zu of %zu %s", done, total, what);
}
