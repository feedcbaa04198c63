/* plumb locate: where on its way is a signal lost? */
#include "command.h"
#include "message.h"
#include "output.h"
#include "peer_options.h"

#include <plumbline/report.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const cli_option opt_place = {
    "place", 0, "PLACE", true,
    "Where the captures after this were taken: component, control-unit, supply or ground. Each then holds one channel. "
    "Better is one capture with a channel for each place."};
static const cli_option opt_json = {"json", 0, NULL, false, "Print one line of JSON (locate/1)."};
static const cli_option *const options[] = {&cli_opt_channel, &cli_opt_rate, &opt_place, &cli_opt_condition, &opt_json, &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

static int place_of(const char *command, const char *name, plb_place *out) {
  for (int k = 0; k < PLB_PLACES; k++)
    if (strcmp(name, plb_place_name((plb_place)k)) == 0) {
      *out = (plb_place)k;
      return 0;
    }
  return cli_usage(command, "%s is no place; name channels component, control-unit, supply or ground, as in --channel supply=3:V",
                   name);
}

/* One capture: a place for each channel. */
static int places_of_channels(const cli_captures *c, const char *command, plb_placed **out, size_t *count_out) {
  const plb_capture *capture = c->capture[0];
  *count_out = plb_capture_channels(capture);
  *out = calloc(*count_out + 1, sizeof **out);
  int status = *out ? 0 : cli_out_of_memory();
  for (size_t i = 0; status == 0 && i < *count_out; i++) {
    (*out)[i] = (plb_placed){.capture = capture, .channel = i};
    status = place_of(command, plb_capture_role(capture, i), &(*out)[i].place);
  }
  return status;
}

/* Several captures: one channel each, its place stated before it. */
static int places_of_captures(const cli_captures *c, const char *command, plb_placed **out, size_t *count_out) {
  *count_out = c->inputs.count;
  *out = calloc(*count_out + 1, sizeof **out);
  int status = *out ? 0 : cli_out_of_memory();
  for (size_t i = 0; status == 0 && i < *count_out; i++) {
    const cli_input *input = &c->inputs.item[i];
    (*out)[i] = (plb_placed){.capture = c->capture[i]};
    if (!input->group)
      status = cli_usage(command, "the place of %s is not stated; write --place component or another before it", input->path);
    else if (plb_capture_channels(c->capture[i]) != 1)
      status = cli_usage(command, "%s holds %zu channels; name one with --channel", input->path,
                         plb_capture_channels(c->capture[i]));
    else
      status = place_of(command, input->group, &(*out)[i].place);
  }
  return status;
}

static double stated_supply(const cli_captures *c) {
  for (size_t i = 0; i < c->inputs.conditions; i++)
    if (strcmp(c->inputs.condition[i].name, "supply") == 0)
      return 0.5 * (c->inputs.condition[i].low + c->inputs.condition[i].high);
  return (double)NAN;
}

static int locate(const plb_placed *placed, size_t count, double supply_v, bool json) {
  plb_error err = PLB_ERROR_INIT;
  plb_locate *found = NULL;
  char *text = NULL;
  plb_status status = plb_locate_loss(&found, placed, count, supply_v, &err);
  if (status == PLB_OK)
    status = json ? plb_report_locate_json(&text, found, &err)
                  : plb_report_locate_text(&text, found, cli_output_coloured() ? PLB_TEXT_TERMINAL : PLB_TEXT_PLAIN,
                                           cli_output_width(), &err);
  const int word = status == PLB_OK && found->where == PLB_LOST_UNKNOWN ? CLI_UNJUDGED : CLI_OK;
  const int exit_status = cli_say_report(status, text, &err, word);
  plb_locate_free(found);
  return exit_status;
}

static int run(const cli_arguments *arguments) {
  cli_captures captures;
  plb_placed *placed = NULL;
  size_t count = 0;
  int status = cli_captures_read(&captures, arguments, &opt_place);
  if (status == 0 && captures.inputs.count == 1 && !captures.inputs.item[0].group)
    status = places_of_channels(&captures, arguments->command, &placed, &count);
  else if (status == 0)
    status = places_of_captures(&captures, arguments->command, &placed, &count);
  if (status == 0)
    status = locate(placed, count, stated_supply(&captures), cli_given(arguments, &opt_json));
  free(placed);
  cli_captures_dispose(&captures);
  return status;
}

const cli_command cli_locate = {
    "locate",
    "find where on its way a signal is lost: part, wire, supply, ground or scope",
    "[options] CAPTURE",
    "Takes a capture that holds the fault, with channels at the two ends of one wire and, better, at the component's "
    "supply and ground, all against the battery's negative post. The same at both ends: the wire is not to blame. "
    "Different: lost on the way. Supply or ground moves with the fault: there. All channels jump together: the scope's "
    "own ground. The answer is an order of checks, the likeliest measuring error first, never a diagnosis. With one "
    "channel it says which second point would decide.\n"
    "Exit status 0: answered; 3: cannot tell.",
    "  plumb locate fault.csv --channel component=2:V --channel control-unit=3:V --channel supply=4:V --channel ground=5:V\n"
    "  plumb locate --place component at-sensor.csv --place control-unit at-unit.csv --channel signal=2:V",
    options,
    run};
