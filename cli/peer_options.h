#ifndef CLI_PEER_OPTIONS_H
#define CLI_PEER_OPTIONS_H
/** @file  What pair, peers and locate have in common: the captures in memory, their channels as like parts, the cycle. */
#include "input.h"

#include <plumbline/peer.h>

extern const cli_option cli_opt_cycle_or_guess;

/** Every capture that was named, read. */
typedef struct cli_captures {
  cli_inputs inputs;
  plb_capture **capture; /**< [inputs.count] */
  plb_cycle_spec spec;
  plb_peer_options how; /**< its cycle points to `spec` where one was given */
} cli_captures;

/**
 * Gather, read and check the cycle.
 * @param group  the option that says something of the captures after it, NULL: none
 * @return 0, or an exit status after a message
 */
int cli_captures_read(cli_captures *out, const cli_arguments *arguments, const cli_option *group);
void cli_captures_dispose(cli_captures *captures);

/**
 * The parts that are to be alike: the channels of one capture, or several captures with the same channels.
 * @param out  malloc'ed @return 0, or an exit status after a message
 */
int cli_captures_parts(const cli_captures *captures, plb_part **out, size_t *count_out);

/** Print what a report made, or say why not. @return `exit_status`, or that of the failure */
int cli_say_report(plb_status status, char *text, const plb_error *err, int exit_status);

#endif
