/* plumb peers: which of several like parts is the odd one out? */
#include "command.h"
#include "message.h"
#include "output.h"
#include "peer_options.h"

#include <plumbline/report.h>

#include <stdlib.h>
#include <string.h>

static const cli_option opt_split = {
    "split", 0, "cycle/N", false,
    "The like parts are in one channel, one after the other: each cycle holds N of them, 3 to 16 (the cylinders of an "
    "engine in its starter current). They are told as cycle/1 to cycle/N."};
static const cli_option opt_json = {"json", 0, NULL, false, "Print one line of JSON (peers/1)."};
static const cli_option *const options[] = {&cli_opt_channel, &cli_opt_rate,       &cli_opt_cycle_or_guess,
                                            &opt_split,       &cli_opt_files_from, &opt_json,
                                            &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

static int take_split(const cli_arguments *arguments, unsigned *out) {
  const char *text = cli_value(arguments, &opt_split);
  if (!text)
    return 0;
  char *end = NULL;
  const long units = strncmp(text, "cycle/", 6) == 0 && text[6] >= '1' && text[6] <= '9' ? strtol(text + 6, &end, 10) : 0;
  if (units < 3 || units > 16 || *end != '\0')
    return cli_usage(arguments->command, "--split %s is not understood; write it like --split cycle/4, with 3 to 16 parts",
                     text);
  *out = (unsigned)units;
  return 0;
}

static int find(const plb_part *part, size_t count, const plb_peer_options *how, bool json) {
  plb_error err = PLB_ERROR_INIT;
  plb_peers *peers = NULL;
  char *text = NULL;
  plb_status status = plb_find_odd(&peers, part, count, how, &err);
  if (status == PLB_OK)
    status = json ? plb_report_peers_json(&text, peers, &err)
                  : plb_report_peers_text(&text, peers, cli_output_coloured() ? PLB_TEXT_TERMINAL : PLB_TEXT_PLAIN,
                                          cli_output_width(), &err);
  int word = CLI_OK;
  if (status == PLB_OK)
    word = peers->odd >= 0 ? CLI_DEPARTS : peers->judged ? CLI_OK : CLI_UNJUDGED;
  const int exit_status = cli_say_report(status, text, &err, word);
  plb_peers_free(peers);
  return exit_status;
}

static int run(const cli_arguments *arguments) {
  cli_captures captures;
  plb_part *part = NULL;
  size_t count = 0;
  int status = cli_captures_read(&captures, arguments, NULL);
  if (status == 0)
    status = take_split(arguments, &captures.how.split);
  if (status == 0)
    status = cli_captures_parts(&captures, &part, &count);
  if (status == 0 && captures.how.split > 0 && count != 1)
    status = cli_usage(arguments->command,
                       "--split takes one channel of one capture, and here are %zu; name it with --channel", count);
  if (status == 0)
    status = find(part, count, &captures.how, cli_given(arguments, &opt_json));
  free(part);
  cli_captures_dispose(&captures);
  return status;
}

const cli_command cli_peers = {
    "peers",
    "find the odd one out among several like parts",
    "[options] CAPTURE...",
    "Compares like parts with one another, without a known-good: one capture each, the channels of one capture, or, "
    "with --split, the parts of each cycle of one channel. Each part is judged by what the others show; the odd one is "
    "named, with how it differs, or none is. With n parts one in n sets of healthy ones may show an odd one, and parts "
    "that are all worn alike are alike.\n"
    "Exit status 0: none is odd; 1: one is; 3: cannot tell.",
    "  plumb peers injector-1.csv injector-2.csv injector-3.csv injector-4.csv --cycle edge:level=6V,slope=falling\n"
    "  plumb peers rail.csv --channel a=1:A --channel b=2:A --channel c=3:A --rate 1kHz --cycle repeat\n"
    "  plumb peers cranking.csv --channel current=2:A --cycle repeat --split cycle/4",
    options,
    run};
