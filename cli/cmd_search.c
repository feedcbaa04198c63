/* plumb search: the one glitch in ten minutes. */
#include "collection.h"
#include "command.h"
#include "input.h"
#include "message.h"
#include "output.h"
#include "stream_options.h"

#include <plumbline/collection.h>
#include <plumbline/event.h>

#include <stdlib.h>

static const cli_option opt_json = {"json", 0, NULL, false,
                                    "Print one line of JSON for each event (event/1), and a last one (events/1)."};
static const cli_option opt_reference = {
    "reference", 0, "FILE|type/name[@N]", false,
    "Tell cycles that lie outside this known-good's good range instead of what is unusual for the recording itself. The whole recording is taken "
    "into memory."};
static const cli_option *const options[] = {&opt_reference, &cli_opt_collection, &cli_opt_channel,   &cli_opt_rate,  &cli_opt_raw, &cli_opt_raw_channels,
                                            &cli_opt_raw_scale, &cli_opt_sigma, &cli_opt_cut, &cli_opt_files_from, &opt_json, NULL};

typedef struct printer {
  bool json;
  plb_status status;
} printer;

static bool print_event(const plb_event *event, void *payload) {
  printer *p = payload;
  char *text = NULL;
  p->status = p->json ? plb_event_json(&text, event, NULL) : plb_event_text(&text, event, NULL);
  if (p->status == PLB_OK)
    cli_output_text(text);
  free(text);
  return p->status == PLB_OK;
}

static int search(const char *path, const plb_search_options *how, bool json) {
  plb_error err = PLB_ERROR_INIT;
  printer p = {.json = json, .status = PLB_OK};
  const plb_event_listener listener = {.on_event = print_event, .payload = &p};
  plb_search_summary summary;
  char *text = NULL;
  plb_status status = plb_search(path, how, &listener, &summary, &err);
  if (status == PLB_OK)
    status = json ? plb_events_json(&text, &summary, &err) : plb_events_text(&text, &summary, &err);
  if (status != PLB_OK)
    return cli_fail(&err);
  cli_output_text(text);
  free(text);
  return p.status == PLB_OK ? CLI_OK : cli_out_of_memory();
}

static int search_against(const cli_inputs *inputs, size_t index, const plb_judge *judge, bool json) {
  plb_error err = PLB_ERROR_INIT;
  printer p = {.json = json, .status = PLB_OK};
  const plb_event_listener listener = {.on_event = print_event, .payload = &p};
  plb_search_summary summary;
  plb_capture *capture = NULL;
  char *text = NULL;
  plb_status status = cli_inputs_read(inputs, index, &capture, &err);
  if (status == PLB_OK)
    status = plb_search_against(capture, judge, &listener, &summary, &err);
  if (status == PLB_OK)
    status = json ? plb_events_json(&text, &summary, &err) : plb_events_text(&text, &summary, &err);
  plb_capture_free(capture);
  if (status != PLB_OK)
    return cli_fail(&err);
  cli_output_text(text);
  free(text);
  return p.status == PLB_OK ? CLI_OK : cli_out_of_memory();
}

static int run_against(const cli_inputs *inputs, const cli_arguments *arguments) {
  plb_error err = PLB_ERROR_INIT;
  plb_reference *reference = NULL;
  plb_judge *judge = NULL;
  int status = CLI_OK;
  if (cli_given(arguments, &cli_opt_raw) || cli_given(arguments, &cli_opt_sigma) || cli_given(arguments, &cli_opt_cut))
    return cli_usage(arguments->command, "--reference reads whole captures and has limits of its own; leave --raw, --sigma and --cut out");
  if (plb_collection_load(&reference, cli_value(arguments, &opt_reference), cli_value(arguments, &cli_opt_collection), NULL, &err) != PLB_OK ||
      plb_judge_new(&judge, reference, &err) != PLB_OK)
    status = cli_fail(&err);
  for (size_t i = 0; judge && i < inputs->count; i++)
    status = cli_exit_worst(status, search_against(inputs, i, judge, cli_given(arguments, &opt_json)));
  plb_judge_free(judge);
  plb_reference_free(reference);
  return status;
}

static int run(const cli_arguments *arguments) {
  cli_inputs inputs;
  plb_search_options how = PLB_SEARCH_OPTIONS_INIT;
  int status = cli_inputs_gather(&inputs, arguments, NULL);
  if (status == 0 && inputs.count == 0)
    status = cli_usage(arguments->command, "no recording is named; give a file, or - for standard input");
  if (status == 0 && cli_given(arguments, &opt_reference)) {
    status = run_against(&inputs, arguments);
    cli_inputs_dispose(&inputs);
    return status;
  }
  if (status == 0)
    status = cli_stream_options(arguments, &inputs, &how.stream);
  if (status == 0 && cli_given(arguments, &cli_opt_sigma))
    status = cli_real(arguments, &cli_opt_sigma, &how.sigma);
  how.channel = inputs.channel;
  how.channels = inputs.channels;
  how.cut_folder = cli_value(arguments, &cli_opt_cut);
  for (size_t i = 0; status == 0 && i < inputs.count; i++) {
    const int one = search(inputs.item[i].path, &how, cli_given(arguments, &opt_json));
    status = cli_exit_worst(status, one);
  }
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_search = {
    "search",
    "find dropouts, spikes and missing pulses in a long recording",
    "[options] RECORDING...",
    "Learns from the recording itself, window by window, what is usual, and tells what is not: dropout (towards nought, "
    "or a pulse towards the middle), spike, missing and extra pulses, step, stuck value, outside (a pulse too early or "
    "late). Each with its time, how long it lasts, its size and how far it stands out of the scatter.\n"
    "A fault that recurs regularly is usual to its own recording: --reference tells by a known-good. Delimited text, "
    "WAVE and bare samples are read piece by piece, so a recording may be larger than memory; about 40 MiB are taken.",
    "  plumb search wiggle.csv --channel supply=2:V\n"
    "  plumb search night.raw --raw int16 --raw-channels 2 --rate 10kHz --raw-scale 0.001 --cut found\n"
    "  plumb search drive.csv --reference crank-inductive/60-2-idle --channel crank=2:V\n"
    "  plumb search trace.wav --json",
    options,
    run};
