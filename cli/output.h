#ifndef CLI_OUTPUT_H
#define CLI_OUTPUT_H
/** @file  Results: standard output, and files that must not fall on one of the inputs. */
#include <stdbool.h>

/** Make sure the three standard descriptors are open and a gone reader is an error, not a signal. @return false: cannot */
bool cli_output_begin(void);

/** Write a result to standard output; a failure is kept and said by cli_output_finish(). */
void cli_output_text(const char *text);

/**
 * Flush standard output.
 * @return `status`, or 74 after saying why not everything was written. A reader who has gone ("| head") is no failure
 */
int cli_output_finish(int status);

/** True when standard output is a terminal and colour is not refused (NO_COLOR, a dumb terminal). */
bool cli_output_coloured(void);
/** Columns of the terminal, else COLUMNS, else 80. */
int cli_output_width(void);

/** True when both paths are the same existing file: writing the one would destroy the other. */
bool cli_same_file(const char *a, const char *b);

/**
 * See before long work whether an output can be made at all: its folder is there and may be written, and it is no folder.
 * @return 0, or an exit status after saying why not
 */
int cli_output_possible(const char *path);

#endif
