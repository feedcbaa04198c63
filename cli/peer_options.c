#include "peer_options.h"
#include "message.h"
#include "output.h"

#include <stdlib.h>
#include <string.h>

const cli_option cli_opt_cycle_or_guess = {
    "cycle", 0, "KIND[:KEY=VALUE,...]", false,
    "What repeats: wheel:teeth=60,missing=2; edge:level=6V,slope=falling; repeat[:period=0.04s]; once; steady; "
    "against:channel=ROLE. Without it: repeat, or once where nothing repeats."};

int cli_captures_read(cli_captures *out, const cli_arguments *arguments, const cli_option *group) {
  memset(out, 0, sizeof *out);
  out->how = (plb_peer_options)PLB_PEER_OPTIONS_INIT;
  int status = cli_inputs_gather(&out->inputs, arguments, group);
  const char *cycle = cli_value(arguments, &cli_opt_cycle_or_guess);
  plb_error err = PLB_ERROR_INIT;
  if (status == 0 && cycle) {
    if (plb_cycle_spec_parse(cycle, &out->spec, &err) != PLB_OK)
      return cli_usage(arguments->command, "--cycle: %s", err.message);
    out->how.cycle = &out->spec;
  }
  if (status == 0 && out->inputs.count == 0)
    status = cli_usage(arguments->command, "no capture is named; give a file");
  if (status != 0)
    return status;
  out->capture = calloc(out->inputs.count, sizeof(plb_capture *));
  if (!out->capture)
    return cli_out_of_memory();
  for (size_t i = 0; i < out->inputs.count; i++)
    if (cli_inputs_read(&out->inputs, i, &out->capture[i], &err) != PLB_OK)
      return cli_fail(&err);
  return 0;
}

void cli_captures_dispose(cli_captures *captures) {
  for (size_t i = 0; captures->capture && i < captures->inputs.count; i++)
    plb_capture_free(captures->capture[i]);
  free(captures->capture);
  cli_inputs_dispose(&captures->inputs);
}

static const char *file_name(const char *path) {
  const char *slash = strrchr(path, '/');
  return slash ? slash + 1 : path;
}

/* Do two of the files have the same name in different folders? Then the whole path is the name. */
static bool names_clash(const cli_captures *captures) {
  for (size_t i = 0; i < captures->inputs.count; i++)
    for (size_t k = 0; k < i; k++)
      if (strcmp(file_name(captures->inputs.item[i].path), file_name(captures->inputs.item[k].path)) == 0)
        return true;
  return false;
}

int cli_captures_parts(const cli_captures *captures, plb_part **out, size_t *count_out) {
  const bool one = captures->inputs.count == 1;
  const size_t count = one ? plb_capture_channels(captures->capture[0]) : captures->inputs.count;
  const bool clash = names_clash(captures);
  *out = calloc(count + 1, sizeof **out);
  if (!*out)
    return cli_out_of_memory();
  for (size_t i = 0; i < count; i++) {
    if (one) {
      const char *role = plb_capture_role(captures->capture[0], i);
      (*out)[i] = (plb_part){captures->capture[0], role, role};
    } else {
      const char *path = captures->inputs.item[i].path;
      (*out)[i] = (plb_part){captures->capture[i], NULL, clash ? path : file_name(path)};
    }
  }
  *count_out = count;
  return 0;
}

int cli_say_report(plb_status status, char *text, const plb_error *err, int exit_status) {
  if (status != PLB_OK || !text)
    return cli_fail(err);
  cli_output_text(text);
  free(text);
  return exit_status;
}
