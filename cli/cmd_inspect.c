/* plumb inspect: what is in a capture file, is it usable, what might it be. */
#include "command.h"
#include "input.h"
#include "message.h"
#include "output.h"

#include <plumbline/report.h>

#include <stdio.h>
#include <stdlib.h>

static const cli_option opt_json = {"json", 0, NULL, false, "Print one line of JSON for each capture (capture/1)."};
static const cli_option *const options[] = {&cli_opt_channel, &cli_opt_rate, &cli_opt_files_from, &opt_json, &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

static plb_status describe(const cli_inputs *inputs, size_t index, bool json, char **text, plb_error *err) {
  plb_capture *capture = NULL;
  plb_status status = cli_inputs_read(inputs, index, &capture, err);
  if (status == PLB_OK)
    status = json ? plb_report_inspect_json(text, capture, err)
                  : plb_report_inspect_text(text, capture, cli_output_width(), err);
  plb_capture_free(capture);
  return status;
}

static int inspect_all(const cli_inputs *inputs, bool json) {
  int exit_status = CLI_OK;
  for (size_t i = 0; i < inputs->count; i++) {
    plb_error err = PLB_ERROR_INIT;
    char *text = NULL;
    if (describe(inputs, i, json, &text, &err) == PLB_OK) {
      if (i > 0 && !json)
        cli_output_text("\n");
      cli_output_text(text);
    } else {
      exit_status = cli_exit_worst(exit_status, cli_fail(&err));
    }
    free(text);
  }
  return exit_status;
}

static int run(const cli_arguments *arguments) {
  cli_inputs inputs;
  int status = cli_inputs_gather(&inputs, arguments, NULL);
  inputs.told = true;
  if (status == 0 && inputs.count == 0)
    status = cli_usage(arguments->command, "no capture is named; give a file");
  if (status == 0)
    status = inspect_all(&inputs, cli_given(arguments, &opt_json));
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_inspect = {
    "inspect",
    "what is in a capture, and is the recording usable",
    "[options] CAPTURE...",
    "Tells the format, channels, units, rate and length of each capture, checks the recording (clipped, too coarse, "
    "too "
    "short, uneven, flat), draws a first picture in text and guesses what was measured.\n"
    "Reads delimited text as loggers write it (with or without header, time column, decimal comma), RIFF WAVE, NumPy "
    ".npy and .npz, COMTRADE (.cfg with .dat, .cff) and our own capture documents. An unfit recording is told, and is no error.",
    "  plumb inspect trace.csv\n"
    "  plumb inspect trace.txt --rate 50kS/s --channel crank=1:V:10\n"
    "  plumb inspect trace.wav --json",
    options,
    run};
