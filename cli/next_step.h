#ifndef CLI_NEXT_STEP_H
#define CLI_NEXT_STEP_H
/** @file  What to say when there is no known-good to compare with: what the capture seems to be, and the command to run next. */
#include "input.h"

/**
 * A verdict "cannot tell" for a capture that has no known-good, with the guesses and the exact commands.
 * @param text_out  for people, malloc'ed; NULL when not wanted
 * @param verdict_out  for JSON, free with plb_verdict_free(); NULL when not wanted
 */
plb_status cli_next_step(const plb_capture *capture, const cli_inputs *inputs, char **text_out,
                         plb_verdict **verdict_out, plb_error *err);

#endif
