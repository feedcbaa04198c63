#ifndef CLI_MESSAGE_H
#define CLI_MESSAGE_H
/**
 * @file  What the command says on standard error, always as "plumb: WHERE: what is wrong; what to do", and the exit
 * statuses. Each function that reports a failure returns the exit status, so `return cli_usage(...)` says and leaves.
 */
#include <plumbline/error.h>

/** The exit statuses that mean something; README.md has the table. */
enum cli_exit {
  CLI_OK = 0,
  CLI_DEPARTS = 1,
  CLI_BORDERLINE = 2,
  CLI_UNJUDGED = 3,
  CLI_USAGE = 64,
  CLI_DATA = 65,
  CLI_NO_INPUT = 66,
  CLI_INTERNAL = 70,
  CLI_IO = 74
};

/** Of several captures: an error first (the earliest one), then 1, 2, 3, 0. */
int cli_exit_worst(int so_far, int next);

/** Say a failure of the library. @return its exit status */
int cli_fail(const plb_error *err);
/** Say that the request makes no sense, and which help to read. @param command  NULL: the program itself */
int cli_usage(const char *command, const char *format, ...) PLB_PRINTF(2, 3);
/** Say that memory is short. */
int cli_out_of_memory(void);
/** Say something worth knowing that is no failure. */
void cli_note(const char *format, ...) PLB_PRINTF(1, 2);

/**
 * Show how far a long piece of work is: only on a terminal, only after a second, at most six times a second.
 * @param what  "captures compared"; the line is wiped when done == total
 */
void cli_progress(const char *what, size_t done, size_t total);

#endif
