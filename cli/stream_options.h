#ifndef CLI_STREAM_OPTIONS_H
#define CLI_STREAM_OPTIONS_H
/** @file  How bare samples are stored, for commands that read a recording piece by piece. */
#include "input.h"

extern const cli_option cli_opt_raw;
extern const cli_option cli_opt_raw_channels;
extern const cli_option cli_opt_raw_scale;
/** How large an event must be, and where its surroundings go. */
extern const cli_option cli_opt_sigma, cli_opt_cut;

/** @return 0, or an exit status after a message */
int cli_stream_options(const cli_arguments *arguments, const cli_inputs *inputs, plb_stream_options *out);
/** One finite number. @return 0, or 64 after a message */
int cli_real(const cli_arguments *arguments, const cli_option *option, double *out);

#endif
