/* plumb trend: one reading over time. */
#include "command.h"
#include "input.h"
#include "message.h"
#include "output.h"

#include <plumbline/core.h>
#include <plumbline/cycle.h>
#include <plumbline/report.h>

#include <stdlib.h>
#include <string.h>

static const cli_option opt_reading = {
    "reading", 0, "NAME", false,
    "What to read: a name that plumb measure prints (duty-high, pulse-low, frequency, mean, ...; duty is duty-high), or "
    "of a wheel speed or acceleration; balance between cylinders, of a wheel's speed or the starter's current."};
static const cli_option opt_every = {
    "every", 0, "TIME|cycle|tooth", false,
    "One value for each window of this length (10ms, 1s), for each cycle (of a wheel each turn), or for each tooth; "
    "default cycle, of an acceleration tooth."};
static const cli_option opt_cycle = {"cycle", 0, "wheel:teeth=N,missing=M", false,
                                     "The wheel for speed and acceleration; missing=0: no gap."};
static const cli_option opt_cylinders = {"cylinders", 0, "N", false,
                                         "For balance: how many the engine has; for dwell: how many the distributor serves (2 to 16)."};
static const cli_option opt_from = {"from", 0, "TIME", false,
                                    "Only from this time on, as the file tells the time: 40ms, 1.5s."};
