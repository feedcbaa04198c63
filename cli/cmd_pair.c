/* plumb pair: two captures of like circuits, or one circuit before and after. */
#include "command.h"
#include "message.h"
#include "output.h"
#include "peer_options.h"

#include <plumbline/report.h>

#include <stdlib.h>

static const cli_option opt_json = {"json", 0, NULL, false, "Print one line of JSON (pair/1)."};
static const cli_option *const options[] = {&cli_opt_channel, &cli_opt_rate, &cli_opt_cycle_or_guess, &opt_json, &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

static int exit_of(plb_pair_word word) {
  static const int exits[] = {[PLB_SAME] = CLI_OK, [PLB_DIFFERS] = CLI_DEPARTS, [PLB_PAIR_UNJUDGED] = CLI_UNJUDGED};
  return exits[word];
}

static int compare(const plb_part *part, const plb_peer_options *how, bool json) {
  plb_error err = PLB_ERROR_INIT;
  plb_pair *pair = NULL;
  char *text = NULL;
  plb_status status = plb_compare_pair(&pair, &part[0], &part[1], how, &err);
  if (status == PLB_OK)
    status = json ? plb_report_pair_json(&text, pair, &err)
                  : plb_report_pair_text(&text, pair, cli_output_coloured() ? PLB_TEXT_TERMINAL : PLB_TEXT_PLAIN,
                                         cli_output_width(), &err);
  const int exit_status = cli_say_report(status, text, &err, status == PLB_OK ? exit_of(pair->word) : 0);
  plb_pair_free(pair);
  return exit_status;
}

static int run(const cli_arguments *arguments) {
  cli_captures captures;
  plb_part *part = NULL;
  size_t count = 0;
  int status = cli_captures_read(&captures, arguments, NULL);
  if (status == 0)
    status = cli_captures_parts(&captures, &part, &count);
  if (status == 0 && count != 2)
    status = captures.inputs.count == 1
                 ? cli_usage(arguments->command, "the capture has %zu channels; name the two to be compared with --channel",
                             count)
                 : cli_usage(arguments->command, "%zu captures are no pair; give two, or find the odd one with plumb peers",
                             count);
  if (status == 0)
    status = compare(part, &captures.how, cli_given(arguments, &opt_json));
  free(part);
  cli_captures_dispose(&captures);
  return status;
}

const cli_command cli_pair = {
    "pair",
    "compare two captures without a known-good: before and after, left and right",
    "[options] FIRST SECOND | CAPTURE",
    "Lays two captures of like circuits, or two channels of one capture, over the same cycle and compares them section "
    "by section and reading by reading. The yardstick is what the cycles of each scatter by themselves: three times "
    "that is a difference. Alike does not mean good: two worn parts are alike too.\n"
    "Exit status 0: the same; 1: they differ; 3: cannot tell.",
    "  plumb pair before.csv after.csv --cycle edge:level=50%states,slope=falling\n"
    "  plumb pair axle.csv --channel left=2:V --channel right=3:V --cycle repeat",
    options,
    run};
