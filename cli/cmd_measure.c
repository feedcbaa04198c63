/* plumb measure: the numbers a technician reads from a trace. */
#include "command.h"
#include "input.h"
#include "message.h"
#include "output.h"

#include <plumbline/reading.h>

#include <stdlib.h>

static const cli_option opt_from = {"from", 0, "TIME", false,
                                    "Only from this time on, as the file tells the time: 40ms, 1.5s."};
static const cli_option opt_to = {"to", 0, "TIME", false, "Only up to this time."};
static const cli_option opt_cylinders = {"cylinders", 0, "N", false,
                                         "Tell dwell too, in degrees of a distributor that serves N cylinders (2 to "
                                         "16). A voltage with oscillations is then "
                                         "taken as the primary voltage of a coil: only its charging pulses count."};
static const cli_option opt_coil_per_plug = {
    "coil-per-plug", 0, NULL, false,
    "The engine has one coil for each plug and no distributor: dwell in degrees is refused."};
static const cli_option opt_json = {"json", 0, NULL, false, "Print one line of JSON for each capture (readings/1)."};
static const cli_option *const options[] = {&cli_opt_channel,   &cli_opt_rate,       &opt_from, &opt_to, &opt_cylinders,
                                            &opt_coil_per_plug, &cli_opt_files_from, &opt_json, &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

static int take_time(const cli_arguments *arguments, const cli_option *option, bool *given, double *out_s) {
  const char *text = cli_value(arguments, option);
  *given = text != NULL;
  plb_error err = PLB_ERROR_INIT;
  if (text && plb_measure_time_parse(text, out_s, &err) != PLB_OK)
    return cli_usage(arguments->command, "--%s: %s", option->name, err.message);
  return 0;
}

static int take_options(const cli_arguments *arguments, plb_measure_options *out) {
  int status = take_time(arguments, &opt_from, &out->from_given, &out->from_s);
  if (status == 0)
    status = take_time(arguments, &opt_to, &out->to_given, &out->to_s);
  long cylinders = 0;
  if (status == 0 && cli_given(arguments, &opt_cylinders))
    status = cli_whole(arguments, &opt_cylinders, 2, 16, &cylinders);
  out->cylinders = (int)cylinders;
  out->coil_per_plug = cli_given(arguments, &opt_coil_per_plug);
  return status;
}

static plb_status measure(const cli_inputs *inputs, size_t index, const plb_measure_options *how, bool json,
                          char **text, plb_error *err) {
  plb_capture *capture = NULL;
  plb_readings *readings = NULL;
  plb_status status = cli_inputs_read(inputs, index, &capture, err);
  if (status == PLB_OK)
    status = plb_measure(&readings, capture, how, err);
  if (status == PLB_OK)
    status = json ? plb_readings_json(text, readings, capture, err) : plb_readings_text(text, readings, capture, err);
  plb_readings_free(readings);
  plb_capture_free(capture);
  return status;
}

static int measure_all(const cli_inputs *inputs, const plb_measure_options *how, bool json) {
  int exit_status = CLI_OK;
  for (size_t i = 0; i < inputs->count; i++) {
    plb_error err = PLB_ERROR_INIT;
    char *text = NULL;
    if (measure(inputs, i, how, json, &text, &err) == PLB_OK) {
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
  plb_measure_options how = PLB_MEASURE_OPTIONS_INIT;
  int status = cli_inputs_gather(&inputs, arguments, NULL);
  inputs.told = true;
  if (status == 0 && inputs.count == 0)
    status = cli_usage(arguments->command, "no capture is named; give a file");
  if (status == 0)
    status = take_options(arguments, &how);
  if (status == 0)
    status = measure_all(&inputs, &how, cli_given(arguments, &opt_json));
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_measure = {
    "measure",
    "read levels, times, shape, duty and amounts from a capture",
    "[options] CAPTURE...",
    "Reads each channel over the capture and cycle by cycle: mean, AC RMS, true RMS, lowest, highest, peak to peak, "
    "state levels, crest factor, ripple; period, frequency, pulses, jitter; rise and fall, overshoot, undershoot, "
    "settling; duty and dwell; charge of a current, energy with a voltage; delay and phase against the first channel.\n"
    "State levels come from a histogram, so a flyback spike is not a state; times are taken at 10, 50 and 90 % between "
    "the states, between samples by a straight line (IEEE Std 181 / IEC 60469). What a capture cannot tell is left out "
    "and said.",
    "  plumb measure injector.csv --channel injector=2:V\n"
    "  plumb measure coil.csv --channel coil=2:V --cylinders 4 --from 40ms --to 240ms\n"
    "  plumb measure trace.wav --json",
    options,
    run};