static const cli_option opt_to = {"to", 0, "TIME", false, "Only up to this time."};
static const cli_option opt_csv = {"csv", 0, "FILE", false, "Write the values as columns, with the lowest and highest so far."};
static const cli_option opt_svg = {"svg", 0, "FILE", false, "Draw them."};
static const cli_option opt_json = {"json", 0, NULL, false, "Print one line of JSON (series/1)."};
static const cli_option *const options[] = {&opt_reading, &opt_every, &opt_cycle, &opt_cylinders, &cli_opt_channel, &cli_opt_rate,
                                            &opt_from, &opt_to, &opt_csv, &opt_svg, &opt_json, &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

static int take_time(const cli_arguments *arguments, const cli_option *option, bool *given, double *out_s) {
  const char *text = cli_value(arguments, option);
  *given = text != NULL;
  plb_error err = PLB_ERROR_INIT;
  if (text && plb_measure_time_parse(text, out_s, &err) != PLB_OK)
    return cli_usage(arguments->command, "--%s: %s", option->name, err.message);
  return 0;
}

static int take_every(const cli_arguments *arguments, plb_series_options *out) {
  const char *text = cli_value(arguments, &opt_every);
  out->turns = text ? strcmp(text, "cycle") == 0 : strcmp(out->reading, "acceleration") != 0;
  if (!text || strcmp(text, "cycle") == 0)
    return 0;
  if (strcmp(text, "tooth") == 0)
    return out->teeth > 0 ? 0 : cli_usage(arguments->command, "--every tooth needs a wheel; give --cycle wheel:teeth=60,missing=2");
  bool given = false;
  const int status = take_time(arguments, &opt_every, &given, &out->every_s);
  if (status == 0 && !(out->every_s > 0))
    return cli_usage(arguments->command, "--every %s is no length of time; write it like 10ms, or cycle", text);
  return status;
}

static int take_wheel(const cli_arguments *arguments, plb_cycle_spec *spec, plb_series_options *out) {
  const char *text = cli_value(arguments, &opt_cycle);
  plb_error err = PLB_ERROR_INIT;
  if (!text)
    return 0;
  if (plb_cycle_spec_parse(text, spec, &err) != PLB_OK)
    return cli_usage(arguments->command, "--cycle: %s", err.message);
  if (spec->kind != PLB_CYCLE_WHEEL)
    return cli_usage(arguments->command, "--cycle takes a wheel here, like wheel:teeth=60,missing=2");
  out->teeth = spec->teeth;
  out->missing = spec->missing;
  if (spec->channel[0])
    out->channel = spec->channel;
  return 0;
}

static int take_options(const cli_arguments *arguments, plb_cycle_spec *spec, plb_series_options *out) {
  out->reading = cli_value(arguments, &opt_reading);
  if (!out->reading)
    return cli_usage(arguments->command, "say what to read, like --reading duty-high");
  int status = take_wheel(arguments, spec, out);
  if (status == 0)
    status = take_every(arguments, out);
  if (status == 0)
    status = take_time(arguments, &opt_from, &out->from_given, &out->from_s);
  if (status == 0)
    status = take_time(arguments, &opt_to, &out->to_given, &out->to_s);
  long cylinders = 0;
  if (status == 0 && cli_given(arguments, &opt_cylinders))
    status = cli_whole(arguments, &opt_cylinders, 2, 16, &cylinders);
  out->cylinders = (int)cylinders;
  return status;
}

static int possible(const cli_arguments *arguments, const cli_option *option, const char *input) {
  const char *path = cli_value(arguments, option);
  if (!path)
    return 0;
  if (cli_same_file(path, input))
    return cli_usage(arguments->command, "--%s would overwrite the capture; choose another name", option->name);
  return cli_output_possible(path);
}

static plb_status write_file(const cli_arguments *arguments, const cli_option *option, plb_status status, char *text, plb_error *err) {
  if (status == PLB_OK)
    status = plb_file_write(cli_value(arguments, option), text, strlen(text), err);
  free(text);
  return status;
}

static plb_status put_out(const cli_arguments *arguments, const plb_series *s, const plb_capture *capture, plb_error *err) {
  char *text = NULL;
  plb_status status = cli_given(arguments, &opt_json) ? plb_series_json(&text, s, capture, err)
                                                      : plb_series_text(&text, s, capture, err);
  if (status == PLB_OK)
    cli_output_text(text);
  free(text);
  text = NULL;
  if (status == PLB_OK && cli_given(arguments, &opt_csv)) {
    const plb_status made = plb_series_csv(&text, s, err);
    status = write_file(arguments, &opt_csv, made, text, err);
    text = NULL;
  }
  if (status == PLB_OK && cli_given(arguments, &opt_svg)) {
    const plb_status made = plb_report_series_svg(&text, s, capture, err);
    status = write_file(arguments, &opt_svg, made, text, err);
  }
  return status;
}

static int trend(const cli_arguments *arguments, const cli_inputs *inputs, const plb_series_options *how) {
  plb_error err = PLB_ERROR_INIT;
  plb_capture *capture = NULL;
  plb_series *series = NULL;
  plb_status status = cli_inputs_read(inputs, 0, &capture, &err);
  if (status == PLB_OK)
    status = plb_series_read(&series, capture, how, &err);
  if (status == PLB_OK)
    status = put_out(arguments, series, capture, &err);
  plb_series_free(series);
  plb_capture_free(capture);
  return status == PLB_OK ? CLI_OK : cli_fail(&err);
}

static int run(const cli_arguments *arguments) {
  cli_inputs inputs;
  plb_cycle_spec spec;
  plb_series_options how = PLB_SERIES_OPTIONS_INIT;
  int status = cli_inputs_gather(&inputs, arguments, NULL);
  if (status == 0 && inputs.count != 1)
    status = cli_usage(arguments->command, inputs.count ? "one capture at a time" : "no capture is named; give a file");
  if (status == 0)
    status = take_options(arguments, &spec, &how);
  if (status == 0)
    status = possible(arguments, &opt_csv, inputs.item[0].path);
  if (status == 0)
    status = possible(arguments, &opt_svg, inputs.item[0].path);
  if (status == 0)
    status = trend(arguments, &inputs, &how);
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_trend = {
    "trend",
    "read one thing over time: duty, speed of a wheel, ...",
    "--reading NAME [options] CAPTURE",
    "Prints the reading cycle by cycle or window by window, with the lowest and highest so far and when they happened. Of a "
    "toothed wheel speed in 1/min and the acceleration from tooth to tooth; of the starter's current or a wheel's speed the balance of the cylinders, each compression against those around it. A window in which there is nothing to read "
    "stays empty; times are when a cycle or window begins, of a wheel its middle.",
    "  plumb trend valve.csv --reading duty --every 10ms --channel valve=2:V\n"
    "  plumb trend crank.csv --reading speed --cycle wheel:teeth=60,missing=2 --channel crank=2:V --svg speed.svg\n"
    "  plumb trend starter.csv --reading balance --cylinders 4 --channel starter=2:A\n"
    "  plumb trend crank.csv --reading acceleration --cycle wheel:teeth=60,missing=2 --csv teeth.csv",
    options,
    run};
